"""How the shape of a key sets the slope of the curve on its two sides.

Works on the keys of many curves laid end to end, so that a whole rig's channels cost no more calls than one.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from surefoot.bezier import Segments, steepness

__all__ = ["Keys", "Outside", "Shape", "bezier_segments", "hermite_segments", "key_slopes"]

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


class Shape(IntEnum):
    """What a key does to the curve around it."""

    STEP = 0
    """The value holds until the next key."""
    LINEAR = 1
    """Toward each neighbour along the straight line to it."""
    THROUGH = 2
    """One slope, from neighbour to neighbour."""
    LEVEL = 3
    """Slope zero."""
    GIVEN = 4
    """The slopes are stated, one each side."""
    BEZIER = 5
    """Handles in time and value, one each side."""


class Outside(IntEnum):
    """What a curve does before its first key, or after its last."""

    HOLD = 0
    """Stays at the end key's value."""
    REPEAT = 1
    """Starts again; the period runs from the first key to the last."""
    ADVANCE = 2
    """Repeats, and adds the difference between last and first value each time."""


class Keys(NamedTuple):
    """The keys of one or more curves, laid end to end.

    Attributes
    ----------
    frames, values : ndarray, shape (n,)
        Instants in frames, and values in each curve's own unit.
    shapes : ndarray of int8, shape (n,)
        Codes of `Shape`.
    slope_in, slope_out : ndarray, shape (n,)
        Stated slopes per frame; read at GIVEN keys only.
    handles : ndarray, shape (n, 4), or None
        In time, in value, out time, out value, as offsets from the key; read at BEZIER keys only.
    first, last : ndarray of int, shape (curves,)
        Index of each curve's first and last key.
    before, after : ndarray of int, shape (curves,)
        Codes of `Outside`.
    """

    frames: Floats
    values: Floats
    shapes: npt.NDArray[np.int8]
    slope_in: Floats
    slope_out: Floats
    handles: Floats | None
    first: Indices
    last: Indices
    before: Indices
    after: Indices

    @property
    def wraps(self) -> npt.NDArray[np.bool_]:
        """Whether each curve goes round on either side, shape (curves,). One key alone never does."""
        return ((self.before + self.after) > 0) & (self.last > self.first)


def key_slopes(keys: Keys) -> tuple[Floats, Floats]:
    """Return the slope per frame with which the curve comes into each key and goes out of it.

    STEP and LEVEL give zero. LINEAR gives the chord of the segment on that side, and THROUGH the slope from
    neighbour to neighbour; where a curve goes round on either side, the neighbour of an end key is found
    round the period, so that the seam is smooth; else the one segment there is counts. BEZIER gives the
    direction of the handle, zero for a handle of no length.

    Returns
    -------
    slope_in, slope_out : ndarray, shape (n,)
        In each curve's own unit per frame.
    """
    held = keys.shapes.tobytes()  # below, plain numbers compare five times as fast as an enumeration's members
    slope_in = np.zeros(keys.frames.size)
    slope_out = np.zeros(keys.frames.size)
    if Shape.THROUGH in held:
        mask = keys.shapes == int(Shape.THROUGH)
        through = _through(keys)
        np.copyto(slope_in, through, where=mask)
        np.copyto(slope_out, through, where=mask)
    if Shape.LINEAR in held:
        mask = keys.shapes == int(Shape.LINEAR)
        chord_in, chord_out = _chords(keys)
        np.copyto(slope_in, chord_in, where=mask)
        np.copyto(slope_out, chord_out, where=mask)
    if Shape.GIVEN in held:
        mask = keys.shapes == int(Shape.GIVEN)
        np.copyto(slope_in, keys.slope_in, where=mask)
        np.copyto(slope_out, keys.slope_out, where=mask)
    if Shape.BEZIER in held and keys.handles is not None:
        mask = keys.shapes == int(Shape.BEZIER)
        handles = keys.handles[mask]
        slope_in[mask] = steepness(-handles[:, 1], -handles[:, 0])
        slope_out[mask] = steepness(handles[:, 3], handles[:, 2])
    return slope_in, slope_out


