"""Legs posed by joint angles, as ankle and foot in the world; and the angles that meet an ankle and a foot.

The chain is `leg_chain`'s, with one turn more: ``foot_yaw``, the foot's turn about the shank, for
rigs that have a channel for it. With it a leg's seven turns meet any place, turn and knee direction; without
it the knee's direction follows from the foot.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.directions import across, crossed, dot
from surefoot.leg import knee_angle, knee_forward
from surefoot.leg_chain import LegChain
from surefoot.rig import Rig
from surefoot.rotations import apply, compose, length, matrix, turn, unwind

__all__ = ["Bones", "LegPose", "foot_led_angles", "leg_pose", "twist_of"]

Array = NDArray[np.float64]


class LegPose(NamedTuple):
    """Posed legs in the space of ``hips_turn`` and ``hip``: joints ``(3, 2, n)`` metres, turns ``(3, 3, 2, n)``."""

    knee: Array
    ankle: Array
    thigh_turn: Array
    foot_turn: Array


class Bones(NamedTuple):
    """What `LegChain` doesn't say, ``(2, 1)`` each: the hock's length, 1 for a knee that points forward, else -1."""

    hock: Array
    facing: Array

    @staticmethod
    def of(rig: Rig) -> Bones:
        """Return both legs' bones."""
        hock = np.array([[leg.hock] for leg in rig.legs])
        return Bones(hock, np.array([[-1.0 if leg.backward else 1.0] for leg in rig.legs]))


def leg_pose(
    angles: Array, foot_yaw: Array, chain: LegChain, *, hips_turn: Array, hip: Array, bones: Bones | None = None,
    hock_flexion: Array | None = None,
) -> LegPose:  # fmt: skip
    """Return where joint angles put the legs.

    Parameters
    ----------
    angles : ndarray, shape (7, 2, n)
        Radians, order and signs of `Limits`; the toe bend isn't used.
    foot_yaw : ndarray, shape (2, n)
        The foot's turn about the shank, positive to the character's left.
    chain : LegChain
    hips_turn : ndarray, shape (3, 3, n)
        World from hips.
    hip : ndarray, shape (3, 2, n)
        Hip joints in world space, metres.
    bones : Bones, optional
        Without them there's no hock.
    hock_flexion : ndarray, shape (2, n), optional
        How far the hock folds, radians; else as far as the knee, so that the third bone is parallel to the thigh.
    """
    s = chain.sign
    thigh = compose(hips_turn[:, :, None, :], turn("x", -angles[0]))
    thigh = compose(compose(thigh, turn("z", s * angles[1])), turn("y", -s * angles[2]))
    shank = compose(thigh, turn("x", angles[3]))
    knee = hip - chain.thigh * thigh[:, 1]
    ankle = knee - chain.shank * shank[:, 1]
    last = shank
    if bones is not None and bones.hock.any():
        folded = angles[3] if hock_flexion is None else hock_flexion
        last = compose(shank, turn("x", np.where(bones.hock > 0.0, -folded, 0.0)))
        ankle = ankle - bones.hock * last[:, 1]
    foot = compose(compose(compose(last, turn("y", foot_yaw)), turn("x", -angles[4])), turn("z", -s * angles[5]))
    return LegPose(knee, ankle, thigh, foot)


def twist_of(pose: LegPose, hips_turn: Array, hip: Array, foot_angles: Array) -> Array:
    """Return the turn of each knee's direction about its leg that `knee_forward` needs to meet a pose, ``(2, n)``."""
    way = pose.ankle - hip
    line = way / np.maximum(length(way), 1e-300)
    plain = across(line, knee_forward(hips_turn, foot_angles, np.zeros(hip.shape[1:])))
    front = across(line, pose.thigh_turn[:, 2])
    twist = np.arctan2(dot(crossed(line, plain), front), dot(plain, front))
    if twist.shape[-1] > 1 and np.abs(np.diff(twist)).max() > np.pi:
        twist = np.unwrap(twist, axis=-1)
    return np.asarray(twist)


def foot_led_angles(
    hips_turn: Array, hip: Array, ankle: Array, foot_angles: Array, bend: Array, chain: LegChain, bones: Bones
) -> Array:
    """Return the joint angles that meet an ankle and a foot without a turn about the bone above it, ``(7, 2, n)``.

    Closed form from the foot upwards: the hip seen from the foot gives inversion and ankle flexion, then
    the shank and the thigh are known. The knee goes where that puts it; a leg that can't
    reach is straight, its ankle short of the wanted place.
    """
    s = chain.sign
    foot = matrix(*foot_angles)
    seen = apply(np.swapaxes(foot, 0, 1), hip - ankle)  # the hip in foot space: Rz(s inversion) Rx(flexion) w
    upper, hocked = chain.thigh + bones.hock, bones.hock > 0.0
    folded = bones.facing * (np.pi - knee_angle(length(seen), upper, chain.shank))
    side = np.where(seen[1] < 0.0, -1.0, 1.0)  # the other branch for a foot turned over
    level = side * np.hypot(seen[0], seen[1])
    inversion = s * np.arctan2(-side * seen[0], side * seen[1])
    own_up = np.where(hocked, upper + chain.shank * np.cos(folded), chain.shank + upper * np.cos(folded))
    own_back = np.where(hocked, chain.shank, -upper) * np.sin(folded)
    flexion = np.arctan2(seen[2], level) - np.arctan2(own_back, own_up)
    last = compose(foot, compose(turn("z", s * inversion), turn("x", flexion)))
    thigh = compose(last, turn("x", np.where(hocked, 0.0, -folded)))
    thigh = compose(np.swapaxes(hips_turn, 0, 1)[:, :, None, :], thigh)
    # thigh = Rx(-hip flexion) Rz(s abduction) Ry(-s rotation)
    abduction = s * np.arctan2(-thigh[0, 1], np.hypot(thigh[1, 1], thigh[2, 1]))
    hip_flexion = np.arctan2(-thigh[2, 1], thigh[1, 1])
    rotation = -s * np.arctan2(thigh[0, 2], thigh[0, 0])
    made = np.array([hip_flexion, abduction, rotation, folded, flexion, inversion, bend])
    made[4] = unwind(made[4], np.zeros(1))
    return np.unwrap(made, axis=-1) if made.shape[-1] > 1 else made
