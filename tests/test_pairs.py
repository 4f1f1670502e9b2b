"""Four legs are two pairs: a walk and a trot of a hound, blocked, planted and checked by the code for two legs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import Clip, Plane, load_recipe, load_rig
from surefoot.errors import FileError, InputError
from surefoot.pairs import Pairs, block_pairs, check_pairs, load_pairs, pair_names, plant_pairs


@pytest.fixture(scope="module")
def hound() -> Pairs:
    return load_pairs("hound")


@pytest.fixture(scope="module")
def walk(hound: Pairs) -> Clip:
    return block_pairs(load_recipe("walk"), hound)


def edited(clip: Clip, by: float) -> Clip:
    """Return the clip after an edit that breaks its feet: hips and shoulders bob more, paws are dragged along."""
    changed = {}
    for name, size in (("hips.y", 1.0), ("shoulders.y", 1.0), ("left_hind_foot.y", 3.0), ("right_fore_foot.x", 2.0)):
        curve = clip.channels[name]
        wave = -0.5 + 0.5 * np.cos(2.0 * np.pi * (curve.frames - curve.frames[0]) / clip.frames)  # never higher
        changed[name] = replace(curve, values=curve.values + by * size * wave)
    return clip.with_channels(changed)


def test_the_feet_of_a_walk_land_in_lateral_sequence(hound: Pairs, walk: Clip) -> None:
    stances = {pair: report.stances for pair, report in check_pairs(walk, hound).items()}
    lands = {(pair, s.foot): s.first for pair, found in stances.items() for s in found}
    assert lands == {("hind", "left"): 1, ("fore", "left"): 7, ("hind", "right"): 13, ("fore", "right"): 19}


def test_an_edited_walk_is_planted_on_the_flat(hound: Pairs, walk: Clip) -> None:
    broken = edited(walk, 1.0)
    before = check_pairs(broken, hound)
    assert any(report.worst == "error" for report in before.values())
    done = plant_pairs(broken, hound)
    after = check_pairs(done.clip, hound)
    left = [f for report in after.values() for f in report.findings if f.level in ("warning", "error")]
    assert not [f for f in left if f.kind != "snap"], left  # a whip in the swing is told; planting doesn't mend it
    assert all(
        done.clip.channels[n] is broken.channels[n] for n in broken.channels if n.startswith(("hips", "shoulders"))
    )


@pytest.mark.parametrize("degrees", [5.0, -5.0])
def test_a_walk_is_planted_on_a_slope(hound: Pairs, walk: Clip, degrees: float) -> None:
    """The trunk leans with the slope: shoulders are as much higher as they're ahead."""
    rise = np.tan(np.radians(degrees))
    ground = Plane(np.zeros(3), np.array([0.0, np.cos(np.radians(degrees)), -np.sin(np.radians(degrees))]))
    shoulders = walk.channels["shoulders.y"]
    lift = hound.ahead["fore"] * rise / 0.01
    lower = {n: replace(walk.channels[n], values=walk.channels[n].values - 2.0) for n in ("hips.y",)}
    leaning = walk.with_channels({"shoulders.y": replace(shoulders, values=shoulders.values + lift - 2.0), **lower})
    stances = {pair: report.stances for pair, report in check_pairs(walk, hound).items()}
    done = plant_pairs(leaning, hound, ground=ground, stances=stances)
    before, after = (check_pairs(clip, hound, ground=ground, stances=stances) for clip in (leaning, done.clip))
    assert any(report.worst == "error" for report in before.values())
    for pair, report in after.items():
        left = [f for f in report.findings if f.level in ("warning", "error")]
        assert not [f for f in left if f.kind in ("slide", "sink", "hover", "cross", "limit")], (pair, left)


def test_half_a_cycle_apart_it_trots(hound: Pairs) -> None:
    trot = block_pairs(load_recipe("walk"), hound, lag=0.5)
    lands = {(pair, s.foot): s.first for pair, report in check_pairs(trot, hound).items() for s in report.stances}
    assert lands["hind", "left"] == lands["fore", "right"]
    assert lands["hind", "right"] == lands["fore", "left"]


def test_an_elbow_points_backward_and_a_hock_lies_behind() -> None:
    from surefoot.ground import Flat
    from surefoot.joints import joints_of
    from surefoot.scene import Scene

    pairs = load_pairs("hound")
    clip = block_pairs(load_recipe("walk"), pairs)
    for pair, sign in (("hind", 1.0), ("fore", -1.0)):
        scene = Scene.of(clip, pairs.pairs[pair], Flat(0.0))
        knees = joints_of(pairs.pairs[pair], scene.pose)[3]
        assert np.all(sign * knees > 0.0)


@pytest.mark.parametrize(("text", "told"), [("9" * 5000, "thousands of digits"), ("[" * 100_000, "nested too deeply")])
def test_pairs_that_are_no_toml_are_told(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_text(f"a = {text}")
    with pytest.raises(FileError, match=told):
        load_pairs(tmp_path / "p.toml")


def test_wrong_pairs_are_told(tmp_path: Path, hound: Pairs) -> None:
    assert pair_names() == ["hound"]
    with pytest.raises(InputError, match="wanted at least two pairs of legs, got 1"):
        Pairs("p", {"hind": load_rig("adult")}, {})
    with pytest.raises(InputError, match=r"the channel 'hips.x' is the hind pair's too"):
        Pairs("p", {"hind": load_rig("adult"), "fore": load_rig("adult")}, {})
    with pytest.raises(InputError, match="'head'"):
        Pairs("p", hound.pairs, {"head": 1.0})
    with pytest.raises(InputError, match="'cat'"):
        load_pairs("cat")
    for text, says in (
        ("x = [", "not TOML"),
        ('surefoot = "rig/1"', 'wanted surefoot = "pairs/1"'),
        ('surefoot = "pairs/1"', "a rig's name each"),
    ):
        path = tmp_path / "p.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(FileError, match=says):
            load_pairs(path)
