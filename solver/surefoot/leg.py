"""The two-bone leg backwards: the knee between a hip and an ankle.

Three things make it fit for animation: it is exact up to straight and folded, it
draws a leg that can't reach straight towards its ankle instead of failing, and where the
knee's direction has no meaning it keeps the last frame's that had one.

Arrays are component-major, ``(3, ..., frames)``; lengths broadcast over ``...`` and frames.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.directions import across, crossed, dot, kept, length
from surefoot.errors import InputError, OutOfReach

__all__ = ["eased_reach", "knee_angle", "knee_forward", "knee_point", "strict_knee_angle"]

Array = NDArray[np.float64]


class _Slack(NamedTuple):
    """The four factors of Heron's formula, metres, none below zero."""

    whole: Array  # thigh + shank + reach
    short: Array  # thigh + shank - reach: zero when straight
    over_thigh: Array  # reach + shank - thigh: zero when folded onto a longer thigh
    over_shank: Array  # reach + thigh - shank: zero when folded onto a longer shank


def _slack(reach: Array, thigh: ArrayLike, shank: ArrayLike) -> _Slack:
    """Return the factors with the brackets that make each difference exact (Kahan 1999)."""
    r, a, b = (np.asarray(value, dtype=np.float64) for value in (reach, thigh, shank))
    long, less = np.maximum(a, b), np.minimum(a, b)
    short = np.maximum((long - r) + less, 0.0)
    folded = np.maximum(np.where(r > less, less - (long - r), r - (long - less)), 0.0)
    open_side = r + (long - less)
    thigh_longer = a >= b
    return _Slack(
        long + less + r,
        short,
        np.where(thigh_longer, folded, open_side),
        np.where(thigh_longer, open_side, folded),
    )


def knee_angle(reach: ArrayLike, thigh: ArrayLike, shank: ArrayLike) -> Array:
    """Return the angle inside the knee of a leg whose hip and ankle are ``reach`` apart.

    Straight is pi. There's no sign: which way a knee bends belongs to the leg. Out of
    reach gives pi where the ankle is too far and 0 where it's too near.

    Parameters
    ----------
    reach : ndarray, shape (...)
        Distance from hip to ankle, metres, not negative.
    thigh, shank : float or ndarray
        Segment lengths in metres, positive.

    Returns
    -------
    ndarray, shape (...)
        Radians in [0, pi].

    Notes
    -----
    Law of cosines in half-angle form, with r the reach::

        tan(angle/2) = sqrt((r-a+b)(r+a-b) / ((a+b+r)(a+b-r)))

    Source: W. Kahan, "Miscalculating Area and Angles of a Needle-like Triangle",
    lecture notes, 1999.

    Examples
    --------
    >>> round(float(knee_angle(5.0, 3.0, 4.0)), 6)
    1.570796
    """
    whole, short, over_thigh, over_shank = _slack(np.asarray(reach, dtype=np.float64), thigh, shank)
    return np.asarray(2.0 * np.arctan2(np.sqrt(over_thigh * over_shank), np.sqrt(whole * short)))


def eased_reach(reach: Array, whole: ArrayLike, start: float) -> Array:
    """Return a distance from hip to ankle that eases towards the leg's length and never gets there.

    Up to ``start`` (a share of the length) it's the distance itself; beyond, it goes on with the same slope and
    closes in exponentially. A knee bends with the root of the slack, so that without easing it turns ever faster as
    the leg straightens; eased, its speed stays below ``sqrt(2 / (1 - start))`` times that of the distance over the
    length, for bones alike.

    Parameters
    ----------
    reach : ndarray, shape (...)
        Metres.
    whole : float or ndarray
        The leg's length, metres.
    start : float
        From 0 to 1; 1 eases nothing.
    """
    if start >= 1.0:
        return reach
    size = np.asarray(whole, dtype=np.float64)
    share, room = reach / size, 1.0 - start
    beyond = np.maximum(share - start, 0.0)
    return np.asarray(np.where(share > start, start + room * -np.expm1(-beyond / room), share) * size)


