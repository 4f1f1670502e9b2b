"""Packs: many curves laid out once, for evaluating all of them at many frames.

Values stay in the file's own unit throughout; nothing here converts them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from surefoot.bezier import Segments, slopes_at, values_at
from surefoot.errors import InputError, ShapeError, came
from surefoot.heeding import heed
from surefoot.rounds import Rounds, rounds_of, turned
from surefoot.tangents import Keys, Outside, Shape, bezier_segments, hermite_segments, key_slopes

__all__ = ["Keyed", "Pack", "keys_of"]

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

_TABLE_ROOM = 65536  # entries, half a megabyte


class Keyed(Protocol):
    """What a pack reads of a curve; the fields are those of `surefoot.curves.Curve`."""

    @property
    def frames(self) -> Floats:
        """The frame of each key, shape (n,)."""

    @property
    def values(self) -> Floats:
        """The value of each key, shape (n,)."""

    @property
    def shapes(self) -> npt.NDArray[np.int8]:
        """Codes of `Shape`, shape (n,)."""

    @property
    def slope_in(self) -> Floats:
        """Value per frame, left of each key, shape (n,)."""

    @property
    def slope_out(self) -> Floats:
        """Value per frame, right of each key, shape (n,)."""

    @property
    def handles(self) -> Floats | None:
        """Offsets from each key, shape (n, 4), or None."""

    @property
    def before(self) -> Outside:
        """What it does before its first key."""

    @property
    def after(self) -> Outside:
        """What it does after its last key."""


def keys_of(curves: Sequence[Keyed]) -> Keys:
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
    def from_curves(cls, curves: Sequence[Keyed]) -> Pack:
        """Return the curves packed, in their order. Raises InputError if there are none."""
        if not curves:
            raise InputError("a pack needs at least one curve, got none", place="curves")
        keys = keys_of(curves)
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
        heed()
        offset, segment, turns = self._locate(_checked(frames), "key")
        heed()
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
    try:
        times = np.asarray(frames, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"frames to evaluate are numbers, got {came(frames)}", place="frames") from None
    if times.ndim != 1:
        raise ShapeError(f"frames to evaluate have shape (m,), got {times.shape}", place="frames")
    finite = np.isfinite(times)
    if not finite.all():
        raise InputError(f"frames to evaluate are finite, got {times[int(np.argmin(finite))]}", place="frames")
    return times
