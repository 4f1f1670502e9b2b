"""Seat: how a footprint lies on uneven ground: its lean, its level, its support, and a tread with enough of it.

A footprint is looked at along three lines of its sole. Steps steeper than a walker's foot could lie on don't
count towards its lean, so on stairs it lies level on one tread, as high as the highest ground under it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from surefoot.ground import Ground
from surefoot.rig import Rig
from surefoot.tolerances import REFERENCE_LEG
from surefoot.underfoot import BENEATH

__all__ = ["Seats", "seats_of"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

ALONG = 32
"""Steps between the places at which a sole's line is looked at."""
ACROSS = (-0.7, 0.0, 0.7)
"""The lines, as shares of half the sole's width at the ball."""
FARTHEST = 0.5
"""A footprint moves by at most this share of the foot's length to a better tread."""
ENOUGH = 0.85
"""Share of the sole with ground beneath it for which no better place is looked for."""
LEAST = 0.6
"""Share without which a footprint stays, and its overhang is told."""
UPRIGHT = float(np.radians(85.0))
"""The most that an ankle's range lets a footprint lean, radians."""
STEEPEST = 1.2
"""Rise over run of a face that a foot doesn't lie on."""


@dataclass(frozen=True, slots=True, eq=False)
class Seats:
    """How each footprint lies, ``(prints,)`` each.

    ``shift`` metres along its heading; ``along`` and ``across`` the lean as rise over run, ahead and to the
    left; ``level`` the height of the plane under the ankle, metres; ``share`` of the sole with ground beneath it;
    ``conforms`` False where the ankle doesn't lean as far as the ground.
    """

    shift: Array
    along: Array
    across: Array
    level: Array
    share: Array
    conforms: NDArray[np.bool_]


def seats_of(ground: Ground, rig: Rig, place: Array, yaw: Array, foot_of: Indices, *, movable: bool) -> Seats:
    """Return how footprints lie whose flat ankles stand over ``place`` (x and z, ``(2, prints)``) at headings ``yaw``.

    With ``movable`` they go to the nearest place along their heading that has enough ground beneath it.
    """
    feet = [leg.foot for leg in rig.legs]
    back, front = (np.array([pick(foot.outline[:, 1]) for foot in feet])[foot_of] for pick in (np.min, np.max))
    low, high = np.array([foot.edge(float(foot.ball[2])) for foot in feet])[foot_of].T
    step = (front - back) / ALONG
    spare = round(ALONG * FARTHEST) if movable else 0
    ahead = back + step * (np.arange(ALONG + 1 + 2 * spare)[:, None] - spare)  # (places, prints)
    aside = 0.5 * (low + high) + 0.5 * (high - low) * np.array(ACROSS)[:, None]  # (lines, prints)
    s, c = np.sin(yaw), np.cos(yaw)
    x = place[0] + c * aside[:, None] + s * ahead
    z = place[1] - s * aside[:, None] + c * ahead
    rise = ground.height(x, z)  # (lines, places, prints)
    along, across = _leans(rise, step, aside)
    limits = np.array([(leg.limits.ankle_flexion, leg.limits.ankle_inversion) for leg in rig.legs])[foot_of]
    limits = np.clip(limits, -UPRIGHT, UPRIGHT)  # a joint's range may go past upright, where a tangent turns over
    up, down = np.tan(limits[:, 0, 1]), np.tan(limits[:, 0, 0])
    tilt = np.tan(np.abs(limits[:, 1]).min(axis=1))
    leaning, canting = np.clip(along, down, up), np.clip(across, -tilt, tilt)
    # what each window's ground stands above its own lean, counted from under the ankle
    windows = sliding_window_view(rise, ALONG + 1, axis=1)  # (lines, shifts, prints, places)
    own = (back + step * np.arange(ALONG + 1)[:, None]).T  # (prints, places)
    above = windows - leaning[None, :, :, None] * own - canting[None, :, :, None] * aside[:, None, :, None]
    level = above.max(axis=(0, 3))
    near = BENEATH * rig.leg / REFERENCE_LEG
    share = (above > level[None, :, :, None] - near).mean(axis=(0, 3))  # (shifts, prints)
    pick = _nearest_enough(share, spare)
    rows = np.arange(len(yaw))
    chosen = (pick, rows)
    fits = (leaning == along) & (canting == across)
    return Seats((pick - spare) * step, leaning[chosen], canting[chosen], level[chosen], share[chosen], fits[chosen])


def _leans(rise: Array, step: Array, aside: Array) -> tuple[Array, Array]:
    """Return rise over run ahead and to the left for every window, ``(shifts, prints)``, faces left out."""
    climb = np.diff(rise, axis=1)
    foot = np.abs(climb) <= STEEPEST * step
    total, count = _window_sums(np.where(foot, climb, 0.0), ALONG), _window_sums(foot.astype(np.float64), ALONG)
    along = total / (np.maximum(count, 1.0) * step)
    width = aside[-1] - aside[0]
    tilt = rise[-1] - rise[0]
    lies = np.abs(tilt) <= STEEPEST * width
    total = _window_sums(np.where(lies, tilt, 0.0)[None], ALONG + 1)
    count = _window_sums(lies.astype(np.float64)[None], ALONG + 1)
    return along, total / (np.maximum(count, 1.0) * width)


def _window_sums(values: Array, width: int) -> Array:
    """Return the sums over lines and over each window of places, ``(shifts, prints)``."""
    summed = np.concatenate([np.zeros((1, values.shape[2])), values.sum(axis=0).cumsum(axis=0)])
    return np.asarray(summed[width:] - summed[:-width])


def _nearest_enough(share: Array, spare: int) -> Indices:
    """Return which shift each footprint takes: the nearest that is supported enough, else the best, else none."""
    size = np.abs(np.arange(len(share)) - spare)[:, None]
    enough = share >= ENOUGH
    nearest = np.where(enough, size, len(share)).argmin(axis=0)
    best = (share - 1e-3 * size).argmax(axis=0)
    rows = np.arange(share.shape[1])
    good = (share[best, rows] >= LEAST) & (share[best, rows] > share[spare] + 0.05)
    return np.asarray(np.where(enough.any(axis=0), nearest, np.where(good, best, spare)))
