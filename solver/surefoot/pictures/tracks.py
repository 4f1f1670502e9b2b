"""The tracks that a walk leaves: footprints in order, with stride, step width and slide measured on them.

All in ground space, metres. Distances are taken between the places under the flat foot's ankles: a stride from
one footprint to the same foot's next, a step's width from the other foot's footprint square to that stride's line.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.lean import along_slope, lean_of
from surefoot.pictures.subject import Subject
from surefoot.rig import FEET
from surefoot.slide import drift_of

__all__ = ["Stride", "Track", "strides_of", "tracks_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One footprint.

    Parameters
    ----------
    stance : Stance
        Its frames count on with each round of a loop.
    foot : int
        0 left, 1 right.
    place : ndarray, shape (3,)
        On the ground under the flat foot's ankle.
    hind, toes : ndarray, shape (corners, 3)
        The flat sole's rings.
    ball : ndarray, shape (3,)
    drift : ndarray, shape (samples, 2)
        How far the touching point has drifted over the ground since the stance began, x and z.
    slide : float
        The largest distance between two places of the drift.
    level : str
        How grave the slide is: note, warning or error; empty without one.
    """

    stance: Stance
    foot: int
    place: Array
    hind: Array
    toes: Array
    ball: Array
    drift: Array
    slide: float
    level: str


@dataclass(frozen=True, slots=True)
class Stride:
    """From one footprint to the same foot's next; ``width`` is None where no other lies between."""

    first: Track
    last: Track
    between: Track | None
    length: float
    width: float | None


def tracks_of(subject: Subject, *, rounds: int = 1) -> tuple[Track, ...]:
    """Return the footprints of a clip in order of time; a loop's over so many rounds."""
    scene, clip = subject.scene, subject.clip
    slides = {(f.foot, f.first): (f.amount, f.level) for f in subject.report.findings if f.kind == "slide"}
    found = []
    for own in subject.footings:
        stance = own.stance
        (x, z), _ = drift_of(subject.seen.touch, stance)
        path = along_slope(x, z, lean_of(scene.ground))[::2]
        slide, level = slides.get((stance.foot, stance.first), (0.0, ""))
        for lap in range(rounds if clip.loop else 1):
            parts = [own.place[:, None], own.hind.T, own.toes.T, own.anchors[1:2].T]
            if lap and scene.drift is not None:
                parts = [scene.drift.apply(part, times=lap) for part in parts]
            place, back, front, ball = (part.T for part in parts)
            on = lap * clip.frames
            later = Stance(stance.foot, stance.first + on, stance.last + on, stance.left_alone)
            found.append(Track(later, own.foot, place[0], back, front, ball[0], path.T, slide, level))
    return tuple(sorted(found, key=lambda track: (track.stance.first, track.foot)))


def strides_of(tracks: tuple[Track, ...]) -> tuple[Stride, ...]:
    """Return the strides between footprints, in order of time."""
    found = []
    for foot in range(len(FEET)):
        mine = [track for track in tracks if track.foot == foot]
        for one, two in pairwise(mine):
            x, _, z = two.place - one.place
            length = float(np.hypot(x, z))
            other = [t for t in tracks if t.foot != foot and one.stance.first <= t.stance.first < two.stance.first]
            other = [track for track in other if track.stance.first > one.stance.first] or other
            width = None
            if other and length > 1e-6:
                dx, _, dz = other[0].place - one.place
                width = float(abs(x * dz - z * dx) / length)
            found.append(Stride(one, two, other[0] if other else None, length, width))
    return tuple(sorted(found, key=lambda stride: (stride.first.stance.first, stride.first.foot)))
