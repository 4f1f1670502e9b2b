"""Layers: the difference between two clips, as keys to add on top."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.given import checked

__all__ = ["layer_between"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@checked()
def layer_between(before: Clip, after: Clip) -> Clip:
    """Return the clip that, added to ``before`` channel by channel, gives ``after`` over its frame range.

    Only channels that differ are in it; none at all where the two clips are alike, and adding it then changes
    nothing. The sum agrees at all times to rounding (1e-9 of a unit), since both are cubics between the union of
    their keys.

    Some channels can't be told as a sum of keys: one with ``bezier`` keys, one that
    jumps where the other moves on, one that goes round sooner than the new one. They are handed over
    whole, to be put in place of the old ones, and are named under ``replaced`` in the
    layer's extra fields.

    Raises
    ------
    InputError
        If what is handed in is no clip.
    """
    layers: dict[str, Curve] = {}
    replaced: list[str] = []
    for name, new in after.channels.items():
        old = before.channels.get(name)
        if old is new:
            continue
        if old is None:
            layers[name] = new
        elif (gap := _difference(old, new)) is None:
            layers[name] = new
            replaced.append(name)
        else:
            layers[name] = gap
    extra = {"layer": True} | ({"replaced": replaced} if replaced else {})
    name = f"{after.name}: correction" if after.name else "correction"
    return replace(after, channels=layers, stances=None, spaces={}, locked=frozenset(), name=name, extra=extra)


def _difference(old: Curve, new: Curve) -> Curve | None:
    """Return ``new - old`` with a key wherever either has one; None where no keys can tell it."""
    if Shape.BEZIER in old.shapes or Shape.BEZIER in new.shapes or not _covers(old, new):
        return None
    times = np.union1d(new.frames, old.frames)
    if new.after != Outside.HOLD or new.before != Outside.HOLD:  # only its own range may be repeated
        times = times[(times >= new.frames[0]) & (times <= new.frames[-1])]
    pair = Pack.from_curves([old, new])
    value, left, right = (pair.evaluate(times), pair.slopes(times, side="left"), pair.slopes(times, side="right"))
    gap, gap_in, gap_out = (v[1] - v[0] for v in (value, left, right))
    hold = np.array([_holding(curve, times) for curve in (old, new)])
    jump = np.zeros_like(hold)
    jump[:, :-1] = hold[:, :-1] & (value[:, 1:] != value[:, :-1])
    stepped = hold.all(axis=0) & (gap_in == 0.0)  # a step key is come to level
    if np.any(jump.any(axis=0) & ~stepped):
        return None
    shapes = np.where(stepped, np.int8(Shape.STEP), np.int8(Shape.GIVEN))
    return Curve(times, gap, shapes, gap_in, gap_out, None, new.before, new.after)


def _covers(old: Curve, new: Curve) -> bool:
    """Return whether all that ``old`` does where ``new`` has keys is between its own keys, or holding."""
    before = old.before == Outside.HOLD or old.frames[0] <= new.frames[0]
    after = old.after == Outside.HOLD or old.frames[-1] >= new.frames[-1]
    return bool((before and after) or len(old.frames) == 1)


def _holding(curve: Curve, times: Array) -> Flags:
    """Return at which times the curve holds its value until its next key."""
    at = np.searchsorted(curve.frames, times, side="right") - 1
    stepped = curve.shapes[np.maximum(at, 0)] == Shape.STEP
    return np.asarray(stepped | (at < 0) | (at == len(curve.frames) - 1))
