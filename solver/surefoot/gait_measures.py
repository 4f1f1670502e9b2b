"""A loop's gait in figures: the animator's layers as gait science would measure them.

Measured from the clip itself, whatever made it. For animation, not for clinical or ergonomic use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip, Stance
from surefoot.contact import find_stances
from surefoot.errors import InputError
from surefoot.gait import Gait, gait_in
from surefoot.ground import Ground
from surefoot.joints import KNEE, joints_of
from surefoot.planting import scene_of
from surefoot.rig import FEET, Rig
from surefoot.rotations import unwind
from surefoot.scene import Scene
from surefoot.seen import between
from surefoot.sole import FLAT
from surefoot.touch import PER_FRAME, Touch

__all__ = ["gait_figures"]

Array = NDArray[np.float64]

MID_SWING = (0.25, 0.8)
"""Share of a swing in which its least clearance is looked for."""


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """A loop's fine samples, seen along the way that it travels."""

    clip: Clip
    rig: Rig
    fine: Scene
    stances: tuple[Stance, ...]
    hips: Array  # (3, samples) less the steady travel, ground space
    travel: Array  # (3,) of one loop
    heading: float

    @property
    def count(self) -> int:
        return self.clip.frames * PER_FRAME

    def samples(self, first: float, last: float) -> NDArray[np.intp]:
        """Return the samples from frame ``first`` to ``last``, round the loop."""
        at = np.arange(round((first - self.clip.first) * PER_FRAME), round((last - self.clip.first) * PER_FRAME) + 1)
        return np.asarray(at % self.count)


def gait_figures(clip: Clip, rig: Rig, *, ground: Ground | None = None) -> dict[str, float]:
    """Return a loop's figures by name, in metres, seconds, radians and shares of the cycle.

    A figure that the loop doesn't have is left out (a double support without one, a heel-off of a foot that's
    never flat). Figures of feet are the mean of both; double support and flight are those of one spell, of which a
    cycle has two.

    Raises InputError if the clip is no loop, or a foot hasn't exactly one stance in it.
    """
    scene = scene_of(clip, rig, ground)
    loop = _loop(scene)
    found = _pace(gait_in(scene, loop.stances))
    found |= _hips(loop)
    found |= _feet(loop)
    return found


def _loop(scene: Scene) -> _Loop:
    clip, rig = scene.binding.clip, scene.binding.rig
    if scene.drift is None:
        raise InputError("gait is told of a loop only; state loop in the clip", place="clip")
    stances = find_stances(scene)
    for foot in FEET:
        count = sum(stance.foot == foot for stance in stances)
        if count != 1:
            raise InputError(f"gait is told of one stance of each foot, the {foot} foot has {count}", place="stances")
    fine = between(scene)
    travel = np.array(scene.drift.shift)
    share = (fine.frames - clip.first) / clip.frames
    hips = scene.belt.to_ground(fine.pose.hips, fine.time) - travel[:, None] * share
    heading = float(np.arctan2(travel[0], travel[2])) if np.hypot(travel[0], travel[2]) > 1e-9 else 0.0
    ordered = tuple(sorted(stances, key=lambda s: FEET.index(s.foot)))
    return _Loop(clip, rig, fine, ordered, hips, travel, heading)


def _pace(gait: Gait) -> dict[str, float]:
    found = {
        "speed": gait.speed,
        "step length": gait.step,
        "cadence": gait.cadence,
        "stance": gait.mean_duty,
        "Froude number": gait.froude,
        "walk ratio": gait.walk_ratio,
    }
    spells = {"double support, each": gait.double_support / 2.0, "flight, each": gait.flight / 2.0}
    return found | {name: share for name, share in spells.items() if share}


def _hips(loop: _Loop) -> dict[str, float]:
    turn, contact = loop.fine.pose.hips_turn, loop.stances[0].first
    side = np.array([np.cos(loop.heading), 0.0, -np.sin(loop.heading)])
    across, height = side @ loop.hips, loop.hips[1]
    yaw = np.arctan2(turn[0, 2], turn[2, 2]) - loop.heading
    yaw = unwind(yaw - loop.fine.belt.heading(loop.fine.time), np.zeros(1))
    pitch, roll = np.arcsin(np.clip(-turn[1, 2], -1.0, 1.0)), np.arctan2(turn[1, 0], turn[1, 1])
    half = loop.clip.frames / 2.0
    highest = loop.fine.frames[int(height[: loop.count // 2].argmax())]
    middle = _middle(loop, 0)
    return {
        "hips up and down": float(np.ptp(height)),
        "hips highest": float(np.mod(highest - contact, half)) / loop.clip.frames,
        "hips side to side": float(np.ptp(across)),
        "hips yaw": float(np.ptp(yaw)) / 2.0,
        "hips pitch": float(np.ptp(pitch)),
        # the left foot stands: its side up, so the swing side down, is positive
        "hips drop of the swing side": float(roll[middle] - roll.mean()),
        "hips towards the support foot": float(across[middle] - across.mean()),
    }


def _middle(loop: _Loop, row: int) -> int:
    """Return the sample of passing: halfway from one foot's contact to the other's."""
    own, other = loop.stances[row], loop.stances[1 - row]
    gap = (other.first - own.first) % loop.clip.frames
    return int(loop.samples(own.first + gap / 2.0, own.first + gap / 2.0)[0])


def _feet(loop: _Loop) -> dict[str, float]:
    touch = Touch.of(loop.fine)
    fine, frames = loop.fine, loop.clip.frames
    knees = joints_of(loop.rig, fine.pose)[KNEE]
    rows: dict[str, list[float]] = {}

    def put(name: str, value: float) -> None:
        rows.setdefault(name, []).append(value)

    side = np.array([np.cos(loop.heading), 0.0, -np.sin(loop.heading)])
    share = (fine.frames - loop.clip.first) / frames
    ankle = fine.ankle - loop.travel[:, None, None] * share
    places = []
    for row, stance in enumerate(loop.stances):
        down = loop.samples(stance.first, stance.last)
        up = loop.samples(stance.last, stance.first + frames)
        pitch, out = fine.angles[0, row], unwind(fine.angles[1, row] - loop.heading, np.zeros(1))
        put("foot pitch at contact", float(pitch[down[0]]))
        put("foot pitch at toe-off", float(pitch[down[-1]]))
        flat = np.flatnonzero(np.abs(pitch[down]) <= FLAT)
        if len(flat):
            put("heel-off", float(flat[-1]) / PER_FRAME / frames)
            put("toe-out", float(out[down[flat]].mean()) * (1.0 if row == 0 else -1.0))
        places.append(float(np.median(side @ ankle[:, row, down])))
        put("toe bend", float(fine.pose.bend[row, down].max()))
        first, last = (round(part * (len(up) - 1)) for part in MID_SWING)
        put("clearance", float(touch.gap[row, up[first:last]].min()))
        put("knee in swing", float(knees[row, up].max()))
        put("knee under load", float(knees[row, down[: len(down) // 3]].max()))
    found = {name: float(np.mean(values)) for name, values in rows.items() if len(values) == 2}
    found["step width"] = places[0] - places[1]
    return found
