"""Stand: what is beneath each planted foot, frame by frame; soles that hang over an edge."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.rig import FEET
from surefoot.scene import Scene
from surefoot.underfoot import Support, support_of

__all__ = ["overhang_of", "stance_frames", "support_in"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

AS_FLAT = float(np.radians(2.0))
"""A sole within so much of the ground's lean stands flat on it, radians."""


def stance_frames(scene: Scene, stances: Iterable[Stance]) -> Flags:
    """Return which frames lie in a stance that isn't left alone, ``(2, frames)``."""
    down = np.zeros((2, scene.count), dtype=bool)
    for stance in stances:
        if not stance.left_alone:
            at = np.arange(stance.first, stance.last + 1) - int(scene.frames[0])
            down[FEET.index(stance.foot), at % scene.count if scene.drift is not None else at] = True
    return down


def support_in(scene: Scene) -> Support:
    """Return what supports both feet in every frame, ``(2, frames)`` each; see `Support`."""
    rig = scene.binding.rig
    return support_of(
        scene.ground, rig, scene.soles, scene.ankle, scene.angles, scene.pose.bend, level=AS_FLAT
    )  # fmt: skip


def overhang_of(scene: Scene, stances: Iterable[Stance]) -> Array:
    """Return the overhang of planted feet, ``(2, frames)``, as a share of the foot; -1 where none can be told."""
    down = stance_frames(scene, stances)
    over = support_in(scene).overhang
    return np.where(down & ~np.isnan(over), over, -1.0)
