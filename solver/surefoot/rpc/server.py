"""The server: one thread reads lines and hears ``cancel`` at once, the main thread answers calls in their order."""

from __future__ import annotations

import _thread
import signal
import sys
import threading
import traceback
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from types import FrameType
from typing import Any, BinaryIO

from surefoot.errors import InputError, SurefootError, UnknownName, nearest_name
from surefoot.rpc import messages
from surefoot.rpc.desk import METHODS, Desk
from surefoot.rpc.lines import TooLong, read_lines
from surefoot.rpc.messages import Answer, Call, Fault, Id
from surefoot.rpc.wishes import Cancel, read_wish

__all__ = ["MOST_BYTES", "MOST_WAITING", "Server"]

MOST_BYTES = 32 << 20
"""Bytes of one message."""
MOST_WAITING = 128 << 20
"""Bytes of messages that wait for their turn."""


class _Stop(BaseException):
    """Raised inside a job that is cancelled; no ``except Exception`` in its way holds it up."""


@dataclass(slots=True, eq=False)
class _Entry:
    """One call of a message, or what is answered in its place."""

    what: Call | Fault | Answer
    cancelled: bool = False
    done: bool = False


@dataclass(slots=True, eq=False)
class _Message:
    """One line: its calls, whether they came as a batch, and how long it was."""

    entries: list[_Entry]
    batch: bool
    length: int


@dataclass(slots=True, eq=False)
class _Waiting:
    """Messages that have been read and not been answered yet; shared by the two threads under ``ready``."""

    messages: deque[_Message] = field(default_factory=deque)
    length: int = 0
    ended: str | None = None
    ready: threading.Condition = field(default_factory=threading.Condition)


