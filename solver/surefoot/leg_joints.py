"""The joint angles of a posed leg: the inverse of `leg_chain`.

A two-bone leg's shank doesn't turn about itself, so six turns of thigh, shank and foot meet
freedoms for all but one; the one left over is told, not hidden.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.directions import PARALLEL, across, crossed, dot, kept, length
from surefoot.leg_chain import LegChain
from surefoot.rotations import apply, compose, matrix, unwind

__all__ = ["JointAngles", "joint_angles", "signed_joint_angles"]

Array = NDArray[np.float64]


class JointAngles(NamedTuple):
    """A posed leg's joint angles.

    ``angles`` is ``(7, ..., frames)``, radians, order and signs of `Limits`. ``foot_yaw``
    ``(..., frames)`` is what no joint of this leg expresses: the foot's turn about the shank, radians,
    right-handed about the way from ankle to knee (positive: toes to the character's left).
    """

    angles: Array
    foot_yaw: Array


def joint_angles(
    hips_turn: Array, hip: Array, knee: Array, ankle: Array, foot_angles: Array, bend: Array,
    *, chain: LegChain, forward: Array,
) -> JointAngles:  # fmt: skip
    """Return the joint angles of posed legs: the inverse of `leg_points`.

    Parameters
    ----------
    hips_turn : ndarray, shape (3, 3, frames)
        World from hips.
    hip, knee, ankle : ndarray, shape (3, ..., frames)
        Joint centres in world space, metres; ``...`` is 2 for both legs, empty for one.
    foot_angles : ndarray, shape (3, ..., frames)
        The hindfoot's pitch, yaw and cant in world space, radians, order yxz.
    bend : ndarray, shape (..., frames)
        Toe bend, radians.
    chain : LegChain
        The legs' sides.
    forward : ndarray, shape (3, ..., frames)
        The direction that placed the knee (see `knee_forward`): it tells on which side the knee is
        bent, and gives the plane of a straight leg.

    Returns
    -------
    JointAngles

    Notes
    -----
    Hip flexion and abduction follow from the thigh, rotation from the leg's plane, ankle flexion
    and inversion from the foot seen from the shank. A two-bone leg's shank doesn't turn
    about itself, so of the foot's three turns one is left over: ``foot_yaw``, taken first.

    Each triple has two branches; the first frame takes the one with abduction (and
    ankle flexion) within a quarter turn, the others follow without a jump. Only where the thigh points
    straight sideways (or the foot along the shank) are two of the angles undefined by themselves;
    hip flexion then keeps the last frame's.
    """
    return signed_joint_angles(hips_turn, hip, knee, ankle, foot_angles, bend, sign=chain.sign, forward=forward)


def signed_joint_angles(
    hips_turn: Array, hip: Array, knee: Array, ankle: Array, foot_angles: Array, bend: Array,
    *, sign: Array, forward: Array, hocked: NDArray[np.bool_] | None = None,
) -> JointAngles:  # fmt: skip
    """Return what `joint_angles` does for legs whose side is told by a sign, 1 left and -1 right, ``(..., frames)``.

    ``hocked`` ``(..., 1)`` marks legs whose foot hangs on a third bone parallel to the thigh; ``knee`` is then where
    the knee would be, were the third bone part of the thigh.
    """
    s = sign
    still = np.swapaxes(hips_turn, 0, 1)
    hips_from = still[:, :, None] if hip.ndim == 3 else still
    thigh = apply(hips_from, knee - hip)
    thigh /= length(thigh)
    shank = apply(hips_from, ankle - knee)
    shank /= length(shank)
    front = _front(thigh, shank, apply(hips_from, ankle - hip), apply(hips_from, forward))

    level = np.hypot(thigh[1], thigh[2])
    flexion = kept(np.arctan2(thigh[2], -thigh[1])[None], level > PARALLEL, np.zeros(1))[0]
    abduction = np.arctan2(s * thigh[0], level)
    sf, cf, sa, ca = np.sin(flexion), np.cos(flexion), s * np.sin(abduction), np.cos(abduction)
    rotation = np.arctan2(-s * (ca * front[0] + sa * cf * front[1] - sa * sf * front[2]), sf * front[1] + cf * front[2])
    fold = np.arctan2(-dot(shank, front), dot(shank, thigh))

    # the foot seen from the shank, whose own axes are lateral, up and front
    lateral = crossed(-thigh, front)
    bone = -shank if hocked is None else np.where(hocked, -thigh, -shank)
    shank_from = np.array([lateral, bone, crossed(lateral, bone)])
    foot = compose(shank_from, compose(hips_from, matrix(*foot_angles)))
    pitch = np.arctan2(-foot[1, 2], np.hypot(foot[1, 0], foot[1, 1]))
    cant = np.arctan2(foot[1, 0], foot[1, 1])
    yaw = np.arctan2(foot[0, 2], foot[2, 2])
    flexion, abduction, rotation = _steady(flexion, abduction, rotation)
    yaw, ankle_flexion, inversion = _steady(yaw, -pitch, -s * cant)
    joints = (flexion, abduction, rotation, _along(fold), ankle_flexion, inversion)
    return JointAngles(np.array([*joints, np.broadcast_to(bend, fold.shape)]), yaw)


def _front(thigh: Array, shank: Array, way: Array, forward: Array) -> Array:
    """Return the thigh's front, a unit vector square to it in the leg's plane.

    A bent leg's plane is that of its bones; a straight one's holds ``forward``.
    """
    cosine = dot(shank, thigh)
    behind = shank - cosine * thigh
    bent = length(behind)
    # where the knee is on the other side of the leg's line from its direction, it's bent backwards
    line = way / np.maximum(length(way), 1e-300)
    out = thigh - dot(line, thigh) * line
    backward = dot(out, forward) < -PARALLEL * length(out)
    by_bones = np.where(backward, behind, -behind)
    return across(thigh, np.where(bent > PARALLEL, by_bones / np.maximum(bent, PARALLEL), forward))


def _steady(first: Array, middle: Array, last: Array) -> tuple[Array, Array, Array]:
    """Return three angles of a chain without jumps along frames, on the nearer branch.

    ``(first, middle, last)`` and ``(first + pi, pi - middle, last + pi)`` are one pose.
    """
    one = np.array([first, middle, last])
    # steps of less than a third of a half turn can't be shortened by a change of branch, nor by a turn
    if one.shape[-1] < 2 or np.abs(np.diff(one)).max() < np.pi / 3.0:
        return first, middle, last
    two = np.array([first + np.pi, np.pi - middle, last + np.pi])
    here = one[..., 1:]
    stay = (unwind(here - one[..., :-1], np.zeros(1)) ** 2).sum(axis=0)
    change = (unwind(here - two[..., :-1], np.zeros(1)) ** 2).sum(axis=0)
    swap = np.asarray(change < stay)
    if swap.any():
        other = np.zeros(one.shape[1:], dtype=bool)
        other[..., 1:] = np.logical_xor.accumulate(swap, axis=-1)
        one = np.where(other, two, one)
    steady = _along(one)
    return steady[0], steady[1], steady[2]


def _along(angle: Array) -> Array:
    """Return angles without a jump by a turn from frame to frame."""
    if angle.shape[-1] < 2 or np.abs(np.diff(angle)).max() <= np.pi:
        return angle
    return np.asarray(np.unwrap(angle, axis=-1))
