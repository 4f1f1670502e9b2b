"""A toy format: channels as columns between pipes, ``.pipes``, a row a frame."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from surefoot.clip import Clip
from surefoot.curves import Curve
from surefoot.formats.form import Format, Reading, Writing, Written


def _read(file: Reading) -> Clip:
    head, *rows = [line.split("|") for line in file.path.read_text("utf-8").splitlines()]
    values = np.array(rows, dtype=np.float64).T
    channels = {name: Curve.through(values[0], track) for name, track in zip(head[1:], values[1:], strict=True)}
    return Clip(channels, Fraction(24), int(values[0, 0]), int(values[0, -1]), rig="lamplighter")


def _write(wish: Writing) -> Written:
    clip = wish.clip
    frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    columns = [frames, *(curve.at(frames) for curve in clip.channels.values())]
    rows = ["|".join(map(repr, row)) for row in np.array(columns).T.tolist()]
    return Written(("\n".join(["|".join(["frame", *clip.channels]), *rows]) + "\n").encode())


FORMAT = Format("pipes", (".pipes",), "channels, sampled", "exact at frames", read_clip=_read, write_clip=_write)
