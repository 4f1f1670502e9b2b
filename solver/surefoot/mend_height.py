"""Ways to mend soles that are below the ground or above it: the foot rolls, the toes bend, the ankle rises or falls.

Each turn comes in closed form. A point at ``w`` from a pivot, turned by ``b`` about a unit axis ``e`` through it, is
``c + w_y cos b + (e x w)_y sin b`` high, so the turn that brings it onto the ground is an arc cosine away.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, least_change, nearest_change
from surefoot.findings import Finding
from surefoot.ground import Ground
from surefoot.rig import FEET
from surefoot.rotations import matrix

__all__ = ["hover_drafts", "sink_drafts", "turn_onto"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

EASING = 0.08
"""Seconds over which these changes ease in and out."""
BENDING = 0.04
"""Seconds over which they like to bend."""
MOST_TURN = float(np.radians(60.0))
FIRM = 1e4
"""How much more coming to the ground counts than moving little and smoothly."""
BENT_UP = float(np.radians(0.5))
"""Toes that are bent up by less can't be what hovers."""


def turn_onto(pivot: Array, axis: Array, points: Array, ground: Ground, *, sign: float) -> Array:
    """Return by how much points must turn about an axis through a pivot to lie on the ground.

    Parameters
    ----------
    pivot, axis : ndarray, shape (3, ...)
        The axis is of unit length; turns are right-handed.
    points : ndarray, shape (3, points, ...)
    sign : float
        1 for turns of positive sign, -1 for negative ones.

    Returns
    -------
    ndarray, shape (points, ...)
        Radians from 0 on, counted along ``sign``; NaN where none below 60 degrees does it.
    """
    way = points - pivot[:, None]
    ex, ey, ez = axis * sign
    held = ex * way[0] + ey * way[1] + ez * way[2]
    base = np.array([ex, ey, ez])[:, None] * held + pivot[:, None]
    w = way - (base - pivot[:, None])
    across = np.array([ey * w[2] - ez * w[1], ez * w[0] - ex * w[2], ex * w[1] - ey * w[0]])
    size, phase = np.hypot(w[1], across[1]), np.arctan2(across[1], w[1])
    floor = ground.height(points[0], points[2])
    found = np.zeros(points.shape[1:])
    for _ in range(1 if ground.is_level else 4):
        share = (floor - base[1]) / np.maximum(size, 1e-12)
        spread = np.arccos(np.clip(share, -1.0, 1.0))
        both = np.remainder(np.array([phase - spread, phase + spread]) + 1e-9, 2.0 * np.pi) - 1e-9
        found = both.min(axis=0)
        found = np.where((np.abs(share) <= 1.0) & (found <= MOST_TURN), found, np.nan)
        if not ground.is_level:
            s, c = np.sin(found), np.cos(found)
            x, z = (base[i] + w[i] * c + across[i] * s for i in (0, 2))
            floor = ground.height(np.where(np.isfinite(x), x, points[0]), np.where(np.isfinite(z), z, points[2]))
    return np.maximum(found, 0.0)


class Turns:
    """How far feet must turn at each sample, ``(2, samples)`` each; made once for all findings of a clip."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.hind = bench.scene.soles.hind
        self._known: dict[str, Array] = {}

    def of(self, way: str) -> Array:
        """Return radians or metres from 0 on, NaN where the way doesn't help."""
        if way not in self._known:
            self._known[way] = getattr(self, "_" + way.replace(" ", "_"))()
        return self._known[way]

    def _rise(self, pivot: Array, axis: Array, part: slice, sign: float) -> Array:
        """Return the least turn that lifts every sunk point of a part onto the ground."""
        points, height = self.bench.touch.points[:, part], self.bench.touch.height[part]
        sunk = height.min(axis=0) < 0.0
        turn = turn_onto(pivot[:, sunk], axis[:, sunk], points[..., sunk], self.bench.scene.ground, sign=sign)
        turn = np.where(height[:, sunk] < 0.0, turn, 0.0)
        lost = np.isnan(turn)
        most = np.where(lost, 0.0, turn).max(axis=0)
        found = np.zeros(sunk.shape)
        found[sunk] = np.where(lost.any(axis=0) & (most == 0.0), np.nan, most)
        return found

    def _toes_up(self) -> Array:
        bench = self.bench
        axis = -matrix(*bench.fine.angles)[:, 0]
        return self._rise(bench.hinge, axis, slice(self.hind, -3), 1.0)

    def _less_pitch(self) -> Array:
        return self._rise(self.bench.heel, self.bench.lateral, slice(self.hind - 2, -3), -1.0)

    def _heel_up(self) -> Array:
        return self._rise(self.bench.hinge, self.bench.lateral, slice(0, self.hind - 2), 1.0)

    def _fall(self, part: slice, sign: float, *, toes: bool = False) -> Array:
        """Return the least turn about the ankle (or the ball hinge, for the toes) that brings a stance's point down."""
        bench, touch = self.bench, self.bench.touch
        up = bench.down & (touch.gap > 0.0)
        pivot = bench.hinge if toes else bench.fine.ankle
        axis = -matrix(*bench.fine.angles[..., up])[:, 0] if toes else bench.lateral[:, up]
        turn = turn_onto(pivot[:, up], axis, touch.points[:, part][..., up], bench.scene.ground, sign=sign)
        turn = np.where(np.isnan(turn), np.inf, turn).min(axis=0)
        found = np.zeros(up.shape)
        found[up] = np.where(np.isinf(turn), np.nan, turn)
        return found

    def _toe_down(self) -> Array:
        return self._fall(slice(0, -3), 1.0)

    def _heel_down(self) -> Array:
        return self._fall(slice(0, -3), -1.0)

    def _toes_down(self) -> Array:
        return self._fall(slice(self.hind, -3), -1.0, toes=True)


