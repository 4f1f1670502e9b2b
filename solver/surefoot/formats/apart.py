"""The process that looks at a file before others read it: see `looking`. Its exit status is 2 for what it can tell."""

from __future__ import annotations

import sys
from pathlib import Path

from surefoot.errors import FileError
from surefoot.formats.c3d import hold_c3d
from surefoot.formats.usd_read import open_stage, stage_motion

__all__ = ["look"]

ROOM = 4 << 30
"""Bytes of address space; the libraries take up to half a gigabyte of it empty."""


def look(path: str) -> int:
    """Read the file, and say on standard output what is wrong with it; return the exit status."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (ROOM, ROOM))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except ImportError:  # there are no such limits on this system
        pass
    try:
        if Path(path).suffix.lower() == ".c3d":
            hold_c3d(path)
        else:
            stage_motion(open_stage(path, look=False))
    except FileError as error:
        sys.stdout.buffer.write(error.reason.encode("utf-8", "replace"))
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(look(sys.argv[1]))
