"""Track plan: the footprints from above, with frames, strides and step widths, and slides as streaks to scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.cautions import FOR_PICTURES
from surefoot.ground import Profile
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
LEAST_SCALE = 240.0
MOST_ROWS = 16
EDGE = 0.05
"""Metres beyond a row's footprints in which those before are still drawn."""
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
    rows, left_out = _rows(tracks or earlier, heading)
    room = max(float(np.ptp(np.concatenate([_corners(track, heading)[:, 0] for track in row]))) for row in rows)
    scale = min((WIDTH - 2 * MARGIN) / max(room, 0.3), MOST_SCALE)
    bottom = pen.heading("Track plan", _under(subject, tracks, left_out, rounds)) - 4.0
    for row in rows:
        bottom = _row(pen, subject, row if tracks else (), _beside(earlier, row, heading), scale, bottom)
    bottom = _foot(pen, scale, bottom, bool(earlier))
    return pen.picture("Track plan", _told(tracks), bottom)


def _rows(tracks: tuple[Track, ...], heading: float) -> tuple[list[tuple[Track, ...]], int]:
    """Return the footprints in rows that fit the sheet, and how many are left out.

    A row begins with the last footprint of either foot in the row before, so that every stride is in one.
    """
    room = (WIDTH - 2 * MARGIN) / LEAST_SCALE
    along = [_corners(track, heading)[:, 0] for track in tracks]
    rows: list[tuple[Track, ...]] = []
    start = past = 0
    while past < len(tracks) and len(rows) < MOST_ROWS:
        past = start + 1
        while past < len(tracks) and np.ptp(np.concatenate(along[start : past + 1])) <= room:
            past += 1
        rows.append(tracks[start:past])
        start = max(start + 1, past - 2)
    return rows, len(tracks) - past


def _beside(earlier: tuple[Track, ...], row: Sequence[Track], heading: float) -> tuple[Track, ...]:
    """Return the footprints before that lie within a row."""
    across = np.concatenate([_corners(track, heading)[:, 0] for track in row])
    low, high = float(across.min()) - EDGE, float(across.max()) + EDGE
    ends = [(track, _corners(track, heading)[:, 0]) for track in earlier]
    return tuple(track for track, own in ends if low <= own.min() and own.max() <= high)


def _row(
    pen: Pen, subject: Subject, tracks: tuple[Track, ...], earlier: tuple[Track, ...], scale: float, top: float
) -> float:
    """Draw one row of footprints, and the ground's section under it; return the y below."""
    heading = subject.figure.heading
    corners = np.concatenate([_corners(track, heading) for track in (*tracks, *earlier)])
    (first, low), (last, high) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    panel = Panel(MARGIN, top + 70, (last - first) * scale, (high - low) * scale, (first, last), (low, high))
    _prints(pen, panel, earlier, heading, faint=bool(tracks))
    _prints(pen, panel, tracks, heading)
    notes = _Notes(pen)
    _labels(notes, panel, tracks, heading)
    _measures(notes, panel, strides_of(tracks), heading)
    _streaks(notes, panel, earlier, heading, "slid")
    _streaks(notes, panel, tracks, heading, "slides")
    bottom = panel.y + panel.height + 58
    return bottom if subject.scene.ground.is_level else _section(pen, panel, subject, tracks, bottom)


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


def _labels(notes: _Notes, panel: Panel, tracks: Sequence[Track], heading: float) -> None:
    """Write each footprint's frames on its outer side."""
    for track in tracks:
        corners = panel_points(panel, _corners(track, heading))
        middle = float(corners[:, 0].min() + corners[:, 0].max()) / 2.0
        y = float(corners[:, 1].min()) - 10.0 if track.foot == 0 else float(corners[:, 1].max()) + 18.0
        words = f"{FEET[track.foot]} {track.stance.first}–{track.stance.last}"
        notes.put(middle, y, words, anchor="middle", size=12.0)


class _Notes:
    """Writes small words on the plan, each a line higher or lower where others stand already."""

    def __init__(self, pen: Pen) -> None:
        self.pen = pen
        self.taken: list[tuple[float, float, float]] = []

    def put(
        self, x: float, y: float, words: str, *, anchor: str = "start", cover: bool = False, size: float = 11.0
    ) -> None:
        """Write words at a place or as near to it as there's room; with ``cover`` no line shows between them."""
        wide = text_width(words, size)
        left = {"start": x, "middle": x - wide / 2.0, "end": x - wide}[anchor]
        tried = [y + 13.5 * lines for lines in (0, 1, -1, 2, -2, 3, -3)]
        free = [at for at in tried if not any(
            abs(at - other) < 13.0 and left < last and first < left + wide for first, last, other in self.taken
        )]  # fmt: skip
        at = free[0] if free else y
        self.taken.append((left, left + wide, at))
        if cover:
            self.pen.rect(left - 3, at - 10, wide + 6, 13, "sf-paper")
        self.pen.text(x, at, words, size=size, anchor=anchor, style="sf-note")


