"""Stance is one quantity: from initial contact to toe-off, as a share of the stride, wherever it's told."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from surefoot import Stance, beside_science, block, gait_of, load_recipe, load_rig, phases_of, recipe_names
from surefoot.cli import main
from surefoot.commands import COMMANDS

RECIPES = sorted(recipe_names())


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) in (0, 1)
    return capsys.readouterr().out


@pytest.mark.parametrize("recipe", RECIPES)
def test_every_command_and_the_library_tell_one_stance_for_a_recipe(
    recipe: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the recipe asks for, its frames from contact to toe-off over the frames of the cycle, is the witness."""
    asked = load_recipe(recipe)
    share, over = asked.pace.toe_off / asked.pace.frames, 2.0 * asked.pace.toe_off / asked.pace.frames - 1.0
    clip, stairs = str(tmp_path / "clip.json"), tmp_path / "stairs.toml"
    blocking = ["block", recipe, "-o", clip, "--json", *(["--stairs", str(stairs)] if asked.stairs else [])]
    figures = {row["figure"]: row["value"] for row in json.loads(printed(capsys, *blocking))["gait"]}
    assert figures["stance"] == pytest.approx(100.0 * share)
    name = "double support, each" if over > 0.0 else "flight, each"
    assert figures[name] == pytest.approx(50.0 * abs(over))

    ground = ["--ground", str(stairs)] if asked.stairs else []
    travel = json.loads(printed(capsys, "travel", clip, "--json", *ground))
    assert travel["gait"]["duty_factor"] == pytest.approx([share, share])
    assert travel["gait"]["double_support"] - travel["gait"]["flight"] == pytest.approx(over)
    assert figures["speed"] == pytest.approx(travel["gait"]["speed"])
    assert figures["cadence"] == pytest.approx(travel["gait"]["cadence"])
    length = travel["gait"]["stride"] / 2.0
    assert figures["step length"] == pytest.approx(100.0 * length) == pytest.approx(100.0 * asked.step)
    stances = [phase["to_percent"] for phase in travel["phases"] if phase["name"] in ("pre-swing", "terminal stance")]
    assert max(stances) == pytest.approx(100.0 * share)
    lines = printed(capsys, "travel", clip, *ground)
    assert f"left {share:.3f}, right {share:.3f}, from contact to toe-off" in lines

    for words in (["draw", "--pictures", "gait", "-o", "gait.svg"], ["report", "-o", "report.html"]):
        path = tmp_path / words.pop()
        assert main([words[0], clip, *words[1:], str(path), *ground]) in (0, 1)
        told = re.findall(r"foot on the ground ([\d.]+) % of the cycle", path.read_text("utf-8"))
        assert set(told) == {f"{100.0 * share:.1f}"}, words[0]
    capsys.readouterr()


def test_the_library_tells_the_same_stance_with_and_without_a_loop() -> None:
    rig = load_rig("lamplighter")
    clip = block(load_recipe("walk"), rig).clip
    loop = gait_of(clip, rig)
    rows = {row.figure: row.value for row in beside_science(clip, rig, "walk")}
    assert loop.duty == pytest.approx((14 / 24, 14 / 24))
    assert rows["stance"] == pytest.approx(100.0 * loop.mean_duty)
    both = [
        s
        for k in range(3)
        for s in (Stance("left", 1 + 24 * k, 15 + 24 * k), Stance("right", 13 + 24 * k, 27 + 24 * k))
    ]
    long = replace(clip, last=clip.first + 71, loop=False).with_stances(
        [replace(s, last=min(s.last, clip.first + 71)) for s in both]
    )
    out = gait_of(long, rig)
    assert out.duty == pytest.approx(loop.duty)
    assert out.double_support == pytest.approx(loop.double_support)


def test_a_foot_that_never_leaves_the_ground_stands_for_the_whole_cycle() -> None:
    rig = load_rig("lamplighter")
    clip = block(load_recipe("walk"), rig).clip.with_stances([Stance("left", 1, 24), Stance("right", 13, 27)])
    gait = gait_of(clip, rig)
    assert gait.duty == pytest.approx((1.0, 14 / 24))
    assert gait.double_support == pytest.approx(14 / 24)
    assert gait.flight == 0.0


def test_a_stance_of_one_frame_is_a_touch_without_length() -> None:
    rig = load_rig("lamplighter")
    clip = block(load_recipe("walk"), rig).clip.with_stances([Stance("left", 1, 1), Stance("right", 13, 13)])
    gait = gait_of(clip, rig)
    assert gait.duty == (0.0, 0.0)
    assert gait.flight == 1.0
    assert [p.end for p in phases_of(clip, rig) if p.name == "terminal stance"] == [0.0, 0.0]


def test_every_command_that_tells_a_stance_is_read_here() -> None:
    """Those that print figures of gait: a new one must be read above."""
    folder = Path(__file__).parents[1] / "solver" / "surefoot" / "commands"
    telling = {
        name for name in COMMANDS
        if re.search(r"gait_of|beside_science|gait_json", (folder / f"{name}.py").read_text("utf-8"))
    }  # fmt: skip
    assert telling == {"block", "travel"}
