"""A clip on its ground: belts along slopes, loops that move on, and questions asked instead of nonsense."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Belt, Flat, InputError, Plane, Stance, UnitError, check, demo, plant
from surefoot.ground import Profile
from surefoot.scene import Drift, Scene


def test_a_planes_belt_runs_along_the_plane() -> None:
    clip, rig = demo("lamplighter")
    plane = Plane.slope(0.06)
    belt = Scene.of(clip, rig, plane).belt
    assert belt.velocity @ plane.normal_at_point == pytest.approx(0.0, abs=1e-12)
    assert belt.velocity[[0, 2]] == pytest.approx([0.0, -1.35])
    assert belt.velocity[1] == pytest.approx(-0.06 * 1.35)


def test_on_level_ground_and_on_a_profile_the_belt_stays_as_stated() -> None:
    clip, rig = demo("lamplighter")
    stated = Belt([0.1, 0.0, -1.0])
    for ground in (Flat(0.0), Profile.kerb(height=0.05, at=9.0)):
        assert Scene.of(clip, rig, ground, belt=stated).belt is stated


def test_a_loop_on_a_belt_moves_on_by_belt_times_time() -> None:
    clip, rig = demo("lamplighter")
    drift = Scene.of(clip, rig, Flat(0.0)).drift
    assert drift is not None
    assert drift.shift == pytest.approx((0.0, 0.0, 1.35))
    assert drift.turn == 0.0


def test_a_turning_belt_turns_the_loops_drift_the_other_way() -> None:
    clip, rig = demo("lamplighter")
    drift = Scene.of(clip, rig, Flat(0.0), belt=Belt([0.0, 0.0, -1.0], 0.5)).drift
    assert drift is not None
    assert drift.turn == pytest.approx(-0.5)


def test_a_drift_there_and_back_is_none() -> None:
    drift = Drift(0.7, (1.0, -0.2, 3.0))
    points = np.random.default_rng(1).normal(size=(3, 5))
    assert np.abs(drift.apply(drift.apply(points, times=3), times=-3) - points).max() < 1e-12


def test_no_drift_without_a_loop() -> None:
    clip, rig = demo("treadmill")
    assert Scene.of(clip, rig, Flat(0.0)).drift is None


def test_another_unit_than_the_rigs_is_asked_about() -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(UnitError, match="the clip states lengths in m"):
        Scene.of(replace(clip, unit="m"), rig, Flat(0.0))


def test_ground_above_the_hips_is_told() -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(InputError, match="above the hips in every frame"):
        Scene.of(clip, rig, Flat(3.0))


def test_a_clip_of_one_frame_is_a_pose_and_is_planted() -> None:
    walk, rig = demo("lamplighter")
    clip = replace(walk, first=11, last=11, loop=False, stances=(Stance("left", 11, 11), Stance("right", 11, 11, True)))
    done = plant(clip, rig)
    assert [name for name in done.changed if name.startswith("right")] == []
    before, after = (check(c, rig).most("sink") for c in (clip, done.clip))
    assert before is not None
    assert after is None
    again = plant(done.clip, rig)
    assert again.changed == ()
