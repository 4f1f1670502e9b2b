"""Generated libraries of clips, what a batch made of them, and the processes that it runs in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

import surefoot
from surefoot.clip_file import clip_bytes

__all__ = ["JOURNAL", "descendants", "held", "library"]

JOURNAL = ".surefoot-batch.jsonl"


def library(folder: Path, count: int, *, bad: bool = True) -> Path:
    """Write a generated library: walks of the lamplighter, each a little off, in folders; two files are damaged."""
    clip, _ = surefoot.demo("lamplighter")
    rng = np.random.default_rng(7)
    for n in range(count):
        moved = {
            name: replace(clip.channels[name], values=clip.channels[name].values + rng.normal(scale=0.4))
            for name in ("hips.y", "left_foot.z", "right_foot.pitch")
        }
        path = folder / f"{n % 3}" / f"{n:03d}.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(clip_bytes(replace(clip.with_channels(moved), name=f"walk {n}")))
    if bad:
        (folder / "0" / "bad.json").write_text("{")
        (folder / "0" / "cut.glb").write_bytes(b"glTF")
    return folder


def held(folder: Path) -> dict[str, bytes]:
    """Return every file but the journal, by path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


def descendants(process: int) -> list[int]:
    """Return every process under one, from the lists that Linux keeps."""
    found: list[int] = []
    for path in Path(f"/proc/{process}/task").glob("*/children"):
        for child in map(int, path.read_text().split()):
            found += [child, *descendants(child)]
    return found
