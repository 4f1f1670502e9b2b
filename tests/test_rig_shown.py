"""``surefoot rig``: a rig in words and as a rest pose; wrong use in one sentence."""

from __future__ import annotations

import json

import numpy as np
import pytest

from surefoot import Rig, load_rig, preset_names
from surefoot.cli import main
from surefoot.rig_shown import rest_pose, rig_words


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


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["paint", "adult"], "'paint'"),
        (["show", "nobody"], "'nobody'"),
        (["derive", "adult", "--side", "top"], "'top'"),
        (["derive", "adult", "--json"], "--json: goes with show only"),
    ],
)
def test_wrong_use_is_told(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rig", *words]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
