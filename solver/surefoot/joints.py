"""Findings about the joints: a knee that whips near straight, a joint beyond its range."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from surefoot.findings import Finding, collect
from surefoot.leg import knee_forward, knee_point
from surefoot.leg_chain import LegChain
from surefoot.leg_joints import joint_angles
from surefoot.rig import FEET, Limits
from surefoot.scene import Scene

__all__ = ["joint_findings", "joints_of", "knee_turn"]

Array = NDArray[np.float64]

NEARLY_STRAIGHT = float(np.radians(20.0))
"""A knee whips where it's this little bent at some time in three frames, radians (common practice, no source)."""
KNEE = Limits.NAMES.index("knee_flexion")


def joints_of(scene: Scene) -> Array:
    """Return the seven joint angles of both legs, ``(7, 2, frames)`` radians, in the order of `Limits.NAMES`."""
    rig, pose = scene.binding.rig, scene.pose
    thigh, shank = (np.array([[getattr(leg, bone)] for leg in rig.legs]) for bone in ("thigh", "shank"))
    forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    knee = knee_point(pose.hip, pose.ankle, forward, thigh, shank)
    return joint_angles(
        pose.hips_turn,
        pose.hip,
        knee,
        pose.ankle,
        pose.angles,
        pose.bend,
        chain=LegChain.of(rig),
        forward=forward,
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


def joint_findings(scene: Scene, bounds: Mapping[str, tuple[float, float, float]]) -> list[Finding]:
    """Return the findings ``limit`` and ``snap`` at the frames of a scene."""
    angles = joints_of(scene)
    found: list[Finding] = []
    for foot, side in enumerate(FEET):
        limits = scene.binding.rig.legs[foot].limits
        for row, name in enumerate(Limits.NAMES):
            low, high = getattr(limits, name)
            beyond = np.maximum(low - angles[row, foot], angles[row, foot] - high)
            part = name.replace("_", " ")
            found += collect("limit", side, beyond, scene.frames, bounds["limit"], part=part)
        whip = _whip(angles[KNEE, foot], scene)
        found += collect("snap", side, whip, scene.frames, bounds["snap"], part="knee")
    return found


def _whip(flexion: Array, scene: Scene) -> Array:
    """Return the knee's angular acceleration where it's nearly straight, ``(frames,)`` radians a second squared."""
    if len(flexion) < 3:
        return np.zeros_like(flexion)
    before, after = np.roll(flexion, 1), np.roll(flexion, -1)
    if scene.drift is None:
        before[0], after[-1] = 2 * flexion[0] - flexion[1], 2 * flexion[-1] - flexion[-2]
    straightest = np.minimum(flexion, np.minimum(before, after))
    whip = np.abs(before - 2.0 * flexion + after) / scene.binding.clip.step**2
    return np.where(straightest < NEARLY_STRAIGHT, whip, 0.0)
