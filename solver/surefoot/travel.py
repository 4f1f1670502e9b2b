"""Travel: an in-place cycle made to travel on a root channel of its own, and back, exactly.

Travelling is what the belt did, turned round: the root moves as ground space does, and every other channel stays the
very same object. The rig's own root is used where it has one (a control above hips and feet); else a control named
``root`` is put above all that sits in the world (see `rooted`), with channels ``root.x``, ``root.y``, ``root.z`` and
``root.yaw``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Shape
from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.key_edits import advance_of, affine
from surefoot.planting import scene_of
from surefoot.rig import Axis, Control, Rig

__all__ = ["ROOT", "in_place", "root_of", "rooted", "travelling", "with_root"]

Array = NDArray[np.float64]

ROOT = "root"
MOVES = ("x", "y", "z", "yaw")
STEADY = 1e-9
"""Metres (or radians) a frame: controls whose advances differ by less travel together."""


def root_of(rig: Rig) -> Control | None:
    """Return the topmost control above the hips and both feet, or None."""
    chains = []
    for name in ("hips", *(foot.name for foot in rig.feet)):
        chain, at = [], rig.controls[name].parent
        while at in rig.controls:
            chain.append(at)
            at = rig.controls[at].parent
        chains.append(chain)
    shared = [name for name in chains[0] if all(name in chain for chain in chains[1:])]
    return rig.controls[shared[-1]] if shared else None


@checked()
def rooted(rig: Rig, clip: Clip) -> Rig:
    """Return the rig by which a clip with root channels is read.

    It's the same object where the rig has a root of its own, or the clip has no channel ``root.x``, ``root.y``,
    ``root.z`` or ``root.yaw``. Those are in the hips' units, and positive as the conventions have it.

    Raises
    ------
    InputError
        If what is handed in is no rig or no clip.
    """
    return with_root(rig) if any(f"{ROOT}.{key}" in clip.channels for key in MOVES) else rig


def with_root(rig: Rig) -> Rig:
    """Return the rig with a control ``root`` above all that sits in the world; itself if it has a root of its own."""
    if root_of(rig) is not None or ROOT in rig.controls:
        return rig
    hips = rig.controls["hips"].axes
    size = next((abs(hips[key].scale) for key in "zyx" if key in hips), 1.0)
    turn = next((abs(hips[key].scale) for key in ("yaw", "pitch", "roll") if key in hips), 1.0)
    axes = {key: Axis(f"{ROOT}.{key}", turn if key == "yaw" else size, 0.0, True) for key in MOVES}
    controls = {
        name: replace(control, parent=ROOT) if control.parent == "world" else control
        for name, control in rig.controls.items()
    }
    return replace(rig, controls={ROOT: Control(ROOT, axes), **controls})


def _is_made(root: Control) -> bool:
    """Tell whether a root is the one that `rooted` makes."""
    return root.name == ROOT and all(
        axis.optional and axis.channel == f"{ROOT}.{key}" for key, axis in root.axes.items()
    )


def _has(clip: Clip, root: Control) -> bool:
    return any(axis.channel in clip.channels for axis in root.axes.values())


@checked()
def travelling(clip: Clip, rig: Rig, *, ground: Ground | None = None, belt: Belt | None = None) -> Clip:
    """Return an in-place clip that travels over still ground.

    Parameters
    ----------
    belt : Belt, optional
        Else the clip's own, else the estimate.

    Raises
    ------
    InputError
        If the ground stands still already, or the rig's root can't move as the belt does.
    """
    belt = scene_of(clip, rooted(rig, clip), ground, belt).belt
    if belt.is_still:
        raise InputError("the ground stands still already: there's nothing to travel by", place="travel")
    own = root_of(rooted(rig, clip))
    if own is None or (_is_made(own) and not _has(clip, own)):
        new = _fresh_root(clip, rig, belt)
    else:
        new = _moved_root(clip, own, -_a_frame(belt, clip), belt)
    return replace(clip, channels={**clip.channels, **new}, belt=STILL)


def _a_frame(belt: Belt, clip: Clip) -> Array:
    """Return how far the ground moves a frame, ``(3,)`` metres."""
    return np.asarray(belt.velocity * clip.step)


def _fresh_root(clip: Clip, rig: Rig, belt: Belt) -> dict[str, Curve]:
    """Return the root's channels for a belt: straight lines, or an arc with a key on every frame where it turns."""
    axes = with_root(rig).controls[ROOT].axes
    ends = np.array([float(clip.first), float(clip.last + 1 if clip.loop else clip.last)])
    rule = Outside.ADVANCE if clip.loop else Outside.HOLD
    if belt.turn == 0.0:
        rise = -belt.velocity * clip.step * (ends[1] - ends[0])
        return {
            axes[key].channel: Curve.shaped(ends, [0.0, rise["xyz".index(key)] / axes[key].scale], shape=Shape.LINEAR,
                                            before=rule, after=rule)
            for key in "xyz" if rise["xyz".index(key)] != 0.0
        }  # fmt: skip
    frames = np.arange(ends[0], ends[1] + 1.0)
    time = (frames - clip.first) * clip.step
    heading = belt.heading(time)
    place = -_turned(belt.offset(time), -heading)
    x, _, z = place  # the root's speed: the ground's, turned round, and what turning does to its place
    speed = -belt.velocity[:, None] - belt.turn * np.array([z, 0.0 * z, -x])
    moves = {"x": place[0], "y": place[1], "z": place[2], "yaw": -heading}
    rates = {"x": speed[0], "y": speed[1], "z": speed[2], "yaw": np.full_like(time, -belt.turn)}
    made = {}
    for key, values in moves.items():
        if np.any(values != 0.0):
            slope = rates[key] * clip.step / axes[key].scale
            made[axes[key].channel] = Curve.given(frames, values / axes[key].scale, slope, slope, before=rule,
                                                  after=rule)  # fmt: skip
    return made


