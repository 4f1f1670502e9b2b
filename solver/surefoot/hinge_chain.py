"""A chain of hinges: its points and their derivatives by each angle, for legs of any number of bones.

Each hinge turns about an axis of the space that the one before carries, at a place in that space. A leg is such a
chain (`leg_hinges`); so is any other row of hinges. Arrays are component-major, ``(3, points, frames)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.rig import FEET, JOINTS, Leg

__all__ = ["Hinge", "HingeChain", "hinge_points", "leg_hinges"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hinge:
    """One hinge: ``place`` in the space before it, metres, and the axis there; ``sign`` -1 turns the other way."""

    name: str
    axis: str
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)
    sign: float = 1.0

    def __post_init__(self) -> None:
        if self.axis not in ("x", "y", "z"):
            raise InputError(f"{self.axis!r} is no axis; use x, y or z", place=f"hinge {self.name}")


@dataclass(frozen=True, slots=True)
class HingeChain:
    """Hinges from the root outwards, and points: name, how many hinges carry it, place in that space (metres)."""

    hinges: tuple[Hinge, ...]
    points: tuple[tuple[str, int, tuple[float, float, float]], ...]

    def __post_init__(self) -> None:
        for name, after, _ in self.points:
            if not 0 <= after <= len(self.hinges):
                raise InputError(f"carried by {after} of {len(self.hinges)} hinges", place=f"point {name}")

    @property
    def names(self) -> tuple[str, ...]:
        """The hinges' names."""
        return tuple(hinge.name for hinge in self.hinges)


def leg_hinges(leg: Leg, *, side: str, foot_yaw: bool = False) -> HingeChain:
    """Return a leg's chain from the hip joint, in hips space: signs are those of `Limits`.

    The points are knee, hock (where there's one), ankle, heel, ball and toe.
    """
    if side not in FEET:
        raise InputError(f"{side!r} is no side; use {' or '.join(FEET)}", place="side")
    s = 1.0 if side == "left" else -1.0
    hinges = [Hinge(JOINTS[0], "x", sign=-1.0), Hinge(JOINTS[1], "z", sign=s), Hinge(JOINTS[2], "y", sign=-s),
              Hinge(JOINTS[3], "x", (0.0, -leg.thigh, 0.0))]  # fmt: skip
    points: list[tuple[str, int, tuple[float, float, float]]] = [("knee", 3, (0.0, -leg.thigh, 0.0))]
    below = (0.0, -leg.shank, 0.0)
    if leg.hock > 0.0:
        points.append(("hock", len(hinges), below))
        hinges.append(Hinge("hock_flexion", "x", below, -1.0))
        below = (0.0, -leg.hock, 0.0)
    points.append(("ankle", len(hinges), below))
    if foot_yaw:
        hinges.append(Hinge("foot_yaw", "y", below))
        below = (0.0, 0.0, 0.0)
    hinges.append(Hinge(JOINTS[4], "x", below, -1.0))
    hinges.append(Hinge(JOINTS[5], "z", sign=-s))
    heel, ball, toe = (tuple(point.tolist()) for point in (leg.foot.heel, leg.foot.ball, leg.foot.toe - leg.foot.ball))
    points += [("heel", len(hinges), heel), ("ball", len(hinges), ball)]
    hinges.append(Hinge("toe_bend", "x", ball, -1.0))
    points.append(("toe", len(hinges), toe))
    return HingeChain(tuple(hinges), tuple(points))


def hinge_points(
    angles: Array, chain: HingeChain, *, turn: Array | None = None, origin: Array | None = None
) -> tuple[Array, Array, Array]:
    """Return a chain's points, how they move with each angle, and the hinges' axes.

    Parameters
    ----------
    angles : ndarray, shape (hinges, frames)
        Radians.
    turn : ndarray, shape (3, 3, frames), optional
        World from root; else no turn.
    origin : ndarray, shape (3, frames), optional
        The root's place in the world, metres; else the origin.

    Returns
    -------
    points : ndarray, shape (3, points, frames)
        Metres.
    jacobian : ndarray, shape (3, points, hinges, frames)
        Metres a radian.
    axes : ndarray, shape (3, hinges, frames)
        Unit vectors; a right-handed turn about one is a growing angle.

    Raises
    ------
    ShapeError
        If ``angles`` doesn't fit the chain.
    """
    count = len(chain.hinges)
    if angles.ndim != 2 or angles.shape[0] != count:
        raise ShapeError(f"wanted shape ({count}, frames), got {angles.shape}", place="angles")
    frames = angles.shape[1]
    points = np.empty((3, len(chain.points), frames))
    axes, joints = np.empty((3, count, frames)), np.empty((3, count, frames))
    if turn is None:
        carried = [np.repeat(column[:, None], frames, axis=1) for column in np.eye(3)]
    else:
        carried = [turn[:, k] for k in range(3)]
    at = np.zeros((3, frames)) if origin is None else origin
    sines, cosines = np.sin(angles), np.cos(angles)
    for k in range(count + 1):
        for p, (_, after, place) in enumerate(chain.points):
            if after == k:
                points[:, p] = _moved(at, carried, place)
        if k == count:
            break
        hinge = chain.hinges[k]
        at = _moved(at, carried, hinge.place)
        i = "xyz".index(hinge.axis)
        joints[:, k], axes[:, k] = at, hinge.sign * carried[i]
        b, c = carried[(i + 1) % 3], carried[(i + 2) % 3]
        cosine, sine = cosines[k], hinge.sign * sines[k]
        carried[(i + 1) % 3], carried[(i + 2) % 3] = b * cosine + c * sine, c * cosine - b * sine
    jacobian = np.zeros((3, len(chain.points), count, frames))
    for p, (_, after, _) in enumerate(chain.points):
        arm = points[:, p, None] - joints[:, :after]
        jacobian[:, p, :after] = _crossed(axes[:, :after], arm)
    return points, jacobian, axes


def _moved(at: Array, axes: list[Array], place: tuple[float, float, float]) -> Array:
    for axis, amount in zip(axes, place, strict=True):
        if amount:
            at = at + amount * axis
    return at


def _crossed(a: Array, b: Array) -> Array:
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
