"""Feet in the world as if they were channels: what planting is handed over from, in any style of control.

The hand-over (`dense`, `few`) works on curves of place and angles. For a rig whose feet aren't posed by such
channels, `FeetInWorld` makes them from the clip: cubics from frame to frame through the feet's world pose.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.dense import BASIS, PHASES
from surefoot.foot_styles import FootWorld
from surefoot.poses import Pose
from surefoot.scene import Scene
from surefoot.spaces import Binding

__all__ = ["PARTS", "FeetInWorld", "Fine", "in_world", "samples_of", "segments_of"]

Array = NDArray[np.float64]
PARTS = 1 + len(PHASES)
"""Samples a frame: the frame itself and the phases after it."""
FIT = np.linalg.pinv(BASIS[[1, 3]])
"""From what is left at the phases to the two slopes of a cubic, ``(4, 2)``."""


def at_phases(parts: Array, basis: Array) -> Array:
    """Return the sum of parts ``(k, ...)`` times rows of a basis ``(k, phases)``, ``(..., phases)``."""
    return np.asarray((parts.reshape(len(parts), -1).T @ basis).reshape(*parts.shape[1:], -1))


class Fine:
    """A clip's pose at every frame, at the phases after it, and at its end: ``count`` times five samples, and one.

    A loop's end is the frame after its last, else it's the last frame.
    """

    def __init__(self, binding: Binding) -> None:
        clip = binding.clip
        self.count = clip.frames if clip.loop else clip.frames - 1
        inner = clip.first + np.arange(self.count)[:, None] + np.append(0.0, PHASES)
        self.frames = np.append(inner.ravel(), float(clip.first + self.count))
        self.values = binding.values(self.frames)
        if clip.loop:
            self.values[:, -1:] = binding.end_values(self.values)
        self.pose = binding.pose(self.values, self.frames)

    @property
    def feet(self) -> FootWorld:
        """Both feet at every sample."""
        return FootWorld(self.pose.ankle, self.pose.angles, self.pose.bend, self.pose.knee)


def segments_of(samples: Array) -> Array:
    """Return the cubics from frame to frame that lie nearest to samples ``(..., count * 5 + 1)``.

    The answer is ``(4, ..., count)``: value, slope, value at the next frame, slope there, a frame.
    """
    on_frames = samples[..., ::PARTS]
    inner = samples[..., :-1].reshape(*samples.shape[:-1], -1, PARTS)[..., 1:]
    left, right = on_frames[..., :-1], on_frames[..., 1:]
    slopes = (inner - at_phases(np.array([left, right]), BASIS[::2])) @ FIT
    return np.array([left, slopes[..., 0], right, slopes[..., 1]])


def samples_of(segments: Array) -> Array:
    """Return cubics ``(4, ..., count)`` at their frames and phases, ``(..., count * 5 + 1)``."""
    inner = at_phases(segments, BASIS)
    whole = np.concatenate([segments[0][..., None], inner], axis=-1)
    return np.concatenate([whole.reshape(*whole.shape[:-2], -1), segments[2][..., -1:]], axis=-1)


class _Slopes:
    """Stands for the curves of the made-up channels: their slopes at the frames."""

    def __init__(self, segments: Array) -> None:
        self.segments = segments

    def slopes(self, frames: Array, *, side: str) -> Array:
        """Return slopes ``(14, count)`` at the frames (side right) or at the frames that follow (side left)."""
        part = self.segments[1 if side == "right" else 3].reshape(14, -1)
        return np.asarray(part[:, : len(frames)])


class FeetInWorld(Binding):
    """A binding whose fourteen channels are x, y, z, pitch, yaw, cant and bend of both feet in the world."""

    def __init__(self, scene: Scene, fine: Fine) -> None:
        base, pose = scene.binding, scene.pose
        self.base, self.still = base, pose
        self.rig, self.clip, self.step = base.rig, base.clip, base.step
        self.plain, self.style, self.shifted = True, None, False
        self.rests = np.zeros((3, 2, 1))
        self.foot_rows = np.arange(14).reshape(7, 2)
        self.scale, self.zero = np.ones((14, 1)), np.zeros((14, 1))
        own = np.concatenate([fine.pose.ankle, fine.pose.angles, fine.pose.bend[None]])
        self.samples = own
        self.segments = segments_of(own)
        self.own = np.concatenate([pose.ankle, pose.angles, pose.bend[None]]).reshape(14, -1)
        self.end = own[..., -1:].reshape(14, 1)
        self.pack = _Slopes(self.segments)  # type: ignore[assignment]

    def end_values(self, values: Array) -> Array:
        """Return the feet at the loop's end, ``(14, 1)``."""
        del values
        return self.end

    def pose(self, values: Array, frames: Array) -> Pose:
        """Return the clip's pose with the feet of ``values`` (14, frames)."""
        del frames
        feet = values.reshape(7, 2, -1)
        return replace(self.still, ankle=feet[:3], angles=feet[3:6], bend=feet[6])


def in_world(scene: Scene, fine: Fine) -> Scene:
    """Return the scene with its feet's world pose in place of its channels."""
    binding = FeetInWorld(scene, fine)
    return replace(scene, binding=binding, values=binding.own)
