"""A new thing is one new file and one line, as DEVELOPERS.md says: a toy of each, used as a user would use it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

import surefoot
from surefoot import formats, grounds
from surefoot.__main__ import main
from surefoot.control_styles import STYLES, ControlStyle
from surefoot.tolerances import KINDS, Kind


@pytest.fixture
def pipes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one line of a new format."""
    monkeypatch.setattr(formats, "FORMATS", [*formats.FORMATS, "tests.toys.pipes"])


@pytest.mark.usefixtures("pipes")
def test_a_new_format_is_read_written_and_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip, _ = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    made, planted = tmp_path / "walk.pipes", tmp_path / "planted.pipes"
    assert main(["convert", str(tmp_path / "walk.json"), str(made)]) == 0
    assert main(["plant", str(made), "-o", str(planted)]) in (0, 1)
    assert main(["formats"]) == 0
    assert re.search(r"^pipes +\.pipes +yes +yes ", capsys.readouterr().out, re.MULTILINE)
    before, after = made.read_text("utf-8").splitlines(), planted.read_text("utf-8").splitlines()
    assert before[0] == after[0] == "|".join(["frame", *clip.channels])
    assert len(before) == len(after) == clip.frames + 1
    assert before != after


def test_an_unknown_format_stays_unknown_without_its_line(tmp_path: Path) -> None:
    clip, _ = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    assert main(["convert", str(tmp_path / "walk.json"), str(tmp_path / "walk.pipes")]) == 2


BOWL = 'surefoot = "ground/1"\nunit = "m"\nkind = "bowl"\nname = "basin"\nrise = 0.005\norigin = [0, 0, 1]\n'


