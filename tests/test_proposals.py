"""Proposals: each lowers its own finding, tells what it makes worse, and has the amounts that geometry asks for.

The hand-checkable cases work their numbers out beside them; random broken walks are judged by `check` after each
proposal is applied, which is another way to the figures that a proposal tells of itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import surefoot
from surefoot import (
    Clip,
    Curve,
    Foot,
    InputError,
    Leg,
    Limits,
    Outside,
    Proposal,
    Report,
    Rig,
    Stance,
    apply_proposals,
    check,
    propose,
)
from surefoot.bench import Bench
from surefoot.easing import interpolate
from surefoot.mend_height import Needs, hover_drafts, sink_drafts
from surefoot.mend_reach import least_shift
from surefoot.mend_snap import KNEE_SPEED
from surefoot.tolerances import tolerances_for
from tests.measure import foot_steps, instants
from tests.test_control_styles import RIGS
from tests.walks import clip_of, make_rig, plain_controls, random_walk

Array = NDArray[np.float64]

SOLE, HEEL, BALL, TOE = -0.08, -0.05, 0.12, 0.19
"""A foot of 0.17 m from heel to ball and 0.07 m from ball to toe tip, its ball hinge on the sole."""
THIGH, SHANK = 0.44, 0.43
REACH = 0.995
COUNT = 9
NAMES = ("x", "y", "z", "pitch", "yaw", "roll", "bend")


def plain_rig() -> Rig:
    outline = [(side * 0.04, z) for z in (HEEL, BALL, TOE) for side in (-1, 1)]
    foot = Foot(np.array([0, SOLE, HEEL]), np.array([0, SOLE, BALL]), np.array([0, SOLE, TOE]), np.array(outline))
    left = Leg(np.array([0.09, 0.0, 0.0]), THIGH, SHANK, foot)
    return Rig("plain", (left, left.mirrored()), plain_controls(), reach=REACH)


PLAIN = plain_rig()


def standing(*, hips: tuple[float, float] = (0.90, 0.0), left: Iterable[float] = (), loop: bool = False) -> Clip:
    """Return a character that stands still: hips (y, z), and the left foot's y, z, pitch and bend."""
    y, z, pitch, bend = tuple(left) or (-SOLE, 0.0, 0.0, 0.0)
    values = dict.fromkeys([f"hips.{key}" for key in NAMES[:6]], 0.0)
    values |= {"hips.y": hips[0], "hips.z": hips[1]}
    for side, x, foot in (("left", 0.09, (y, z, pitch, bend)), ("right", -0.09, (-SOLE, 0.0, 0.0, 0.0))):
        values |= dict.fromkeys([f"{side}_foot.{key}" for key in NAMES], 0.0)
        values |= {f"{side}_foot.x": x, f"{side}_foot.y": foot[0], f"{side}_foot.z": foot[1]}
        values |= {f"{side}_foot.pitch": foot[2], f"{side}_foot.bend": foot[3]}
    channels = {name: Curve.through([1, COUNT], [value, value]) for name, value in values.items()}
    stances = (Stance("left", 1, COUNT), Stance("right", 1, COUNT))
    return Clip(channels, Fraction(24), 1, COUNT, loop, stances=stances, belt=surefoot.Belt(np.zeros(3)))


def the_way(clip: Clip, rig: Rig, way: str, *, kind: str, foot: str = "left") -> Proposal:
    (found,) = [p for p in propose(clip, rig) if (p.way, p.finding.kind, p.finding.foot) == (way, kind, foot)]
    return found


def amount(proposal: Proposal, key: str, *, foot: str = "left") -> Array:
    return proposal.amounts[proposal.channels.index(f"{foot}_foot.{key}")]


def level_sole(p: float) -> tuple[float, float]:
    """Return the height and place of the ankle of a foot pitched by ``p`` about its heel on the ground."""
    # heel at (-0.08, -0.05) below and behind the ankle, turned by p: y' = y cos p - z sin p, z' = y sin p + z cos p
    return -(SOLE * np.cos(p) - HEEL * np.sin(p)), HEEL - (SOLE * np.sin(p) + HEEL * np.cos(p))


