"""A route on the plan: a line of places that is walked along, its corners rounded.

World space, metres; headings in radians about +Y, 0 along +Z, positive towards +X.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.ground_coordinates import lengths, number

__all__ = ["Route"]

Array = NDArray[np.float64]

ARC_STEPS = 33


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """Places along a way: ``distance`` from its start, ``x``, ``z`` and ``heading``, ``(n,)`` each."""

    distance: Array
    x: Array
    z: Array
    heading: Array

    @classmethod
    def straight(cls, heading: float, start: tuple[float, float] = (0.0, 0.0)) -> Self:
        """Return the way from ``start`` (x, z) on and on along one heading."""
        heading = number(heading, "heading")
        ends, s, c = np.array([0.0, 1.0]), float(np.sin(heading)), float(np.cos(heading))
        return cls(ends, start[0] + s * ends, start[1] + c * ends, np.full(2, heading))

    @classmethod
    def through(cls, points: ArrayLike, *, radius: float = 1.0) -> Self:
        """Return the way through points ``(n, 2)``, x and z, its corners rounded by arcs of at most a radius.

        Raises InputError for fewer than two different points in a row, or a corner sharper than 150 degrees.
        """
        place = lengths(points, "path")
        if place.ndim != 2 or place.shape[1] != 2:
            raise ShapeError(f"expected places of two numbers, x and z, got shape {place.shape}", place="path")
        legs = np.diff(place, axis=0)
        size = np.hypot(*legs.T)
        if len(place) < 2 or not np.all(size > 1e-6):
            raise InputError("expected at least two places, each apart from the one before", place="path")
        if not 0.0 < radius < 1e4:
            raise InputError(f"expected a radius above zero, got {radius!r} m", place="path")
        turn = np.unwrap(np.arctan2(legs[:, 0], legs[:, 1]))
        bend = np.diff(turn)
        if bend.size and float(np.abs(bend).max()) > np.radians(150.0):
            at = int(np.abs(bend).argmax()) + 1
            raise InputError("expected a corner of at most 150 degrees", place=f"path[{at}]")
        half = np.tan(0.5 * np.abs(bend))
        room = 0.5 * np.minimum(size[1:], size[:-1])
        cut = np.minimum(radius * half, room)  # from the corner to where its arc begins
        x, z, heading = [place[:1, 0]], [place[:1, 1]], [turn[:1]]
        for k, angle in enumerate(bend.tolist()):
            if abs(angle) < 1e-9:
                continue
            arc = cut[k] / half[k]
            share = np.linspace(0.0, 1.0, ARC_STEPS)
            along = turn[k] + angle * share
            begin = place[k + 1] - cut[k] * legs[k] / size[k]
            side = np.sign(angle) * arc
            x.append(begin[0] + side * (np.cos(turn[k]) - np.cos(along)))
            z.append(begin[1] + side * (np.sin(along) - np.sin(turn[k])))
            heading.append(along)
        x.append(place[-1:, 0])
        z.append(place[-1:, 1])
        heading.append(turn[-1:])
        xs, zs, turns = (np.concatenate(part) for part in (x, z, heading))
        chord = np.hypot(np.diff(xs), np.diff(zs))
        step = chord / np.maximum(np.sinc(0.5 * np.diff(turns) / np.pi), 0.5)  # arcs are longer than their chords
        keep = np.concatenate([[True], step > 1e-12])
        distance = np.concatenate([[0.0], step.cumsum()])[keep]
        return cls(distance, xs[keep], zs[keep], turns[keep])

    @property
    def length(self) -> float:
        """Metres from its first place to its last."""
        return float(self.distance[-1])

    @property
    def is_straight(self) -> bool:
        """Whether its heading is the same everywhere."""
        return bool(np.abs(self.heading - self.heading[0]).max() < 1e-12)

    def at(self, distance: ArrayLike) -> tuple[Array, Array, Array]:
        """Return x, z and heading so far along; straight on beyond both ends."""
        asked = np.asarray(distance, dtype=np.float64)
        k = np.clip(np.searchsorted(self.distance, asked, "right") - 1, 0, len(self.distance) - 2)
        heading = np.interp(asked, self.distance, self.heading)
        over = asked - self.distance[k]
        span = self.distance[k + 1] - self.distance[k]
        share = np.clip(over / span, 0.0, 1.0)
        turn = self.heading[k + 1] - self.heading[k]
        mean = self.heading[k] + 0.5 * turn * share  # the chord of a piece of an arc
        chord = share * span * np.sinc(0.5 * turn * share / np.pi)
        beyond = over - share * span
        x = self.x[k] + chord * np.sin(mean) + beyond * np.sin(heading)
        z = self.z[k] + chord * np.cos(mean) + beyond * np.cos(heading)
        return x, z, heading

    def beside(self, distance: ArrayLike, aside: ArrayLike) -> tuple[Array, Array, Array]:
        """Return x, z and heading so far along and so far to the route's left, metres."""
        x, z, heading = self.at(distance)
        aside = np.asarray(aside, dtype=np.float64)
        return x + aside * np.cos(heading), z - aside * np.sin(heading), heading
