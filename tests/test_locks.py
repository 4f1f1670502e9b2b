"""How stances hold: anchors, drift, clearances, support and slope, as the check reports them."""

from __future__ import annotations

import json

import numpy as np
import pytest

from surefoot import Plane, Profile, check, demo, plant
from surefoot.cli import main
from tests import measure

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


def test_the_command_lists_them_frame_by_frame_with_json(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "lamplighter", "--locks", "--json"])
    told = json.loads(capsys.readouterr().out)
    for lock in told["locks"]:
        count = lock["last"] - lock["first"] + 1
        assert [len(lock[key]) for key in ("along", "across", "clearance", "supported", "slope")] == [count] * 5
    main(["check", "lamplighter", "--locks"])
    assert "supported" in capsys.readouterr().out