def test_a_toe_tip_7_mm_deep_under_a_toe_segment_of_70_mm_goes_up_by_5_74_degrees() -> None:
    """asin(7 / 70) = 5.739 degrees, and nothing else moves."""
    down = np.arcsin(7.0 / 70.0)
    clip = standing(left=(-SOLE, 0.0, 0.0, -down))
    finding = check(clip, PLAIN).most("sink")
    assert finding is not None
    assert finding.shown == pytest.approx(7.0, abs=1e-9)
    mended = the_way(clip, PLAIN, "toes up", kind="sink")
    assert mended.channels == ("left_foot.bend",)
    assert mended.shown[0] == pytest.approx(np.full(COUNT, 5.7392), abs=1e-4)
    assert mended.amounts[0] == pytest.approx(np.full(COUNT, np.arcsin(0.1)), abs=1e-8)
    assert mended.leaves < 1e-8
    assert not mended.worse


def test_a_ball_14_mm_deep_170_mm_before_a_planted_heel_pitches_4_72_degrees_less() -> None:
    """asin(14 / 170) = 4.724 degrees about the heel, so the ankle goes where that turn carries it."""
    p = np.arcsin(14.0 / 170.0)
    y, z = level_sole(p)
    clip = standing(left=(y, z, p, p))  # the toes bent up by p, so they lie level, 14 mm deep too
    finding = check(clip, PLAIN).most("sink")
    assert finding is not None
    assert finding.shown == pytest.approx(14.0, abs=1e-9)
    mended = the_way(clip, PLAIN, "less pitch", kind="sink")
    assert mended.shown[mended.channels.index("left_foot.pitch")] == pytest.approx(np.full(COUNT, -4.7239), abs=1e-4)
    assert amount(mended, "pitch") == pytest.approx(np.full(COUNT, -p), abs=1e-8)
    # flat again, so the ankle is 80 mm above the ground and 50 mm before the heel, which is where it was
    assert amount(mended, "y") == pytest.approx(np.full(COUNT, -SOLE - y), abs=1e-8)
    assert amount(mended, "z") == pytest.approx(np.full(COUNT, -z), abs=1e-8)
    assert mended.leaves < 1e-8


def test_a_heel_20_mm_deep_behind_a_planted_ball_comes_up_by_6_76_degrees() -> None:
    """asin(20 / 170) = 6.756 degrees about the ball; the toes stay level, so they bend by as much."""
    p = -np.arcsin(20.0 / 170.0)
    # the ball stays at (0, 0.12): the ankle is where the turn about it puts it
    up, back = -SOLE, -BALL
    y, z = up * np.cos(p) - back * np.sin(p), BALL + up * np.sin(p) + back * np.cos(p)
    clip = standing(left=(y, z, p, p))
    finding = check(clip, PLAIN).most("sink")
    assert finding is not None
    assert finding.shown == pytest.approx(20.0, abs=1e-9)
    mended = the_way(clip, PLAIN, "heel up", kind="sink")
    assert mended.shown[mended.channels.index("left_foot.pitch")] == pytest.approx(np.full(COUNT, 6.7563), abs=1e-4)
    assert amount(mended, "bend") == pytest.approx(np.full(COUNT, -p), abs=1e-8)
    assert amount(mended, "y") == pytest.approx(np.full(COUNT, -SOLE - y), abs=1e-8)
    assert amount(mended, "z") == pytest.approx(np.full(COUNT, -z), abs=1e-8)
    assert mended.leaves < 1e-8
    assert not mended.worse


