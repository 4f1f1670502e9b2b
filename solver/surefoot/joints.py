"""What findings about the joints are measured by: angles, their ranges, the whip of a knee near straight."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.leg import knee_forward, knee_point
from surefoot.leg_joints import signed_joint_angles
from surefoot.rig import Limits, Rig
from surefoot.rotations import unwind
from surefoot.scene import Scene
from surefoot.spaces import Pose

__all__ = [
    "KNEE",
    "beyond_ends",
    "beyond_limits",
    "joints_of",
    "joints_of_one",
    "knee_turn",
    "limits_of",
    "nearest_turn",
    "whip",
]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

NEARLY_STRAIGHT = float(np.radians(20.0))
"""A knee whips where it's this little bent at some time in three frames, radians (common practice, no source)."""
KNEE = Limits.NAMES.index("knee_flexion")


def joints_of(rig: Rig, pose: Pose) -> Array:
    """Return the seven joint angles of both legs, ``(7, 2, frames)`` radians, in the order of `Limits.NAMES`."""
    return _angles(pose, *(column[:, None] for column in _measures(rig)))


def joints_of_one(rig: Rig, pose: Pose, foot: Indices) -> Array:
    """Return the seven joint angles of one leg at each frame, ``(7, 1, frames)`` radians.

    ``foot`` ``(frames,)`` says which: 0 left, 1 right.
    """
    at = np.arange(len(foot))
    own = Pose(
        pose.hips, pose.hips_turn, pose.hip[:, foot, at][:, None], pose.ankle[:, foot, at][:, None],
        pose.angles[:, foot, at][:, None], pose.bend[foot, at][None], pose.knee[foot, at][None],
    )  # fmt: skip
    return _angles(own, *(column.take(foot) for column in _measures(rig)))


def _measures(rig: Rig) -> tuple[Array, ...]:
    """Return what the angles depend on, ``(2,)`` each: bones, side, where the knee points, whether there's a hock."""
    rows = [(leg.upper, leg.shank, side, -1.0 if leg.backward else 1.0, float(leg.hock > 0.0))
            for leg, side in zip(rig.legs, (1.0, -1.0), strict=True)]  # fmt: skip
    return tuple(np.array(rows).T)


def _angles(pose: Pose, upper: Array, shank: Array, sign: Array, facing: Array, hocked: Array) -> Array:
    forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    knee = knee_point(pose.hip, pose.ankle, facing * forward, upper, shank)
    return signed_joint_angles(
        pose.hips_turn,
        pose.hip,
        knee,
        pose.ankle,
        pose.angles,
        pose.bend,
        sign=sign,
        forward=forward,
        hocked=hocked > 0.0 if hocked.any() else None,
    ).angles


def knee_turn(before: Scene, after: Scene) -> Array:
    """Return by how much each knee's direction was turned about its leg, ``(2, frames)`` radians."""
    turned = []
    for scene in (before, after):
        pose = scene.pose
        forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
        line = pose.ankle - pose.hip
        line = line / np.maximum(np.sqrt((line**2).sum(axis=0)), 1e-9)
        square = forward - line * (forward * line).sum(axis=0)
        turned.append(square / np.maximum(np.sqrt((square**2).sum(axis=0)), 1e-9))
    one, two = turned
    across = np.array([one[(i + 1) % 3] * two[(i + 2) % 3] - one[(i + 2) % 3] * two[(i + 1) % 3] for i in range(3)])
    return np.asarray(np.arctan2(np.sqrt((across**2).sum(axis=0)), (one * two).sum(axis=0)))


def beyond_limits(angles: Array, rig: Rig) -> Array:
    """Return by how much joint angles ``(7, 2, frames)`` are beyond their ranges, radians; negative: within.

    Angles go on from frame to frame without a jump, so one that has gone round is a whole turn or more away; what
    counts then is the turn nearest to the range.
    """
    low, high = limits_of(rig)[..., None]
    return beyond_ends(angles, low, high)


def beyond_ends(angles: Array, low: Array, high: Array) -> Array:
    """Return what `beyond_limits` does for angles of any shape and the two ends of their ranges, radians."""
    near = nearest_turn(angles, low, high)
    return np.asarray(np.maximum(low - near, near - high))


def nearest_turn(angles: Array, low: Array, high: Array) -> Array:
    """Return angles of which those more than half a turn beyond a range are taken back by whole turns, radians."""
    far = np.maximum(low - angles, angles - high) > np.pi
    return np.where(far, unwind(angles, 0.5 * (low + high)), angles) if np.count_nonzero(far) else angles


def limits_of(rig: Rig) -> Array:
    """Return the low and the high end of every joint's range, ``(2, 7, 2)`` radians: end, joint, leg."""
    return np.array([[getattr(leg.limits, name) for leg in rig.legs] for name in Limits.NAMES]).transpose(2, 0, 1)


def whip(flexion: Array, step: float) -> Array:
    """Return a knee's angular acceleration where it's nearly straight, radians a second squared.

    Parameters
    ----------
    flexion : ndarray, shape (..., frames + 2)
        Radians, with one frame on either side.
    step : float
        Seconds a frame.

    Returns
    -------
    ndarray, shape (..., frames)
    """
    before, own, after = flexion[..., :-2], flexion[..., 1:-1], flexion[..., 2:]
    straightest = np.minimum(own, np.minimum(before, after))
    return np.where(straightest < NEARLY_STRAIGHT, np.abs(before - 2.0 * own + after) / step**2, 0.0)
