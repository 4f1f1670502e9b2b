"""A hound's four feet from the command line: blocked, checked and planted pair by pair."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import load_clip, save_clip
from surefoot.cli import main
from surefoot.pairs import check_pairs, load_pairs


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a blocked walk whose shoulders and hips bob too low since."""
    path = tmp_path_factory.mktemp("hound") / "walk.json"
    assert main(["block", "walk", "--rig", "hound", "-o", str(path)]) in (0, 1)
    clip = load_clip(path)
    changed = {}
    for name, size in (("hips.y", 1.0), ("shoulders.y", 1.0), ("left_hind_foot.y", 3.0), ("right_fore_foot.x", 2.0)):
        curve = clip.channels[name]
        wave = -0.5 + 0.5 * np.cos(2.0 * np.pi * (curve.frames - curve.frames[0]) / clip.frames)
        changed[name] = replace(curve, values=curve.values + size * wave)
    save_clip(clip.with_channels(changed), path)
    return path


def test_check_tells_each_pair(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(broken)]) == 1
    told = capsys.readouterr().out
    assert told.index("hind legs:") < told.index("fore legs:")
    assert main(["check", str(broken), "--json"]) == 1
    listed = json.loads(capsys.readouterr().out)["pairs"]
    found = check_pairs(load_clip(broken), load_pairs("hound"))
    for pair, report in found.items():
        assert [f["kind"] for f in listed[pair]["findings"]] == [f.kind for f in report.findings]


def test_plant_writes_one_clip_with_all_four_feet(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = broken.with_name("planted.json")
    main(["plant", str(broken), "-o", str(out)])
    told = capsys.readouterr().out
    assert "hind legs:" in told
    assert "fore legs:" in told
    assert f"written: {out}" in told
    made = load_clip(out)
    assert made.rig == "hound"
    for pair, report in check_pairs(made, load_pairs("hound")).items():
        left = [f for f in report.findings if f.level in ("warning", "error") and f.kind != "snap"]
        assert not left, (pair, left)


def test_what_is_about_one_pair_is_refused(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(broken), "--stances", "left=1-5"]) == 2
    told = capsys.readouterr().err
    assert "--stances: it's about one pair of legs, and hound has 2" in told
    assert "hound_hind or hound_fore" in told
    assert main(["draw", str(broken), "-o", str(broken.with_suffix(".svg"))]) == 2
    assert "hound has several pairs of legs" in capsys.readouterr().err
    assert main(["check", str(broken), "--rig", "hound_fore"]) == 1


def test_several_pairs_climb_no_stairs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["block", "climb", "--rig", "hound", "--stairs", "s.toml"]) == 2
    assert "on the flat only" in capsys.readouterr().err
