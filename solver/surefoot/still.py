"""The hand-over of a clip that is one frame: a pose, with one key on each changed channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve
from surefoot.dense import LEVER, writable
from surefoot.key_range import put_within
from surefoot.scene import Scene
from surefoot.settle import Settled

__all__ = ["write_still"]


def write_still(
    scene: Scene, settled: Settled, *, ankle: NDArray[np.float64], leave_below: float = 1e-6
) -> dict[str, Curve]:
    """Return the changed channels of a clip of one frame; keys outside it stay. Parameters as for `dense_segments`."""
    tracks, binding = settled.tracks, scene.binding
    angles = tracks.unroll(settled.angles)
    angles[1] = scene.yaw_to_world(tracks.unroll_yaw(scene, settled.angles[1]))
    new = binding.write(ankle, angles, tracks.unroll(settled.bend), scene.values, scene.frames)
    most = np.abs(new - binding.feet(scene.values)).max(axis=-1)
    most[3:] *= LEVER
    made = {}
    for row, foot, axis in writable(scene, most > leave_below):
        value, level = new[row, foot] / axis.scale + axis.zero, np.zeros(1)
        old = scene.binding.clip.channels.get(axis.channel)
        if old is None:
            made[axis.channel] = Curve.constant(float(value[0]), frame=float(scene.frames[0]))
        else:
            made[axis.channel] = put_within(old, scene.frames.copy(), value, level, level.copy())
    return made
