"""A ground profile: a polyline along a heading, such as a street, a kerb, a ramp or stairs.

World space, metres; points component-major, as in `surefoot.ground`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import cos, sin
from numbers import Integral
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.ground_coordinates import (
    Components,
    common_shape,
    frozen,
    length,
    lengths,
    number,
    point_at,
    spread,
)
from surefoot.ground_line import SAME_DISTANCE, GroundLine
from surefoot.ground_surface import Placed

__all__ = ["Profile"]

Array = NDArray[np.float64]

MOST_STEPS = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Profile(Placed):
    """A polyline along a heading, the same all the way across, level beyond both ends.

    ``distance`` and ``elevation`` (n,) are metres from ``origin`` (3,), n at least 2; distance never
    decreases. Equal distances in a row are a vertical riser, on which `height` gives the upper end. A
    profile has no overhang, so a stair's nosing is the corner of its tread.

    Raises
    ------
    InputError, ShapeError, UnitError
        If there are fewer than two points, as many heights as distances are not there, distances decrease, or a
        length is beyond ten kilometres.
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
        nosing: float = 0.0,
        start: float = 0.0,
        heading: float = 0.0,
        origin: ArrayLike = (0.0, 0.0, 0.0),
        name: str = "stairs",
    ) -> Self:
        """Return ``count`` risers, the first at ``start``, a tread apart; a negative riser goes down.

        ``tread`` is measured from edge to edge. With a ``nosing`` each edge stands out by so much over its
        riser on the lower side; the room beneath a nosing is no ground that a foot could enter.
        """
        if isinstance(count, bool) or not isinstance(count, Integral) or not 1 <= count <= MOST_STEPS:
            raise InputError(f"expected a whole number from 1 to {MOST_STEPS}, got {count!r}", place="count")
        if length(tread, "tread") <= 0.0:
            raise InputError(f"expected a length above zero, got {tread:g} m", place="tread")
        steps = np.arange(int(count))
        out = length(nosing, "nosing")
        if not 0.0 <= out < tread:
            raise InputError(f"expected a length from 0 to less than the tread, got {out:g} m", place="nosing")
        edge = length(start, "start") - np.copysign(out, riser)
        distance = np.repeat(edge + tread * steps, 2)
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

    @property
    def for_pictures(self) -> bool:
        return True

    @property
    def edges_suffice(self) -> bool:
        return True

    def corners_between(self, heel: Components, toe: Components) -> Array:
        shape, ends = self._ends(heel, toe)
        return self._line.corner_depth(*ends).reshape(shape)

    def poke(self, start: Components, end: Components) -> Array:
        shape, ends = self._ends(start, end)
        return self._line.corner_depth(*ends, upright=True).reshape(shape)

    def poke_within(self, start: Components, end: Components, share: Array) -> Array:
        """Return the largest depth of a corner in lines from ``start`` to ``end`` ``(3, lines, ...)``, metres.

        A corner's depth is ``share`` ``(lines, ...)`` of its height straight above a line, but no more than its
        distance along the heading from the nearer end of all the lines: a toe a millimetre into a riser is in it
        by that millimetre, however high the riser stands.
        """
        shape, ends = self._ends(start, end)
        along = np.concatenate([ends[0].reshape(shape), ends[2].reshape(shape)])
        near, far = (np.broadcast_to(side, shape).ravel() for side in (along.min(axis=0), along.max(axis=0)))
        within = near, far, np.broadcast_to(share, shape).ravel()
        return self._line.corner_depth(*ends, upright=True, within=within).reshape(shape)

    def _ends(self, start: Components, end: Components) -> tuple[tuple[int, ...], list[Array]]:
        shape = common_shape(*start, *end)
        ends = []
        for x, y, z in (start, end):
            ends.append(spread(self._distance_along(x, z), shape).ravel())
            ends.append(spread(np.subtract(y, self.origin[1]), shape).ravel())
        return shape, ends

    def section(self, through: ArrayLike, heading: float, first: float, last: float) -> Array:
        x, _, z = np.asarray(through, dtype=np.float64).tolist()
        s, c = float(np.sin(heading)), float(np.cos(heading))
        turn = float(np.cos(self.heading - heading))
        ahead = np.sin(self.heading) * (x - self.origin[0]) + np.cos(self.heading) * (z - self.origin[2])
        at, rise = np.zeros(0), np.zeros(0)
        if abs(turn) > 1e-9:
            at, rise = (self.distance - ahead) / turn, self.elevation + self.origin[1]
            if turn < 0.0:
                at, rise = at[::-1], rise[::-1]
            at, rise = at[(within := (at > first) & (at < last))], rise[within]
        ends = np.array([first, last])
        low, high = np.asarray(self.height(x + s * ends, z + c * ends)).tolist()
        at, rise = np.array([first, *at, last]), np.array([low, *rise, high])
        return np.stack([x + s * at, rise, z + c * at], axis=-1)

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
