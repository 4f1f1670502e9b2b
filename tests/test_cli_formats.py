"""From the command line: captures planted end to end, stages corrected over themselves, clips from format to format."""

from __future__ import annotations

import json
import os
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from pxr import Usd

import surefoot
from surefoot.cli import main
from surefoot.formats.gltf_read import read_gltf
from surefoot.formats.mapping import load_mapping, mapping_path
from surefoot.formats.opening import known_formats, open_clip
from tests.captures import write_jump_bvh, write_treadmill_c3d


def slides(told: str) -> dict[str, list[float]]:
    table = json.loads(told)
    return {
        when: [f["amount"] for f in table[when]["findings"] if f["kind"] == "slide"] for when in ("before", "after")
    }


def test_the_jumps_bvh_is_planted_and_written_as_gltf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Mapped, planted, written, and checked again from what was written; nothing else is at hand."""
    bvh, said, out = write_jump_bvh(tmp_path / "jump.bvh"), str(tmp_path / "jump.map.toml"), str(tmp_path / "jump.glb")
    assert main(["map", str(bvh), "-o", said]) == 0
    assert "sure: by name" in capsys.readouterr().out
    # a jump asks more of hips and knees than feet can give: that is told, by status 1
    assert main(["plant", str(bvh), "--map", said, "-o", out, "--json"]) == 1
    found = slides(capsys.readouterr().out)
    assert max(found["before"]) > 50.0
    assert max(found["after"], default=0.0) < 10.0
    assert read_gltf(out).samples == 2751
    assert main(["check", out, "--json"]) == 1
    again = json.loads(capsys.readouterr().out)["findings"]
    assert max((f["amount"] for f in again if f["kind"] == "slide"), default=0.0) < 10.0
    assert (tmp_path / "jump.rig.toml").is_file()


def test_a_treadmill_c3d_is_planted_and_written_as_gltf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    c3d, out = write_treadmill_c3d(tmp_path / "walk.c3d", frames=600), str(tmp_path / "walk.glb")
    assert main(["map", str(c3d), "-o", str(mapping_path(c3d))]) == 0
    capsys.readouterr()
    main(["plant", str(c3d), "-o", out, "--json"])
    table = capsys.readouterr().out
    found = slides(table)
    assert max(found["before"]) > 15.0
    assert max(found["after"], default=0.0) < 5.0
    assert json.loads(table)["after"]["belt"]["velocity"][2] == pytest.approx(-1.10, abs=0.02)
    main(["check", out, "--json"])
    assert (
        max((f["amount"] for f in json.loads(capsys.readouterr().out)["findings"] if f["kind"] == "slide"), default=0)
        < 5
    )


def test_map_prints_writes_and_lists_one_and_the_same_mapping(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    c3d, out = str(write_treadmill_c3d(tmp_path / "walk.c3d", frames=10)), tmp_path / "walk.map.toml"
    assert main(["map", c3d]) == 0
    printed = capsys.readouterr().out
    assert main(["map", c3d, "-o", str(out), "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert out.read_text(encoding="utf-8") == printed
    assert (listed["kind"], listed["nodes"]) == ("markers", {})
    assert listed["points"] == {name: list(marks) for name, marks in load_mapping(out).points.items()}
    assert listed["points"]["left_heel"] == ["LHEE"]
    assert listed["surety"]["points"] == "sure: by name, and bones keep their lengths"


def test_a_mapping_of_controls_names_the_rig_that_they_are_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["convert", "lamplighter", "walk.glb"]) == 0
    mapping_path("walk.glb").unlink(missing_ok=True)
    capsys.readouterr()
    assert main(["map", "walk.glb", "--rig", "lamplighter", "-o", str(mapping_path("walk.glb"))]) == 0
    assert "written: " in capsys.readouterr().out
    opened = open_clip("walk.glb")
    assert opened.clip.rig == "lamplighter"
    frames = np.arange(1.0, 25.0)
    clip, _ = surefoot.demo("lamplighter")
    for name in ("hips.y", "left_foot.z", "right_foot.pitch"):
        np.testing.assert_allclose(opened.clip.channels[name].at(frames), clip.channels[name].at(frames), atol=1e-3)


def test_a_stage_is_planted_by_a_layer_over_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stage, fixed, layer = (tmp_path / name for name in ("walk.usda", "fixed.usda", "only.usda"))
    assert main(["convert", "lamplighter", str(stage)]) == 0
    before = stage.read_bytes()
    assert main(["plant", str(stage), "-o", str(fixed), "--layer", str(layer)]) == 0
    assert stage.read_bytes() == before
    told = capsys.readouterr().out
    assert "fixed.contact.usda" in told
    assert layer.read_bytes() == (tmp_path / "fixed.contact.usda").read_bytes()
    assert main(["check", str(fixed)]) == 0, "with the keys that its mapping states"
    assert main(["check", str(fixed), "--map", str(mapping_path(stage))]) == 0, "by its samples alone"
    assert main(["check", str(stage)]) == 1
    over = Usd.Stage.Open(str(fixed))  # its layers live as long as it does
    assert [Path(one.identifier).name for one in over.GetLayerStack(False)] == [
        "fixed.usda", "fixed.contact.usda", "walk.usda",
    ]  # fmt: skip


def test_clips_go_round_through_all_formats(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = ["lamplighter", *(str(tmp_path / f"walk{suffix}") for suffix in (".csv", ".usda", ".glb", ".json"))]
    for one, two in pairwise(names):
        assert main(["convert", one, two]) == 0
    first, _ = surefoot.demo("lamplighter")
    last = surefoot.load_clip(names[-1])
    for name, curve in first.channels.items():
        np.testing.assert_allclose(last.channels[name].values, curve.values, atol=1e-4)
        np.testing.assert_array_equal(last.channels[name].frames, curve.frames)
    for name in names[1:]:
        assert main(["check", name]) == 1
    assert capsys.readouterr().err == ""


def test_other_commands_read_and_write_them_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    walk, out = str(tmp_path / "walk.glb"), str(tmp_path / "calm.glb")
    assert main(["convert", "lamplighter", walk]) == 0
    assert main(["remix", walk, "--scale", "hips.roll=0.5", "-o", out]) == 0
    assert open_clip(out).clip.loop
    assert main(["travel", walk, "--to", "travelling", "-o", str(tmp_path / "far.glb")]) in (0, 1)
    assert open_clip(tmp_path / "far.glb").clip.belt is None or open_clip(tmp_path / "far.glb").clip.belt.is_still  # type: ignore[union-attr]
    assert capsys.readouterr().err == ""


def test_the_list_of_formats_is_that_of_the_library(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["formats", "--json"]) == 0
    assert [one["name"] for one in json.loads(capsys.readouterr().out)["formats"]] == [
        one.name for one in known_formats()
    ]
    assert main(["formats"]) == 0
    assert "BVH" in capsys.readouterr().out


def test_options_may_stand_between_the_two_files(tmp_path: Path) -> None:
    out = tmp_path / "walk.glb"
    assert main(["convert", "lamplighter", "--linear", str(out)]) == 0
    assert out.exists()


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="file names are Unicode there")
@pytest.mark.parametrize("suffix", [b".json", b".glb", b".csv"])
def test_a_name_that_is_not_utf8_is_written_told_and_read(
    suffix: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = os.path.join(tmp_path, os.fsdecode(b"caf\xe9" + suffix))
    main(["plant", "lamplighter", "-o", path, "--json"])
    assert any(name.endswith("caf\\xe9" + suffix.decode()) for name in json.loads(capsys.readouterr().out)["written"])
    assert main(["check", path]) == 0


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="file names are Unicode there")
def test_a_name_that_is_not_utf8_is_told_where_it_can_not_be_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = os.path.join(tmp_path, os.fsdecode(b"caf\xe9.usda"))
    main(["plant", "lamplighter", "-o", path])
    capsys.readouterr()
    assert main(["check", path]) == 2
    assert "a file's name isn't UTF-8" in capsys.readouterr().err


def test_a_name_without_a_suffix_is_told_to_hold_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare, layer = str(tmp_path / "bare"), str(tmp_path / "layer")
    for words in (
        ["plant", "lamplighter", "-o", bare, "--layer", layer],
        ["remix", "lamplighter", "--add", "hips.y=1", "-o", bare],
        ["convert", "lamplighter", bare], ["block", "walk", "-o", bare],
    ):  # fmt: skip
        capsys.readouterr()
        main(words)
        said = capsys.readouterr().out
        files = [bare, layer] if "--layer" in words else [bare]
        assert all(f"written: {name} (a clip in JSON, as it has no suffix)\n" in said for name in files)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["convert", "lamplighter", "out.bvh"], "BVH is read only"),
        (["convert", "lamplighter", "a.glb", "-o", "b.glb"], "names the result twice"),
        (["check", "lamplighter", "--map", "x.toml"], "a clip in JSON needs no mapping"),
        (["check", "walk.glb", "--map", "nowhere.toml"], "nowhere.toml: can't be read"),
        (["map", "walk.csv"], "walk.csv: can't be read: there is no such file"),
        (["plant", "lamplighter", "--layer", "fix.usda"], "needs a clip that is a stage of controls"),
        (["plant", "lamplighter", "--layer", "fix.glb"], "a layer of keys is written as JSON"),
    ],
)
def test_wrong_use_is_told_in_one_sentence(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    main(["convert", "lamplighter", "walk.glb"])
    capsys.readouterr()
    assert main(words) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1


def test_feet_by_rockers_are_asked_to_be_converted_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    walk = str(tmp_path / "walk.json")
    assert main(["convert", "lamplighter", "--style", "rockers", "-o", walk]) == 0
    assert main(["convert", walk, str(tmp_path / "walk.csv")]) == 0, "channels carry every style"
    assert main(["convert", walk, str(tmp_path / "walk.glb")]) == 2
    assert "surefoot convert --style ankle first" in capsys.readouterr().err
    assert main(["convert", walk, "--style", "ankle", "-o", str(tmp_path / "walk.glb")]) == 0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("nosuch", "nosuch: can't be read: there is no such file"),
        ("nosuch.bvh", "nosuch.bvh: can't be read: No such file or directory"),
        ("bare", "bare: its name doesn't end as that of a known format; wanted nodes, joints or markers: .glb"),
        ("walk.csv", "walk.csv: it holds channels, sampled, which need no mapping; wanted nodes"),
    ],
)
def test_map_says_what_is_wrong_with_the_file(
    name: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for there in ("bare", "walk.csv"):
        Path(there).write_text("frame\n1\n")
    assert main(["map", name]) == 2
    assert capsys.readouterr().err.startswith(f"surefoot: {told}")
