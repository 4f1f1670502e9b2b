"""The mirror: what each channel of the other side is, for a pose reflected left to right.

A reflection in the plane x = 0 of a control's parent turns the sideways family over (shift in x, yaw, roll or cant,
and the turn of the knee about its leg) and leaves the others. The rig's axes tell how that reads in each channel's
own number: unit, sign and zero of both sides, and where both controls rest. A channel that no control of the rig
names is read by its name instead, and is told in `Mirror.by_name`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from surefoot.clip import Clip
from surefoot.families import group_of, last_word
from surefoot.rig import Rig
from surefoot.side_map import SIDE_WORD, mirror_map, other_side
from surefoot.units import ANGLES

__all__ = ["Mirror", "Reflection", "mirror_of", "side_of"]

Side = Literal["left", "right", "centre"]

NAMED_SIDEWAYS = frozenset({"x", "yaw", "roll", "cant"})
"""Last words of channels, unknown to the rig, that a reflection turns over."""
LENGTHS = frozenset("xyz")


@dataclass(frozen=True, slots=True)
class Reflection:
    """One channel of a mirrored pose: ``factor`` times the number of ``source``, plus ``offset``.

    ``size`` is metres or radians in one unit of the channel itself, and ``turns`` says which. A channel in the
    middle has itself for its source.
    """

    channel: str
    source: str
    side: Side
    factor: float
    offset: float
    size: float
    turns: bool

    @property
    def sideways(self) -> bool:
        """True where a shift to the left becomes one to the right (in the rig's sense, whatever the sign)."""
        return self.factor < 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Mirror:
    """The reflections of a clip's channels, by channel; those read by name; those of a side without a partner."""

    reflections: Mapping[str, Reflection]
    by_name: tuple[str, ...]
    alone: tuple[str, ...]


def side_of(name: str) -> Side:
    """Return the side that a name says: ``left``, ``right`` or ``centre``."""
    found = SIDE_WORD.search(name)
    if found is None:
        return "centre"
    return "left" if found.group(0)[0] in "lL" else "right"


def mirror_of(clip: Clip, rig: Rig) -> Mirror:
    """Return how a clip's channels mirror.

    Raises
    ------
    InputError
        If two controls that mirror each other have another rotation order, or parents that don't mirror: then no
        channel of one is a channel of the other.
    """
    images = mirror_map(rig)
    found: dict[str, Reflection] = {}
    alone: list[str] = []
    for control in rig.controls.values():
        partnered = other_side(control.name) in rig.controls
        for key, axis in control.axes.items():
            image = images[axis.channel]
            if not partnered or image.to not in clip.channels:
                alone += [axis.channel] if axis.channel in clip.channels else []
                continue
            back, turns = images[image.to], key not in LENGTHS
            side = "centre" if image.to == axis.channel else side_of(control.name)
            found[axis.channel] = Reflection(
                axis.channel, image.to, side, back.factor, back.offset, abs(axis.scale), turns
            )
    stated = {name: image for name, image in images.items() if name in clip.channels and name not in rig.channels()}
    known = rig.channels()
    by_name = [name for name in clip.channels if name not in known and name not in stated]
    for name in (*stated, *by_name):
        source_name = stated[name].to if name in stated else other_side(name)
        if source_name not in clip.channels:
            alone.append(name)
            continue
        factor, offset = (-1.0 if last_word(name).lower() in NAMED_SIDEWAYS else 1.0), 0.0
        if name in stated:
            factor, offset = images[source_name].factor, images[source_name].offset
        turns = last_word(name).lower() not in LENGTHS
        size = ANGLES["deg"] if turns else _length_unit(rig)
        side = side_of(group_of(name) or name)
        found[name] = Reflection(name, source_name, side, factor, offset, size, turns)
    return Mirror(found, tuple(name for name in by_name if name in found), tuple(dict.fromkeys(alone)))


def _length_unit(rig: Rig) -> float:
    """Return metres in one unit of the rig's own lengths: what an unknown channel's are taken to be in."""
    for name in ("hips", *rig.limbs):
        for key in "yzx":
            axis = rig.controls[name].axes.get(key)
            if axis is not None:
                return abs(axis.scale)
    return 1.0
