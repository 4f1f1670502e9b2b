"""A slide from the side: where the touching point is in the worst frame, where it was farthest off, how far that is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.findings import Finding
from surefoot.lean import along_slope, lean_of
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import Pen, text_width
from surefoot.rig import FEET
from surefoot.slide import drift_of, samples_of
from surefoot.slip import TOUCHING

__all__ = ["draw_slide", "slid_between"]

Array = NDArray[np.float64]

DEEP = 15.0
"""CSS pixels from the ground down to the measure's line."""
HEAD = 5.0
"""CSS pixels: how long an arrow's head is."""


def slid_between(subject: Subject, finding: Finding) -> Array:
    """Return where a slide's touching point was farthest off, and where it is in the worst frame.

    ``(2, 3)``, metres, ground space. It's the middle of the points that touch in the worst frame, and
    the same moved back by the drift between the two.
    """
    touch, scene = subject.seen.touch, subject.scene
    own = (finding.foot, finding.first, finding.last)
    stance = next(s for s in subject.report.stances if (s.foot, s.first, s.last) == own)
    path, frames = drift_of(touch, stance)
    now = int(np.abs(frames - finding.worst).argmin())
    back = path - path[:, now, None]
    then = int(np.abs(np.hypot(*back) - finding.amount).argmin())
    samples, laps, _ = samples_of(touch, stance)
    at, foot = samples[now], FEET.index(stance.foot)
    height = touch.height[:, foot, at]
    here = touch.points[:, height < height.min() + TOUCHING, foot, at].mean(axis=1, keepdims=True)
    there = here if scene.drift is None else scene.drift.apply(here, times=int(laps[now]))
    there = there + along_slope(back[:1, then], back[1:, then], lean_of(scene.ground))
    there = there if scene.drift is None else scene.drift.apply(there, times=-int(laps[now]))
    return np.concatenate([there, here], axis=1).T


def draw_slide(pen: Pen, ends: Array, words: str, wide: float, tall: float) -> None:
    """Draw a slide between two places of a window's paper, ``(2, 2)``: a ring, a dot, and the measure under them."""
    (then, high), (now, low) = ends.tolist()
    line = min(float(ends[:, 1].max()) + DEEP, tall - 17.0)
    pen.path(ends, "sf-streak")
    for x, y in ends.tolist():
        pen.line(x, y, x, line + 4.0, "sf-ink")
    pen.line(then, line, now, line, "sf-ink")
    if abs(now - then) > 2.0 * HEAD:
        back = now - HEAD * float(np.sign(now - then))
        pen.path([(now, line), (back, line - 0.6 * HEAD), (back, line + 0.6 * HEAD)], "sf-ink-full", closed=True)
    pen.dot(then, high, 3.6, "sf-ink-ring")
    pen.dot(now, low, 3.6, "sf-ink-dot")
    half = text_width(words, 11.0) / 2.0 + 4.0
    middle = min(max((then + now) / 2.0, half), wide - half)
    pen.text(middle, line + 13.0, words, size=11.0, anchor="middle", style="sf-note")
