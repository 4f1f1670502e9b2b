"""``surefoot block`` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import surefoot
from surefoot.cli import main

ROOT = Path(__file__).parents[1]


def shown(capsys: pytest.CaptureFixture[str], *argv: str | Path, status: int = 0) -> str:
    assert main(["block", *map(str, argv)]) == status
    out, err = capsys.readouterr()
    assert err == ""
    return out


def refused(capsys: pytest.CaptureFixture[str], *argv: str | Path) -> str:
    assert main(["block", *map(str, argv)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("surefoot: ")
    assert err.count("\n") == 1
    return err


@pytest.mark.parametrize("name", surefoot.recipe_names())
def test_every_recipe_blocks_clean_and_reads_back(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, stairs = tmp_path / "clip.json", tmp_path / "stairs.toml"
    more = ["--stairs", str(stairs)] if name == "climb" else []
    text = shown(capsys, name, "-o", out, *more)
    assert "clean: nothing beyond tolerance" in text
    assert "not for clinical or ergonomic use" in text
    ground = ["--ground", str(stairs)] if more else []
    assert main(["check", str(out), *ground]) == 0
    assert "clean" in capsys.readouterr().out


def test_a_recipe_of_ones_own_may_lie_anywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes((ROOT / "demos" / "recipes" / "walk.toml").read_bytes())
    assert "keys on 32 channels" in shown(capsys, path)


def test_amounts_and_layers_off_reach_the_clip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole, part = tmp_path / "whole.json", tmp_path / "part.json"
    shown(capsys, "walk", "-o", whole)
    shown(capsys, "walk", "-o", part, "--amount", "bob=0.5", "--off", "yaw,arms")
    one, two = (surefoot.load_clip(path).channels for path in (whole, part))
    assert np.ptp(two["hips.y"].values) == pytest.approx(0.5 * np.ptp(one["hips.y"].values), abs=1e-3)
    assert not two["hips.yaw"].values.any()
    assert not two["left_arm.swing"].values.any()


def test_what_leaves_the_bands_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, "trudge")
    assert "leaves gait science in" in text
    assert "a stylisation: gait science has the hips highest over the support leg" in text
    assert "within every band" in shown(capsys, "walk")


def test_json_has_the_same_figures_unrounded(capsys: pytest.CaptureFixture[str]) -> None:
    table = json.loads(shown(capsys, "climb", "--json"))
    rows = {row["figure"]: row for row in table["gait"]}
    assert rows["speed"]["value"] == pytest.approx(0.435)
    assert rows["foot pitch at contact"]["band"]["high"] is None
    assert rows["foot pitch at contact"]["band"]["flag"] == "verified"
    assert table["after"]["worst"] == "clean"
    assert table["moments"]["contact"] == 1


def test_without_planting_the_clip_is_as_it_was_blocked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "raw.json"
    shown(capsys, "run", "--no-plant", "-o", out, status=1)
    raw = surefoot.block(surefoot.load_recipe("run"), surefoot.load_rig("lamplighter")).clip
    for name, curve in surefoot.load_clip(out).channels.items():
        np.testing.assert_array_equal(curve.values, raw.channels[name].values)


def test_wrong_input_is_told_and_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "clip.json"
    told = {
        ("wlak",): "no recipe is called 'wlak'; did you mean 'walk'?",
        ("walk", "--off", "arcs"): "no layer is called 'arcs'; did you mean 'arc'?",
        ("walk", "--amount", "bob"): "wanted a layer and a factor, such as bob=0.7, got 'bob'",
        ("walk", "--amount", "bob=2cm"): "wanted a layer and a factor",
        ("walk", "--amount", "bob=9"): "bob.amount: wanted -4 to 4, got 9",
        ("walk", "--rig", "lamplihgter"): "did you mean 'lamplighter'?",
        ("walk", "--stairs", str(tmp_path / "s.toml")): "the recipe 'walk' climbs no stairs",
        ("nowhere.toml",): "nowhere.toml: can't be read",
    }
    for argv, sentence in told.items():
        assert sentence in refused(capsys, *argv, "-o", out), argv
    assert not out.exists()


def test_the_recipe_itself_is_never_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "walk.toml"
    path.write_bytes((ROOT / "demos" / "recipes" / "walk.toml").read_bytes())
    assert "is the recipe too; name another file" in refused(capsys, path, "-o", path)


def test_help_gives_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["block", "--help"]) == 0
    assert "example: surefoot block walk" in capsys.readouterr().out


def test_stairs_written_and_read_have_the_same_heights(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "stairs.toml"
    shown(capsys, "climb", "--stairs", path)
    read = surefoot.load_ground(path)
    made = surefoot.block(surefoot.load_recipe("climb"), surefoot.load_rig("lamplighter")).ground
    z = np.linspace(-3.0, 3.0, 601)
    np.testing.assert_array_equal(read.height(0.0, z), made.height(0.0, z))
    assert "licensed practice" in path.read_text()
