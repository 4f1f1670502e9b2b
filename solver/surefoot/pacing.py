"""Pacing: an in-place loop brought to a wanted speed, by other timing or by longer or shorter strides."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.contact import find_stances
from surefoot.curves import Curve, Pack
from surefoot.errors import InputError, finite_number
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.key_edits import affine
from surefoot.planting import scene_of
from surefoot.rig import Control, Rig

__all__ = ["at_speed"]

Way = Literal["time", "stride"]


@checked()
def at_speed(
    clip: Clip, rig: Rig, speed: float, *, by: Way, ground: Ground | None = None, belt: Belt | None = None
) -> Clip:
    """Return an in-place loop at a wanted speed, its belt and stances stated; it must be planted after.

    Parameters
    ----------
    speed : float
        Metres a second on the plan, as `gait_of` tells it; above zero.
    by : {"time", "stride"}
        ``time`` keeps the strides and gives the loop the whole number of frames that comes nearest, an even one where
        it was even, so that both steps have whole frames; keys move in proportion, and may then stand between two
        frames. What is left of the difference, a few per cent at most, goes into the strides. ``stride`` keeps the
        timing and scales how far the feet swing fore and aft. On ground that is neither level nor a plane the strides
        are the ground's, as on stairs: ``time`` then keeps them, and the speed is the nearest that whole frames give.

    Raises
    ------
    InputError
        If the clip is no loop in place, a foot's channels don't run along the way that it walks, or strides
        should change on ground that sets them.
    """
    if by not in ("time", "stride"):
        raise InputError(f"wanted time or stride, got {by!r}", place="speed")
    if not clip.loop:
        raise InputError("only a loop has one speed", place="speed")
    if not 0.0 < finite_number(speed, place="speed") < 100.0:
        raise InputError(f"wanted a speed above 0 and below 100 m/s, got {speed!r}", place="speed")
    scene = scene_of(clip, rig, ground, belt)
    if scene.belt.is_still:
        raise InputError("the ground stands still; bring the clip in place first", place="speed")
    x, _, z = scene.belt.velocity
    if not np.hypot(x, z):
        raise InputError("the ground only rises or turns, so there's no speed along it to change", place="speed")
    stances, share = find_stances(scene), speed / float(np.hypot(x, z))
    stepped = not scene.ground.is_even
    if stepped and by == "stride":
        raise InputError("the ground sets the strides, as stairs do; change the time instead", place="speed")
    if by == "time":
        whole = 1 if clip.frames % 2 else 2
        count = max(2, whole * round(clip.frames / share / whole))
        stretch = count / clip.frames
        clip = replace(
            clip,
            channels={name: _retimed(curve, float(clip.first), stretch) for name, curve in clip.channels.items()},
            last=clip.first + count - 1,
            stances=tuple(_retimed_stance(s, clip, stretch, count) for s in stances),
        )
        share = 1.0 / stretch if stepped else share
        strides = 1.0 if stepped else share * stretch
    else:
        clip, strides = clip.with_stances(stances), share
    belt = Belt(scene.belt.velocity * share, scene.belt.turn * share)
    placed = by == "stride" or all(set("xz") & set(foot.axes) for foot in rig.feet)
    return replace(_restrided(clip, rig, strides, scene.belt) if placed else clip, belt=belt)


def _retimed(curve: Curve, first: float, stretch: float) -> Curve:
    if stretch == 1.0:
        return curve
    handles = None if curve.handles is None else curve.handles * [stretch, 1.0, stretch, 1.0]
    return replace(
        curve, frames=first + (curve.frames - first) * stretch, slope_in=curve.slope_in / stretch,
        slope_out=curve.slope_out / stretch, handles=handles,
    )  # fmt: skip


def _retimed_stance(stance: Stance, clip: Clip, stretch: float, count: int) -> Stance:
    start = round((stance.first - clip.first) * stretch)
    never = stance.last - stance.first + 1 >= clip.frames  # the foot doesn't leave the ground
    length = count - 1 if never else min(round((stance.last - stance.first) * stretch), count - 1)
    return replace(stance, first=clip.first + start % count, last=clip.first + start % count + length)


def _restrided(clip: Clip, rig: Rig, share: float, belt: Belt) -> Clip:
    """Return the clip with its feet's way fore and aft scaled about the hips'."""
    if share == 1.0:
        return clip
    x, _, z = np.abs(belt.velocity)
    key = "z" if x <= 1e-6 * z else "x" if z <= 1e-6 * x else ""
    if not key:
        raise InputError("it walks neither along Z nor along X, so no channel of a foot runs along its way",
                         place="speed")  # fmt: skip
    changed = {}
    for foot in rig.feet:
        axis = foot.axes.get(key)
        if axis is None or axis.channel not in clip.channels:
            raise InputError(f"{foot.name} has no channel for {key}, along which it walks", place="speed")
        if axis.channel in clip.locked:
            raise InputError("the channel is locked", place=axis.channel)
        pivot = (_pivot(clip, rig, foot, key) - float(foot.rest["xyz".index(key)])) / axis.scale + axis.zero
        changed[axis.channel] = affine(clip.channels[axis.channel], factor=share, offset=(1.0 - share) * pivot)
    return clip.with_channels(changed)


def _pivot(clip: Clip, rig: Rig, foot: Control, key: str) -> float:
    """Return where the hips are on average along the way, in the foot's parent space, metres."""
    hips = rig.controls["hips"]
    axis, rest = hips.axes.get(key), float(hips.rest["xyz".index(key)])
    if foot.parent != hips.parent:
        return 0.0
    if axis is None or axis.channel not in clip.channels:
        return rest
    frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    mean = float(Pack.from_curves([clip.channels[axis.channel]]).evaluate(frames).mean())
    return (mean - axis.zero) * axis.scale + rest
