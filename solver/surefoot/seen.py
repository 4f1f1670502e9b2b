"""Seen: what `check` sees of a clip, at its frames and at four places between two.

Worked out once, and laid out so that ways to mend can be measured with the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip, Stance
from surefoot.ground import Ground
from surefoot.heeding import heed
from surefoot.joints import joints_of
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.touch import PER_FRAME, Touch

__all__ = ["Seen", "between", "over_length", "stance_samples"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A clip at its frames and at its samples, its soles, legs and joints.

    Parameters
    ----------
    clip : Clip
        As the caller gave it.
    ground : Ground or None
        Likewise.
    stances : tuple of Stance
    scene, fine : Scene
        At the frames and at the samples.
    touch : Touch
        Both soles at every sample.
    down : ndarray of bool, shape (2, samples)
        Which samples lie in a stance that isn't left alone.
    over : ndarray, shape (2, samples)
        By how much each leg is too short, metres; negative: slack.
    overlap : ndarray, shape (samples,)
        By how much the feet cut through each other, metres.
    joints : ndarray, shape (7, 2, frames)
        The angles of both legs, radians, in the order of `Limits.NAMES`.
    landing : float
        Seconds at the start of each stance in which the foot may slip.
    still : bool
        Whether the pose is declared still.
    """

    clip: Clip
    ground: Ground | None
    stances: tuple[Stance, ...]
    scene: Scene
    fine: Scene
    touch: Touch
    down: Flags
    over: Array
    overlap: Array
    joints: Array
    landing: float = 0.0
    still: bool = False

    @classmethod
    def of(
        cls, clip: Clip, ground: Ground | None, scene: Scene, stances: tuple[Stance, ...], *, landing: float = 0.0,
        still: bool = False,
    ) -> Self:  # fmt: skip
        """Work all of it out for a clip's scene."""
        fine = between(scene)
        touch = Touch.of(fine)
        down = stance_samples(stances, scene)
        return cls(
            clip,
            ground,
            stances,
            scene,
            fine,
            touch,
            down,
            over_length(fine),
            touch.overlap(),
            joints_of(scene.binding.rig, scene.pose),
            landing,
            still,
        )

    def is_of(self, clip: Clip, rig: Rig, ground: Ground | None) -> bool:
        """Tell whether it's what is seen of these very objects."""
        return self.clip is clip and self.scene.binding.rig is rig and self.ground is ground


def between(scene: Scene) -> Scene:
    """Return the scene sampled at every frame and four places after it (a loop's last frame included)."""
    binding = scene.binding
    frames = binding.clip.first + np.arange(_count(scene)) / PER_FRAME
    values = binding.values(frames)
    heed()
    return Scene.riding(binding, scene.ground, scene.belt, frames, values, binding.pose(values, frames))


def stance_samples(stances: Iterable[Stance], scene: Scene) -> Flags:
    """Return which samples lie in a stance that isn't left alone, ``(2, samples)``."""
    count = _count(scene)
    down = np.zeros((2, count), dtype=bool)
    first = int(scene.frames[0])
    for stance in stances:
        if not stance.left_alone:
            at = np.arange((stance.first - first) * PER_FRAME, (stance.last - first) * PER_FRAME + 1)
            down[FEET.index(stance.foot), at % count if scene.drift is not None else at] = True
    return down


def over_length(scene: Scene) -> Array:
    """Return by how much each leg is too short to reach from hip to ankle, ``(2, samples)`` metres."""
    x, y, z = scene.ankle - scene.hip
    return np.asarray(np.sqrt(x * x + y * y + z * z) - np.array([[leg.length] for leg in scene.binding.rig.legs]))


def _count(scene: Scene) -> int:
    return scene.count * PER_FRAME if scene.drift is not None else (scene.count - 1) * PER_FRAME + 1
