"""What is printed to a pipe fits in 100 columns and loses nothing; a terminal without such letters gets plain ones."""

from __future__ import annotations

import io
import re
import sys

import pytest

from surefoot.__main__ import main
from surefoot.printed import WIDE, amount_of, fitted

COMMANDS = {
    "check --propose": ["check", "lamplighter", "--propose"],
    "check --locks": ["check", "lamplighter", "--locks"],
    "rig show": ["rig", "show", "lamplighter"],
    "formats": ["formats"],
    "plant": ["plant", "lamplighter"],
    "check": ["check", "lamplighter", "--also", "oppose"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_what_a_command_prints_fits(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(COMMANDS[name]) in (0, 1)
    lines = capsys.readouterr().out.splitlines()
    assert lines
    assert max(map(len, lines)) <= WIDE


def test_a_wide_table_keeps_every_word_and_breaks_no_amount() -> None:
    cell = ", ".join(f"left_foot.{axis} +{k}.5 mm" for k, axis in enumerate("xyzxyz"))
    head = ("way", "most", "cost")
    rows = [("a longer way to mend it", cell, "0.25"), ("short", "hips.y -1.0 mm", "12.00")]
    lines = fitted(head, rows, [False, False, True])
    assert len(lines) > 1 + len(rows)
    assert max(map(len, lines)) <= WIDE
    assert sorted(" ".join(lines).split()) == sorted(" ".join(word for row in (head, *rows) for word in row).split())
    assert " ".join(lines).count(".5 mm") == cell.count(".5 mm")


def test_a_table_that_fits_stands_as_it_is() -> None:
    assert fitted(("a", "bb"), [("1", "x y"), ("22", "z")], [True, False]) == [" a  bb", " 1  x y", "22  z"]


def test_a_table_that_no_breaking_makes_fit_is_turned() -> None:
    long = "x" * 60
    lines = fitted(("one", "other"), [(long, long), ("1", "2")], [False, False])
    assert lines == [f"one    {long}", f"other  {long}", "", "one    1", "other  2"]


@pytest.mark.parametrize(
    ("encoding", "wanted"), [("utf-8", r"\d°/s²"), ("latin-1", r"\d°/s²"), ("ascii", r"\d deg/s2")]
)
def test_a_unit_is_told_by_its_sign_where_that_can_be_written(
    encoding: str, wanted: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "stdout", out)
    assert main(["check", "lamplighter"]) == 1
    out.flush()
    assert re.search(wanted, out.buffer.getvalue().decode(encoding))
    assert amount_of("4.9", "mm") == "4.9 mm"


def test_no_space_stands_before_a_degree_sign() -> None:
    assert amount_of("4.9", "deg") == "4.9°"
    assert amount_of("-11844", "deg/s2") == "-11844°/s²"
