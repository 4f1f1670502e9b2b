"""Faults of the system on demand: the n-th time that anything is opened to write, made or renamed, it fails."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["faults", "unwatched"]

MAKES = ("os.mkdir", "os.rename", "os.link", "os.symlink")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
_now: list[Callable[[str], None]] = []
_hooked: list[bool] = []


def _hook(event: str, arguments: tuple[object, ...]) -> None:
    """See every change of a file before it is made, whichever way it is asked for; an exception stops it."""
    if not _now:
        return
    if event == "open":
        path, _, flags = arguments
        if not isinstance(flags, int) or not flags & WRITES or not isinstance(path, str | bytes):
            return
        if os.fsdecode(path) == os.devnull or "__pycache__" in os.fsdecode(path):
            return
    elif event not in MAKES:
        return
    _now[-1](event)


def unwatched() -> dict[str, str]:
    """Return the environment for a process in which no coverage is measured: that would import and write by itself."""
    return {name: value for name, value in os.environ.items() if not name.startswith("COVERAGE_")}


@contextmanager
def faults(act: Callable[[int], None]) -> Iterator[list[str]]:
    """Call ``act`` with 1, 2, 3 ... before each change of a file; yields the list of what has been asked for."""
    if not _hooked:
        sys.addaudithook(_hook)
        _hooked.append(True)
    seen: list[str] = []

    def one(event: str) -> None:
        seen.append(event)
        act(len(seen))

    _now.append(one)
    try:
        yield seen
    finally:
        _now.pop()