def test_an_ankle_8_mm_out_of_reach_gets_them_back_from_the_heel_lift_that_the_law_of_cosines_gives() -> None:
    """The ball is the hub: with spokes to hip and ankle, the angle between them closes as the heel lifts."""
    reach = REACH * (THIGH + SHANK)
    ahead = 0.35  # the hip is so far before the ankle: a trailing leg
    height = np.sqrt((reach + 0.008) ** 2 - ahead**2) - SOLE
    clip = standing(hips=(height, ahead))
    mended = the_way(clip, PLAIN, "heel up", kind="stretch")
    spoke = np.hypot(SOLE, BALL)
    hub = np.hypot(height, ahead - BALL)

    def angle(far: float) -> float:
        return float(np.arccos((spoke**2 + hub**2 - far**2) / (2.0 * spoke * hub)))

    lift = angle(reach + 0.008) - angle(reach)
    assert np.degrees(lift) > 2.0
    assert amount(mended, "pitch") == pytest.approx(np.full(COUNT, lift), abs=1e-8)
    assert amount(mended, "bend") == pytest.approx(np.full(COUNT, lift), abs=1e-8)
    ankle = np.array([-SOLE + amount(mended, "y")[0], amount(mended, "z")[0]])
    assert np.hypot(*(ankle - [height, ahead])) == pytest.approx(reach, abs=1e-8)
    assert mended.leaves == 0.0


def test_hips_that_stand_8_mm_too_high_come_down_by_the_leg_of_the_right_triangle() -> None:
    """For a leg that leans by 0.35 m: the height that is left under a leg of its allowed length."""
    reach, ahead = REACH * (THIGH + SHANK), 0.35
    height = np.sqrt((reach + 0.008) ** 2 - ahead**2) - SOLE
    mended = the_way(standing(hips=(height, ahead)), PLAIN, "lower the hips", kind="stretch")
    wanted = np.sqrt(reach**2 - ahead**2) - SOLE - height
    assert mended.channels == ("hips.y",)
    assert mended.asks == "hips.y"
    assert not mended.default
    assert mended.amounts[0] == pytest.approx(np.full(COUNT, wanted), abs=1e-8)


def test_a_foot_12_mm_up_comes_down_by_12_mm() -> None:
    clip = standing(left=(-SOLE + 0.012, 0.0, 0.0, 0.0))
    mended = the_way(clip, PLAIN, "lower", kind="hover")
    assert mended.amounts[0] == pytest.approx(np.full(COUNT, -0.012), abs=1e-5)
    assert mended.leaves < 1e-5


def test_a_foot_that_slides_evenly_is_held_or_moved_half_the_way() -> None:
    """40 mm over 8 frames at an even pace: about its middle the most is 20 mm, from a held end 40."""
    clip = standing()
    channels = {**clip.channels, "left_foot.z": Curve.through([1, COUNT], [0.0, 0.04])}
    clip = replace(clip, channels=channels)
    other = the_way(clip, PLAIN, "another footprint", kind="slide")
    assert other.amounts[0] == pytest.approx(0.02 - 0.005 * np.arange(COUNT), abs=1e-9)
    held = the_way(clip, PLAIN, "hold in place", kind="slide")
    assert np.ptp(held.amounts[0] + 0.005 * np.arange(COUNT)) < 1e-9
    assert other.cost < held.cost
    assert max(other.leaves, held.leaves) < 1e-9


def broken_walk(seed: int) -> tuple[Clip, Rig]:
    """Return a random walk whose feet turn about the ankle, its hips raised, its feet nudged, its seam open."""
    rng = np.random.default_rng(seed)
    loop = bool(rng.integers(2))
    walk = random_walk(seed, loop=loop)
    hips, feet = walk.hips.copy(), walk.feet.copy()
    hips[:, 1] += rng.uniform(0.0, 0.04)
    nudge = rng.uniform(-0.012, 0.012, (2, 1))
    feet[:, :, 1] += nudge
    if rng.integers(2):
        feet[:, :, 0] *= 0.2  # feet near the middle cut through each other
    walk = replace(walk, hips=hips, feet=feet)
    named = {f"hips.{key}": hips[:, k] for k, key in enumerate(NAMES[:6])}
    for foot, side in enumerate(("left", "right")):
        named |= {f"{side}_foot.{key}": feet[foot, :, k] for k, key in enumerate(NAMES)}
    clip = clip_of(named, walk)
    if loop and rng.integers(2):
        old = clip.channels["left_foot.y"]
        gap = np.zeros(len(old.values))
        gap[-1] = 0.01
        clip = clip.with_channels(
            {"left_foot.y": Curve.through(old.frames, old.values + gap, before=old.before, after=old.after)}
        )
    rig = make_rig()
    if seed % 4 == 3:  # joints with narrow ranges
        narrow = Limits(knee_flexion=(np.radians(12.0), np.radians(45.0)), ankle_flexion=(-0.35, 0.2),
                        hip_flexion=(-0.3, 0.45))  # fmt: skip
        rig = replace(rig, legs=tuple(replace(leg, limits=narrow) for leg in rig.legs))
    return clip, rig