class Server:
    """Answers what comes in on one stream, on another. Call `run` in the main thread, so that jobs can be cancelled.

    Parameters
    ----------
    source, sink : binary streams
    log : callable
        Gets a sentence for whoever looks at the error stream.
    most_bytes, most_waiting : int
        Limits of one message, and of all that wait.
    """

    def __init__(
        self,
        source: BinaryIO,
        sink: BinaryIO,
        *,
        log: Callable[[str], None],
        most_bytes: int = MOST_BYTES,
        most_waiting: int = MOST_WAITING,
    ) -> None:
        self._source, self._sink, self._log = source, sink, log
        self._most_bytes, self._most_waiting = most_bytes, most_waiting
        self._desk = Desk()
        self._waiting = _Waiting()
        self._running: _Entry | None = None
        self._stoppable = self._asked = False
        self._writing = threading.Lock()
        self._gone: str | None = None

    def run(self) -> int:
        """Answer until the input ends; 0 then, 1 when something broke."""
        in_main = threading.current_thread() is threading.main_thread()
        before = signal.signal(signal.SIGINT, self._interrupted) if in_main else None
        threading.Thread(target=self._listen, name="surefoot rpc reader", daemon=True).start()
        try:
            while (message := self._next()) is not None:
                self._answer(message)
                if self._gone is not None:
                    break
        finally:
            if in_main:
                signal.signal(signal.SIGINT, before)
        broken = self._gone or self._waiting.ended
        if broken:
            self._log(broken)
        return 1 if broken else 0

    # the reading thread

    def _listen(self) -> None:
        ended = ""
        try:
            for line in read_lines(self._source, self._most_bytes):
                self._heard(line)
                if self._gone is not None:
                    break
        except Exception as error:
            ended = f"reading broke off: {type(error).__name__}: {error}"
        with self._waiting.ready:
            self._waiting.ended = ended
            self._waiting.ready.notify()

    def _heard(self, line: bytes | TooLong) -> None:
        """Put a message in the queue; cancels are heard here and now."""
        if isinstance(line, TooLong):
            told = f"a message of {line.length} bytes; at most {self._most_bytes} are taken"
            self._queue([Fault(messages.INVALID_REQUEST, told)], batch=False, length=0)
            return
        parsed = messages.parse(line)
        batch = isinstance(parsed, list)
        heard = [self._cancelling(call) for call in (parsed if isinstance(parsed, list) else [parsed])]
        calls = [call for call in heard if call is not None]
        if isinstance(parsed, Call) and parsed.method == "cancel":  # its answer doesn't wait
            for answer in calls:
                if not isinstance(answer, Call):
                    self._send(answer.line())
            return
        if not calls:
            return
        if self._waiting.length + len(line) <= self._most_waiting:
            self._queue(calls, batch=batch, length=len(line))
            return
        told = f"more than {self._most_waiting} bytes are waiting; read the answers and try again"
        faults = [Fault(messages.BUSY, told, call.id) if isinstance(call, Call) else call for call in calls]
        parts = [fault.line() for fault, call in zip(faults, calls, strict=True) if _wants_answer(call)]
        if parts:
            self._send(messages.batch_line(parts) if batch else parts[0])

    def _queue(self, calls: list[Call | Fault | Answer], *, batch: bool, length: int) -> None:
        message = _Message([_Entry(call) for call in calls], batch, length)
        with self._waiting.ready:
            self._waiting.messages.append(message)
            self._waiting.length += length
            self._waiting.ready.notify()

    def _cancelling(self, call: Call | Fault) -> Call | Fault | Answer | None:
        """Return a call as it is, but for a cancel what it did; nothing for one that wants no answer."""
        if isinstance(call, Fault) or call.method != "cancel":
            return call
        found: Fault | Answer
        try:
            found = Answer({"cancelled": self._cancel(read_wish(Cancel, call.params).id)}, call.id)
        except InputError as error:
            found = _fault_of(error, call.id)
        return found if call.answered else None

    def _cancel(self, wanted: Id) -> str:
        """Mark the calls of an id as cancelled; say whether one is running, waiting, or unknown."""
        with self._waiting.ready:
            running = self._running
            if running is not None and _is_of(running, wanted):
                running.cancelled = True
                if self._stoppable:
                    self._asked = True
                    _thread.interrupt_main()
                return "running"
            found = [e for message in self._waiting.messages for e in message.entries if _is_of(e, wanted)]
            for entry in found:
                entry.cancelled = True
            return "waiting" if found else "unknown"

    # the main thread

    def _interrupted(self, _signal: int, _frame: FrameType | None) -> None:
        """Stop the job that is cancelled. A cancel that comes late is let pass; an interrupt from outside is raised."""
        asked, self._asked = self._asked, False
        if not asked:
            raise KeyboardInterrupt
        running = self._running
        if self._stoppable and running is not None and running.cancelled:
            self._stoppable = False
            raise _Stop

    def _next(self) -> _Message | None:
        with self._waiting.ready:
            while not self._waiting.messages:
                if self._waiting.ended is not None:
                    return None
                self._waiting.ready.wait()
            message = self._waiting.messages[0]
            self._waiting.length -= message.length
            # what is answered next can still be cancelled: it's taken off only once its first call runs
            return message

    def _answer(self, message: _Message) -> None:
        """Answer one message; its calls stay within a cancel's reach until each has run."""
        parts: list[bytes] = []
        for entry in message.entries:
            part = self._answered(entry)
            if part is not None:
                parts.append(part)
        with self._waiting.ready:
            self._waiting.messages.popleft()
        if parts:
            self._send(messages.batch_line(parts) if message.batch else parts[0])

    def _answered(self, entry: _Entry) -> bytes | None:
        """Return the response to one entry of a message, or None for a notification."""
        if not isinstance(entry.what, Call):
            return entry.what.line()
        call = entry.what
        try:
            found: Answer | Fault = self._worked(entry, call)
        except _Stop:
            found = Fault(messages.CANCELLED, "cancelled", call.id)
        with self._waiting.ready:
            self._running, entry.done = None, True
        if not call.answered:
            return None
        try:
            return found.line()
        except Exception as error:  # a result that JSON can't hold
            return self._broken(error, call).line()

    def _worked(self, entry: _Entry, call: Call) -> Answer | Fault:
        with self._waiting.ready:
            self._running = entry
            if entry.cancelled:
                return Fault(messages.CANCELLED, "cancelled before it began", call.id)
        method = METHODS.get(call.method)
        if method is None:
            near = nearest_name(call.method, [*METHODS, "cancel"])
            told = f"no method is called {call.method[:80]!r}" + (f"; did you mean {near!r}?" if near else "")
            return Fault(messages.METHOD_NOT_FOUND, told, call.id, {"known": [*METHODS, "cancel"]})
        try:
            wish = read_wish(method.wish, call.params)
            shown = bool(getattr(wish, "progress", False))
            result = method.run(self._desk, wish, lambda share, what: self._tell(entry, call, share, what, shown))
            self._stoppable = False
            return Answer(result, call.id)
        except InputError as error:
            return _fault_of(error, call.id)
        except SurefootError as error:
            return Fault(messages.FAILED, str(error), call.id, {"kind": type(error).__name__})
        except MemoryError:
            return Fault(messages.FAILED, "there isn't enough memory for it", call.id, {"kind": "MemoryError"})
        except Exception as error:
            return self._broken(error, call)
        finally:
            self._stoppable = False

    def _broken(self, error: Exception, call: Call) -> Fault:
        """Return a fault of our own as an answer, and tell the error stream where it was."""
        self._stoppable = False
        where = traceback.format_exc().strip()
        self._log(f"a fault in {call.method!r}:\n{where}")
        return Fault(messages.INTERNAL, f"a fault in here: {type(error).__name__}: {error}"[:400], call.id)

    def _tell(self, entry: _Entry, call: Call, share: float, what: str, shown: bool) -> None:
        """Let the job be stopped from here on, and send a progress notification, whole: a cancel waits until it's out.

        A method tells before each long stretch of arithmetic, and with a share of 1 before it hands out what it
        has found; what opens files comes before the first. Neither is stopped half-way.
        """
        self._stoppable = False
        if shown:
            params = {"id": call.id, "share": share, "what": what}
            self._send(messages.notification_line("progress", params))
        if share >= 1.0:
            return
        self._stoppable = True
        if entry.cancelled:
            raise _Stop

    def _send(self, line: bytes) -> None:
        if self._gone is not None:
            return
        try:
            with self._writing:
                self._sink.write(line + b"\n")
                self._sink.flush()
        except (OSError, ValueError) as error:
            self._gone = f"the output is closed ({error}); stopping"


def _wants_answer(call: Call | Fault | Answer) -> bool:
    return not isinstance(call, Call) or call.answered


def _is_of(entry: _Entry, wanted: Id) -> bool:
    """Return whether an entry is a call of that id; the text 1 isn't the number 1."""
    call = entry.what
    if not isinstance(call, Call) or not call.answered or entry.done:
        return False
    return call.id == wanted and isinstance(call.id, str) == isinstance(wanted, str)


def _fault_of(error: InputError, stated: Id) -> Fault:
    data: dict[str, Any] = {"kind": type(error).__name__, "place": error.place}
    if isinstance(error, UnknownName):
        data["known"] = list(error.known)
    return Fault(messages.INVALID_PARAMS, str(error), stated, data)


def log_to_stderr(sentence: str) -> None:
    """Tell whoever looks at the error stream."""
    if sys.stderr is None:  # it was closed from the start
        return
    try:
        sys.stderr.write(f"surefoot rpc: {sentence}\n")
        sys.stderr.flush()
    except (OSError, ValueError):  # there's nobody left to tell
        pass
