"""Choosing: which feet, frames and kinds of finding may be mended; the rest stays as authored.

Each kind owns a part of the change: ``slide`` the place across the ground and the
heading, ``sink`` what lifts and the toe bend, ``hover`` what lowers, ``stretch`` the
change of rocker and the reach of the swing. All of them together are the plain plant.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, UnknownName, came, whole_number
from surefoot.given import many_of, texts_of
from surefoot.rig import FEET
from surefoot.scene import Scene
from surefoot.settle import Settled

__all__ = ["MENDED", "Choice", "Rejected", "keep_chosen"]

Array = NDArray[np.float64]

MENDED = ("slide", "sink", "hover", "stretch")
"""The kinds that planting mends."""
PLACE = "choice: frames"
EASE = 3
"""Frames over which the change goes out beyond the chosen frames."""


class Rejected(NamedTuple):
    """A finding that stays as authored: its kind, of `MENDED`, its foot, and its frames, both included."""

    kind: str
    foot: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Choice:
    """What may be mended.

    Parameters
    ----------
    feet : tuple of str
    frames : (int, int) or None
        First and last, both included; a last beyond the loop's counts on. None is all.
    kinds : frozenset of str
        Of `MENDED`.
    rejected : tuple of Rejected
        Single findings that stay as they are, though their kind is chosen.

    Raises
    ------
    InputError, UnknownName
        If a foot or a kind isn't known, or frames run backwards.
    """

    feet: tuple[str, ...] = FEET
    frames: tuple[int, int] | None = None
    kinds: frozenset[str] = frozenset(MENDED)
    rejected: tuple[Rejected, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "feet", texts_of(self.feet, "choice: feet"))
        object.__setattr__(self, "kinds", frozenset(texts_of(self.kinds, "choice: kinds")))
        object.__setattr__(self, "rejected", many_of(self.rejected, Rejected, "choice: rejected"))
        for foot in self.feet:
            if foot not in FEET:
                raise UnknownName("foot", foot, FEET, place="choice")
        for one in self.rejected:
            if one.foot not in FEET:
                raise UnknownName("foot", one.foot, FEET, place="choice: rejected")
            if one.last < one.first:
                raise InputError(f"frames {one.first} to {one.last} run backwards", place="choice: rejected")
        for kind in (*self.kinds, *(one.kind for one in self.rejected)):
            if kind not in MENDED:
                raise UnknownName("kind that planting mends", kind, MENDED, place="choice")
        if self.frames is not None:
            object.__setattr__(self, "frames", _span(self.frames))

    @property
    def is_whole(self) -> bool:
        """True when every finding may be mended on whatever feet are chosen."""
        return self.frames is None and self.kinds == frozenset(MENDED) and not self.rejected


def _span(frames: object) -> tuple[int, int]:
    if not isinstance(frames, list | tuple) or len(frames) != 2:
        raise InputError(f"wanted the first and the last frame, such as (9, 14), got {came(frames)}", place=PLACE)
    first, last = (whole_number(frame, place=PLACE) for frame in frames)
    if last < first:
        raise InputError(f"frames {first} to {last} run backwards", place=PLACE)
    return first, last


def keep_chosen(scene: Scene, settled: Settled, choice: Choice) -> Settled:
    """Return the settled feet with only the chosen part of the change; the rest is as authored.

    Unless the choice is whole its frames no longer count as planted: part of a change plants nothing.
    """
    tracks = settled.tracks
    move, turn, bend = settled.ankle - tracks.ankle, settled.angles - tracks.angles, settled.bend - tracks.bend
    slide, sink, hover, stretch = _shares(scene, tracks.index, choice)
    lift = sink * np.maximum(move[1], 0.0) + hover * np.minimum(move[1], 0.0)
    move = np.array([slide * move[0], lift, slide * move[2]])
    # a slope's footprints lean the foot as well, which is theirs to lift or lower
    level = np.maximum(sink, hover) if settled.prints.tilt is not None else stretch
    turn = np.array([level * turn[0], slide * turn[1], np.maximum(sink, hover) * turn[2]])
    whole = choice.is_whole
    return replace(
        settled,
        tracks=tracks if whole else replace(tracks, left_alone=np.ones_like(tracks.left_alone)),
        ankle=tracks.ankle + move,
        angles=tracks.angles + turn,
        bend=tracks.bend + sink * bend,
    )


def _shares(scene: Scene, index: NDArray[np.intp], choice: Choice) -> list[Array]:
    """Return how much of its part of the change each kind of `MENDED` may make, ``(2, n)`` or ``(2, 1)`` each."""
    whole = np.array([[float(foot in choice.feet)] for foot in FEET])
    if choice.frames is not None:
        whole = whole * _share(scene, index, choice.frames)
    found = []
    for kind in MENDED:
        share = whole * float(kind in choice.kinds)
        for one in choice.rejected:
            if one.kind == kind:
                mine = np.array([[float(foot == one.foot)] for foot in FEET])
                share = share * (1.0 - mine * _share(scene, index, (one.first, one.last)))
        found.append(share)
    return found


def _share(scene: Scene, index: NDArray[np.intp], frames: tuple[int, int]) -> Array:
    """Return 1 on the chosen frames, going out over `EASE` frames on both sides, ``(2, n)``."""
    at = index + int(scene.frames[0])
    away = np.maximum(frames[0] - at, at - frames[1])
    if scene.drift is not None:
        for lap in (-scene.count, scene.count):
            away = np.minimum(away, np.maximum(frames[0] - at - lap, at + lap - frames[1]))
    return np.clip(1.0 - np.maximum(away, 0) / EASE, 0.0, 1.0)