SEEDS = [*range(20), *(pytest.param(seed, marks=pytest.mark.long) for seed in range(20, 40))]


def measured(clip: Clip, rig: Rig, finding: surefoot.Finding, report: Report) -> float:
    """Return the most by which a foot is below or above the ground in a finding's frames, by scipy's rotations."""
    foot = ("left", "right").index(finding.foot)
    at = instants(finding.first, finding.last if clip.loop else min(finding.last, clip.last), 5)
    played = clip.first + (at - clip.first) % clip.frames if clip.loop else at  # an open seam has two values there
    height = foot_steps(clip, rig, foot, played, belt=report.belt.velocity).height.min(axis=1)
    if finding.kind == "sink":
        return max(float(-height.min()), 0.0)
    spans = [
        (s.first + lap, s.last + lap)
        for s in report.stances
        if s.foot == finding.foot
        for lap in (-clip.frames, 0, clip.frames)
    ]
    down = np.array([any(a - 1e-9 <= t <= b + 1e-9 for a, b in spans) for t in at])
    return max(float(height[down].max()), 0.0)


def overlaps(one: surefoot.Finding, other: surefoot.Finding, clip: Clip) -> bool:
    if (one.kind, one.foot, one.part) != (other.kind, other.foot, other.part):
        return False
    rounds = (-clip.frames, 0, clip.frames) if clip.loop else (0,)
    return any(one.first + r <= other.last and one.last + r >= other.first for r in rounds)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_proposal_alone_lowers_its_own_finding_to_what_it_tells_and_says_what_it_makes_worse(seed: int) -> None:
    clip, rig = broken_walk(seed)
    report = check(clip, rig)
    found = propose(clip, rig, report=report)
    assert len(found) >= 5
    for proposal in found:
        done = apply_proposals(clip, rig, [proposal], let=["hips.y"])
        after = check(done, rig, belt=report.belt, stances=report.stances)
        lowers_its_own(clip, rig, proposal, done, report, after)
        tells_what_is_worse(proposal, report, after)


def lowers_its_own(clip: Clip, rig: Rig, proposal: Proposal, done: Clip, report: Report, after: Report) -> None:
    finding = proposal.finding
    tell = f"{proposal.way} for {finding}"
    assert proposal.leaves < finding.amount, tell
    note, trifle = report.tolerances[finding.kind][0], 1e-8 + 1e-6 * finding.amount
    same = [f for f in after.findings if overlaps(f, finding, clip)]
    inside = [f.amount for f in same if finding.first <= f.worst <= finding.last]
    assert max(inside, default=0.0) <= max(proposal.leaves, note) + trifle, tell
    if proposal.leaves > note * 1.001:  # it may have become part of a larger one, whose worst lies elsewhere
        assert max(f.amount for f in same) >= proposal.leaves - trifle, tell
    if finding.kind in ("sink", "hover"):
        assert proposal.leaves == pytest.approx(measured(done, rig, finding, report), abs=1e-7), tell


