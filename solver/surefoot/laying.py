"""Lay: a cycle written out over its ground or along a route, ready to be planted.

Every loop's keys are kept; hips and feet are carried along by what is added to their keys. On a route that bends
their places and headings get a key on every frame. The hips' height is left alone unless it is let: what it
should be raised by is handed back as a proposal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.errors import InputError, UnknownName, came, finite_number, whole_number
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.pace import Pace, Step, paced
from surefoot.planting import plant, scene_of
from surefoot.rig import FEET, Rig
from surefoot.route import Route

__all__ = ["Laid", "lay"]

Array = NDArray[np.float64]
Added = Callable[[Array], Array]

MOST_LOOPS = 10_000
STRIDE = (0.35, 1.25)
"""The least and the most that a step may be of its own length."""
ROUNDS = 4
EASING = 0.12
"""Seconds over which hips that come down for a leg's reach ease in and out."""
CLOSE = 2e-4
NEAR = 1e-3
"""Frames on either side of a key between which a slope is taken."""


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

    Raises InputError if the clip is no loop, doesn't travel, turns or climbs by itself, or its hips and feet don't
    sit in the world.
    """
    _check(clip, rig, loops, stride, tuple(let))
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
    pace = Pace(paced(steps, route, ground, rig, stride=stride))
    last = clip.first + loops * clip.frames - 1
    frames = np.arange(clip.first, last + 1, dtype=np.float64)
    height = rig.controls["hips"].axes.get("y")
    raised = pace.rise(frames)
    applies = height is not None and height.channel in tuple(let)
    write = _along_line if route.is_straight else _along_route
    channels = {name: repeated(curve, clip, loops) for name, curve in clip.channels.items()}
    channels |= write(clip, rig, channels, flat.belt, pace, route, heading, frames)
    made = replace(
        clip, channels=channels, last=last, loop=False, belt=STILL, stances=pace.stances(clip.first, last), spaces={}
    )
    if height is None or height.channel not in clip.channels:
        return Laid(made, raised, pace.steps, False)
    own = _keyed(channels[height.channel], pace.turns(None, clip.first, last))
    for _ in range(ROUNDS):
        up = made.with_channels({height.channel: _added(own, _between(frames, raised / height.scale))})
        lower = _lowering(up, rig, ground)
        if not np.count_nonzero(lower):
            break
        raised = raised - lower
    return Laid(up if applies else made, raised, pace.steps, applies)


def _between(frames: Array, values: Array) -> Added:
    return lambda at: np.interp(at, frames, values)


def _lowering(clip: Clip, rig: Rig, ground: Ground) -> Array:
    """Return by how much the hips of a laid clip should come down, ``(frames,)`` metres, for its planted legs to reach.

    It's the need of every frame, spread and then averaged over the frames about it: smooth, and nowhere less.
    """
    scene = scene_of(plant(clip, rig, ground=ground).clip, rig, ground)
    limit = np.array([[leg.length * rig.reach] for leg in rig.legs])
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


def _check(clip: Clip, rig: Rig, loops: int, stride: tuple[float, float], let: tuple[str, ...]) -> None:
    if not clip.loop:
        raise InputError("the clip is no loop, so there is nothing to lay out", place="loops")
    if not 1 <= whole_number(loops, place="loops") <= MOST_LOOPS:
        raise InputError(f"expected a number from 1 to {MOST_LOOPS}, got {loops!r}", place="loops")
    if not isinstance(stride, list | tuple) or len(stride) != 2:
        raise InputError(f"wanted two shares, such as (0.35, 1.25), got {came(stride)}", place="stride")
    least, most = (finite_number(share, place="stride") for share in stride)
    if not 0.05 <= least <= 1.0 <= most <= 3.0:
        raise InputError(f"expected shares about 1, from 0.05 to 3, got {least:g} to {most:g}", place="stride")
    for name in ("hips", "left_foot", "right_foot"):
        control = rig.controls[name]
        if control.parent != "world":
            back = " (surefoot travel --to in-place brings a walk back there)" if control.parent == "root" else ""
            raise InputError(
                f"it sits in {control.parent}; laying out is for hips and feet that sit in the world{back}",
                place=f"control {name}",
            )
    for name in let:
        if name not in clip.channels:
            raise UnknownName("channel", name, clip.channels, place="let")


def repeated(curve: Curve, clip: Clip, loops: int) -> Curve:
    """Return a channel of a loop written out so many times, its keys and their shapes as they are.

    One round more stands before and after, so that channels whose keys start late are whole.
    """
    count, length = len(curve.frames) - 1, clip.frames
    if not count or Outside.HOLD in (curve.before, curve.after):
        return curve if not count else _sampled(curve, clip, loops)
    if abs(curve.frames[-1] - curve.frames[0] - length) > 1e-9:
        return _sampled(curve, clip, loops)
    rounds = np.arange(-1, loops + 1)
    into, out = resolve_slopes(curve)
    rise = curve.values[-1] - curve.values[0] if curve.after == Outside.ADVANCE else 0.0
    index = np.append(np.tile(np.arange(count), len(rounds)), 0)
    lap = np.append(np.repeat(rounds, count), rounds[-1] + 1)
    shapes = np.where(np.isin(curve.shapes, (Shape.STEP, Shape.BEZIER)), curve.shapes, np.int8(Shape.GIVEN))
    into = np.append(into[-1], into[1:-1])
    handles = None
    if curve.handles is not None:
        handles = curve.handles[index].copy()
        first = index == 0
        handles[first, :2] = curve.handles[-1, :2]
    return Curve(
        curve.frames[index] + lap * length, curve.values[index] + lap * rise, shapes[index],
        into[index], out[index], handles, Outside.HOLD, Outside.HOLD,
    )  # fmt: skip


def _sampled(curve: Curve, clip: Clip, loops: int) -> Curve:
    own = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    value = Pack.from_curves([curve]).evaluate(own)[0]
    return Curve.through(clip.first + np.arange(loops * clip.frames, dtype=np.float64), np.tile(value, loops))


def _keyed(curve: Curve, frames: Array) -> Curve:
    """Return a channel that can be carried along: one of a single key, which holds its value, gets more of them."""
    if len(curve.frames) > 1:
        return curve
    still = np.zeros(len(frames))
    return Curve.given(frames, np.full(len(frames), curve.values[0]), still, still)


def _added(curve: Curve, more: Added) -> Curve:
    """Return a channel with something added to its keys, slopes and handles."""
    at = curve.frames
    here = more(at)
    before, after = (here - more(at - NEAR)) / NEAR, (more(at + NEAR) - here) / NEAR
    given = np.where(curve.shapes == Shape.GIVEN, 1.0, 0.0)
    handles = curve.handles
    if handles is not None:
        handles = handles.copy()
        handles[:, 1] += handles[:, 0] * before
        handles[:, 3] += handles[:, 2] * after
    return Curve(
        at, curve.values + here, curve.shapes, curve.slope_in + given * before, curve.slope_out + given * after,
        handles, curve.before, curve.after,
    )  # fmt: skip


def _along_line(
    clip: Clip,
    rig: Rig,
    channels: dict[str, Curve],
    belt: Belt,
    pace: Pace,
    route: Route,
    heading: float,
    frames: Array,
) -> dict[str, Curve]:
    """Return hips and feet carried straight on: what is added depends on the frame alone."""
    turn = float(route.heading[0]) - heading
    if abs(turn) > 1e-9:
        return _along_route(clip, rig, channels, belt, pace, route, heading, frames)
    forward = (float(np.sin(heading)), 0.0, float(np.cos(heading)))
    start = (float(route.x[0]), 0.0, float(route.z[0]))
    step = clip.step

    def carried(foot: int | None, part: int) -> Added:
        def more(at: Array) -> Array:
            went = -belt.offset((at - clip.first) * step)[part]
            if foot is None:
                return np.asarray(went + start[part] + forward[part] * pace.ahead(at))
            own, new, level = pace.of_foot(foot, at)
            return np.asarray(went + start[part] + forward[part] * (new - own) + (level if part == 1 else 0.0))

        return more

    made = {}
    for name, foot in (("hips", None), ("left_foot", 0), ("right_foot", 1)):
        for part, key in enumerate("xyz"):
            axis = rig.controls[name].axes.get(key)
            if axis is None or axis.channel not in channels or (key == "y" and foot is None):
                continue
            more = carried(foot, part)
            if np.abs(more(frames)).max() > 1e-12:
                made[axis.channel] = _added(
                    _keyed(channels[axis.channel], pace.turns(foot, int(frames[0]), int(frames[-1]))),
                    lambda at, more=more, axis=axis: more(at) / axis.scale,  # type: ignore[misc]
                )
    return made


def _along_route(
    clip: Clip,
    rig: Rig,
    channels: dict[str, Curve],
    belt: Belt,
    pace: Pace,
    route: Route,
    heading: float,
    frames: Array,
) -> dict[str, Curve]:
    """Return hips and feet carried along a bending route, a key on every frame of their places and headings."""
    went = belt.offset((frames - clip.first) * clip.step)
    s, c = np.sin(heading), np.cos(heading)
    made = {}
    for name, foot in (("hips", None), ("left_foot", 0), ("right_foot", 1)):
        control = rig.controls[name]
        at = {}
        for key in ("x", "y", "z", "yaw"):
            axis = control.axes.get(key)
            if axis is None or axis.channel not in channels:
                if key != "y":
                    raise InputError("laying along a bending route needs its x, z and yaw", place=f"control {name}")
                continue
            values = Pack.from_curves([channels[axis.channel]]).evaluate(frames)[0]
            at[key] = (values - axis.zero) * axis.scale
        x, z = at["x"] + control.rest[0] - went[0], at["z"] + control.rest[2] - went[2]
        along, aside = s * x + c * z, c * x - s * z
        if foot is None:
            travel = s * -went[0] + c * -went[2]
            own, new, level = travel, travel + pace.ahead(frames), np.zeros(len(frames))
        else:
            own, new, level = pace.of_foot(foot, frames)
        px, pz, turn = route.at(new)
        over = along - own
        at["x"] = px + over * np.sin(turn) + aside * np.cos(turn) - control.rest[0]
        at["z"] = pz + over * np.cos(turn) - aside * np.sin(turn) - control.rest[2]
        at["yaw"] = at["yaw"] + turn - heading
        if foot is not None and "y" in at:
            at["y"] = at["y"] + level
        for key, values in at.items():
            if key == "y" and foot is None:
                continue
            axis = control.axes[key]
            made[axis.channel] = Curve.through(frames, values / axis.scale + axis.zero)
    return made
