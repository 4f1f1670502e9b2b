"""What the feet stand on: flat ground, a plane, or a profile (street, kerb, ramp, stairs).

World space throughout: right-handed, +Y up, metres. A heading is a yaw about +Y in radians: 0 along +Z,
positive towards +X. Points come component-major, one array per coordinate, and broadcast.

Presets for stairs, ramps and kerbs are for pictures: what may be built is decided by local codes and
licensed practice, not here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import cos, hypot, pi, sin, tan
from numbers import Integral
from typing import Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.ground_coordinates import (
    common_shape,
    filled,
    frozen,
    length,
    lengths,
    number,
    point_at,
    spread,
    turned_vector,
    vector,
)
from surefoot.ground_line import SAME_DISTANCE, GroundLine

__all__ = ["Components", "Flat", "Ground", "Plane", "Profile"]

Array = NDArray[np.float64]
Components = tuple[ArrayLike, ArrayLike, ArrayLike] | Array
"""Points as (x, y, z), one array per coordinate; an array of shape (3, ...) serves too."""

LEAST_UP = 0.01  # upward part of a unit normal; below it (steeper than 89.4 degrees) it is a wall
MOST_STEPS = 10_000


class Ground(Protocol):
    """A surface that has one height at each (x, z); `Flat`, `Plane` and `Profile` are interchangeable."""

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

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        """Return the same ground turned by yaw radians about the vertical through a point (3,)."""

    def moved(self, offset: ArrayLike) -> Self:
        """Return the same ground moved by an offset (3,), metres."""


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """Level ground. ``elevation`` is its height, metres, world space."""

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

    def corners_between(self, heel: Components, toe: Components) -> Array:
        return filled(0.0, common_shape(*heel, *toe))

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        turned_vector(point_at(about, "about"), yaw)  # checks both, though flat ground doesn't change
        return self

    def moved(self, offset: ArrayLike) -> Self:
        return replace(self, elevation=self.elevation + point_at(offset, "offset")[1])

    def isclose(self, other: Flat, *, atol: float) -> bool:
        """Return whether the two heights differ by at most ``atol`` metres; names don't count."""
        return abs(self.elevation - other.elevation) <= atol


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """An endless slope through ``point`` (3,), metres, with the unit upward ``normal_at_point`` (3,).

    The normal is scaled to unit length; it must point up (y above 0.01 of its length), else InputError.
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

    def corners_between(self, heel: Components, toe: Components) -> Array:
        return filled(0.0, common_shape(*heel, *toe))

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


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """A polyline along a heading, the same all the way across, level beyond both ends.

    ``distance`` and ``elevation`` (n,) are metres from ``origin`` (3,), n at least 2; distance never
    decreases. Equal distances in a row are a vertical riser, on which `height` gives the upper end. A
    profile has no overhang, so a stair's nosing is the corner of its tread.
    """

    distance: Array
    elevation: Array
    heading: float = 0.0
    origin: Array = field(default_factory=lambda: np.zeros(3))
    name: str = "profile"
    _along: tuple[float, float] = field(init=False, repr=False)
    _line: GroundLine = field(init=False, repr=False)

    def __post_init__(self) -> None:
        distance, elevation = lengths(self.distance, "distance"), lengths(self.elevation, "height")
        if distance.ndim != 1 or distance.shape != elevation.shape:
            came = f"{distance.shape} and {elevation.shape}"
            raise ShapeError(f"expected as many heights as distances, (n,), got {came}", place="points")
        heading = number(self.heading, "heading")
        for name, value in (
            ("_line", GroundLine.through(distance, elevation)),
            ("_along", (sin(heading), cos(heading))),
            ("distance", frozen(distance)),
            ("elevation", frozen(elevation)),
            ("heading", heading),
            ("origin", frozen(point_at(self.origin, "origin"))),
        ):
            object.__setattr__(self, name, value)

    @classmethod
    def stairs(
        cls,
        *,
        riser: float,
        tread: float,
        count: int,
        start: float = 0.0,
        heading: float = 0.0,
        origin: ArrayLike = (0.0, 0.0, 0.0),
        name: str = "stairs",
    ) -> Self:
        """Return ``count`` risers, the first at ``start``, a tread apart; a negative riser goes down."""
        if isinstance(count, bool) or not isinstance(count, Integral) or not 1 <= count <= MOST_STEPS:
            raise InputError(f"expected a whole number from 1 to {MOST_STEPS}, got {count!r}", place="count")
        if length(tread, "tread") <= 0.0:
            raise InputError(f"expected a length above zero, got {tread:g} m", place="tread")
        steps = np.arange(int(count))
        distance = np.repeat(length(start, "start") + tread * steps, 2)
        elevation = _step(riser, "riser") * np.stack((steps, steps + 1), axis=1).ravel()
        return cls(distance, elevation, heading, point_at(origin, "origin"), name)

    @classmethod
    def ramp(
        cls,
        *,
        rise: float,
        run: float,
        start: float = 0.0,
        heading: float = 0.0,
        origin: ArrayLike = (0.0, 0.0, 0.0),
        name: str = "ramp",
    ) -> Self:
        """Return a ramp from ``start`` over a horizontal ``run``; a negative rise goes down."""
        if length(run, "run") <= SAME_DISTANCE:
            raise InputError(f"expected a length above zero, got {run:g} m", place="run")
        distance = np.array([0.0, run]) + length(start, "start")
        elevation = np.array([0.0, length(rise, "rise")])
        return cls(distance, elevation, heading, point_at(origin, "origin"), name)

    @classmethod
    def kerb(
        cls,
        *,
        height: float,
        at: float = 0.0,
        heading: float = 0.0,
        origin: ArrayLike = (0.0, 0.0, 0.0),
        name: str = "kerb",
    ) -> Self:
        """Return one step of a height at a distance; a negative height steps down."""
        elevation = np.array([0.0, _step(height, "height")])
        distance = np.full(2, length(at, "at"))
        return cls(distance, elevation, heading, point_at(origin, "origin"), name)

    @property
    def is_level(self) -> bool:
        return bool(np.all(self.elevation == self.elevation[0]))

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        return np.asarray(self._line.height(self._distance_along(x, z)) + self.origin[1])

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        slope = self._line.gradient(self._distance_along(x, z))
        up = np.asarray(1.0 / np.hypot(1.0, slope))
        uphill = -slope * up
        return np.asarray(uphill * self._along[0]), up, np.asarray(uphill * self._along[1])

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        shape = common_shape(x, y, z)
        distance = spread(self._distance_along(x, z), shape)
        rise = spread(np.subtract(y, self.origin[1]), shape)
        return self._line.depth(distance.ravel(), rise.ravel()).reshape(shape)

    def corners_between(self, heel: Components, toe: Components) -> Array:
        shape = common_shape(*heel, *toe)
        ends = []
        for x, y, z in (heel, toe):
            ends.append(spread(self._distance_along(x, z), shape).ravel())
            ends.append(spread(np.subtract(y, self.origin[1]), shape).ravel())
        return self._line.corner_depth(*ends).reshape(shape)

    def turned(self, yaw: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Self:
        centre = point_at(about, "about")
        origin = centre + turned_vector(self.origin - centre, yaw)
        return replace(self, heading=self.heading + yaw, origin=origin)

    def moved(self, offset: ArrayLike) -> Self:
        return replace(self, origin=self.origin + point_at(offset, "offset"))

    def isclose(self, other: Profile, *, atol: float) -> bool:
        """Return whether points and origin agree within ``atol`` metres and directions within ``atol``."""
        pairs = (
            (self.distance, other.distance),
            (self.elevation, other.elevation),
            (self.origin, other.origin),
            (self._along, other._along),
        )
        return all(np.shape(a) == np.shape(b) and np.allclose(a, b, rtol=0, atol=atol) for a, b in pairs)

    def _distance_along(self, x: ArrayLike, z: ArrayLike) -> Array:
        common_shape(x, z)
        across, ahead = self._along
        return np.asarray(
            across * np.subtract(x, self.origin[0]) + ahead * np.subtract(z, self.origin[2]), dtype=np.float64
        )


def _step(value: float, place: str) -> float:
    """Return a checked step up or down; raise InputError for one of no height."""
    step = length(value, place)
    if step == 0.0:
        raise InputError("expected a height above or below zero, got 0 m", place=place)
    return step
