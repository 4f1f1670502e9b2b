"""`surefoot plant --loops`: a cycle written out over its ground, from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from surefoot import load_clip
from surefoot.cli import main

CLIMB = [
    "plant",
    "lamplighter",
    "--ground",
    "accessible-stairs",
    "--loops",
    "6",
    "--every-frame",
    "--clearance",
    "10mm",
]


def test_a_climb_with_the_hips_let_is_planted_for_its_whole_length(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main([*CLIMB, "--let", "hips.y", "-o", str(tmp_path / "up.json"), "--json"])
    told = json.loads(capsys.readouterr().out)
    after = {finding["kind"] for finding in told["after"]["findings"] if finding["level"] != "note"}
    assert not after & {"slide", "sink", "hover", "stretch", "overhang"}
    assert told["laid"]["hips"]["applied"]
    assert min(step["supported"] for step in told["laid"]["steps"]) >= 0.6
    made = load_clip(tmp_path / "up.json")
    assert (made.first, made.last, made.loop) == (1, 144, False)


def test_without_letting_the_stretch_and_the_proposal_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(CLIMB) == 1
    out = capsys.readouterr().out
    assert "stretch" in out
    assert "a proposal; --let hips.y applies it" in out
    assert "steps 0.41 to 1.08 of their own length" in out


def test_hips_that_only_come_down_are_said_to_be_lowered(capsys: pytest.CaptureFixture[str]) -> None:
    main(["plant", "lamplighter", "--loops", "2"])
    assert "hips lowered by 0 to 2 mm (a proposal" in capsys.readouterr().out


def test_few_keys_are_few_on_stairs_too(capsys: pytest.CaptureFixture[str]) -> None:
    main(["plant", "lamplighter", "--ground", "kerb", "--loops", "3", "--let", "hips.y", "--json"])
    told = json.loads(capsys.readouterr().out)
    worst = {f["kind"]: f["amount"] for f in told["after"]["findings"] if f["level"] != "note"}
    assert not set(worst) & {"slide", "hover", "stretch"}


def test_a_bending_route_is_walked(capsys: pytest.CaptureFixture[str]) -> None:
    main(["plant", "lamplighter", "--loops", "4", "--along", "0,0:0,3:3,6", "--every-frame"])
    assert "laid out:" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--loops", "0"], "--loops: wanted a whole number"),
        (["--loops", "x"], "--loops: wanted a whole number"),
        (["--loops", "2", "--along", "0,0"], "two places"),
        (["--loops", "2", "--along", "0,0:1"], "--along: wanted places"),
        (["--along", "0,0:1,1"], "--along: it goes with --loops"),
        (["--loops", "2", "--stride", "1"], "--stride: wanted two numbers"),
        (["--loops", "2", "--stride", "1.2-1.3"], "stride: expected shares about 1"),
        (["--loops", "2", "--let", "hips.why"], "hips.why"),
        (["--ground", "accessible-stair"], "did you mean 'accessible-stairs'"),
    ],
)
def test_wrong_options_are_told_in_one_sentence(more: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", "lamplighter", *more]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1


def test_a_cycle_that_stays_in_place_on_stairs_is_shown_the_way_to_walk_over_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["plant", "lamplighter", "--ground", "accessible-stairs"])
    assert "--loops 6 walks it over the ground" in capsys.readouterr().out
    main(["plant", "lamplighter", "--ground", "accessible-stairs", "--loops", "2", "--let", "hips.y"])
    assert "walks it over the ground" not in capsys.readouterr().out
    main(["plant", "lamplighter"])
    assert "walks it over the ground" not in capsys.readouterr().out
    low = tmp_path / "low.toml"
    low.write_text('surefoot = "ground/1"\nunit = "m"\nkind = "flat"\nheight = -0.5\n')
    main(["plant", "lamplighter", "--ground", str(low)])
    assert "no foot comes down near this ground" in capsys.readouterr().out
