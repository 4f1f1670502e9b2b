"""Twin: the other side gets one side's channels half a cycle later, through the rig's mirror."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from surefoot.clip import Clip, Stance
from surefoot.curves import Curve, Pack
from surefoot.errors import InputError, UnknownName
from surefoot.families import members
from surefoot.given import checked
from surefoot.key_edits import advance_of, affine, as_cycle, rebased, shifted, with_keys, wrapped_in
from surefoot.mirror import Mirror, Reflection, mirror_of, side_of
from surefoot.remixing import blend
from surefoot.rig import FEET, Rig
from surefoot.side_map import other_side

__all__ = ["Twinned", "twin"]


ASKEW = 1e-3
"""Share of a belt's speed that may run sideways."""
ASIDE = 0.25
"""Share of the leg by which the hips' mean may lie beside the plane."""


@dataclass(frozen=True, slots=True, eq=False)
class Twinned:
    """What `twin` gives back.

    Parameters
    ----------
    clip : Clip
    changed : tuple of str
        Channels that were written; the source side is never among them.
    between : tuple of str
        Changed channels with keys half-way between two frames, as a loop of odd length makes them.
    by_name : tuple of str
        Changed channels that no control of the rig names, and that were mirrored by their names.
    alone : tuple of str
        Channels of a side that have no partner; they stay.
    """

    clip: Clip
    changed: tuple[str, ...]
    between: tuple[str, ...]
    by_name: tuple[str, ...]
    alone: tuple[str, ...]


@checked()
def twin(clip: Clip, rig: Rig, *, source: str = "left", of: Iterable[str] = (), centre: bool = False) -> Twinned:
    """Return the cycle with its other side made the mirror of ``source``, half a cycle later; nothing is planted.

    Keys stay keys: a mirrored key keeps its shape, and its slopes and handles go with it. The source side's channels
    come back as the same objects, and so does whatever is its partner's mirror already.

    Parameters
    ----------
    source : {"left", "right"}
    of : iterable of str
        Channels, controls, groups or patterns (see `families.members`), of either side; all pairs if left out.
    centre : bool
        Whether the channels in the middle are made symmetric too: each becomes the mean of itself and its own
        mirror half a cycle away, so that vertical ones repeat after half a cycle and sideways ones change sign.

    Raises
    ------
    InputError
        If the clip is no loop, a channel to be written is locked, one doesn't close, or one travels sideways; if
        the belt turns or runs at an angle to Z, or the hips are far from the plane x = 0 in which sides mirror.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> surefoot.twin(clip, rig, source="left").changed
    ('right_arm.swing',)
    """
    if source not in FEET:
        raise UnknownName("side", source, FEET, place="source")
    if not clip.loop:
        raise InputError("only a loop has half a cycle; the clip says it's none", place="twin")
    _check_way(clip, rig)
    mirror = mirror_of(clip, rig)
    named = _named(clip, rig, mirror, tuple(of))
    middle = [name for name in mirror.reflections if named is not None and name in named]
    if middle and not centre and all(mirror.reflections[name].side == "centre" for name in middle):
        raise InputError(
            f"what lies in the middle has no other side ({', '.join(middle)}); ask for centre too", place="of"
        )
    made: dict[str, Curve] = {}
    for name, reflection in mirror.reflections.items():
        if named is not None and name not in named:
            continue
        if reflection.side == source or (reflection.side == "centre" and not centre):
            continue
        try:
            new = _symmetric(clip, reflection) if reflection.side == "centre" else _mirrored(clip, reflection)
        except InputError as error:
            raise error.at(f"twin {name}") from None
        old = clip.channels.get(name)
        if old is not None and _same(old, new):
            continue
        if name in clip.locked:
            raise InputError("the channel is locked", place=f"twin {name}")
        made[name] = new
    twinned = clip.with_channels(made)
    if any(axis.channel in made for control in rig.feet for axis in control.axes.values()):
        twinned = twinned.with_stances(_stances(clip, source))
    return Twinned(
        twinned,
        tuple(made),
        tuple(name for name, curve in made.items() if np.any(curve.frames != np.round(curve.frames))),
        tuple(name for name in made if name in mirror.by_name),
        tuple(name for name in mirror.alone if side_of(name) != "centre"),
    )


