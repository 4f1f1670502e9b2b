"""Ways to mend a seam: the values and slopes of the keys at a loop's two ends that close it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.easing import Window
from surefoot.findings import Finding
from surefoot.key_edits import wrapped_in
from surefoot.seam import SLOPE_WEIGHT, seam_gap
from surefoot.touch import PER_FRAME

__all__ = ["closed_curve", "seam_drafts"]

Array = NDArray[np.float64]

WAYS = {"last key as the first": 0.0, "first key as the last": 1.0, "meet half-way": 0.5}
"""What share of the gap in value the first key takes."""


def seam_drafts(bench: Bench, finding: Finding, scale: float) -> list[Draft]:
    """Return the ways to close one channel; ``scale`` is metres (or radians) for one unit of it."""
    clip, name = bench.clip, finding.part
    old = clip.channels[name]
    if name in clip.locked:
        return []
    window = Window(0, clip.frames + 1, (False, False), closed=True)
    before = seam_gap(old, clip.first, clip.last)
    rows, foot = _bound(bench, name)
    found = []
    for way, share in WAYS.items():
        if before[0] == 0.0 and share:
            continue  # the values meet already: only the slopes differ, and there's one way for those
        new = closed_curve(old, clip.first, clip.last, share=share)
        gap = seam_gap(new, clip.first, clip.last)
        told = "slopes as one" if before[0] == 0.0 else way
        change = np.subtract(*Pack.from_curves([new, old]).evaluate(bench.fine.frames)) * scale
        change = np.append(change, change[0])[None]
        weighed = [max(value, SLOPE_WEIGHT * slope) for value, slope in (gap, before)]
        left = finding.amount * weighed[0] / weighed[1] if weighed[1] else 0.0
        at_frames = change[:, ::PER_FRAME]
        found.append(Draft(finding, told, window, rows, at_frames, foot, "", {name: new}, change, left))
    return found


def _bound(bench: Bench, name: str) -> tuple[tuple[int, ...], int]:
    """Return the row of a channel that the rig knows, else none, and which soles it moves (-2 for both)."""
    for (control, _), row in bench.scene.binding.rows.items():
        if bench.scene.binding.names[row] == name:
            own = [side for side, foot in enumerate(bench.feet) if control == foot]
            return (row,), own[0] if own else -2
    return (), -1


def closed_curve(old: Curve, first: int, last: int, *, share: float) -> Curve:
    """Return a curve whose frame ``last + 1`` is its frame ``first`` again in value and slopes.

    The first key takes ``share`` of the gap in value, the last key the rest. What the curve does on its way out
    of the first frame and into the last stays: the first key's slope out and the last key's slope in count for both.
    One that advances keeps its travel. Keys beyond the loop are wrapped in.
    """
    old = wrapped_in(old, float(first), float(last + 1 - first))
    ends = np.array([float(first), float(last + 1)])
    times = np.union1d(old.frames, ends)
    pack = Pack.from_curves([old])
    values = pack.evaluate(times)[0]
    slope_in, slope_out = pack.slopes(times, side="left")[0], pack.slopes(times, side="right")[0]
    own_in, own_out = resolve_slopes(old)
    keyed = np.searchsorted(times, old.frames)
    slope_in[keyed], slope_out[keyed] = own_in, own_out
    start, end = np.searchsorted(times, ends)
    if old.after != Outside.ADVANCE:
        gap = values[end] - values[start]
        values[start] += share * gap
        values[end] = values[start]
    leaving = float(pack.slopes(ends[:1], side="right")[0, 0])
    entering = float(pack.slopes(ends[1:], side="left")[0, 0])
    slope_out[[start, end]], slope_in[[start, end]] = leaving, entering
    shapes = np.full(len(times), Shape.GIVEN, dtype=np.int8)
    shapes[keyed] = np.where(old.shapes == Shape.STEP, np.int8(Shape.STEP), np.int8(Shape.GIVEN))
    inside = (times >= ends[0]) & (times <= ends[1])
    rule = Outside.ADVANCE if old.after == Outside.ADVANCE else Outside.REPEAT
    return Curve(times[inside], values[inside], shapes[inside], slope_in[inside], slope_out[inside], None, rule, rule)
