"""Gait: speed, strides, support and phases are what a walk was authored with."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from surefoot import (
    Clip,
    InputError,
    Rig,
    Stance,
    UnknownName,
    block,
    demo,
    gait_of,
    gait_warnings,
    load_recipe,
    load_rig,
    phases_of,
    plant,
    rooted,
    step_frames,
    travelling,
)
from surefoot.gait_measures import gait_figures
from surefoot.leg import knee_forward, knee_point
from surefoot.planting import scene_of
from tests.walks import make_rig, random_walk


@pytest.mark.parametrize("travels", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_a_walk_is_measured_as_it_was_authored(seed: int, travels: bool) -> None:
    walk, rig = random_walk(seed, exact=True, canted=False), make_rig()
    clip = walk.clip()
    if travels:
        clip = travelling(clip, rig)
        rig = rooted(rig, clip)
    gait = gait_of(clip, rig)
    speed, seconds = -walk.belt[2], walk.frames / walk.rate
    assert gait.speed == pytest.approx(speed, abs=1e-9)
    assert gait.stride == pytest.approx(speed * seconds, abs=1e-9)
    assert gait.stride_time == pytest.approx(seconds)
    assert gait.cadence == pytest.approx(120.0 / seconds)
    down = [s.last - s.first for s in walk.stances]
    assert gait.duty == pytest.approx([d / walk.frames for d in down])
    assert gait.speed == pytest.approx(gait.step * gait.cadence / 60.0)
    assert sum(gait.steps) == pytest.approx(gait.stride, abs=1e-9)
    first, second = sorted(walk.stances, key=lambda stance: stance.first)
    late = second.first - first.first
    # both feet land as far ahead of the hips, so a step is what the belt ran between two landings
    lengths = {second.foot: speed * late / walk.rate, first.foot: speed * (walk.frames - late) / walk.rate}
    assert gait.steps == pytest.approx((lengths["left"], lengths["right"]), abs=1e-9)
    assert gait.double_support - gait.flight == pytest.approx(sum(gait.duty) - 1.0)
    flat = [int(np.argmin(np.abs(walk.feet[foot, :, 3]) + 10.0 * walk.feet[foot, :, 1])) for foot in range(2)]
    width = abs(float(walk.feet[0, flat[0], 0] - walk.feet[1, flat[1], 0]))
    assert gait.step_width == pytest.approx(width, abs=1e-9)


def test_a_walk_that_is_no_loop_is_measured_over_its_whole_strides() -> None:
    walk, rig = random_walk(2, loop=False, exact=True, canted=False), make_rig()
    gait = gait_of(walk.clip(), rig)
    loop = random_walk(2, exact=True, canted=False)
    whole = gait_of(loop.clip(), rig)
    assert gait.speed == pytest.approx(whole.speed, abs=1e-9)
    assert gait.duty == pytest.approx(whole.duty)
    assert gait.double_support == pytest.approx(whole.double_support)


def lamplighter() -> tuple[Clip, Rig]:
    clip, rig = demo("lamplighter")
    return plant(clip, rig).clip, rig


def test_the_lamplighters_frames_are_those_that_were_keyed() -> None:
    """Contacts at 1 and 13, the hips lowest at 4 and 16 and highest at 10 and 22, as the channels have it."""
    clip, rig = lamplighter()
    scene = scene_of(clip, rig)
    steps = step_frames(clip, rig)
    assert [(s.foot, s.contact, s.down, s.up) for s in steps] == [("left", 1, 4, 10), ("right", 13, 16, 22)]
    for step in steps:
        assert step.passing is not None
        own, other = ("left", "right") if step.foot == "left" else ("right", "left")
        z = {foot: scene.pose.ankle[2, k] for k, foot in enumerate(("left", "right"))}
        at = step.passing - 1
        gap = z[other] - z[own]
        assert abs(gap[at]) <= min(abs(gap[(at - 1) % 24]), abs(gap[(at + 1) % 24]))


def test_the_table_of_a_blocked_cycle_and_travel_tell_one_froude_number_and_one_walk_ratio() -> None:
    """Both by the height of the hip over the sole of a straight leg: 1.35 m/s is 0.196 for 0.950 m."""
    rig = load_rig("lamplighter")
    clip = block(load_recipe("walk"), rig).clip
    gait, figures = gait_of(clip, rig), gait_figures(clip, rig)
    assert figures["Froude number"] == pytest.approx(gait.froude, rel=1e-9)
    assert figures["walk ratio"] == pytest.approx(gait.walk_ratio, rel=1e-9)
    assert gait.froude == pytest.approx(1.35**2 / (9.80665 * 0.950), rel=1e-3)


def test_phases_follow_each_other_and_meet_at_the_events() -> None:
    clip, rig = lamplighter()
    for foot in ("left", "right"):
        mine = [phase for phase in phases_of(clip, rig) if phase.foot == foot]
        assert [phase.name for phase in mine] == [
            "loading response", "mid stance", "terminal stance", "pre-swing", "initial swing", "mid swing",
            "terminal swing",
        ]  # fmt: skip
        assert (mine[0].start, mine[-1].end) == (0.0, 100.0)
        assert all(one.end == two.start and one.start <= one.end for one, two in pairwise(mine))
        assert mine[0].end == pytest.approx(100.0 * 2 / 24)
        assert mine[2].end == pytest.approx(50.0)
        assert mine[3].end == pytest.approx(100.0 * 14 / 24)


@pytest.mark.parametrize("name", ["lamplighter", "hound_hind", "hound_fore"])
def test_mid_swing_ends_where_the_shank_is_upright_with_a_hock_and_a_knee_that_points_back(name: str) -> None:
    """Where it isn't upright again before it lands, halfway there."""
    rig = load_rig(name)
    clip = plant(block(load_recipe("walk"), rig).clip, rig).clip
    pose, leg = scene_of(clip, rig).pose, rig.legs[0]
    upper, shank = (np.array([[getattr(one, bone)] for one in rig.legs]) for bone in ("upper", "shank"))
    ahead = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    knee = knee_point(pose.hip, pose.ankle, -ahead if leg.backward else ahead, upper, shank)
    before = (knee - pose.ankle)[2, 0]
    phases = {phase.name: phase for phase in phases_of(clip, rig) if phase.foot == "left"}
    bent = round(phases["initial swing"].end * 0.24)
    upright = np.flatnonzero((before[bent:-1] > 0.0) & (before[bent + 1 :] <= 0.0))
    if len(upright):
        k = bent + int(upright[0])
        assert k <= phases["mid swing"].end * 0.24 <= k + 1
    else:
        assert phases["mid swing"].end * 0.24 == pytest.approx((bent + 24) / 2)


