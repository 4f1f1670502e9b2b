"""The belt: the constant motion of the ground under an in-place cycle.

A belt moves with one velocity, and for a cycle that turns it also turns at one
rate about the vertical. Ground space is the space that rides on the belt; at
``time`` 0 it lies on world space. Planted points stand still in ground space.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, came, finite_number

__all__ = ["STILL", "Belt"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Belt:
    """A constant motion of the ground.

    Parameters
    ----------
    velocity : ndarray, shape (3,)
        Metres per second in world space, of the ground that is at the world's origin.
        Along a slope it has a vertical part.
    turn : float
        Radians per second about +Y, positive to the character's left.

    Raises
    ------
    InputError
        If the velocity isn't three finite numbers, or either is faster than 1000 m/s or 100 rad/s.
    """

    velocity: Array = field(default_factory=lambda: np.zeros(3))
    turn: float = 0.0

    def __post_init__(self) -> None:
        try:
            velocity = np.array(self.velocity, dtype=np.float64)
        except (TypeError, ValueError, OverflowError):
            raise InputError(f"wanted a velocity of three numbers, got {came(self.velocity)}", place="belt") from None
        finite_number(self.turn, place="belt: turn")
        if velocity.shape != (3,) or not np.all(np.isfinite(velocity)):
            raise InputError("wanted a velocity of three finite numbers", place="belt")
        if np.abs(velocity).max() > 1000.0 or abs(self.turn) > 100.0:
            raise InputError("faster than 1000 m/s or 100 rad/s; is the unit right?", place="belt")
        velocity.flags.writeable = False
        object.__setattr__(self, "velocity", velocity)

    @property
    def is_still(self) -> bool:
        """True when the ground doesn't move at all."""
        return self.turn == 0.0 and not self.velocity.any()

    @property
    def speed(self) -> float:
        """Metres per second."""
        return float(np.linalg.norm(self.velocity))

    def heading(self, time: Array) -> Array:
        """Return how far ground space has turned by ``time`` (seconds), radians about +Y."""
        return self.turn * np.asarray(time)

    def offset(self, time: Array) -> Array:
        """Return where ground space's origin is at ``time``, world, ``(3, ...)`` metres."""
        t = np.asarray(time, dtype=np.float64)
        vx, vy, vz = self.velocity
        if self.turn == 0.0:
            return np.array([vx * t, vy * t, vz * t])
        angle = self.turn * t
        # the integral of the turning velocity: sinc forms, so that a slow turn is exact too
        along = t * np.sinc(angle / np.pi)
        across = t * np.sinc(angle / (2.0 * np.pi)) * np.sin(angle / 2.0)
        return np.array([vx * along + vz * across, vy * t, vz * along - vx * across])

    def to_ground(self, point: Array, time: Array) -> Array:
        """Return world points ``(3, ...)`` at ``time`` in ground space."""
        if self.is_still:
            return np.asarray(point)
        moved = point - self._offset_for(np.asarray(point), time)
        return moved if self.turn == 0.0 else _turned(moved, -self.heading(time))

    def to_world(self, point: Array, time: Array) -> Array:
        """Return ground-space points ``(3, ...)`` at ``time`` in world space."""
        if self.is_still:
            return np.asarray(point)
        moved = point if self.turn == 0.0 else _turned(point, self.heading(time))
        return np.asarray(moved + self._offset_for(np.asarray(moved), time))

    def _offset_for(self, point: Array, time: Array) -> Array:
        """Return the offset with axes put in, so that time runs along the points' last axis."""
        offset = self.offset(time)
        return offset.reshape(3, *([1] * (point.ndim - offset.ndim)), *offset.shape[1:])


def _turned(point: Array, angle: Array) -> Array:
    s, c = np.sin(angle), np.cos(angle)
    return np.array([c * point[0] + s * point[2], point[1] + 0.0 * angle, c * point[2] - s * point[0]])


STILL = Belt()
"""Ground that doesn't move."""
