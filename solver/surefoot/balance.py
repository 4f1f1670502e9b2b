"""Balance: whether the weight is where the support foot can hold it.

In walking the centre of mass is *not* over the foot: it swings towards the support foot and passes on its inner
side (MacKinnon and Winter 1993, verified). So three things are looked at while a foot carries alone, all sideways:
at passing the hips have moved towards it (common practice); the centre of mass stays on its inner side; and the
extrapolated centre of mass, where the mass would swing to, doesn't get beyond the foot's outer edge (Hof 2008,
verified). Only a pose that is declared still must have its centre of mass over its support; a moving one that
never lifts a foot is held to its extrapolated centre instead.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.contact import runs
from surefoot.findings import Finding, collect
from surefoot.heeding import heed
from surefoot.mass import centre_of_mass
from surefoot.pendulum import pendulum_rate
from surefoot.rig import FEET
from surefoot.scene import Scene
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["balance_findings", "extrapolated"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Triple = tuple[float, float, float]

MOVING = 0.02
"""Metres a second: a body that moves no faster isn't judged for its motion."""
TOUCHING = 0.005
"""Metres at a leg of 0.9 m: a corner of a planted sole lower than this carries."""
NARROW = 0.005
"""Metres at a leg of 0.9 m: feet that step nearer to one line than this have no inner side."""


def balance_findings(scene: Scene, stances: Sequence[Stance], limits: Triple, *, still: bool = False) -> list[Finding]:
    """Return the findings of the kind ``balance``, amounts in metres.

    Parameters
    ----------
    stances : sequence of Stance
        Of both feet.
    still : bool
        Whether the pose is declared still.
    """
    down = _down(scene, stances)
    mass = scene.belt.to_ground(centre_of_mass(scene.binding.rig, scene.pose), scene.time)
    if still:
        return _outside(scene, mass, down, limits, "centre of mass")
    swung = extrapolated(scene, mass)
    if down.all():
        moves = np.abs(np.diff(mass, axis=1)).max(initial=0.0) > MOVING * scene.binding.clip.step
        return _outside(scene, swung, down, limits, "extrapolated centre of mass") if moves else []
    bodies = scene.belt.to_ground(scene.pose.hips, scene.time), mass, swung
    found: list[Finding] = []
    for row in range(2):
        for spell in _alone(down, row, loop=scene.drift is not None):
            found += _carried(scene, bodies, row, spell, limits)
    return found


def extrapolated(scene: Scene, mass: Array) -> Array:
    """Return the extrapolated centre of mass, ``mass + velocity / w``, ``(3, frames)`` metres, ground space.

    ``w`` is the rate of a pendulum as long as the centre of mass is high above the ground, on average.
    """
    height = float((mass[1] - scene.ground.height(mass[0], mass[2])).mean())
    if scene.count < 2 or height <= 0.0:
        return mass
    step = scene.binding.clip.step
    if scene.drift is not None:
        ends = scene.drift.apply(mass[:, -1:], times=-1), mass, scene.drift.apply(mass[:, :1])
        around = np.concatenate(ends, axis=1)
        velocity = (around[:, 2:] - around[:, :-2]) / (2.0 * step)
    else:
        velocity = np.gradient(mass, step, axis=1)
    return np.asarray(mass + velocity / pendulum_rate(height))


def _down(scene: Scene, stances: Sequence[Stance]) -> Flags:
    """Return which frames each foot stands in, ``(2, frames)``."""
    down = np.zeros((2, scene.count), dtype=bool)
    first = int(scene.frames[0])
    for stance in stances:
        down[FEET.index(stance.foot), np.arange(stance.first - first, stance.last - first + 1) % scene.count] = True
    return down


def _alone(down: Flags, row: int, *, loop: bool) -> list[NDArray[np.intp]]:
    """Return the spells of frames in which one foot carries alone and the other one both leaves and lands."""
    count = down.shape[1]
    start, length = runs(down[row] & ~down[1 - row], loop=loop)
    spells = []
    for s, n in zip(start.tolist(), length.tolist(), strict=True):
        whole = loop or (s > 0 and s + n < count)
        if whole and n >= 2 and down[1 - row, s - 1] and down[1 - row, (s + n) % count]:
            spells.append(np.arange(s, s + n))
    return spells


