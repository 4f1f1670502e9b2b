"""Slide: how far each stance's touching point drifts over the ground.

From one sample to the next the point that moves least, among those that touch
at both, is taken for the pivot (after Lyard and Magnenat-Thalmann 2007, seen in a
secondary source); its steps add up to the drift. A turn about a pivot is no slide,
and a hand-over from heel to ball is none either, unless the sole moves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.findings import Finding, level_of
from surefoot.rig import FEET
from surefoot.slip import least_steps
from surefoot.touch import Touch

__all__ = ["drift_of", "slide_findings"]

Array = NDArray[np.float64]


def drift_of(touch: Touch, stance: Stance, *, per_frame: int) -> tuple[Array, Array]:
    """Return the drift ``(2, samples)``, x and z in metres since the stance's start, and its frames."""
    scene = touch.scene
    foot, clip = FEET.index(stance.foot), scene.binding.clip
    count = len(scene.frames)
    at = np.arange((stance.first - clip.first) * per_frame, (stance.last - clip.first) * per_frame + 1)
    points, height = touch.points[:, :, foot, at % count], touch.height[:, foot, at % count]
    laps = at // count
    if scene.drift is not None and laps.any():
        for lap in range(1, int(laps.max()) + 1):
            points = np.where(laps >= lap, scene.drift.apply(points), points)
    move = least_steps(points, height)
    path = np.concatenate([np.zeros((2, 1)), np.cumsum(move, axis=-1)], axis=-1)
    return path, clip.first + at / per_frame


def slide_findings(
    touch: Touch,
    stances: Sequence[Stance],
    limits: tuple[float, float, float],
    *,
    landing: float,
    per_frame: int,
) -> list[Finding]:
    """Return a finding for each stance that drifts beyond the note's limit.

    The amount is the largest distance between two places of the drift, metres;
    the first ``landing`` seconds of a stance don't count.
    """
    skip = round(landing / touch.scene.binding.clip.step) * per_frame
    found = []
    for stance in stances:
        if stance.left_alone:
            continue
        path, frames = drift_of(touch, stance, per_frame=per_frame)
        path, frames = path[:, skip:], frames[skip:]
        if path.shape[1] < 2:
            continue
        away = np.hypot(*(path - path[:, :1]))
        back = np.hypot(*(path - path[:, [int(away.argmax())]]))
        amount = float(back.max())
        told = level_of(amount, limits)
        if told is not None:
            worst = float(frames[int(away.argmax())])
            found.append(Finding("slide", stance.foot, stance.first, stance.last, worst, amount, told[1], told[0]))
    return found
