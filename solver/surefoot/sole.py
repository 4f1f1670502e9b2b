"""The sole: which of its points touch, and where the ankle is when they're planted.

Everything here is in *footprint space*: origin on the ground under the ankle of
the flat foot, +Y the ground's normal, +Z the footprint's heading. Angles are
the foot's own relative to that space: pitch (positive heel up), cant (positive
left side up), swivel (yaw away from the footprint's heading) and toe bend.

Arrays run ``(feet, ...)``, feet left and right.

Notes
-----
With ``q`` the point of the foot that touches and ``a`` its anchor in the footprint,
the planted ankle lies at ``a - R q`` across the ground, ``R = Ry(swivel) Rx(pitch) Rz(cant)``,
and as high as the lowest corner of the whole sole needs. The rockers, after
Perry and Burnfield (2010; the fourth from memory), differ only in ``q``:
heel edge for pitch below zero; the toe segment's line under the ball hinge up
to the onset, with the toes flat; then the toe edge, with the bend held.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.heeding import heed
from surefoot.rig import Foot, Rig
from surefoot.rotations import matrix

__all__ = ["FLAT", "FOREFOOT", "HEEL", "LEVEL", "TOE", "Points", "Soles", "Turns"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

FLAT = float(np.radians(1.0))
"""Pitch up to which a foot counts as flat on the ground, radians."""
LEVEL = 1e-9
"""Pitch within which a foot is flat whatever its sign, radians: rounding must not choose its rocker."""
EDGE_BLEND = float(np.radians(0.5))
"""Cant over which the touching point runs from one end of an edge to the other, radians.

Small enough that no corner sinks by more than 0.1 mm on the way; the height
itself always comes from the lowest corner.
"""
HEEL, FOREFOOT, TOE = range(3)
"""The rockers, in the order of `Soles.rockers`."""


class Turns(NamedTuple):
    """A foot's angles in footprint space, radians, each ``(feet, ...)``."""

    pitch: Array
    cant: Array
    swivel: Array
    bend: Array


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Points of both feet, the hindfoot's first: ``table`` ``(7, points, feet)`` is as `Soles.points_of`."""

    table: Array
    hind: int

    @classmethod
    def of(cls, hind: list[Array], toes: list[Array], feet: list[Foot]) -> Points:
        """Return points ``(n, 3)`` of each foot's hindfoot and ``(m, 3)`` of its toes, in foot space."""
        ball = np.array([foot.ball for foot in feet]).T[:, None]
        fixed, turning = (np.array(part).transpose(2, 1, 0) for part in (hind, toes))
        return cls(np.concatenate([_fixed(fixed), _turning(turning - ball, ball)], axis=1), fixed.shape[1])


