"""``surefoot rig``: a rig in words and as a rest pose; wrong use in one sentence."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from surefoot import Rig, load_rig, preset_names
from surefoot.cli import main
from surefoot.formats.bvh import read_bvh
from surefoot.formats.guess import propose_mapping
from surefoot.formats.mapping import mapping_text
from surefoot.rig_shown import rest_pose, rig_words
from tests.captures import write_jump_bvh
from tests.data.jump import jump_points


@pytest.mark.parametrize("preset", preset_names())
def test_a_rest_pose_stands_on_its_soles_with_its_own_lengths(preset: str) -> None:
    rig = load_rig(preset)
    assert isinstance(rig, Rig)
    rest = rest_pose(rig)
    for side, leg in zip(("left", "right"), rig.legs, strict=True):
        point = dict(zip(rest.names, rest.points[side], strict=True))
        assert point["heel"][1] == 0.0
        assert point["toe"][1] == pytest.approx(0.0, abs=1e-12)
        assert np.linalg.norm(point["knee"] - point["hip"]) == pytest.approx(leg.thigh)
        below = point.get("hock", point["ankle"])
        assert np.linalg.norm(below - point["knee"]) == pytest.approx(leg.shank)
        if leg.hock > 0.0:
            assert np.linalg.norm(point["ankle"] - point["hock"]) == pytest.approx(leg.hock)
        assert np.all(rest.soles[side][:, 1] == 0.0)
    words = "\n".join(rig_words(rig))
    assert rig.source in words
    assert "not for clinical" in words


def test_the_command_shows_words_json_and_derivations(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rig", "show", "stalker"]) == 0
    assert "hock 26.0 cm" in capsys.readouterr().out
    assert main(["rig", "show", "puppet", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["planar"] is True
    assert main(["rig", "derive", "adult", "--code", "--side", "right"]) == 0
    assert "def leg(hip_flexion" in capsys.readouterr().out


def test_a_rig_is_measured_from_a_joint_hierarchy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The captured jump's own bones (`tests/data/PROVENANCE.md`) come back."""
    capture, mapping, out = (tmp_path / name for name in ("jump.bvh", "jump.bvh.map.toml", "me.toml"))
    said = propose_mapping(read_bvh(write_jump_bvh(capture)), file="jump.bvh")
    mapping.write_text(mapping_text(said), encoding="utf-8")
    assert main(["rig", "fit", str(capture), "-o", str(out)]) == 0
    assert "thigh" in capsys.readouterr().out
    rig = load_rig(out)
    hip, knee, ankle = (jump_points().points[:, 0, k] for k in range(3))
    assert rig.legs[0].thigh == pytest.approx(float(np.linalg.norm(knee - hip, axis=1).mean()), abs=1e-3)
    assert rig.legs[0].shank == pytest.approx(float(np.linalg.norm(ankle - knee, axis=1).mean()), abs=1e-3)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["paint", "adult"], "'paint'"),
        (["show", "nobody"], "'nobody'"),
        (["fit", "walk.json"], "no rig can be measured from it"),
        (["derive", "adult", "--side", "top"], "'top'"),
        (["show", "adult", "--code"], "--code: goes with rig derive only"),
        (["show", "adult", "--side", "left"], "--side: goes with rig derive only"),
        (["show", "adult", "-o", "mine.toml"], "--output: goes with rig fit only"),
        (["derive", "adult", "-o", "mine.py"], "--output: goes with rig fit only"),
        (["derive", "adult", "--map", "m.toml"], "--map: goes with rig fit only"),
        (["derive", "adult", "--json"], "--json: goes with rig show and rig fit only"),
    ],
)
def test_wrong_use_is_told(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rig", *words]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