def _turned(point: Array, angle: Array) -> Array:
    s, c = np.sin(angle), np.cos(angle)
    return np.array([c * point[0] + s * point[2], point[1] + 0.0 * angle, c * point[2] - s * point[0]])


def _moved_root(
    clip: Clip, root: Control, step: Array, belt: Belt, above: tuple[str, ...] = ("world",)
) -> dict[str, Curve]:
    """Return the channels of the rig's own root, moved on by ``step`` metres a frame."""
    place = f"control {root.name}"
    if belt.turn != 0.0:
        raise InputError("a rig's own root can't be made to travel along an arc; take the turn off first", place=place)
    if root.parent not in above:
        raise InputError(f"it sits under {root.parent}, which may move too; travel needs it in the world", place=place)
    made = {}
    for k, key in enumerate("xyz"):
        if step[k] == 0.0:
            continue
        axis = root.axes.get(key)
        if axis is None:
            raise InputError(f"it has no channel for {key}, along which the ground moves", place=place)
        if axis.channel in clip.locked:
            raise InputError("the channel is locked", place=axis.channel)
        made[axis.channel] = _tilted(clip, clip.channels.get(axis.channel), float(step[k]) / axis.scale, axis.zero)
    return made


def _tilted(clip: Clip, old: Curve | None, rate: float, zero: float) -> Curve:
    """Return a channel, or one at rest, that moves on by ``rate`` a frame; exactly at rest again where it does."""
    first, end = float(clip.first), float(clip.last + 1 if clip.loop else clip.last)
    if old is None or len(old.frames) == 1:
        start = zero if old is None else float(old.values[0])
        old = Curve.shaped([first, end], [start, start], shape=Shape.LINEAR)
    rule = (Outside.REPEAT if clip.loop else Outside.HOLD) if old.after == Outside.HOLD else old.after
    tilted = affine(replace(old, before=rule, after=rule), rate=rate, at=first)
    if not clip.loop:
        return tilted
    rise = float(tilted.values[-1] - tilted.values[0])
    closed = abs(rise) <= 1e-9 * max(1.0, float(np.abs(tilted.values).max()))
    if not closed:
        return tilted
    values = tilted.values.copy()
    values[-1] = values[0]
    return replace(tilted, values=values, before=Outside.REPEAT, after=Outside.REPEAT)


@checked()
def in_place(clip: Clip, rig: Rig) -> Clip:
    """Return a travelling clip in place, with the belt that carries the ground under it.

    The travel is taken off the root; a root that moves otherwise keeps that. A loop without a root, whose hips and
    feet advance themselves, has it taken off those.

    Raises
    ------
    InputError
        If nothing travels, the parts travel apart, or a clip that is no loop travels unevenly.
    """
    own = root_of(rooted(rig, clip))
    if own is not None and _is_made(own):
        own = own if _has(clip, own) else None
        if own is not None:
            return _off_fresh_root(clip, rig)
    if own is not None:
        step = _steady(clip, own)
        if not np.any(step):
            raise InputError(f"{own.name} doesn't travel", place="travel")
        back = _moved_root(clip, own, -step, STILL)
        belt = _with(clip, -step / clip.step)
        return replace(clip, channels={**clip.channels, **back}, belt=belt)
    return _off_parts(clip, rig)


