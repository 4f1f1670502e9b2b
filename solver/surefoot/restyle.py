"""Converting between styles: the same feet posed about the ankle, by rockers or by joints.

The hips and every other channel stay the same objects. The feet's world pose is read at every frame and at four
places between, and written in the other style's channels with a key on every frame, so that on the frames
nothing but rounding is lost and between them what a cubic can't follow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Shape
from surefoot.errors import InputError
from surefoot.feet_in_world import PARTS, Fine, segments_of
from surefoot.given import checked
from surefoot.rig import FEET, Rig
from surefoot.rig_styles import rig_in_style
from surefoot.rotations import matrix
from surefoot.spaces import Binding

__all__ = ["Converted", "convert"]

Array = NDArray[np.float64]

UNTURNED = 1e-12
"""Metres and radians: an optional channel that would have less isn't made."""

SOLE = ("heel", "ball", "toe")
ALIKE = 1e-3
"""Share of the leg by which lengths of two rigs may differ that are called the same."""


@dataclass(frozen=True, slots=True, eq=False)
class Converted:
    """A clip in another style, the rig that reads it, and how far its feet are off, metres.

    ``on_frames`` is rounding where the style can pose what the clip has; it isn't where a leg by joints
    would have to be longer than it is. ``between`` is what a key on every frame leaves between two.
    """

    clip: Clip
    rig: Rig
    on_frames: float
    between: float


@checked()
def convert(clip: Clip, rig: Rig, *, style: str = "", single: bool = False, to: Rig | None = None) -> Converted:
    """Return a clip's feet in another style of control, a key on every frame.

    Parameters
    ----------
    style, single : as for `rig_in_style`
    to : Rig, optional
        The rig to be written for, of the same lengths; else `rig_in_style` makes one.

    Returns
    -------
    Converted

    Raises
    ------
    InputError
        If the clip doesn't fit the rig, the style isn't known, or ``to`` has other lengths, or reads the hips by other
        channels, units or zeros.
    """
    if not style and to is None:
        wanted = f"wanted a style ({', '.join(Rig.STYLES)}), or with to the rig to write for"
        raise InputError(f"{wanted}, got neither", place="convert")
    target = rig_in_style(rig, style, single=single) if to is None else to
    if to is not None:
        _check_alike(rig, to)
    binding = Binding(rig, clip)
    theirs = {axis.channel for foot in rig.feet for axis in foot.axes.values()}
    ours = {axis.channel: axis for foot in target.feet for axis in foot.axes.values()}
    stay = {name: curve for name, curve in clip.channels.items() if name not in theirs and name not in ours}
    still = {name: Curve.constant(axis.zero, frame=float(clip.first)) for name, axis in ours.items()}
    blank = Binding(target, replace(clip, channels={**stay, **still}))
    if clip.frames == 1 and not clip.loop:
        return _one_pose(clip, binding, blank, stay)
    fine = Fine(binding)
    rows = _rows(blank, fine)
    segments = segments_of(rows)
    channels = {**stay, **_curves(clip, blank, segments, stepped=_stepped(clip, theirs))}
    made = replace(clip, channels=channels, rig=target.name)
    return Converted(made, target, *_off(fine, Fine(Binding(target, made)), target))


def _check_alike(rig: Rig, to: Rig) -> None:
    """Raise unless both rigs have the same legs and read what isn't the feet's alike."""
    for side, one, two in zip(FEET, rig.legs, to.legs, strict=True):
        for part in ("hip", "thigh", "shank", "hock", *SOLE):
            mine, theirs = (getattr(leg.foot if part in SOLE else leg, part) for leg in (one, two))
            if not np.allclose(mine, theirs, rtol=0.0, atol=ALIKE * rig.leg):
                raise InputError(
                    f"the {side} {part} of {to.name} is {_metres(theirs)}, but that of {rig.name} {_metres(mine)}; "
                    "wanted a rig of the same lengths",
                    place="to",
                )
    feet = {foot.name for foot in rig.feet}
    for name, control in rig.controls.items():
        if name in feet or name not in to.controls:
            continue
        others = to.controls[name].axes
        for key, axis in control.axes.items():
            other = others.get(key)
            if other is not None and (other.channel, other.scale, other.zero) != (axis.channel, axis.scale, axis.zero):
                raise InputError(
                    f"{to.name} reads {key} of the {name} by another channel, unit or zero than {rig.name}; "
                    "they stay as they are, so wanted a rig that reads them alike",
                    place="to",
                )


