"""Exact edits of a curve's keys: scale and tilt, shift, split, and turn a cycle so that it starts elsewhere.

Keys stay keys. A scaled or shifted key keeps its shape, and its slopes and Bezier handles go with it, so that the
new curve is the old one scaled or shifted at every instant, not only at the keys.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.bezier import parameter_at
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.errors import InputError

__all__ = [
    "advance_of",
    "affine",
    "as_cycle",
    "closes",
    "cyclic",
    "rebased",
    "shifted",
    "spelt_out",
    "with_keys",
    "wrapped_in",
]

Array = NDArray[np.float64]

CLOSED = 1e-9
"""A cycle whose ends differ by less than this, of its largest value, is closed."""


def affine(curve: Curve, *, factor: float = 1.0, offset: float = 0.0, rate: float = 0.0, at: float = 0.0) -> Curve:
    """Return ``factor * curve + offset + rate * (frame - at)``, exactly, key by key.

    Shapes stay, but for level keys on a tilt, which get the tilt's slope stated. A tilt makes a curve that repeats
    one that advances.

    Raises
    ------
    InputError
        If a stepped key would have to be tilted: no key can tell that.
    """
    if factor == 1.0 and offset == 0.0 and rate == 0.0:
        return curve
    values = factor * curve.values + offset
    shapes, handles = curve.shapes, curve.handles
    slope_in, slope_out = factor * curve.slope_in, factor * curve.slope_out
    if handles is not None:
        handles = handles * np.array([1.0, factor, 1.0, factor])
    before, after = curve.before, curve.after
    if rate != 0.0 and len(curve.frames) > 1:
        if Shape.STEP in shapes:
            raise InputError("a stepped channel can't be tilted", place="keys")
        values = values + rate * (curve.frames - at)
        level = shapes == Shape.LEVEL
        shapes = np.where(level, np.int8(Shape.GIVEN), shapes)
        slope_in, slope_out = (np.where(level, 0.0, slope) + rate for slope in (slope_in, slope_out))
        if handles is not None:
            handles = handles + rate * handles[:, [0, 0, 2, 2]] * [0.0, 1.0, 0.0, 1.0]
        before, after = (Outside.ADVANCE if rule == Outside.REPEAT else rule for rule in (before, after))
    return Curve(curve.frames, values, shapes, slope_in, slope_out, handles, before, after)


def advance_of(curve: Curve) -> float:
    """Return by how much a channel advances a frame; 0 for one that doesn't."""
    if Outside.ADVANCE not in (curve.before, curve.after) or len(curve.frames) < 2:
        return 0.0
    return float((curve.values[-1] - curve.values[0]) / (curve.frames[-1] - curve.frames[0]))


def shifted(curve: Curve, by: float) -> Curve:
    """Return the curve ``by`` frames later (negative: earlier), all its keys moved."""
    return curve if by == 0.0 else replace(curve, frames=curve.frames + by)


def cyclic(curve: Curve) -> bool:
    """Tell whether a curve goes round on both sides under one rule; one key alone does."""
    return len(curve.frames) == 1 or (curve.before == curve.after != Outside.HOLD)


def closes(curve: Curve, *, rise: float = 0.0) -> bool:
    """Tell whether the last key's value is the first one's, plus ``rise``, to within rounding."""
    gap = abs(float(curve.values[-1] - curve.values[0]) - rise)
    return gap <= CLOSED * max(1.0, float(np.abs(curve.values).max()))


def rebased(curve: Curve, start: float) -> Curve:
    """Return a cyclic curve whose first key is its first one at or after ``start``; the motion is the same.

    The keys are turned round, none is made or lost: the two end keys, which are one, become one inside, and the
    new first key is repeated at the end. The same object comes back where nothing is to be done, and also where
    the end keys are not one: a jump at the seam, or a step that is come to in a slope.
    """
    if len(curve.frames) == 1 or not cyclic(curve):
        return curve
    period = float(curve.frames[-1] - curve.frames[0])
    rise = float(curve.values[-1] - curve.values[0]) if curve.after == Outside.ADVANCE else 0.0
    if float((start + np.mod(curve.frames[:-1] - start, period)).min()) == curve.frames[0]:
        return curve
    if not closes(curve, rise=rise):
        return curve
    joined = _seam_joined(curve)
    if joined is None:
        return curve
    own = joined.frames[:-1]
    turned = start + np.mod(own - start, period)
    order = np.argsort(turned, kind="stable")
    laps = np.round((turned - own) / period)[order]
    order = np.append(order, order[0])
    frames = np.append(turned[order[:-1]], turned[order[0]] + period)
    values = joined.values[order] + rise * np.append(laps, laps[0] + 1.0)
    handles = None if joined.handles is None else joined.handles[order]
    return Curve(
        frames, values, joined.shapes[order], joined.slope_in[order], joined.slope_out[order], handles,
        curve.before, curve.after,
    )  # fmt: skip


