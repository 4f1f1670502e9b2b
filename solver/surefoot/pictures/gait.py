"""Gait diagram: bars of stance for each foot over the cycle in per cent, with lanes for heel, ball and toe.

In the manner of M. Hildebrand, "Symmetrical gaits of horses", Science 150:701-708, 1965 (from memory), who drew a
bar a foot while it's on the ground and measured the cycle in per cent. The lanes are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.cautions import FOR_ANIMATION
from surefoot.pictures.axes import Panel, round_ticks, told
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import WIDTH, Pen, Picture
from surefoot.rig import FEET

__all__ = ["Cycle", "cycle_of", "gait_diagram", "touching"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEFT = 150.0
PARTS = ("heel", "ball", "toe")


class Cycle(NamedTuple):
    """Where the cycle begins and how long it is, in frames; ``length`` 0 where there is no whole one."""

    start: float
    length: float


def cycle_of(subject: Subject) -> Cycle:
    """Return the cycle from the left foot's contact to its next, or the right's where the left has none.

    A loop's is the loop; else the mean between a foot's contacts.
    """
    for foot in FEET:
        firsts = sorted(s.first for s in subject.report.stances if s.foot == foot)
        if subject.clip.loop and firsts:
            return Cycle(float(firsts[0]), float(subject.clip.frames))
        if len(firsts) > 1:
            return Cycle(float(firsts[0]), (firsts[-1] - firsts[0]) / (len(firsts) - 1))
    return Cycle(float(subject.clip.first), float(subject.clip.frames) if subject.clip.loop else 0.0)


def touching(subject: Subject) -> Flags:
    """Return whether heel, ball and toe touch at each sample, ``(3, 2, samples)``.

    They do in a stance, while lower than the hover that is a warning.
    """
    limit = subject.report.tolerances["hover"][1]
    height = subject.seen.touch.height[-3:]
    return np.asarray((height < limit) & _stance_flags(subject)[None])


def gait_diagram(subject: Subject, *, before: Subject | None = None) -> Picture:
    """Return the gait diagram; ``before`` is drawn as an open bar under each."""
    clip, cycle = subject.clip, cycle_of(subject)
    pen = Pen()
    top = pen.heading("Gait diagram", _under(subject, cycle))
    across = (
        (cycle.start, cycle.start + cycle.length)
        if clip.loop
        else (float(clip.first), float(max(clip.last, clip.first + 1)))
    )
    panel = Panel(LEFT, top + 34, WIDTH - LEFT - 40, 0.0, across, (0.0, 1.0))
    y = panel.y
    pen_scales = len(pen.body)
    down, was = touching(subject), touching(before or subject)
    for foot, name in enumerate(FEET):
        pen.text(LEFT - 70, y + 16, name, size=14.0, anchor="end", bold=True)
        pen.text(LEFT - 12, y + 16, "stance", size=12.0, anchor="end")
        _bars(pen, panel, _all_round(subject, _spans(subject, foot)), y, 22.0, f"sf-{name}-full")
        y += 26
        if before is not None:
            pen.text(LEFT - 12, y + 8, "before", size=11.0, anchor="end", style="sf-soft")
            _bars(pen, panel, _all_round(before, _spans(before, foot)), y, 8.0, "sf-open")
            y += 14
        y += 4
        for part, word in enumerate(PARTS):
            pen.text(LEFT - 12, y + 9, word, size=11.0, anchor="end", style="sf-soft")
            pen.line(LEFT, y + 5, LEFT + panel.width, y + 5, "sf-hair")
            _bars(pen, panel, _all_round(subject, _runs(subject, down[part, foot])), y, 10.0, f"sf-{name}-full")
            y += 14
            if before is not None:
                _bars(pen, panel, _all_round(before, _runs(before, was[part, foot])), y - 2, 4.0, "sf-open")
                y += 6
        y += 18
    scales = Pen()
    _scales(scales, panel, cycle, y, clip.loop)
    pen.body[pen_scales:pen_scales] = scales.body  # under the bars
    words = _shares(subject, cycle)
    pen.text(24, y + 44, words, size=12.0)
    note = f"a part touches while lower than {subject.report.tolerances['hover'][1] * 1e3:.3g} mm in a stance"
    note += "; open bars: before" if before is not None else ""
    pen.text(24, y + 62, f"{note}; {FOR_ANIMATION}", size=11.0, style="sf-soft")
    return pen.picture("Gait diagram", words + ".", y + 78)


def _under(subject: Subject, cycle: Cycle) -> str:
    if not cycle.length:
        return f"{subject.name}: stance over the frames; there's no whole cycle"
    seconds = cycle.length * subject.clip.step
    return f"{subject.name}: stance over a cycle of {cycle.length:.4g} frames, {seconds:.3g} s (after Hildebrand 1965)"


def _all_round(subject: Subject, spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return a loop's spans a round earlier and later too."""
    size = subject.clip.frames
    turns = (-size, 0, size) if subject.clip.loop else (0,)
    return [(first + turn, last + turn) for turn in turns for first, last in spans]


