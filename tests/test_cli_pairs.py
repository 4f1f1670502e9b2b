"""A hound's four feet from the command line: blocked, checked and planted pair by pair."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import load_clip, load_recipe, save_clip
from surefoot.cli import main
from surefoot.pairs import block_pairs, check_pairs, load_pairs


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


def test_pairs_are_planted_alike_whether_told_in_words_or_as_json(
    broken: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    status = main(["plant", str(broken)])
    told = capsys.readouterr().out
    assert told.endswith("\nnothing written; name a file with -o to keep the result\n")
    assert main(["plant", str(broken), "-o", str(one)]) == status
    capsys.readouterr()
    assert main(["plant", str(broken), "-o", str(two), "--json"]) == status
    listed = json.loads(capsys.readouterr().out)
    assert one.read_bytes() == two.read_bytes()
    assert listed["written"] == [str(two)]
    for pair in ("hind", "fore"):
        changed = listed["pairs"][pair]["changed"]
        assert changed
        assert all(pair in name for name in changed)
        left = [f for f in listed["pairs"][pair]["after"]["findings"] if f["kind"] in ("slide", "sink", "hover")]
        assert not [f for f in left if f["level"] != "note"]


def test_pairs_are_blocked_with_or_without_planting(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare, done = tmp_path / "bare.json", tmp_path / "done.json"
    main(["block", "walk", "--rig", "hound", "--no-plant", "-o", str(bare), "--json"])
    listed = json.loads(capsys.readouterr().out)
    assert (listed["recipe"], listed["rig"], listed["written"]) == ("walk", "hound", [str(bare)])
    raw = block_pairs(load_recipe("walk"), load_pairs("hound"))
    blocked = load_clip(bare)
    assert set(blocked.channels) == set(raw.channels)
    assert all(np.array_equal(blocked.channels[name].values, curve.values) for name, curve in raw.channels.items())
    main(["block", "walk", "--rig", "hound", "-o", str(done)])
    assert f"written: {done}" in capsys.readouterr().out
    planted = load_clip(done)
    assert any(not np.array_equal(planted.channels[n].values, c.values) for n, c in raw.channels.items() if "foot" in n)
    found = check_pairs(raw, load_pairs("hound"))
    for pair, report in check_pairs(planted, load_pairs("hound")).items():
        assert [f["kind"] for f in listed["pairs"][pair]["findings"]] == [f.kind for f in found[pair].findings]
        assert not [f for f in report.findings if f.level == "error"]
