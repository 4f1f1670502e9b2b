"""The table of outside checks: it names a source for every row, and nothing in it is compared with itself."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest

from tests.outside import table

FILES = sorted((Path(__file__).parent / "outside").glob("test_*.py"))
MAKERS = {"agrees": 2, "within": 2, "alike": 2}


def sourced() -> None:
    """Source: a book (from memory). And Source: another, of 1999 (verified)."""


@pytest.fixture(autouse=True)
def apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "rows", {})
    monkeypatch.setattr(table, "running", None)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_outside_test_says_its_source_and_flag_and_makes_a_row(path: Path) -> None:
    for node in ast.parse(path.read_text()).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            docstring = ast.get_docstring(node)
            if not table.is_control(docstring):
                assert table.sources_of(docstring), f"{path.name}: {node.name}"
            assert len(re.findall("Source:", docstring or "")) == len(table.sources_of(docstring)), node.name


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_stands_for_theirs_calls_nothing_of_ours(path: Path) -> None:
    tree = ast.parse(path.read_text())
    ours = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "surefoot"
        for alias in node.names
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MAKERS:
            for argument in node.args[MAKERS[node.func.id] :]:
                named = {part.id for part in ast.walk(argument) if isinstance(part, ast.Name)}
                assert not named & (ours | {"surefoot"}), f"{path.name}, line {node.lineno}"


def test_sources_are_read_from_the_docstring() -> None:
    assert table.sources_of(sourced.__doc__) == (("a book", "from memory"), ("another, of 1999", "verified"))
    assert table.sources_of("Source: a book (hearsay).") == ()
    assert table.sources_of(None) == ()


def test_of_several_cases_the_worst_is_shown() -> None:
    table.starts(sourced)
    for ours in (1.0, 1.3, 1.1):
        table.agrees("a number", ours, 1.0, bound=0.5, by="book")
    (row,) = table.rows.values()
    assert (row.ours, row.theirs, row.cases, row.flag, row.held) == ("1.3", "1", 3, "from memory", True)
    assert row.difference == pytest.approx(0.3)


def test_what_does_not_hold_fails_and_stays_in_the_table() -> None:
    table.starts(sourced)
    with pytest.raises(AssertionError, match="may differ by"):
        table.agrees("a number", 1.3, 1.0, bound=0.1, by="book")
    with pytest.raises(AssertionError, match="no number"):
        table.agrees("no number", float("nan"), 1.0, bound=0.1, by="book")
    with pytest.raises(AssertionError, match="a band"):
        table.within("a band", [0.5, 1.2], 0.0, 1.0, by="another")
    with pytest.raises(AssertionError, match="answers"):
        table.alike("answers", np.array([True, False]), np.array([True, True]), by="another")
    assert [row.held for row in table.rows.values()] == [False] * 4
    table.agrees("a number", 1.0, 1.0, bound=0.1, by="book")
    first = next(iter(table.rows.values()))
    assert (first.held, first.cases) == (False, 2)


def test_a_row_needs_one_source_and_two_sides() -> None:
    table.starts(sourced)
    with pytest.raises(AssertionError, match="2 sources"):
        table.agrees("a number", 1.0, 1.0)
    with pytest.raises(AssertionError, match="0 sources"):
        table.agrees("a number", 1.0, 1.0, by="nobody")
    one = np.ones(3)
    with pytest.raises(AssertionError, match="compared with itself"):
        table.agrees("a number", one, one[:], by="book")
    with pytest.raises(AssertionError, match="shapes"):
        table.agrees("a number", one, np.ones(2), by="book")
    assert table.rows == {}