def tells_what_is_worse(proposal: Proposal, report: Report, after: Report) -> None:
    told = {(w.kind, w.foot) for w in proposal.worse}
    for kind in ("slide", "sink", "hover", "stretch", "snap", "cross", "limit"):
        for foot in ("left", "right", "both"):
            before, now = (
                max((f.amount for f in r.findings if (f.kind, f.foot) == (kind, foot)), default=0.0)
                for r in (report, after)
            )
            if now > before * 1.02 + 1e-9 and now > 1.02 * report.tolerances[kind][0]:
                assert (kind, foot) in told, f"{proposal.way} for {proposal.finding} raises {foot} {kind} to {now}"


@pytest.mark.parametrize("seed", SEEDS[:12])
def test_applied_keys_elsewhere_and_other_channels_stay(seed: int) -> None:
    clip, rig = broken_walk(seed)
    for proposal in propose(clip, rig):
        done = apply_proposals(clip, rig, [proposal], let=["hips.y"])
        for name, curve in clip.channels.items():
            if name not in proposal.channels:
                assert done.channels[name] is curve
        if proposal.curves:
            continue
        near = {int(f) + k for f in proposal.frames for k in (-2, -1, 0, 1, 2)}
        if clip.loop:
            near |= {f - clip.frames for f in near} | {f + clip.frames for f in near}
        for name in proposal.channels:
            old, new = clip.channels[name], done.channels[name]
            at = [i for i, f in enumerate(old.frames) if int(f) not in near and 0 < i < len(old.frames) - 1]
            where = np.searchsorted(new.frames, old.frames[at])
            for field in ("frames", "values", "shapes"):
                assert np.array_equal(getattr(new, field)[where], getattr(old, field)[at])


def test_the_sum_of_clip_and_proposal_is_the_clip_with_it_applied() -> None:
    """At every frame of the range, whatever keys the animator had."""
    clip, rig = surefoot.demo("lamplighter")
    frames = np.arange(clip.first, clip.last + 1)
    axes = rig.channels()
    for proposal in propose(clip, rig):
        done = apply_proposals(clip, rig, [proposal], let=["hips.y"])
        for name, amounts in zip(proposal.channels, proposal.amounts, strict=True):
            wanted = np.zeros(len(frames))
            wanted[(proposal.frames - clip.first) % clip.frames] = amounts
            one, other = (np.array([value_at(c.channels[name], f) for f in frames]) for c in (clip, done))
            assert (other - one) * axes[name].scale == pytest.approx(wanted, abs=1e-12), proposal.way


def value_at(curve: Curve, frame: float) -> float:
    from surefoot.curves import Pack

    return float(Pack.from_curves([curve]).evaluate([frame])[0, 0])


def test_proposing_changes_nothing_and_accepting_none_leaves_the_clip() -> None:
    clip, rig = surefoot.demo("lamplighter")
    before = {name: (curve, curve.values.copy()) for name, curve in clip.channels.items()}
    found = propose(clip, rig)
    assert len(found) > 20
    for name, (curve, values) in before.items():
        assert clip.channels[name] is curve
        assert np.array_equal(curve.values, values)


def test_a_clean_clip_has_no_proposals() -> None:
    assert propose(standing(), PLAIN) == ()


def test_each_finding_has_one_default_at_most_and_it_asks_for_nothing() -> None:
    clip, rig = surefoot.demo("lamplighter")
    report = check(clip, rig)
    found = propose(clip, rig, report=report)
    for finding in report.findings:
        mine = [p for p in found if p.finding is finding]
        assert mine, finding
        assert [p.cost for p in mine] == sorted(p.cost for p in mine)
        assert sum(p.default for p in mine) == 1
        assert not any(p.asks for p in mine if p.default)


@pytest.mark.parametrize("first", range(2, 9))
def test_an_applied_proposal_changes_between_frames_what_was_judged_wherever_its_window_begins(first: int) -> None:
    """At one of these the window begins on the clip's own first frame, which is free to change."""
    clip, rig = surefoot.demo("lamplighter")
    cut = replace(clip, first=first, loop=False, stances=None)
    bench = Bench(cut, rig, None, check(cut, rig))
    needs = Needs(bench)
    for finding in bench.report.findings:
        if finding.kind not in ("sink", "hover"):
            continue
        drafts = [*(sink_drafts if finding.kind == "sink" else hover_drafts)(bench, finding, needs)]
        told = {(p.finding, p.way): p for p in propose(cut, rig)}
        for draft in drafts:
            if draft is not None and (finding, draft.way) in told:
                window, amounts = told[finding, draft.way].window_in(cut)
                assert np.array_equal(amounts, draft.amounts)
                assert np.abs(interpolate(amounts, window) - interpolate(amounts, draft.window)).max() < 1e-12


