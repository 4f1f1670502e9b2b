"""Animated channels: a curve of keys, and packs of curves for evaluating many at once.

Values stay in the file's own unit throughout; nothing here converts them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from surefoot.bezier import Segments, end_slopes, fit_segment_slopes, slopes_at, values_at
from surefoot.errors import InputError, ShapeError
from surefoot.key_checks import check_given, check_handles, check_keys, check_sizes
from surefoot.rounds import Rounds, rounds_of, turned
from surefoot.tangents import Keys, Outside, Shape, bezier_segments, hermite_segments, key_slopes

__all__ = ["Curve", "Outside", "Pack", "Shape", "fit_segment_slopes", "resolve_slopes"]

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

_TABLE_ROOM = 65536  # entries, half a megabyte


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One animated channel: keys in order of frame, and what happens outside them.

    Attributes
    ----------
    frames : ndarray, shape (n,)
        The animator's frame of each key, strictly increasing; need not be whole.
    values : ndarray, shape (n,)
        In the file's own unit, kept bit for bit.
    shapes : ndarray of int8, shape (n,)
        Codes of `Shape`.
    slope_in, slope_out : ndarray, shape (n,)
        Value per frame, left and right of each key; read at GIVEN keys only.
    handles : ndarray, shape (n, 4), or None
        In time (<= 0), in value, out time (>= 0), out value, as offsets from the key; read at BEZIER keys
        only. None reaches past the neighbouring key, so time never runs backwards.
    before, after : Outside
        What the curve does before its first and after its last key. A single key always holds.

    Raises
    ------
    InputError
        If the keys are none, out of order, twice on one frame, not finite, or a handle runs backwards or
        too far. Names the key by its number, from 1, and its frame.
    ShapeError
        If the arrays differ in length.
    """

    frames: Floats
    values: Floats
    shapes: npt.NDArray[np.int8]
    slope_in: Floats
    slope_out: Floats
    handles: Floats | None = None
    before: Outside = Outside.HOLD
    after: Outside = Outside.HOLD

    def __post_init__(self) -> None:
        try:
            arrays = [np.array(a, dtype=np.float64) for a in (self.frames, self.values, self.slope_in, self.slope_out)]
            shapes = np.array(self.shapes, dtype=np.int8)
            handles = None if self.handles is None else np.array(self.handles, dtype=np.float64)
            before, after = Outside(self.before), Outside(self.after)
        except (TypeError, ValueError, OverflowError) as problem:
            raise InputError(f"a curve is made of numbers: {problem}", place="keys") from problem
        frames, values, slope_in, slope_out = arrays
        check_sizes(frames, values, shapes, slope_in, slope_out, handles)
        check_keys(frames, values, shapes)
        held = shapes.tobytes()
        if Shape.GIVEN in held:
            check_given(frames, shapes, slope_in, slope_out)
        if Shape.BEZIER in held:
            check_handles(frames, shapes, handles)
        put = object.__setattr__
        named = ("frames", frames), ("values", values), ("slope_in", slope_in), ("slope_out", slope_out)
        for name, array in (*named, ("shapes", shapes), ("handles", handles)):
            if array is not None:
                array.setflags(write=False)
            put(self, name, array)
        put(self, "before", before)
        put(self, "after", after)

    @classmethod
    def shaped(
        cls, frames: npt.ArrayLike, values: npt.ArrayLike, *, shape: Shape,
        before: Outside = Outside.HOLD, after: Outside = Outside.HOLD,
    ) -> Curve:  # fmt: skip
        """Return a curve whose keys all have one shape: any but GIVEN and BEZIER, which need more said."""
        if shape in (Shape.GIVEN, Shape.BEZIER):
            raise InputError(f"keys of shape {shape.name} need slopes or handles", place="shape")
        times = np.asarray(frames, dtype=np.float64)
        zeros = np.zeros(times.shape)
        shapes = np.full(times.shape, shape, dtype=np.int8)
        return cls(times, np.asarray(values, dtype=np.float64), shapes, zeros, zeros, None, before, after)

    @classmethod
    def constant(cls, value: float, *, frame: float = 1.0) -> Curve:
        """Return a curve of one key, which has that value at every frame."""
        return cls.shaped([frame], [value], shape=Shape.LEVEL)

    @classmethod
    def through(
        cls, frames: npt.ArrayLike, values: npt.ArrayLike, *,
        before: Outside = Outside.HOLD, after: Outside = Outside.HOLD,
    ) -> Curve:  # fmt: skip
        """Return a curve whose slopes run from neighbour to neighbour."""
        return cls.shaped(frames, values, shape=Shape.THROUGH, before=before, after=after)

    @classmethod
    def given(
        cls,
        frames: npt.ArrayLike,
        values: npt.ArrayLike,
        slope_in: npt.ArrayLike,
        slope_out: npt.ArrayLike,
        *,
        before: Outside = Outside.HOLD,
        after: Outside = Outside.HOLD,
    ) -> Curve:
        """Return a curve with stated slopes, in value per frame."""
        times, heights, entering, leaving = (
            np.asarray(a, dtype=np.float64) for a in (frames, values, slope_in, slope_out)
        )
        shapes = np.full(times.shape, Shape.GIVEN, dtype=np.int8)
        return cls(times, heights, shapes, entering, leaving, None, before, after)

    @classmethod
    def trusted(
        cls, frames: Floats, values: Floats, slope_in: Floats, slope_out: Floats, *, before: Outside, after: Outside
    ) -> Curve:
        """Return a curve with stated slopes of arrays known to be good: not checked nor copied, but made read-only."""
        made, put = object.__new__(cls), object.__setattr__
        shapes = np.empty(frames.shape, dtype=np.int8)
        shapes.fill(Shape.GIVEN)
        names = ("frames", "values", "shapes", "slope_in", "slope_out")
        arrays: tuple[npt.NDArray[Any], ...] = (frames, values, shapes, slope_in, slope_out)
        for name, array in zip(names, arrays, strict=True):
            array.setflags(write=False)
            put(made, name, array)
        put(made, "handles", None)
        put(made, "before", before)
        put(made, "after", after)
        return made


