"""The table of checks against something outside, filled by the tests themselves as they run.

A test calls `agrees`, `within` or `alike`: each notes a row and then asserts it. Source and flag of a row are read
from the docstring of the test that makes it: ``Source: ... (flag).``, one or more. So the table can't tell anything
else than what was tested, and a test without a source can't run. A test of the checks themselves says ``Control:``
instead (that a bound can be missed, that random cases are hard enough) and makes no row.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

FLAGS = {
    "verified": "read in the primary source, or answered by the other program in this very run",
    "computed": "worked out from verified figures or from plain geometry",
    "secondary": "read in a text that quotes the source",
    "from memory": "not seen; of the figure or of its citation",
    "common practice": "of the trade, without a source",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One check: what came out here, what they have, how far apart, how far apart it may be, and whose it is."""

    test: str
    what: str
    ours: str
    theirs: str
    difference: float
    bound: float
    held: bool
    source: str
    flag: str
    cases: int = 1


@dataclass(slots=True)
class Running:
    """The test that is running: its name, its sources as (text, flag), and how many rows it made."""

    name: str
    sources: tuple[tuple[str, str], ...]
    made: int = 0


rows: dict[tuple[str, str], Row] = {}
running: Running | None = None


def sources_of(docstring: str | None) -> tuple[tuple[str, str], ...]:
    """Return the sources that a docstring names, each with its flag."""
    text = " ".join((docstring or "").split())
    found = re.findall(rf"Source: (.+?) \(({'|'.join(FLAGS)})\)\.(?= |$)", text)
    return tuple((str(source), str(flag)) for source, flag in found)


def is_control(docstring: str | None) -> bool:
    """Return whether the docstring is that of a test of the checks themselves."""
    return "Control:" in (docstring or "")


def starts(function: Callable[..., Any]) -> Running:
    """Note which test runs now, and return what is noted."""
    global running
    running = Running(f"{function.__module__}.{function.__name__}", sources_of(function.__doc__))
    return running


def agrees(
    what: str, ours: ArrayLike, theirs: ArrayLike, *, bound: ArrayLike = 0.0, share: float = 0.0, by: str = ""
) -> None:
    """Assert that ``ours`` is ``theirs`` within ``bound`` (and that share of theirs); the row tells the worst place.

    Shapes must be the same, or theirs one number; ``bound`` goes with ours. ``by`` picks a source by a word of it.
    """
    mine, other = np.asarray(ours, np.float64), np.asarray(theirs, np.float64)
    assert mine.size > 0, what
    assert other.shape in ((), mine.shape), f"{what}: shapes {mine.shape} and {other.shape}"
    assert not (mine.size > 1 and np.shares_memory(mine, other)), f"{what}: compared with itself"
    other = np.broadcast_to(other, mine.shape)
    gap = np.where(mine == other, 0.0, np.abs(mine - other))
    most = np.broadcast_to(np.asarray(bound) + share * np.abs(other), mine.shape)
    over = np.where(gap == 0.0, 0.0, np.where(np.isnan(gap), np.inf, gap / np.maximum(most, 1e-300)))
    worst = int(over.argmax())
    held = bool((gap <= most).all())
    note(what, shown(mine.flat[worst]), shown(other.flat[worst]), gap.flat[worst], most.flat[worst], held, by)
    assert held, f"{what}: {mine.flat[worst]!r} here, {other.flat[worst]!r} there; may differ by {most.flat[worst]}"


def within(what: str, ours: ArrayLike, low: float, high: float, *, by: str = "") -> None:
    """Assert that all of ``ours`` lies in their band; the row's difference and bound count from its middle."""
    mine = np.ravel(np.asarray(ours, np.float64))
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    gap = np.abs(mine - middle)
    worst = int(np.where(np.isnan(gap), np.inf, gap).argmax())
    held = bool(((low <= mine) & (mine <= high)).all())
    note(what, shown(mine[worst]), f"{shown(low)} to {shown(high)}", float(gap[worst]), half, held, by)
    assert held, f"{what}: {mine[worst]!r} here, {low} to {high} there"


def alike(what: str, ours: Any, theirs: Any, *, by: str = "") -> None:
    """Assert that two answers of yes or no, sets or tables are the same everywhere; the row counts the misses."""
    if isinstance(ours, np.ndarray):
        assert ours.shape == np.shape(theirs), f"{what}: shapes {ours.shape} and {np.shape(theirs)}"
        misses, told = int(np.sum(ours != theirs)), (f"{ours.size} answers",) * 2
    else:
        misses, told = int(ours != theirs), (brief(ours), brief(theirs))
    note(what, *told, misses, 0.0, misses == 0, by)
    assert misses == 0, f"{what}: {ours!r} here, {theirs!r} there"


def note(what: str, ours: str, theirs: str, difference: float, bound: float, held: bool, by: str) -> None:
    """Add a row, or a further case to one of the same test and name: the worst case is the one shown."""
    assert running is not None, "a row is made by a running test"
    fitting = [source for source in running.sources if by in source[0]]
    assert len(fitting) == 1, f"{running.name}: {len(fitting)} sources for the row {what!r}, wanted one"
    row = Row(running.name, what, ours, theirs, float(difference), float(bound), held, *fitting[0])
    running.made += 1
    key = (row.test, row.what)
    before = rows.get(key)
    if before is not None:
        worse = row if strain(row) > strain(before) else before
        row = replace(worse, cases=before.cases + 1, held=before.held and row.held)
    rows[key] = row


def strain(row: Row) -> float:
    """Return the difference as a share of the bound; beyond 1 where it doesn't hold."""
    if np.isnan(row.difference):
        return float("inf")
    return row.difference / row.bound if row.bound > 0.0 else row.difference


def shown(number: float) -> str:
    """Return a number with as many digits as a table bears."""
    return f"{float(number):.7g}"


def brief(value: Any) -> str:
    """Return any value in a few words."""
    if isinstance(value, list | tuple | set | frozenset | dict) and not value:
        return "none"
    text = " ".join(str(value).split())
    return text if len(text) < 40 else f"{text[:37]}..."
