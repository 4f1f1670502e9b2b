"""Ways to mend a snap: slack for the knee before it straightens, from the heel, the swing or the hips.

First the least smooth extra bend of the knee that keeps its angular acceleration and speed within limits, a small
least-squares problem over whole frames. Then the law of cosines turns it into a distance from hip to ankle, and
closed forms turn that into a roll of the foot, a nearer foot, or lower hips.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, frame_problem, least_within
from surefoot.findings import Finding
from surefoot.joints import KNEE, NEARLY_STRAIGHT
from surefoot.mend_height import rolled
from surefoot.mend_reach import ROLLS, hips_draft, lowering, roll_to_length
from surefoot.rig import FEET
from surefoot.touch import PER_FRAME

__all__ = ["KNEE_SPEED", "extra_bend", "leg_length", "snap_drafts"]

Array = NDArray[np.float64]

KNEE_SPEED = float(np.radians(900.0))
"""Radians a second that a knee shouldn't pass while it's nearly straight (common practice, no source)."""
EASING, BENDING = 0.12, 0.04
WITHIN = 1.0 - 1e-6
"""Of the limit: rounding must not carry the knee over it."""


def leg_length(flexion: Array, thigh: float, shank: float) -> Array:
    """Return the distance from hip to ankle of a leg whose knee is bent by ``flexion``, metres (law of cosines)."""
    return np.asarray(np.sqrt(thigh**2 + shank**2 + 2.0 * thigh * shank * np.cos(flexion)))


def extra_bend(
    flexion: Array, window: Window, counted: NDArray[np.bool_], *, acceleration: float, speed: float, ease: float
) -> Array:
    """Return the least smooth extra bend ``(count,)`` that keeps a knee within its limits.

    Parameters
    ----------
    flexion : ndarray, shape (count + 2,)
        At the window's frames and one on either side, radians.
    counted : ndarray of bool, shape (count,)
        Frames at which the acceleration is to be mended; elsewhere it isn't made worse than the limit or itself.
    acceleration, speed : float
        Radians a frame squared, and a frame.
    """
    value, bends, root = frame_problem(window, ease)
    second = flexion[:-2] - 2.0 * flexion[1:-1] + flexion[2:]
    straight = np.minimum(flexion[1:-1], np.minimum(flexion[:-2], flexion[2:])) < NEARLY_STRAIGHT
    most = np.where(counted, acceleration, np.maximum(acceleration, np.abs(second)))
    first = np.diff(flexion[1:-1])
    fastest = np.maximum(speed, np.abs(first))
    steps = np.diff(value, axis=0)
    slow = straight[1:] | straight[:-1]
    sides = [bends[straight], -bends[straight], steps[slow], -steps[slow], value]
    bounds = [
        (-most - second)[straight], (second - most)[straight], (-fastest - first)[slow], (first - fastest)[slow],
        np.zeros(window.count),
    ]  # fmt: skip
    return window.filled(least_within(np.concatenate(sides), np.concatenate(bounds), root))


def snap_drafts(bench: Bench, finding: Finding) -> list[Draft | None]:
    """Return the ways to give a knee its slack."""
    foot = FEET.index(finding.foot)
    leg, step, count = bench.rig.legs[foot], bench.clip.step, bench.clip.frames
    window = bench.window(finding, seconds=EASING)
    own = np.abs(bench.joints[KNEE, foot])
    around = np.arange(window.start - 1, window.start + window.count + 1)
    flexion = own[around % count]
    if not bench.loop:  # beyond the clip the knee goes on as it was
        flexion = np.interp(around, np.arange(count), own)
        for edge, inner in ((0, 1), (-1, -2)):
            if not 0 <= around[edge] < count:
                flexion[edge] = 2.0 * flexion[inner] - flexion[2 * inner - edge]
    counted = bench.spell(finding, window)[::PER_FRAME]
    bend = extra_bend(
        flexion, window, counted, acceleration=bench.bounds["snap"][0] * step**2 * WITHIN, speed=KNEE_SPEED * step,
        ease=BENDING * bench.rate,
    )  # fmt: skip
    if bend.max() <= 1e-9:
        return []
    wanted = leg_length(flexion[1:-1] + bend, leg.upper, leg.shank)
    at = bench.samples_of(window)[::PER_FRAME]
    hip, ankle = bench.fine.hip[:, foot, at], bench.fine.ankle[:, foot, at]
    distance = np.sqrt(((hip - ankle) ** 2).sum(axis=0))
    short = np.where(bend > 1e-9, np.maximum(distance - wanted, 0.0), 0.0)
    target = distance - short
    found = _rolls(bench, finding, window, target, short)
    if not bench.down[foot, at][short > 0.0].any():
        x, y, z = bench.to_world((hip - ankle) / np.maximum(distance, 1e-9) * short, window.frames)
        found.append(bench.foot_draft(finding, "nearer", foot, window, {"x": x, "y": y, "z": z}))
    found.append(hips_draft(bench, finding, window, np.where(short > 0.0, lowering(hip - ankle, target), 0.0)))
    return found


def _rolls(bench: Bench, finding: Finding, window: Window, target: Array, short: Array) -> list[Draft | None]:
    foot = FEET.index(finding.foot)
    at = bench.samples_of(window)[::PER_FRAME]
    worst = at[int(short.argmax())]
    on_heel = bool(bench.touch.height[-3, foot, worst] < bench.touch.height[-2, foot, worst])
    pivot = bench.heel if on_heel else bench.hinge
    turns = roll_to_length(
        bench.fine.ankle[:, foot, at],
        bench.fine.hip[:, foot, at],
        pivot[:, foot, at],
        bench.lateral[:, foot, at],
        target,
    )
    found, turns = [], np.where((short > 0.0) & ~np.isnan(turns), turns, 0.0)
    for sign, way, turn in zip((1.0, -1.0), ROLLS[on_heel], turns, strict=True):
        amount = sign * turn
        if amount.any():
            change = bench.about(pivot, foot, window, amount) if on_heel else rolled(bench, foot, window, amount)
            found.append(bench.foot_draft(finding, way, foot, window, change))
    return found