def resolve_slopes(curve: Curve) -> tuple[Floats, Floats]:
    """Return the slope per frame with which a curve comes into each key and goes out of it, each shape (n,).

    What `surefoot.tangents.key_slopes` says, but that a BEZIER handle of no length takes the direction to the
    segment's next control point; infinite where a handle is upright. After a STEP key the curve holds, so
    there its out slope is zero, and so is the slope a `Pack` gives up to the next key.
    """
    keys = _keys_of([curve])
    slope_in, slope_out = key_slopes(keys)
    if Shape.BEZIER in curve.shapes.tobytes():
        left, segments = bezier_segments(keys, slope_in=slope_in, slope_out=slope_out)
        start, end = end_slopes(segments)
        leaves, enters = curve.shapes[left] == Shape.BEZIER, curve.shapes[left + 1] == Shape.BEZIER
        slope_out[left[leaves]] = start[leaves]
        slope_in[left[enters] + 1] = end[enters]
    return slope_in, slope_out


def _keys_of(curves: Sequence[Curve]) -> Keys:
    """Return the keys of the curves laid end to end."""
    counts = np.array([c.frames.size for c in curves], dtype=np.intp)
    past_last = counts.cumsum()
    frames = np.concatenate([c.frames for c in curves])
    handles = None
    if any(c.handles is not None for c in curves):
        handles = np.concatenate([np.zeros((c.frames.size, 4)) if c.handles is None else c.handles for c in curves])
    return Keys(
        frames=frames,
        values=np.concatenate([c.values for c in curves]),
        shapes=np.concatenate([c.shapes for c in curves]),
        slope_in=np.concatenate([c.slope_in for c in curves]),
        slope_out=np.concatenate([c.slope_out for c in curves]),
        handles=handles,
        first=past_last - counts,
        last=past_last - 1,
        before=np.array([c.before for c in curves], dtype=np.intp),
        after=np.array([c.after for c in curves], dtype=np.intp),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Pack:
    """Many curves laid out once for fast repeated evaluation. Build it with `from_curves`.

    Each channel is a run of segments: one held before the first key, one from each key to the next, one held
    after the last. A frame's segment is found exactly, without shifting times: the frame is ranked among the
    key frames of all channels, and the rank leads to the segment, by a table, or by a search over whole
    numbers where the table would be far larger than the keys. At a key the offset is zero, so the key's
    value comes back bit for bit.
    """

    channels: int
    _ranks: Floats  # (r,) every key frame once, in order
    _table: Indices | None  # (channels * (r + 1),) segment by channel and rank
    _places: Indices  # (keys,) channel * (r + 1) + rank + 1 of each key; searched where there is no table
    _start: Floats  # (s,) frame of the left key of each segment
    _cubic: Floats  # (4, s) coefficients of powers 0 to 3 of frames since the left key
    _bezier_row: Indices  # (s,) row in _bezier, or -1
    _bezier: Segments | None
    _rounds: Rounds | None

    @classmethod
    def from_curves(cls, curves: Sequence[Curve]) -> Pack:
        """Return the curves packed, in their order. Raises InputError if there are none."""
        if not curves:
            raise InputError("a pack needs at least one curve, got none", place="curves")
        keys = _keys_of(curves)
        size, channels = keys.frames.size, len(curves)
        channel = np.repeat(np.arange(channels), keys.last - keys.first + 1)
        ranks, places, table = _ranked(keys.frames, channel, channels)
        segment = np.arange(1, size + 1) + channel
        heads = keys.first + np.arange(channels)
        start = np.empty(size + channels)
        cubic = np.zeros((4, size + channels))
        start[segment], start[heads] = keys.frames, keys.frames[keys.first]
        cubic[0, segment], cubic[0, heads] = keys.values, keys.values[keys.first]
        slope_in, slope_out = key_slopes(keys)
        moves = keys.shapes != int(Shape.STEP)
        moves[keys.last] = False
        bezier, bezier_row = None, np.zeros(0, dtype=np.intp)
        if Shape.BEZIER in keys.shapes.tobytes():
            left, bezier = bezier_segments(keys, slope_in=slope_in, slope_out=slope_out)
            bezier_row = np.full(size + channels, -1)
            bezier_row[segment[left]] = np.arange(left.size)
            moves[left] = False
        left = moves.nonzero()[0]
        cubic[1:, segment[left]] = hermite_segments(keys, left, slope_in=slope_in, slope_out=slope_out)
        return cls(channels, ranks, table, places, start, cubic, bezier_row, bezier, rounds_of(keys))

    def evaluate(self, frames: npt.ArrayLike) -> Floats:
        """Return every channel's value at those frames, each in its own file unit.

        Parameters
        ----------
        frames : array_like, shape (m,)
            Frames in any order; need not be whole.

        Returns
        -------
        ndarray, shape (channels, m)
            At a key, that key's value bit for bit. A curve that repeats over ends that differ takes, at a
            seam outside its keys, the end nearer to the keys' own range, as a copy of that range would.

        Raises
        ------
        InputError
            If a frame is not finite.
        ShapeError
            If frames are not one-dimensional.
        """
        offset, segment, turns = self._locate(_checked(frames), "key")
        at_key = self._cubic[0].take(segment)
        found: Floats = self._cubic[3].take(segment)
        for power in (2, 1):
            found *= offset
            found += self._cubic[power].take(segment)
        found *= offset
        found += at_key
        np.copyto(found, at_key, where=offset == 0.0)
        if self._bezier is not None:
            row = self._bezier_row.take(segment)
            inside = (row >= 0) & (offset > 0.0)
            if np.count_nonzero(inside):
                segments = self._bezier.take(row[inside])
                found[inside] = values_at(offset[inside] / segments.length, segments)
        if turns is not None and self._rounds is not None:
            added = np.maximum(turns, 0.0) * self._rounds.rise + np.minimum(turns, 0.0) * self._rounds.fall
            np.add(found, added, out=found, where=added != 0.0)
        return found

    def slopes(self, frames: npt.ArrayLike, *, side: Literal["left", "right"] = "right") -> Floats:
        """Return every channel's slope per frame at those frames, as seen from one side.

        Shape (channels, m); frames and errors as for `evaluate`. Zero where a channel holds or steps;
        infinite, with its sign, where a Bezier is upright.
        """
        if side not in ("left", "right"):
            raise InputError(f"a slope is seen from 'left' or 'right', got {side!r}", place="side")
        offset, segment, _ = self._locate(_checked(frames), side)
        found: Floats = self._cubic[3].take(segment)
        found *= 3.0 * offset
        found += 2.0 * self._cubic[2].take(segment)
        found *= offset
        found += self._cubic[1].take(segment)
        if self._bezier is not None:
            row = self._bezier_row.take(segment)
            inside = row >= 0
            if np.count_nonzero(inside):
                segments = self._bezier.take(row[inside])
                found[inside] = slopes_at(offset[inside] / segments.length, segments)
        return found

    def _locate(self, frames: Floats, side: str) -> tuple[Floats, Indices, Floats | None]:
        """Return offset from the left key, segment, and turns if there are any, each shape (channels, m)."""
        times, turns = frames[np.newaxis], None
        if self._rounds is not None:
            times, turns = turned(frames, self._rounds, side)
        rank = self._ranks.searchsorted(times, side="left" if side == "left" else "right")  # (1 or groups, m)
        if turns is not None and self._rounds is not None:
            group = self._rounds.group
            times, rank, turns = times.take(group, axis=0), rank.take(group, axis=0), turns.take(group, axis=0)
        first_place = (np.arange(self.channels) * (self._ranks.size + 1))[:, np.newaxis]
        place = first_place + rank
        if self._table is not None:
            segment = self._table.take(place)
        else:
            segment = self._places.searchsorted(place, side="right") + np.arange(self.channels)[:, np.newaxis]
        return times - self._start.take(segment), segment, turns


def _ranked(frames: Floats, channel: Indices, channels: int) -> tuple[Floats, Indices, Indices | None]:
    """Return the ranks, places and table by which a `Pack` finds the segment of a frame."""
    ranks = np.sort(frames, kind="stable")  # quick where each curve's keys are in order already
    ranks = ranks[np.concatenate([[True], ranks[1:] != ranks[:-1]])]
    row = ranks.size + 1
    places = channel * row + ranks.searchsorted(frames) + 1
    if channels * row > max(_TABLE_ROOM, 8 * frames.size):
        return ranks, places, None
    table = np.zeros(channels * row, dtype=np.intp)
    table[places] = 1
    table[row::row] = 1  # the held segment before each channel's first key; no key has that place
    return ranks, places, table.cumsum()


def _checked(frames: npt.ArrayLike) -> Floats:
    """Return the frames as an array of shape (m,), all finite, or raise."""
    times = np.asarray(frames, dtype=np.float64)
    if times.ndim != 1:
        raise ShapeError(f"frames to evaluate have shape (m,), got {times.shape}", place="frames")
    finite = np.isfinite(times)
    if not finite.all():
        raise InputError(f"frames to evaluate are finite, got {times[int(np.argmin(finite))]}", place="frames")
    return times
