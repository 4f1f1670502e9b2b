"""What a channel keeps, because it's locked, stepped or missing, and how the foot stands with that.

Walks come from `tests/walks.py`, places are measured by `tests/measure.py`; neither shares code with the solver.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Clip, Curve, Outside, Plane, Rig, Shape, check, convert, demo, plant
from tests.measure import FLOOR, Velocity, foot_steps, instants, slide
from tests.walks import FEET, Walk, make_rig, random_walk

TURNS = ("pitch", "yaw", "roll", "bend")
SLOPE = Plane.slope(0.08, heading=0.5)
TILTED = (SLOPE.point, SLOPE.normal_at_point)


def worst(clip: Clip, rig: Rig, walk: Walk, plane: tuple[Velocity, Velocity] = FLOOR) -> tuple[float, float]:
    """Return how far feet slide on their stances' frames, and how far standing soles are from the ground, metres."""
    slides, gaps = [], []
    for stance in walk.stances:
        at = instants(stance.first, stance.last)
        belt = clip.belt.velocity if clip.belt is not None else np.zeros(3)
        steps = foot_steps(clip, rig, FEET.index(stance.foot), at, belt=belt, plane=plane)
        slides.append(slide(steps))
        gaps.append(float(np.abs(steps.height.min(axis=1)).max()))
    return max(slides), max(gaps)


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("key", TURNS)
@pytest.mark.parametrize("seed", range(3))
def test_a_foot_whose_turn_is_locked_is_planted_as_it_is_turned(seed: int, key: str, keys: str) -> None:
    walk, rig = random_walk(seed), make_rig()
    names = frozenset(f"{side}_foot.{key}" for side in FEET)
    clip = walk.clip(locked=names)
    done = plant(clip, rig, keys=keys)  # type: ignore[arg-type]
    assert all(done.clip.channels[name] is clip.channels[name] for name in names)
    slid, off = worst(done.clip, rig, walk)
    assert slid <= 1e-4
    assert off <= (1e-6 if keys == "every" else 2e-4)


@pytest.mark.parametrize("key", TURNS)
def test_a_foot_whose_turn_is_locked_is_planted_on_a_slope_too(key: str) -> None:
    walk, rig = random_walk(5), make_rig()
    names = frozenset(f"{side}_foot.{key}" for side in FEET)
    done = plant(walk.clip(locked=names), rig, ground=SLOPE)
    assert not names & set(done.changed)
    slid, off = worst(done.clip, rig, walk, TILTED)
    assert slid <= 1e-4
    assert off <= 1e-6


@pytest.mark.parametrize("key", TURNS)
def test_a_foot_that_has_no_channel_for_a_turn_is_planted_without_it(key: str) -> None:
    walk, rig = random_walk(6), make_rig()
    for side in FEET:
        control = rig.controls[f"{side}_foot"]
        own = {name: axis for name, axis in control.axes.items() if name != key}
        rig = replace(rig, controls={**rig.controls, control.name: replace(control, axes=own)})
    whole = walk.clip()
    channels = {name: curve for name, curve in whole.channels.items() if not name.endswith(f"foot.{key}")}
    done = plant(replace(whole, channels=channels), rig, ground=SLOPE)
    slid, off = worst(done.clip, rig, walk, TILTED)
    assert slid <= 1e-4
    assert off <= 1e-6


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("key", TURNS)
def test_a_turn_that_steps_is_planted_at_its_own_keys_and_the_foot_for_what_it_holds(key: str, keys: str) -> None:
    walk, rig = random_walk(7), make_rig()
    clip = walk.clip()
    at = np.arange(1.0, walk.frames + 2.0, 2.0)
    at[-1] = walk.frames + 1.0
    for side in FEET:
        name = f"{side}_foot.{key}"
        values = clip.channels[name].at(at)
        stepped = Curve.shaped(at, values, shape=Shape.STEP, before=Outside.REPEAT, after=Outside.REPEAT)
        clip = clip.with_channels({name: stepped})
    done = plant(clip, rig, keys=keys)  # type: ignore[arg-type]
    for side in FEET:
        new = done.clip.channels[f"{side}_foot.{key}"]
        assert set(new.shapes.tolist()) == {Shape.STEP}
        np.testing.assert_array_equal(new.frames, at)
    slid, off = worst(done.clip, rig, walk)
    assert slid <= 1e-4
    assert off <= (1e-6 if keys == "every" else 2e-4)