def test_hips_are_never_changed_unasked() -> None:
    clip, rig = surefoot.demo("lamplighter")
    lowering = [p for p in propose(clip, rig) if "hips.y" in p.channels]
    assert len(lowering) >= 3
    for proposal in lowering:
        assert proposal.asks == "hips.y"
        assert (proposal.amounts <= 1e-12).all()
        with pytest.raises(InputError, match=r"it changes hips.y, which must be let first"):
            apply_proposals(clip, rig, [proposal])
    assert apply_proposals(clip, rig, [lowering[0]], let=["hips.y"]).channels["hips.y"] is not clip.channels["hips.y"]


def test_locked_channels_are_in_no_proposal() -> None:
    clip, rig = surefoot.demo("lamplighter")
    locked = replace(clip, locked=frozenset({"left_foot.bend", "hips.y"}))
    found = propose(locked, rig)
    assert found
    assert not {"left_foot.bend", "hips.y"} & {name for p in found for name in p.channels}
    free = next(p for p in propose(clip, rig) if "left_foot.bend" in p.channels)
    with pytest.raises(InputError, match=r"left_foot.bend is locked"):
        apply_proposals(locked, rig, [free])


def test_an_open_seam_is_closed_by_each_of_its_ways() -> None:
    clip, rig = surefoot.demo("lamplighter")
    old = clip.channels["left_foot.y"]
    values = old.values.copy()
    values[-1] += 0.8  # centimetres
    clip = clip.with_channels({"left_foot.y": replace(old, values=values)})
    found = [p for p in propose(clip, rig) if p.finding.kind == "seam"]
    assert {p.way for p in found} == {"last key as the first", "first key as the last", "meet half-way"}
    for proposal in found:
        done = apply_proposals(clip, rig, [proposal])
        assert check(done, rig).most("seam") is None
        assert proposal.leaves < 1e-9
    most = {p.way: float(np.abs(p.amounts).max()) for p in found}
    assert most["first key as the last"] == pytest.approx(0.008, abs=1e-9)
    assert most["meet half-way"] == pytest.approx(0.004, abs=1e-9)


def test_feet_that_swing_through_each_other_are_swung_apart() -> None:
    walk = random_walk(3)
    feet = walk.feet.copy()
    feet[:, :, 0] *= 0.2
    clip, rig = replace(walk, feet=feet).clip(), make_rig()
    report = check(clip, rig)
    crossed = [f for f in report.findings if f.kind == "cross"]
    assert crossed
    out = [p for p in propose(clip, rig, report=report) if p.finding.kind == "cross" and p.way == "swing out"]
    assert out
    for proposal in out:
        assert proposal.leaves < report.tolerances["cross"][0]
        foot = proposal.channels[0].partition("_")[0]
        sideways = proposal.amounts[proposal.channels.index(f"{foot}_foot.x")]
        assert (sideways * (1.0 if foot == "left" else -1.0) >= -1e-9).all()
        down = [s for s in report.stances if s.foot == foot]
        planted = {(f - 1) % clip.frames for s in down for f in range(s.first, s.last + 1)}
        still = [i for i, f in enumerate(proposal.frames) if (f - 1) % clip.frames in planted]
        assert np.abs(sideways[still]).max(initial=0.0) == 0.0


