"""Ways to mend a slide: the ankle's shift a frame that holds its anchor, from one footprint or another."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.bench import Bench, Draft
from surefoot.clip import Stance
from surefoot.easing import Window
from surefoot.findings import Finding
from surefoot.lean import along_slope, lean_of
from surefoot.rig import FEET
from surefoot.slide import drift_of
from surefoot.touch import PER_FRAME

__all__ = ["shifted_stance", "slide_drafts", "stance_of"]

Array = NDArray[np.float64]


def slide_drafts(bench: Bench, finding: Finding) -> list[Draft | None]:
    """Return the two ways: hold the foot where it lies flat, or on the footprint that needs least."""
    stance = stance_of(bench, finding)
    frames = _path(bench, stance)[:, ::PER_FRAME]
    at = np.arange(stance.first, stance.last + 1) - bench.clip.first
    foot = FEET.index(stance.foot)
    pitch = np.abs(bench.scene.angles[0, foot, at % bench.clip.frames])
    flat = int(pitch.argmin())
    ways = {
        "hold in place": frames[:, [flat]] - frames,
        "another footprint": frames.mean(axis=1, keepdims=True) - frames,
    }
    return shifted_stance(bench, finding, stance, ways)


def _path(bench: Bench, stance: Stance) -> Array:
    """Return the drift of a stance since its start at its samples, ``(2, samples)`` x and z, metres."""
    if bench.scene.drift is not None and bench.scene.drift.turn != 0.0:
        return drift_of(bench.touch, stance)[0]
    first, last = ((frame - bench.clip.first) * PER_FRAME for frame in (stance.first, stance.last))
    path = np.zeros((2, last - first + 1))
    own = bench.wrapped(np.arange(first + 1, last + 1))
    bench.steps[:, FEET.index(stance.foot)].take(own, axis=1).cumsum(axis=1, out=path[:, 1:])
    return path


def stance_of(bench: Bench, finding: Finding) -> Stance:
    """Return the stance that a finding of a slide is about."""
    return next(s for s in bench.report.stances if s.foot == finding.foot and s.first == finding.first)


def shifted_stance(bench: Bench, finding: Finding, stance: Stance, ways: Mapping[str, Array]) -> list[Draft | None]:
    """Return the drafts that shift a stance, each by ``(2, frames)`` x and z, along the slope where there is one.

    The swings carry the shift; the foot's other stances stay where they are.
    """
    clip, foot = bench.clip, FEET.index(stance.foot)
    count = clip.frames
    own = np.arange(stance.first, stance.last + 1) - clip.first
    drift = bench.scene.drift
    back = np.zeros(len(own)) if drift is None or drift.turn == 0.0 else -drift.turn * (own // count)
    s, c = np.sin(back), np.cos(back)
    window, lead = _between_neighbours(bench, stance)
    known = np.zeros(window.count, dtype=bool)
    known[lead : lead + len(own)] = True
    if window.closed:  # from the stance round to itself again
        known[-1] = True
    else:
        known[[0, -1]] |= window.level
    given, lean = np.zeros((len(ways), 3, window.count)), lean_of(bench.scene.ground)
    for row, (x, z) in enumerate(ways.values()):
        ground = along_slope(c * x + s * z, c * z - s * x, lean)
        given[row, :, lead : lead + len(own)] = bench.to_world(ground, own % count)
        if window.closed:
            given[row, :, -1] = given[row, :, 0]
    shifts = Band.of(known, np.array([0])).fade(given.reshape(-1, window.count)).reshape(given.shape)
    return [
        bench.foot_draft(finding, way, foot, window, {"x": x, "y": y, "z": z})
        for way, (x, y, z) in zip(ways, shifts, strict=True)
    ]


def _between_neighbours(bench: Bench, stance: Stance) -> tuple[Window, int]:
    """Return the window from the foot's stance before to its stance after, and how far into it this one begins."""
    clip, loop = bench.clip, bench.loop
    first, last = stance.first - clip.first, stance.last - clip.first
    spans = [(s.first - clip.first, s.last - clip.first) for s in bench.report.stances if s.foot == stance.foot]
    if loop and len(spans) == 1:
        return Window(first % clip.frames, clip.frames + 1, (False, False), closed=True), 0
    if loop:
        spans = [(a + lap, b + lap) for a, b in spans for lap in (-clip.frames, 0, clip.frames)]
    start = max((b for _, b in spans if b < first), default=0)
    end = min((a for a, _ in spans if a > last), default=clip.frames - 1)
    level = (
        loop or any(b == start for _, b in spans if b < first),
        loop or any(a == end for a, _ in spans if a > last),
    )
    size = end - start + 1
    return Window(start % clip.frames if loop else start, size, level), first - start
