"""New keys in place of those of a range of frames: what lies outside it stays."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve, Shape
from surefoot.key_edits import spelt_out, with_keys

__all__ = ["put_within"]

Array = NDArray[np.float64]


def put_within(old: Curve, frames: Array, values: Array, slope_in: Array, slope_out: Array) -> Curve:
    """Put new keys in place of those of a range; keys outside it stay, with their slopes spelt out.

    The curve outside is what it was, but for what the new values at the range's ends differ by from the old ones;
    it leaves and enters the range with its own slopes and, where it's a Bezier, its own handles.
    """
    before, after = old.frames < frames[0], old.frames > frames[-1]
    if not (np.count_nonzero(before) or np.count_nonzero(after)):
        return Curve.trusted(frames, values, slope_in, slope_out, before=old.before, after=old.after)
    split = spelt_out(with_keys(old, frames[[0, -1]]))
    before, after = split.frames < frames[0], split.frames > frames[-1]
    slope_in, slope_out = slope_in.copy(), slope_out.copy()
    shapes = np.full(len(frames), Shape.GIVEN, dtype=np.int8)
    alone = len(frames) == 1
    inner = np.zeros(2) if alone else np.diff(frames)[[0, -1]] / 3.0
    ends = {}
    for key, outside, slope, theirs in ((0, before, slope_in, split.slope_in), (-1, after, slope_out, split.slope_out)):
        (here,) = np.nonzero(split.frames == frames[key])
        if outside.any() and len(here):
            slope[key] = theirs[here[0]]
            ends[key] = int(here[0])
    if -1 in ends and split.shapes[ends[-1]] == Shape.STEP:
        shapes[-1] = Shape.STEP
    handles = None
    if split.handles is not None:
        handles = np.zeros((len(frames), 4))
        for key, end in ends.items():
            if split.shapes[end] == Shape.BEZIER:
                shapes[key] = Shape.BEZIER
                third = np.array([-inner[1], -inner[1] * slope_in[key], inner[0], inner[0] * slope_out[key]])
                own = np.repeat(
                    [0 in ends and key in (0, -len(frames)), -1 in ends and key in (-1, len(frames) - 1)], 2
                )
                handles[key] = np.where(own, split.handles[end], third)
        handles = np.concatenate([split.handles[before], handles, split.handles[after]])

    def joined(mine: NDArray[Any], theirs: NDArray[Any]) -> NDArray[Any]:
        return np.concatenate([theirs[before], mine, theirs[after]])

    return Curve(
        joined(frames, split.frames), joined(values, split.values), joined(shapes, split.shapes),
        joined(slope_in, split.slope_in), joined(slope_out, split.slope_out), handles, old.before, old.after,
    )  # fmt: skip
