"""Where a command shows figures of gait or stairs, it says what they aren't for."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from surefoot.cautions import FOR_ANIMATION, FOR_PICTURES
from surefoot.cli import main
from tests.clip_folders import library

STAIRS = ("--ground", "accessible-stairs")


def told(capsys: pytest.CaptureFixture[str], *words: str | Path) -> str:
    assert main([str(word) for word in words]) in (0, 1)
    return capsys.readouterr().out


def in_a_row(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    "words", [("travel", "lamplighter"), ("travel", "lamplighter", "--json"), ("rig", "show", "lamplighter")],
    ids=lambda words: " ".join(words),
)  # fmt: skip
def test_figures_of_gait_and_bodies_are_for_animation(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert FOR_ANIMATION.removeprefix("for ") in told(capsys, *words)


def test_a_blocked_climb_says_both(capsys: pytest.CaptureFixture[str]) -> None:
    shown = told(capsys, "block", "climb")
    assert FOR_ANIMATION in shown
    assert FOR_PICTURES in shown


@pytest.mark.parametrize(
    "words", [("check",), ("plant",), ("remix", "--add", "hips.y=-1", "--no-plant")], ids=lambda words: words[0]
)
def test_stairs_under_a_clip_are_named_and_are_for_pictures(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    shown = told(capsys, words[0], "lamplighter", *STAIRS, *words[1:])
    assert "ground: accessible-stairs, moves at" in shown
    assert FOR_PICTURES in shown


def test_level_ground_needs_no_caution(capsys: pytest.CaptureFixture[str]) -> None:
    shown = told(capsys, "check", "lamplighter")
    assert "ground: moves at" in shown
    assert FOR_PICTURES not in shown


def test_pictures_and_reports_carry_them_along(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet, report = tmp_path / "sheet.svg", tmp_path / "report.html"
    shown = told(capsys, "draw", "lamplighter", *STAIRS, "--pictures", "plan,gait", "-o", sheet)
    assert FOR_PICTURES in shown
    told(capsys, "report", "lamplighter", *STAIRS, "--as-is", "-o", report)
    for path in (sheet, report):
        text = in_a_row(path.read_text(encoding="utf-8"))
        assert FOR_PICTURES in text, path.name
        assert FOR_ANIMATION in text, path.name


def test_a_batchs_summary_carries_them_in_both_forms(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lib = library(tmp_path / "lib", 1)
    for words, wanted in (((*STAIRS, "--check"), True), (("--check",), False)):
        shown = told(capsys, "batch", lib, "-o", tmp_path / "out", *words)
        assert (FOR_PICTURES in shown) == wanted
        rows = json.loads((tmp_path / "out/batch-summary.json").read_text())["clips"]
        table = list(csv.DictReader((tmp_path / "out/batch-summary.csv").read_text().splitlines()))
        for row in [row for row in (*rows, *table) if row["status"] == "done"]:
            assert row["caution"] == (FOR_PICTURES if wanted else "")
        assert FOR_PICTURES in told(capsys, "batch", lib, "-o", tmp_path / "out", *STAIRS, "--check", "--json")


@pytest.mark.parametrize("command", ["check", "plant", "remix", "travel", "draw", "report", "page"])
def test_help_says_it_of_grounds(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    assert "(for pictures, not for building)" in in_a_row(capsys.readouterr().out)


GAIT, GROUND = f"figures of gait are {FOR_ANIMATION}", f"stairs, ramps and kerbs are {FOR_PICTURES}"
IN_JSON = {
    "check lamplighter": [],
    "check lamplighter --ground accessible-stairs": [GROUND],
    "check lamplighter --ground ramp-1-12 --propose": [GROUND],
    "plant lamplighter": [],
    "plant lamplighter --ground kerb": [GROUND],
    "plant lamplighter --loops 2 --ground private-stairs": [GROUND],
    "remix lamplighter --add hips.y=-1 --no-plant --ground kerb": [GROUND],
    "travel lamplighter": [GAIT],
    "travel lamplighter --to travelling": [GAIT],
    "travel lamplighter --ground kerb": [GAIT, GROUND],
    "block walk": [GAIT],
    "block climb": [GAIT, GROUND],
    "rig show adult": [f"bodies are {FOR_ANIMATION}"],
}


@pytest.mark.parametrize("line", IN_JSON)
def test_json_carries_them_too(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*line.split(), "--json"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["cautions"] == IN_JSON[line]


def test_json_of_a_picture_and_of_a_report_carries_them_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, wanted in (
        (["draw", "lamplighter", "-o", "a.svg", "--pictures", "plan"], []),
        (["draw", "lamplighter", "-o", "b.svg", "--pictures", "gait", *STAIRS], [GAIT, GROUND]),
        (["report", "lamplighter", "-o", "c.html", "--as-is"], [GAIT]),
    ):
        words[3] = str(tmp_path / words[3])
        assert main([*words, "--json"]) in (0, 1)
        assert json.loads(capsys.readouterr().out)["cautions"] == wanted
