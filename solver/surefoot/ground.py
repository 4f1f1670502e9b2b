"""What the feet stand on: flat ground, a plane, a profile (street, kerb, ramp, stairs), a grid or a mesh.

World space throughout: right-handed, +Y up, metres. A heading is a yaw about +Y in radians: 0 along +Z,
positive towards +X. Points come component-major, one array per coordinate, and broadcast.

Presets for stairs, ramps and kerbs are for pictures: what may be built is decided by local codes and
licensed practice, not here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, hypot, pi, sin, tan
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError
from surefoot.ground_coordinates import (
    Components,
    common_shape,
    filled,
    frozen,
    length,
    number,
    point_at,
    spread,
    turned_vector,
    vector,
)
from surefoot.ground_profile import Profile
from surefoot.ground_surface import Ground

__all__ = ["Components", "Flat", "Ground", "Plane", "Profile"]

Array = NDArray[np.float64]
LEAST_UP = 0.01  # upward part of a unit normal; below it (steeper than 89.4 degrees) it is a wall


@dataclass(frozen=True, slots=True, eq=False)
class Flat(Ground):
    """Level ground at a height: ``Flat(0.1)``.

    Parameters
    ----------
    elevation : float
        Its height, metres, world space. (In files it's called height; here ``height`` is the method that every ground
        has, which asks for the height at a place.)

    Raises
    ------
    InputError, UnitError
        If the height is no finite number, or beyond ten kilometres.
    """

    elevation: float = 0.0
    name: str = "flat"

    def __post_init__(self) -> None:
        object.__setattr__(self, "elevation", length(self.elevation, "height"))

    @property
    def is_level(self) -> bool:
        return True

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        return filled(self.elevation, common_shape(x, z))

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        shape = common_shape(x, z)
        return filled(0.0, shape), filled(1.0, shape), filled(0.0, shape)

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        return self.elevation - spread(y, common_shape(x, y, z))

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        turned_vector(point_at(about, "about"), yaw)  # checks both, though flat ground doesn't change
        return self

    def moved(self, offset: ArrayLike) -> Self:
        return replace(self, elevation=self.elevation + point_at(offset, "offset")[1])

    def isclose(self, other: Flat, *, atol: float) -> bool:
        """Return whether the two heights differ by at most ``atol`` metres; names don't count."""
        return abs(self.elevation - other.elevation) <= atol


@dataclass(frozen=True, slots=True, eq=False)
class Plane(Ground):
    """An endless slope through ``point`` (3,), metres, with the unit upward ``normal_at_point`` (3,).

    The normal is scaled to unit length; it must point up (y above 0.01 of its length), else InputError.

    Raises
    ------
    InputError, UnitError
        If the normal doesn't point up, or a number isn't finite or beyond ten kilometres.
    """

    point: Array
    normal_at_point: Array
    name: str = "plane"

    def __post_init__(self) -> None:
        normal = vector(self.normal_at_point, "normal")
        size = hypot(*normal)
        if not normal[1] > LEAST_UP * size:
            raise InputError(
                f"expected a normal whose y is above {LEAST_UP:g} of its length, got {normal.tolist()}",
                place="normal",
            )
        object.__setattr__(self, "point", frozen(point_at(self.point, "point")))
        object.__setattr__(self, "normal_at_point", frozen(normal / size))

    @classmethod
    def slope(
        cls,
        rise_over_run: float | None = None,
        *,
        angle: float | None = None,
        heading: float = 0.0,
        point: ArrayLike = (0.0, 0.0, 0.0),
        name: str = "slope",
    ) -> Self:
        """Return the plane that rises along a heading, by a ratio or else by an angle; radians both."""
        if rise_over_run is not None and angle is None:
            steep = number(rise_over_run, "rise_over_run")
        elif angle is not None and rise_over_run is None:
            steep = number(angle, "angle")
            if not abs(steep) < 0.5 * pi:
                raise InputError(f"expected less than a quarter turn, got {steep:g} rad", place="angle")
            steep = tan(steep)
        else:
            raise InputError("expected either rise_over_run or angle, one of the two", place="slope")
        heading = number(heading, "heading")
        normal = np.array([-steep * sin(heading), 1.0, -steep * cos(heading)])
        return cls(point_at(point, "point"), normal, name)

    @property
    def is_level(self) -> bool:
        return not (self.normal_at_point[0] or self.normal_at_point[2])

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        common_shape(x, z)
        (px, py, pz), (nx, ny, nz) = self.point.tolist(), self.normal_at_point.tolist()
        return np.asarray(py - (nx / ny) * np.subtract(x, px) - (nz / ny) * np.subtract(z, pz))

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        shape, (nx, ny, nz) = common_shape(x, z), self.normal_at_point.tolist()
        return filled(nx, shape), filled(ny, shape), filled(nz, shape)

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        common_shape(x, y, z)
        (px, py, pz), (nx, ny, nz) = self.point.tolist(), self.normal_at_point.tolist()
        return np.asarray(nx * np.subtract(px, x) + ny * np.subtract(py, y) + nz * np.subtract(pz, z))

    @property
    def is_even(self) -> bool:
        return True

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        centre = point_at(about, "about")
        point = centre + turned_vector(self.point - centre, yaw)
        return replace(self, point=point, normal_at_point=turned_vector(self.normal_at_point, yaw))

    def moved(self, offset: ArrayLike) -> Self:
        return replace(self, point=self.point + point_at(offset, "offset"))

    def isclose(self, other: Plane, *, atol: float) -> bool:
        """Return whether the normals agree within ``atol`` and the other's point is as near, metres."""
        tilt = np.abs(self.normal_at_point - other.normal_at_point).max()
        return bool(tilt <= atol and abs(self.depth(*other.point)) <= atol)