def _spans(subject: Subject, foot: int) -> list[tuple[float, float]]:
    return [(float(s.first), float(s.last)) for s in subject.report.stances if s.foot == FEET[foot]]


def _stance_flags(subject: Subject) -> Flags:
    """Return which samples lie in a stance, those left alone too, ``(2, samples)``."""
    at, clip = subject.seen.fine.frames, subject.clip
    down = np.zeros((2, len(at)), dtype=bool)
    for stance in subject.report.stances:
        after = (at - stance.first) % clip.frames if clip.loop else at - stance.first
        down[FEET.index(stance.foot)] |= (after >= -1e-9) & (after <= stance.last - stance.first + 1e-9)
    return down


def _runs(subject: Subject, flags: Flags) -> list[tuple[float, float]]:
    """Return the spans of frames in which a flag is up."""
    at = subject.seen.fine.frames
    edge = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    found = [(float(at[a]), float(at[b - 1])) for a, b in edge.reshape(-1, 2).tolist()]
    if subject.clip.loop and len(found) > 1 and flags[0] and flags[-1]:  # one over the seam
        (_, end), *between, (start, _) = found
        return [*between, (start, end + subject.clip.frames)]
    return found


def _bars(pen: Pen, panel: Panel, spans: Sequence[tuple[float, float]], y: float, height: float, style: str) -> None:
    """Draw bars, wherever the panel shows them; a touch of one sample is a pixel wide."""
    low, high = panel.across
    for first, last in spans:
        a, b = max(first, low), min(last, high)
        if b >= a and (b > a or first == last):
            x1, x2 = panel.at([a, b]).tolist()
            pen.rect(x1, y, max(x2 - x1, 1.0), height, style)


def _scales(pen: Pen, panel: Panel, cycle: Cycle, y: float, loop: bool) -> None:
    """Draw the frames above and the per cent of the cycle below."""
    low, high = panel.across
    pen.line(panel.x, panel.y - 8, panel.x + panel.width, panel.y - 8, "sf-ink")
    step = max(1, round(round_ticks(0.0, high - low, 16)[1]))
    for frame in range(round(low), round(high) + 1, step):
        if low <= frame <= high:
            x = float(panel.at(frame))
            pen.line(x, panel.y - 12, x, panel.y - 8, "sf-ink")
            pen.text(x, panel.y - 16, told(frame), size=11.0, anchor="middle", style="sf-soft")
    pen.text(panel.x - 12, panel.y - 16, "frame", size=11.0, anchor="end", style="sf-soft")
    if not cycle.length:
        return
    pen.line(panel.x, y, panel.x + panel.width, y, "sf-ink")
    share = [(edge - cycle.start) / cycle.length * 100.0 for edge in (low, high)]
    for percent in round_ticks(share[0], share[1], 11 if loop else 15):
        x = float(panel.at(cycle.start + percent / 100.0 * cycle.length))
        pen.line(x, y, x, y + 4, "sf-ink")
        pen.line(x, panel.y - 8, x, y, "sf-hair sf-dots")
        pen.text(x, y + 17, told(percent), size=11.0, anchor="middle", style="sf-soft")
    pen.text(panel.x - 12, y + 17, "% of cycle", size=11.0, anchor="end", style="sf-soft")


def _shares(subject: Subject, cycle: Cycle) -> str:
    """Return the share of the cycle that each foot stands, in words."""
    if not cycle.length:
        return "no whole cycle: no shares"
    parts = []
    for foot, name in enumerate(FEET):
        ends = () if subject.clip.loop else (subject.clip.first, subject.clip.last)
        whole = [b - a for a, b in _spans(subject, foot) if a not in ends and b not in ends]
        if subject.clip.loop:
            parts.append(f"{name} foot on the ground {100.0 * sum(whole) / cycle.length:.1f} % of the cycle")
        elif whole:
            mean = 100.0 * sum(whole) / len(whole) / cycle.length
            of = f"mean of {len(whole)} whole stances" if len(whole) > 1 else "one whole stance"
            parts.append(f"{name} foot on the ground {mean:.1f} % of the cycle ({of})")
    return "; ".join(parts) or "no foot stands"
