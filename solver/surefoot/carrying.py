"""Carrying: a loop's channels written out, hips and feet carried along by what is added to their keys.

Keys keep their frames and shapes, and a swing whose time is changed gets one on every frame. On a route that bends,
places and headings get a key on every frame.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.errors import InputError
from surefoot.key_edits import with_keys
from surefoot.pace import Pace
from surefoot.rig import Axis, Rig
from surefoot.route import Route

__all__ = ["added", "carried", "keyed", "repeated"]

Array = NDArray[np.float64]
Added = Callable[[Array], Array]

CONTROLS = (("hips", None), ("left_foot", 0), ("right_foot", 1))
NEAR = 1e-3
"""Frames on either side of a key between which a slope is taken."""


@dataclass(frozen=True, slots=True, eq=False)
class _Walk:
    """A loop written out, its channels not yet carried along, and what they're to be carried by."""

    clip: Clip
    rig: Rig
    channels: dict[str, Curve]
    belt: Belt
    pace: Pace
    route: Route
    heading: float
    frames: Array


def carried(
    clip: Clip, rig: Rig, loops: int, *, belt: Belt, pace: Pace, route: Route, heading: float
) -> dict[str, Curve]:
    """Return a loop's channels written out so many times, hips and feet carried along a route.

    ``heading`` is that of the clip's own way, radians; the hips' height is left alone.
    """
    frames = np.arange(clip.first, clip.first + loops * clip.frames, dtype=np.float64)
    channels = {name: repeated(curve, clip, loops) for name, curve in clip.channels.items()}
    walk = _Walk(clip, rig, channels, belt, pace, route, heading, frames)
    straight = route.is_straight and abs(float(route.heading[0]) - heading) <= 1e-9
    return channels | (_along_line(walk) if straight else _along_route(walk)) | _toned(walk)


def repeated(curve: Curve, clip: Clip, loops: int) -> Curve:
    """Return a channel of a loop written out so many times, its keys and their shapes as they are.

    One round more stands before and after, so that channels whose keys start late are whole. One whose own rounds
    don't fill the loop, or that holds, gets a key on every frame.
    """
    count, length = len(curve.frames) - 1, clip.frames
    if not count or Outside.HOLD in (curve.before, curve.after):
        return curve if not count else _sampled(curve, clip, loops)
    period = float(curve.frames[-1] - curve.frames[0])
    times = max(1, round(length / period))
    if abs(times * period - length) > 1e-9:
        return _sampled(curve, clip, loops)
    late = (float(curve.frames[0]) - clip.first) / period
    rounds = np.arange(min(-1, int(np.floor(-late))), loops * times + 1 + max(0, int(np.ceil(-late))))
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
        curve.frames[index] + lap * period, curve.values[index] + lap * rise, shapes[index],
        into[index], out[index], handles, Outside.HOLD, Outside.HOLD,
    )  # fmt: skip


def _sampled(curve: Curve, clip: Clip, loops: int) -> Curve:
    value = Pack.from_curves([curve]).evaluate(np.arange(clip.first, clip.last + 2, dtype=np.float64))[0]
    rise = value[-1] - value[0] if Outside.ADVANCE in (curve.before, curve.after) else 0.0
    values = (value[:-1] + rise * np.arange(loops)[:, None]).ravel()
    return Curve.through(clip.first + np.arange(loops * clip.frames, dtype=np.float64), values)


def keyed(curve: Curve, frames: Array) -> Curve:
    """Return a channel that can be carried along: one of a single key, which holds its value, gets more of them."""
    if len(curve.frames) > 1:
        return curve
    still = np.zeros(len(frames))
    return Curve.given(frames, np.full(len(frames), curve.values[0]), still, still)


def added(curve: Curve, more: Added) -> Curve:
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


def _toned(walk: _Walk) -> dict[str, Curve]:
    """Return the pitch of feet that land otherwise than in the cycle, where their controls have one."""
    pace, made = walk.pace, {}
    for control, foot in CONTROLS:
        axis = walk.rig.controls[control].axes.get("pitch")
        if foot is None or axis is None or axis.channel not in walk.channels or not any(s.toned for s in pace.steps):
            continue
        curve = _finer(walk.channels[axis.channel], pace, foot, walk.frames)

        def more(at: Array, foot: int = foot, axis: Axis = axis, curve: Curve = curve) -> Array:
            share, pitch, _, _ = pace.toned(foot, at)
            return np.asarray(share * (pitch / axis.scale + axis.zero - curve.at(at)))

        made[axis.channel] = added(curve, more)
    return made


def _finer(curve: Curve, pace: Pace, foot: int | None, frames: Array) -> Curve:
    """Return a channel that can be carried along, with keys in swings whose time is changed."""
    first, last = int(frames[0]), int(frames[-1])
    curve = keyed(curve, pace.turns(foot, first, last))
    if foot is None or Shape.STEP in curve.shapes:
        return curve
    return with_keys(curve, pace.inside(foot))


def _along_line(walk: _Walk) -> dict[str, Curve]:
    """Return hips and feet carried straight on: what is added depends on the frame alone."""
    clip, pace, route, heading = walk.clip, walk.pace, walk.route, walk.heading
    forward = (float(np.sin(heading)), 0.0, float(np.cos(heading)))
    start = (float(route.x[0]), 0.0, float(route.z[0]))
    step = clip.step

    def carried(foot: int | None, part: int) -> Added:
        def more(at: Array) -> Array:
            went = -walk.belt.offset((at - clip.first) * step)[part]
            if foot is None:
                return np.asarray(went + start[part] + forward[part] * pace.ahead(at))
            own, new, level = pace.of_foot(foot, at)
            return np.asarray(went + start[part] + forward[part] * (new - own) + (level if part == 1 else 0.0))

        return more

    made = {}
    for name, foot in CONTROLS:
        for part, key in enumerate("xyz"):
            axis = walk.rig.controls[name].axes.get(key)
            if axis is None or axis.channel not in walk.channels or (key == "y" and foot is None):
                continue
            more = carried(foot, part)
            if np.abs(more(walk.frames)).max() > 1e-12:
                made[axis.channel] = added(
                    _finer(walk.channels[axis.channel], pace, foot, walk.frames),
                    lambda at, more=more, axis=axis: more(at) / axis.scale,  # type: ignore[misc]
                )
    return made


def _along_route(walk: _Walk) -> dict[str, Curve]:
    """Return hips and feet carried along a bending route, a key on every frame of their places and headings."""
    pace, heading, frames = walk.pace, walk.heading, walk.frames
    went = walk.belt.offset((frames - walk.clip.first) * walk.clip.step)
    s, c = np.sin(heading), np.cos(heading)
    made = {}
    for name, foot in CONTROLS:
        control = walk.rig.controls[name]
        at = {}
        for key in ("x", "y", "z", "yaw"):
            axis = control.axes.get(key)
            if axis is None or axis.channel not in walk.channels:
                if key != "y":
                    raise InputError("laying along a bending route needs its x, z and yaw", place=f"control {name}")
                continue
            values = Pack.from_curves([walk.channels[axis.channel]]).evaluate(frames)[0]
            at[key] = (values - axis.zero) * axis.scale
        x, z = at["x"] + control.rest[0] - went[0], at["z"] + control.rest[2] - went[2]
        along, aside = s * x + c * z, c * x - s * z
        if foot is None:
            travel = s * -went[0] + c * -went[2]
            own, new, level = travel, travel + pace.ahead(frames), np.zeros(len(frames))
        else:
            own, new, level = pace.of_foot(foot, frames)
        px, pz, turn = walk.route.at(new)
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
