"""Track plan: the footprints from above, with frames, strides and step widths, and slides as streaks to scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.axes import Panel
from surefoot.pictures.figure import ground_line, looked_at
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import WIDTH, Pen, Picture, text_width
from surefoot.pictures.tracks import Stride, Track, strides_of, tracks_of
from surefoot.rig import FEET

__all__ = ["track_plan"]

Array = NDArray[np.float64]

MARGIN = 96.0
MOST_SCALE = 400.0
"""Pixels a metre: a foot is then about a tenth of the sheet's width."""
LEAST_SCALE = 150.0
COUNTED = ("no", "one", "two", "three", "four", "five", "six")
ROUNDS = (6, 5, 4, 3, 2)
"""How many rounds of a loop are drawn: the most that fit at the largest scale, but two, so that strides are seen."""


def track_plan(subject: Subject, *, before: Subject | None = None) -> Picture:
    """Return the track plan of a clip; ``before`` is drawn faint behind it."""
    heading = subject.figure.heading
    rounds = _rounds(subject, heading)
    tracks = tracks_of(subject, rounds=rounds)
    earlier = () if before is None else tracks_of(before, rounds=rounds)
    pen = Pen()
    if not tracks and not earlier:
        top = pen.heading("Track plan", f"{subject.name}: no foot stands anywhere")
        return pen.picture("Track plan", "No foot stands anywhere.", top + 20)
    everything = np.concatenate([_corners(track, heading) for track in (*tracks, *earlier)])
    first = float(everything[:, 0].min())
    span = min(float(everything[:, 0].max()) - first, (WIDTH - 2 * MARGIN) / LEAST_SCALE)
    scale = min((WIDTH - 2 * MARGIN) / max(span, 0.3), MOST_SCALE)
    shown, left_out = _within(tracks, heading, first + span)
    earlier, _ = _within(earlier, heading, first + span)
    under = _under(subject, shown, left_out, rounds)
    top = pen.heading("Track plan", under)
    low, high = float(everything[:, 1].min()), float(everything[:, 1].max())
    panel = Panel(MARGIN, top + 66, span * scale, (high - low) * scale, (first, first + span), (low, high))
    _prints(pen, panel, earlier, heading, faint=bool(tracks))
    _prints(pen, panel, shown, heading)
    notes = _Notes(pen)
    _measures(notes, panel, strides_of(shown), heading)
    _labels(pen, panel, shown, heading)
    _streaks(notes, panel, earlier, heading, "slid")
    _streaks(notes, panel, shown, heading, "slides")
    bottom = panel.y + panel.height + 58
    if not subject.scene.ground.is_level:
        bottom = _section(pen, panel, subject, bottom)
    bottom = _foot(pen, panel, scale, bottom, bool(earlier))
    return pen.picture("Track plan", _told(shown), bottom)


def _rounds(subject: Subject, heading: float) -> int:
    """Return how many rounds of a loop the sheet has room for."""
    once = tracks_of(subject)
    if not subject.clip.loop or subject.scene.drift is None or not once:
        return 2
    along = np.concatenate([_corners(track, heading)[:, 0] for track in once])
    stride = float(looked_at(np.array(subject.scene.drift.shift), "above", heading)[0])
    room = (WIDTH - 2 * MARGIN) / MOST_SCALE - float(np.ptp(along))
    return next((rounds for rounds in ROUNDS if stride > 1e-6 and (rounds - 1) * stride <= room), 2)


def _corners(track: Track, heading: float) -> Array:
    ball = looked_at(track.ball + np.insert(track.drift - track.drift.mean(axis=0), 1, 0.0, axis=1), "above", heading)
    return np.concatenate([looked_at(part, "above", heading) for part in (track.hind, track.toes)] + [ball])


def _within(tracks: tuple[Track, ...], heading: float, last: float) -> tuple[tuple[Track, ...], int]:
    """Return the footprints that lie wholly before a place along the way, and how many don't."""
    inside = tuple(track for track in tracks if _corners(track, heading)[:, 0].max() <= last + 1e-9)
    return inside, len(tracks) - len(inside)


