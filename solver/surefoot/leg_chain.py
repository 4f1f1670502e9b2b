"""A leg posed by joint angles: its points, and how each point moves with each angle.

The seven freedoms are those of `Limits.NAMES`, in that order, each a hinge
carried by the one before. With ``s`` +1 for the left leg and -1 for the right::

    thigh = Rx(-hip flexion) Rz(s hip abduction) Ry(-s hip rotation)
    shank = thigh Rx(knee flexion)
    foot  = shank Rx(-ankle flexion) Rz(-s ankle inversion)
    toes  = foot Rx(-toe bend)

So equal angles on both legs are mirrored poses. Hip rotation is positive when
the toes turn in, as in the joint convention of Wu et al. (2002; sign from memory).
With every angle zero the leg hangs straight down and the foot is flat, toes forward.

Notes
-----
A space is carried down the chain as its three axes, ``(3, ..., frames)`` each:
a hinge about one of them turns the other two into each other, which is half
the work of a matrix product. A point's derivative is the hinge's axis crossed
with the way from the hinge to the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.rig import FEET, Leg, Rig

__all__ = ["POINTS", "LegChain", "leg_jacobian", "leg_points"]

Array = NDArray[np.float64]

POINTS = ("hip", "knee", "ankle", "heel", "ball", "toe")
"""The points of a leg, in the order in which they come out."""

HIP, KNEE, ANKLE, HEEL, BALL, TOE = range(6)


@dataclass(frozen=True, slots=True, eq=False)
class LegChain:
    """The measures of one leg or of both, ready to broadcast over frames (metres).

    The trailing shape is ``(1,)`` for one leg, whose angles are then ``(7, frames)``, and
    ``(2, 1)`` for both, whose angles are ``(7, 2, frames)``. Make one with `of` or `one`.
    """

    sign: Array  # +1 left, -1 right
    hip: Array  # (3, ...) in hips space
    thigh: Array
    shank: Array
    heel: Array  # (3, ...) in foot space
    ball: Array
    toe: Array  # (3, ...) relative to the ball hinge

    @staticmethod
    def of(rig: Rig) -> LegChain:
        """Return both legs of a rig, left and right."""
        return _stacked(rig.legs, np.array([1.0, -1.0]), (2, 1))

    @staticmethod
    def one(leg: Leg, *, side: str) -> LegChain:
        """Return one leg; ``side`` is ``"left"`` or ``"right"``, else InputError."""
        if side not in FEET:
            raise InputError(f"{side!r} is no side; use {' or '.join(FEET)}", place="side")
        return _stacked((leg,), np.array([1.0 if side == "left" else -1.0]), (1,))

    def check(self, angles: Array) -> None:
        """Raise ShapeError unless ``angles`` are ``(7, frames)`` or, for both legs, ``(7, 2, frames)``."""
        wanted = (7, *self.sign.shape[:-1])
        if angles.shape[:-1] != wanted:
            shape = ", ".join(map(str, wanted))
            raise ShapeError(f"wanted shape ({shape}, frames), got {angles.shape}", place="angles")


def _stacked(legs: tuple[Leg, ...], sign: Array, shape: tuple[int, ...]) -> LegChain:
    def column(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64).reshape(shape)

    def points(values: list[Array]) -> Array:
        return np.array(values, dtype=np.float64).T.reshape(3, *shape)

    return LegChain(
        sign=sign.reshape(shape),
        hip=points([leg.hip for leg in legs]),
        thigh=column([leg.thigh for leg in legs]),
        shank=column([leg.shank for leg in legs]),
        heel=points([leg.foot.heel for leg in legs]),
        ball=points([leg.foot.ball for leg in legs]),
        toe=points([leg.foot.toe - leg.foot.ball for leg in legs]),
    )


def leg_points(angles: Array, chain: LegChain, *, hips_turn: Array | None = None, hip: Array | None = None) -> Array:
    """Return the six points of each leg, named by POINTS.

    Parameters
    ----------
    angles : ndarray, shape (7, ..., frames)
        Radians, in the order and with the signs of `Limits`; ``...`` is empty for one leg and 2 for both.
    chain : LegChain
    hips_turn : ndarray, shape (3, 3, frames), or None
        World from hips. None answers in hips space.
    hip : ndarray, shape (3, ..., frames), or None
        Hip joints in the space of the answer, metres. None takes the legs' own offset, turned.

    Returns
    -------
    ndarray, shape (3, 6, ..., frames)
        Metres, in world space where ``hips_turn`` and ``hip`` are given in it, else in hips space.

    Raises
    ------
    ShapeError
        If ``angles`` doesn't fit the chain.
    """
    chain.check(angles)
    points = np.empty((3, len(POINTS), *angles.shape[1:]))
    for part in _blocks(angles):
        _walk(angles[..., part], chain, _part(hips_turn, part), _part(hip, part), points[..., part])
    return points


def leg_jacobian(
    angles: Array, chain: LegChain, *, hips_turn: Array | None = None, hip: Array | None = None
) -> tuple[Array, Array]:
    """Return the points of each leg and their derivatives by each angle.

    Parameters
    ----------
    angles, chain, hips_turn, hip
        As in `leg_points`.

    Returns
    -------
    points : ndarray, shape (3, 6, ..., frames)
        What `leg_points` gives, metres.
    jacobian : ndarray, shape (3, 6, 7, ..., frames)
        Metres a radian: coordinate, point, angle. A point above a hinge doesn't move with it.

    Raises
    ------
    ShapeError
        If ``angles`` doesn't fit the chain.
    """
    chain.check(angles)
    points = np.empty((3, len(POINTS), *angles.shape[1:]))
    jacobian = np.zeros((3, len(POINTS), *angles.shape))
    for part in _blocks(angles):
        axes = _walk(angles[..., part], chain, _part(hips_turn, part), _part(hip, part), points[..., part])
        _derive(points[..., part], axes, jacobian[..., part])
    return points, jacobian


JOINTS = (HIP, HIP, HIP, KNEE, ANKLE, ANKLE, BALL)
"""The point through which each hinge passes."""

MOVED = (KNEE, KNEE, ANKLE, ANKLE, HEEL, HEEL, TOE)
"""The first point that each hinge moves; all after it move too. The knee lies on the axis of hip rotation."""


def _derive(points: Array, axes: list[Array], jacobian: Array) -> None:
    """Fill ``jacobian`` (3, 6, 7, ...), zeros until now, from the points and the hinges' axes."""
    way, spare = np.empty_like(points), np.empty_like(points[0])
    before = -1
    for hinge, (axis, joint, first) in enumerate(zip(axes, JOINTS, MOVED, strict=True)):
        if joint != before:
            np.subtract(points[:, first:], points[:, joint, None], out=way[:, first:])
            before = joint
        _cross(axis, way[:, first:], jacobian[:, first:, hinge], spare[first:])


