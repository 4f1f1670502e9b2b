"""Contact: which foot is on the ground in which frames, and how fast the ground moves.

A foot is down while one of its heel, ball and toe is low and slow at once, seen
from the ground; hysteresis keeps it down until all three are high or fast.
Limits scale with the leg; speeds are one-sided (the slower of the step in and
the step out), so that the first and last frame of a stance survive. The form
(height and speed, an upper bound near 0.5 m/s) follows Ghoussayni et al. 2004
(seen in secondary sources); the numbers are judgement.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.clip import Stance
from surefoot.errors import InputError, finite_number
from surefoot.rig import FEET
from surefoot.scene import Scene
from surefoot.slip import least_steps
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["ContactLimits", "estimate_belt", "find_stances", "sole_points"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


STILL_SPEED = 0.05
"""Metres a second at a leg of 0.9 m: a touching point slower than this stands still."""
STEADY = 0.3
"""Radians a second: a foot that turns slower tells the ground's speed best."""
APART = 0.015
"""Metres at a leg of 0.9 m: still spells farther apart than this are two stances."""


@dataclass(frozen=True, slots=True)
class ContactLimits:
    """Height (metres) and speed (metres a second) at which a foot comes down and lets go.

    ``shortest`` is the shortest stance or swing that is believed, in seconds;
    two frames is always the least.

    Raises
    ------
    InputError
        If one of them isn't a finite number of 0 or more.
    """

    height_on: float = 0.022
    height_off: float = 0.045
    speed_on: float = 0.35
    speed_off: float = 0.50
    shortest: float = 0.06

    def __post_init__(self) -> None:
        for one in fields(self):
            if finite_number(getattr(self, one.name), place=one.name) < 0.0:
                raise InputError(f"wanted 0 or more, got {getattr(self, one.name)!r}", place=one.name)

    @lru_cache(maxsize=64)  # noqa: B019 - a few small values; every plant asks for the same
    def scaled(self, leg: float) -> ContactLimits:
        """Return the limits for a leg of so many metres; speeds grow with its root (equal Froude number)."""
        size = leg / REFERENCE_LEG
        root = float(np.sqrt(size))
        heights, speeds = (self.height_on * size, self.height_off * size), (self.speed_on * root, self.speed_off * root)
        return ContactLimits(*heights, *speeds, self.shortest)


def sole_points(scene: Scene) -> Array:
    """Return heel, ball and toe on the sole's centre line, ground space, ``(3, 3, 2, frames)``.

    The first axis is x, y, z; the second heel, ball, toe.
    """
    return scene.soles.centre_line(scene.angles, scene.pose.bend) + scene.ankle[:, None]


def steps_of(point: Array, scene: Scene) -> Array:
    """Return the step from each frame to the next, ``(3, ..., frames)``; a loop's last goes over the seam.

    Without a loop the last step repeats the one before.
    """
    if point.shape[-1] < 2:
        return np.zeros_like(point)
    after = scene.drift.apply(point[..., :1]) if scene.drift is not None else 2 * point[..., -1:] - point[..., -2:-1]
    return np.concatenate([point[..., 1:], after], axis=-1) - point