@pytest.mark.parametrize(
    ("style", "key"),
    [("joints", "bend"), *(("rockers", key) for key in ("bend", "heel", "ball", "toe", "cant", "yaw"))],
)
def test_what_one_rocker_keeps_the_others_take_over(style: str, key: str) -> None:
    clip, rig = demo("lamplighter")
    other = convert(clip, rig, style=style)
    names = frozenset(foot.axes[key].channel for foot in other.rig.feet)
    done = plant(replace(other.clip, locked=names), other.rig, ground=SLOPE)
    assert not names & set(done.changed)
    found = check(done.clip, other.rig, ground=SLOPE).findings
    assert not [one for one in found if one.kind in ("slide", "sink", "hover") and one.level == "error"]
    assert max((one.amount for one in found if one.kind in ("slide", "sink", "hover")), default=0.0) <= 3e-3


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("key", ["bend", "cant"])
def test_a_rocker_that_steps_gains_no_key_and_the_others_take_over(key: str, keys: str) -> None:
    clip, rig = demo("lamplighter")
    other = convert(clip, rig, style="rockers")
    at = np.arange(1.0, 26.0, 2.0)
    names = [foot.axes[key].channel for foot in other.rig.feet]
    held = {
        name: Curve.shaped(at, other.clip.channels[name].at(at), shape=Shape.STEP, before=Outside.REPEAT,
                           after=Outside.REPEAT)
        for name in names
    }  # fmt: skip
    done = plant(other.clip.with_channels(held), other.rig, keys=keys)  # type: ignore[arg-type]
    for name in names:
        new = done.clip.channels[name]
        assert set(new.shapes.tolist()) == {Shape.STEP}
        np.testing.assert_array_equal(new.frames, at)
    found = [one for one in check(done.clip, other.rig).findings if one.kind in ("slide", "sink", "hover")]
    assert max((one.amount for one in found), default=0.0) <= 3e-3


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("joint", ["hip_abduction", "hip_rotation", "ankle_inversion"])
def test_what_one_joint_keeps_the_others_make_up_for(joint: str, keys: str) -> None:
    """On the lamplighter's flat street the other joints can: he hardly turns these three."""
    clip, rig = demo("lamplighter")
    other = convert(clip, rig, style="joints")
    names = frozenset(f"{side}_leg.{joint}" for side in FEET)
    done = plant(replace(other.clip, locked=names), other.rig, keys=keys)  # type: ignore[arg-type]
    assert not names & set(done.changed)
    found = check(done.clip, other.rig).findings
    assert not [one for one in found if one.kind in ("slide", "sink", "hover", "stretch")]


@pytest.mark.parametrize("joint", ["hip_flexion", "knee_flexion", "ankle_flexion"])
def test_a_joint_that_the_others_cannot_make_up_for_leaves_less_than_there_was(joint: str) -> None:
    clip, rig = demo("lamplighter")
    other = convert(clip, rig, style="joints")
    names = frozenset(f"{side}_leg.{joint}" for side in FEET)
    done = plant(replace(other.clip, locked=names), other.rig)
    assert not names & set(done.changed)
    before, after = (
        max(one.amount for one in check(c, other.rig).findings if one.kind == "slide") for c in (other.clip, done.clip)
    )
    assert after <= before / 3.0


def test_a_pose_of_one_frame_stays_inside_its_joints_ranges() -> None:
    """Frame 9 of the trudge with hips 3 cm lower, planted, flexes an ankle by 27 degrees where that may be."""
    clip, rig = demo("trudge")
    other = convert(clip, rig, style="joints")
    tight = replace(other.rig.legs[0].limits, ankle_flexion=(np.radians(-60.0), np.radians(10.0)))
    own = replace(other.rig, legs=tuple(replace(leg, limits=tight) for leg in other.rig.legs))  # type: ignore[arg-type]
    still = replace(other.clip, first=9, last=9, loop=False, stances=None)
    lower = still.with_channels({"hips.y": Curve.constant(float(clip.channels["hips.y"].at([9])[0]) - 3.0, frame=9.0)})
    flexed = []
    for one in (other.rig, own):
        done = plant(lower, one)
        flexed.append(max(float(done.clip.channels[f"{side}_leg.ankle_flexion"].at([9])[0]) for side in FEET))
    assert flexed[0] > 10.5
    assert flexed[1] <= 10.0 + 1e-6
