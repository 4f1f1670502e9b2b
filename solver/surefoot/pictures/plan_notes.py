"""Notes of the track plan: frames, strides, step widths and slides, each beside its footprint where there's room.

A footprint's frames stand on its outer side. Its width stands behind its heel, and its slide before its toes, where
that is free for all of a row; else they are further lines on the outer side. The strides' lines lie outside of these.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.axes import Panel
from surefoot.pictures.figure import looked_at
from surefoot.pictures.labels import LINE, Label, Labels
from surefoot.pictures.subject import told_number
from surefoot.pictures.svg import Pen, text_width
from surefoot.pictures.tracks import Stride, Track, strides_of
from surefoot.rig import FEET

__all__ = ["Notes", "Tally", "corners_of", "noted", "placed"]

Array = NDArray[np.float64]

MOST_LINES = 8
"""Lines of words on a footprint's outer side; what finds no room there isn't written, and the sheet says so."""
SAME_WIDTH = 0.001
"""Metres: a width so near to the last one written isn't written again."""
APART = 1.5
"""CSS pixels between words and soles or streaks."""
BESIDE = 100.0
"""CSS pixels before and behind a stride in which words keep its line farther out."""
STREAK = 3.5
"""CSS pixels: half of a streak's stroke."""


class Tally:
    """What was written on the sheet, and what wasn't."""

    def __init__(self) -> None:
        self.written: set[tuple[str, int, int]] = set()
        self.missed: set[tuple[str, int, int]] = set()
        self.repeated = False

    def add(self, notes: Notes) -> None:
        """Take in a row's."""
        self.written |= notes.tally.written
        self.missed |= notes.tally.missed
        self.repeated |= notes.tally.repeated

    def told(self) -> str:
        """Return what isn't written and why, empty if all is."""
        parts = []
        if self.repeated:
            parts.append(f"a width within {SAME_WIDTH * 1e3:.0f} mm of the one written before it isn't written again")
        left_out = [kind for kind, *_ in self.missed - self.written]
        counts = [
            f"{left_out.count(kind)} {kind if left_out.count(kind) == 1 else many}"
            for kind, many in (("span", "spans of frames"), ("stride", "strides"), ("width", "widths"),
                               ("slide", "slides"), ("slide before", "slides before"))
            if kind in left_out
        ]  # fmt: skip
        if counts:
            parts.append("no room for the words of " + ", ".join(counts))
        return "; ".join(parts)


class Notes:
    """The words of one row of footprints."""

    def __init__(self, pen: Pen, panel: Panel, heading: float) -> None:
        self.labels = Labels(pen)
        self.pen, self.panel, self.heading = pen, panel, heading
        self.tally = Tally()
        self.own: dict[Track, list[tuple[int, Label]]] = {}

    @property
    def top(self) -> float:
        """The least y of what was drawn."""
        return self.labels.reach[0]

    @property
    def bottom(self) -> float:
        """The greatest y of what was drawn."""
        return self.labels.reach[1]

    def corners(self, track: Track) -> Array:
        """Return a footprint's corners on the paper, ``(n, 2)``."""
        return _on_paper(self.panel, corners_of(track, self.heading))

    def keep_soles_clear(self, tracks: Sequence[Track]) -> None:
        """Let no words lie on a sole or a streak."""
        for track in tracks:
            for part in (track.hind, track.toes):
                ring = placed(self.panel, part, self.heading)
                self.labels.keep_clear([*ring, ring[0]], APART)
            if track.slide > 0.0:
                self.labels.keep_clear(self.streak(track), STREAK + APART)

    def streak(self, track: Track) -> Array:
        """Return the way that a footprint's touching point drifts, on the paper."""
        way = np.insert(track.drift - track.drift.mean(axis=0), 1, 0.0, axis=1)
        return placed(self.panel, track.ball + way, self.heading)

    def count(self, kind: str, track: Track, written: bool) -> None:
        """Remember whether something of a footprint was written."""
        (self.tally.written if written else self.tally.missed).add((kind, track.foot, track.stance.first))

    def beside(self, kind: str, wanted: Sequence[tuple[Track, Label]], must: Sequence[bool]) -> None:
        """Write labels at their own places if there's room for all, else on their footprints' outer sides."""
        if self.labels.all_fit([label for _, label in wanted]):
            for track, label in wanted:
                self.labels.write(label)
                self.count(kind, track, True)
            return
        for (track, label), needed in sorted(zip(wanted, must, strict=True), key=lambda pair: not pair[1]):
            self.outside(kind, track, label.words, must=needed)

    def outside(self, kind: str, track: Track, words: str, *, size: float = 11.0, must: bool = True) -> None:
        """Write words on a footprint's outer side: in the next line, or farther out with a leader line.

        Words that ``must`` be there do without a leader line if it would cross others.
        """
        corners = self.corners(track)
        middle = float(corners[:, 0].min() + corners[:, 0].max()) / 2.0
        edge = float(corners[:, 1].min()) if track.foot == 0 else float(corners[:, 1].max())
        out = -1.0 if track.foot == 0 else 1.0
        own = self.own.setdefault(track, [])
        next_line = 1 + max((line for line, _ in own), default=-1)
        spots = []
        for line in range(next_line, MOST_LINES):
            y = edge + out * LINE * line + (-8.0 if out < 0.0 else 16.0)
            label = Label(middle, y, words, size=size)
            if self.labels.fits(label):
                start = edge if not own else own[-1][1].box[1 if out < 0.0 else 3]
                end = label.box[3 if out < 0.0 else 1]
                spots.append((line, label, [(middle, start + 2.0 * out), (middle, end - out)]))
        for line, label, way in spots:
            if line == next_line or self.labels.open_way(*way):
                if line > next_line:
                    self.labels.lead(*way)
                self._written(kind, track, line, label)
                return
        if spots and must:
            line, label, _ = spots[0]
            self._written(kind, track, line, label)
        else:
            self.count(kind, track, False)

    def _written(self, kind: str, track: Track, line: int, label: Label) -> None:
        self.labels.write(label)
        self.own[track].append((line, label))
        self.count(kind, track, True)