def find_stances(scene: Scene, limits: ContactLimits | None = None) -> tuple[Stance, ...]:
    """Return the stances of both feet, in order of foot and frame.

    Stances that the clip states are taken as they are.
    """
    clip = scene.binding.clip
    if clip.stances is not None:
        return clip.stances
    limits = (limits or ContactLimits()).scaled(scene.binding.rig.leg)
    size, seconds = scene.binding.rig.leg / REFERENCE_LEG, scene.binding.step
    point = sole_points(scene)
    height = point[1] - scene.ground.height(point[0], point[2])
    x, _, z = steps_of(point, scene)
    after = np.sqrt(x * x + z * z) / seconds
    before = np.concatenate([after[..., -1:] if clip.loop else after[..., :1], after[..., :-1]], axis=-1)
    speed = np.minimum(after, before)
    on = ((height < limits.height_on) & (speed < limits.speed_on)).any(axis=0)
    off = ((height > limits.height_off) | (speed > limits.speed_off)).all(axis=0)
    deep = height.min(axis=0) < -limits.height_on
    crept = least_steps(point, height)
    still = np.sqrt(crept[0] * crept[0] + crept[1] * crept[1]) < STILL_SPEED * float(np.sqrt(size)) * seconds
    least = max(2, round(limits.shortest / seconds))
    found: list[Stance] = []
    for foot, down in enumerate(latched(on, off, loop=clip.loop)):
        if np.count_nonzero(deep[foot]):
            down = _joined(down, deep[foot], 2 * least + 1, loop=clip.loop)
        down = _tidied(down, least, loop=clip.loop)
        down = _parted(down, crept[:, foot], still[foot], least, APART * size)
        found += _runs_to_stances(down, FEET[foot], clip.first, clip.loop)
    return tuple(found)


def _joined(down: Flags, deep: Flags, most: int, *, loop: bool) -> Flags:
    """Fill short gaps in which the sole stays deep in the ground: a foot rolled about its ankle drags its toes."""
    start, length = runs(~down, loop=loop)
    for s, n in zip(start[length <= most], length[length <= most], strict=True):
        at = np.arange(s, s + n) % len(down)
        if deep[at].all():
            down = down.copy()
            down[at] = True
    return down


def _parted(down: Flags, step: Array, still: Flags, least: int, apart: float) -> Flags:
    """Part a stance between two still spells whose places lie more than 15 mm from each other.

    The frames between, in which the foot shuffles, become swing where there are two or
    more; else it stays one stance with a slip, which the check tells. ``step`` is that of the
    touching point that moves least, ``(2, n - 1)``, and ``still`` tells where it's slow.
    """
    start, length = runs(still & down[:-1], loop=False)
    spell = (length >= least).nonzero()[0]
    if len(spell) < 2:
        return down
    path = np.zeros((2, len(down)))
    step.cumsum(axis=-1, out=path[:, 1:])
    middle = start[spell] + length[spell] // 2
    ends, begins = (start + length)[spell[:-1]], start[spell[1:]]
    x, z = path[:, middle[1:]] - path[:, middle[:-1]]
    parts = (np.sqrt(x * x + z * z) > apart) & (begins - ends >= 2)
    for end, begin in zip(ends[parts].tolist(), begins[parts].tolist(), strict=True):
        if down[end:begin].all():
            down = down.copy()
            down[end:begin] = False
    return down


def latched(on: Flags, off: Flags, *, loop: bool) -> Flags:
    """Return a state that turns true where ``on``, false where ``off``, and else stays; false at first.

    Along the last axis; a loop is run twice, so that its first frames know its last.
    """
    count = on.shape[-1]
    if loop:
        on, off = np.concatenate([on, on], -1), np.concatenate([off, off], -1)
    # twice the frame that decides, plus its state: the largest so far is the last
    decided = np.where(on | off, 2 * np.arange(on.shape[-1]) + on, -2)
    last = np.maximum.accumulate(decided, axis=-1)[..., -count:]
    return np.asarray((last & 1) == 1)


def runs(flag: Flags, *, loop: bool) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return starts and lengths of the runs of true along a flat array; a loop's run may wrap the seam."""
    count = len(flag)
    framed = np.zeros(count + 2, dtype=bool)
    framed[1:-1] = flag
    edge = (framed[1:] != framed[:-1]).nonzero()[0]
    start, end = edge[::2], edge[1::2]
    length = end - start
    if loop and len(start) > 1 and start[0] == 0 and end[-1] == count:
        length[-1] += length[0]
        start, length = start[1:], length[1:]
    return start, length


