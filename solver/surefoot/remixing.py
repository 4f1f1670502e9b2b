"""Remix: scale, add to and shift the channels of a clip, and mix several clips by weight.

Edits act on the keys, exactly; what isn't named stays the very same object.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip, Stance
from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.errors import InputError, came, finite_number
from surefoot.families import members
from surefoot.given import checked, many_of
from surefoot.key_edits import advance_of, affine, as_cycle, rebased, shifted, spelt_out
from surefoot.rig import FEET, Axis, Rig
from surefoot.seam import shift_channels
from surefoot.units import ANGLES, LENGTHS

__all__ = ["About", "Edit", "blend", "mix", "remix"]

Array = NDArray[np.float64]
About = Literal["mean", "rest"]


@dataclass(frozen=True, slots=True)
class Edit:
    """One thing done to a channel or a family.

    Parameters
    ----------
    do : {"scale", "add", "shift"}
    channels : str
        A channel, a control, a group or a pattern; see `families.members`.
    by : float
        A factor; an amount in the channel's own unit (or in ``unit``); frames, later when positive.
    about : {"mean", "rest"} or int
        What a scale leaves in place: the mean over the clip's frames, the value at rest (the rig's zero of the
        channel, else 0), or the value at that frame. Each channel of a family has its own.
    unit : str
        For ``add``: a unit of length or angle, turned into the channel's own by the rig's axis.

    Raises
    ------
    InputError
        If ``do`` or ``about`` is none of those, or ``by`` is no finite number.
    """

    do: Literal["scale", "add", "shift"]
    channels: str
    by: float
    about: About | int = "mean"
    unit: str = ""

    def __post_init__(self) -> None:
        if self.do not in ("scale", "add", "shift"):
            raise InputError(f"wanted scale, add or shift, got {self.do!r}", place="edit")
        finite_number(self.by, place=f"{self.do} {self.channels}")
        if not isinstance(self.about, str):
            finite_number(self.about, place=f"{self.do} {self.channels}: about")
        elif self.about not in ("mean", "rest"):
            raise InputError(f"wanted mean, rest or a frame, got {self.about!r}", place=f"scale {self.channels}")


@checked()
def remix(clip: Clip, rig: Rig, edits: Iterable[Edit]) -> Clip:
    """Return the clip with its edits made one after the other; nothing is planted.

    In a loop a shift wraps: keys that leave the round on one side come back on the other. A channel that advances
    keeps its advance, as travel is never scaled. Where a stance's foot is shifted whole, its stated stances go along.

    Raises
    ------
    UnknownName
        If an edit names no channel.
    InputError
        If a channel is locked, or a shift is asked of a loop's channel that doesn't close.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> calmer = surefoot.remix(clip, rig, [surefoot.Edit("scale", "hips.y", 0.5), surefoot.Edit("shift", "chest", 1)])
    >>> [round(float(max(one.channels["hips.y"].at(range(1, 25)))), 3) for one in (clip, calmer)]
    [93.2, 91.875]
    """
    axes = rig.channels()
    places = shift_channels(rig)
    for edit in many_of(edits, Edit, "edits"):
        changed: dict[str, Curve] = {}
        for name in members(clip, rig, edit.channels, place=edit.do):
            if name in clip.locked:
                raise InputError(f"{name} is locked", place=f"{edit.do} {edit.channels}")
            try:
                if edit.do == "add" and name in axes:
                    _check_unit(edit.unit, LENGTHS if name in places else ANGLES)
                changed[name] = _edited(clip, name, edit, axes.get(name))
            except InputError as error:
                raise error.at(f"{edit.do} {edit.channels}: {name}") from None
        clip = clip.with_channels(changed)
        if edit.do == "shift" and clip.stances is not None:
            clip = clip.with_stances(_moved_stances(clip, rig, set(changed), edit.by))
    return clip


def _moved_stances(clip: Clip, rig: Rig, moved: set[str], by: float) -> tuple[Stance, ...] | None:
    """Return the stated stances after a shift, or None where they can't be told any more and must be found."""
    found: list[Stance] = []
    for foot, control in zip(FEET, rig.feet, strict=True):
        mine = [stance for stance in clip.stances or () if stance.foot == foot]
        own = {axis.channel for axis in control.axes.values()} & set(clip.channels)
        if own & moved:
            if not (own <= moved and float(by).is_integer()):
                return None
            mine = [replace(stance, first=stance.first + int(by), last=stance.last + int(by)) for stance in mine]
            if clip.loop:
                laps = [(stance.first - clip.first) // clip.frames * clip.frames for stance in mine]
                mine = [replace(s, first=s.first - lap, last=s.last - lap) for s, lap in zip(mine, laps, strict=True)]
            elif any(stance.first < clip.first or stance.last > clip.last for stance in mine):
                return None
        found += mine
    return tuple(found)


def _edited(clip: Clip, name: str, edit: Edit, axis: Axis | None) -> Curve:
    curve = clip.channels[name]
    if edit.do == "shift":
        return _moved(curve, edit.by, clip)
    if edit.do == "add":
        return affine(curve, offset=edit.by * _unit(edit, axis))
    return _scaled(curve, edit, clip, axis)


def _check_unit(unit: str, wanted: Mapping[str, float]) -> None:
    """Refuse an angle for a place, and a length for a turn."""
    if unit in LENGTHS | ANGLES and unit not in wanted:
        raise InputError(f"wanted an amount in {', '.join(wanted)}, got one in {unit}")


def _unit(edit: Edit, axis: Axis | None) -> float:
    """Return how many of the channel's own unit one of the edit's is."""
    if not edit.unit:
        return 1.0
    scale = (LENGTHS | ANGLES).get(edit.unit)
    if scale is None or axis is None:
        told = f"no unit is called {edit.unit!r}" if scale is None else "the rig doesn't know its unit; give it without"
        raise InputError(told)
    return scale / axis.scale


def _scaled(curve: Curve, edit: Edit, clip: Clip, axis: Axis | None) -> Curve:
    rate, at = advance_of(curve), float(clip.first)
    if edit.about == "rest":
        pivot = 0.0 if axis is None else axis.zero
    else:
        first, last = (clip.first, clip.last) if isinstance(edit.about, str) else (float(edit.about),) * 2
        pivot = _mean(curve, first, last, rate=rate, at=at)
    keeps = 1.0 - edit.by
    return affine(curve, factor=edit.by, offset=keeps * pivot, rate=keeps * rate, at=at)


@lru_cache(maxsize=256)  # while a slider is dragged it is asked of the same curve again and again
def _mean(curve: Curve, first: float, last: float, *, rate: float, at: float) -> float:
    """Return a curve's mean over whole frames, less what it advances since frame ``at``."""
    frames = np.arange(first, last + 1, dtype=np.float64)
    return float(np.mean(Pack.from_curves([curve]).evaluate(frames)[0] - rate * (frames - at)))


def _moved(curve: Curve, by: float, clip: Clip) -> Curve:
    if not clip.loop or len(curve.frames) == 1:
        return curve if clip.loop else shifted(curve, by)
    cycle = as_cycle(curve, float(clip.first), float(clip.frames))
    if cycle is None:
        raise InputError("it doesn't close over the loop, so it can't be shifted round; close the loop first")
    return rebased(shifted(cycle, by), float(clip.first))


def mix(clips: Iterable[tuple[Clip, float]]) -> Clip:
    """Return the mean of several clips by weight, channel by channel; the weights are taken as shares of their sum.

    A channel that only some clips have is mixed from those. Keys that all clips have alike stay keys of their
    shape; else there's a key wherever one of them has one, with its slopes stated. Bezier keys that don't stand
    alike are mixed on every frame. What isn't a channel (rate, belt, stances) is the first clip's, but for the
    belt, which is mixed too, and the stances, which are dropped where they differ.

    Parameters
    ----------
    clips : iterable of (Clip, float)
        Each with its weight, above zero.

    Raises
    ------
    InputError
        If a weight isn't above zero, or the clips differ in rate, range or loop.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> calm = surefoot.remix(clip, rig, [surefoot.Edit("scale", "hips.y", 0.5)])
    >>> half = surefoot.mix([(clip, 1.0), (calm, 1.0)])
    >>> [round(float(max(one.channels["hips.y"].at(range(1, 25)))), 3) for one in (clip, calm, half)]
    [93.2, 91.875, 92.537]
    """
    clips = _weighted(clips)
    lead = clips[0][0]
    for clip, weight in clips:
        if not weight > 0.0:
            raise InputError(f"a weight must be above 0, got {weight!r}", place=f"mix {clip.name}".rstrip())
        if (clip.rate, clip.first, clip.last, clip.loop) != (lead.rate, lead.first, lead.last, lead.loop):
            raise InputError(
                f"frames {clip.first} to {clip.last} at {float(clip.rate):g} a second don't go with "
                f"{lead.first} to {lead.last} at {float(lead.rate):g}; give clips of one range, rate and loop",
                place=f"mix {clip.name}".rstrip(),
            )
    names = dict.fromkeys(name for clip, _ in clips for name in clip.channels)
    made = {}
    for name in names:
        parts = [(clip.channels[name], weight) for clip, weight in clips if name in clip.channels]
        total = sum(weight for _, weight in parts)
        try:
            made[name] = blend([(curve, weight / total) for curve, weight in parts], lead)
        except InputError as error:
            raise error.at(f"mix {name}") from None
    belts = [clip.belt for clip, _ in clips]
    belt, total = lead.belt, sum(weight for _, weight in clips)
    if all(one is not None for one in belts) and belt is not None:
        share = [(one, weight / total) for (_, weight), one in zip(clips, belts, strict=True) if one is not None]
        velocity = np.sum([weight * one.velocity for one, weight in share], axis=0)
        belt = replace(belt, velocity=velocity, turn=sum(weight * one.turn for one, weight in share))
    same = all(clip.stances == lead.stances for clip, _ in clips)
    return replace(lead, channels=made, belt=belt, stances=lead.stances if same else None)


def _weighted(clips: object) -> list[tuple[Clip, float]]:
    """Return clips with their weights, checked."""
    wanted = "such as [(clip, 0.7), (other, 0.3)]"
    if isinstance(clips, str | Mapping) or not isinstance(clips, Iterable):
        raise InputError(f"wanted clips with their weights, {wanted}, got {came(clips)}", place="mix")
    found: list[tuple[Clip, float]] = []
    for k, pair in enumerate(clips, start=1):
        if not isinstance(pair, list | tuple) or len(pair) != 2 or not isinstance(pair[0], Clip):
            raise InputError(f"wanted clips with their weights, {wanted}, got {came(pair)} as number {k}", place="mix")
        found.append((pair[0], finite_number(pair[1], place=f"mix: weight {k}")))
    if not found:
        raise InputError("wanted at least one clip", place="mix")
    return found


def blend(parts: list[tuple[Curve, float]], clip: Clip) -> Curve:
    """Return the sum of curves times their shares; see `mix`. Keys that all have alike stay keys of their shape."""
    curves = [curve for curve, _ in parts]
    one = curves[0]
    if len(curves) == 1 or all(curve is one for curve in curves):
        return one
    if all(_alike(one, other) for other in curves[1:]):
        values, slope_in, slope_out = (
            np.sum([weight * getattr(curve, part) for curve, weight in parts], axis=0)
            for part in ("values", "slope_in", "slope_out")
        )
        handles = None
        if one.handles is not None:
            handles = np.sum([weight * curve.handles for curve, weight in parts if curve.handles is not None], axis=0)
            handles[:, [0, 2]] = one.handles[:, [0, 2]]
        return Curve(one.frames, values, one.shapes, slope_in, slope_out, handles, one.before, one.after)
    return _mixed_anew(parts, clip)


def _alike(one: Curve, other: Curve) -> bool:
    """Tell whether two curves' keys stand on the same frames, in the same shapes, and with handles as long in time."""
    same = np.array_equal(one.frames, other.frames) and np.array_equal(one.shapes, other.shapes)
    if not same or (one.before, one.after) != (other.before, other.after):
        return False
    if one.handles is None or other.handles is None:
        return one.handles is other.handles
    return bool(np.array_equal(one.handles[:, [0, 2]], other.handles[:, [0, 2]]))


def _mixed_anew(parts: list[tuple[Curve, float]], clip: Clip) -> Curve:
    """Return the mix with a key wherever one of the curves has one."""
    first, end = float(clip.first), float(clip.last + 1 if clip.loop else clip.last)
    curves = [curve for curve, _ in parts]
    weights = np.array([weight for _, weight in parts])
    own = [first + np.mod(c.frames - first, end - first) if clip.loop else c.frames for c in curves]
    times = np.unique(np.concatenate([*own, [first, end]]))
    if any(Shape.BEZIER in curve.shapes for curve in curves):
        times = np.union1d(times, np.arange(first, end + 1.0))
    times = times[(times >= first) & (times <= end)] if clip.loop else times
    stepped = [bool((curve.shapes[:-1] == Shape.STEP).all()) for curve in curves]
    if any(Shape.STEP in curve.shapes[:-1] for curve in curves) and not all(stepped):
        raise InputError("its keys are stepped in one clip and not in another; no keys tell the mean of those")
    pack = Pack.from_curves(curves)
    values = weights @ pack.evaluate(times)
    sides = np.array([pack.slopes(times, side="left"), pack.slopes(times, side="right")])
    for row, curve in enumerate(curves):  # at its own keys a curve's slopes are what its keys say
        told = spelt_out(curve) if Shape.BEZIER not in curve.shapes else None
        if told is not None:
            own_keys, at = np.isin(times, told.frames), np.searchsorted(told.frames, times)
            sides[0, row, own_keys] = told.slope_in[at[own_keys]]
            sides[1, row, own_keys] = told.slope_out[at[own_keys]]
    sides = np.where(np.isfinite(sides), sides, 0.0)
    slope_in, slope_out = np.einsum("k,skt->st", weights, sides)
    rise = sum(weight * advance_of(curve) * (end - first) for curve, weight in parts)
    rule = Outside.HOLD
    if clip.loop:
        rule = Outside.ADVANCE if rise != 0.0 else Outside.REPEAT
        if abs(values[-1] - values[0] - rise) < 1e-9 * max(1.0, float(np.abs(values).max())):
            values[-1] = values[0] + rise
            slope_in[0], slope_out[-1] = slope_in[-1], slope_out[0]
    shapes = np.full(len(times), Shape.GIVEN, dtype=np.int8)
    if all(stepped):
        shapes[:] = Shape.STEP
    return Curve(times, values, shapes, slope_in, slope_out, None, rule, rule)
