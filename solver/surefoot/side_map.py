"""The mirror map of a rig: for every channel the one of the other side, and the number there.

A pose is mirrored at the middle plane of the character: left is right, and what goes sideways goes the other way.
Each channel's image is one number of one channel, ``factor * number + offset``, found from both controls' axes, signs,
units, zeros and rests; channels that no control has (an arm, a spine) can be stated in the rig. A map that isn't
its own inverse is refused: mirrored twice, a clip must be what it was.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.rig import Control, Rig

__all__ = ["OVER", "SIDE_WORD", "SideImage", "mirror_map", "other_side"]

OVER = ("x", "yaw", "roll", "cant", "yaw_heel", "yaw_ball", "yaw_toe", "foot_yaw", "knee")
"""The axes that change their sign in a mirror."""
SIDE_WORD = re.compile(r"left|right|(?<![A-Za-z])[lr](?![A-Za-z])", re.IGNORECASE)
"""What says a side in a name: left or right anywhere, or an l or r that no letter touches."""
CLOSE = 1e-9
_SWAP = {"left": "right", "right": "left", "l": "r", "r": "l"}


class SideImage(NamedTuple):
    """The mirror image of a channel: ``to`` gets ``factor * number + offset``, in the file's units."""

    to: str
    factor: float
    offset: float

    @property
    def inverse_of(self) -> tuple[float, float]:
        """Factor and offset of the way back."""
        return 1.0 / self.factor, -self.offset / self.factor


@checked()
def mirror_map(rig: Rig) -> dict[str, SideImage]:
    """Return the mirror image of every channel that the rig's controls name or its ``mirror`` states.

    Raises
    ------
    InputError
        If two sides aren't each other's image (another axis, rotation order or parent), or the map isn't its own
        inverse.
    """
    found: dict[str, SideImage] = {}
    for control in rig.controls.values():
        found |= _images(control, _other(rig, control))
    for name, (to, factor, offset) in rig.mirror.items():
        place = f"mirror of {name}"
        if factor == 0.0:
            raise InputError("wanted a factor that is not zero", place=place)
        found[name] = SideImage(to, factor, offset)
        if to not in rig.mirror:
            found[to] = SideImage(name, *found[name].inverse_of)
    _check(found)
    return found


def other_side(name: str) -> str:
    """Return a name with left and right (or a lone l and r) exchanged; the same name if it has neither."""

    def swapped(match: re.Match[str]) -> str:
        word = match.group(0)
        other = _SWAP[word.lower()]
        return other.upper() if word.isupper() else other.title() if word[0].isupper() else other

    return SIDE_WORD.sub(swapped, name)


def _other(rig: Rig, control: Control) -> Control:
    place = f"mirror of control {control.name}"
    other = rig.controls.get(other_side(control.name), control)
    if set(other.axes) != set(control.axes):
        only = sorted(set(other.axes) ^ set(control.axes))[0]
        raise InputError(f"one side has the axis {only!r} and the other hasn't", place=place)
    if other.order != control.order or other.rockers != control.rockers:
        raise InputError(f"its other side turns in the order {other.order}, not {control.order}", place=place)
    if other.parent not in (control.parent, other_side(control.parent)):
        raise InputError(f"its other side hangs on {other.parent}, not {other_side(control.parent)}", place=place)
    return other


def _images(control: Control, other: Control) -> dict[str, SideImage]:
    """Return the images of one control's channels: what is measured, mirrored, less the other side's rest."""
    made = {}
    for key, axis in control.axes.items():
        theirs = other.axes[key]
        sign = -1.0 if key in OVER else 1.0
        shift = 0.0
        if key in ("x", "y", "z"):
            i = "xyz".index(key)
            shift = sign * float(control.rest[i]) - float(other.rest[i])
        factor = sign * axis.scale / theirs.scale
        made[axis.channel] = SideImage(theirs.channel, factor, theirs.zero + shift / theirs.scale - factor * axis.zero)
    return made


def _check(found: dict[str, SideImage]) -> None:
    for name, image in found.items():
        back = found.get(image.to)
        place = f"mirror of {name}"
        if back is None or back.to != name:
            told = "nothing" if back is None else repr(back.to)
            raise InputError(
                f"it goes to {image.to!r}, whose own image is {told}: the map isn't its own inverse", place=place
            )
        factor, offset = image.inverse_of
        close = abs(back.factor / factor - 1.0) < CLOSE and abs(back.offset - offset) < CLOSE * (1.0 + abs(offset))
        if not close:
            raise InputError(
                f"mirrored twice, {1:g} becomes {back.factor * (image.factor + image.offset) + back.offset:g}: "
                "the map isn't its own inverse",
                place=place,
            )