def noted(
    pen: Pen, panel: Panel, heading: float, tracks: Sequence[Track], earlier: Sequence[Track]
) -> Notes:  # fmt: skip
    """Draw streaks, measures and all words of a row of footprints, and of those before that lie within it."""
    notes = Notes(pen, panel, heading)
    strides = strides_of(tuple(tracks))
    notes.keep_soles_clear([*earlier, *tracks])
    for own, style in ((earlier, "sf-streak sf-dots"), (tracks, "sf-streak")):
        for track in own:
            if track.slide > 0.0:
                pen.path(notes.streak(track), style)
    widths = _widths(notes, strides)
    for track in tracks:
        notes.outside("span", track, f"{FEET[track.foot]} {track.stance.first}–{track.stance.last}", size=12.0)
    _slides(notes, tracks, "slides", "slide")
    _slides(notes, earlier, "slid", "slide before")
    notes.beside("width", widths, [False] * len(widths))
    _strides(notes, strides)
    return notes


def _slides(notes: Notes, tracks: Sequence[Track], word: str, kind: str) -> None:
    """Write each slide's length before the toes, or on the outer side."""
    sliding = [track for track in tracks if track.slide > 0.0]
    wanted = []
    for track in sliding:
        corners = notes.corners(track)
        x, y = float(corners[:, 0].max()) + 8.0, float(corners[:, 1].mean()) + 4.0
        wanted.append((track, Label(x, y, f"{word} {told_number(track.slide * 1e3, 'mm')}", "start")))
    notes.beside(kind, wanted, [track.level != "note" for track in sliding])


def _widths(notes: Notes, strides: Sequence[Stride]) -> list[tuple[Track, Label]]:
    """Draw each step's width where the other foot stands; return what is to be written of them behind the heels."""
    wanted: list[tuple[Track, Label]] = []
    last: float | None = None
    for stride in sorted(strides, key=lambda s: (s.between or s.first).stance.first):
        ends = np.array([placed(notes.panel, t.place[None], notes.heading)[0] for t in (stride.first, stride.last)])
        notes.pen.path(ends, "sf-hair")
        if stride.between is None or stride.width is None:
            continue
        one, two = ends
        other = placed(notes.panel, stride.between.place[None], notes.heading)[0]
        foot = one + float(np.dot(other - one, two - one) / np.dot(two - one, two - one)) * (two - one)
        if abs(foot[1] - other[1]) > 1.0:
            notes.pen.path([other, foot], "sf-ink")
            notes.labels.keep_clear([other, foot], APART)
        if last is not None and abs(stride.width - last) <= SAME_WIDTH:
            notes.tally.repeated = True
            continue
        last = stride.width
        heel = float(notes.corners(stride.between)[:, 0].min())
        words = f"width {stride.width * 1e3:.0f} mm"
        wanted.append((stride.between, Label(heel - 8.0, float(foot[1] + other[1]) / 2.0 + 4.0, words, "end")))
    return wanted