def strict_knee_angle(reach: ArrayLike, thigh: ArrayLike, shank: ArrayLike) -> Array:
    """Return what `knee_angle` returns, or raise OutOfReach where no knee joins hip and ankle.

    The error gives the index of the worst place and the metres missing there.
    A millionth of a millionth of the leg is let pass as rounding.
    """
    r, a, b = (np.asarray(value, dtype=np.float64) for value in (reach, thigh, shank))
    far, near = r - (a + b), np.abs(a - b) - r
    missing = np.maximum(far, near)
    if missing.size and np.any(missing > 1e-12 * (a + b)):
        at = np.unravel_index(int(np.argmax(missing)), missing.shape)
        short = float(missing[at])
        index = tuple(int(i) for i in at)
        side = "far from" if far[at] > near[at] else "near"
        where = f" at index {index}" if index else ""
        message = f"the ankle is {short:.4g} m too {side} the hip{where}; move either, or use knee_angle"
        raise OutOfReach(message, index=index, missing=short)
    return knee_angle(r, thigh, shank)


def knee_point(hip: Array, ankle: Array, forward: Array, thigh: ArrayLike, shank: ArrayLike) -> Array:
    """Return the knee between a hip and an ankle, on the side that ``forward`` points to.

    Parameters
    ----------
    hip, ankle : ndarray, shape (3, ..., frames)
        Joint centres, metres, in one space.
    forward : ndarray, shape (3, ..., frames)
        Where the knee points, in that space, about a unit long. Only its part across the leg
        counts; where that is below PARALLEL, the last frame's that had one stands.
    thigh, shank : float or ndarray
        Lengths in metres, broadcastable to ``(..., frames)``.

    Returns
    -------
    ndarray, shape (3, ..., frames)
        Metres. Always a thigh's length from the hip; a shank's from the ankle too where the leg reaches.
        Too far: the thigh points straight at the ankle; too near: the leg is folded flat.

    Notes
    -----
    The thigh's angle to the leg's line, from the same four factors as `knee_angle`, so that the
    knee of a nearly straight leg is placed as well as its slack is known.
    """
    way = ankle - hip
    r = length(way)
    whole, short, over_thigh, over_shank = _slack(r, thigh, shank)
    line = _leg_line(way, r, np.add(thigh, shank))
    side_way = across(line, forward)
    along, side = whole * over_shank, short * over_thigh  # as cos²(angle/2) is to sin²(angle/2)
    total = along + side
    level = total <= 0.0  # hip on ankle, bones alike: the thigh stands square to the line
    total = np.where(level, 1.0, total)
    cosine = (along - side) / total
    sine = np.where(level, 1.0, 2.0 * np.sqrt(along * side) / total)
    return np.asarray(hip + np.asarray(thigh) * (cosine * line + sine * side_way))


def knee_forward(
    hips_turn: Array,
    foot_angles: Array,
    twist: Array,
    *,
    hip: Array | None = None,
    ankle: Array | None = None,
) -> Array:
    """Return where the knees point: between the hips' forward and the feet's heading, turned by ``twist``.

    Parameters
    ----------
    hips_turn : ndarray, shape (3, 3, frames)
        World from hips.
    foot_angles : ndarray, shape (3, 2, frames)
        The hindfeet's pitch, yaw and cant in world space, radians, order yxz. The heading is the
        yaw alone, so that a heel that lifts doesn't pull the knee down.
    twist : ndarray, shape (2, frames)
        Radians, right-handed about the line from hip to ankle: with the leg hanging
        down, positive turns either knee to the character's right.
    hip, ankle : ndarray, shape (3, 2, frames)
        Joint centres in world space; needed where ``twist`` isn't zero.

    Returns
    -------
    ndarray, shape (3, 2, frames)
        Two units long where hips and foot agree, shorter where they differ, none where they're opposed.

    Raises
    ------
    InputError
        If a knee is turned and ``hip`` or ``ankle`` is missing.
    """
    yaw = foot_angles[1]
    x, y, z = hips_turn[0, 2, None, :], hips_turn[1, 2, None, :], hips_turn[2, 2, None, :]
    forward = np.array([x + np.sin(yaw), y + np.zeros_like(yaw), z + np.cos(yaw)])
    if not np.any(twist):
        return forward
    if hip is None or ankle is None:
        raise InputError("wanted hip and ankle where the knees are turned", place="knee_forward")
    way = ankle - hip
    line = way / np.maximum(length(way), 1e-300)
    # the part along the leg has no say in where the knee goes, so it may stay as it is
    along = dot(line, forward) * line
    return np.asarray(along + (forward - along) * np.cos(twist) + crossed(line, forward) * np.sin(twist))


def _leg_line(way: Array, reach: Array, length: ArrayLike) -> Array:
    """Return the unit vector from hip to ankle; where they coincide the last frame's stands."""
    far = reach > 1e-9 * np.asarray(length)
    line = way / np.where(far, reach, 1.0)
    return line if far.all() else kept(line, far, np.array([0.0, -1.0, 0.0]))