@dataclass(frozen=True, slots=True, eq=False)
class Soles:
    """The soles of both feet, or of a list of samples of either foot: tables, and which foot reads them (metres).

    Parameters
    ----------
    foot : ndarray of int, shape (2, 1) or (1, samples)
        Which foot each row or sample is.
    forefoot : ndarray of int, as ``foot``
        Its forefoot rocker's column in ``rockers``.
    runs : tuple of (foot, first, past)
        The rows or samples of one foot that follow one another.
    rockers : ndarray, shape (6, feet * 3)
        For each foot's three rockers: middle and half width of the touching edge, y and z of the point that
        is fixed to the hindfoot, and how far below and ahead of it the toes touch, when straight.
    bending : ndarray, shape (2, feet)
        The onset in radians, and 1 for a foot whose toes bend, else 0.
    points_of : ndarray, shape (7, corners + 3, feet)
        Corners of the hindfoot, then of the toes, then the centre line's heel, ball and toe. Rows: x, y and z
        (of the ball hinge, for points of the toes), then y and z from the hinge with the toes straight, and
        with the toes a quarter turn up.
    depths : ndarray, shape (feet, corners, 7)
        What each term of `_depth` counts for each corner.
    hind : int
        How many corners the hindfoot has.
    all_bend : bool
        Whether both feet have a hinge.
    """

    foot: Indices
    forefoot: Indices
    runs: tuple[tuple[int, int, int], ...]
    rockers: Array
    bending: Array
    points_of: Array
    depths: Array
    hind: int
    all_bend: bool

    @staticmethod
    @lru_cache(maxsize=32)
    def of(rig: Rig) -> Soles:
        """Return the geometry of a rig's two feet; the same rig gives the same object."""
        feet = [leg.foot for leg in rig.legs]
        hind = _padded([foot.hind_corners for foot in feet])
        toes = _padded([foot.toe_corners - foot.ball for foot in feet])
        ball = np.array([foot.ball for foot in feet]).T[:, None]
        back, front = (np.array(lines).transpose(2, 1, 0) for lines in zip(*map(_centre_line, feet), strict=True))
        points = np.concatenate(
            [_fixed(hind), _turning(toes, ball), _fixed(back), _turning(front - ball, ball)], axis=1
        )
        x, y, z, y_straight, z_straight, _, _ = points[:, :-3]
        return Soles(
            foot=np.array([[0], [1]]),
            forefoot=np.array([[FOREFOOT], [3 + FOREFOOT]]),
            runs=((0, 0, 1), (1, 1, 2)),
            rockers=np.concatenate([_rockers(foot) for foot in feet], axis=1),
            bending=np.array([[foot.onset if foot.hinged else 0.0, float(foot.hinged)] for foot in feet]).T,
            points_of=points,
            depths=np.ascontiguousarray(-np.array([x, y, -z, z_straight, y_straight, y_straight, -z_straight]).T),
            hind=hind.shape[1],
            all_bend=all(foot.hinged for foot in feet),
        )

    def gathered(self, foot: Indices) -> Soles:
        """Return the geometry for a flat list of samples, each of foot 0 or 1: rows become ``(1, samples)``."""
        cuts = [0, *((foot[1:] != foot[:-1]).nonzero()[0] + 1).tolist(), len(foot)]
        runs = tuple((int(foot[first]), first, past) for first, past in pairwise(cuts) if past > first)
        tables = self.rockers, self.bending, self.points_of, self.depths
        return Soles(foot[None], 3 * foot[None] + FOREFOOT, runs, *tables, self.hind, self.all_bend)

    @property
    def onset(self) -> Array:
        """Pitch in radians at which each row or sample turns about its toe edge, 0 without a hinge."""
        return np.asarray(self.bending[0].take(self.foot))

    @property
    def hinged(self) -> NDArray[np.bool_]:
        """Whether the toes of each row or sample bend."""
        return np.asarray(self.bending[1].take(self.foot) > 0.0)

    def planted_bend(self, pitch: Array, cant: Array, authored: Array) -> Array:
        """Return the toe bend of a planted foot: toes flat from pitch 0 to the onset, then held.

        A flat foot's toes are straight, up to one degree of negative pitch; below that the
        authored bend stays, but not with the toes under the ground. So it does on a foot without a hinge.
        """
        foot = _fit(self.foot, pitch.ndim - 2)
        held = np.minimum(pitch, self.bending[0].take(foot))
        flat = held if not np.count_nonzero(cant) else np.arctan(np.tan(held) / np.cos(cant))
        bend = np.maximum(flat, np.where(pitch > -FLAT, 0.0, authored))
        return bend if self.all_bend else np.where(self.bending[1].take(foot) > 0.0, bend, authored)

    def lowest(self, pitch: Array, cant: Array, bend: Array) -> Array:
        """Return the height of the sole's lowest corner relative to the ankle, metres, ``(feet, ...)``."""
        return -self._depth(_sine_cosine(pitch), _sine_cosine(cant), _sine_cosine(bend))

    def _depth(self, pitched: Array, canted: Array | None, bent: Array) -> Array:
        """Return how far the deepest corner lies below the ankle, from sine and cosine of pitch, cant and bend.

        It's linear in the corners' own coordinates, so it's one small product for each foot.
        """
        sine, cosine = pitched
        terms = np.empty((7, *sine.shape))
        if canted is None:
            terms[0], terms[1] = 0.0, cosine
        else:
            np.multiply(canted, cosine, out=terms[:2])
        terms[2] = sine
        np.multiply(bent, terms[1], out=terms[3:5])
        np.multiply(bent, sine, out=terms[5:])
        terms = terms.reshape(7, self.foot.size, -1)
        if len(self.foot) == len(self.depths):  # both feet's rows, not a list of samples
            deepest = np.maximum.reduce(self.depths @ terms.swapaxes(0, 1), axis=1)
            return np.asarray(deepest.reshape(sine.shape))
        depth = np.empty(terms.shape[1:])
        for foot, first, past in self.runs:
            corners = self.depths[foot] @ terms[:, first:past].reshape(7, -1)
            np.maximum.reduce(corners, axis=0, out=depth[first:past].reshape(-1))
        return depth.reshape(sine.shape)

    def corners(self, angles: Array, bend: Array) -> Array:
        """Return the sole's corners relative to the ankle, ``(3, corners, feet, ...)`` metres.

        ``angles`` are pitch, yaw and cant ``(3, feet, ...)`` in the space of the answer.
        """
        return self._placed(angles, bend, 0, self.points_of.shape[1] - 3)

    def centre_line(self, angles: Array, bend: Array) -> Array:
        """Return heel, ball and toe on the sole's centre line relative to the ankle, ``(3, 3, feet, ...)`` metres.

        The first axis is x, y, z; the second heel, ball, toe. The ball is the toe
        segment's point under the hinge.
        """
        return self._placed(angles, bend, self.points_of.shape[1] - 3, None)

    def points(self, angles: Array, bend: Array) -> Array:
        """Return `corners` and then `centre_line`, ``(3, corners + 3, feet, ...)`` metres."""
        return self._placed(angles, bend, 0, None)

    def _placed(self, angles: Array, bend: Array, first: int, past: int | None) -> Array:
        return self.placed(Points(self.points_of[:, first:past], max(self.hind - first, 0)), angles, bend)

    def placed(self, points_of: Points, angles: Array, bend: Array) -> Array:
        """Return points of both feet relative to the ankle, ``(3, points, feet, ...)`` metres, as `corners` are."""
        heed()
        points = points_of.table.take(_fit(self.foot, bend.ndim - 2), axis=2)
        own = np.empty((3, points.shape[1], *bend.shape))
        own[:] = points[:3]
        toes = points_of.hind
        own[1:, toes:] += points[3:5, toes:] * np.cos(bend) + points[5:, toes:] * np.sin(bend)
        turn = matrix(*angles)
        heed()
        return np.asarray(np.einsum("ij...,jp...->ip...", turn, own))

    def planted(self, turns: Turns) -> Array:
        """Return the planted ankle in footprint space, ``(3, feet, ...)`` metres.

        Parameters
        ----------
        turns : Turns
            The foot's angles; the bend is taken as it stands (see `planted_bend`).
        """
        heed()
        pitch, cant, swivel, bend = turns
        foot = _fit(self.foot, pitch.ndim - 2)
        early, late = pitch < -LEVEL, pitch > self.bending[0].take(foot) + LEVEL
        rocker = _fit(self.forefoot, pitch.ndim - 2) + (late.view(np.int8) - early.view(np.int8))
        x, half, y, z, drop, ahead = self.rockers.take(rocker, axis=1)
        pitched, bent = _sine_cosine(pitch), _sine_cosine(bend)
        canted = _sine_cosine(cant) if np.count_nonzero(cant) else None
        (sp, cp), (sb, cb) = pitched, bent
        anchor_z = z + ahead
        y = y - drop * cb + ahead * sb
        z = z + drop * sb + ahead * cb
        if canted is None:
            across = x
        else:  # the low end of the edge touches, blended near zero cant
            x = x - half * np.minimum(np.maximum(cant / EDGE_BLEND, -1.0), 1.0)
            across, y = x * canted[1] - y * canted[0], x * canted[0] + y * canted[1]
        along = y * sp + z * cp
        if np.count_nonzero(swivel):
            ss, cs = np.sin(swivel), np.cos(swivel)
            across, along = across * cs + along * ss, along * cs - across * ss
        out = np.empty((3, *along.shape))
        out[0] = x - across
        out[1] = self._depth(pitched, canted, bent)
        out[2] = anchor_z - along
        return out