def _through(keys: Keys) -> Floats:
    """Return the slope from neighbour to neighbour at every key, shape (n,)."""
    frames, values, first, last = keys.frames, keys.values, keys.first, keys.last
    wraps = keys.wraps
    past, past_value = np.empty_like(frames), np.empty_like(frames)
    coming, coming_value = np.empty_like(frames), np.empty_like(frames)
    past[1:], past_value[1:] = frames[:-1], values[:-1]
    coming[:-1], coming_value[:-1] = frames[1:], values[1:]
    past[first], past_value[first] = frames[first], values[first]
    coming[last], coming_value[last] = frames[last], values[last]
    if np.count_nonzero(wraps):
        head, tail = first[wraps], last[wraps]
        before, after = keys.before[wraps], keys.after[wraps]
        period, rise = frames[tail] - frames[head], values[tail] - values[head]
        holds, advances = int(Outside.HOLD), int(Outside.ADVANCE)
        falls = rise * (np.where(before == holds, after, before) == advances)
        rises = rise * (np.where(after == holds, before, after) == advances)
        past[head], past_value[head] = frames[tail - 1] - period, values[tail - 1] - falls
        coming[tail], coming_value[tail] = frames[head + 1] + period, values[head + 1] + rises
    run = coming - past
    run[run == 0.0] = 1.0  # a curve of one key
    return (coming_value - past_value) / run


def _chords(keys: Keys) -> tuple[Floats, Floats]:
    """Return the chord of the segment before and after every key, each shape (n,)."""
    first, last, wraps = keys.first, keys.last, keys.wraps
    run = np.ones_like(keys.frames)
    rise = np.zeros_like(keys.frames)
    np.subtract(keys.frames[1:], keys.frames[:-1], out=run[:-1])
    np.subtract(keys.values[1:], keys.values[:-1], out=rise[:-1])
    run[last], rise[last] = 1.0, 0.0
    chord_out = rise / run
    chord_in = np.empty_like(chord_out)
    chord_in[1:] = chord_out[:-1]
    chord_in[first] = 0.0
    head, tail = chord_out[first], chord_in[last]
    chord_in[first] = np.where(wraps, tail, head)
    chord_out[last] = np.where(wraps, head, tail)
    return chord_in, chord_out


def hermite_segments(keys: Keys, left: Indices, *, slope_in: Floats, slope_out: Floats) -> Floats:
    """Return the coefficients of powers 1 to 3 of frames since the left key, shape (3, segments).

    The slopes enter as what they differ from the chord by, so that a straight segment is exactly straight.
    """
    length = keys.frames[left + 1] - keys.frames[left]
    chord = (keys.values[left + 1] - keys.values[left]) / length
    leaving = slope_out[left]
    over, under = leaving - chord, slope_in[left + 1] - chord
    return np.stack([leaving, -(over + over + under) / length, (over + under) / (length * length)])


def bezier_segments(keys: Keys, *, slope_in: Floats, slope_out: Floats) -> tuple[Indices, Segments]:
    """Return the left key of every segment that is a Bezier, and those segments.

    A segment is a Bezier where either of its keys is, unless the left one steps. The end that is not a
    Bezier lends a handle of a third of the segment along its slope.
    """
    is_bezier = keys.shapes == int(Shape.BEZIER)
    curved = np.zeros(is_bezier.size, dtype=np.bool_)
    curved[:-1] = is_bezier[:-1] | is_bezier[1:]
    curved &= keys.shapes != int(Shape.STEP)
    curved[keys.last] = False
    left = np.flatnonzero(curved)
    right = left + 1
    handles = keys.handles if keys.handles is not None else np.zeros((keys.frames.size, 4))
    length = keys.frames[right] - keys.frames[left]
    lent = length / 3.0
    out_stated, in_stated = is_bezier[left], is_bezier[right]
    start = np.where(out_stated, handles[left, 2] / length, 1.0 / 3.0)
    end = np.where(in_stated, 1.0 + handles[right, 0] / length, 2.0 / 3.0)
    start_rise = handles[left, 3].copy()
    end_rise = handles[right, 1].copy()
    start_rise[~out_stated] = (slope_out[left] * lent)[~out_stated]
    end_rise[~in_stated] = (-slope_in[right] * lent)[~in_stated]
    from_value, to_value = keys.values[left], keys.values[right]
    points = np.stack([from_value, from_value + start_rise, to_value + end_rise, to_value])
    return left, Segments(length, start, end, points)