def _strides(notes: Notes, strides: Sequence[Stride]) -> None:
    """Draw each foot's strides outside of its prints and their words."""
    pen = notes.pen
    reaches = [_reach(notes, stride) for stride in strides]
    for stride in strides:
        ends = np.array([placed(notes.panel, t.place[None], notes.heading)[0] for t in (stride.first, stride.last)])
        out = _outwards(notes, stride)
        same = [r for r, other in zip(reaches, strides, strict=True) if other.first.foot == stride.first.foot]
        far = max(same) + 20.0
        for end in ends:
            pen.path([end + (far - 12.0) * out, end + far * out], "sf-hair")
            x, y = end + far * out
            pen.line(x - 3, y + 3, x + 3, y - 3, "sf-ink")
        notes.labels.line(ends + far * out, "sf-ink sf-thin")
        words = f"stride {stride.length * 1e3:.0f} mm"
        (x, y), long = ends.mean(axis=0) + far * out, float(np.linalg.norm(ends[1] - ends[0]))
        label = Label(float(x), float(y) + 4.0, words)
        if long >= text_width(words, 11.0) + 14.0 and notes.labels.fits(label):
            notes.labels.write(label, cover=True)
            notes.count("stride", stride.first, True)
            continue
        for line in range(MOST_LINES // 2):
            away = 12.0 + LINE * line
            (x, y), start = ends.mean(axis=0) + (far + away) * out, ends.mean(axis=0) + (far + 2.0) * out
            label = Label(float(x), float(y) + 4.0, words)
            end = ends.mean(axis=0) + (far + away - 7.0) * out
            if notes.labels.fits(label) and (line == 0 or notes.labels.open_way(start, end)):
                if line:
                    notes.labels.lead(start, end)
                notes.labels.write(label)
                notes.count("stride", stride.first, True)
                break
        else:
            notes.count("stride", stride.first, False)


def _outwards(notes: Notes, stride: Stride) -> Array:
    """Return the paper's unit vector square to a stride, away from the other foot: the left one's to its left."""
    one, two = (placed(notes.panel, t.place[None], notes.heading)[0] for t in (stride.first, stride.last))
    way = two - one
    side = np.array([way[1], -way[0]]) if stride.first.foot == 0 else np.array([-way[1], way[0]])
    return np.asarray(side / max(float(np.hypot(*side)), 1e-9))


def _reach(notes: Notes, stride: Stride) -> float:
    """Return how far a stride's two footprints, and the words beside it, reach outwards from its line, on the paper."""
    out = _outwards(notes, stride)
    one, two = (placed(notes.panel, t.place[None], notes.heading)[0] for t in (stride.first, stride.last))
    parts = [notes.corners(track) for track in (stride.first, stride.last)]
    low, high = min(one[0], two[0]) - BESIDE, max(one[0], two[0]) + BESIDE
    for track, labels in notes.own.items():
        if track.foot == stride.first.foot:
            boxes = [label.box for _, label in labels if low <= label.x <= high]
            parts += [np.array([[x, y] for x in (left, right) for y in (top, under)])
                      for left, top, right, under in boxes]  # fmt: skip
    return float(((np.concatenate(parts) - one) @ out).max())


def corners_of(track: Track, heading: float) -> Array:
    """Return a footprint's corners and its streak from above, ``(n, 2)``, metres."""
    ball = looked_at(track.ball + np.insert(track.drift - track.drift.mean(axis=0), 1, 0.0, axis=1), "above", heading)
    return np.concatenate([looked_at(part, "above", heading) for part in (track.hind, track.toes)] + [ball])


def placed(panel: Panel, points: Array, heading: float) -> Array:
    """Return points ``(n, 3)`` of the world, seen from above, on the paper."""
    return _on_paper(panel, looked_at(points, "above", heading))


def _on_paper(panel: Panel, points: Array) -> Array:
    return panel.points(points[:, 0], points[:, 1])
