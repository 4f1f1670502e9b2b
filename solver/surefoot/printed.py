"""How text is shaped for a terminal or a pipe: numbers with units, cells and lines that fit in so many columns."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import PurePath
from textwrap import fill, wrap

from surefoot.units import measured

__all__ = ["WIDE", "amount_of", "fitted", "wrapped", "written_line"]

Rows = Sequence[Sequence[str]]
WIDE = 100
"""Columns that what is printed to a pipe may take."""
GAP = "  "
KEPT = re.compile(r"(?<=\d) (?=[^\W\d]|%)|(?<=\bframe) (?=\d)")
"""The space between a number and its unit, and in front of a frame's number: no line breaks there."""


def amount_of(number: str, unit: str) -> str:
    """Return a number with its unit's sign, such as 4.9°, or with its name where standard output has no such letter."""
    told = measured(number, unit)
    try:
        told.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except (UnicodeEncodeError, LookupError):
        return f"{number} {unit}"
    return told


def written_line(path: str) -> str:
    """Return the line that says that a clip's file was written, and in which format where no suffix tells it."""
    return f"written: {path}" if PurePath(path).suffix else f"written: {path} (a clip in JSON, as it has no suffix)"


def wrapped(text: str) -> str:
    """Return a long line of words over as many lines as it takes, those after the first indented."""
    return fill(text, WIDE, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False)


def fitted(head: Sequence[str], rows: Rows, right: Sequence[bool]) -> list[str]:
    """Return a table's lines, no wider than `WIDE`.

    Where it would be wider, words go on below one another in their cells, the widest column first; and where not even
    that does, each row is turned: a line for each of its cells, after the column's name.
    """
    every = [[KEPT.sub("\N{NO-BREAK SPACE}", cell) for cell in row] for row in (head, *rows)]
    widths = [max(len(row[i]) for row in every) for i in range(len(head))]
    least = [max(len(word) for row in every for word in row[i].split(" ")) for i in range(len(head))]
    over = sum(widths) + len(GAP) * (len(head) - 1) - WIDE
    while over > 0:
        widest = max((i for i, width in enumerate(widths) if width > least[i]), key=widths.__getitem__, default=None)
        if widest is None:
            return _turned(head, rows)
        widths[widest] -= 1
        over -= 1
    lines = []
    for row in every:
        cells = [wrap(cell, width, break_long_words=False, break_on_hyphens=False) or [""]
                 for cell, width in zip(row, widths, strict=True)]  # fmt: skip
        for k in range(max(map(len, cells))):
            parts = (cell[k] if k < len(cell) else "" for cell in cells)
            line = GAP.join(
                part.rjust(width) if flush else part.ljust(width)
                for part, width, flush in zip(parts, widths, right, strict=True)
            )
            lines.append(line.rstrip().replace("\N{NO-BREAK SPACE}", " "))
    return lines


def _turned(head: Sequence[str], rows: Rows) -> list[str]:
    width = max(map(len, head))
    lines = [[wrapped(f"{name.ljust(width)}{GAP}{cell}") for name, cell in zip(head, row, strict=True)] for row in rows]
    return [line for row in lines for line in (*row, "")][:-1]