def sink_drafts(bench: Bench, finding: Finding, turns: Turns) -> list[Draft | None]:
    """Return the ways to bring a sole up to the ground."""
    foot = FEET.index(finding.foot)
    window = bench.window(finding, seconds=EASING)
    at, inside = bench.samples_of(window), bench.spell(finding, window)
    ease = BENDING * float(bench.clip.rate)

    def least(need: Array) -> Array | None:
        return _least(window, np.where(inside, need[foot, at], 0.0), ease)

    found: list[Draft | None] = []
    if bench.rig.legs[foot].foot.hinged and (toes := least(turns.of("toes up"))) is not None:
        found.append(bench.foot_draft(finding, "toes up", foot, window, {"bend": toes}))
    if (back := least(turns.of("less pitch"))) is not None:
        found.append(
            bench.foot_draft(finding, "less pitch", foot, window, bench.about(bench.heel, foot, window, -back))
        )
    if (heel := least(turns.of("heel up"))) is not None:
        found.append(bench.foot_draft(finding, "heel up", foot, window, rolled(bench, foot, window, heel)))
    rise = least(np.maximum(bench.touch.depth, -bench.touch.gap))
    if rise is not None:
        found.append(bench.foot_draft(finding, "raise", foot, window, {"y": rise}))
    return found


def hover_drafts(bench: Bench, finding: Finding, turns: Turns) -> list[Draft | None]:
    """Return the ways to bring a sole down to the ground: planted samples around the finding stay where they are."""
    foot = FEET.index(finding.foot)
    window = bench.window(finding, seconds=EASING)
    at = bench.samples_of(window)
    down = bench.down[foot, at]
    inside = bench.spell(finding, window) & down
    ease = BENDING * float(bench.clip.rate)
    bent = float((np.where(inside, bench.fine.pose.bend[foot, at], 0.0)).max(initial=0.0))

    def nearest(need: Array) -> Array | None:
        wanted = np.where(inside, need[foot, at], 0.0)
        met = ~np.isnan(wanted)
        wanted = np.where(met, wanted, 0.0)
        if wanted.max(initial=0.0) <= 1e-9:
            return None
        return nearest_change(window, wanted, np.where(down & met, FIRM, 0.0), ease=ease)

    found: list[Draft | None] = []
    ways = [("toe down", "pitch", 1.0), ("heel down", "pitch", -1.0)]
    if bent > BENT_UP and bench.rig.legs[foot].foot.hinged:
        ways.append(("toes down", "bend", -1.0))
    for way, key, sign in ways:
        amount = nearest(turns.of(way))
        if amount is not None:
            found.append(bench.foot_draft(finding, way, foot, window, {key: sign * amount}))
    fall = nearest(bench.touch.gap)
    if fall is not None:
        found.append(bench.foot_draft(finding, "lower", foot, window, {"y": -fall}))
    return found


def rolled(bench: Bench, foot: int, window: Window, turn: Array) -> dict[str, Array]:
    """Return the world change of a foot that rolls about its ball hinge, its toes left where they lie."""
    change = bench.about(bench.hinge, foot, window, turn)
    if bench.rig.legs[foot].foot.hinged and bench.free(f"{FEET[foot]}_foot", "bend") is not None:
        change["bend"] = turn
    return change


def _least(window: Window, need: Array, ease: float) -> Array | None:
    """Return the least change from 0 on that meets a need; None where nothing is needed that can be met."""
    low = np.where(np.isnan(need), 0.0, np.maximum(need, 0.0))
    return least_change(window, low, ease=ease) if low.max(initial=0.0) > 1e-9 else None