def test_a_knee_that_snaps_gets_slack_until_it_keeps_its_limit() -> None:
    clip, rig = surefoot.demo("lamplighter")
    limits = {"snap": (np.radians(7000.0), np.radians(9000.0), np.radians(12000.0))}
    report = check(clip, rig, tolerances=limits)
    found = [p for p in propose(clip, rig, report=report) if p.finding.kind == "snap"]
    assert {"lower the hips"} < {p.way for p in found}
    for proposal in found:
        assert proposal.leaves <= proposal.finding.amount * 0.95
    hips = [p for p in found if p.way == "lower the hips"]
    assert all(p.leaves <= np.radians(7000.0) for p in hips)
    assert KNEE_SPEED > 0.0


def test_a_proposal_holds_its_arrays_to_itself() -> None:
    clip, rig = surefoot.demo("lamplighter")
    one = propose(clip, rig)[0]
    with pytest.raises(ValueError, match="read-only"):
        one.amounts[0, 0] = 1.0
    with pytest.raises(InputError, match="wanted an amount for each channel and frame"):
        replace(one, amounts=one.amounts[:, :-1])


def test_a_footprint_that_no_shift_brings_near_has_no_shift() -> None:
    arm = np.array([[0.0, 0.0], [-0.9, -0.9], [0.3, -0.3]])
    assert least_shift(arm, np.full(2, 0.9), most=0.5) is None
    assert least_shift(arm[:, :1], np.full(1, 0.9), most=0.05) is None


def test_the_default_limits_are_those_of_check() -> None:
    clip, rig = surefoot.demo("lamplighter")
    bounds = tolerances_for(rig.leg, rig.tolerances)
    loose = {kind: tuple(10.0 * v for v in limits) for kind, limits in bounds.items()}
    assert len(propose(clip, rig, tolerances=loose)) < len(propose(clip, rig))  # type: ignore[arg-type]


def test_outside_rules_of_channels_are_kept() -> None:
    """A loop's channels still repeat, a travelling one still advances, whatever is put on top."""
    walk = random_walk(5).travelling()
    hips = walk.hips.copy()
    hips[:, 1] += 0.04
    clip, rig = replace(walk, hips=hips).clip(), make_rig()
    found = [p for p in propose(clip, rig) if not p.curves]
    assert found
    for proposal in found:
        done = apply_proposals(clip, rig, [proposal], let=["hips.y"])
        for name in proposal.channels:
            assert done.channels[name].after == clip.channels[name].after
            assert done.channels[name].after in (Outside.REPEAT, Outside.ADVANCE)


def holds(clip: Clip, rig: Rig, **where: Any) -> int:
    """Assert that each proposal leaves what it tells, by `check` of the clip with it applied; return how many."""
    report = check(clip, rig, **where)
    found = propose(clip, rig, report=report, **{k: v for k, v in where.items() if k == "ground"})
    for proposal in found:
        finding = proposal.finding
        assert proposal.leaves < finding.amount
        done = apply_proposals(clip, rig, [proposal], let=["hips.y"])
        after = check(done, rig, **{**where, "belt": report.belt, "stances": report.stances})
        inside = [
            f.amount for f in after.findings
            if overlaps(f, finding, clip) and finding.first <= f.worst <= finding.last
        ]  # fmt: skip
        least = max(proposal.leaves, report.tolerances[finding.kind][0])
        assert max(inside, default=0.0) <= least + 1e-8 + 1e-6 * finding.amount, f"{proposal.way} for {finding}"
    return len(found)


@pytest.mark.parametrize("style", RIGS)
def test_every_style_of_control_keeps_what_its_proposals_tell(style: str) -> None:
    walk = random_walk(7)
    hips = walk.hips.copy()
    hips[:, 1] += 0.02
    walk = replace(walk, hips=hips)
    controls, named, more = RIGS[style](walk)
    assert holds(clip_of(named, walk, **more), make_rig(controls=controls)) >= 5


@pytest.mark.parametrize("style", [("rockers", False), ("rockers", True), ("joints", False)])
def test_feet_by_rockers_and_by_joints_keep_what_their_proposals_tell(style: tuple[str, bool]) -> None:
    clip, rig = surefoot.demo("lamplighter")
    made = surefoot.convert(clip, rig, style=style[0], single=style[1])
    assert holds(made.clip, made.rig) >= 30


