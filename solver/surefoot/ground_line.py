"""The line of a ground profile in its own vertical plane: heights, depths and corners, many at a time.

Two coordinates only: distance along the profile and rise, metres. The line goes on level beyond both ends.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError

__all__ = ["SAME_DISTANCE", "GroundLine"]

Array = NDArray[np.float64]
Rows = slice | NDArray[np.intp]

SAME_DISTANCE = 1e-9  # metres; points nearer than that along the profile make a riser (0.1 + 0.2 and 0.3)
STRAIGHT = 1e-9  # sine of a bend; a smaller one is no corner
WINDOW = 16  # segments looked at in one go; points that need more come in later, wider groups
BLOCK = 1_000_000  # numbers in one temporary array, so that memory stays bounded


@dataclass(frozen=True, slots=True, eq=False)
class GroundLine:
    """A profile worked out for its queries; made by `through`, all arrays read-only.

    Three views of one line: m + 1 pieces of the height, which is ``base + slope * (distance - start)``
    from one knot to the next; k segments, risers included, with a level ray at each end; c convex corners.
    """

    knot: Array  # (m,) where one piece gives way to the next
    start: Array  # (m + 1,)
    base: Array
    slope: Array
    first: Array  # (k,) distances at which a segment begins and ends, in order
    last: Array
    foot: Array  # (k,) distance and rise of the point that a segment sets out from
    foot_rise: Array
    ahead: Array  # (k,) its unit direction and its length, endless for the rays
    upward: Array
    length: Array
    corner: Array  # (c,) distance and rise
    corner_rise: Array

    def __post_init__(self) -> None:
        for each in fields(self):
            getattr(self, each.name).flags.writeable = False

    @classmethod
    def through(cls, distance: Array, rise: Array) -> Self:
        """Return the line through points (n,), finite and of like shape.

        Raises InputError if there are fewer than two different points, if the distance decreases, or if
        a riser runs back over itself (the only way in which such a line can cross itself).
        """
        if distance.size < 2:
            raise InputError("expected at least two different points", place="points")
        step = np.diff(distance)
        if np.any(step < -SAME_DISTANCE):
            at = int(np.argmax(step < -SAME_DISTANCE)) + 1
            message = f"expected distances that never decrease, got {distance[at]:g} m after {distance[at - 1]:g} m"
            raise InputError(message, place=f"points[{at}]")
        knots = np.concatenate(([True], step > SAME_DISTANCE))
        distance = distance[knots][np.cumsum(knots) - 1]
        moves = np.concatenate(([True], ~knots[1:] & (np.diff(rise) != 0.0) | knots[1:]))
        _refuse_folds(distance, rise, np.flatnonzero(moves))
        distance, rise = distance[moves], rise[moves]
        if distance.size < 2:
            raise InputError("expected at least two different points", place="points")
        pieces, segments = _pieces(distance, rise), _segments(distance, rise)
        views: tuple[Array, ...] = (*pieces, *segments, *_corners(distance, rise))
        return cls(*views)

    def height(self, distance: Array) -> Array:
        """Return the rise at each distance; on a riser that of its upper end."""
        piece = self.knot.searchsorted(distance, "right")
        return np.asarray(self.base[piece] + self.slope[piece] * (distance - self.start[piece]))

    def gradient(self, distance: Array) -> Array:
        """Return the slope (rise over run) at each distance, of the piece that `height` reads."""
        return np.asarray(self.slope[self.knot.searchsorted(distance, "right")] + 0.0 * distance)

    def depth(self, distance: Array, rise: Array) -> Array:
        """Return the distance from each point (q,) to the line, positive below it.

        Nothing farther away than the line straight above or below can be nearest, so only the
        segments within that distance are looked at, and the answer is exact.
        """
        below = self.height(distance) - rise
        gap = np.abs(below)
        nearest = gap.copy()
        first = self.last.searchsorted(distance - gap, "left")
        stop = self.first.searchsorted(distance + gap, "right")
        for rows, index in _windows(first, stop):
            ahead, upward = self.ahead[index], self.upward[index]
            along, above = distance[rows] - self.foot[index], rise[rows] - self.foot_rise[index]
            onto = np.minimum(np.maximum(along * ahead + above * upward, 0.0), self.length[index])
            along -= onto * ahead
            above -= onto * upward
            square = (along * along + above * above).min(axis=0)
            nearest[rows] = np.minimum(nearest[rows], np.sqrt(square))
        return np.copysign(nearest, below)

    def corner_depth(
        self, begin: Array, low: Array, end: Array, high: Array, *, upright: bool = False,
        within: tuple[Array, Array, Array] | None = None,
    ) -> Array:  # fmt: skip
        """Return how far the worst corner pokes through each line from (begin, low) to (end, high), all (q,).

        It's the distance to the line, or with ``upright`` the height straight above it. Only a convex corner can be
        the worst: a hollow lies below the chord between its neighbours. ``within`` is a first and a last distance and
        a share (q,) each: a corner then counts by that share, and no more than it lies inside of the nearer of both.
        """
        run, climb = end - begin, high - low
        poke = 0.0 * (run + climb)  # NaN where a coordinate is
        first = self.corner.searchsorted(np.minimum(begin, end), "right")
        stop = self.corner.searchsorted(np.maximum(begin, end), "left")
        for rows, index in _windows(first, stop):
            ahead, tilt = np.abs(run[rows]), climb[rows] * np.sign(run[rows])
            corner = self.corner[index]
            above = (self.corner_rise[index] - low[rows]) * ahead - (corner - begin[rows]) * tilt
            above /= np.maximum(ahead, 1e-300) if upright else np.hypot(ahead, tilt)
            if within is not None:
                near, far, share = (each[rows] for each in within)
                above = np.minimum(above * share, np.minimum(corner - near, far - corner))
            poke[rows] += np.maximum(above.max(axis=0), 0.0)
        return np.asarray(poke)


def _refuse_folds(distance: Array, rise: Array, kept: NDArray[np.intp]) -> None:
    """Raise InputError if the line goes up and then down, or down and then up, on one vertical."""
    upright = np.diff(distance[kept]) == 0.0
    sense = np.sign(np.diff(rise[kept]))
    folds = upright[1:] & upright[:-1] & (sense[1:] != sense[:-1])
    if np.any(folds):
        at = int(kept[int(np.argmax(folds)) + 2])
        message = f"expected a riser that goes one way, got one at {distance[at]:g} m that runs back over itself"
        raise InputError(message, place=f"points[{at}]")


def _pieces(distance: Array, rise: Array) -> tuple[Array, ...]:
    """Return knots, and start, base and slope of the pieces between them.

    A piece holds at its first knot. Where the line drops, the upper end belongs to the piece before, so
    the knot is put one float later.
    """
    opens = np.concatenate(([True], np.diff(distance) > 0.0))
    closes = np.concatenate((opens[1:], [True]))
    knot, before, after = distance[opens], rise[opens], rise[closes]
    slope = np.concatenate(([0.0], (before[1:] - after[:-1]) / np.diff(knot), [0.0]))
    start = np.concatenate((knot[:1], knot))
    base = np.concatenate((before[:1], after))
    return np.where(after < before, np.nextafter(knot, np.inf), knot), start, base, slope


def _segments(distance: Array, rise: Array) -> tuple[Array, ...]:
    """Return first, last, foot, foot rise, ahead, upward and length of every segment and end ray."""
    run, climb = np.diff(distance), np.diff(rise)
    length = np.hypot(run, climb)
    return (
        np.concatenate(([-np.inf], distance)),
        np.concatenate((distance, [np.inf])),
        np.concatenate((distance[:1], distance)),
        np.concatenate((rise[:1], rise)),
        np.concatenate(([-1.0], run / length, [1.0])),
        np.concatenate(([0.0], climb / length, [0.0])),
        np.concatenate(([np.inf], length, [np.inf])),
    )


def _corners(distance: Array, rise: Array) -> tuple[Array, Array]:
    """Return the points at which the line bends downwards, its ends included."""
    run, climb = np.diff(distance), np.diff(rise)
    length = np.hypot(run, climb)
    ahead = np.concatenate(([1.0], run / length, [1.0]))
    upward = np.concatenate(([0.0], climb / length, [0.0]))
    bend = ahead[:-1] * upward[1:] - upward[:-1] * ahead[1:]
    return distance[bend < -STRAIGHT], rise[bend < -STRAIGHT]


def _windows(first: NDArray[np.intp], stop: NDArray[np.intp]) -> Iterator[tuple[Rows, NDArray[np.intp]]]:
    """Yield (rows, index): for queries that look at entries first to stop, entry numbers (width, rows).

    Queries of like width go together, so that a few wide ones don't make all the others pay; the short
    ones of a group repeat their last entry. Queries with nothing to look at are left out.
    """
    width = stop - first
    widest = int(width.max(initial=0))
    done, reach = 0, WINDOW
    while done < widest:
        chosen = np.flatnonzero((width > done) & (width <= reach))
        entries = np.arange(min(reach, widest))[:, None]
        block = max(1, BLOCK // entries.size)
        for begin in range(0, chosen.size, block):
            some = chosen[begin : begin + block]
            rows: Rows = slice(None) if some.size == width.size else some
            yield rows, np.minimum(first[rows] + entries, stop[rows] - 1)
        done, reach = reach, reach * 4
