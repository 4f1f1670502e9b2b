"""Joints beyond their range: the foot's smallest change that brings them back, by hand, by root finding, by `check`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from surefoot import (
    Belt,
    Clip,
    Curve,
    Flat,
    Limits,
    Proposal,
    Rig,
    Stance,
    apply_proposals,
    check,
    demo,
    plant,
    preset_ground,
    propose,
)
from surefoot.joints import beyond_limits, joints_of
from surefoot.laying import lay
from surefoot.mend_limit import root_of
from surefoot.scene import Scene
from tests.test_proposals import COUNT, PLAIN, SHANK, SOLE, THIGH, amount, standing
from tests.walks import make_rig, random_walk

Array = NDArray[np.float64]
WIDE = dict.fromkeys(Limits.NAMES, (-6.0, 6.0))


def limited(rig: Rig, **ranges: tuple[float, float]) -> Rig:
    """Return a rig whose joints have those ranges, all others any."""
    return replace(rig, legs=tuple(replace(leg, limits=Limits(**{**WIDE, **ranges})) for leg in rig.legs))


def ways(clip: Clip, rig: Rig, part: str) -> dict[str, Proposal]:
    found = propose(clip, rig)
    return {p.way: p for p in found if (p.finding.kind, p.finding.part, p.finding.foot) == ("limit", part, "left")}


def joint(clip: Clip, rig: Rig, name: str) -> Array:
    """Return one joint of the left leg at every frame."""
    return np.asarray(joints_of(rig, Scene.of(clip, rig, Flat(0.0)).pose)[Limits.NAMES.index(name), 0])


def moved(clip: Clip, key: str, by: float) -> Clip:
    name = f"left_foot.{key}"
    return clip.with_channels({name: replace(clip.channels[name], values=clip.channels[name].values + by)})


def test_toes_bent_12_degrees_beyond_their_range_go_down_by_12() -> None:
    clip = standing(left=(-SOLE, 0.0, 0.0, np.radians(42.0)))
    mended = ways(clip, limited(PLAIN, toe_bend=(-1.0, np.radians(30.0))), "toe bend")["toes down"]
    assert mended.channels == ("left_foot.bend",)
    assert mended.shown[0] == pytest.approx(np.full(COUNT, -12.0), abs=1e-6)
    assert mended.leaves == 0.0


def test_a_knee_that_may_not_be_straighter_than_20_degrees_draws_the_foot_nearer_by_the_law_of_cosines() -> None:
    """Hip straight above the ankle; so the way is straight up."""
    clip = standing(hips=(0.94, 0.0))
    mended = ways(clip, limited(PLAIN, knee_flexion=(np.radians(20.0), 6.0)), "knee flexion")["nearer"]
    target = np.sqrt(THIGH**2 + SHANK**2 - 2.0 * THIGH * SHANK * np.cos(np.radians(160.0)))
    assert mended.channels == ("left_foot.y",)
    assert amount(mended, "y") == pytest.approx(np.full(COUNT, 0.94 + SOLE - target), abs=1e-8)
    assert mended.leaves == 0.0


def test_an_ankle_3_degrees_beyond_its_range_tips_the_foot_by_3_degrees() -> None:
    """Hip above the ankle and the foot straight ahead: pitch and flexion turn about one axis."""
    clip = standing(hips=(0.86, 0.0))
    held = joint(clip, PLAIN, "ankle_flexion")[0]
    assert held > np.radians(10.0)
    rig = limited(PLAIN, ankle_flexion=(-6.0, held - np.radians(3.0)))
    mended = ways(clip, rig, "ankle flexion")["toe down"]
    assert mended.channels == ("left_foot.pitch",)
    assert mended.shown[0] == pytest.approx(np.full(COUNT, 3.0), abs=1e-6)
    assert "sink" in {worse.kind for worse in mended.worse}  # the foot stood flat


@pytest.mark.parametrize(
    ("name", "key", "way", "by"),
    [
        ("hip_rotation", "yaw", "turn right", np.radians(-4.0)),
        ("ankle_inversion", "roll", "right edge up", np.radians(-3.0)),
        ("hip_flexion", "z", "step back", -0.03),
        ("hip_abduction", "x", "step right", -0.02),
    ],
)
def test_each_joint_is_brought_back_by_the_root_that_brentq_finds(name: str, key: str, way: str, by: float) -> None:
    """The pose is lopsided, so no axis is any other's; the end of the range is what a known change would give."""
    clip = standing(hips=(0.88, -0.1), left=(-SOLE, 0.05, 0.1, 0.0))
    clip = moved(moved(moved(clip, "yaw", 0.35), "roll", 0.12), "x", 0.04)
    value = joint(clip, PLAIN, name)[0]
    end = joint(moved(clip, key, by), PLAIN, name)[0]
    ranges = (-6.0, float(end)) if end < value else (float(end), 6.0)
    mended = ways(clip, limited(PLAIN, **{name: ranges}), name.replace("_", " "))[way]
    wanted = brentq(lambda u: joint(moved(clip, key, u), PLAIN, name)[0] - end, 2.0 * by, 0.0, xtol=1e-14)
    assert wanted == pytest.approx(by, abs=1e-9)
    assert amount(mended, key) == pytest.approx(np.full(COUNT, wanted), abs=1e-7)
    assert mended.leaves == 0.0