def _cross(a: Array, b: Array, out: Array, spare: Array) -> None:
    """Write ``a x b`` into ``out``, both ``(3, points, ...)``, for one ``a`` (3, ...)."""
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(a[j], b[k], out=out[i])
        np.multiply(a[k], b[j], out=spare)
        np.subtract(out[i], spare, out=out[i])


BLOCK = 12_000
"""Poses of a leg worked through at once, so that what is made on the way stays in the processor's cache."""


def _blocks(angles: Array) -> list[slice]:
    size = BLOCK // angles[0, ..., 0].size if angles.shape[-1] else BLOCK
    return [slice(start, start + size) for start in range(0, angles.shape[-1], size)]


def _part(values: Array | None, part: slice) -> Array | None:
    return None if values is None else values[..., part]


def _hinge(a: Array, b: Array, cosine: Array, sine: Array) -> tuple[Array, Array]:
    """Turn axis ``a`` towards ``b`` (and ``b`` away from ``a``) about the third axis, right-handed."""
    return a * cosine + b * sine, b * cosine - a * sine


def _walk(angles: Array, chain: LegChain, hips_turn: Array | None, hip: Array | None, points: Array) -> list[Array]:
    """Go down the chain once: fill ``points`` (3, 6, ...), return the hinges' axes, ``(3, ...)`` each."""
    s = chain.sign
    sines, cosines = np.sin(angles), np.cos(angles)
    if hips_turn is None:
        x, y, z = np.eye(3).reshape(3, 3, *[1] * (angles.ndim - 1))
    else:
        x, y, z = (column[:, None] if angles.ndim == 3 else column for column in np.swapaxes(hips_turn, 0, 1))
    points[:, HIP] = hip if hip is not None else _placed(chain.hip, x, y, z)
    axes = [-x]
    y, z = _hinge(y, z, cosines[0], -sines[0])
    axes.append(s * z)
    x, y = _hinge(x, y, cosines[1], s * sines[1])
    axes.append(-s * y)
    z, x = _hinge(z, x, cosines[2], -s * sines[2])
    np.subtract(points[:, HIP], chain.thigh * y, out=points[:, KNEE])
    axes += [x, -x]
    y, z = _hinge(y, z, cosines[3], sines[3])
    np.subtract(points[:, KNEE], chain.shank * y, out=points[:, ANKLE])
    y, z = _hinge(y, z, cosines[4], -sines[4])
    axes.append(-s * z)
    x, y = _hinge(x, y, cosines[5], -s * sines[5])
    axes.append(-x)
    np.add(points[:, ANKLE], _placed(chain.heel, x, y, z), out=points[:, HEEL])
    np.add(points[:, ANKLE], _placed(chain.ball, x, y, z), out=points[:, BALL])
    y, z = _hinge(y, z, cosines[6], -sines[6])
    np.add(points[:, BALL], _placed(chain.toe, x, y, z), out=points[:, TOE])
    return axes


def _placed(point: Array, x: Array, y: Array, z: Array) -> Array:
    """Return the point with coordinates ``point`` along three axes."""
    return np.asarray(point[0] * x + point[1] * y + point[2] * z)