@pytest.fixture
def basin(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The one line of a new kind of ground, and a file of one."""
    monkeypatch.setattr(grounds, "KINDS", [*grounds.KINDS, "tests.toys.bowl"])
    (tmp_path / "basin.toml").write_text(BOWL, "utf-8")
    return tmp_path / "basin.toml"


def test_a_new_kind_of_ground_is_read_planted_on_and_drawn(basin: Path, tmp_path: Path) -> None:
    ground = surefoot.load_ground(basin)
    clip, rig = surefoot.demo("lamplighter")
    clip = replace(clip, loop=False)  # in a loop the next round comes to other ground
    moved = ground.turned(0.4, about=(0.0, 0.0, 1.0)).moved((0.0, 0.5, 0.0))
    assert float(moved.height(1.0, 1.0)) == pytest.approx(0.505)
    over = [float(ground.poke((0.0, y, -1.0), (0.0, y, 1.0))) for y in (0.01, 0.03)]
    assert over == pytest.approx([0.02 * (10 / 11) ** 2 - 0.01, 0.0])  # looked at in ten places between
    before, after = tmp_path / "walk.json", tmp_path / "planted.json"
    surefoot.save_clip(clip, before)
    assert main(["plant", str(before), "--ground", str(basin), "-o", str(after)]) in (0, 1)
    assert main(["draw", str(after), "--ground", str(basin), "-o", str(tmp_path / "walk.svg")]) == 0
    sinks = [surefoot.check(surefoot.load_clip(one), rig, ground=ground).most("sink") for one in (before, after)]
    assert sinks[0] is not None
    assert sinks[0].level == "error"
    assert sinks[1] is None or sinks[1].level == "note"


def test_what_is_wrong_with_a_new_kinds_file_is_told_as_with_others(basin: Path) -> None:
    basin.write_text(BOWL + "rim = 2\n", "utf-8")
    with pytest.raises(surefoot.InputError, match="no key of a bowl ground is called 'rim'"):
        surefoot.load_ground(basin)
    basin.write_text(BOWL.replace('"bowl"', '"bowel"'), "utf-8")
    with pytest.raises(surefoot.InputError, match="expected flat, plane, profile, grid, mesh or bowl, got 'bowel'"):
        surefoot.load_ground(basin)


@pytest.fixture
def bob(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one line of a new kind of finding."""
    kind = Kind("mm", (2.0, 10.0, 500.0), "judgement", "Keep the hips level.", module="tests.toys.bob")
    monkeypatch.setitem(cast("dict[str, Any]", KINDS), "bob", kind)


@pytest.mark.usefixtures("bob")
def test_a_new_kind_of_finding_is_looked_for_told_and_has_its_tolerance(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    clip, rig = surefoot.demo("lamplighter")
    found = surefoot.check(clip, rig).most("bob")
    assert found is not None
    height = clip.channels["hips.y"].at(range(clip.first, clip.last + 1)) * rig.channels()["hips.y"].scale
    middle = (sorted(height)[11] + sorted(height)[12]) / 2.0
    assert found.amount == pytest.approx(max(height.max() - middle, middle - height.min()))
    assert (found.level, found.unit, found.advice) == ("warning", "mm", "Keep the hips level.")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    walk = str(tmp_path / "walk.json")
    assert main(["check", walk]) == 1
    told = capsys.readouterr().out
    assert "bob: Keep the hips level." in told
    assert main(["check", walk, "--tolerance", "bob=500mm", "--json"]) == 1
    assert "bob" not in {one["kind"] for one in json.loads(capsys.readouterr().out)["findings"]}
    assert main(["plant", walk]) in (0, 1)
    assert re.search(r"^bob +warning", capsys.readouterr().out, re.MULTILINE)


@pytest.mark.usefixtures("bob")
def test_a_rig_file_keeps_the_tolerance_of_a_new_kind(tmp_path: Path) -> None:
    _, rig = surefoot.demo("lamplighter")
    surefoot.save_rig(replace(rig, tolerances={"bob": (0.1, 0.2, 0.3)}), tmp_path / "rig.toml")
    assert surefoot.load_rig(tmp_path / "rig.toml").tolerances["bob"] == pytest.approx((0.1, 0.2, 0.3))


@pytest.fixture
def heeled(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one entry of a new style of control."""
    axes = ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee")
    style = ControlStyle("the feet turn about the heel", axes, posed_by="tests.toys.heeled.HeeledFeet")
    monkeypatch.setitem(cast("dict[str, Any]", STYLES), "heeled", style)


@pytest.mark.usefixtures("heeled")
def test_a_new_style_is_converted_to_and_from_planted_and_kept_in_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    clip, rig = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    made = str(tmp_path / "heeled.json")
    assert main(["convert", str(tmp_path / "walk.json"), "--style", "heeled", "-o", made]) == 0
    assert main(["rig", "show", str(tmp_path / "heeled.toml")]) == 0
    assert "the feet turn about the heel" in capsys.readouterr().out
    theirs, own = surefoot.load_clip(made), surefoot.load_rig(tmp_path / "heeled.toml")
    assert own.style == "heeled"
    lifted = theirs.channels["left_foot.y"].at([20.0]) - clip.channels["left_foot.y"].at([20.0])
    assert abs(float(lifted[0])) > 1.0  # centimetres: a pitched foot's heel isn't where its ankle is
    back = surefoot.convert(theirs, own, to=rig)
    assert back.on_frames < 1e-9
    same = surefoot.convert(clip, rig, style="ankle")  # keyed on every frame too, so that both have one flat frame
    planted, plain = surefoot.plant(theirs, own), surefoot.plant(same.clip, same.rig)
    assert surefoot.check(planted.clip, own).is_clean
    places = [[print_.place for print_ in one.footprints] for one in (planted, plain)]
    for one, two in zip(*places, strict=True):
        assert one == pytest.approx(two, abs=1e-6)


@pytest.mark.usefixtures("heeled")
def test_an_unknown_style_is_told_with_the_new_one_among_the_known() -> None:
    _, rig = surefoot.demo("lamplighter")
    with pytest.raises(surefoot.InputError, match="use ankle, rockers, joints, heeled"):
        surefoot.rig_in_style(rig, "toed")