def _check_way(clip: Clip, rig: Rig) -> None:
    """Raise unless the plane x = 0 is the one that parts the walk's two sides."""
    belt = clip.belt
    if belt is not None and (belt.turn != 0.0 or abs(belt.velocity[0]) > ASKEW * belt.speed):
        told = "turns" if belt.turn != 0.0 else "runs at an angle to Z"
        raise InputError(f"the belt {told}, so one side isn't the other half a cycle later", place="twin")
    hips = rig.controls["hips"]
    axis = hips.axes.get("x")
    if axis is None or axis.channel not in clip.channels:
        return
    frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    mean = float(Pack.from_curves([clip.channels[axis.channel]]).evaluate(frames).mean())
    aside = (mean - axis.zero) * axis.scale + float(hips.rest[0])
    if abs(aside) > ASIDE * rig.leg:
        raise InputError(
            f"the hips are {aside:+.2f} m to the side of the plane x = 0, in which sides mirror; bring them there",
            place="twin",
        )


def _named(clip: Clip, rig: Rig, mirror: Mirror, of: tuple[str, ...]) -> set[str] | None:
    """Return the channels asked for, with their partners; None for all."""
    if not of:
        return None
    own = {channel for name in of for channel in members(clip, rig, name, place="of")}
    partners = {r.channel for r in mirror.reflections.values() if r.source in own}
    return own | partners


def _mirrored(clip: Clip, reflection: Reflection) -> Curve:
    """Return a channel's keys for the mirror of its source, half a cycle later."""
    first, span = float(clip.first), float(clip.frames)
    cycle = as_cycle(clip.channels[reflection.source], first, span)
    if cycle is None:
        raise InputError(f"{reflection.source} doesn't close over the loop; close the loop first")
    rate = advance_of(cycle)
    if reflection.sideways and rate != 0.0:
        raise InputError(f"{reflection.source} travels sideways or turns; such a walk is not its own mirror")
    if len(cycle.frames) == 1:
        return affine(cycle, factor=reflection.factor, offset=reflection.offset)
    half = span / 2.0
    offset = reflection.offset + reflection.factor * rate * half
    late = rebased(shifted(cycle, half), first)
    return affine(late, factor=reflection.factor, offset=offset)


def _symmetric(clip: Clip, reflection: Reflection) -> Curve:
    """Return the mean of a channel in the middle and its own mirror half a cycle away."""
    curve = clip.channels[reflection.channel]
    first, span = float(clip.first), float(clip.frames)
    cycle = as_cycle(curve, first, span)
    if cycle is None:
        raise InputError("it doesn't close over the loop; close the loop first")
    mirrored = _mirrored(clip, reflection)
    one, other = rebased(cycle, first), rebased(mirrored, first)
    if not np.array_equal(one.frames, other.frames):
        one, other = wrapped_in(one, first, span), wrapped_in(other, first, span)
        times = np.union1d(one.frames, other.frames)
        ends = np.array([first, first + span])
        one, other = (wrapped_in(with_keys(c, np.union1d(times, ends)), first, span) for c in (one, other))
    if _same(one, other):
        return curve if _same(cycle, curve) else one
    return blend([(one, 0.5), (other, 0.5)], clip)


def _same(one: Curve, other: Curve) -> bool:
    """Tell whether two curves are one, bit for bit."""
    if len(one.frames) != len(other.frames) or (one.before, one.after) != (other.before, other.after):
        return False
    parts = ("frames", "values", "shapes", "slope_in", "slope_out")
    alike = all(np.array_equal(getattr(one, part), getattr(other, part)) for part in parts)
    if one.handles is None or other.handles is None:
        return alike and one.handles is other.handles
    return alike and np.array_equal(one.handles, other.handles)


def _stances(clip: Clip, source: str) -> tuple[Stance, ...] | None:
    """Return the source's stances and, half a cycle later, the other foot's; None where they must be found."""
    if clip.stances is None or clip.frames % 2:
        return None
    half, found = clip.frames // 2, []
    for stance in clip.stances:
        if stance.foot == source:
            lap = clip.frames if stance.first + half > clip.last else 0
            move = half - lap
            other = replace(stance, foot=other_side(source), first=stance.first + move, last=stance.last + move)
            found += [stance, other]
    return tuple(sorted(found, key=lambda stance: FEET.index(stance.foot)))
