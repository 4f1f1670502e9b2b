"""What every kind of ground can be asked: heights, normals, depths, and what stands up between two points.

World space: right-handed, +Y up, metres. Points come component-major, one array per coordinate, and broadcast.
A kind of ground has a name, tells whether it's level, and has `height`, `normal`, `depth`, `turned` and `moved` of its
own; the other questions are answered here from those, and a kind that knows better answers them itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.ground_coordinates import Components, common_shape, filled, point_at, spread, turned_vector

__all__ = ["ALONG_LINE", "Ground", "Placed", "line_samples"]

Array = NDArray[np.float64]
ALONG_LINE = 10
"""In how many places ground without corners of its own is looked at between two points."""
SPACING = 0.02
"""Metres between two points of a section where the ground isn't even."""


class Ground(Protocol):
    """A surface that has one height at each (x, z); its kinds are interchangeable."""

    __slots__ = ()

    @property
    def name(self) -> str:
        """What messages and pictures call it."""

    @property
    def is_level(self) -> bool:
        """Whether the height is the same everywhere."""

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        """Return the surface's y at (x, z), metres; at a riser the upper one. Shape: x and z broadcast.

        Raises ShapeError if they don't broadcast, as every query does.
        """

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        """Return the unit upward normal at (x, z) as (nx, ny, nz), of the piece that `height` reads."""

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        """Return each point's distance to the surface's nearest point, metres, positive below ground."""

    @property
    def is_even(self) -> bool:
        """Whether it's level or a plane, on which no sole has anything beneath it that its corners hide."""
        return self.is_level

    @property
    def for_pictures(self) -> bool:
        """Whether it may look like something built, such as stairs, so that a caution belongs beside it."""
        return False

    @property
    def edges_suffice(self) -> bool:
        """Whether ground that stands inside a flat sole always shows at the sole's edges too, as on a profile."""
        return self.is_even

    def corners_between(self, heel: Components, toe: Components) -> Array:
        """Return the largest depth, metres, by which a ground corner pokes through the line from heel to toe.

        A corner (a nosing, a kerb's edge) counts where it lies above the line and strictly between its
        ends along the heading; its depth is its distance to the line, in the profile's vertical plane.
        Zero where there is none. The ends' own depths are asked of `depth`.
        """
        return _steepened(self.poke(heel, toe), heel, toe)

    def poke(self, start: Components, end: Components) -> Array:
        """Return the largest height, metres, by which the ground stands above the lines, strictly between their ends.

        Straight up, 0 where it doesn't. Only corners count on a profile, since the ends are asked of `height`;
        ground without corners of its own is looked at in ten places.
        """
        shape = common_shape(*start, *end)
        if self.is_even:
            return filled(0.0, shape)
        first, last = (np.array([spread(each, shape) for each in point]) for point in (start, end))
        return line_samples(self, first, last)

    def poke_within(self, start: Components, end: Components, share: Array) -> Array:
        """Return a share ``(lines, ...)`` of `poke` for lines within a sole; a kind with corners bounds each.

        A corner needn't count deeper than it lies within the line's ends: moving so far ahead or back frees it too.
        """
        return np.asarray(self.poke(start, end) * share)

    def section(self, through: ArrayLike, heading: float, first: float, last: float) -> Array:
        """Return its line ``(points, 3)`` along a heading, from ``first`` to ``last`` metres of a point (3,)."""
        count = 2 if self.is_even else max(2, round((last - first) / SPACING) + 1)
        at = np.linspace(first, last, count)
        x, _, z = np.asarray(through, dtype=np.float64).tolist()
        px, pz = x + np.sin(heading) * at, z + np.cos(heading) * at
        return np.stack([px, np.asarray(self.height(px, pz)), pz], axis=-1)

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        """Return the same ground turned by yaw radians about the vertical through a point (3,)."""

    def moved(self, offset: ArrayLike) -> Self:
        """Return the same ground moved by an offset (3,), metres."""


class Placed(Ground, Protocol):
    """A ground along a heading (radians about +Y) from an origin (3,), metres; its class is a dataclass."""

    __slots__ = ()

    heading: float
    origin: Array

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        """Return the same ground turned by yaw radians about the vertical through a point (3,)."""
        centre = point_at(about, "about")
        return self._changed(heading=self.heading + yaw, origin=centre + turned_vector(self.origin - centre, yaw))

    def moved(self, offset: ArrayLike) -> Self:
        """Return the same ground moved by an offset (3,), metres."""
        return self._changed(origin=self.origin + point_at(offset, "offset"))

    def _changed(self, **fields: Any) -> Self:
        one: Any = self
        made: Self = replace(one, **fields)
        return made


def line_samples(ground: Ground, start: Components, end: Components) -> Array:
    """Return how far a ground without corners of its own stands above lines, metres, 0 where it doesn't."""
    (x, y, z), (x2, y2, z2) = start, end
    share = (np.arange(1, ALONG_LINE + 1) / (ALONG_LINE + 1.0)).reshape(-1, *[1] * np.ndim(x))
    px, py, pz = (np.asarray(a) + share * np.subtract(b, a) for a, b in ((x, x2), (y, y2), (z, z2)))
    above = ground.height(px, pz) - py
    return np.asarray(np.maximum(above.max(axis=0), 0.0))


def _steepened(rise: Array, start: Components, end: Components) -> Array:
    """Return heights straight above lines as distances from the lines."""
    dx, dy, dz = (np.subtract(b, a) for a, b in zip(start, end, strict=True))
    level = np.sqrt(dx * dx + dz * dz)
    return np.asarray(rise * level / np.maximum(np.sqrt(level * level + dy * dy), 1e-300))
