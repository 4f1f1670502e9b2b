"""The native format: a clip in JSON, with everything that it has."""

from __future__ import annotations

from surefoot.clip_file import clip_bytes, load_clip
from surefoot.formats.form import Format, Written

__all__ = ["FORMAT"]

FORMAT = Format(
    "native JSON", (".json",), "channels, keys and all", "exact",
    read_clip=lambda file: load_clip(file.path), write_clip=lambda wish: Written(clip_bytes(wish.clip)),
)  # fmt: skip
