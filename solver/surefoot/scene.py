"""A clip on its ground: the pose of every frame in ground space, and how a loop moves on.

Ground space rides on the belt, so a planted point stands still in it. All that
follows (contact, footprints, planting) happens there; `Scene.to_world` leads back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.clip import Clip
from surefoot.errors import InputError, UnitError
from surefoot.ground import Ground
from surefoot.rig import Rig
from surefoot.sole import Soles
from surefoot.spaces import Binding, Pose, check_scale
from surefoot.units import LENGTHS

__all__ = ["Drift", "Scene"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Drift:
    """The plan motion by which one loop moves on: turn about +Y, then a shift ``(x, y, z)`` metres."""

    turn: float = 0.0
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def is_still(self) -> bool:
        """True when a loop moves nothing on, to within rounding (1e-9)."""
        return abs(self.turn) < 1e-9 and max(abs(part) for part in self.shift) < 1e-9

    def apply(self, point: Array, *, times: int = 1) -> Array:
        """Return points ``(3, ...)`` moved on by so many loops (negative: back)."""
        if self.turn == 0.0:
            return np.asarray(point + times * np.array(self.shift).reshape(3, *[1] * (point.ndim - 1)))
        for _ in range(abs(times)):
            point = self._once(point) if times > 0 else self._back(point)
        return point

    def _once(self, p: Array) -> Array:
        s, c = np.sin(self.turn), np.cos(self.turn)
        x, y, z = self.shift
        return np.array([c * p[0] + s * p[2] + x, p[1] + y, c * p[2] - s * p[0] + z])

    def _back(self, p: Array) -> Array:
        s, c = np.sin(self.turn), np.cos(self.turn)
        px, py, pz = p[0] - self.shift[0], p[1] - self.shift[1], p[2] - self.shift[2]
        return np.array([c * px - s * pz, py, c * pz + s * px])


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One clip, one rig, one ground and one belt, evaluated at every frame of the range.

    Parameters
    ----------
    frames : ndarray, shape (frames,)
        The animator's frame numbers.
    time : ndarray, shape (frames,)
        Seconds since the first frame.
    values : ndarray, shape (channels, frames)
        The bound channels, metres and radians.
    pose : Pose
        World space.
    hip, ankle, angles : ndarray, shape (3, 2, frames)
        Ground space; angles are pitch, yaw and cant.
    drift : Drift or None
        What one loop adds, in ground space; None for a clip that is no loop.
    """

    binding: Binding
    ground: Ground
    belt: Belt
    soles: Soles
    frames: Array
    time: Array
    values: Array
    pose: Pose
    hip: Array
    ankle: Array
    angles: Array
    drift: Drift | None

    @classmethod
    def of(cls, clip: Clip, rig: Rig, ground: Ground, *, belt: Belt | None = None, frames: Array | None = None) -> Self:
        """Evaluate a clip; a belt given here wins over the clip's own, none of both is still ground.

        A tilted plane's belt runs along it: the height of its velocity follows from the slope. Other ``frames`` than
        every whole one, ``(n,)``, begin with the clip's first and lie in its range.
        """
        _check_units(clip.unit, rig)
        binding = Binding(rig, clip)
        if frames is None:
            frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
        values = binding.values(frames)
        pose = binding.pose(values, frames)
        check_scale(binding, pose if ground.is_even else binding.pose(values[:, :1], frames[:1]))
        return cls.riding(binding, ground, _along(belt or clip.belt or STILL, ground), frames, values, pose)

    @classmethod
    def riding(cls, binding: Binding, ground: Ground, belt: Belt, frames: Array, values: Array, pose: Pose) -> Self:
        """Return the scene of an evaluated pose on a belt."""
        clip = binding.clip
        time = (frames - clip.first) * binding.step
        hip, ankle, angles = pose.hip, pose.ankle, pose.angles
        if not belt.is_still:
            joints = belt.to_ground(np.concatenate([hip, ankle], axis=1), time)
            hip, ankle = joints[:, :2], joints[:, 2:]
            if belt.turn != 0.0:
                angles = angles.copy()
                angles[1] -= belt.heading(time)
        made = cls(
            binding, ground, belt, Soles.of(binding.rig), frames, time, values, pose, hip, ankle, angles,
            _drift(binding, belt, values, pose) if clip.loop else None,
        )  # fmt: skip
        made._check_ground()
        return made

    def with_belt(self, belt: Belt) -> Self:
        """Return the same clip on another belt."""
        return type(self).riding(self.binding, self.ground, belt, self.frames, self.values, self.pose)

    def _check_ground(self) -> None:
        above = self.hip[1] - self.ground.height(self.hip[0], self.hip[2])
        if np.all(above.max(axis=0) < 0.0):
            raise InputError(
                "it lies above the hips in every frame; are the clip and the ground in one space and unit?",
                place=f"ground {self.ground.name}",
            )

    @property
    def count(self) -> int:
        """How many frames."""
        return len(self.frames)

    def to_world(self, point: Array) -> Array:
        """Return ground-space points ``(3, ..., frames)`` in world space."""
        return self.belt.to_world(point, self.time)

    def yaw_to_world(self, yaw: Array) -> Array:
        """Return ground-space yaw ``(..., frames)`` in world space."""
        return yaw if self.belt.turn == 0.0 else yaw + self.belt.heading(self.time)


def _along(belt: Belt, ground: Ground) -> Belt:
    """Return the belt with the height of its velocity such that a plane slides along itself."""
    if belt.is_still or ground.is_level or not ground.is_even:
        return belt
    nx, ny, nz = (float(part) for part in ground.normal(0.0, 0.0))
    vx, _, vz = belt.velocity
    return Belt(np.array([vx, -(nx * vx + nz * vz) / ny, vz]), belt.turn)


def _check_units(stated: str, rig: Rig) -> None:
    if not stated:
        return
    for control in rig.controls.values():
        for key in "xyz":
            axis = control.axes.get(key)
            if axis is not None and abs(abs(axis.scale) / LENGTHS[stated] - 1.0) > 1e-9:
                raise UnitError(
                    f"the clip states lengths in {stated}, but the rig reads {axis.channel} in another unit; "
                    "make the two agree",
                    place="clip.unit",
                )


def _drift(binding: Binding, belt: Belt, values: Array, pose: Pose) -> Drift:
    """Return what one loop adds in ground space: the channels' advance, less the belt's motion."""
    clip = binding.clip
    turn, shift = 0.0, np.zeros(3)
    if np.count_nonzero(binding.advances):
        end = binding.pose(binding.end_values(values), np.array([float(clip.last + 1)]))
        start_turn, end_turn = pose.hips_turn[:, :, 0], end.hips_turn[:, :, 0]
        over = end_turn @ start_turn.T
        turn = float(np.arctan2(over[0, 2] - over[2, 0], over[0, 0] + over[2, 2]))
        start = Drift(turn).apply(pose.hips[:, :1])
        shift = (end.hips[:, :1] - start)[:, 0]
    if not belt.is_still:
        loop = np.array(clip.frames * binding.step)
        shift = belt.to_ground(shift, loop)
        turn -= float(belt.heading(loop))
    return Drift(turn, (float(shift[0]), float(shift[1]), float(shift[2])))