def test_a_run_has_flight_and_no_double_support() -> None:
    clip, rig = demo("lamplighter")
    run = clip.with_stances([Stance("left", 1, 9), Stance("right", 13, 21)])
    gait = gait_of(run, rig)
    assert gait.kind == "run"
    assert gait.double_support == 0.0
    assert gait.flight == pytest.approx(8 / 24)
    assert gait.mean_duty < 0.5
    names = [phase.name for phase in phases_of(run, rig) if phase.foot == "left"]
    assert names == ["mid stance", "terminal stance", "initial swing", "mid swing", "terminal swing"]


def test_a_foot_that_lands_once_in_a_clip_that_is_no_loop_has_no_stride() -> None:
    clip, rig = demo("lamplighter")
    once = replace(clip, loop=False).with_stances([Stance("left", 3, 12)])
    with pytest.raises(InputError, match="no foot lands twice"):
        gait_of(once, rig)


def test_warnings_are_for_fast_walks_and_for_a_duty_factor_out_of_its_gaits_band() -> None:
    clip, rig = lamplighter()
    gait = gait_of(clip, rig)
    assert gait_warnings(gait, expected="walk") == []
    fast = replace(gait, speed=2.2)
    assert gait_warnings(fast)[0].startswith("Froude number 0.52: above 0.5 people run")
    assert gait_warnings(replace(gait, speed=3.2))[0].startswith("Froude number 1.10: above 1 no stiff leg can walk")
    assert gait_warnings(replace(fast, duty=(0.4, 0.4))) == []
    told = gait_warnings(replace(gait, duty=(0.8, 0.6)), expected="walk")
    assert len(told) == 1
    assert told[0].startswith("left duty factor 0.80: a walk has 0.57 to 0.66")
    with pytest.raises(UnknownName, match="no gait is called 'wlk'; did you mean 'walk'"):
        gait_warnings(gait, expected="wlk")
    assert len(clip.stances or ()) == 2
    assert np.isfinite(gait.walk_ratio)
