"""Underfoot: ground that stands up inside a sole, and how much of a sole has ground beneath it.

A sole is two flat pieces, hindfoot and toes. Ground that cuts into one between its corners (a nosing under
the arch, the edge of a kerb under the toes) is found along *lines* of the sole: its edges, which is exact
on a profile, and ground without corners of its own is looked at along lines from heel to toe.
Support is counted over a lattice of the sole.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.ground import Ground
from surefoot.rig import Foot, Rig
from surefoot.rotations import matrix
from surefoot.sole import Points, Soles
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["BENEATH", "Support", "poke_depth", "rise_inside", "support_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

LENGTHWISE = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Where between its inner and outer edge a sole is looked at on ground that its edges don't tell all of."""
BENEATH = 0.012
"""Metres at a leg of 0.9 m: ground that is so near beneath a place of the sole supports it.

Counted from where the sole touches, so that a sole that hovers or sinks hangs over nothing for that."""
ROWS, COLUMNS = 136, 7
HALF = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """The lines of both feet's soles: first points then second points, of the hindfoot and then of the toes."""

    points: Points
    start: Indices  # (lines,) which of the points a line begins at
    end: Indices
    hind: int

    @classmethod
    def of(cls, rig: Rig, edges_suffice: bool) -> Self:
        feet = [leg.foot for leg in rig.legs]
        hind = _padded([_edges(foot.hind_corners, foot, edges_suffice, hind=True) for foot in feet])
        toes = _padded([_edges(foot.toe_corners, foot, edges_suffice, hind=False) for foot in feet])
        every = Points.of([np.concatenate(two) for two in hind], [np.concatenate(two) for two in toes], feet)
        back, front = every.table[:, : every.hind], every.table[:, every.hind :]
        (back, back_at), (front, front_at) = (np.unique(each, axis=1, return_inverse=True) for each in (back, front))
        start, end = np.concatenate([back_at.reshape(2, -1), front_at.reshape(2, -1) + back.shape[1]], axis=1)
        return cls(Points(np.concatenate([back, front], axis=1), back.shape[1]), start, end, len(hind[0][0]))

    def ends(self, soles: Soles, ankle: Array, angles: Array, bend: Array) -> tuple[Array, Array]:
        """Return both ends of every line, ``(3, lines, feet, ...)`` metres."""
        every = soles.placed(self.points, angles, bend) + ankle[:, None]
        return every.take(self.start, axis=1), every.take(self.end, axis=1)


@lru_cache(maxsize=32)
def _lines(rig: Rig, edges_suffice: bool) -> _Lines:
    return _Lines.of(rig, edges_suffice)


def _edges(corners: Array, foot: Foot, edges_suffice: bool, *, hind: bool) -> tuple[Array, Array]:
    """Return both ends of the lines of one flat piece, ``(lines, 3)`` each, foot space."""
    if edges_suffice:
        middle = corners.mean(axis=0)
        ring = corners[np.argsort(np.arctan2(corners[:, 2] - middle[2], corners[:, 0] - middle[0]))]
        return ring, np.roll(ring, -1, axis=0)
    z = (float(foot.outline[:, 1].min()), float(foot.ball[2]), float(foot.outline[:, 1].max()))
    back, front = z[:2] if hind else z[1:]
    extra = [
        np.array([[low + share * (high - low), foot.sole, at] for share in LENGTHWISE])
        for at in (back, front)
        for low, high in (foot.edge(at),)
    ]
    return extra[0], extra[1]


def _padded(pieces: list[tuple[Array, Array]]) -> list[tuple[Array, Array]]:
    most = max(len(first) for first, _ in pieces)

    def longer(points: Array) -> Array:
        return np.concatenate([points, np.repeat(points[-1:], most - len(points), axis=0)])

    return [(longer(first), longer(second)) for first, second in pieces]


def rise_inside(ground: Ground, rig: Rig, soles: Soles, ankle: Array, angles: Array, bend: Array) -> Array:
    """Return the height, metres, by which ground stands above the inside of each sole, ``(feet, ...)``; 0 for none.

    ``ankle`` and ``angles`` are ``(3, feet, ...)``, ground space. The sole's corners are not asked.
    """
    if ground.is_even:
        return np.zeros(ankle.shape[1:])
    start, end = _lines(rig, ground.edges_suffice).ends(soles, ankle, angles, bend)
    return np.asarray(ground.poke(start, end).max(axis=0))


