"""Ways to mend a joint that is beyond its range: the smallest change of the foot that brings it back.

What a foot's turn or shift does to a joint is followed exactly, through the knee that it moves along: in each frame
the change is the root of ``joint(change) = end of its range``, found by the secant method to rounding. The smallest
smooth change that is nowhere less than that is the proposal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import NOTHING, Bench, Draft
from surefoot.easing import Window, least_change
from surefoot.findings import Finding
from surefoot.joints import joints_of_one, limits_of, nearest_turn
from surefoot.mend_height import rolled
from surefoot.poses import Pose
from surefoot.rig import FEET, Limits
from surefoot.touch import PER_FRAME

__all__ = ["limit_drafts", "root_of"]

Array = NDArray[np.float64]
Change = Callable[[Array], dict[str, Array]]

EASING, BENDING = 0.08, 0.04
"""Seconds over which changes ease in and out, and over which they like to bend."""
WITHIN = 1e-9
"""Radians inside its range to which a joint is brought: rounding must not carry it out again."""
MOST_TURN, MOST_SHIFT = float(np.radians(90.0)), 0.4
"""Radians, and of the leg: no change is larger."""
ROUNDS = 30
MET, TINY = 1e-11, 1e-6

WAYS = {
    "hip_flexion": (("ahead", "step ahead", "step back"), ("swing", "swing ahead", "swing back")),
    "hip_abduction": (("aside", "step left", "step right"), ("sweep", "swing left", "swing right")),
    "hip_rotation": (("yaw", "turn left", "turn right"), ("knee", "knee right", "knee left")),
    "knee_flexion": (("along", "nearer", "farther"),),
    "ankle_flexion": (("pitch", "toe down", "heel down"), ("rolled", "heel up", "heel down on the ball")),
    "ankle_inversion": (("roll", "left edge up", "right edge up"),),
    "toe_bend": (("bend", "toes up", "toes down"),),
}
"""By joint: what of the foot changes, and what that is called when it grows and when it shrinks."""


def root_of(value: Callable[[Array], Array], count: int, *, step: float, most: float) -> Array:
    """Return where a function of each of ``(count,)`` numbers is zero, near 0: by the secant method.

    NaN where it isn't found within ``most`` of 0. ``step`` is the first one tried, ``most`` the largest that is taken.
    """
    last, now = np.zeros(count), np.full(count, step)
    was, found = value(last), value(now)
    for _ in range(ROUNDS):
        if np.abs(found).max(initial=0.0) <= MET:
            break
        rise = found - was
        flat = np.abs(rise) < 1e-300
        move = np.where(flat | (np.abs(found) <= MET), 0.0, -found * (now - last) / np.where(flat, 1.0, rise))
        move = np.clip(move, -0.5 * most, 0.5 * most)
        last, now, was = now, now + move, found
        found = value(now)
    return np.where((np.abs(found) <= 100.0 * MET) & (np.abs(now) <= most), now, np.nan)


def limit_drafts(bench: Bench, finding: Finding) -> list[Draft | None]:
    """Return the ways to bring a joint back within its range."""
    name, foot = finding.part.replace(" ", "_"), FEET.index(finding.foot)
    row = Limits.NAMES.index(name)
    window = bench.window(finding, seconds=EASING)
    at = window.frames % bench.clip.frames if bench.loop else window.frames
    low, high = limits_of(bench.rig)[:, row, foot]
    angle = nearest_turn(bench.joints[row, foot].take(at), low, high)
    inside = bench.spell(finding, window)[::PER_FRAME]
    beyond = np.where(inside, np.maximum(low - angle, angle - high), 0.0)
    above = bool(angle[int(beyond.argmax())] > high)
    asked = (beyond > 0.0) & ((angle > high) == above)
    end = high - WITHIN if above else low + WITHIN
    pose = bench.scene.pose.at(at)
    measured = np.full(len(at), foot)
    found: list[Draft | None] = []
    for axis, grown, shrunk in WAYS[name]:
        if axis == "knee" and bench.free(bench.feet[foot], "knee") is None:
            continue
        if axis in ("rolled", "bend") and not bench.rig.legs[foot].foot.hinged:
            continue
        change = _change(bench, axis, foot, window, pose)
        is_shift = axis in ("ahead", "aside", "along")

        def off(by: Array, change: Change = change) -> Array:
            joint = joints_of_one(bench.rig, _moved(pose, foot, change(by)), measured)[row, 0]
            return np.where(asked, nearest_turn(joint, low, high) - end, 0.0)

        most = MOST_SHIFT * bench.rig.leg if is_shift else MOST_TURN
        root = root_of(off, len(at), step=TINY, most=most)
        need = np.where(asked & ~np.isnan(root), root, 0.0)
        worst = float(need[int(np.abs(need).argmax())])
        sign = 1.0 if worst > 0.0 else -1.0
        need = np.maximum(sign * need, 0.0)
        if need.max(initial=0.0) <= NOTHING:
            continue
        lows = np.zeros(len(window.samples))
        lows[::PER_FRAME] = need
        by = sign * least_change(window, lows, ease=BENDING * bench.rate)
        found.append(bench.foot_draft(finding, grown if worst > 0.0 else shrunk, foot, window, change(by)))
    return found


def _change(bench: Bench, axis: str, foot: int, window: Window, pose: Pose) -> Change:
    """Return what makes the world change of a foot, by axis, of how far one thing of it changes."""
    if axis == "rolled":
        return lambda by: rolled(bench, foot, window, by)
    if axis in ("swing", "sweep"):
        about = -pose.hips_turn[:, 0] if axis == "swing" else pose.hips_turn[:, 2]
        return lambda by: _about_hip(pose.ankle[:, foot] - pose.hip[:, foot], about, by)
    if axis not in ("ahead", "aside", "along"):
        return lambda by: {axis: by}
    if axis == "along":
        way = pose.hip[:, foot] - pose.ankle[:, foot]
    else:
        way = pose.hips_turn[:, 2 if axis == "ahead" else 0] * np.array([[1.0], [0.0], [1.0]])
    x, y, z = way / np.maximum(np.sqrt((way * way).sum(axis=0)), 1e-9)
    if axis == "along":
        return lambda by: {"x": x * by, "y": y * by, "z": z * by}
    return lambda by: {"x": x * by, "z": z * by}


def _about_hip(arm: Array, axis: Array, by: Array) -> dict[str, Array]:
    """Return the shift of an ankle at ``arm`` ``(3, n)`` from its hip that turns about an axis through the hip."""
    across = np.array([axis[(i + 1) % 3] * arm[(i + 2) % 3] - axis[(i + 2) % 3] * arm[(i + 1) % 3] for i in range(3)])
    held = axis * (axis * arm).sum(axis=0)
    return dict(zip("xyz", (np.cos(by) - 1.0) * (arm - held) + np.sin(by) * across, strict=True))


def _moved(pose: Pose, foot: int, change: dict[str, Array]) -> Pose:
    """Return the pose with one foot's world pose changed."""
    ankle, angles, bend, knee = (part.copy() for part in (pose.ankle, pose.angles, pose.bend, pose.knee))
    for key, by in change.items():
        if key == "bend":
            bend[foot] += by
        elif key == "knee":
            knee[foot] += by
        elif key in "xyz":
            ankle["xyz".index(key), foot] += by
        else:
            angles[("pitch", "yaw", "roll").index(key), foot] += by
    return replace(pose, ankle=ankle, angles=angles, bend=bend, knee=knee)
