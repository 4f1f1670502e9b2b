"""A client for ``surefoot rpc`` in one file, for Python 3.7 and later with nothing installed.

Copy it beside your script (``surefoot rpc --client surefoot_client.py`` writes it). It starts the server as a process
of its own and talks to it::

    from surefoot_client import Client

    with Client(["surefoot", "rpc"]) as surefoot:
        clip = surefoot.call("clip.open", path="walk.json")["clip"]
        planted = surefoot.call("plant", clip=clip, progress=lambda share, what: print(what))
        print(planted["after"]["worst"])
        keys = surefoot.call("keys", clip=planted["clip"], since=clip)["channels"]

Feet on something that moves, a lift or a boat's deck::

        deck = surefoot.call("deck.load", path="ferry_deck.toml")["deck"]
        planted = surefoot.call("plant", clip=clip, aboard=deck)

A call that the server refuses raises `RemoteError`; a server that is gone raises `ServerGone` with its last words.
"""

from __future__ import annotations  # so that annotations may be newer than the Python that runs this

import json
import subprocess
import threading
import time
from collections import deque
from typing import Any, Callable, Deque, Dict, List, Sequence, Tuple

__all__ = ["Client", "RemoteError", "ServerGone", "Timeout"]


class RemoteError(Exception):
    """The server's error answer: ``code``, ``message``, and ``data`` (kind and place of an input error) or None."""

    def __init__(self, code: int, message: str, data: Any = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.data = data


class ServerGone(Exception):
    """The server has ended or can't be reached; the message holds the last it wrote to its error stream."""


class Timeout(Exception):
    """No answer came in time; the call has been cancelled."""


class Client:
    """One server process, and the calls to it. Safe to use from several threads.

    Parameters
    ----------
    command : list of str
        How the server is started.
    timeout : float or None
        Seconds that each call waits for its answer, unless it states its own.
    """

    def __init__(self, command: Sequence[str] = ("surefoot", "rpc"), timeout: float | None = None) -> None:
        self._timeout = timeout
        self._arrival = threading.Condition()
        self._writing = threading.Lock()
        self._answers: Dict[int, Any] = {}
        self._progress: Dict[int, Callable[[float, str], object]] = {}
        self._raised: Dict[int, Exception] = {}
        self._last_id = 0
        self._gone = False
        self._words: Deque[str] = deque(maxlen=40)
        pipe = subprocess.PIPE
        try:
            self._process = subprocess.Popen(list(command), stdin=pipe, stdout=pipe, stderr=pipe)
        except OSError as error:
            raise ServerGone(f"can't start {' '.join(command)}: {error}") from error
        self._answer_reader = threading.Thread(target=self._read_answers, daemon=True)
        self._word_reader = threading.Thread(target=self._read_words, daemon=True)
        self._answer_reader.start()
        self._word_reader.start()

    def call(
        self,
        method: str,
        timeout: float | None = None,
        progress: Callable[[float, str], object] | None = None,
        **params: Any,
    ) -> Any:
        """Return the result of one call.

        ``progress`` is called as ``progress(share, what)`` while it runs, in a thread of the client's; when it
        returns False the call is cancelled.
        """
        return self.wait(self.start(method, progress=progress, **params), timeout)

    def start(self, method: str, progress: Callable[[float, str], object] | None = None, **params: Any) -> int:
        """Begin a call and return its id, for `wait` or `cancel`."""
        if progress is not None:
            params["progress"] = True
        (number,) = self._numbers(1)
        with self._arrival:
            if progress is not None:
                self._progress[number] = progress
        self._write({"jsonrpc": "2.0", "id": number, "method": method, "params": params})
        return number

    def wait(self, number: int, timeout: float | None = None) -> Any:
        """Return the result of a call that was begun with `start`; ValueError if it was waited for already."""
        seconds = self._timeout if timeout is None else timeout
        until = None if seconds is None else time.monotonic() + seconds
        with self._arrival:
            if number not in self._answers:
                raise ValueError(f"call {number!r} was not begun, or its answer was waited for already")
            while self._answers.get(number) is None and not self._gone:
                left = None if until is None else until - time.monotonic()
                if left is not None and left <= 0.0:
                    break
                self._arrival.wait(left)
            answer = self._answers.pop(number, None)
            self._progress.pop(number, None)
            raised = self._raised.pop(number, None)
            gone = self._gone
        if raised is not None:
            raise raised
        if answer is None:
            if gone:
                raise ServerGone(self._last_words())
            self.cancel(number)
            raise Timeout(f"no answer to call {number} in {seconds:g} seconds; it has been cancelled")
        return _result(answer)

    def batch(self, calls: Sequence[Tuple[str, Dict[str, Any]]], timeout: float | None = None) -> List[Any]:
        """Return the answers to several calls ``(method, params)`` sent as one batch; a refusal comes as its error."""
        if not calls:
            return []
        numbers = self._numbers(len(calls))
        entries = []
        for i, (method, params) in enumerate(calls):
            entries.append({"jsonrpc": "2.0", "id": numbers[i], "method": method, "params": params})
        self._write(entries)
        found: List[Any] = []
        for number in numbers:
            try:
                found.append(self.wait(number, timeout))
            except RemoteError as error:
                found.append(error)
        return found

    def cancel(self, number: int) -> None:
        """Ask the server to stop a call; nothing comes back, but the call itself is answered as cancelled."""
        self._write({"jsonrpc": "2.0", "method": "cancel", "params": {"id": number}})

    def close(self, timeout: float = 10.0) -> int:
        """End the server once it has answered all, and return its exit status; after ``timeout`` seconds, kill it."""
        process = self._process
        try:
            if process.stdin is not None:
                process.stdin.close()
        except OSError:
            pass
        try:
            status = process.wait(timeout)
        except subprocess.TimeoutExpired:
            process.kill()
            status = process.wait()
        for thread in (self._answer_reader, self._word_reader):
            thread.join(timeout)
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()
        return status

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _numbers(self, count: int) -> List[int]:
        with self._arrival:
            numbers = [self._last_id + 1 + i for i in range(count)]
            self._last_id += count
            for number in numbers:
                self._answers[number] = None
        return numbers

    def _write(self, message: Any) -> None:
        line = json.dumps(message, allow_nan=False).encode("ascii") + b"\n"
        try:
            with self._writing:
                assert self._process.stdin is not None
                self._process.stdin.write(line)
                self._process.stdin.flush()
        except (OSError, ValueError):
            raise ServerGone(self._last_words()) from None

    def _read_answers(self) -> None:
        try:
            for line in self._process.stdout or ():
                try:
                    message = json.loads(line.decode("utf-8"))
                except ValueError:
                    self._words.append(f"no JSON: {line[:200]!r}")
                    continue
                for part in message if isinstance(message, list) else [message]:
                    self._take(part)
        finally:
            with self._arrival:
                self._gone = True
                self._arrival.notify_all()

    def _take(self, part: Dict[str, Any]) -> None:
        if part.get("method") == "progress":
            self._told(part["params"])
            return
        with self._arrival:
            number = part.get("id")
            if number in self._answers:
                self._answers[number] = part
                self._arrival.notify_all()
            elif "error" in part:
                self._words.append(f"unasked: {part['error']}")

    def _told(self, params: Dict[str, Any]) -> None:
        number = params["id"]
        with self._arrival:
            tell = self._progress.get(number)
        if tell is None:
            return
        try:
            stop = tell(params["share"], params["what"]) is False
        except Exception as error:
            self._raised[number] = error
            stop = True
        if stop:
            try:
                self.cancel(number)
            except ServerGone:
                pass

    def _read_words(self) -> None:
        for line in self._process.stderr or ():
            self._words.append(line.decode("utf-8", "replace").rstrip())

    def _last_words(self) -> str:
        self._word_reader.join(2.0)
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            pass
        told = "; ".join(self._words) or "it wrote nothing"
        return f"the server is gone (exit status {self._process.poll()}): {told}"


def _result(answer: Dict[str, Any]) -> Any:
    if "error" in answer:
        error = answer["error"]
        raise RemoteError(error["code"], error["message"], error.get("data"))
    return answer["result"]