def _sine_cosine(angle: Array) -> Array:
    """Return sine and cosine, ``(2, ...)``."""
    both = np.empty((2, *angle.shape))
    np.sin(angle, out=both[0])
    np.cos(angle, out=both[1])
    return both


def _fit(column: NDArray[Any], extra: int) -> NDArray[Any]:
    """Give a column ``(..., 2, 1)`` as many trailing axes as the angles have."""
    return column.reshape(*column.shape, *([1] * extra)) if extra > 0 else column


def _rockers(foot: Foot) -> Array:
    """Return one foot's part of `Soles.rockers`, ``(6, 3)``."""
    back, tip = float(foot.outline[:, 1].min()), float(foot.outline[:, 1].max())
    _, ball_y, ball_z = foot.ball.tolist()
    drop = ball_y - foot.sole
    turning = [(back, foot.sole, back, 0.0, 0.0), (ball_z, ball_y, ball_z, drop, 0.0),
               (tip, ball_y, ball_z, drop, tip - ball_z)]  # fmt: skip
    rows = []
    for edge, *rest in turning:
        low, high = foot.edge(edge)
        rows.append([(low + high) / 2.0, (high - low) / 2.0, *rest])
    return np.array(rows).T


def _centre_line(foot: Foot) -> tuple[Array, Array]:
    """Return the heel ``(1, 3)``, and the toe segment's points under the hinge and at the toe edge ``(2, 3)``."""
    at = [float(foot.outline[:, 1].min()), float(foot.ball[2]), float(foot.outline[:, 1].max())]
    line = np.array([[sum(foot.edge(z)) / 2.0, foot.sole, z] for z in at])
    return line[:1], line[1:]


def _fixed(points: Array) -> Array:
    """Return points ``(3, n, feet)`` of the hindfoot as `Soles.points_of` has them, ``(7, n, feet)``."""
    return np.concatenate([points, np.zeros((4, *points.shape[1:]))])


def _turning(arm: Array, ball: Array) -> Array:
    """Return points of the toes at ``arm`` ``(3, n, feet)`` from the ball hinge, ``(7, n, feet)``."""
    x, y, z = arm
    base = np.broadcast_to(ball, arm.shape)
    return np.array([x + base[0], base[1], base[2], y, z, z, -y])


def _padded(corners: list[Array]) -> Array:
    """Return corners of two feet as ``(3, most, 2)``; the shorter list repeats its last corner."""
    most = max(len(c) for c in corners)
    full = [np.concatenate([c, np.repeat(c[-1:], most - len(c), axis=0)]) for c in corners]
    return np.array(full).transpose(2, 1, 0)
