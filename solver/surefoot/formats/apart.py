"""The process that looks at a file before others read it: see `looking`.

Given a path it looks at that file, says on standard output what is wrong with it, and its exit status says how it
went. Given none it stands: for each line of standard input, a path in JSON, it looks in a fork and answers with a
line, the status and what is wrong.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import math
import os
import select
import signal
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from surefoot.errors import FileError, InputError
from surefoot.formats.c3d import hold_c3d
from surefoot.formats.looking import CRASHED, GOOD, SLOW, TOLD, exit_told, room_for, seconds_for
from surefoot.formats.usd_read import open_stage, stage_motion

__all__ = ["look", "stand"]

LIBRARIES = {".c3d": ("ezc3d",), ".usd": ("pxr.Usd", "pxr.UsdGeom", "pxr.UsdSkel", "pxr.Tf")}
UNKNOWN_SIZE = 1 << 30
"""Bytes that this process is taken to hold where the system doesn't tell."""


def look(path: str) -> tuple[int, str]:
    """Read the file within bounds, and return how that ended and what is wrong with it."""
    _bound(path)
    try:
        if Path(path).suffix.lower() == ".c3d":
            hold_c3d(path)
        else:
            stage_motion(open_stage(path, look=False))
    except FileError as error:
        return TOLD, error.reason
    except InputError:  # nothing wrong with the bytes, such as a library that isn't there: whoever reads it tells
        pass
    return GOOD, ""


def _bound(path: str) -> None:
    """Let this process take so much more memory and time, and leave no image of itself when it crashes."""
    try:
        import resource
    except ImportError:  # there are no such limits on this system
        return
    seconds = math.ceil(time.process_time() + seconds_for(path))
    for kind, wanted in (
        (resource.RLIMIT_AS, _size() + room_for(path)),
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_CORE, 0),
    ):
        before, most = resource.getrlimit(kind)
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(kind, (wanted if before == resource.RLIM_INFINITY else min(wanted, before), most))


def _size() -> int:
    """Return the bytes of address space that this process has."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return UNKNOWN_SIZE


def stand(paths: Iterable[bytes], sink: BinaryIO) -> None:
    """Answer for each path until there are no more. The libraries are loaded once, before the first fork."""
    for line in paths:
        path = str(json.loads(line))
        kind = ".c3d" if Path(path).suffix.lower() == ".c3d" else ".usd"
        with contextlib.suppress(ImportError):
            for name in LIBRARIES[kind]:
                importlib.import_module(name)
        sink.write(json.dumps(_forked(path)).encode() + b"\n")
        sink.flush()


def _forked(path: str) -> tuple[int, str]:
    try:
        deadline = time.monotonic() + 3.0 * seconds_for(path)
        here, there = os.pipe()
        child = os.fork()
    except OSError as error:
        return TOLD, f"can't be looked at: {error.strerror}"
    if child == 0:
        _look_and_end(path, there)
    os.close(there)
    told, late = b"", False
    while not late:
        late = not select.select([here], [], [], max(0.0, deadline - time.monotonic()))[0]
        part = b"" if late else os.read(here, 65536)
        told += part
        if not part:
            break
    os.close(here)
    if late:
        os.kill(child, signal.SIGKILL)
    status = exit_told(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
    return (SLOW, "") if late else (status, told.decode("utf-8", "replace"))


def _look_and_end(path: str, there: int) -> None:
    status = CRASHED
    try:
        aside = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(aside, stream)
        status, told = look(path)
        os.write(there, told.encode("utf-8", "replace")[:4096])
    finally:
        os._exit(status)


def _main(words: list[str]) -> int:
    if not words:
        stand(sys.stdin.buffer, sys.stdout.buffer)
        return 0
    status, told = look(words[0])
    sys.stdout.buffer.write(told.encode("utf-8", "replace"))
    return status


if __name__ == "__main__":
    sys.exit(_main(sys.argv[1:]))