def poke_depth(ground: Ground, rig: Rig, soles: Soles, ankle: Array, angles: Array, bend: Array) -> Array:
    """Return how deep ground stands inside each sole, ``(feet, ...)`` metres along the normal of the sole's piece.

    On a profile each corner counts no deeper than it lies within the sole's ends, since that takes the sole out too.
    """
    if ground.is_even:
        return np.zeros(ankle.shape[1:])
    lines = _lines(rig, ground.edges_suffice)
    start, end = lines.ends(soles, ankle, angles, bend)
    turn = matrix(*angles)
    hind, toes = turn[1, 1], turn[1, 1] * np.cos(bend) - turn[1, 2] * np.sin(bend)
    share = np.repeat(np.maximum([hind, toes], 0.0), (lines.hind, start.shape[1] - lines.hind), axis=0)
    return np.asarray(ground.poke_within(start, end, share).max(axis=0))


@dataclass(frozen=True, slots=True, eq=False)
class Support:
    """How much of each sole has ground beneath it, each ``(feet, ...)``; NaN where the foot isn't flat on anything.

    ``share`` is that of the sole's area (of the toes' alone where the heel is up); ``overhang`` the part of the
    foot's length, or of its width where that is more, past which less than half has ground beneath it;
    ``slope`` the angle between the ground's normal under the sole and straight up, radians.
    """

    share: Array
    overhang: Array
    slope: Array


@lru_cache(maxsize=32)
def _lattice(rig: Rig) -> tuple[Points, Array, int]:
    """Return the lattice's points, each foot's widths ``(rows, feet)``, and how many rows the hindfoot has."""
    feet = [leg.foot for leg in rig.legs]
    placed, widths, hinds = [], [], []
    for foot in feet:
        back, tip = float(foot.outline[:, 1].min()), float(foot.outline[:, 1].max())
        z = back + (np.arange(ROWS) + 0.5) / ROWS * (tip - back)
        low, high = np.array([foot.edge(at) for at in z]).T
        x = low[:, None] + (np.arange(COLUMNS) + 0.5) / COLUMNS * (high - low)[:, None]
        placed.append(np.stack([x, np.full_like(x, foot.sole), np.repeat(z[:, None], COLUMNS, axis=1)], axis=-1))
        widths.append(high - low)
        hinds.append(int(np.count_nonzero(z <= foot.ball[2])))
    hind = min(hinds)
    points = Points.of(
        [grid[:hind].reshape(-1, 3) for grid in placed], [grid[hind:].reshape(-1, 3) for grid in placed], feet
    )
    return points, np.array(widths).T, hind


def support_of(
    ground: Ground, rig: Rig, soles: Soles, ankle: Array, angles: Array, bend: Array, *, level: float
) -> Support:
    """Return what supports feet that stand at ``ankle`` and ``angles`` ``(3, feet, n)`` with ``bend`` ``(feet, n)``.

    A foot that leans by up to ``level`` radians from the ground under its ball is judged by its whole sole,
    one whose toes do by its toes, and one whose toes don't either not at all.
    """
    points, widths, hind = _lattice(rig)
    ball = soles.centre_line(angles, bend)[:, 1] + ankle
    normal = np.array(ground.normal(ball[0], ball[2]))
    turn = matrix(*angles)
    toe_up = turn[:, 1] * np.cos(bend) - turn[:, 2] * np.sin(bend)
    bound = np.cos(level)
    whole = (turn[:, 1] * normal).sum(axis=0) > bound
    judged = whole | ((toe_up * normal).sum(axis=0) > bound)
    shape = ankle.shape[1:]
    share, over = np.full(shape, np.nan), np.full(shape, np.nan)
    near = BENEATH * rig.leg / REFERENCE_LEG
    for foot in range(2):
        (at,) = judged[foot].nonzero()
        if not len(at):
            continue
        own = soles.gathered(np.full(len(at), foot))
        place = (
            own.placed(points, angles[:, foot, at][:, None], bend[foot, at][None]) + ankle[:, foot, at][:, None, None]
        )
        gap = place[1] - ground.height(place[0], place[2])
        held = (gap - gap.min(axis=0) < near).reshape(ROWS, COLUMNS, len(at))
        toes_only = ~whole[foot, at]
        counted = np.ones((ROWS, len(at)))
        counted[:hind, toes_only] = 0.0
        weight = widths[:, foot, None] * counted
        share[foot, at] = (held.mean(axis=1) * weight).sum(axis=0) / weight.sum(axis=0)
        along = ((held.mean(axis=1) < HALF) * counted).sum(axis=0) / ROWS
        by_column = (held * weight[:, None]).sum(axis=0) / weight.sum(axis=0)
        over[foot, at] = np.maximum(along, (by_column < HALF).mean(axis=0))
    return Support(share, over, np.where(judged, np.arccos(np.clip(normal[1], -1.0, 1.0)), np.nan))
