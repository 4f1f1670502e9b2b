"""Layers: the difference between two clips, as keys to add on top."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surefoot.clip import Clip
from surefoot.curves import Curve, Pack, Shape

__all__ = ["layer_between"]


def layer_between(before: Clip, after: Clip) -> Clip:
    """Return the clip that, added to ``before`` channel by channel, gives ``after`` over its frame range.

    Only channels that differ are in it. The sum agrees at all times to rounding
    (1e-9 of a unit), since both are cubics between the union of their keys. A
    channel with ``bezier`` keys can't be told as such a sum: it is left out, and
    named under ``replaced`` in the layer's extra fields.
    """
    layers: dict[str, Curve] = {}
    replaced: list[str] = []
    for name, new in after.channels.items():
        old = before.channels.get(name)
        if old is new:
            continue
        if old is None:
            layers[name] = new
        elif Shape.BEZIER in old.shapes or Shape.BEZIER in new.shapes:
            replaced.append(name)
        else:
            layers[name] = _difference(old, new)
    if not layers:
        first = next(iter(after.channels))
        layers[first] = Curve.constant(0.0, frame=float(after.first))
    extra = {"layer": True} | ({"replaced": replaced} if replaced else {})
    name = f"{after.name}: correction" if after.name else "correction"
    return replace(after, channels=layers, stances=None, spaces={}, locked=frozenset(), name=name, extra=extra)


def _difference(old: Curve, new: Curve) -> Curve:
    """Return ``new - old`` with a key wherever either has one, between the first and last key of ``new``."""
    times = np.union1d(new.frames, old.frames)
    times = times[(times >= new.frames[0]) & (times <= new.frames[-1])]
    pair = Pack.from_curves([old, new])
    value, left, right = (pair.evaluate(times), pair.slopes(times, side="left"), pair.slopes(times, side="right"))
    gap, gap_in, gap_out = (v[1] - v[0] for v in (value, left, right))
    stepped = bool((old.shapes == Shape.STEP).any() or (new.shapes == Shape.STEP).any())
    shapes = np.full(len(times), Shape.GIVEN, dtype=np.int8)
    if stepped:
        held = [_holding(curve, times) for curve in (old, new)]
        shapes[held[0] & held[1]] = Shape.STEP
    return Curve(times, gap, shapes, gap_in, gap_out, None, new.before, new.after)


def _holding(curve: Curve, times: np.ndarray) -> np.ndarray:
    """Return at which times the curve holds its value until its next key."""
    at = np.clip(np.searchsorted(curve.frames, times, side="right") - 1, 0, len(curve.frames) - 1)
    return np.asarray(curve.shapes[at] == Shape.STEP)
