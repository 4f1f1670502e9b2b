"""Ways to mend soles that are below the ground or above it: the foot rolls, the toes bend, the ankle rises or falls.

Each turn comes in closed form. A point at ``w`` from a pivot, turned by ``b`` about a unit axis ``e`` through it, is
``c + w_y cos b + (e x w)_y sin b`` high, so the turn that brings it onto the ground is an arc cosine away.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import NOTHING, Bench, Draft
from surefoot.easing import Window, least_change, nearest_changes
from surefoot.findings import Finding
from surefoot.ground import Ground
from surefoot.rig import FEET

__all__ = ["Needs", "hover_drafts", "sink_drafts", "turn_onto"]

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


def turn_onto(pivot: Array, axis: Array, points: Array, ground: Ground, *, sign: float | Array) -> Array:
    """Return by how much points must turn about an axis through a pivot to lie on the ground.

    Parameters
    ----------
    pivot, axis : ndarray, shape (3, ...)
        The axis is of unit length; turns are right-handed.
    points : ndarray, shape (3, points, ...)
    sign : float or ndarray
        1 for turns of positive sign, -1 for negative ones; for both at once an array ``(2, 1, ...)`` of them.

    Returns
    -------
    ndarray, shape (points, ...) or (2, points, ...)
        Radians from 0 on, counted along ``sign``; NaN where none below 60 degrees does it.
    """
    way = points - pivot[:, None]
    ex, ey, ez = axis
    held = ex * way[0] + ey * way[1] + ez * way[2]
    base = np.array([ex, ey, ez])[:, None] * held + pivot[:, None]
    w = way - (base - pivot[:, None])
    across = [sign * (ey * w[2] - ez * w[1]), sign * (ez * w[0] - ex * w[2]), sign * (ex * w[1] - ey * w[0])]
    size, phase = np.hypot(w[1], across[1]), np.arctan2(across[1], w[1])
    floor = ground.height(points[0], points[2])
    found = np.zeros(across[1].shape)
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


class Needs:
    """How far feet must turn, rise or fall at each sample, made once for all findings of a clip.

    Radians and metres, ``(ways, 2, samples)``: by way, foot and sample.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.hind = bench.scene.soles.hind

    @cached_property
    def rises(self) -> Array:
        """What brings the sole up to the ground, by `RISES`, from 0 on; 0 too where the way doesn't help."""
        bench, hind = self.bench, self.hind
        toes = self._up(bench.hinge, -bench.turn[:, 0], slice(hind, -3), 1.0)
        back = self._up(bench.heel, bench.lateral, slice(hind - 2, -3), -1.0)
        heel = self._up(bench.hinge, bench.lateral, slice(0, hind - 2), 1.0)
        return np.array([toes, back, heel, np.maximum(0.0, np.maximum(bench.touch.depth, -bench.touch.gap))])

    @cached_property
    def falls(self) -> Array:
        """What brings a stance's sole down onto the ground, by `FALLS`; NaN where the way doesn't do it."""
        bench = self.bench
        pitched = self._down(bench.fine.ankle, bench.lateral, slice(0, -3), np.array([[[1.0]], [[-1.0]]]))
        toes = self._down(bench.hinge, -bench.turn[:, 0], slice(self.hind, -3), -1.0)
        return np.array([*pitched, toes, bench.touch.gap])

    def _up(self, pivot: Array, axis: Array, part: slice, sign: float) -> Array:
        """Return the least turn that lifts every sunk point of a part, that it can lift, onto the ground."""
        points, height = self.bench.touch.points[:, part], self.bench.touch.height[part]
        sunk = height.min(axis=0) < 0.0
        turn = turn_onto(pivot[:, sunk], axis[:, sunk], points[..., sunk], self.bench.scene.ground, sign=sign)
        found = np.zeros(sunk.shape)
        found[sunk] = np.where((height[:, sunk] < 0.0) & ~np.isnan(turn), turn, 0.0).max(axis=0)
        return found

    def _down(self, pivot: Array, axis: Array, part: slice, sign: float | Array) -> Array:
        """Return the least turn that brings a point of a stance's part down onto the ground."""
        bench, touch = self.bench, self.bench.touch
        up = bench.down & (touch.gap > 0.0)
        turn = turn_onto(pivot[:, up], axis[:, up], touch.points[:, part][..., up], bench.scene.ground, sign=sign)
        turn = np.where(np.isnan(turn), np.inf, turn).min(axis=-2)
        found = np.zeros((*turn.shape[:-1], *up.shape))
        found[..., up] = np.where(np.isinf(turn), np.nan, turn)
        return found


RISES = ("toes up", "less pitch", "heel up", "raise")
FALLS = (("toe down", "pitch", 1.0), ("heel down", "pitch", -1.0), ("toes down", "bend", -1.0), ("lower", "y", -1.0))
"""Their names, the axes that change, and which way."""


def sink_drafts(bench: Bench, finding: Finding, needs: Needs) -> list[Draft | None]:
    """Return the ways to bring a sole up to the ground."""
    foot = FEET.index(finding.foot)
    window = bench.window(finding, seconds=EASING)
    at, inside = bench.samples_of(window), bench.spell(finding, window)
    lows = np.where(inside, needs.rises[:, foot].take(at, axis=1), 0.0)
    found: list[Draft | None] = []
    for way, low, most in zip(RISES, lows, lows.max(axis=1).tolist(), strict=True):
        if most <= NOTHING or (way == "toes up" and not bench.rig.legs[foot].foot.hinged):
            continue
        rise = least_change(window, low, ease=BENDING * bench.rate)
        if way == "less pitch":
            change = bench.about(bench.heel, foot, window, -rise)
        elif way == "heel up":
            change = rolled(bench, foot, window, rise)
        else:
            change = {"bend" if way == "toes up" else "y": rise}
        found.append(bench.foot_draft(finding, way, foot, window, change))
    return found


def hover_drafts(bench: Bench, finding: Finding, needs: Needs) -> list[Draft | None]:
    """Return the ways to bring a sole down to the ground: planted samples around the finding stay where they are."""
    foot = FEET.index(finding.foot)
    window = bench.window(finding, seconds=EASING)
    at = bench.samples_of(window)
    down = bench.down[foot].take(at)
    inside = bench.spell(finding, window) & down
    bent = float(np.where(inside, bench.fine.pose.bend[foot].take(at), 0.0).max(initial=0.0))
    flexible = bent > BENT_UP and bench.rig.legs[foot].foot.hinged
    wanted = np.where(inside, needs.falls[:, foot].take(at, axis=1), 0.0)
    met = ~np.isnan(wanted)
    wanted = np.where(met, wanted, 0.0)
    most = wanted.max(axis=1).tolist()
    use = [k for k, (_, key, _) in enumerate(FALLS) if most[k] > NOTHING and (key != "bend" or flexible)]
    weight = np.where(down & met, FIRM, 0.0)
    amounts = nearest_changes(window, wanted[use], weight[use], ease=BENDING * bench.rate)
    found = []
    for k, amount in zip(use, amounts, strict=True):
        way, key, sign = FALLS[k]
        found.append(bench.foot_draft(finding, way, foot, window, {key: sign * amount}))
    return found


def rolled(bench: Bench, foot: int, window: Window, turn: Array) -> dict[str, Array]:
    """Return the world change of a foot that rolls about its ball hinge, its toes left where they lie."""
    change = bench.about(bench.hinge, foot, window, turn)
    if bench.rig.legs[foot].foot.hinged and bench.free(bench.feet[foot], "bend") is not None:
        change["bend"] = turn
    return change
