"""Our own SVG: a pen that writes shapes and words, and the picture that it makes.

The same input gives the same bytes: numbers have at most two digits after the point, nothing depends on the
clock, the locale or an order of hashing. Shapes carry classes; what these look like is said in `pictures.ink`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from surefoot.errors import UnknownName
from surefoot.pictures.ink import THEMES, Theme, defs_of, style_of

__all__ = ["WIDTH", "Pen", "Picture", "number", "stacked", "text_width"]

WIDTH = 1200.0
"""The width of every picture, CSS pixels."""
GAP = 28.0
FINE = 0.04
"""CSS pixels: a curve's points that lie nearer than this to the line without them are left out."""

# advance widths of DejaVu Sans in thousandths of the size, the widest of the faces asked for
_NARROW = {"i": 278, "j": 278, "l": 278, "'": 275, ".": 318, ",": 318, " ": 318, ":": 337, ";": 337, "|": 337, "f": 352,
           "t": 392, "r": 411, "(": 390, ")": 390, "-": 361, "/": 337, "I": 295, "J": 295, "·": 318,
           "m": 974, "w": 818, "M": 863, "W": 989, "%": 950, "–": 500, "→": 838, "°": 500}  # fmt: skip
_OTHERWISE = 640


def text_width(text: str, size: float) -> float:
    """Return how wide a line of text may be, CSS pixels: as wide as the widest face that may be used sets it."""
    return sum(_NARROW.get(letter, 720 if letter.isupper() else _OTHERWISE) for letter in text) * size / 1000.0


def number(value: float) -> str:
    """Return a coordinate with at most two digits after the point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(frozen=True, slots=True)
class Picture:
    """One finished picture.

    Parameters
    ----------
    title, told : str
        What it is, and what it shows, in a sentence or two, for those who can't see it.
    width, height : float
        CSS pixels.
    body : tuple of str
        The elements, in drawing order.
    """

    title: str
    told: str
    width: float
    height: float
    body: tuple[str, ...]

    def svg(self, theme: Theme = "auto") -> str:
        """Return the SVG file as text, complete in itself; ``theme`` is auto, light or dark."""
        if theme not in THEMES:
            raise UnknownName("paper", theme, THEMES)
        head = f"<style>\n{style_of(theme)}</style>\n{defs_of(theme)}\n"
        return self._written(head, ' xmlns="http://www.w3.org/2000/svg"', theme)

    def inline(self) -> str:
        """Return the SVG element for a page that holds the style sheet and the hatchings itself."""
        return self._written("", "", "auto")

    def _written(self, head: str, space: str, theme: Theme) -> str:
        w, h = number(self.width), number(self.height)
        body = "\n".join(self.body)
        return (
            f'<svg{space} class="sf-{theme}" viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img">\n'
            f"<title>{escape(self.title)}</title>\n<desc>{escape(self.told)}</desc>\n{head}"
            f'<rect class="sf-paper" width="{w}" height="{h}"/>\n{body}\n</svg>\n'
        )

    def _repr_svg_(self) -> str:
        return self.svg()


def stacked(pictures: Sequence[Picture], title: str) -> Picture:
    """Return pictures one below the other as one sheet."""
    body: list[str] = []
    top = 0.0
    for picture in pictures:
        body += [f'<g transform="translate(0 {number(top)})">', *picture.body, "</g>"]
        top += picture.height + GAP
    told = " ".join(f"{picture.title}: {picture.told}" for picture in pictures)
    return Picture(title, told, max(p.width for p in pictures), top - GAP, tuple(body))


@dataclass(slots=True)
class Pen:
    """Writes elements in drawing order; one is made, used and dropped within each picture."""

    body: list[str] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, style: str) -> None:
        """Draw a straight line."""
        a, b, c, d = map(number, (x1, y1, x2, y2))
        self.body.append(f'<path class="{style}" d="M{a} {b}L{c} {d}"/>')

    def path(self, points: ArrayLike, style: str, *, closed: bool = False) -> None:
        """Draw a line through points ``(n, 2)``; where one isn't finite the pen is lifted."""
        parts: list[str] = []
        down = False
        for x, y in np.asarray(points, dtype=np.float64).tolist():
            if not (np.isfinite(x) and np.isfinite(y)):
                down = False
                continue
            parts.append(f"{'L' if down else 'M'}{number(x)} {number(y)}")
            down = True
        if parts:
            self.body.append(f'<path class="{style}" d="{"".join(parts)}{"Z" if closed else ""}"/>')

    def curve(self, points: ArrayLike, style: str) -> None:
        """Draw a line through points ``(n, 2)``, all finite, without those that nobody would miss."""
        from shapely import LineString, get_coordinates

        line = np.asarray(points, dtype=np.float64)
        if len(line) > 2:
            line = get_coordinates(LineString(line).simplify(FINE, preserve_topology=False))
        self.path(line, style)

    def rect(self, x: float, y: float, width: float, height: float, style: str) -> None:
        """Draw a rectangle."""
        a, b, c, d = map(number, (x, y, width, height))
        self.body.append(f'<rect class="{style}" x="{a}" y="{b}" width="{c}" height="{d}"/>')

    def dot(self, x: float, y: float, radius: float, style: str) -> None:
        """Draw a circle."""
        self.body.append(f'<circle class="{style}" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"/>')

    def text(self, x: float, y: float, words: str, *, size: float = 12.0, anchor: str = "start", style: str = "",
             bold: bool = False) -> None:  # fmt: skip
        """Write a line of text; y is its base line."""
        extra = (f' class="{style}"' if style else "") + (' font-weight="bold"' if bold else "")
        place = f'x="{number(x)}" y="{number(y)}" font-size="{number(size)}"'
        end = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.body.append(f"<text{extra} {place}{end}>{escape(words)}</text>")

    def group(self, elements: Iterable[str], style: str) -> None:
        """Put elements in a group of one class."""
        self.body += [f'<g class="{style}">', *elements, "</g>"]

    def window(self, x: float, y: float, width: float, height: float, elements: Iterable[str]) -> None:
        """Put elements in a window that cuts off what goes beyond it; their origin is its corner."""
        a, b, c, d = map(number, (x, y, width, height))
        self.body += [f'<svg x="{a}" y="{b}" width="{c}" height="{d}" viewBox="0 0 {c} {d}">', *elements, "</svg>"]

    def heading(self, title: str, under: str = "") -> float:
        """Write a picture's title and a line under it; return the y below them."""
        self.text(24, 34, title, size=20.0, bold=True)
        if under:
            self.text(24, 54, under, size=12.0, style="sf-soft")
        return 68.0

    def picture(self, title: str, told: str, height: float) -> Picture:
        """Return what was drawn."""
        return Picture(title, told, WIDTH, height, tuple(self.body))