def _prints(pen: Pen, panel: Panel, tracks: Sequence[Track], heading: float, *, faint: bool = False) -> None:
    """Draw the soles, and a dot under each flat foot's ankle."""
    inner = Pen()
    for track in tracks:
        for part in (track.hind, track.toes):
            inner.path(_on(panel, part, heading), f"sf-{FEET[track.foot]}-pale", closed=True)
        x, y = _on(panel, track.place[None], heading)[0]
        inner.dot(x, y, 3.0, f"sf-{FEET[track.foot]}-dot")
    if inner.body:
        pen.group(inner.body, "sf-faint" if faint else "sf-prints")


def _streaks(notes: _Notes, panel: Panel, tracks: Sequence[Track], heading: float, word: str) -> None:
    """Draw each slide along the way that the touching point drifts, and its length behind the toes."""
    for track in tracks:
        if track.slide > 0.0:
            way = np.insert(track.drift - track.drift.mean(axis=0), 1, 0.0, axis=1)
            notes.pen.path(_on(panel, track.ball + way, heading), "sf-streak")
            corners = panel_points(panel, _corners(track, heading))
            x, y = float(corners[:, 0].max()) + 8, float(corners[:, 1].mean()) + 4
            notes.put(x, y, f"{word} {track.slide * 1e3:.3g} mm")


def _labels(pen: Pen, panel: Panel, tracks: Sequence[Track], heading: float) -> None:
    """Write each footprint's frames outside of it."""
    for track in tracks:
        corners = panel_points(panel, _corners(track, heading))
        middle = float(corners[:, 0].min() + corners[:, 0].max()) / 2.0
        y = panel.y - 10 if track.foot == 0 else panel.y + panel.height + 18
        pen.text(middle, y, f"{FEET[track.foot]} {track.stance.first}–{track.stance.last}", size=12.0, anchor="middle")


class _Notes:
    """Writes small words on the plan, each a line higher or lower where others stand already."""

    def __init__(self, pen: Pen) -> None:
        self.pen = pen
        self.taken: list[tuple[float, float, float]] = []

    def put(self, x: float, y: float, words: str, *, anchor: str = "start") -> None:
        """Write words at a place or as near to it as there's room."""
        wide = text_width(words, 11.0)
        left = {"start": x, "middle": x - wide / 2.0, "end": x - wide}[anchor]
        tried = [y + 13.5 * lines for lines in (0, 1, -1, 2, -2, 3, -3)]
        free = [at for at in tried if not any(
            abs(at - other) < 13.0 and left < last and first < left + wide for first, last, other in self.taken
        )]  # fmt: skip
        at = free[0] if free else y
        self.taken.append((left, left + wide, at))
        self.pen.rect(left - 2, at - 10, wide + 4, 13, "sf-cover")
        self.pen.text(x, at, words, size=11.0, anchor=anchor)


def _measures(notes: _Notes, panel: Panel, strides: Sequence[Stride], heading: float) -> None:
    """Draw each foot's strides outside of its prints, and each step's width where the other foot stands."""
    pen = notes.pen
    for stride in strides:
        one, two = (_on(panel, t.place[None], heading)[0] for t in (stride.first, stride.last))
        left = stride.first.foot == 0
        y = panel.y - 40 if left else panel.y + panel.height + 40
        near = panel.y - 28 if left else panel.y + panel.height + 28
        for end in (one, two):
            pen.line(end[0], near, end[0], y, "sf-hair")
            pen.line(end[0] - 3, y + 3, end[0] + 3, y - 3, "sf-ink")
        pen.line(one[0], y, two[0], y, "sf-ink sf-thin")
        notes.put((one[0] + two[0]) / 2.0, y + 4, f"stride {stride.length * 1e3:.0f} mm", anchor="middle")
        pen.path([one, two], "sf-hair")
        if stride.between is None or stride.width is None:
            continue
        other = _on(panel, stride.between.place[None], heading)[0]
        share = float(np.dot(other - one, two - one) / np.dot(two - one, two - one))
        foot = one + share * (two - one)
        if abs(foot[1] - other[1]) > 1.0:
            pen.path([other, foot], "sf-ink")
        heel = panel_points(panel, _corners(stride.between, heading))[:, 0].min()
        words = f"width {stride.width * 1e3:.0f} mm"
        notes.put(float(heel) - 8, (foot[1] + other[1]) / 2.0 + 4, words, anchor="end")


