"""Choosing what is mended, few keys or one a frame, and letting the hips, from the command line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import Clip, demo, load_clip, save_clip
from surefoot.cli import main


def lamplighter(folder: Path, *, higher: float = 0.0) -> Path:
    """Write the demo out, its hips raised by so many centimetres."""
    clip, _ = demo("lamplighter")
    hips = clip.channels["hips.y"]
    path = folder / "walk.json"
    save_clip(clip.with_channels({"hips.y": replace(hips, values=hips.values + higher)}), path)
    return path


def planted(path: Path, *words: str, status: int | None = None) -> Clip:
    out = path.with_name("out.json")
    found = main(["plant", str(path), "-o", str(out), *words])
    if status is not None:
        assert found == status
    return load_clip(out)


def test_few_keys_are_handed_over_unless_one_on_every_frame_is_asked_for(tmp_path: Path) -> None:
    path = lamplighter(tmp_path)
    few, every = planted(path, status=0), planted(path, "--every-frame", status=0)
    assert len(every.channels["left_foot.z"].frames) == 25
    assert len(few.channels["left_foot.z"].frames) <= 14
    own = set(load_clip(path).channels["left_foot.z"].frames)
    assert own <= set(few.channels["left_foot.z"].frames)


def test_new_keys_may_be_confined_and_what_is_left_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = lamplighter(tmp_path)
    clip = planted(path, "--keys-at", "2,9-12")
    own = set(load_clip(path).channels["left_foot.z"].frames)
    assert set(clip.channels["left_foot.z"].frames) - own <= {2.0, 9.0, 10.0, 11.0, 12.0}
    assert "has too few keys: it's off what was planted by" in capsys.readouterr().out


def test_one_foot_some_frames_and_some_kinds_may_be_chosen(tmp_path: Path) -> None:
    path = lamplighter(tmp_path)
    clip = planted(path, "--only", "left_foot", "--frames", "1-9", "--accept", "sink,hover", "--reject", "stretch")
    before = load_clip(path)
    changed = {name for name, curve in clip.channels.items() if not _same(curve, before.channels[name])}
    assert changed
    assert changed <= {"left_foot.y", "left_foot.bend", "left_foot.cant"}


def _same(one: object, two: object) -> bool:
    fields = ("frames", "values", "slope_in", "slope_out", "shapes")
    return all(np.array_equal(getattr(one, field), getattr(two, field)) for field in fields)


def test_rejecting_everything_leaves_the_clip_as_it_was(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = lamplighter(tmp_path)
    clip = planted(path, "--reject", "slide,sink,hover,stretch", status=1)
    before = load_clip(path)
    assert all(_same(curve, before.channels[name]) for name, curve in clip.channels.items())
    said = capsys.readouterr().out
    assert "no channel was changed" in said
    assert "needed nothing" not in said


def test_hips_too_high_are_told_and_come_down_only_when_let(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = lamplighter(tmp_path, higher=3.0)
    alone = planted(path, status=1)
    assert _same(alone.channels["hips.y"], load_clip(path).channels["hips.y"])
    assert "stretch" in capsys.readouterr().out.split("left over:")[1]
    let = planted(path, "--let", "hips.y", status=0)
    assert "hips.y: changed by -" in capsys.readouterr().out
    assert not _same(let.channels["hips.y"], load_clip(path).channels["hips.y"])
    for name in ("hips.x", "hips.z", "hips.pitch", "chest.yaw"):
        assert _same(let.channels[name], load_clip(path).channels[name])


@pytest.mark.parametrize("loops", [[], ["--loops", "2"]])
def test_what_is_let_in_vain_is_told(loops: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    planted(lamplighter(tmp_path), "--let", "hips.x,left_foot.y,hips.y", *loops, status=0)
    said = capsys.readouterr().out
    for name in ("hips.x", "left_foot.y"):
        assert f"{name}: let in vain; only hips.y is ever lowered" in said
    assert "hips.y: let in vain" not in said
    assert ("hips.y: let, and left alone" in said) == (not loops)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--accept", "slid"], "did you mean 'slide'"),
        (["--reject", "cross"], "no kind that planting mends is called 'cross'"),
        (["--only", "middle_foot"], "--only: no foot is called 'middle_foot'"),
        (["--frames", "x"], "--frames: wanted frames"),
        (["--frames", "9-3"], "run backwards"),
        (["--accept", "slide", "--reject", "slide"], "--reject: leaves none of the kinds of --accept"),
        (["--accept", ","], "--accept: names no kind; wanted at least one of slide, sink, hover, stretch"),
        (["--let", "hip.y"], "did you mean 'hips.y'"),
        (["--keys-at", "1,,2"], "--keys-at: wanted frames"),
        (["--every-frame", "--keys-at", "1"], "--keys-at: doesn't go together with --every-frame"),
    ],
)
def test_a_wrong_choice_is_one_sentence_and_exit_2(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = lamplighter(tmp_path)
    assert main(["plant", str(path), "-o", str(tmp_path / "out.json"), *words]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not (tmp_path / "out.json").exists()
