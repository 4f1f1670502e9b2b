"""Track plan: the footprints from above, with frames, strides and step widths, and slides as streaks to scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surefoot.cautions import FOR_PICTURES
from surefoot.pictures.axes import Panel
from surefoot.pictures.figure import looked_at
from surefoot.pictures.plan_notes import Notes, Tally, corners_of, noted, placed
from surefoot.pictures.subject import Subject, told_number
from surefoot.pictures.svg import WIDTH, Pen, Picture
from surefoot.pictures.tracks import Track, tracks_of
from surefoot.rig import FEET

__all__ = ["track_plan"]

MARGIN = 116.0
MOST_SCALE = 400.0
"""Pixels a metre: a foot is then about a tenth of the sheet's width."""
LEAST_SCALE = 240.0
MOST_ROWS = 16
EDGE = 0.05
"""Metres beyond a row's footprints in which those before are still drawn."""
COUNTED = ("no", "one", "two", "three", "four", "five", "six")
ROUNDS = (6, 5, 4, 3, 2)
"""How many rounds of a loop are drawn: the most that fit at the largest scale, but two, so that strides are seen."""
ASTRAY = 0.02
"""Metres over or under the ground at which a footprint of a later round isn't drawn, nor its round."""


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
    room = max(float(np.ptp(np.concatenate([corners_of(track, heading)[:, 0] for track in row]))) for row in rows)
    scale = min((WIDTH - 2 * MARGIN) / max(room, 0.3), MOST_SCALE)
    bottom = pen.heading("Track plan", _under(subject, tracks, left_out, rounds))
    tally = Tally()
    for row in rows:
        bottom = _row(pen, subject, row if tracks else (), _beside(earlier, row, heading), scale, bottom, tally)
    slides, slid = (any(t.slide > 0.0 for t in own) for own in (tracks, earlier))
    bottom = _foot(pen, scale, bottom, slides, slid, bool(earlier), tally.told())
    return pen.picture("Track plan", _told(tracks), bottom)


def _rows(tracks: tuple[Track, ...], heading: float) -> tuple[list[tuple[Track, ...]], int]:
    """Return the footprints in rows that fit the sheet, and how many are left out.

    A row begins with the last footprint of either foot in the row before, so that every stride is in one.
    """
    room = (WIDTH - 2 * MARGIN) / LEAST_SCALE
    along = [corners_of(track, heading)[:, 0] for track in tracks]
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
    across = np.concatenate([corners_of(track, heading)[:, 0] for track in row])
    low, high = float(across.min()) - EDGE, float(across.max()) + EDGE
    ends = [(track, corners_of(track, heading)[:, 0]) for track in earlier]
    return tuple(track for track, own in ends if low <= own.min() and own.max() <= high)


def _row(
    pen: Pen, subject: Subject, tracks: tuple[Track, ...], earlier: tuple[Track, ...], scale: float, top: float,
    tally: Tally,
) -> float:  # fmt: skip
    """Draw one row of footprints, and the ground's section under it; return the y below."""
    heading = subject.figure.heading
    corners = np.concatenate([corners_of(track, heading) for track in (*tracks, *earlier)])
    (first, low), (last, high) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    wide, tall = (last - first) * scale, (high - low) * scale

    def drawn(on: Pen, y: float) -> tuple[Panel, Notes]:
        panel = Panel(MARGIN, y, wide, tall, (first, last), (low, high))
        _prints(on, panel, earlier, heading, faint=bool(tracks))
        _prints(on, panel, tracks, heading)
        return panel, noted(on, panel, heading, tracks, earlier)

    panel, notes = drawn(pen, top + 12.0 - drawn(Pen(), 0.0)[1].top)
    tally.add(notes)
    bottom = notes.bottom + 16.0
    return bottom if subject.scene.ground.is_level else _section(pen, panel, subject, tracks, bottom)


