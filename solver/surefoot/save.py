"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from surefoot.errors import FileError

__all__ = ["save_bytes"]


def save_bytes(data: bytes, path: str | Path) -> None:
    """Write ``data`` to ``path`` by way of a temporary file in the same folder.

    Raises FileError when that fails; whatever stood at ``path`` is then untouched
    and no temporary file is left.
    """
    target = Path(path)
    temporary = ""
    try:
        temporary = str(target.parent / f".{target.name[:40]}.{secrets.token_hex(6)}.part")
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            shutil.copymode(target, temporary)
        os.replace(temporary, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            if temporary:
                os.unlink(temporary)
        raise FileError(f"can't be written: {error.strerror or error}", place=str(path)) from None
