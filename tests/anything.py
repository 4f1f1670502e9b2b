"""Random rigs, clips and grounds, one of each from a seed, and what must hold of any of them once planted.

The walk, the rig and the measure share no code with the solver (`tests/walks.py`, `tests/measure.py`); only the other
styles of feet are written by its own `convert`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot import Clip, Flat, Foot, Ground, Leg, Plane, Planted, Profile, Rig, plant
from surefoot.curves import Pack
from surefoot.ground_grid import Grid
from surefoot.ground_mesh import Mesh
from surefoot.restyle import convert
from tests import measure
from tests.test_control_styles import RIGS, scaled
from tests.walks import BALL, FEET, HEEL, SOLE, TOE, Walk, clip_of, random_walk

Array = NDArray[np.float64]
STYLES: dict[str, dict[str, Any]] = {
    "ankle": {},
    "rockers": {"style": "rockers"},
    "roll": {"style": "rockers", "single": True},
    "joints": {"style": "joints"},
}
HELD, BETWEEN = 1e-4, 1e-3
"""Metres that a planted point may move on the frames and between them, for a leg of 0.87 m or less."""


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One random problem; ``size`` is the character's, 1 for a leg of 0.87 m; ``told`` says what was drawn."""

    clip: Clip
    rig: Rig
    ground: Ground
    walk: Walk
    size: float
    style: str
    more: dict[str, Any]
    told: str

    def planted(self) -> Planted:
        return plant(self.clip, self.rig, ground=self.ground, **self.more)


def random_case(seed: int) -> Case:
    """Return the case of a seed: the same one each time."""
    rng = np.random.default_rng([seed, 20])
    loop, style = bool(rng.random() < 0.7), str(rng.choice(list(STYLES), p=[0.55, 0.15, 0.15, 0.15]))
    ground, kind = random_ground(rng)
    loop &= kind in ("flat", "slope")  # a round of a loop comes back on ground of the same height
    walk = random_walk(seed, loop=loop, canted=bool(rng.random() < 0.6), roll_share=float(rng.uniform(0.0, 1.2)))
    walk = spoiled(walk, rng)
    if isinstance(ground, Plane):
        walk = tilted(walk, ground)
    elif kind != "flat":
        walk = stood_on(walk, ground)
    travels = bool(rng.random() < 0.4)
    if travels:
        walk = walk.travelling()
    size = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0)))) if kind == "flat" else 1.0
    walk = walk.changed(lambda place: place * size, Rotation.identity(), walk.belt * size)
    unit = float(rng.choice([1.0, 0.01, 0.0254]))
    names = [name for name in RIGS if "sampled" not in name]
    if loop and travels:
        names.remove(
            "a moving root"
        )  # it turns, so a step along the world is no step of its channels from round to round
    pick = str(rng.choice(["plain", "unit", *names]))
    change: Callable[[Walk], Any] = (
        scaled(unit, 1.0 if pick == "plain" else float(np.radians(1.0)), bool(rng.random() < 0.5))
        if pick in ("plain", "unit") or style != "ankle"
        else RIGS[pick]
    )
    controls, named, more = change(walk)
    rig = random_rig(rng, size, controls)
    stated, belted = bool(rng.random() < 0.8), bool(travels or rng.random() < 0.9)
    clip = clip_of(named, walk, stated=stated, belt=belted, **more)
    if style != "ankle":
        made = convert(clip, rig, **STYLES[style])
        clip, rig = made.clip, made.rig
    asked: dict[str, Any] = {"keys": str(rng.choice(["every", "few"], p=[0.8, 0.2]))}
    if rng.random() < 0.2:
        asked["clearance"] = float(rng.uniform(0.0, 0.05))
    if rng.random() < 0.3:
        asked["anchor"] = str(rng.choice(["contact", "fit"]))
    told = f"{style}, {pick}, {kind}, size {size:.2f}, loop {loop}, travels {travels}, stated {stated}, {asked}"
    return Case(clip, rig, ground, walk, size, style, asked, told)


