"""Slide: how far each stance's touching point drifts over the ground.

From one sample to the next the point that moves least, among those that touch
at both, is taken for the pivot (after Lyard and Magnenat-Thalmann 2007, seen in a
secondary source); its steps add up to the drift. A turn about a pivot is no slide,
and a hand-over from heel to ball is none either, unless the sole moves. On a slope
steps are those along it, so a walk slides there as it would if slope and walk were
turned level; on uneven ground they are seen in plan.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.findings import Finding, level_of
from surefoot.heeding import heed
from surefoot.lean import lean_of
from surefoot.rig import FEET
from surefoot.slip import least_steps, widest
from surefoot.touch import PER_FRAME, Touch

__all__ = ["drift_of", "samples_of", "slide_findings"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


def samples_of(touch: Touch, stance: Stance) -> tuple[Indices, Indices, Array]:
    """Return which samples a stance is, in which round of a loop each lies, and its frame, ``(samples,)`` each."""
    first = touch.scene.binding.clip.first
    at = np.arange((stance.first - first) * PER_FRAME, (stance.last - first) * PER_FRAME + 1)
    count = len(touch.scene.frames)
    laps = at // count
    return at - laps * count, laps, first + at / PER_FRAME


def drift_of(touch: Touch, stance: Stance) -> tuple[Array, Array]:
    """Return the drift ``(2, samples)``, x and z in metres since the stance's start, and its frames.

    On a slope x and z are those of the slope turned level (see `lean.along_slope`).
    """
    heed()
    scene, foot = touch.scene, FEET.index(stance.foot)
    own, laps, frames = samples_of(touch, stance)
    points, height = touch.points[:, :, foot, own], touch.height[:, foot, own]
    if scene.drift is not None and laps[-1] > 0:
        for lap in range(1, int(laps.max()) + 1):
            points = np.where(laps >= lap, scene.drift.apply(points), points)
    move = least_steps(points, height, lean_of(scene.ground))
    path = np.zeros((2, len(own)))
    move.cumsum(axis=-1, out=path[:, 1:])
    return path, frames


def slide_findings(
    touch: Touch,
    stances: Sequence[Stance],
    limits: tuple[float, float, float],
    *,
    landing: float,
) -> list[Finding]:
    """Return a finding for each stance that drifts beyond the note's limit.

    The amount is the largest distance between two places of the drift, metres;
    the first ``landing`` seconds of a stance don't count.
    """
    skip = round(landing / touch.scene.binding.clip.step) * PER_FRAME
    found = []
    for stance in stances:
        if stance.left_alone:
            continue
        path, frames = drift_of(touch, stance)
        size, at = widest(path[None, :, skip:])
        amount = float(size[0])
        told = level_of(amount, limits)
        if told is not None:
            worst = float(frames[skip + int(at[0])])
            found.append(Finding("slide", stance.foot, stance.first, stance.last, worst, amount, told[1], told[0]))
    return found
