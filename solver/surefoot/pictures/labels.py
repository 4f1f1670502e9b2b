"""Labels: small words beside what they tell of, never on a shape, a line that's kept clear or other words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.pictures.svg import Pen, text_width

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["LINE", "Label", "Labels"]

Array = NDArray[np.float64]

LINE = 14.0
"""CSS pixels from one line of small words to the next."""
ASCENT, DESCENT = 0.8, 0.26
"""Of the size: how far letters reach above and below their base line."""


class Label(NamedTuple):
    """Words at a place; y is their base line."""

    x: float
    y: float
    words: str
    anchor: str = "middle"
    size: float = 11.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom, CSS pixels."""
        wide = text_width(self.words, self.size)
        left = {"start": self.x, "middle": self.x - wide / 2.0, "end": self.x - wide}[self.anchor]
        return left, self.y - ASCENT * self.size, left + wide, self.y + DESCENT * self.size


class Labels:
    """What is taken on a drawing, and the words that are written where there's room."""

    def __init__(self, pen: Pen) -> None:
        self.pen = pen
        self._solid: list[BaseGeometry] = []
        self._words: list[BaseGeometry] = []
        self._lines: list[BaseGeometry] = []

    def keep_clear(self, points: ArrayLike, around: float) -> None:
        """Let no words come nearer than so many pixels to a line, or to the area within a ring."""
        from shapely import LineString, MultiPoint, Polygon

        line = np.asarray(points, dtype=np.float64)
        if len(line) > 2 and np.array_equal(line[0], line[-1]):
            self._solid.append(Polygon(line).buffer(around))
        elif len(line):
            shape = LineString(line) if len(line) > 1 else MultiPoint(line)
            self._solid.append(shape.buffer(around))

    def line(self, points: ArrayLike, style: str) -> None:
        """Draw a line that words may cross, and count it in what was drawn."""
        from shapely import LineString

        self.pen.path(points, style)
        self._lines.append(LineString(np.asarray(points, dtype=np.float64)))

    def fits(self, label: Label) -> bool:
        """Whether there's room for words at their place."""
        own = _boxed(label)
        return not any(own.intersects(other) for other in (*self._solid, *self._words))

    def all_fit(self, labels: Sequence[Label]) -> bool:
        """Whether there's room for all of them together."""
        before = len(self._words)
        try:
            for label in labels:
                if not self.fits(label):
                    return False
                self._words.append(_boxed(label))
        finally:
            del self._words[before:]
        return True

    def write(self, label: Label, *, cover: bool = False) -> None:
        """Write words; with ``cover`` no line shows between them."""
        self._words.append(_boxed(label))
        if cover:
            left, top, right, bottom = label.box
            self.pen.rect(left - 3, top, right - left + 6, bottom - top, "sf-paper")
        self.pen.text(label.x, label.y, label.words, size=label.size, anchor=label.anchor, style="sf-note")

    def open_way(self, start: ArrayLike, end: ArrayLike) -> bool:
        """Whether a leader line from a shape to words would cross no other words."""
        from shapely import LineString

        way = LineString([np.asarray(start), np.asarray(end)])
        return not any(way.intersects(other) for other in self._words)

    def lead(self, start: ArrayLike, end: ArrayLike) -> None:
        """Draw a leader line; later words keep clear of it."""
        from shapely import LineString

        ends = np.array([start, end], dtype=np.float64)
        self.pen.path(ends, "sf-stone")
        self._words.append(LineString(ends).buffer(1.0))

    @property
    def reach(self) -> tuple[float, float]:
        """The least and the greatest y of all words, of what is kept clear and of the lines."""
        bounds = [shape.bounds for shape in (*self._solid, *self._words, *self._lines)]
        return min(b[1] for b in bounds), max(b[3] for b in bounds)


def _boxed(label: Label) -> BaseGeometry:
    from shapely import box

    left, top, right, bottom = label.box
    return box(left - 1.0, top, right + 1.0, bottom)