def _metres(size: Array | float) -> str:
    return ", ".join(f"{part:.3g}" for part in np.atleast_1d(size)) + " m"


def _rows(blank: Binding, fine: Fine) -> Array:
    """Return the target's rows at every sample, ``(rows, 2, samples)``."""
    values = blank.values(fine.frames)
    pose = fine.pose
    keys = blank.foot_keys
    for key, part in (("pitch", pose.angles[0]), ("yaw", pose.angles[1]), ("roll", pose.angles[2])):
        # a first guess, so that angles come out without jumps
        if key in keys and (blank.style is None or key == "yaw"):
            for side, row in enumerate(blank.foot_rows[keys.index(key)].tolist()):
                if row >= 0:
                    values[row] = part[side]
    if blank.style is not None:
        return blank.write_styled(fine.feet, values, fine.frames, pose)
    made = blank.write(pose.ankle, pose.angles, pose.bend, values, fine.frames)
    made[3:6] = np.unwrap(made[3:6], axis=-1)
    return np.concatenate([made, pose.knee[None]])


def _curves(clip: Clip, blank: Binding, segments: Array, *, stepped: bool) -> dict[str, Curve]:
    """Return the target's foot channels, a key on every frame, in the file's units."""
    frames = clip.first + np.arange(segments.shape[-1] + 1, dtype=np.float64)
    keys = (*blank.foot_keys, "knee") if blank.style is None else blank.foot_keys
    made = {}
    for side, control in enumerate(blank.rig.feet):
        for key, axis in control.axes.items():
            left, out, right, into = segments[:, keys.index(key), side]
            values = np.append(left, right[-1:])
            if axis.optional and np.abs(values).max() < UNTURNED:
                continue
            advance = clip.loop and abs(values[-1] - values[0]) > 1e-9
            rule = Outside.ADVANCE if advance else Outside.REPEAT if clip.loop else Outside.HOLD
            ends = (into[-1], out[0]) if clip.loop else (out[0], into[-1])
            slope_in, slope_out = np.append(ends[0], into), np.append(out, ends[1])
            curve = Curve.trusted(
                frames, values / axis.scale + axis.zero, slope_in / axis.scale, slope_out / axis.scale,
                before=rule, after=rule,
            )  # fmt: skip
            if stepped:
                curve = replace(curve, shapes=np.full(len(frames), Shape.STEP, dtype=np.int8))
            made[axis.channel] = curve
    return made


def _stepped(clip: Clip, names: set[str]) -> bool:
    """Return whether every channel of the feet is stepped."""
    mine = [clip.channels[name] for name in names if name in clip.channels]
    return bool(mine) and all(bool((curve.shapes == Shape.STEP).all()) for curve in mine)


def _off(one: Fine, two: Fine, rig: Rig) -> tuple[float, float]:
    """Return how far apart two clips' ankles are, or their feet by a lever of their length: on frames, and between."""
    size = max(leg.foot.length for leg in rig.legs)
    apart = np.abs(one.pose.ankle - two.pose.ankle).max(axis=0)
    turned = np.abs(matrix(*one.pose.angles) - matrix(*two.pose.angles)).max(axis=(0, 1))
    off = np.maximum(apart, turned * size).max(axis=0)
    return float(off[::PARTS].max()), float(off.max())


def _one_pose(clip: Clip, binding: Binding, blank: Binding, stay: dict[str, Curve]) -> Converted:
    """Convert a clip of one frame."""
    fine = Fine(binding)
    rows = _rows(blank, fine)[..., 0]
    keys = (*blank.foot_keys, "knee") if blank.style is None else blank.foot_keys
    channels = dict(stay)
    for side, control in enumerate(blank.rig.feet):
        for key, axis in control.axes.items():
            value = float(rows[keys.index(key), side])
            if not axis.optional or abs(value) >= UNTURNED:
                channels[axis.channel] = Curve.constant(value / axis.scale + axis.zero, frame=float(clip.first))
    made = replace(clip, channels=channels, rig=blank.rig.name)
    return Converted(made, blank.rig, *_off(fine, Fine(Binding(blank.rig, made)), blank.rig))