def _rounds(subject: Subject, heading: float) -> int:
    """Return how many rounds of a loop the sheet has room for."""
    once = tracks_of(subject)
    if not subject.clip.loop or subject.scene.drift is None or not once:
        return 2
    along = np.concatenate([corners_of(track, heading)[:, 0] for track in once])
    stride = float(looked_at(np.array(subject.scene.drift.shift), "above", heading)[0])
    room = (WIDTH - 2 * MARGIN) / MOST_SCALE - float(np.ptp(along))
    fitting = (rounds for rounds in ROUNDS if stride > 1e-6 and (rounds - 1) * stride <= room)
    return next((rounds for rounds in fitting if _lie_on_the_ground(subject, rounds)), 2)


def _lie_on_the_ground(subject: Subject, rounds: int) -> bool:
    """Return whether every footprint of so many rounds has ground right under it: a flight of stairs may end before."""
    places = np.array([track.place for track in tracks_of(subject, rounds=rounds)])
    return bool((np.abs(places[:, 1] - subject.scene.ground.height(places[:, 0], places[:, 2])) < ASTRAY).all())


def _prints(pen: Pen, panel: Panel, tracks: Sequence[Track], heading: float, *, faint: bool = False) -> None:
    """Draw the soles, and a dot under each flat foot's ankle."""
    inner = Pen()
    for track in tracks:
        for part in (track.hind, track.toes):
            inner.path(placed(panel, part, heading), f"sf-{FEET[track.foot]}-pale", closed=True)
        x, y = placed(panel, track.place[None], heading)[0]
        inner.dot(x, y, 3.0, f"sf-{FEET[track.foot]}-dot")
    if inner.body:
        pen.group(inner.body, "sf-faint" if faint else "sf-prints")


def _section(pen: Pen, panel: Panel, subject: Subject, tracks: Sequence[Track], top: float) -> float:
    """Draw the ground and the soles from the side, under the plan and to the same scale; return the y below it."""
    heading = subject.figure.heading
    middle = subject.figure.hips.mean(axis=0)
    along = float(looked_at(middle, "above", heading)[0])
    line = subject.scene.ground.section(middle, heading, panel.across[0] - along, panel.across[1] - along)
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
    if subject.scene.ground.for_pictures:
        words += f"; {FOR_PICTURES}"
    pen.text(panel.x, base + 16, words, size=11.0, style="sf-soft")
    return base + 26


def _foot(pen: Pen, scale: float, top: float, slides: bool, slid: bool, compared: bool, unwritten: str) -> float:
    """Draw the bar of the scale and tell the shapes; return the y below."""
    y = top + 14
    pen.line(MARGIN, y, MARGIN + 0.5 * scale, y, "sf-ink")
    for x in (MARGIN, MARGIN + 0.5 * scale):
        pen.line(x, y - 4, x, y + 4, "sf-ink")
    pen.text(MARGIN + 0.5 * scale + 8, y + 4, "0.5 m", size=11.0)
    words = "full: left foot; hatched: right foot; dot: under the flat foot's ankle"
    words += "; thick line: slide" if slides else ""
    words += ("; faint, dotted, slid: before" if slid else "; faint: before") if compared else ""
    pen.text(WIDTH - 24, y + 4, words, size=11.0, anchor="end", style="sf-soft")
    if unwritten:
        y += 16
        pen.text(WIDTH - 24, y + 4, unwritten, size=11.0, anchor="end", style="sf-soft")
    return y + 20


def _under(subject: Subject, tracks: tuple[Track, ...], left_out: int, rounds: int) -> str:
    words = f"{subject.name}, seen from above; it goes to the right, its left is up"
    if subject.clip.loop and tracks:
        again = f"{subject.clip.last + 1} is {subject.clip.first} again"
        words += f"; {COUNTED[rounds]} rounds of the loop, frames count on ({again})"
    return words + (f"; {left_out} footprints farther on aren't drawn" if left_out else "")


def _told(tracks: tuple[Track, ...]) -> str:
    told = [f"{FEET[t.foot]} foot stands in frames {t.stance.first} to {t.stance.last}"
            + (f" and slides {told_number(t.slide * 1e3, 'mm')}" if t.slide > 0 else "") for t in tracks]  # fmt: skip
    return "Footprints from above: " + "; ".join(told) + "."
