"""What every kind of ground can be asked: heights, normals, depths, and what stands up between two points.

World space: right-handed, +Y up, metres. Points come component-major, one array per coordinate, and broadcast.
"""

from __future__ import annotations

from typing import Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.ground_coordinates import Components

__all__ = ["Ground"]

Array = NDArray[np.float64]


class Ground(Protocol):
    """A surface that has one height at each (x, z); its kinds are interchangeable."""

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

    def corners_between(self, heel: Components, toe: Components) -> Array:
        """Return the largest depth, metres, by which a ground corner pokes through the line from heel to toe.

        A corner (a nosing, a kerb's edge) counts where it lies above the line and strictly between its
        ends along the heading; its depth is its distance to the line, in the profile's vertical plane.
        Zero where there is none. The ends' own depths are asked of `depth`.
        """

    @property
    def edges_suffice(self) -> bool:
        """Whether ground that stands inside a flat sole always shows at the sole's edges too, as on a profile."""

    def poke(self, start: Components, end: Components) -> Array:
        """Return the largest height, metres, by which the ground stands above the lines, strictly between their ends.

        Straight up, 0 where it doesn't. Only corners count on a profile, since the ends are asked of `height`;
        ground without corners of its own is looked at in ten places.
        """

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        """Return the same ground turned by yaw radians about the vertical through a point (3,)."""

    def moved(self, offset: ArrayLike) -> Self:
        """Return the same ground moved by an offset (3,), metres."""