@pytest.mark.parametrize("seed", range(6))
def test_on_random_walks_every_joint_gets_a_way_back_that_leaves_what_it_tells(seed: int) -> None:
    """Every joint's range is cut by an eighth of what the walk does at both ends; `check` judges what is applied."""
    clip, rig = random_walk(seed, loop=bool(seed % 2)).clip(), make_rig()
    angles = joints_of(rig, Scene.of(clip, rig, Flat(0.0)).pose)
    spans = {name: (angles[k].min(), angles[k].max()) for k, name in enumerate(Limits.NAMES)}
    cut = {n: (a + (b - a) / 8.0 - 1e-3, b - (b - a) / 8.0 + 1e-3) for n, (a, b) in spans.items()}
    rig = limited(rig, **cut)
    report = check(clip, rig)
    limits = [f for f in report.findings if f.kind == "limit"]
    found = [p for p in propose(clip, rig, report=report) if p.finding.kind == "limit"]
    assert len(limits) >= 10
    assert {id(p.finding) for p in found} == {id(f) for f in limits}
    for finding in limits:  # one of its ways mends all of it
        assert min(p.leaves for p in found if p.finding is finding) < 1e-9, finding
    for proposal in found[:: max(1, len(found) // 20)]:
        finding, done = proposal.finding, apply_proposals(clip, rig, [proposal])
        name, foot = finding.part.replace(" ", "_"), ("left", "right").index(finding.foot)
        after = joints_of(rig, Scene.of(done, rig, Flat(0.0)).pose)[Limits.NAMES.index(name), foot]
        own = (np.arange(finding.first, finding.last + 1) - clip.first) % clip.frames
        low, high = cut[name]
        beyond = np.maximum(low - after[own], after[own] - high).max()
        assert max(float(beyond), 0.0) == pytest.approx(proposal.leaves, abs=1e-8), f"{proposal.way} for {finding}"
        kinds = {f.kind for f in check(done, rig, belt=report.belt, stances=report.stances).findings}
        assert kinds <= {f.kind for f in report.findings} | {w.kind for w in proposal.worse}


def test_a_hip_4_degrees_beyond_its_range_swings_the_leg_by_4_degrees() -> None:
    """Leg and hips in one plane: thigh and leg turn about one axis through the hip, so by one angle."""
    clip = standing(hips=(0.88, -0.1))
    hip = joint(clip, PLAIN, "hip_flexion")[0]
    mended = ways(clip, limited(PLAIN, hip_flexion=(-6.0, hip - np.radians(4.0))), "hip flexion")["swing back"]
    arm = np.array([-SOLE - 0.88, 0.1])  # from hip to ankle: up and ahead
    turn = np.radians(4.0)
    # (down, ahead) turns back: what hangs ahead comes down, what hangs down goes back
    up = arm[0] * np.cos(turn) - arm[1] * np.sin(turn)
    ahead = arm[1] * np.cos(turn) + arm[0] * np.sin(turn)
    assert amount(mended, "z") == pytest.approx(np.full(COUNT, ahead - arm[1]), abs=1e-7)
    assert amount(mended, "y") == pytest.approx(np.full(COUNT, up - arm[0]), abs=1e-7)


def test_another_joint_that_is_harmed_in_the_same_frames_is_told() -> None:
    """Stepping ahead for the hip's sake, the leg gets longer; a knee that has hardly room is told."""
    clip = standing(hips=(0.88, -0.1))
    hip, knee = (joint(clip, PLAIN, name)[0] for name in ("hip_flexion", "knee_flexion"))
    rig = limited(PLAIN, hip_flexion=(hip + np.radians(2.0), 6.0), knee_flexion=(knee - np.radians(0.2), 6.0))
    mended = ways(clip, rig, "hip flexion")["step ahead"]
    assert mended.leaves == 0.0
    assert ("limit", "left") in {(worse.kind, worse.foot) for worse in mended.worse}


def test_a_root_that_is_too_far_or_not_there_is_none() -> None:
    found = root_of(lambda u: np.array([u[0] ** 3 - 1e-3, u[1] - 5.0, u[2] ** 2 + 1.0]), 3, step=1e-3, most=1.0)
    assert found[0] == pytest.approx(0.1, abs=1e-9)
    assert np.isnan(found[1:]).all()


def test_a_locked_foot_has_no_way_back() -> None:
    clip = standing(left=(-SOLE, 0.0, 0.0, np.radians(42.0)))
    rig = limited(PLAIN, toe_bend=(-1.0, np.radians(30.0)))
    assert ways(clip, rig, "toe bend")
    assert not ways(replace(clip, locked=frozenset({"left_foot.bend"})), rig, "toe bend")


def test_curves_are_not_touched() -> None:
    clip = standing(left=(-SOLE, 0.0, 0.0, np.radians(42.0)))
    (way,) = ways(clip, limited(PLAIN, toe_bend=(-1.0, np.radians(30.0))), "toe bend").values()
    done = apply_proposals(clip, PLAIN, [way])
    same = {name for name, curve in clip.channels.items() if done.channels[name] is curve}
    assert same == set(clip.channels) - {"left_foot.bend"}
    assert isinstance(done.channels["left_foot.bend"], Curve)


def test_an_angle_that_has_gone_round_is_judged_by_the_turn_nearest_to_its_range() -> None:
    rig = limited(make_rig(), ankle_inversion=(-0.6, 0.4))
    row, random = Limits.NAMES.index("ankle_inversion"), np.random.default_rng(3)
    angles = np.zeros((7, 2, 40))
    angles[row] = random.uniform(-1.0, 0.8, (2, 40))
    beyond = beyond_limits(angles, rig)[row]
    np.testing.assert_allclose(beyond, np.maximum(-0.6 - angles[row], angles[row] - 0.4), atol=1e-15)
    angles[row] += 2.0 * np.pi * random.integers(-3, 4, (2, 40))
    np.testing.assert_allclose(beyond_limits(angles, rig)[row], beyond, atol=1e-13)


def test_a_joint_has_the_same_ways_after_its_foot_has_gone_right_round() -> None:
    clip, rig = demo("lamplighter")
    still = {name: Curve.constant(float(curve.at([8])[0])) for name, curve in clip.channels.items()}
    own, frames, found = float(still["left_foot.pitch"].values[0]), np.arange(1.0, 49.0), []
    for turn in (0.0, 360.0):
        pitch = own + np.interp(frames, [1, 10, 26, 34, 38, 42, 48], [0, 0, turn, turn, turn + 95, turn, turn])
        held = replace(
            clip, channels={**still, "left_foot.pitch": Curve.through(frames, pitch)}, last=48, loop=False,
            stances=(Stance("right", 1, 48),), belt=Belt([0.0, 0.0, 0.0]),
        )  # fmt: skip
        late = [way for way in propose(held, rig) if way.finding.kind == "limit" and way.finding.first > 30]
        found.append([(way.way, way.channels, round(way.cost, 6), round(way.leaves, 9)) for way in late])
    assert found[0]
    assert found[1] == found[0]


def test_legs_that_are_thrown_about_are_beyond_their_ranges_by_no_more_than_half_a_turn() -> None:
    """Hips that stay below while the feet climb two metres; the angles go round without a jump, by 500 degrees."""
    clip, rig = demo("lamplighter")
    ground = preset_ground("private-stairs")
    laid = lay(clip, rig, ground=ground, loops=3)
    done = plant(laid.clip, rig, ground=ground)
    angles = joints_of(rig, Scene.of(done.clip, rig, ground).pose)
    assert np.abs(angles).max() > np.radians(400.0)
    amounts = [f.amount for f in check(done.clip, rig, ground=ground).findings if f.kind == "limit"]
    assert len(amounts) > 5
    assert max(amounts) <= np.pi
