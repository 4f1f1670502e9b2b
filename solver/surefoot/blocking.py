"""Block: from a recipe to a first layered cycle, in place, with its belt, stances and ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.block_feet import FOOT_KEYS, SLIVER, FootPlan, belt_step, foot_plan, least_width, own_stairs
from surefoot.block_hips import body_cycles, hip_cycles
from surefoot.clip import Clip, Stance
from surefoot.curves import Curve
from surefoot.cycle import Cycle
from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.ground import Flat, Ground, Profile
from surefoot.recipe import Recipe
from surefoot.restyle import convert
from surefoot.rig import FEET, Rig
from surefoot.rig_styles import rig_in_style
from surefoot.rotations import matrix
from surefoot.spaces import Binding
from surefoot.units import ANGLES, LENGTHS

__all__ = ["Blocked", "block"]

Array = NDArray[np.float64]

FINE = 4
"""Samples a frame at which the legs' reach is looked at."""
FLIGHTS = 6
"""Steps of a climb's stairs before and after the cycle's own."""


@dataclass(frozen=True, slots=True, eq=False)
class Blocked:
    """What `block` gives back.

    Parameters
    ----------
    clip : Clip
        The layered cycle, not yet planted: keys only where an animator would set them.
    ground : Ground
        What it stands on: level at height 0, or the recipe's stairs.
    recipe : Recipe
        As it was used, with its lengths grown to the rig's legs.
    frames : mapping of str to int
        An animator's frames of the left step, by name.
    lowered : float
        How far the hips' mean lies below where they'd be over two straight legs, metres.
    widened : float
        By how much more than the recipe asks the feet are apart so that they pass each other, metres.
    """

    clip: Clip
    ground: Ground
    recipe: Recipe
    frames: Mapping[str, int]
    lowered: float
    widened: float


@checked(recipe=Recipe)
def block(recipe: Recipe, rig: Rig) -> Blocked:
    """Return a first layered cycle, in place, for a rig.

    The hips are as high as both legs reach with the asked slack, at every frame; lengths of the recipe
    grow with the leg. The left foot lands on the first frame, the right one half a cycle later.

    Raises
    ------
    InputError
        If no height of the hips lets the feet reach so far, or the rig's hips don't sit in the world.

    Examples
    --------
    >>> import surefoot
    >>> rig = surefoot.load_rig("lamplighter")
    >>> made = surefoot.block(surefoot.load_recipe("walk"), rig)
    >>> surefoot.check(surefoot.plant(made.clip, rig).clip, rig).is_clean
    True
    """
    if rig.style != "ankle":
        plain = rig_in_style(rig, "ankle")
        made = block(recipe, plain)
        return replace(made, clip=_restyled(made.clip, plain, rig))
    recipe = recipe.for_leg(rig.leg)
    asked = recipe.pace.width
    if not rig.planar:
        recipe = recipe.widened(max(asked, least_width(recipe, rig)))
    ground = _ground(recipe, rig)
    hips, feet = hip_cycles(recipe), foot_plan(recipe, rig, ground)
    height = _height(recipe, rig, hips, feet)
    hips["y"] = hips["y"].raised(height)
    channels = _channels(recipe, rig, hips, feet)
    clip = _clip(recipe, rig, channels)
    stand = float(np.mean([leg.length - leg.foot.sole - leg.hip[1] for leg in rig.legs]))
    first = recipe.pace.first
    frames = {name: first + offset for name, offset in feet.moments.items()}
    frames["passing"] = first + recipe.pace.passing
    return Blocked(clip, ground, recipe, MappingProxyType(frames), stand - height, recipe.pace.width - asked)


def _ground(recipe: Recipe, rig: Rig) -> Ground:
    if recipe.stairs is None:
        return Flat(0.0)
    edge, _ = own_stairs(recipe, rig)
    riser, tread = recipe.stairs.riser, recipe.stairs.tread
    count = 2 * FLIGHTS + 1
    return Profile.stairs(
        riser=riser, tread=tread, count=count, start=edge - FLIGHTS * tread,
        origin=(0.0, -(FLIGHTS + 1) * riser, 0.0), name=f"{recipe.name} stairs",
    )  # fmt: skip


def _height(recipe: Recipe, rig: Rig, hips: Mapping[str, Cycle], feet: FootPlan) -> float:
    """Return the hips' mean height in the world, metres: the highest that both legs reach, less the drop."""
    at = np.arange(recipe.pace.frames * FINE) / FINE
    x, y, pitch, yaw, roll = (hips[key].at(at) for key in ("x", "y", "pitch", "yaw", "roll"))
    turn = matrix(pitch, yaw, roll, order=rig.controls["hips"].order)
    highest = np.inf
    for leg, cycles in zip(rig.legs, feet.feet, strict=True):
        ankle = np.array([cycles[key].at(at) for key in "xyz"])
        hip = np.einsum("ijn,j->in", turn, leg.hip)
        room = (rig.reach * leg.length) ** 2 - (ankle[0] - x - hip[0]) ** 2 - (ankle[2] - hip[2]) ** 2
        if room.min() <= (0.1 * leg.length) ** 2:
            frame = recipe.pace.first + float(at[room.argmin()])
            less = "a shorter step" if recipe.stairs is None else "a shallower stair"
            told = f"the feet step farther than the legs reach, at frame {frame:g}; {less}, or a shorter toe_off"
            raise InputError(told, place="stairs" if recipe.stairs is not None else "pace.step")
        highest = min(highest, float((ankle[1] + np.sqrt(room) - hip[1] - y).min()))
    return highest - recipe.settle.amount * recipe.settle.drop


