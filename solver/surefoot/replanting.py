"""Replant: after an edit, the feet planted again where they stood before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Literal

import numpy as np

from surefoot.belt import Belt
from surefoot.choice import Choice
from surefoot.clip import Clip
from surefoot.errors import InputError, Misfit, UnknownName
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.planting import ALL, Planted, plant, scene_of
from surefoot.rig import FEET, Rig

__all__ = ["blaming_the_edit", "feet_edited", "moves_legs", "replant"]


@contextmanager
def blaming_the_edit() -> Iterator[None]:
    """Say of hips and feet that no leg joins that an edit took them apart; for clips that fitted before it."""
    try:
        yield
    except Misfit as misfit:
        raise InputError(f"after the edit {misfit.fact}; make it smaller") from None


def moves_legs(before: Clip, after: Clip, rig: Rig) -> bool:
    """Return whether an edit may move a hip or a foot: by a channel that poses them, the belt, stances or frames."""
    if before.belt is not after.belt or before.stances != after.stances:
        return True
    if {*before.spaces} != {*after.spaces} or any(
        not np.array_equal(space, after.spaces[name]) for name, space in before.spaces.items()
    ):
        return True
    if (before.first, before.last, before.loop, before.rate) != (after.first, after.last, after.loop, after.rate):
        return True
    names = rig.channels()
    return any(before.channels.get(name) is not after.channels.get(name) for name in names)


def feet_edited(before: Clip, after: Clip, rig: Rig) -> tuple[str, ...]:
    """Return the feet of which a channel isn't the same object in both clips."""
    return tuple(
        foot
        for foot, control in zip(FEET, rig.feet, strict=True)
        if any(
            before.channels.get(axis.channel) is not after.channels.get(axis.channel) for axis in control.axes.values()
        )
    )


@checked()
def replant(
    before: Clip,
    after: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    feet: Iterable[str] = FEET,
    keys: Literal["every", "few"] = "few",
) -> Planted:
    """Return an edited clip planted.

    Where the edit left the feet's own channels alone, stances and footprints are those of the clip before it, so
    that the feet stand where they stood; else they're taken from the edited clip. The belt is the one given, else
    the edited clip's, else what the clip before the edit tells.

    Parameters
    ----------
    before, after : Clip
        The clip before and after the edit.
    feet : iterable of str
        Which feet may be written.
    ground, belt, keys : as for `plant`

    Raises
    ------
    UnknownName
        If a foot isn't left or right.
    InputError
        If the clips, rig and ground don't belong together.
    """
    feet = tuple(feet)
    for foot in feet:
        if foot not in FEET:
            raise UnknownName("foot", foot, FEET, place="feet")
    if belt is None and after.belt is None:
        belt = scene_of(before, rig, ground).belt
    earlier = None if feet_edited(before, after, rig) else before
    own = tuple(foot for foot in FEET if foot in set(feet))
    choice = ALL if own == FEET else Choice(feet=own)
    return plant(after, rig, ground=ground, belt=belt, before=earlier, keys=keys, choice=choice)
