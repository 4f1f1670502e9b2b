"""Writing files whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import stat
from collections.abc import Sequence
from pathlib import Path

from surefoot.errors import FileError

__all__ = ["save_all", "save_bytes", "sweep"]

PART = re.compile(r"\..+\.[0-9a-f]{12}\.part")
"""What a temporary file is called."""


def save_bytes(data: bytes, path: str | Path) -> None:
    """Write ``data`` to ``path`` by way of a temporary file in the same folder.

    Raises FileError when that fails; whatever stood at ``path`` is then untouched
    and no temporary file is left. Where ``path`` is a link, the file that it leads to is written.
    """
    save_all([(data, path)])


def save_all(files: Sequence[tuple[bytes, str | Path]]) -> None:
    """Write several files: every one is ready under a temporary name before the first is put in place.

    Raises FileError when one can't be written; then none of them has been touched,
    unless the very last step, the renaming, failed for a later one.
    """
    waiting: list[tuple[str, Path, str | Path]] = []
    try:
        for data, path in files:
            _prepare(data, path, waiting)
        while waiting:
            temporary, target, path = waiting[0]
            try:
                os.replace(temporary, target)
            except OSError as error:
                raise _refusal(error, path) from None
            waiting.pop(0)
    finally:
        for temporary, _, _ in waiting:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def sweep(folder: str | Path) -> int:
    """Take away the temporary files that killed processes left in a folder and under it; return how many there were.

    Only for a folder that no other process is writing to.
    """
    left = [path for path in Path(folder).rglob(".*.part") if PART.fullmatch(path.name) and path.is_file()]
    for path in left:
        with contextlib.suppress(OSError):
            path.unlink()
    return len(left)


def _prepare(data: bytes, path: str | Path, waiting: list[tuple[str, Path, str | Path]]) -> None:
    """Write one file under its temporary name, and note it in ``waiting`` as soon as there is one."""
    try:
        target = Path(os.path.realpath(path))
        before = target.stat() if target.exists() else None
        if before is not None and not stat.S_ISREG(before.st_mode):
            what = "a folder" if stat.S_ISDIR(before.st_mode) else "no ordinary file"
            raise FileError(f"can't be written: it is {what}; name a file", place=str(path))
        if not target.parent.is_dir():
            raise FileError(f"can't be written: there is no folder {target.parent}", place=str(path))
        temporary = str(target.parent / f".{target.name[:40]}.{secrets.token_hex(6)}.part")
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        waiting.append((temporary, target, path))
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if before is not None:
            shutil.copymode(target, temporary)
    except (OSError, ValueError) as error:
        if isinstance(error, FileError):
            raise
        raise _refusal(error, path) from None


def _refusal(error: Exception, path: str | Path) -> FileError:
    told = error.strerror if isinstance(error, OSError) and error.strerror else error
    return FileError(f"can't be written: {told}", place=str(path))