def _clip(recipe: Recipe, rig: Rig, channels: Mapping[str, Curve]) -> Clip:
    pace, rate = recipe.pace, recipe.pace.rate
    last = pace.first + pace.frames - 1
    dy, dz = belt_step(recipe)
    stances = [
        Stance(foot, pace.first + side * pace.half, pace.first + side * pace.half + pace.toe_off)
        for side, foot in enumerate(FEET)
    ]
    lengths = {axis.scale for c in rig.controls.values() for k, axis in c.axes.items() if k in "xyz"}
    return Clip(
        channels=channels, rate=rate, first=pace.first, last=last, loop=True,
        belt=Belt(np.array([0.0, dy, dz]) * float(rate) + 0.0), stances=tuple(stances),
        name=recipe.name, rig=rig.name, unit=_unit(lengths, LENGTHS), angle="deg",
    )  # fmt: skip


def _unit(scales: set[float], known: Mapping[str, float]) -> str:
    """Return the unit in which all of a rig's lengths are, or nothing."""
    sizes = {abs(scale) for scale in scales}
    for name, size in known.items():
        if all(abs(s / size - 1.0) < 1e-9 for s in sizes):
            return name
    return ""


def _channels(recipe: Recipe, rig: Rig, hips: Mapping[str, Cycle], feet: FootPlan) -> dict[str, Curve]:
    """Return every channel of the rig, the feet from their place in the world, and those of the upper body."""
    first = recipe.pace.first
    rest = _hips_rest(rig)
    made: dict[str, Curve] = {}
    for name, control in rig.controls.items():
        for key, own in control.axes.items():
            cycle = hips.get(key) if name == "hips" else None
            if cycle is None:
                made[own.channel] = Curve.constant(own.zero, frame=first)
            else:
                if key in "xyz":
                    cycle = cycle.raised(-float(rest["xyz".index(key)]))
                made[own.channel] = cycle.curve(first, own)
    binding = Binding(rig, _clip(recipe, rig, made))
    for side, control in enumerate(rig.feet):
        cycles = feet.feet[side] if binding.plain else _in_own_space(binding, feet, side, first)
        for key, cycle in cycles.items():
            if key in control.axes:
                shift = -float(control.rest["xyz".index(key)]) if binding.plain and key in "xyz" else 0.0
                made[control.axes[key].channel] = cycle.raised(shift).curve(first, control.axes[key])
    for name, cycle in body_cycles(recipe, hips).items():
        part, _, key = name.partition(".")
        axis = rig.controls[part].axes.get(key) if part in rig.controls else None
        if axis is not None:
            made[axis.channel] = cycle.curve(first, axis)
        elif name not in made:
            made[name] = cycle.curve(first, scale=ANGLES["deg"])
    return made


def _hips_rest(rig: Rig) -> Array:
    """Return where the hips' control rests in the world, metres, or raise where its parent isn't still."""
    total, control = np.zeros(3), rig.controls["hips"]
    while True:
        total = total + control.rest
        if control.parent == "world":
            return np.asarray(total)
        if control.parent not in rig.controls:
            raise InputError(
                f"it hangs on the space {control.parent!r}, which only a clip gives; block needs hips in the world",
                place=f"rig {rig.name}: control {control.name}",
            )
        control = rig.controls[control.parent]


def _restyled(clip: Clip, plain: Rig, rig: Rig) -> Clip:
    """Return a clip of feet about the ankle in the rig's own style: keys on the same frames of each foot."""
    done = convert(clip, plain, to=rig).clip
    changed = {}
    for side, control in enumerate(rig.feet):
        own = [clip.channels[axis.channel].frames for axis in plain.feet[side].axes.values()
               if axis.channel in clip.channels]  # fmt: skip
        frames = np.unique(np.concatenate([*own, [clip.first, clip.last + 1.0]]))
        for axis in control.axes.values():
            curve = done.channels.get(axis.channel)
            if curve is None or len(curve.frames) == 1:
                continue
            at = np.searchsorted(curve.frames, frames)
            rows = (row[at] for row in (curve.values, curve.slope_in, curve.slope_out))
            changed[axis.channel] = (
                Curve.given(frames, *rows, before=curve.before, after=curve.after)
                if np.ptp(curve.values) > 1e-9
                else Curve.constant(float(curve.values[0]), frame=clip.first)
            )
    return done.with_channels(changed)


def _in_own_space(binding: Binding, feet: FootPlan, side: int, first: int) -> dict[str, Cycle]:
    """Return one foot's cycles in its control's own space: the same keys, their values and slopes worked out there."""
    own = feet.feet[side]
    found = {}
    row = dict(zip(FOOT_KEYS, range(7), strict=True))
    for key, cycle in own.items():
        # a turning parent mixes the axes, so places are keyed where any of them or the turn is
        keys = [cycle] if key == "bend" else [c for name, c in own.items() if name != "bend"]
        at = np.unique(np.concatenate([c.offset for c in keys]))
        before, here, after = (_written(binding, feet, at + dt, first)[row[key], side] for dt in (-SLIVER, 0.0, SLIVER))
        found[key] = Cycle.given(cycle.period, at, here, (here - before) / SLIVER, (after - here) / SLIVER)
    return found


def _written(binding: Binding, feet: FootPlan, at: Array, first: int) -> Array:
    ankle, angles = (
        np.array([[foot[key].at(at) for foot in feet.feet] for key in keys])
        for keys in (("x", "y", "z"), ("pitch", "yaw", "roll"))
    )
    bend = np.array([foot["bend"].at(at) for foot in feet.feet])
    frames = at + first
    return binding.write(ankle, angles, bend, binding.values(frames), frames)