def test_several_proposals_add_up_whatever_their_order() -> None:
    clip, rig = surefoot.demo("lamplighter")
    chosen = [p for p in propose(clip, rig) if p.default][:6]
    one, other = apply_proposals(clip, rig, chosen), apply_proposals(clip, rig, chosen[::-1])
    frames = np.arange(clip.first, clip.last + 1)
    axes = rig.channels()
    for name in {name for p in chosen for name in p.channels}:
        wanted = np.zeros(len(frames))
        for p in chosen:
            for own, amounts in zip(p.channels, p.amounts, strict=True):
                if own == name:
                    wanted[(p.frames - clip.first) % clip.frames] += amounts
        before, after, back = (np.array([value_at(c.channels[name], f) for f in frames]) for c in (clip, one, other))
        assert (after - before) * axes[name].scale == pytest.approx(wanted, abs=1e-12)
        assert after == pytest.approx(back, abs=1e-12)
    assert apply_proposals(clip, rig, []) is clip


def test_two_proposals_that_close_one_channel_are_refused() -> None:
    clip, rig = surefoot.demo("lamplighter")
    old = clip.channels["left_foot.y"]
    values = old.values.copy()
    values[-1] += 0.8
    clip = clip.with_channels({"left_foot.y": replace(old, values=values)})
    found = propose(clip, rig)
    closing = [p for p in found if p.finding.kind == "seam"]
    with pytest.raises(InputError, match=r"another one closes left_foot.y already"):
        apply_proposals(clip, rig, closing[:2])
    raised = next(p for p in found if p.channels == ("left_foot.y",) and not p.curves)
    assert check(apply_proposals(clip, rig, [raised, closing[0]]), rig).most("seam") is None


@pytest.mark.parametrize("seed", range(3))
def test_on_a_slope_proposals_keep_what_they_tell(seed: int) -> None:
    clip, rig = random_walk(seed).clip(), make_rig()
    assert holds(clip, rig, ground=surefoot.Plane(np.zeros(3), np.array([0.03, 1.0, 0.05]))) >= 5


@pytest.mark.parametrize("seed", range(3))
def test_on_a_belt_that_turns_proposals_keep_what_they_tell(seed: int) -> None:
    clip, rig = random_walk(seed).clip(), make_rig()
    assert clip.belt is not None
    assert holds(clip, rig, belt=surefoot.Belt(clip.belt.velocity, 0.1)) >= 5


def test_stepped_channels_are_left_to_planting() -> None:
    clip, rig = surefoot.demo("lamplighter")
    old = clip.channels["left_foot.y"]
    stepped = Curve.shaped(old.frames, old.values, shape=surefoot.Shape.STEP, before=old.before, after=old.after)
    found = propose(clip.with_channels({"left_foot.y": stepped}), rig)
    assert found
    assert not [p for p in found if "left_foot.y" in p.channels and not p.curves]


def test_bezier_keys_outside_a_proposal_stay_and_inside_it_the_frames_are_met() -> None:
    clip, rig = surefoot.demo("lamplighter")
    old = clip.channels["left_foot.bend"]
    count = len(old.frames)
    handles = np.tile([-0.4, 0.0, 0.4, 0.0], (count, 1))
    curve = Curve(
        old.frames, old.values, np.full(count, surefoot.Shape.BEZIER), np.zeros(count), np.zeros(count), handles,
        old.before, old.after,
    )  # fmt: skip
    clip = clip.with_channels({"left_foot.bend": curve})
    bending = [p for p in propose(clip, rig) if p.channels == ("left_foot.bend",) and not p.curves]
    assert bending
    for proposal in bending:
        new = apply_proposals(clip, rig, [proposal]).channels["left_foot.bend"]
        for frame, amount_deg in zip(proposal.frames, proposal.shown[0], strict=True):
            played = float((frame - 1) % 24 + 1)
            assert value_at(new, played) - value_at(curve, played) == pytest.approx(amount_deg, abs=1e-9)