def _tidied(down: Flags, least: int, *, loop: bool) -> Flags:
    """Fill gaps and drop runs shorter than ``least`` frames; a clip's open ends are left alone."""
    count = len(down)
    for wanted in (False, True):
        start, length = runs(down if wanted else ~down, loop=loop)
        short = length < min(least, count)
        if not loop:
            short &= (start > 0) & (start + length < count)
        if np.count_nonzero(short):
            down = down.copy()
            for s, n in zip(start[short], length[short], strict=True):
                down[np.arange(s, s + n) % count] = not wanted
    return down


def _runs_to_stances(down: Flags, foot: str, first: int, loop: bool) -> list[Stance]:
    start, length = runs(down, loop=loop)
    ends = zip(start.tolist(), length.tolist(), strict=True)
    return [Stance(foot, first + s, first + s + n - 1) for s, n in ends]


def estimate_belt(scene: Scene) -> Belt:
    """Return the ground's velocity as the low feet of a clip tell it; it never turns.

    The scene must ride on still ground. Flat steps count most (a foot that rolls
    about its ankle moves its sole against the ground), and the step over a loop's
    seam counts too. A clip that advances along the ground travels, so its belt is
    still; so is one whose low feet move slower than 0.05 m/s at a leg of 0.9 m.

    State the belt where you can (stride over cycle time): this is the fallback.
    """
    clip, rig = scene.binding.clip, scene.binding.rig
    rows = [scene.binding.rows.get((c.name, k), -1) for c in rig.controls.values() for k in "xz"]
    if clip.loop and any(r >= 0 and scene.binding.advances[r] for r in rows):
        return STILL
    point = sole_points(scene)
    lowest = (point[1] - scene.ground.height(point[0], point[2])).min(axis=0)
    ends = scene.angles[..., :1] if clip.loop else scene.angles[..., -1:]
    rate = (np.concatenate([scene.angles[..., 1:], ends], axis=-1) - scene.angles) / clip.step
    weight = np.exp(-((scene.angles[0] / 0.06) ** 2) - (rate**2).sum(axis=0) / STEADY**2) + 1e-6
    weight *= lowest < ContactLimits().scaled(rig.leg).height_off
    if not clip.loop:
        weight[:, -1] = 0.0
    if not np.count_nonzero(weight):
        return STILL
    # of ankle, heel, ball and toe the one that the feet turn about moves most evenly with the ground
    tracks = np.concatenate([scene.ankle[:, None], point], axis=1)
    move = steps_of(tracks, scene)[[0, 2]] / clip.step
    found = [_steady_velocity(move[:, k].reshape(2, -1), weight.ravel()) for k in range(tracks.shape[1])]
    vx, vz, _ = min(found, key=lambda one: one[2])
    if np.hypot(vx, vz) < 0.05 * np.sqrt(rig.leg / REFERENCE_LEG):
        return STILL
    nx, ny, nz = (float(np.ravel(n)[0]) for n in scene.ground.normal(np.zeros(1), np.zeros(1)))
    return Belt(np.array([vx, -(nx * vx + nz * vz) / ny, vz]))


def _steady_velocity(move: Array, weight: Array) -> tuple[float, float, float]:
    """Return the velocity x, z about which most of the weight lies, and the scatter about it."""
    centre = np.array([_weighted_median(row, weight) for row in move])
    scatter = np.inf
    for reach in (0.6, 0.3, 0.15, 0.15, 0.15):
        away = ((move - centre[:, None]) ** 2).sum(axis=0)
        near = weight * np.exp(-away / reach**2)
        total = near.sum()
        if total <= 1e-12:
            return float(centre[0]), float(centre[1]), np.inf
        scatter = float(np.sqrt((near * away).sum() / total))
        centre = (near * move).sum(axis=1) / total
    return float(centre[0]), float(centre[1]), scatter


def _weighted_median(value: Array, weight: Array) -> float:
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, total[-1] / 2.0)])
