"""Lay: a cycle written out over its ground or along a route, ready to be planted.

Every loop's keys are kept; hips and feet are carried along by what is added to their keys. On a route that bends
their places and headings get a key on every frame. The hips' height is left alone unless it is let: what it
should be raised by is handed back as a proposal.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.carrying import Added, added, carried, keyed
from surefoot.clip import Clip
from surefoot.errors import InputError, UnknownName, came, finite_number, whole_number
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.pace import OwnWay, Pace, Step, paced
from surefoot.planting import plant, scene_of
from surefoot.rig import FEET, Rig
from surefoot.route import Route
from surefoot.tread import over_edges
from surefoot.under_root import seen_from_root

__all__ = ["Laid", "lay"]

Array = NDArray[np.float64]

MOST_LOOPS = 10_000
STRIDE = (0.35, 1.25)
"""The least and the most that a step may be of its own length."""
ROUNDS = 4
EASING = 0.12
"""Seconds over which hips that come down for a leg's reach ease in and out."""
SLACK = 0.01
"""Share of the leg that a knee keeps where steps go down: it lands bent by some 20 degrees, and doesn't whip."""
SETTING_DOWN = 0.25
"""Seconds before the first such landing from which it does."""
CLOSE = 2e-4


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """What `lay` gives back.

    Parameters
    ----------
    clip : Clip
        Written out, no loop, on still ground, its stances stated; not planted yet.
    raised : ndarray, shape (frames,)
        By how much the hips should be raised at each frame, metres: the proposal, applied where hips.y was let.
    steps : tuple of Step
        Where each footprint goes along the route.
    applied : bool
        Whether the hips were raised.
    """

    clip: Clip
    raised: Array
    steps: tuple[Step, ...]
    applied: bool


