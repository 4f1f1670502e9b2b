"""``surefoot convert``: the clip and its rig, ready for the next command; wrong use in one sentence."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from surefoot import check, load_clip, load_rig
from surefoot.cli import main


def test_a_stretched_leg_that_joints_cannot_follow_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["convert", "lamplighter", "--style", "joints"]) == 0
    assert "plant the clip first" in capsys.readouterr().out
    main(["plant", "lamplighter", "-o", str(tmp_path / "planted.json")])
    capsys.readouterr()
    assert main(["convert", str(tmp_path / "planted.json"), "--style", "joints"]) == 0
    assert "plant the clip first" not in capsys.readouterr().out


def test_a_converted_clip_names_its_rig_and_is_planted_by_the_next_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    walk, planted = tmp_path / "walk.json", tmp_path / "planted.json"
    assert main(["convert", "lamplighter", "--style", "rockers", "-o", str(walk)]) == 0
    told = capsys.readouterr().out
    assert "feet by rockers: 6 new channels" in told
    assert (tmp_path / "walk.toml").is_file()
    assert load_clip(walk).rig == "walk.toml"
    assert main(["plant", str(walk), "-o", str(planted)]) == 0
    assert check(load_clip(planted), load_rig(tmp_path / "walk.toml")).is_clean


def test_back_for_the_rig_that_it_came_from(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    walk, back = tmp_path / "walk.json", tmp_path / "back.json"
    assert main(["convert", "treadmill", "--style", "joints", "-o", str(walk), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["on_frames_m"] < 1e-10
    assert told["style"] == "joints"
    assert main(["convert", str(walk), "--to", "treadmill", "-o", str(back)]) == 0
    assert load_clip(back).rig == "treadmill"
    assert "left_foot.cant" in load_clip(back).channels


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "wanted one of --style"),
        (["--style", "ankle", "--to", "adult"], "wanted one of --style"),
        (["--style", "toes"], "the control style 'toes' isn't known"),
        (["--style", "rockers", "--rig-out", "r.toml"], "--rig-out: goes with --output"),
        (["--to", "nobody"], "nobody"),
    ],
)
def test_wrong_use_is_told_in_one_sentence(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["convert", "lamplighter", *words]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["convert", "--help"]) == 0
    assert "example: surefoot convert" in capsys.readouterr().out