def _measures(notes: _Notes, panel: Panel, strides: Sequence[Stride], heading: float) -> None:
    """Draw each foot's strides outside of its prints, and each step's width where the other foot stands."""
    pen = notes.pen
    for stride in strides:
        ends = np.array([_on(panel, t.place[None], heading)[0] for t in (stride.first, stride.last)])
        one, two = ends
        out = _outwards(stride, panel, heading)
        far = max(_reach(other, panel, heading) for other in strides if other.first.foot == stride.first.foot) + 40.0
        for end in ends:
            pen.path([end + (far - 12.0) * out, end + far * out], "sf-hair")
            x, y = end + far * out
            pen.line(x - 3, y + 3, x + 3, y - 3, "sf-ink")
        pen.path(ends + far * out, "sf-ink sf-thin")
        x, y = (one + two) / 2.0 + far * out
        notes.put(x, y + 4, f"stride {stride.length * 1e3:.0f} mm", anchor="middle", cover=True)
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


def _outwards(stride: Stride, panel: Panel, heading: float) -> Array:
    """Return the paper's unit vector square to a stride, away from the other foot: the left one's to its left."""
    one, two = (_on(panel, t.place[None], heading)[0] for t in (stride.first, stride.last))
    way = two - one
    side = np.array([way[1], -way[0]]) if stride.first.foot == 0 else np.array([-way[1], way[0]])
    return np.asarray(side / max(float(np.hypot(*side)), 1e-9))


def _reach(stride: Stride, panel: Panel, heading: float) -> float:
    """Return how far a stride's two footprints reach outwards from its line, on the paper."""
    out = _outwards(stride, panel, heading)
    one = _on(panel, stride.first.place[None], heading)[0]
    corners = [panel_points(panel, _corners(track, heading)) for track in (stride.first, stride.last)]
    return float(((np.concatenate(corners) - one) @ out).max())


def _section(pen: Pen, panel: Panel, subject: Subject, tracks: Sequence[Track], top: float) -> float:
    """Draw the ground and the soles from the side, under the plan and to the same scale; return the y below it."""
    heading = subject.figure.heading
    middle = subject.figure.hips.mean(axis=0)
    along = float(looked_at(middle, "above", heading)[0])
    line = ground_line(subject.scene.ground, middle, heading, panel.across[0] - along, panel.across[1] - along)
    seen = looked_at(line, "side", heading)
    scale = panel.width / (panel.across[1] - panel.across[0])
    soles = [looked_at(np.concatenate([track.hind, track.toes]), "side", heading) for track in tracks]
    up = np.concatenate([seen[:, 1], *(sole[:, 1] for sole in soles)])
    low, high = float(up.min()), float(up.max())
    tall = (high - low) * scale
    rises = Panel(panel.x, top + 22, panel.width, max(tall, 1.0), panel.across, (low, max(high, low + 1.0 / scale)))
    points = rises.points(seen[:, 0], seen[:, 1])
    base = rises.y + rises.height + 14
    around = [*points.tolist(), [points[-1, 0], base], [points[0, 0], base]]
    for style in ("sf-earth", "sf-hatched"):
        pen.path(around, style, closed=True)
    pen.path(points, "sf-ink")
    for track, sole in zip(tracks, soles, strict=True):
        ends = sole[[sole[:, 0].argmin(), sole[:, 0].argmax()]]
        style = f"sf-{FEET[track.foot]} sf-bone" + (" sf-dash" if track.foot == 1 else "")
        pen.path(rises.points(ends[:, 0], ends[:, 1]) - [0.0, 2.0], style)
    pen.text(panel.x - 8, rises.y + rises.height + 4, "section", size=11.0, anchor="end", style="sf-soft")
    words = f"{subject.scene.ground.name}, to the same scale: it rises {np.ptp(seen[:, 1]) * 1e3:.0f} mm here"
    if isinstance(subject.scene.ground, Profile):
        words += f"; {FOR_PICTURES}"
    pen.text(panel.x, base + 16, words, size=11.0, style="sf-soft")
    return base + 26


def _foot(pen: Pen, scale: float, top: float, compared: bool) -> float:
    """Draw the bar of the scale and tell the shapes; return the y below."""
    y = top + 14
    pen.line(MARGIN, y, MARGIN + 0.5 * scale, y, "sf-ink")
    for x in (MARGIN, MARGIN + 0.5 * scale):
        pen.line(x, y - 4, x, y + 4, "sf-ink")
    pen.text(MARGIN + 0.5 * scale + 8, y + 4, "0.5 m", size=11.0)
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