@checked(route=Route)
def lay(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground,
    loops: int,
    belt: Belt | None = None,
    route: Route | None = None,
    let: Iterable[str] = (),
    stride: tuple[float, float] = STRIDE,
) -> Laid:
    """Return a loop written out over ground so many times.

    Parameters
    ----------
    clip : Clip
        A loop, in place on a belt or travelling, authored for level ground at height 0.
    ground, loops : Ground, int
        What it walks over, and how many times.
    belt, route : optional
        Else the clip's own, else estimated; else straight on.
    let : iterable of str
        Channels that may change though they're no foot's: the hips' height.
    stride : tuple of float
        The least and the most that a step may be of its own length.

    Hips and feet may sit in a root that rests or travels evenly: then it stays where it is, and they travel in it.

    Raises InputError if the clip is no loop, doesn't travel, turns or climbs by itself, or its hips and feet sit
    neither in the world nor in such a root.
    """
    _check(clip, loops, stride, tuple(let))
    used = {control.parent for control in rig.controls.values()}
    spaces = {name: np.tile(one, (loops, 1, 1)) for name, one in clip.spaces.items() if name in used}
    seen = seen_from_root(clip, rig)
    clip, rig, ground, belt = seen.clip, seen.rig, seen.ground(ground), seen.belt(belt)
    route = seen.route(route)
    flat = plant(clip, rig, belt=belt)
    scene = scene_of(clip, rig, None, flat.belt)
    drift = scene.drift
    assert drift is not None
    way = np.array([drift.shift[0], drift.shift[2]])
    far = float(np.hypot(*way))
    if abs(drift.shift[1]) > 1e-3 * rig.leg:
        raise InputError(
            f"the cycle climbs {drift.shift[1]:+.3f} m a round by itself; lay one that walks on the level",
            place="loops",
        )
    if abs(drift.turn) > 1e-6:
        raise InputError("the cycle turns by itself; lay one that walks straight along a route", place="loops")
    if far < 1e-3 * rig.leg:
        raise InputError(
            "the cycle neither travels nor has a belt, so it can't be laid out; state --belt", place="loops"
        )
    heading = float(np.arctan2(way[0], way[1]))
    route = route or Route.straight(heading)
    unit = way / far
    steps = []
    standing = scene_of(flat.clip, rig, None, flat.belt)
    for print_ in flat.footprints:
        foot, base = FEET.index(print_.stance.foot), np.array([print_.place[0], print_.place[2]])
        middle = (print_.stance.first + print_.stance.last) // 2 - clip.first
        ankle = standing.ankle[::2, foot, middle % clip.frames] + (middle // clip.frames) * way
        base = base - np.round((base - ankle) @ unit / far) * way  # on the lap of its own frames
        for lap in range(-2, loops + 1):
            shift = lap * clip.frames
            place = base + lap * way
            first, last = print_.stance.first + shift, print_.stance.last + shift
            if last >= clip.first and first <= clip.first + loops * clip.frames:
                aside = place[0] * unit[1] - place[1] * unit[0]
                steps.append(Step(foot, (first, last), float(place @ unit), float(aside), print_.yaw - heading))
    if not steps:
        raise InputError("the cycle never stands on either foot, so it can't be laid out", place="loops")
    own_way = OwnWay(clip.first, np.tensordot(unit, standing.ankle[::2], 1), far)
    change = standing.ankle - scene.ankle
    moved = np.array([np.tensordot(unit, change[::2], 1), change[1]])
    placed = paced(steps, route, ground, rig, stride=stride)
    placed = over_edges(
        placed, route, ground, rig, way=own_way, pitch=standing.angles[0], moved=moved, rate=float(clip.rate)
    )
    pace = Pace(placed, own_way)
    last = clip.first + loops * clip.frames - 1
    frames = np.arange(clip.first, last + 1, dtype=np.float64)
    height = rig.controls["hips"].axes.get("y")
    raised = pace.rise(frames)
    applies = height is not None and height.channel in tuple(let)
    channels = carried(clip, rig, loops, belt=flat.belt, pace=pace, route=route, heading=heading)
    made = replace(
        clip,
        channels=channels,
        last=last,
        loop=False,
        belt=STILL,
        stances=pace.stances(clip.first, last),
        spaces=spaces,
    )
    if height is None or height.channel not in clip.channels:
        return Laid(made, raised, pace.steps, False)
    own = keyed(channels[height.channel], pace.turns(None, clip.first, last))
    for _ in range(ROUNDS):
        up = made.with_channels({height.channel: added(own, _between(frames, raised / height.scale))})
        lower = _lowering(up, rig, ground, pace)
        if not np.count_nonzero(lower):
            break
        raised = raised - lower
    return Laid(up if applies else made, raised, pace.steps, applies)


def _between(frames: Array, values: Array) -> Added:
    return lambda at: np.interp(at, frames, values)


def _lowering(clip: Clip, rig: Rig, ground: Ground, pace: Pace) -> Array:
    """Return by how much the hips of a laid clip should come down, ``(frames,)`` metres, for its planted legs to reach.

    It's the need of every frame, spread and then averaged over the frames about it: smooth, and nowhere less.
    """
    scene = scene_of(plant(clip, rig, ground=ground).clip, rig, ground)
    toned = [step.frames[0] for step in pace.steps if step.goes_down]
    slack = np.where(scene.frames >= min(toned, default=np.inf) - SETTING_DOWN * float(clip.rate), SLACK, 0.0)
    limit = np.array([[leg.length] for leg in rig.legs]) * (rig.reach - slack)
    x, y, z = scene.hip - scene.ankle
    beside = np.sqrt(np.maximum(limit**2 - x * x - z * z, 0.0))
    over = np.sqrt(x * x + y * y + z * z) > limit + CLOSE
    need = np.where(over, np.maximum(y - beside, 0.0), 0.0).max(axis=0)
    if not np.count_nonzero(need):
        return np.zeros(len(need))
    wide = max(2, round(EASING * float(clip.rate)))
    padded = np.pad(need, 2 * wide, mode="edge")
    most = np.lib.stride_tricks.sliding_window_view(padded, 2 * wide + 1).max(axis=-1)
    bell = np.hanning(2 * wide + 3)[1:-1]
    smooth: Array = np.convolve(most, bell / bell.sum(), mode="valid")
    return smooth


def _check(clip: Clip, loops: int, stride: tuple[float, float], let: tuple[str, ...]) -> None:
    if not clip.loop:
        raise InputError("the clip is no loop, so there is nothing to lay out", place="loops")
    if not 1 <= whole_number(loops, place="loops") <= MOST_LOOPS:
        raise InputError(f"expected a number from 1 to {MOST_LOOPS}, got {loops!r}", place="loops")
    if not isinstance(stride, list | tuple) or len(stride) != 2:
        raise InputError(f"wanted two shares, such as (0.35, 1.25), got {came(stride)}", place="stride")
    least, most = (finite_number(share, place="stride") for share in stride)
    if not 0.05 <= least <= 1.0 <= most <= 3.0:
        raise InputError(f"expected shares about 1, from 0.05 to 3, got {least:g} to {most:g}", place="stride")
    for name in let:
        if name not in clip.channels:
            raise UnknownName("channel", name, clip.channels, place="let")