def spoiled(walk: Walk, rng: np.random.Generator) -> Walk:
    """Return the walk after a rough edit of the hips, sometimes with a foot that never lands or is left alone."""
    hips, phase = walk.hips.copy(), 2.0 * np.pi * np.arange(len(walk.hips)) / walk.frames
    hips[:, 1] += rng.uniform(-0.08, 0.05) + rng.uniform(0.0, 0.03) * np.sin(phase + rng.uniform(0, 6))
    hips[:, 3:] += np.radians(rng.uniform(-8, 8, 3)) * np.sin(phase + rng.uniform(0, 6))[:, None]
    stances = list(walk.stances)
    match int(rng.integers(8)):
        case 0:
            stances = [s for s in stances if s.foot == "left"]
        case 1:
            stances = []
        case 2:
            stances = [replace(s, left_alone=s.foot == "right") for s in stances]
    return replace(walk, hips=hips, stances=tuple(stances))


def stood_on(walk: Walk, ground: Ground) -> Walk:
    """Return the walk lifted so that no hip or foot of it is lower over the ground than it was."""
    places = np.concatenate([walk.hips[:, :3], *walk.feet[:, :, :3]])
    lift = float(np.max(ground.height(places[:, 0], places[:, 2])))
    return walk.changed(lambda place: place + np.array([0.0, lift, 0.0]), Rotation.identity(), walk.belt)


def tilted(walk: Walk, ground: Plane) -> Walk:
    """Return the walk with feet and belt turned onto a slope through the origin, the body upright."""
    tilt, _ = Rotation.align_vectors([ground.normal_at_point], [[0.0, 1.0, 0.0]])
    feet = walk.changed(tilt.apply, tilt, tilt.apply(walk.belt))
    return replace(feet, hips=walk.hips - [0.0, 0.04, 0.0, 0.0, 0.0, 0.0])


def random_ground(rng: np.random.Generator) -> tuple[Ground, str]:
    """Return a ground and its kind; flat half the time, uneven ones rise by no more than a step or two."""
    heading = float(rng.uniform(-np.pi, np.pi))
    match int(rng.integers(12)):
        case 0 | 1:
            return Plane.slope(angle=float(np.radians(rng.uniform(-15, 15))), heading=heading), "slope"
        case 2:
            riser, tread = float(rng.uniform(-0.2, 0.2)), float(rng.uniform(0.2, 0.4))
            return Profile.stairs(riser=riser, tread=tread, count=int(rng.integers(1, 8)), start=-0.4), "stairs"
        case 3:
            return Profile.kerb(height=float(rng.uniform(-0.15, 0.15)), at=float(rng.uniform(-0.5, 0.5))), "kerb"
        case 4:
            z = np.cumsum(rng.uniform(0.05, 0.4, 24)) - 2.5
            return Profile(z, np.cumsum(rng.normal(0.0, 0.02, 24))), "rough"
        case 5:
            heights = np.cumsum(rng.normal(0.0, 0.01, (25, 25)), axis=int(rng.integers(2)))
            return Grid(heights, 0.5, origin=np.array([-6.0, 0.0, -6.0])), "grid"
        case 6:
            x, z = (part.ravel() for part in np.meshgrid(np.linspace(-8, 8, 25), np.linspace(-8, 8, 25)))
            corners = np.column_stack([x, rng.normal(0.0, 0.02, len(x)), z])
            at = (np.arange(24)[:, None] * 25 + np.arange(24)).ravel()
            faces = np.concatenate([[at, at + 25, at + 1], [at + 1, at + 25, at + 26]], axis=1).T
            return Mesh(corners, faces), "mesh"
    return Flat(0.0), "flat"


