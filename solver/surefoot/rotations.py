"""Rotations in component-major form: matrices are ``(3, 3, ...)`` arrays, frames last.

An order such as ``"yxz"`` reads as the matrix product from left to right,
``R = Ry(yaw) Rx(pitch) Rz(roll)``. Angles go by axis, not by place: the three
arguments are always turns about x (pitch), y (yaw) and z (roll or cant).
Every turn is right-handed, so positive pitch tips +Z down.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError

__all__ = ["ORDERS", "angles_of", "apply", "check_order", "compose", "length", "matrix", "turn", "unwind"]

Array = NDArray[np.float64]

ORDERS = ("xyz", "xzy", "yxz", "yzx", "zxy", "zyx")


def check_order(order: str, *, place: str = "") -> str:
    """Return ``order`` in lower case, or raise InputError when it isn't one of ORDERS."""
    lower = order.lower()
    if lower not in ORDERS:
        raise InputError(f"rotation order {order!r} does not exist; use one of {', '.join(ORDERS)}", place=place)
    return lower


def turn(axis: str, angle: Array) -> Array:
    """Return the matrix ``(3, 3, ...)`` that turns by ``angle`` (radians, any shape) about one axis."""
    i = "xyz".index(axis)
    j, k = (i + 1) % 3, (i + 2) % 3
    m = np.zeros((3, 3, *np.shape(angle)))
    m[i, i] = 1.0
    m[j, j] = m[k, k] = np.cos(angle)
    s = np.sin(angle)
    m[k, j] = s
    m[j, k] = -s
    return m


def compose(a: Array, b: Array) -> Array:
    """Return the product of two component-major matrices, ``(3, 3, ...)``, broadcasting the rest."""
    rows = [[a[i, 0] * b[0, k] + a[i, 1] * b[1, k] + a[i, 2] * b[2, k] for k in range(3)] for i in range(3)]
    return np.array(rows)


def apply(m: Array, v: Array) -> Array:
    """Return ``m @ v`` for matrices ``(3, 3, ...)`` and vectors ``(3, ...)``, broadcasting the rest."""
    return np.array([m[i, 0] * v[0] + m[i, 1] * v[1] + m[i, 2] * v[2] for i in range(3)])


def length(v: Array) -> Array:
    """Return the lengths of vectors ``(3, ...)``."""
    square = v * v
    return np.asarray(np.sqrt(square[0] + square[1] + square[2]))


def matrix(pitch: Array, yaw: Array, roll: Array, *, order: str = "yxz") -> Array:
    """Return the matrix ``(3, 3, ...)`` of three turns, radians, in the given order."""
    if order == "yxz":  # by far the commonest, so written out
        sx, cx = np.sin(pitch), np.cos(pitch)
        sy, cy = np.sin(yaw), np.cos(yaw)
        sz, cz = np.sin(roll), np.cos(roll)
        sysx, cysx = sy * sx, cy * sx
        return np.array(
            [
                [cy * cz + sysx * sz, sysx * cz - cy * sz, sy * cx],
                [cx * sz, cx * cz, -sx],
                [cysx * sz - sy * cz, sy * sz + cysx * cz, cy * cx],
            ]
        )
    about = {"x": pitch, "y": yaw, "z": roll}
    a, b, c = (turn(axis, about[axis]) for axis in order)
    return compose(compose(a, b), c)


def unwind(angle: Array, near: Array) -> Array:
    """Return ``angle`` moved by whole turns to lie within half a turn of ``near``."""
    return np.asarray(angle - 2.0 * np.pi * np.round((angle - near) / (2.0 * np.pi)))


def angles_of(m: Array, *, order: str = "yxz", near: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    """Return pitch, yaw and roll whose matrix is ``m``, on the branch nearest to ``near``.

    Two triples give the same matrix, and each angle may carry whole turns: the
    triple with the smallest sum of squared differences from ``near`` is taken,
    so that a channel never jumps. Where the middle turn is within 1e-7 of a
    quarter turn the outer two can't be told apart; the first then keeps its
    near value and the last takes the rest.

    Parameters
    ----------
    m : ndarray, shape (3, 3, ...)
        Rotation matrices, component-major.
    order : str
        One of ORDERS.
    near : three ndarrays
        Pitch, yaw, roll in radians, broadcastable to ``...``.
    """
    first, mid, last = ("xyz".index(axis) for axis in order)
    parity = 1.0 if (mid - first) % 3 == 1 else -1.0
    sine = np.clip(parity * m[first, last], -1.0, 1.0)
    cosine = np.hypot(m[first, first], m[first, mid])
    b = np.arctan2(sine, cosine)
    a = np.arctan2(-parity * m[mid, last], m[last, last])
    c = np.arctan2(-parity * m[first, mid], m[first, first])
    locked = cosine < 1e-7
    if np.any(locked):
        kept = np.broadcast_to(near[first], b.shape)
        a = np.where(locked, kept, a)
        # with the first turn kept, what is left of the matrix is the last turn alone
        rest = compose(np.swapaxes(turn(order[0], a), 0, 1), m)
        free = np.arctan2(parity * rest[mid, first], rest[mid, mid])
        c = np.where(locked, free, c)
    half = np.pi
    found = [np.empty(0)] * 3
    one = {first: a, mid: b, last: c}
    two = {first: a + half, mid: half - b, last: c + half}
    one = {i: unwind(v, near[i]) for i, v in one.items()}
    two = {i: unwind(v, near[i]) for i, v in two.items()}
    cost_one = sum((one[i] - near[i]) ** 2 for i in range(3))
    cost_two = sum((two[i] - near[i]) ** 2 for i in range(3))
    swap = np.asarray(cost_two < cost_one) & ~locked
    for i in range(3):
        found[i] = np.where(swap, two[i], one[i])
    return found[0], found[1], found[2]
