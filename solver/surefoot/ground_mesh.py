"""A triangle mesh as ground: the highest of its surfaces at each place, below a ceiling where one is stated.

World space, metres; points component-major, as in `surefoot.ground`. Triangles are found by a plan grid, whose
cells list those that they overlap. Where there is no triangle there is no ground: a query there raises InputError.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import cos, sin
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError, came
from surefoot.ground_coordinates import (
    Components,
    common_shape,
    frozen,
    lengths,
    number,
    point_at,
    spread,
)
from surefoot.ground_surface import Placed, line_samples

__all__ = ["Mesh"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

STEEPEST_UP = 0.01
"""Upward part of a unit normal below which a triangle is a wall and no ground."""
FULL = 0.3
"""Triangles that a cell of the plan grid holds about."""
INSIDE = 1e-9
BLOCK = 8_192
"""Places looked up in one go."""
DESCENTS = 5
STARTS = ((0.0, 0.0), (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Index:
    """The triangles' planes and edges in plan, and which triangles each cell overlaps."""

    plane: Array  # (3, m): y = plane[0] x + plane[1] z + plane[2]
    packed: Array  # (m, 12): three lines, each positive inside, then the plane
    corner: Array  # (2,) of the first cell
    size: float
    cells: tuple[int, int]
    first: Indices  # (cells + 1,) where each cell's list begins
    listed: Indices
    top: float  # of all triangles
    single: bool  # whether no two triangles lie one above the other

    @classmethod
    def of(cls, vertices: Array, faces: Indices, ceiling: float) -> Self:
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        normal = np.cross(b - a, c - a)
        size = np.linalg.norm(normal, axis=1)
        kept = np.abs(normal[:, 1]) > STEEPEST_UP * np.maximum(size, 1e-300)
        kept &= np.maximum.reduce([a[:, 1], b[:, 1], c[:, 1]]) <= ceiling
        if not np.count_nonzero(kept):
            raise InputError("expected triangles that face up, below the ceiling if one is stated", place="mesh")
        a, b, c, normal = a[kept], b[kept], c[kept], normal[kept]
        turned = normal[:, 1] > 0.0  # seen from above, one way round
        b, c = np.where(turned[:, None], b, c), np.where(turned[:, None], c, b)
        slope_x, slope_z = -normal[:, 0] / normal[:, 1], -normal[:, 2] / normal[:, 1]
        plane = np.array([slope_x, slope_z, a[:, 1] - slope_x * a[:, 0] - slope_z * a[:, 2]])
        lines = []
        for p, q in ((a, b), (b, c), (c, a)):
            dx, dz = q[:, 0] - p[:, 0], q[:, 2] - p[:, 2]
            run = np.maximum(np.hypot(dx, dz), 1e-300)
            lines += [dz / run, -dx / run, (dx * p[:, 2] - dz * p[:, 0]) / run]
        low = np.minimum(np.minimum(a, b), c)[:, ::2]
        high = np.maximum(np.maximum(a, b), c)[:, ::2]
        corner, span = low.min(axis=0), high.max(axis=0) - low.min(axis=0)
        cell = float(np.sqrt(max(float(span[0] * span[1]), 1e-12) * FULL / len(a)))
        cells = (int(span[0] / cell) + 1, int(span[1] / cell) + 1)
        begin = np.clip(((low - INSIDE - corner) / cell).astype(np.intp), 0, np.array(cells) - 1)
        end = np.clip(((high + INSIDE - corner) / cell).astype(np.intp), 0, np.array(cells) - 1)
        wide = end - begin + 1
        count = wide[:, 0] * wide[:, 1]
        owner = np.repeat(np.arange(len(a)), count)
        nth = np.arange(count.sum()) - np.repeat(count.cumsum() - count, count)
        at = (begin[owner, 0] + nth % wide[owner, 0]) * cells[1] + begin[owner, 1] + nth // wide[owner, 0]
        # first the triangle that the cell's middle lies deepest in: most places of the cell are in it
        packed = np.ascontiguousarray(np.concatenate([np.array(lines), plane]).T)
        mx, mz = corner[:, None] + cell * (np.array([at // cells[1], at % cells[1]]) + 0.5)
        inward = np.full(len(at), np.inf)
        for k in range(0, 9, 3):
            e = packed[owner, k : k + 3]
            np.minimum(inward, e[:, 0] * mx + e[:, 1] * mz + e[:, 2], out=inward)
        order = np.lexsort((-inward, at))
        first = np.concatenate([[0], np.bincount(at, minlength=cells[0] * cells[1]).cumsum()])
        top = float(np.maximum(np.maximum(a, b), c)[:, 1].max())
        at, listed = at[order], owner[order]
        single = _apart(packed, np.stack([a, b, c])[:, :, ::2], at, listed)
        return cls(plane, packed, corner, cell, cells, first, listed, top, single)

    def under(self, x: Array, z: Array) -> tuple[Array, Indices]:
        """Return the highest surface at flat lists of places, NaN where there's none, and its triangle."""
        if len(x) > BLOCK:  # what is looked up stays in the processor's cache
            parts = [self.under(x[at : at + BLOCK], z[at : at + BLOCK]) for at in range(0, len(x), BLOCK)]
            return np.concatenate([high for high, _ in parts]), np.concatenate([which for _, which in parts])
        i, j = np.floor((x - self.corner[0]) / self.size), np.floor((z - self.corner[1]) / self.size)
        at_end = (
            (x - self.corner[0] <= self.cells[0] * self.size + INSIDE),
            (z - self.corner[1] <= self.cells[1] * self.size + INSIDE),
        )
        i = np.where((i == self.cells[0]) & at_end[0], i - 1, i)
        j = np.where((j == self.cells[1]) & at_end[1], j - 1, j)
        within = (i >= 0) & (i < self.cells[0]) & (j >= 0) & (j < self.cells[1])
        cell = np.where(within, i * self.cells[1] + j, 0).astype(np.intp)
        begin = self.first[cell]
        count = np.where(within, self.first[cell + 1] - begin, 0)
        best, which = np.full(x.shape, -np.inf), np.full(x.shape, -1, dtype=np.intp)
        live = np.flatnonzero(count > 0)
        step = 0
        while len(live):
            triangle = self.listed.take(begin.take(live) + step)
            px, pz = x.take(live), z.take(live)
            e = self.packed.take(triangle, axis=0).T
            inside = (e[0] * px + e[1] * pz + e[2] >= -INSIDE) & (e[3] * px + e[4] * pz + e[5] >= -INSIDE)
            inside &= e[6] * px + e[7] * pz + e[8] >= -INSIDE
            y = e[9] * px + e[10] * pz + e[11]
            better = inside if self.single else inside & (y > best.take(live))
            at = live[better]
            best[at], which[at] = y[better], triangle[better]
            step += 1
            if self.single:
                live = live[~inside]
            live = live[count.take(live) > step]
        return np.where(which >= 0, best, np.nan), which


def _apart(packed: Array, corners: Array, cell: Indices, owner: Indices) -> bool:
    """Tell whether no two triangles that share a cell overlap in plan: some edge of one parts each pair."""
    edges, gap = packed[:, :9].reshape(-1, 3, 3), 1
    while gap < len(cell) and np.count_nonzero(alike := cell[gap:] == cell[:-gap]):
        one, two = owner[:-gap][alike], owner[gap:][alike]
        parted = np.zeros(len(one), dtype=bool)
        for this, other in ((one, two), (two, one)):
            points = corners[:, other]  # (3, pairs, 2)
            for k in range(3):
                e = edges[this, k]
                parted |= (e[:, 0] * points[..., 0] + e[:, 1] * points[..., 1] + e[:, 2] <= INSIDE).all(axis=0)
        if not parted.all():
            return False
        gap += 1
    return True


@dataclass(frozen=True, slots=True, eq=False)
class Mesh(Placed):
    """Triangles that are walked on.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
        Metres, before the turn by ``heading`` and the move to ``origin``.
    faces : ndarray of int, shape (m, 3)
    ceiling : float
        Triangles that reach above it, before the move, are no ground: a roof, a lintel.

    Raises
    ------
    InputError, ShapeError, UnitError
        If the arrays have other shapes, a triangle names a corner that isn't there, or nothing is left to walk
        on.
    """

    vertices: Array
    faces: Indices
    heading: float = 0.0
    origin: Array = field(default_factory=lambda: np.zeros(3))
    ceiling: float = np.inf
    name: str = "mesh"
    index: _Index | None = field(default=None, repr=False)
    _along: tuple[float, float] = field(init=False, repr=False)
    _level: bool = field(init=False, repr=False)

    def __post_init__(self) -> None:
        vertices = lengths(self.vertices, "vertices")
        try:
            faces = np.array(self.faces, dtype=np.intp)
        except (TypeError, ValueError, OverflowError):
            raise InputError(f"wanted triangles of three corners, got {came(self.faces)}", place="faces") from None
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            raise ShapeError(f"expected points of three numbers, got shape {vertices.shape}", place="vertices")
        if faces.ndim != 2 or faces.shape[1] != 3 or not len(faces):
            raise ShapeError(f"expected triangles of three corners, got shape {faces.shape}", place="faces")
        if faces.min() < 0 or faces.max() >= len(vertices):
            raise InputError(f"expected corners from 0 to {len(vertices) - 1}, got others", place="faces")
        heading = number(self.heading, "heading")
        faces.flags.writeable = False
        index = self.index or _Index.of(vertices, faces, self.ceiling)
        for name, value in (
            ("vertices", frozen(vertices)),
            ("faces", faces),
            ("heading", heading),
            ("_along", (sin(heading), cos(heading))),
            ("origin", frozen(point_at(self.origin, "origin"))),
            ("index", index),
            ("_level", bool(np.all(index.plane[:2] == 0.0) and np.ptp(index.plane[2]) == 0.0)),
        ):
            object.__setattr__(self, name, value)

    @property
    def is_level(self) -> bool:
        return self._level

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        return np.asarray(self._checked(x, z)[0] + self.origin[1])

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        assert self.index is not None
        slope_x, slope_z = self.index.plane[:2, self._checked(x, z)[1]]
        up = 1.0 / np.sqrt(1.0 + slope_x * slope_x + slope_z * slope_z)
        s, c = self._along
        nx, nz = -slope_x * up, -slope_z * up
        return np.asarray(c * nx + s * nz), np.asarray(up), np.asarray(c * nz - s * nx)

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        """Return each point's distance to the surface's nearest point, metres, positive below ground.

        The nearest point is sought downhill from straight above or below, and from the gap's width to all
        four sides, triangle by triangle.
        """
        shape = common_shape(x, y, z)
        below = np.asarray(self.height(x, z) - spread(y, shape)).ravel()
        here = np.array([spread(each, shape).ravel() for each in self._local(x, z)])
        rise = spread(np.subtract(y, self.origin[1]), shape).ravel()
        nearest = np.abs(below)
        for begin in STARTS:
            at = here + np.array(begin)[:, None] * np.abs(below)
            for _ in range(DESCENTS):
                high, slope_x, slope_z = self._rise(*at)
                gap, off = high - rise, at - here
                nearest = np.fmin(nearest, np.sqrt(off[0] ** 2 + off[1] ** 2 + gap**2))
                # the nearest point of this triangle's own plane
                flat = (gap - slope_x * off[0] - slope_z * off[1]) / (1.0 + slope_x**2 + slope_z**2)
                at = here - np.nan_to_num(np.array([slope_x * flat, slope_z * flat]))
        return np.asarray(np.copysign(nearest, below).reshape(shape))

    def poke(self, start: Components, end: Components) -> Array:
        assert self.index is not None
        shape = common_shape(*start, *end)
        first, last = (np.array([spread(each, shape) for each in point]) for point in (start, end))
        asked = np.minimum(first[1], last[1]) - self.origin[1] < self.index.top
        found = np.zeros(shape)
        found[asked] = line_samples(self, first[:, asked], last[:, asked])
        return found

    def isclose(self, other: Mesh, *, atol: float) -> bool:
        """Return whether corners, origin and heading agree within ``atol``, and the triangles are the same."""
        pairs = ((self.vertices, other.vertices), (self.origin, other.origin), (self._along, other._along))
        return np.array_equal(self.faces, other.faces) and all(
            np.shape(a) == np.shape(b) and np.allclose(a, b, rtol=0, atol=atol) for a, b in pairs
        )

    def _local(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array]:
        s, c = self._along
        dx, dz = np.subtract(x, self.origin[0]), np.subtract(z, self.origin[2])
        return np.asarray(c * dx - s * dz), np.asarray(s * dx + c * dz)

    def _rise(self, x: Array, z: Array) -> tuple[Array, Array, Array]:
        """Return height and slopes along the mesh's own x and z, NaN where there's no triangle."""
        assert self.index is not None
        shape = np.shape(x)
        high, which = self.index.under(np.ravel(x), np.ravel(z))
        slope = np.where(which >= 0, self.index.plane[:2, which], np.nan)
        return high.reshape(shape), slope[0].reshape(shape), slope[1].reshape(shape)

    def _checked(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Indices]:
        """Return the height, and the triangle, under each place."""
        assert self.index is not None
        shape = common_shape(x, z)
        high, which = self.index.under(*(spread(each, shape).ravel() for each in self._local(x, z)))
        high, which = high.reshape(shape), which.reshape(shape)
        lost = which < 0
        if np.count_nonzero(lost):
            at = tuple(np.argwhere(lost)[0])
            px, pz = (np.broadcast_to(each, shape)[at] for each in (x, z))
            raise InputError(
                f"it has a hole at x {px:.3f}, z {pz:.3f} m, where a foot comes", place=f"ground {self.name}"
            )
        return high, which
