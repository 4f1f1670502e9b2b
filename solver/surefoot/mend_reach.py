"""Ways to mend a stretch: a roll of the foot, a nearer footprint or swing, a lowering of the hips.

For a foot that turns about a pivot the squared distance from hip to ankle is ``A + B cos + C sin`` of the turn; for
hips that are lowered it's a square in how far. Both give in closed form what each sample needs.
"""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, least_change
from surefoot.findings import Finding
from surefoot.mend_height import rolled
from surefoot.mend_slide import shifted_stance
from surefoot.reach import allowed_length
from surefoot.rig import FEET
from surefoot.touch import PER_FRAME

__all__ = ["ROLLS", "Legs", "hips_draft", "lowering", "roll_to_length", "stretch_drafts"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Disc = tuple[float, float, float]
"""Of shifts across the ground: its middle's x and z, and its radius, metres."""

EASING, BENDING = 0.08, 0.04
HIPS_EASING, HIPS_BENDING = 0.3, 0.12
"""Seconds over which changes ease in and out, and over which they like to bend."""
MOST_TURN = float(np.radians(25.0))
LONGEST_LOOP = 240
"""Frames: the hips of a longer loop are lowered about the finding, not all round."""
ROLLS = (("heel up", "heel down"), ("more pitch", "less pitch"))
"""What positive and negative turns are called, about the ball and about the heel."""
ROUNDS = 60
TOUCHING, ROUNDING = 1e-13, 1e-12
"""Metres by which a disc may be missed: by the answer, and by a corner of two others that is tried."""
FARTHEST = 0.1
"""Of the leg: a footprint is moved nearer by at most so much."""


def roll_to_length(ankle: Array, hip: Array, pivot: Array, lateral: Array, length: Array) -> Array:
    """Return the turns about a level axis through a pivot that bring the ankle to a distance from the hip.

    Parameters
    ----------
    ankle, hip, pivot, lateral : ndarray, shape (3, ...)
        The axis is of unit length; a positive turn is pitch: it lifts the heel.
    length : ndarray, shape (...)
        Metres.

    Returns
    -------
    ndarray, shape (2, ...)
        Radians from 0 on, of positive and of negative turns: the smaller of the two that do it; NaN for none below
        25 degrees.
    """
    ex, _, ez = lateral
    arm, far = ankle - pivot, hip - pivot
    up, ahead = arm[1], arm[2] * ex - arm[0] * ez
    hip_up, hip_ahead = far[1], far[2] * ex - far[0] * ez
    cosine, sine = up * hip_up + ahead * hip_ahead, up * hip_ahead - ahead * hip_up
    square = arm * arm + far * far
    total = square[0] + square[1] + square[2] - 2.0 * (arm[0] * ex + arm[2] * ez) * (far[0] * ex + far[2] * ez)
    size = np.hypot(cosine, sine)
    share = (total - length**2) / np.maximum(2.0 * size, 1e-12)
    spread, phase = np.arccos(np.clip(share, -1.0, 1.0)), np.arctan2(sine, cosine)
    forward, back = phase - spread, phase + spread
    ways = np.array([[forward, back], [-forward, -back]])
    found = (np.remainder(ways + 1e-9, 2.0 * np.pi) - 1e-9).min(axis=1)
    return np.where((np.abs(share) <= 1.0) & (found <= MOST_TURN), np.maximum(found, 0.0), np.nan)


class Legs:
    """How long the legs may be made at each sample, and how far they are beyond it, ``(2, samples)`` metres."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        distance = bench.over + bench.legs
        self.limit = allowed_length(distance, bench.legs, bench.rig.reach)
        self.excess = distance - self.limit
        self.line = (bench.fine.hip - bench.fine.ankle) / np.maximum(distance, 1e-9)
        self._round: Array | None = None

    def lowering_round(self, window: Window) -> Array:
        """Return the least lowering of the hips round a whole loop, ``(count,)`` metres; worked out once."""
        if self._round is None:
            self._round = self._lowered(window, np.ones(len(window.samples), dtype=bool))
        return self._round

    def _lowered(self, window: Window, inside: Flags) -> Array:
        bench, at = self.bench, self.bench.samples_of(window)
        need = lowering(bench.fine.hip - bench.fine.ankle, self.limit)[:, at]
        low = np.where(inside & (self.excess[:, at] > 1e-9).any(axis=0), need.max(axis=0), 0.0)
        return least_change(window, np.maximum(low, 0.0), ease=HIPS_BENDING * bench.rate)

    def lowered(self, finding: Finding) -> tuple[Window, Array]:
        """Return the window and the least smooth lowering of the hips, metres, that brings both legs within reach."""
        bench = self.bench
        if bench.loop and bench.clip.frames <= LONGEST_LOOP:
            window = Window(0, bench.clip.frames + 1, (False, False), closed=True)
            return window, self.lowering_round(window)
        window = bench.window(finding, seconds=HIPS_EASING)
        return window, self._lowered(window, bench.spell(finding, window))


def lowering(way: Array, limit: Array) -> Array:
    """Return by how much hips must be lowered for a leg to be no longer than ``limit``, metres.

    ``way`` ``(3, ...)`` leads from ankle to hip. Where no lowering does it: by as much as brings the hip nearest.
    """
    beside = limit**2 - way[0] ** 2 - way[2] ** 2
    return np.asarray(np.maximum(way[1] - np.sqrt(np.maximum(beside, 0.0)), 0.0))


def stretch_drafts(bench: Bench, finding: Finding, legs: Legs) -> list[Draft | None]:
    """Return the ways to bring a hip and an ankle within the leg's length of each other."""
    foot = FEET.index(finding.foot)
    window = bench.window(finding, seconds=EASING)
    at, inside = bench.samples_of(window), bench.spell(finding, window)
    short = np.where(inside, np.maximum(legs.excess[foot, at], 0.0), 0.0)
    found = [*_rolls(bench, finding, legs, window, short)]
    if (bench.down[foot, at] & (short > 0.0)).any():
        found.append(_nearer_footprint(bench, finding, legs))
    if not bench.down[foot, at[int(short.argmax())]]:
        found.append(_nearer(bench, finding, legs, window, short))
    lowered, amount = legs.lowered(finding)
    found.append(hips_draft(bench, finding, lowered, amount))
    return found


def _rolls(bench: Bench, finding: Finding, legs: Legs, window: Window, short: Array) -> list[Draft | None]:
    """Return the rolls of the foot about its ball, or about its heel where that is the lower."""
    foot, at = FEET.index(finding.foot), bench.samples_of(window)
    worst = at[int(short.argmax())]
    on_heel = bool(bench.touch.height[-3, foot, worst] < bench.touch.height[-2, foot, worst])
    pivot = bench.heel if on_heel else bench.hinge
    turns = roll_to_length(
        bench.fine.ankle[:, foot, at], bench.fine.hip[:, foot, at], pivot[:, foot, at],
        bench.lateral[:, foot, at], legs.limit[foot, at],
    )  # fmt: skip
    found, needs = [], np.where((short > 0.0) & ~np.isnan(turns), turns, 0.0)
    for sign, way, need in zip((1.0, -1.0), ROLLS[on_heel], needs, strict=True):
        if not need.any():
            continue
        amount = sign * least_change(window, need, ease=BENDING * bench.rate)
        change = bench.about(pivot, foot, window, amount) if on_heel else rolled(bench, foot, window, amount)
        found.append(bench.foot_draft(finding, way, foot, window, change))
    return found


def _nearer(bench: Bench, finding: Finding, legs: Legs, window: Window, short: Array) -> Draft | None:
    """Return the swinging foot drawn nearer along its leg."""
    foot = FEET.index(finding.foot)
    amount = least_change(window, short, ease=BENDING * bench.rate)
    line = legs.line[:, foot, bench.samples_of(window)[::PER_FRAME]]
    x, y, z = bench.to_world(line * amount, window.frames)
    return bench.foot_draft(finding, "nearer", foot, window, {"x": x, "y": y, "z": z})


def _nearer_footprint(bench: Bench, finding: Finding, legs: Legs) -> Draft | None:
    """Return the stance moved across the ground by the least that brings all of it within reach."""
    foot, first = FEET.index(finding.foot), bench.clip.first
    rounds = (0, bench.clip.frames) if bench.loop else (0,)
    for stance in bench.report.stances:
        meets = any(finding.first + r <= stance.last and finding.last + r >= stance.first for r in rounds)
        if stance.foot != finding.foot or stance.left_alone or not meets:
            continue
        samples = np.arange((stance.first - first) * PER_FRAME, (stance.last - first) * PER_FRAME + 1)
        at = bench.wrapped(samples)
        arm = bench.fine.ankle[:, foot, at] - bench.fine.hip[:, foot, at]
        inside = _in_finding(bench, finding, samples)
        length = np.sqrt((arm**2).sum(axis=0))
        longest = np.maximum(bench.legs[foot, 0] + bench.bounds["stretch"][0], length)
        limit = np.where(inside & (length > legs.limit[foot, at]), legs.limit[foot, at], longest)
        shift = least_shift(arm, limit, most=FARTHEST * bench.rig.leg)
        if shift is not None and np.hypot(*shift) > 1e-9:
            count = stance.last - stance.first + 1
            ways = {"nearer footprint": np.repeat(shift[:, None], count, axis=1)}
            return shifted_stance(bench, finding, stance, ways)[0]
    return None


def _in_finding(bench: Bench, finding: Finding, samples: NDArray[np.intp]) -> Flags:
    """Return which samples of a stance, counted on over the seam, lie in a finding's frames."""
    first, last = ((f - bench.clip.first) * PER_FRAME for f in (finding.first, finding.last))
    rounds = (-len(bench.fine.frames), 0, len(bench.fine.frames)) if bench.loop else (0,)
    return np.asarray(sum((samples >= first + r) & (samples <= last + r) for r in rounds) > 0)


def least_shift(arm: Array, limit: Array, *, most: float) -> Array | None:
    """Return the least shift ``(2,)``, x and z, for which ``arm`` ``(3, n)`` is within ``limit`` ``(n,)``.

    None where none up to ``most`` metres does it. Each sample asks for a shift within a disc, and the least that lies
    in all of them is nearest to the origin in one of them, or a corner of two. The disc that is missed by most
    joins one or two that hold so far, again and again; the shift only grows, so that ends.
    """
    x, y, z = arm
    beside = limit * limit - y * y
    if beside.min() < 0.0:
        return None
    radius = np.sqrt(beside)
    shift, held = (0.0, 0.0), list[int]()
    for _ in range(ROUNDS):
        miss = np.hypot(x + shift[0], z + shift[1]) - radius
        worst = int(miss.argmax())
        if miss[worst] <= TOUCHING:
            return np.array(shift)
        discs = [(-float(x[k]), -float(z[k]), float(radius[k])) for k in (*held, worst)]
        met = [(point, rows) for point, rows in _corners(discs) if _inside(point, discs)]
        if not met:
            return None
        shift, rows = min(met, key=lambda one: hypot(*one[0]))
        if hypot(*shift) > most:
            return None
        held = [(*held, worst)[row] for row in rows]
    return None


def _corners(discs: list[Disc]) -> list[tuple[tuple[float, float], tuple[int, ...]]]:
    """Return the points of the last disc that may be the least in all of them, and the discs that each is held by.

    They're its own point nearest to the origin, and the corners of its rim with each other rim.
    """
    x, z, radius = discs[-1]
    last, far = len(discs) - 1, hypot(x, z)
    near = max(far - radius, 0.0) / far if far else 0.0
    found: list[tuple[tuple[float, float], tuple[int, ...]]] = [((x * near, z * near), (last,))]
    for row, (other_x, other_z, other) in enumerate(discs[:-1]):
        dx, dz = other_x - x, other_z - z
        apart = hypot(dx, dz)
        if not abs(radius - other) < apart <= radius + other:
            continue
        along = (apart * apart + radius * radius - other * other) / (2.0 * apart)
        side = sqrt(max(radius * radius - along * along, 0.0))
        for sign in (1.0, -1.0):
            corner = (x + (along * dx - sign * side * dz) / apart, z + (along * dz + sign * side * dx) / apart)
            found.append((corner, (row, last)))
    return found


def _inside(point: tuple[float, float], discs: list[Disc]) -> bool:
    return all(hypot(point[0] - x, point[1] - z) <= radius + ROUNDING for x, z, radius in discs)


def hips_draft(bench: Bench, finding: Finding, window: Window, lower: Array) -> Draft | None:
    """Return the hips lowered by so much in each frame, which must be let first; None where their y can't do it."""
    row = bench.free("hips", "y")
    if row is None or np.abs(lower).max(initial=0.0) <= 1e-9:
        return None
    rig = bench.rig
    up = rig.controls["hips"].parent == "world"
    apart = all(foot.parent == "world" for foot in rig.feet)
    if not (up and apart):
        return None
    asks = bench.scene.binding.names[row]
    return Draft(finding, "lower the hips", window, (row,), -lower[None], asks=asks)
