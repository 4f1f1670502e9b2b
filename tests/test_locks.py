"""How stances hold: anchors, drift, clearances, support and slope, as the check reports them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from surefoot import Plane, Profile, aboard, check, demo, lay, load_deck, plant
from surefoot.cli import main
from surefoot.demos import deck_path
from surefoot.locks import HOLDS
from tests import measure
from tests.test_deck_file import ferry_by_hand, on_deck

FEET = ("left", "right")


def test_a_planted_walk_holds_and_the_authored_one_drifts_as_measured() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig)
    for lock in check(done.clip, rig).locks():
        assert max(lock.drift) < 1e-4
        assert lock.clearance.min() > -1e-4
        assert float(np.abs(lock.slope).max()) == 0.0
        assert lock.within_ankle
        assert lock.least_supported == 1.0
    authored = check(clip, rig, stances=done.stances).locks()
    for lock in authored:
        frames = measure.instants(lock.stance.first, lock.stance.last, 5)
        steps = measure.foot_steps(clip, rig, FEET.index(lock.stance.foot), frames, belt=(0.0, 0.0, -1.35))
        path = measure.pivot_path(steps)[:, [0, 2]]
        s, c = np.sin(lock.heading), np.cos(lock.heading)
        assert np.abs(lock.along - (path @ [s, c])[::5]).max() < 2e-3
        assert np.abs(lock.across - (path @ [c, -s])[::5]).max() < 2e-3


def test_clearances_are_those_of_heel_ball_and_toe() -> None:
    clip, rig = demo("lamplighter")
    for lock in check(clip, rig, stances=plant(clip, rig).stances).locks():
        frames = measure.instants(lock.stance.first, lock.stance.last)
        steps = measure.foot_steps(clip, rig, FEET.index(lock.stance.foot), frames, belt=(0.0, 0.0, -1.35))
        np.testing.assert_allclose(lock.clearance, steps.centre[..., 1], atol=1e-9)


@pytest.mark.parametrize(("ratio", "within"), [(0.1, True), (-0.1, True), (1.5, False)])
def test_the_slope_is_the_grounds_along_the_foot_and_held_against_the_ankle(ratio: float, within: bool) -> None:
    clip, rig = demo("lamplighter")
    stances = plant(clip, rig).stances
    locks = check(clip, rig, ground=Plane.slope(ratio, point=(0.0, -0.4, 0.0)), stances=stances).locks()
    for lock in locks:
        assert float(np.abs(np.tan(lock.slope)).max()) == pytest.approx(abs(ratio), rel=0.03)
        assert np.all(np.sign(lock.slope) == np.sign(ratio))
        assert lock.within_ankle == within


def test_a_foot_over_an_edge_is_supported_by_less_than_all_of_it() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig)
    kerb = Profile([-9.0, 0.4, 0.4, 9.0], [0.0, 0.0, -0.5, -0.5])
    shares = [lock.least_supported for lock in check(done.clip, rig, ground=kerb).locks()]
    assert min(shares) < 0.95


@pytest.mark.parametrize("planted", [False, True])
def test_anchors_are_where_heel_ball_and_toe_are_in_each_frame_over_the_seam_too(planted: bool) -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig)
    shown = done.clip if planted else clip
    for lock in check(shown, rig, stances=done.stances).locks():
        frames = measure.instants(lock.stance.first, lock.stance.last)
        steps = measure.foot_steps(shown, rig, FEET.index(lock.stance.foot), frames, belt=(0.0, 0.0, -1.35))
        assert np.abs(lock.points - steps.centre).max() < 1e-9
        pitch = steps.pitch
        names = [by_pitch(angle, float(rig.legs[0].foot.onset)) for angle in pitch.tolist()]
        assert [HOLDS[k] for k in lock.held] == names
        assert lock.flattest == int(np.abs(pitch).argmin())
        assert np.abs(lock.anchors - steps.centre[lock.flattest]).max() < 1e-9
        place = {"heel": 0, "flat": 1, "ball": 1, "toe": 2}
        wanted = [steps.centre[k, place[name]] for k, name in enumerate(names)]
        assert np.abs(lock.held_at - wanted).max() < 1e-9


def by_pitch(angle: float, onset: float) -> str:
    """Return what holds a foot on level ground: within a degree its whole sole, above the onset its toe edge."""
    degrees = np.degrees(angle)
    return "heel" if degrees < -1.0 else "flat" if degrees <= 1.0 else "ball" if angle <= onset else "toe"


def test_a_planted_foot_stays_where_each_of_its_holds_is() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig)
    for lock in check(done.clip, rig).locks():
        for one, index in (("flat", [0, 1, 2]), ("heel", [0]), ("ball", [1])):
            rows = lock.points[lock.held == HOLDS.index(one)][:, index]
            assert len(rows) > 1, one
            assert float(np.ptp(rows, axis=0).max()) < 1e-3, one
    assert {HOLDS[k] for lock in check(done.clip, rig).locks() for k in lock.held} == set(HOLDS)


def test_aboard_the_anchors_are_in_the_decks_space() -> None:
    clip, rig = demo("ferry")
    deck = load_deck(deck_path("ferry") or "")
    for lock in check(*aboard(clip, rig, deck)).locks():
        steps = on_deck(clip, rig, ferry_by_hand(clip), lock.stance)
        assert np.abs(lock.points - steps.points[:, -3:]).max() < 1e-9


@pytest.mark.parametrize("grade", [0.12, -0.12])
def test_a_foot_that_lies_flat_on_a_slope_is_held_flat_by_its_lean_on_the_ground(grade: float) -> None:
    clip, rig = demo("lamplighter")
    ground = Plane.slope(grade)
    laid = lay(clip, rig, ground=ground, loops=2, let=["hips.y"])
    done = plant(laid.clip, rig, ground=ground)
    for lock in check(done.clip, rig, ground=ground).locks():
        if lock.stance.last - lock.stance.first < 12:
            continue  # cut off by an end of the clip
        flat = lock.held == HOLDS.index("flat")
        assert np.count_nonzero(flat) >= 3
        assert np.abs(lock.clearance[flat]).max() < 1e-3
        ahead = lock.points[flat, 2] - lock.points[flat, 0]
        assert ahead[:, 1] / np.hypot(ahead[:, 0], ahead[:, 2]) == pytest.approx(grade, abs=0.02)
        assert lock.clearance[lock.held == HOLDS.index("ball"), 0].min() > 1e-3


def test_beyond_the_ankle_is_what_the_slope_has_over_its_range() -> None:
    clip, rig = demo("lamplighter")
    stances = plant(clip, rig).stances
    steep = Plane.slope(1.5, point=(0.0, -0.4, 0.0))
    for lock in check(clip, rig, ground=steep, stances=stances).locks():
        most = rig.legs[FEET.index(lock.stance.foot)].limits.ankle_flexion[1]
        assert np.abs(lock.beyond_ankle - (lock.slope - most)).max() < 1e-12
        assert lock.beyond_ankle.min() > 0.0


def test_the_command_lists_them_frame_by_frame_with_json(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "lamplighter", "--locks", "--json"])
    told = json.loads(capsys.readouterr().out)
    clip, rig = demo("lamplighter")
    for lock, held in zip(told["locks"], check(clip, rig).locks(), strict=True):
        count = lock["last"] - lock["first"] + 1
        assert lock["frames"] == list(range(lock["first"], lock["last"] + 1))
        figures = ("along", "across", "clearance", "supported", "slope", "points", "held", "held_at", "beyond_ankle")
        assert [len(lock[key]) for key in figures] == [count] * len(figures)
        assert (lock["unit"], lock["parts"]) == ("m, rad", ["heel", "ball", "toe"])
        assert lock["points"] == held.points.tolist()
        assert lock["held_at"] == held.held_at.tolist()
        assert lock["anchors"] == lock["points"][lock["frames"].index(lock["anchored"])]
        assert lock["drift"] == {"along": held.drift[0], "across": held.drift[1]}
        assert set(lock["held"]) <= set(HOLDS)
    main(["check", "lamplighter", "--locks"])
    assert "supported" in capsys.readouterr().out


def test_each_pair_of_legs_tells_its_own(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    main(["block", "walk", "--rig", "hound", "-o", str(tmp_path / "hound.json")])
    capsys.readouterr()
    main(["check", str(tmp_path / "hound.json"), "--locks", "--json"])
    told = json.loads(capsys.readouterr().out)["pairs"]
    assert len(told) == 2
    for pair in told.values():
        assert [(lock["foot"], lock["first"]) for lock in pair["locks"]] == [
            (stance["foot"], stance["first"]) for stance in pair["stances"]
        ]
    main(["check", str(tmp_path / "hound.json"), "--locks"])
    assert capsys.readouterr().out.count("ball at") == 2
