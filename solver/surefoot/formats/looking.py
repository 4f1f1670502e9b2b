"""A file looked at by another process first, within bounds of time and memory.

The libraries that read C3D and binary OpenUSD can crash, hang or fill the memory on a damaged file; none of that may
befall whoever asked. So a process of its own reads the file once; only when it comes back well is the file read here.
Where the running program is no Python (a host that has one inside), there's no such process and no look.

Starting that process and loading the library takes half a second. Who reads many files, as a worker of a batch does,
keeps one standing with `keep_lookout`: it reads each file in a fork of its own, which takes some milliseconds.
"""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
from contextvars import ContextVar
from pathlib import Path

from surefoot.errors import FileError

__all__ = ["CRASHED", "GOOD", "SLOW", "TOLD", "Lookout", "keep_lookout", "look_first", "room_for", "seconds_for"]

GOOD, CRASHED, TOLD, SLOW = range(4)
"""How a look ended; the exit status of the process that looked."""
SECONDS, ROOM = range(2)
C3D = ((3.0, 1e-6), (512 << 20, 64))
"""What C3D may take, seconds of a core and bytes: whatever its size, and more for each byte of it."""
STAGE = ((5.0, 200e-6), (1 << 30, 16 << 10))
MORE = (17.0, 7 << 29)
"""What OpenUSD may take, as a small file may stand for many prims over many frames: up to so much more than C3D."""


def seconds_for(path: str | Path) -> float:
    """Return how many seconds of a core reading a file may take."""
    return _allowed(path, SECONDS)


def room_for(path: str | Path) -> int:
    """Return how many bytes reading a file may take."""
    return int(_allowed(path, ROOM))


def _allowed(path: str | Path, what: int) -> float:
    size = Path(path).stat().st_size
    least, each = C3D[what]
    if Path(path).suffix.lower() == ".c3d":
        return least + each * size
    own, own_each = STAGE[what]
    return min(own + own_each * size, least + each * size + MORE[what])


def look_first(path: str | Path) -> None:
    """Raise FileError unless another process can read the C3D or OpenUSD file within bounds."""
    if not Path(sys.executable or "").name.lower().startswith("python"):
        return
    standing = _STANDING.get()
    status, told = _look_once(path) if standing is None else standing.look(path)
    if status == SLOW:
        raise FileError("it takes far too long to read; it must be damaged", place=str(path))
    if status == TOLD:
        raise FileError(told.strip() or "it can't be read", place=str(path))
    if status != GOOD:
        raise FileError("reading it crashes or fills the memory; it must be damaged", place=str(path))


def _begun(*words: str) -> subprocess.Popen[bytes]:
    folder = str(Path(__file__).parents[2])
    inherited = os.environ.get("PYTHONPATH")
    surroundings = os.environ | {
        "PYTHONPATH": folder if not inherited else f"{folder}{os.pathsep}{inherited}",
        "PXR_WORK_THREAD_LIMIT": "1",  # a fork has one thread
    }
    command = [sys.executable, "-m", "surefoot.formats.apart", *words]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, env=surroundings, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL)


def _wall_seconds(path: str | Path) -> float:
    """Return how long to wait for a look: that of a process that gets a third of a core, and half a minute to begin."""
    return 30.0 + 3.0 * seconds_for(path)


def _look_once(path: str | Path) -> tuple[int, str]:
    with _begun(str(path)) as process:
        try:
            told, _ = process.communicate(timeout=_wall_seconds(path))
        except subprocess.TimeoutExpired:
            process.kill()
            return SLOW, ""
        return exit_told(process.returncode), told.decode("utf-8", "replace")


def exit_told(code: int) -> int:
    """Return how a look ended from an exit code as `subprocess` has it, negative for a signal."""
    import signal

    if code == -getattr(signal, "SIGXCPU", 0):
        return SLOW
    return code if code in (GOOD, TOLD, SLOW) else CRASHED


class Lookout:
    """A standing process that reads each file in a fork of its own. It's started at the first look, and again after
    it was lost; it ends with the process that started it.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None

    def look(self, path: str | Path) -> tuple[int, str]:
        """Return how a look ended, and what is wrong with the file where that can be told."""
        if self._process is None or self._process.poll() is not None:
            self.close()
            self._process = _begun()
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None and stdout is not None  # noqa: PT018
        try:
            stdin.write(json.dumps(os.path.abspath(path)).encode() + b"\n")
            stdin.flush()
            if select.select([stdout], [], [], _wall_seconds(path))[0]:
                status, told = json.loads(stdout.readline())
                return int(status), str(told)
            lost = SLOW
        except (OSError, ValueError):
            lost = CRASHED
        self.close()
        return lost, ""

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None


_STANDING: ContextVar[Lookout | None] = ContextVar("standing lookout", default=None)


def keep_lookout() -> Lookout | None:
    """Have every look from here on done by one standing process; None where the system has no forks.

    For a process of our own, not for a host's.
    """
    standing = Lookout() if hasattr(os, "fork") else None
    _STANDING.set(standing)
    return standing
