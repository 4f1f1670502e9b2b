"""A file looked at by another process first, within bounds of time and memory.

The libraries that read C3D and binary OpenUSD can crash, hang or fill the memory on a damaged file; none of that may
befall whoever asked. So a process of its own reads the file once; only when it comes back well is the file read here.
Where the running program is no Python (a host that has one inside), there's no such process and no look.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from surefoot.errors import FileError

__all__ = ["look_first"]

SECONDS, SECONDS_PER_MEGABYTE = 20.0, 1.0


def look_first(path: str | Path) -> None:
    """Raise FileError unless another process can read the C3D or OpenUSD file within bounds."""
    if not Path(sys.executable or "").name.lower().startswith("python"):
        return
    size = Path(path).stat().st_size / 1e6
    folder = str(Path(__file__).parents[2])
    inherited = os.environ.get("PYTHONPATH")
    surroundings = os.environ | {"PYTHONPATH": folder if not inherited else f"{folder}{os.pathsep}{inherited}"}
    command = [sys.executable, "-m", "surefoot.formats.apart", str(path)]
    try:
        done = subprocess.run(
            command, env=surroundings, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            timeout=SECONDS + SECONDS_PER_MEGABYTE * size, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise FileError("it takes far too long to read; it must be damaged", place=str(path)) from None
    if done.returncode == 2:
        raise FileError(done.stdout.decode("utf-8", "replace").strip() or "it can't be read", place=str(path))
    if done.returncode != 0:
        raise FileError("reading it crashes or fills the memory; it must be damaged", place=str(path))