def _seam_joined(curve: Curve) -> Curve | None:
    """Return a cyclic curve whose first and last key are alike on both sides, or None where no key tells both."""
    first, last = int(curve.shapes[0]), int(curve.shapes[-1])
    plain = (Shape.LINEAR, Shape.THROUGH, Shape.LEVEL, Shape.STEP)
    if first == last and first in plain:
        return curve
    into, out = resolve_slopes(curve)
    if Shape.BEZIER in (first, last):
        if Shape.STEP in (first, last):
            return None
        curve = spelt_out(curve)
        assert curve.handles is not None
        handles = curve.handles.copy()
        handles[[0, -1]] = np.concatenate([handles[-1, :2], handles[0, 2:]])
        return replace(curve, handles=handles)
    if first == Shape.STEP and into[-1] != 0.0:
        return None
    shapes, slope_in, slope_out = curve.shapes.copy(), curve.slope_in.copy(), curve.slope_out.copy()
    shapes[[0, -1]] = Shape.STEP if first == Shape.STEP else Shape.GIVEN
    slope_in[[0, -1]], slope_out[[0, -1]] = into[-1], out[0]
    return replace(curve, shapes=shapes, slope_in=slope_in, slope_out=slope_out)


def spelt_out(curve: Curve) -> Curve:
    """Return the same curve with every slope stated: ``given`` keys, or ``bezier`` where it has any; steps stay."""
    step = curve.shapes == Shape.STEP
    into, out = resolve_slopes(curve)
    if Shape.BEZIER not in curve.shapes:
        shapes = np.where(step, np.int8(Shape.STEP), np.int8(Shape.GIVEN))
        return replace(curve, shapes=shapes, slope_in=into, slope_out=out, handles=None)
    assert curve.handles is not None
    handles = curve.handles.copy()
    run = np.diff(curve.frames) / 3.0
    lent = (curve.shapes != Shape.BEZIER) & ~step
    before, after = np.append(run[:1] * 0.0, run), np.append(run, 0.0)
    into, out = (np.where(lent, slope, 0.0) for slope in (into, out))
    third = np.array([-before, -before * into, after, after * out]).T
    handles[lent] = third[lent]
    shapes = np.where(step, np.int8(Shape.STEP), np.int8(Shape.BEZIER))
    return replace(curve, shapes=shapes, handles=handles)


def with_keys(curve: Curve, times: Array) -> Curve:
    """Return the same curve with keys at ``times`` too, inside its own range; the same object if it has them all."""
    times = np.unique(np.asarray(times, dtype=np.float64))
    inside = (times > curve.frames[0]) & (times < curve.frames[-1])
    new = times[inside & ~np.isin(times, curve.frames)]
    if not len(new):
        return curve
    curve = spelt_out(curve)
    if Shape.BEZIER in curve.shapes:
        for time in new.tolist():
            curve = _split(curve, time)
        return curve
    pack = Pack.from_curves([curve])
    at = np.searchsorted(curve.frames, new)
    step = np.int8(Shape.STEP)
    shapes = np.where(curve.shapes[at - 1] == step, step, np.int8(Shape.GIVEN))
    return Curve(
        np.insert(curve.frames, at, new),
        np.insert(curve.values, at, pack.evaluate(new)[0]),
        np.insert(curve.shapes, at, shapes),
        np.insert(curve.slope_in, at, pack.slopes(new, side="left")[0]),
        np.insert(curve.slope_out, at, pack.slopes(new, side="right")[0]),
        None, curve.before, curve.after,
    )  # fmt: skip


def _split(curve: Curve, time: float) -> Curve:
    """Return a spelt-out Bezier curve with one more key, by de Casteljau's construction."""
    assert curve.handles is not None
    right = int(np.searchsorted(curve.frames, time))
    left = right - 1
    handles = curve.handles.copy()
    if curve.shapes[left] == Shape.STEP:
        value, shape, handle = curve.values[left], Shape.STEP, np.zeros(4)
    else:
        length = curve.frames[right] - curve.frames[left]
        into = handles[right, :2] if curve.shapes[right] == Shape.BEZIER else np.array([-length / 3.0, 0.0])
        ends = [np.array([curve.frames[k], curve.values[k]]) for k in (left, right)]
        points = np.array([ends[0], ends[0] + handles[left, 2:], ends[1] + into, ends[1]])
        start, end = (points[1:3, 0] - points[0, 0]) / length
        s = float(parameter_at(np.array([(time - points[0, 0]) / length]), start=start[None], end=end[None])[0])
        one = points[:-1] + s * np.diff(points, axis=0)
        two = one[:-1] + s * np.diff(one, axis=0)
        middle = two[0] + s * (two[1] - two[0])
        value, shape = middle[1], Shape.BEZIER
        handle = np.concatenate([two[0] - middle, two[1] - middle])
        handle[[0, 2]] = np.clip(handle[[0, 2]], [points[0, 0] - time, 0.0], [0.0, points[3, 0] - time])
        handles[left, 2:] *= s
        handles[right, :2] *= 1.0 - s
    none = np.zeros(1)
    return Curve(
        np.insert(curve.frames, right, time), np.insert(curve.values, right, value),
        np.insert(curve.shapes, right, shape), np.insert(curve.slope_in, right, none),
        np.insert(curve.slope_out, right, none), np.insert(handles, right, handle, axis=0), curve.before, curve.after,
    )  # fmt: skip