def _with(clip: Clip, velocity: Array) -> Belt:
    """Return the belt for a velocity, on top of the clip's own."""
    return Belt(velocity + (clip.belt.velocity if clip.belt is not None else 0.0))


def _steady(clip: Clip, control: Control) -> Array:
    """Return how far a control's channels move on a frame, ``(3,)`` metres."""
    step = np.zeros(3)
    for k, key in enumerate("xyz"):
        axis = control.axes.get(key)
        if axis is None or axis.channel not in clip.channels:
            continue
        curve = clip.channels[axis.channel]
        rate = advance_of(curve)
        if not clip.loop and len(curve.frames) > 1:
            rate = float((curve.values[-1] - curve.values[0]) / (curve.frames[-1] - curve.frames[0]))
            off = curve.values - curve.values[0] - rate * (curve.frames - curve.frames[0])
            if np.abs(off).max() > STEADY * max(1.0, float(np.abs(curve.values).max())):
                raise InputError("it doesn't travel at one speed, and only a loop's travel can be told from the rest",
                                 place=f"channel {axis.channel}")  # fmt: skip
        step[k] = rate * axis.scale
    return step


def _off_fresh_root(clip: Clip, rig: Rig) -> Clip:
    """Take a clip off the root that `travelling` made for it."""
    root = rooted(rig, clip).controls[ROOT]
    yaw = clip.channels.get(f"{ROOT}.yaw")
    channels = dict(clip.channels)
    if yaw is not None:
        turn, shift = (_ends(clip, root, keys) for keys in (("yaw",), ("x", "y", "z")))
        belt = _arc(float(turn[0]), shift, clip)
        again = _fresh_root(clip, rig, belt)
        for name, curve in again.items():
            if name not in channels or len(channels[name].frames) != len(curve.frames) or (
                np.abs(channels[name].values - curve.values).max() > 1e-9 * max(1.0, np.abs(curve.values).max())
            ):  # fmt: skip
                raise InputError("it has been edited since, and no constant belt tells an arc that isn't one",
                                 place=f"channel {name}")  # fmt: skip
            del channels[name]
        return replace(clip, channels=channels, belt=belt)
    step = _steady(clip, root)
    for k, key in enumerate("xyz"):
        name = root.axes[key].channel
        if name not in channels:
            continue
        left = _tilted(clip, channels.pop(name), -float(step[k]) / root.axes[key].scale, 0.0)
        if np.abs(left.values).max() > 1e-9:
            channels[name] = left
    return replace(clip, channels=channels, belt=_with(clip, -step / clip.step))


def _ends(clip: Clip, root: Control, keys: tuple[str, ...]) -> Array:
    """Return how far some axes of the root go from first to last key, metres or radians."""
    found = []
    for key in keys:
        curve = clip.channels.get(root.axes[key].channel)
        found.append(0.0 if curve is None else float(curve.values[-1] - curve.values[0]) * root.axes[key].scale)
    return np.array(found)


def _arc(turn: float, shift: Array, clip: Clip) -> Belt:
    """Return the belt under a root that turns and shifts by so much from end to end."""
    time = (clip.frames if clip.loop else clip.frames - 1) * clip.step
    rate = -turn / time
    angle = rate * time
    # the belt's offset is the root's shift turned back, and linear in its velocity; see `Belt.offset`
    offset = -_turned(shift[:, None], np.array([angle]))[:, 0]
    along = time * float(np.sinc(angle / np.pi))
    across = time * float(np.sinc(angle / (2.0 * np.pi))) * float(np.sin(angle / 2.0))
    vx, vz = np.linalg.solve([[along, across], [-across, along]], offset[[0, 2]])
    return Belt(np.array([vx, offset[1] / time, vz]), rate)


def _off_parts(clip: Clip, rig: Rig) -> Clip:
    """Take the travel off hips and feet that advance themselves."""
    if not clip.loop:
        raise InputError("it's no loop and has no root, so its travel can't be told from its motion", place="travel")
    made = root_of(rig)
    above = {"world", *([ROOT] if made is not None and _is_made(made) else [])}
    parts = [control for control in rig.controls.values() if control.parent in above and control.name != ROOT]
    steps = [_steady(clip, control) for control in parts]
    if not np.any(steps[0]):
        raise InputError("nothing in it travels", place="travel")
    channels = dict(clip.channels)
    for control, step in zip(parts, steps, strict=True):
        if np.abs(step - steps[0]).max() > STEADY:
            raise InputError(f"{control.name} and {parts[0].name} travel apart", place="travel")
        channels |= _moved_root(clip, control, -step, STILL, tuple(above))
    return replace(clip, channels=channels, belt=_with(clip, -steps[0] / clip.step))
