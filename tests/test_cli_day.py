"""The commands that edit: remix, twin and travel, through `main`."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surefoot import Edit, demo, load_clip, load_rig, remix, save_clip
from surefoot.cli import main
from surefoot.curves import Pack


@pytest.fixture
def planted(tmp_path: Path) -> Path:
    out = tmp_path / "planted.json"
    assert main(["plant", "lamplighter", "-o", str(out)]) == 0
    return out


def run(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> str:
    capsys.readouterr()
    assert main(list(words)) == status
    return capsys.readouterr().out


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    assert main(list(words)) == 2
    return capsys.readouterr().err


def at(path: Path, name: str) -> Any:
    return Pack.from_curves([load_clip(path).channels[name]]).evaluate(np.linspace(1.0, 25.0, 97))[0]


def test_remix_edits_in_order_plants_and_writes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "calmer.json"
    words = ("--scale", "hips=0.7", "--add", "hips.y=-5mm", "--shift", "chest=2", "-o", str(out))
    text = run(capsys, "remix", "lamplighter", *words)
    assert "edited: hips.x, hips.y" in text
    assert re.search(r"error: 2 +107 mm \(left, frame 14.4\)", text)
    clip, rig = demo("lamplighter")
    wanted = remix(clip, rig, [Edit("scale", "hips", 0.7), Edit("add", "hips.y", -0.5), Edit("shift", "chest", 2.0)])
    made = load_clip(out)
    for name in ("hips.x", "hips.y", "chest.yaw"):
        assert np.array_equal(made.channels[name].values, wanted.channels[name].values)
    assert main(["check", str(out)]) == 0


def test_remix_unplanted_leaves_the_feet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "raw.json"
    text = run(capsys, "remix", "lamplighter", "--scale", "hips=0.7@rest", "--no-plant", "-o", str(out), status=1)
    assert "not planted" in text
    clip, _ = demo("lamplighter")
    assert np.array_equal(load_clip(out).channels["left_foot.z"].values, clip.channels["left_foot.z"].values)


def test_a_clip_that_is_mixed_in_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "other.json"
    save_clip(demo("lamplighter")[0], other)
    before = other.read_bytes()
    error = told(capsys, "remix", "lamplighter", "--mix", f"{other}=0.3", "-o", str(other))
    assert f"--output: {other} is --mix {other} too; name another file" in error
    assert other.read_bytes() == before


def test_remix_reads_edits_from_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edits, one, two = tmp_path / "edits.toml", tmp_path / "one.json", tmp_path / "two.json"
    edits.write_text(
        'surefoot = "edits/1"\n[[edit]]\nscale = "hips"\nby = 0.7\nabout = 7\n'
        '[[edit]]\nadd = "hips.y"\nby = -5\nunit = "mm"\n[[edit]]\nshift = "chest"\nby = 2\n'
    )
    run(capsys, "remix", "lamplighter", "--edits", str(edits), "-o", str(one))
    words = ("--scale", "hips=0.7@7", "--add", "hips.y=-5mm", "--shift", "chest=2", "-o", str(two))
    run(capsys, "remix", "lamplighter", *words)
    assert one.read_text() == two.read_text()


def test_remix_mixes_clips_by_share(planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "mix.json"
    run(capsys, "remix", "lamplighter", "--mix", f"{planted}=0.25", "--no-plant", "-o", str(out), status=1)
    clip, _ = demo("lamplighter")
    one = Pack.from_curves([clip.channels["left_foot.z"]]).evaluate(np.linspace(1.0, 25.0, 97))[0]
    assert np.abs(at(out, "left_foot.z") - (0.75 * one + 0.25 * at(planted, "left_foot.z"))).max() < 1e-9


def test_remix_closes_a_loop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "closed.json"
    text = run(capsys, "remix", "lamplighter", "--close", "-o", str(out), status=1)  # no leg moves: nothing is planted
    assert "edited: chest.yaw, chest.roll, left_arm.swing, right_arm.swing" in text
    assert all(curve.frames[-1] == 25.0 for curve in load_clip(out).channels.values())


def test_twin_keeps_the_source_side_and_says_how_far_it_was_off(
    planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "both.json"
    found = json.loads(run(capsys, "twin", str(planted), "--centre", "--json", "--also", "mismatch", "-o", str(out)))
    assert found["mismatch"]["before"] == pytest.approx(41.888, abs=0.01)
    assert found["mismatch"]["after"] < 1e-9
    assert found["by_name"] == ["head.pitch", "right_arm.swing"]
    assert not [f for f in found["after"]["findings"] if f["kind"] == "mismatch"]
    rig, before, after = load_rig("lamplighter"), load_clip(planted), load_clip(out)
    for axis in rig.controls["left_foot"].axes.values():
        for part in ("frames", "values", "shapes", "slope_in", "slope_out"):
            assert np.array_equal(
                getattr(before.channels[axis.channel], part), getattr(after.channels[axis.channel], part)
            )
    again = tmp_path / "again.json"
    run(capsys, "twin", str(out), "--centre", "-o", str(again))
    assert again.read_text() == out.read_text()


@pytest.mark.parametrize(
    ("words", "edited"),
    [
        (("twin", "--of", "left_foot"), "edited: nothing"),
        (("twin", "--of", "chest", "--centre"), "edited: nothing"),
        (("twin", "--of", "left_arm"), "edited: right_arm.swing"),
        (("remix", "--shift", "chest=2"), "edited: chest.yaw, chest.roll"),
    ],
)
def test_an_edit_that_moves_no_leg_plants_nothing_and_says_so(
    words: tuple[str, ...], edited: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, (command, *options) = tmp_path / "out.json", words
    text = run(capsys, command, "lamplighter", *options, "-o", str(out), status=1)
    assert edited in text.splitlines()
    assert "the edit moves neither hips nor feet, so nothing is planted" in text.splitlines()
    assert "not planted" in text.splitlines()
    made, (clip, rig) = load_clip(out), demo("lamplighter")
    frames = np.linspace(1.0, 25.0, 97)
    for name in rig.channels():
        one, two = (Pack.from_curves([one.channels[name]]).evaluate(frames) for one in (clip, made))
        assert np.array_equal(one, two)


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        ("hips.y=2000", "after the edit hip and ankle are 20.8 m apart on average, but the leg is 0.865 m long"),
        ("hips.y=-200", "after the edit the feet are above the hips"),
        ("hips.yaw=180", "after the edit the left foot is on the right of the right foot"),
    ],
)
@pytest.mark.parametrize("more", [(), ("--no-plant",)])
def test_an_edit_that_takes_hips_and_feet_apart_is_blamed_and_not_the_unit(
    edit: str, says: str, more: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    text = told(capsys, "remix", "lamplighter", "--add", edit, *more)
    assert text == f"surefoot: lamplighter: {says}; make it smaller\n"


def test_a_speed_beyond_the_legs_is_blamed_and_not_the_unit(capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "travel", "lamplighter", "--speed", "20", "--by", "stride")
    assert text.startswith("surefoot: lamplighter: after the edit hip and ankle are 3.5 m apart")
    assert "unit" not in text


def test_plant_before_an_edit_blames_the_edit_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip, rig = demo("lamplighter")
    save_clip(remix(clip, rig, [Edit("add", "hips.y", 2000.0)]), tmp_path / "high.json")
    text = told(capsys, "plant", str(tmp_path / "high.json"), "--before", "lamplighter")
    assert "high.json: after the edit hip and ankle are 20.8 m apart on average" in text
    assert "unit" not in text


def test_twin_says_that_a_faulty_source_stays_faulty(capsys: pytest.CaptureFixture[str]) -> None:
    text = run(capsys, "twin", "lamplighter", "--of", "left_foot", status=1)
    assert "the left foot has faults of its own, which stay" in text


def test_travel_measures(capsys: pytest.CaptureFixture[str]) -> None:
    assert "gait           walk, as the clip or its name says" in run(capsys, "travel", "lamplighter")
    text = run(capsys, "travel", "lamplighter", "--gait", "walk")
    assert "speed          1.350 m/s" in text
    assert "left step: contact 1, down 4, passing" in text
    found = json.loads(run(capsys, "travel", "lamplighter", "--json"))
    assert found["gait"]["cadence"] == pytest.approx(120.0)
    assert found["warnings"] == []
    text = run(capsys, "travel", "lamplighter", "--gait", "run", status=1)
    assert "warning: left duty factor 0.58: a run has 0.20 to 0.50" in text


def test_travel_there_and_back_writes_the_same_file(
    planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, back = tmp_path / "out.json", tmp_path / "back.json"
    run(capsys, "travel", str(planted), "--to", "travelling", "-o", str(out))
    assert main(["check", str(out)]) == 0
    assert main(["plant", str(out)]) == 0
    run(capsys, "travel", str(out), "--to", "in-place", "-o", str(back))
    assert back.read_text() == planted.read_text()


@pytest.mark.parametrize("by", ["time", "stride"])
def test_travel_at_another_speed_is_planted(
    planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], by: str
) -> None:
    out = tmp_path / "slow.json"
    found = json.loads(run(capsys, "travel", str(planted), "--speed", "1.2", "--by", by, "--json", "-o", str(out)))
    assert found["after"]["belt"]["velocity"][2] == pytest.approx(-1.2)
    made = load_clip(out)
    assert made.frames == (28 if by == "time" else 24)
    moving, slow = tmp_path / "moving.json", tmp_path / "moving_slow.json"
    run(capsys, "travel", str(planted), "--to", "travelling", "-o", str(moving))
    run(capsys, "travel", str(moving), "--speed", "1.2", "--by", by, "-o", str(slow))
    assert "root.z" in load_clip(slow).channels


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("remix", "lamplighter"), "nothing to do; give --scale"),
        (("remix", "lamplighter", "--scale", "hips"), "wanted channels and an amount, such as hips.y=0.7"),
        (("remix", "lamplighter", "--scale", "hips=0.7mm"), "wanted channels and an amount"),
        (("remix", "lamplighter", "--scale", "hips=0.7@middle"), "a scale is about mean, rest or a frame's number"),
        (("remix", "lamplighter", "--shift", "chst=2"), "did you mean 'chest'"),
        (("remix", "lamplighter", "--mix", "lamplighter=2"), "a clip and its share, above 0 and below 1"),
        (("remix", "lamplighter", "--mix", "lamplighter=0.6", "--mix", "lamplighter=0.4"), "leave something"),
        (("twin", "lamplighter", "--of", "chest"), "--of: what lies in the middle has no other side (chest.yaw, chest"),
        (("twin", "lamplighter", "--from", "lft"), "no side is called 'lft'"),
        (("twin", "treadmill"), "only a loop has half a cycle"),
        (("travel", "lamplighter", "--speed", "1.2"), "--speed and --by go together"),
        (("travel", "lamplighter", "-o", "nowhere.json"), "nothing is changed"),
        (("travel", "lamplighter", "--to", "in-place"), "nothing in it travels"),
        (("check", "lamplighter", "--also", "mismtch"), "did you mean 'mismatch'"),
    ],
)
def test_wrong_input_is_told_in_one_sentence(
    words: tuple[str, ...], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    error = told(capsys, *words)
    assert sentence in error
    assert error.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[[edit]]\nby = 1\n", 'wanted surefoot = "edits/1"'),
        ('surefoot = "edits/1"\n[[edit]]\nby = 1\n', "edit 1: wanted one of scale, add and shift"),
        ('surefoot = "edits/1"\n[[edit]]\nscale = "hips"\n', "edit[0]: the field 'by' is missing"),
        ('surefoot = "edits/1"\n[[edit]]\nscale = "hips"\nby = "x"\n', "edit[0].by: wanted a number, got a text"),
        ("by = " + "9" * 5000, "not TOML: a whole number has thousands of digits"),
        ("by = " + "[" * 100_000, "nested too deeply; wanted edits in TOML"),
        ('surefoot = "edits/1"\n[[edit]]\nscale = "hips"\nby = 1\nabout = "top"\n', "about mean, rest or a frame"),
        ("surefoot =\n", "not TOML"),
    ],
)
def test_a_faulty_file_of_edits_is_told_with_its_place(
    text: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "edits.toml"
    path.write_text(text)
    error = told(capsys, "remix", "lamplighter", "--edits", str(path))
    assert str(path) in error
    assert sentence in error


@pytest.mark.parametrize("command", ["remix", "twin", "travel"])
def test_help_has_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert f"surefoot {command} walk.json" in " ".join(run(capsys, command, "--help").split())


def test_a_clip_saved_with_edits_reads_back(tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    path = tmp_path / "c.json"
    save_clip(remix(clip, rig, [Edit("shift", "*", 0.5)]), path)
    assert load_clip(path).channels["hips.y"].frames[0] % 1.0 == 0.5


@pytest.mark.parametrize("suffix", ["json", "glb"])
def test_a_travelling_clip_is_written_and_read_in_other_formats_too(
    planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], suffix: str
) -> None:
    out = tmp_path / f"out.{suffix}"
    run(capsys, "travel", str(planted), "--to", "travelling", "-o", str(out))
    assert "ground: still" in run(capsys, "check", str(out))
    assert "speed          1.350 m/s" in run(capsys, "travel", str(out))