def as_cycle(curve: Curve, first: float, span: float) -> Curve | None:
    """Return a loop's channel as one that goes round: itself, or its keys from ``first`` to ``first + span`` repeated.

    None where it holds outside its keys and doesn't close over the loop.
    """
    if cyclic(curve):
        return curve
    if Outside.HOLD not in (curve.before, curve.after):
        return None
    rule = curve.before if curve.after == Outside.HOLD else curve.after
    if rule != Outside.HOLD:  # it goes round on one side: its own period is the cycle
        return replace(curve, before=rule, after=rule)
    held = Pack.from_curves([curve])
    ends = np.array([first, first + span])
    outside = ends[(ends < curve.frames[0]) | (ends > curve.frames[-1])]
    made = with_keys(curve, ends)
    if len(outside):
        made = _with_held_ends(made, outside, held.evaluate(outside)[0])
    keep = (made.frames >= first) & (made.frames <= first + span)
    if np.count_nonzero(~keep) or _bends_otherwise(made):
        made = spelt_out(made)
    made = Curve(
        made.frames[keep], made.values[keep], made.shapes[keep], made.slope_in[keep], made.slope_out[keep],
        None if made.handles is None else made.handles[keep], Outside.REPEAT, Outside.REPEAT,
    )  # fmt: skip
    return made if closes(made) else None


def _bends_otherwise(curve: Curve) -> bool:
    """Tell whether a curve that holds would have other slopes at its ends if it went round, as ``through`` keys may."""
    told, round_ = resolve_slopes(curve), resolve_slopes(replace(curve, before=Outside.REPEAT, after=Outside.REPEAT))
    return not (np.isclose(told[1][0], round_[1][0]) and np.isclose(told[0][-1], round_[0][-1]))


def _with_held_ends(curve: Curve, times: Array, values: Array) -> Curve:
    """Return a curve with level keys where it holds, outside its own range."""
    curve = spelt_out(curve)
    at = np.searchsorted(curve.frames, times)
    none = np.zeros(len(times))
    slope_in, slope_out = curve.slope_in.copy(), curve.slope_out.copy()
    slope_in[0] = slope_out[-1] = 0.0  # it comes out of the hold
    return Curve(
        np.insert(curve.frames, at, times), np.insert(curve.values, at, values),
        np.insert(curve.shapes, at, np.int8(Shape.LEVEL)), np.insert(slope_in, at, none),
        np.insert(slope_out, at, none),
        None if curve.handles is None else np.insert(curve.handles, at, np.zeros((len(times), 4)), axis=0),
        curve.before, curve.after,
    )  # fmt: skip


def wrapped_in(curve: Curve, first: float, span: float) -> Curve:
    """Return a loop's channel with every key between ``first`` and ``first + span``, both included.

    One that goes round is turned and split, its motion the same. One that holds has its keys beyond the range put
    in their place a round earlier or later, where there's no key yet. The same object comes back if none is beyond.
    """
    end = first + span
    if curve.frames[0] >= first and curve.frames[-1] <= end:
        return curve
    if len(curve.frames) > 1 and cyclic(curve):
        if curve.frames[-1] - curve.frames[0] != span:
            return curve  # its own period isn't the loop's: it stays
        rise = float(curve.values[-1] - curve.values[0]) if curve.after == Outside.ADVANCE else 0.0
        seam = first + span * np.floor((curve.frames[-1] - first) / span)
        made = rebased(with_keys(curve, np.array([seam])), first)
        return made if closes(curve, rise=rise) and made.frames[0] == first else curve
    curve = spelt_out(curve)
    inside = (curve.frames >= first) & (curve.frames <= end)
    home = np.where(inside, curve.frames, first + np.mod(curve.frames - first, span))
    order = np.lexsort((~inside, home))
    keep = order[np.append(True, np.diff(home[order]) > 0.0)]
    return Curve(
        home[keep], curve.values[keep], curve.shapes[keep], curve.slope_in[keep], curve.slope_out[keep],
        _within(curve, keep, home[keep]), curve.before, curve.after,
    )  # fmt: skip


def _within(curve: Curve, keep: NDArray[np.intp], frames: Array) -> Array | None:
    """Return the kept keys' handles, shortened along themselves where they would pass a neighbour."""
    if curve.handles is None:
        return None
    handles = curve.handles[keep].copy()
    gap = np.diff(frames)
    for columns, room in (((0, 1), np.append(np.inf, gap)), ((2, 3), np.append(gap, np.inf))):
        reach = np.abs(handles[:, columns[0]])
        handles[:, columns] *= np.minimum(1.0, room / np.where(reach > 0.0, reach, 1.0))[:, None]
    return handles