def _section(pen: Pen, panel: Panel, subject: Subject, top: float) -> float:
    """Draw the ground from the side, under the plan and to the same scale; return the y below it."""
    heading = subject.figure.heading
    middle = subject.figure.hips.mean(axis=0)
    along = float(looked_at(middle, "above", heading)[0])
    line = ground_line(subject.scene.ground, middle, heading, panel.across[0] - along, panel.across[1] - along)
    seen = looked_at(line, "side", heading)
    scale = panel.width / (panel.across[1] - panel.across[0])
    low, high = float(seen[:, 1].min()), float(seen[:, 1].max())
    tall = (high - low) * scale
    rises = Panel(panel.x, top + 22, panel.width, max(tall, 1.0), panel.across, (low, max(high, low + 1.0 / scale)))
    points = rises.points(seen[:, 0], seen[:, 1])
    base = rises.y + rises.height + 14
    around = [*points.tolist(), [points[-1, 0], base], [points[0, 0], base]]
    for style in ("sf-earth", "sf-hatched"):
        pen.path(around, style, closed=True)
    pen.path(points, "sf-ink")
    pen.text(panel.x - 8, rises.y + rises.height + 4, "section", size=11.0, anchor="end", style="sf-soft")
    words = f"{subject.scene.ground.name}, to the same scale: it rises {(high - low) * 1e3:.0f} mm here"
    pen.text(panel.x, base + 16, words, size=11.0, style="sf-soft")
    return base + 26


def _foot(pen: Pen, panel: Panel, scale: float, top: float, compared: bool) -> float:
    """Draw the bar of the scale and tell the shapes; return the y below."""
    size = 0.5 if scale * 0.5 < panel.width else 0.1
    y = top + 14
    pen.line(panel.x, y, panel.x + size * scale, y, "sf-ink")
    for x in (panel.x, panel.x + size * scale):
        pen.line(x, y - 4, x, y + 4, "sf-ink")
    pen.text(panel.x + size * scale + 8, y + 4, f"{size:g} m", size=11.0)
    words = "full: left foot; hatched: right foot; dot: under the flat foot's ankle; thick line: slide"
    words += "; faint, slid: before" if compared else ""
    pen.text(WIDTH - 24, y + 4, words, size=11.0, anchor="end", style="sf-soft")
    return y + 20


def _under(subject: Subject, tracks: tuple[Track, ...], left_out: int, rounds: int) -> str:
    words = f"{subject.name}, seen from above; it goes to the right, its left is up"
    if subject.clip.loop and tracks:
        again = f"{subject.clip.last + 1} is {subject.clip.first} again"
        words += f"; {COUNTED[rounds]} rounds of the loop, frames count on ({again})"
    return words + (f"; {left_out} footprints farther on aren't drawn" if left_out else "")


def _told(tracks: tuple[Track, ...]) -> str:
    told = [f"{FEET[t.foot]} foot stands in frames {t.stance.first} to {t.stance.last}"
            + (f" and slides {t.slide * 1e3:.3g} mm" if t.slide > 0 else "") for t in tracks]  # fmt: skip
    return "Footprints from above: " + "; ".join(told) + "."


def panel_points(panel: Panel, points: Array) -> Array:
    """Return points ``(n, 2)`` in metres on the paper."""
    return panel.points(points[:, 0], points[:, 1])


def _on(panel: Panel, points: Array, heading: float) -> Array:
    return panel_points(panel, looked_at(points, "above", heading))