def random_rig(rng: np.random.Generator, size: float, controls: dict[str, Any]) -> Rig:
    """Return a rig about as long as the one that the walks are authored for, its foot of any shape."""
    ball = BALL + rng.uniform(-0.03, 0.02)
    outline = [(side * half, z) for z, half in ((HEEL, 0.033), (ball, 0.049), (TOE, 0.032)) for side in (-1, 1)]
    points = np.array(outline) * size * [rng.uniform(0.7, 1.3), 1.0]
    high = rng.uniform(0.0, 0.03)
    foot = Foot(
        np.array([0.0, SOLE, HEEL]) * size, np.array([0.0, SOLE + high, ball]) * size,
        np.array([0.0, SOLE, TOE]) * size, points, onset=float(np.radians(rng.uniform(25, 55))),
    )  # fmt: skip
    split = rng.uniform(0.42, 0.58)
    whole = 0.87 * rng.uniform(0.97, 1.1) * size
    left = Leg(np.array([0.09, 0.0, 0.0]) * size, split * whole, (1.0 - split) * whole, foot)
    return Rig("random", (left, left.mirrored()), controls)


def faults(case: Case, done: Planted) -> list[str]:
    """Return what doesn't hold of a planted case, each in a few words; none if all is well."""
    found = []
    clip, first = done.clip, case.clip
    mine = {axis.channel for control in case.rig.feet for axis in control.axes.values()}
    for name, curve in first.channels.items():
        if name not in mine and clip.channels.get(name) is not curve:
            found.append(f"{name} isn't the very same object")
    found += [f"{name} is gone" for name in first.channels if name not in clip.channels]
    if (clip.first, clip.last, clip.rate, clip.loop) != (first.first, first.last, first.rate, first.loop):
        found.append("another range, rate or loop")
    if first.stances is not None and clip.stances != first.stances:
        found.append("other stances than were stated")
    fine = measure.instants(clip.first, clip.last + clip.loop, 5)
    numbers = Pack.from_curves(list(clip.channels.values())).evaluate(fine)
    if not np.isfinite(numbers).all() or not np.isfinite(done.ankle_change).all():
        found.append("a number that isn't finite")
        return found
    return found + unheld(case, done) + unclosed(case, done)


def unclosed(case: Case, done: Planted) -> list[str]:
    """Return the foot channels that end a loop elsewhere than they began it, by more than they were authored to."""
    if not done.clip.loop:
        return []
    ends = np.array([done.clip.first, done.clip.last + 1.0])
    found = []
    for name in done.changed:
        after = np.diff(Pack.from_curves([done.clip.channels[name]]).evaluate(ends)[0])[0]
        before = case.clip.channels.get(name)
        drift = 0.0 if before is None else np.diff(Pack.from_curves([before]).evaluate(ends)[0])[0]
        if abs(after - drift) > 1e-6 * max(1.0, abs(drift)):
            found.append(f"{name} ends its loop {after - drift:.2g} off")
    return found


def unheld(case: Case, done: Planted) -> list[str]:
    """Return the stances of feet about the ankle that slide or leave the ground, on level or sloping ground."""
    if case.style != "ankle" or not isinstance(case.ground, Flat | Plane):
        return []
    plane = measure.FLOOR
    if isinstance(case.ground, Plane):
        plane = (tuple(case.ground.point), tuple(case.ground.normal_at_point))
    found, far = [], max(1.0, case.size)
    for stance in done.stances:
        if stance.left_alone:
            continue
        for per_frame, bound in ((1, HELD), (5, BETWEEN)):
            at = measure.instants(stance.first, stance.last, per_frame)
            foot, belt = FEET.index(stance.foot), done.belt.velocity
            steps = measure.foot_steps(done.clip, case.rig, foot, at, belt=belt, plane=plane)
            for what, amount in (("slides", measure.slide(steps)), ("hovers", measure.hover(steps))):
                if not amount <= bound * far:
                    found.append(f"{stance.foot} {stance.first}-{stance.last} {what} by {1000 * amount:.3f} mm")
        at = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(done.clip, case.rig, foot, at, belt=belt, plane=plane)
        if not measure.sink(steps) <= HELD * far:
            found.append(f"{stance.foot} {stance.first}-{stance.last} sinks by {1000 * measure.sink(steps):.3f} mm")
    return found
