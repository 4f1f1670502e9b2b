"""Layers: the difference between two clips, as keys to add on top."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape

__all__ = ["layer_between"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def layer_between(before: Clip, after: Clip) -> Clip:
    """Return the clip that, added to ``before`` channel by channel, gives ``after`` over its frame range.

    Only channels that differ are in it. The sum agrees at all times to rounding
    (1e-9 of a unit), since both are cubics between the union of their keys.

    Two kinds of channel can't be told as a sum of keys: one with ``bezier`` keys,
    and one that holds and then jumps where the other moves on. They are handed over
    whole, to be put in place of the old ones, and are named under ``replaced`` in the
    layer's extra fields.
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
    if not layers:
        first = next(iter(after.channels))
        layers[first] = Curve.constant(0.0, frame=float(after.first))
    extra = {"layer": True} | ({"replaced": replaced} if replaced else {})
    name = f"{after.name}: correction" if after.name else "correction"
    return replace(after, channels=layers, stances=None, spaces={}, locked=frozenset(), name=name, extra=extra)


def _difference(old: Curve, new: Curve) -> Curve | None:
    """Return ``new - old`` with a key wherever either has one; None where no keys can tell it."""
    if Shape.BEZIER in old.shapes or Shape.BEZIER in new.shapes:
        return None
    times = np.union1d(new.frames, old.frames)
    if new.after != Outside.HOLD or new.before != Outside.HOLD:  # only its own range may be repeated
        times = times[(times >= new.frames[0]) & (times <= new.frames[-1])]
    pair = Pack.from_curves([old, new])
    value, left, right = (pair.evaluate(times), pair.slopes(times, side="left"), pair.slopes(times, side="right"))
    gap, gap_in, gap_out = (v[1] - v[0] for v in (value, left, right))
    shapes = np.full(len(times), Shape.GIVEN, dtype=np.int8)
    old_holds, new_holds = _holding(old, times), _holding(new, times)
    if np.any(_jumps(old, times) & (old_holds & ~new_holds)[:-1]):
        return None
    if np.any(_jumps(new, times) & (new_holds & ~old_holds)[:-1]):
        return None
    shapes[old_holds & new_holds] = Shape.STEP
    return Curve(times, gap, shapes, gap_in, gap_out, None, new.before, new.after)


def _holding(curve: Curve, times: Array) -> Flags:
    """Return at which times the curve holds its value until its next key."""
    at = np.searchsorted(curve.frames, times, side="right") - 1
    stepped = curve.shapes[np.maximum(at, 0)] == Shape.STEP
    return np.asarray(stepped | (at < 0) | (at == len(curve.frames) - 1))


def _jumps(curve: Curve, times: Array) -> Flags:
    """Return for each time but the last whether the curve, if it holds there, jumps at the next."""
    at = Pack.from_curves([curve]).evaluate(times)[0]
    return np.asarray(at[1:] != at[:-1])
