"""A height grid: cobbles, a beach, a field, read between its nodes bilinearly or smoothly.

World space, metres; points component-major, as in `surefoot.ground`. Beyond its border the grid goes on
as its border is. A node that isn't known (NaN) is a hole: a query over one raises InputError.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import cos, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError, came
from surefoot.ground_coordinates import (
    LARGEST,
    Components,
    common_shape,
    frozen,
    length,
    number,
    point_at,
    spread,
)
from surefoot.ground_surface import ALONG_LINE, Placed, line_samples

__all__ = ["Grid"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

MOST_NODES = 100_000_000
ROOF = 0.6
"""Metres: how far about a place its roof tells of."""
OVERSHOOT = 0.3
"""How far a smooth surface may rise above its nodes, as a share of their range: an eighth along each way, and more."""
DESCENTS = 8
STARTS = ((0.0, 0.0), (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
FOUR = range(-1, 3)


@dataclass(frozen=True, slots=True, eq=False)
class Grid(Placed):
    """Heights at the nodes of a square grid.

    Parameters
    ----------
    heights : ndarray, shape (rows, columns)
        Metres above ``origin``; rows follow one another along the heading, columns to its left.
        NaN marks a hole.
    spacing : float
        Metres from node to node, both ways.
    heading : float
        Of the rows, radians about +Y: 0 along +Z, the columns then run along +X.
    origin : ndarray, shape (3,)
        The first row's first node.
    smooth : bool
        False for flat-sided bilinear patches, True for a surface without kinks through the same nodes
        (cubic convolution; Keys 1981, from memory).

    Raises
    ------
    InputError, ShapeError, UnitError
        If there are fewer than two rows or columns, no height is finite, or ``spacing`` isn't above zero.
    """

    heights: Array
    spacing: float
    heading: float = 0.0
    origin: Array = field(default_factory=lambda: np.zeros(3))
    smooth: bool = False
    name: str = "grid"
    _flat: Array = field(init=False, repr=False)
    _holes: bool = field(init=False, repr=False)
    _along: tuple[float, float] = field(init=False, repr=False)
    _level: bool = field(init=False, repr=False)
    _roof: Array = field(init=False, repr=False)
    _block: int = field(init=False, repr=False)

    def __post_init__(self) -> None:
        try:
            heights = np.asarray(self.heights, dtype=np.float64)
        except (TypeError, ValueError, OverflowError):
            raise InputError(f"wanted rows of numbers, got {came(self.heights)}", place="heights") from None
        if heights.ndim != 2 or min(heights.shape) < 2:
            raise ShapeError(f"expected at least two rows of two heights, got shape {heights.shape}", place="heights")
        if heights.size > MOST_NODES:
            raise InputError(f"expected at most {MOST_NODES} nodes, got {heights.size}", place="heights")
        heights = heights.copy()
        holes = np.isnan(heights)
        if holes.all() or np.isinf(heights).any():
            raise InputError("expected finite heights, or NaN for a hole here and there", place="heights")
        if float(np.abs(heights[~holes]).max()) > LARGEST:
            raise InputError(f"expected heights within {LARGEST:g} m; is the unit right?", place="heights")
        spacing = length(self.spacing, "spacing")
        if not spacing > 1e-6:
            raise InputError(f"expected a length above zero, got {spacing:g} m", place="spacing")
        heading = number(self.heading, "heading")
        for name, value in (
            ("heights", frozen(heights)),
            ("_flat", heights.reshape(-1)),
            ("_level", bool(np.all(heights == heights[0, 0]))),
            ("_holes", bool(holes.any())),
            ("_block", max(1, int(np.ceil(ROOF / spacing)))),
            ("_roof", _roof(heights, max(1, int(np.ceil(ROOF / spacing))), smooth=self.smooth)),
            ("spacing", spacing),
            ("heading", heading),
            ("_along", (sin(heading), cos(heading))),
            ("origin", frozen(point_at(self.origin, "origin"))),
        ):
            object.__setattr__(self, name, value)

    @property
    def is_level(self) -> bool:
        return self._level

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        row, column = self._local(x, z)
        found = self._rise(row, column) + self.origin[1]
        if self._holes:
            self._check(found, x, z)
        return np.asarray(found)

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        row, column = self._local(x, z)
        ahead, left = self._slopes(row, column)
        if self._holes:
            self._check(ahead, x, z)
        up = 1.0 / np.sqrt(1.0 + ahead * ahead + left * left)
        s, c = self._along
        return np.asarray(-(s * ahead + c * left) * up), np.asarray(up), np.asarray(-(c * ahead - s * left) * up)

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        """Return each point's distance to the surface's nearest point, metres, positive below ground.

        The nearest point is sought downhill from straight above or below, and from a node's or the gap's
        width (the smaller) to all four sides.
        """
        shape = common_shape(x, y, z)
        below = np.asarray(self.height(x, z) - spread(y, shape)).ravel()
        here = np.array([spread(each, shape).ravel() for each in self._local(x, z)]) * self.spacing
        rise = spread(np.subtract(y, self.origin[1]), shape).ravel()
        nearest = np.abs(below)
        reach = np.minimum(nearest, self.spacing)
        for begin in STARTS:
            at = here + np.array(begin)[:, None] * reach
            for _ in range(DESCENTS):
                row, column = at / self.spacing
                gap = self._rise(row, column) - rise
                ahead, left = self._slopes(row, column)
                off = at - here
                nearest = np.fmin(nearest, np.sqrt(off[0] ** 2 + off[1] ** 2 + gap**2))
                pull_ahead, pull_left = off[0] + gap * ahead, off[1] + gap * left
                size = 1.0 + ahead * ahead + left * left
                step = np.array([(1.0 + left * left) * pull_ahead - ahead * left * pull_left,
                                 (1.0 + ahead * ahead) * pull_left - ahead * left * pull_ahead]) / size  # fmt: skip
                at = at - np.clip(np.nan_to_num(step), -self.spacing, self.spacing)
        return np.asarray(np.copysign(nearest, below).reshape(shape))

    def poke(self, start: Components, end: Components) -> Array:
        shape = common_shape(*start, *end)
        first, last = (np.array([spread(each, shape) for each in point]) for point in (start, end))
        row, column = self._local(first[0], first[2])
        blocks = self._roof.shape
        i, j = (
            np.clip((at / self._block).astype(np.intp), 0, most - 1)
            for at, most in ((row, blocks[0]), (column, blocks[1]))
        )
        near = np.maximum(np.abs(last[0] - first[0]), np.abs(last[2] - first[2])) < ROOF / 1.5
        low = np.minimum(first[1], last[1]) - self.origin[1]
        asked = ~near | (low < self._roof[i, j])  # nothing within reach stands as high as the others
        found = np.zeros(shape)
        first, last = first[:, asked], last[:, asked]
        found[asked] = line_samples(self, first, last) if self._holes else self._sampled(first, last)
        return found

    def _sampled(self, start: Array, end: Array) -> Array:
        """Return what `line_samples` does for a grid without holes, from place to place: quicker on many lines."""
        one, other = ([*self._local(x, z), y - self.origin[1]] for x, y, z in (start, end))
        step = [(b - a) / (ALONG_LINE + 1.0) for a, b in zip(one, other, strict=True)]
        most = np.zeros(start.shape[1:])
        for _ in range(ALONG_LINE):
            for at, by in zip(one, step, strict=True):
                at += by
            np.maximum(most, self._rise(one[0], one[1]) - one[2], out=most)
        return most

    def isclose(self, other: Grid, *, atol: float) -> bool:
        """Return whether nodes, spacing and origin agree within ``atol`` metres, and headings within ``atol``."""
        pairs = (
            (self.heights, other.heights), (self.spacing, other.spacing), (self.origin, other.origin),
            (self._along, other._along),
        )  # fmt: skip
        return self.smooth == other.smooth and all(
            np.shape(a) == np.shape(b) and np.allclose(a, b, rtol=0, atol=atol, equal_nan=True) for a, b in pairs
        )

    def _local(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array]:
        """Return row and column, in spacings from the first node."""
        common_shape(x, z)
        s, c = self._along
        dx, dz = np.subtract(x, self.origin[0]), np.subtract(z, self.origin[2])
        return np.asarray((s * dx + c * dz) / self.spacing), np.asarray((c * dx - s * dz) / self.spacing)

    def _cell(self, row: Array, column: Array) -> tuple[Indices, Indices, Array, Array]:
        """Return the patch under each place, and where in it, 0 to 1."""
        rows, columns = self.heights.shape
        row = np.minimum(np.maximum(row, 0.0), rows - 1.0)
        column = np.minimum(np.maximum(column, 0.0), columns - 1.0)
        i = np.minimum(row.astype(np.intp), rows - 2)
        j = np.minimum(column.astype(np.intp), columns - 2)
        return i, j, row - i, column - j

    def _rise(self, row: Array, column: Array) -> Array:
        i, j, u, v = self._cell(row, column)
        if self.smooth:
            return self._convolved(i, j, _cubic(u), _cubic(v))
        at = i * self.heights.shape[1] + j
        low, high = self._flat.take(at), self._flat.take(at + self.heights.shape[1])
        low = low + v * (self._flat.take(at + 1) - low)
        high = high + v * (self._flat.take(at + self.heights.shape[1] + 1) - high)
        return np.asarray(low + u * (high - low))

    def _slopes(self, row: Array, column: Array) -> tuple[Array, Array]:
        """Return rise over run along the heading and to its left; zero across the border beyond it."""
        i, j, u, v = self._cell(row, column)
        if self.smooth:
            ahead = self._convolved(i, j, _cubic_slope(u), _cubic(v))
            left = self._convolved(i, j, _cubic(u), _cubic_slope(v))
        else:
            width = self.heights.shape[1]
            at = i * width + j
            a, b = self._flat.take(at), self._flat.take(at + 1)
            c, d = self._flat.take(at + width), self._flat.take(at + width + 1)
            ahead = (c - a) * (1.0 - v) + (d - b) * v
            left = (b - a) * (1.0 - u) + (d - c) * u
        rows, columns = self.heights.shape
        within = (row >= 0.0) & (row <= rows - 1.0), (column >= 0.0) & (column <= columns - 1.0)
        return np.where(within[0], ahead / self.spacing, 0.0), np.where(within[1], left / self.spacing, 0.0)

    def _convolved(self, i: Indices, j: Indices, along: Array, across: Array) -> Array:
        rows, columns = self.heights.shape
        total = np.zeros(np.shape(i))
        for k, step in enumerate(FOUR):
            row = np.clip(i + step, 0, rows - 1) * columns
            line = np.zeros(np.shape(i))
            for m, shift in enumerate(FOUR):
                line += across[m] * self._flat.take(row + np.clip(j + shift, 0, columns - 1))
            total += along[k] * line
        return total

    def _check(self, found: Array, x: ArrayLike, z: ArrayLike) -> None:
        lost = np.isnan(found)
        if np.count_nonzero(lost):
            at = tuple(np.argwhere(lost)[0])
            px, pz = (np.broadcast_to(each, lost.shape)[at] for each in (x, z))
            raise InputError(
                f"it has a hole at x {px:.3f}, z {pz:.3f} m, where a foot comes", place=f"ground {self.name}"
            )


def _roof(heights: Array, block: int, *, smooth: bool) -> Array:
    """Return the highest node of each block of so many patches and those about it, ``(rows, columns)``."""
    known = np.where(np.isnan(heights), -np.inf, heights)
    rows, columns = (-(-(size - 1) // block) for size in heights.shape)
    padded = np.pad(
        known, ((0, rows * block + 1 - heights.shape[0]), (0, columns * block + 1 - heights.shape[1])), mode="edge"
    )
    # a block's own far edge counts to the next one, which stands about it
    high = padded[:-1, :-1].reshape(rows, block, columns, block).max(axis=(1, 3))
    high = np.pad(high, ((1, 1), (1, 1)), mode="edge")
    high[-1, 1:-1] = np.maximum(high[-1, 1:-1], padded[-1, :-1].reshape(columns, block).max(axis=1))
    high[1:-1, -1] = np.maximum(high[1:-1, -1], padded[:-1, -1].reshape(rows, block).max(axis=1))
    high[-1, -1] = max(high[-1, -1], padded[-1, -1])
    wide = np.maximum.reduce(
        [high[1 + a : rows + 1 + a, 1 + b : columns + 1 + b] for a in (-1, 0, 1) for b in (-1, 0, 1)]
    )
    over = OVERSHOOT * float(known.max() - known[np.isfinite(known)].min()) if smooth else 0.0
    return np.asarray(wide + over, dtype=np.float64)


def _cubic(t: Array) -> Array:
    """Return what the four nodes about a place count for, ``(4, ...)``."""
    return np.array(
        [((-0.5 * t + 1.0) * t - 0.5) * t, (1.5 * t - 2.5) * t * t + 1.0, ((-1.5 * t + 2.0) * t + 0.5) * t,
         (0.5 * t - 0.5) * t * t]
    )  # fmt: skip


def _cubic_slope(t: Array) -> Array:
    return np.array([(-1.5 * t + 2.0) * t - 0.5, (4.5 * t - 5.0) * t, (-4.5 * t + 4.0) * t + 0.5, (1.5 * t - 1.0) * t])