def _carried(
    scene: Scene, bodies: tuple[Array, Array, Array], row: int, spell: NDArray[np.intp], limits: Triple
) -> list[Finding]:
    """Look at one spell in which a foot carries alone; ``bodies`` are hips, centre of mass, extrapolated centre."""
    heed()
    hips, mass, swung = bodies
    side = _outwards(scene, row, spell)

    def across(points: Array, at: NDArray[np.intp]) -> Array:
        """Return points ``(3, frames)`` at frames that count on over the seam, outwards across the way."""
        picked, lap = points[:, at % scene.count], at // scene.count
        if scene.drift is not None:
            for times in (-1, 1):
                picked = np.where(lap == times, scene.drift.apply(picked, times=times), picked)
        return np.asarray(side @ picked)

    foot = float(across(scene.ankle[:, row], spell).mean())
    other = float(across(scene.ankle[:, 1 - row], np.array([spell[0] - 1, spell[-1] + 1])).mean())
    if foot - other < 2.0 * NARROW * scene.binding.rig.leg / REFERENCE_LEG:
        return []
    middle = spell[len(spell) // 2 : len(spell) // 2 + 1]
    away = (foot + other) / 2.0 - float(across(hips, middle)[0])
    frames = scene.frames[0] + spell.astype(np.float64)
    looked = {
        "hips": np.where(spell == middle[0], away, 0.0),
        "centre of mass": across(mass, spell) - foot,
        "extrapolated centre of mass": across(swung, spell) - foot - _outer(scene, row),
    }
    found: list[Finding] = []
    for part, amount in looked.items():
        found += collect("balance", FEET[row], amount, frames, limits, part=part)
    return found


def _outwards(scene: Scene, row: int, spell: NDArray[np.intp]) -> Array:
    """Return the direction outwards of a foot, square to where the hips head during a spell, ``(3,)``."""
    at, lap = spell % scene.count, spell // scene.count
    turn = scene.pose.hips_turn[:, :, at]
    heading = np.arctan2(turn[0, 2], turn[2, 2]) - scene.belt.heading(scene.time[at])
    if scene.drift is not None:
        heading = heading + scene.drift.turn * lap
    sine, cosine = np.sin(heading).mean(), np.cos(heading).mean()
    out = np.array([cosine, 0.0, -sine]) / max(float(np.hypot(sine, cosine)), 1e-9)
    return out if row == 0 else -out


def _outer(scene: Scene, row: int) -> float:
    """Return how far a sole's outer edge lies outwards of its ankle, metres."""
    x = scene.binding.rig.legs[row].foot.outline[:, 0]
    return float(x.max() if row == 0 else -x.min())


def _outside(scene: Scene, point: Array, down: Flags, limits: Triple, part: str) -> list[Finding]:
    """Return by how far a point's plumb line falls outside the hull of the corners that carry, frame by frame."""
    import shapely

    leg = scene.binding.rig.leg
    corners = scene.soles.corners(scene.angles, scene.pose.bend) + scene.ankle[:, None]  # (3, corners, 2, frames)
    height = corners[1] - scene.ground.height(corners[0], corners[2])
    carries = (height < TOUCHING * leg / REFERENCE_LEG) & down
    amount = np.zeros(scene.count)
    frame, _, _ = np.nonzero(carries.transpose(2, 0, 1))
    if not len(frame):
        return []
    plan = corners[[0, 2]].transpose(3, 1, 2, 0)[carries.transpose(2, 0, 1)]
    held, owner = np.unique(frame, return_inverse=True)
    hulls = shapely.convex_hull(shapely.multipoints(plan, indices=owner))
    amount[held] = shapely.distance(hulls, shapely.points(point[0, held], point[2, held]))
    foot = "both" if down.any(axis=1).all() else FEET[int(down.any(axis=1).argmax())]
    return collect("balance", foot, amount, scene.frames, limits, part=part)
