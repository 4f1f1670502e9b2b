"""What must hold for any walk: planted is planted, twice is once, and the world may be turned.

The walks are made in `tests/walks.py` from a true belt, random footprints, roll, cant and hips; slide and
sink are measured by `tests/measure.py`. Neither shares code with the solver.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Belt, Curve, Flat, Plane, Stance, check, plant
from tests import measure
from tests.measure import most_apart, soles, stance_steps
from tests.walks import FEET, KEYS, SOLE, Walk, make_rig, random_walk, unrolled

SAME = 1e-4
"""Metres: a tenth of a millimetre."""
SEEDS = range(12)
FEW = range(4)


# planted is planted


@pytest.mark.parametrize("loop", [True, False], ids=["loop", "no loop"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_walk_is_planted(seed: int, loop: bool) -> None:
    """At frames slide and sink stay within 0.1 mm, between them within 1 mm; the hips are left alone."""
    rig, walk = make_rig(), random_walk(seed, loop=loop)
    clip = walk.clip()
    done = plant(clip, rig)
    assert max(measure.slide(s) for s in stance_steps(clip, rig, walk, 1)) > 0.05
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 1)) <= 1e-4
    assert max(measure.hover(s) for s in stance_steps(done.clip, rig, walk, 1)) <= 1e-4
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 5)) <= 1e-3
    at = measure.instants(clip.first, clip.last)
    assert max(measure.sink(measure.foot_steps(done.clip, rig, foot, at)) for foot in range(2)) <= 1e-4
    assert all(done.clip.channels[f"hips.{key}"] is clip.channels[f"hips.{key}"] for key in KEYS)
    assert check(done.clip, rig).is_clean


@pytest.mark.parametrize("seed", SEEDS)
def test_pivots_of_uncanted_feet_stay_at_their_first_place_and_lie_on_one_sole(seed: int) -> None:
    """Heel edge, ball and toe edge each stay put, and are as far apart on the ground as on the sole."""
    rig, walk = make_rig(), random_walk(seed, canted=False)
    shape = rig.legs[0].foot
    done = plant(walk.clip(), rig)
    along = np.array([shape.outline[:, 1].min(), shape.ball[2], shape.outline[:, 1].max()])
    for steps in stance_steps(done.clip, rig, walk, 1):
        assert measure.anchor_slide(steps, onset=shape.onset) <= 1e-4
        place = {pivot: steps.centre[rows[0], pivot] for pivot, rows in measure.spells(steps, onset=shape.onset)}
        assert {0, 1} <= set(place)
        for pivot in place:
            assert abs(np.linalg.norm(place[pivot] - place[0]) - (along[pivot] - along[0])) <= 1e-4


@pytest.mark.parametrize("hinge", [0.0, 0.015], ids=["hinge on the sole", "hinge above it"])
@pytest.mark.parametrize("seed", FEW)
def test_a_clip_that_is_planted_already_comes_back_unchanged(seed: int, hinge: float) -> None:
    rig, walk = make_rig(hinge=hinge), random_walk(seed, canted=False, exact=True, hinge=hinge)
    clip = walk.clip()
    assert max(measure.slide(s) for s in stance_steps(clip, rig, walk, 1)) < 1e-9
    done = plant(clip, rig)
    assert most_apart(soles(clip, rig), soles(done.clip, rig)) <= SAME
    assert done.ankle_change.max() <= SAME


@pytest.mark.parametrize("seed", FEW)
def test_a_clip_whose_frames_are_planted_is_planted_between_them_too(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed, canted=False, exact=True)
    done = plant(walk.clip(), rig)
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 5)) <= 1e-3


@pytest.mark.parametrize("loop", [True, False], ids=["loop", "no loop"])
@pytest.mark.parametrize("seed", SEEDS)
def test_planting_twice_is_planting_once(seed: int, loop: bool) -> None:
    rig, walk = make_rig(), random_walk(seed, loop=loop)
    once = plant(walk.clip(), rig)
    twice = plant(once.clip, rig)
    assert most_apart(soles(once.clip, rig), soles(twice.clip, rig)) <= SAME


# the world may be turned, moved and mirrored


@pytest.mark.parametrize("degrees", [-170.0, -35.0, 90.0, 180.0])
@pytest.mark.parametrize("seed", FEW)
def test_turning_the_world_turns_the_answer(seed: int, degrees: float) -> None:
    rig, walk = make_rig(), random_walk(seed)
    turn = Rotation.from_euler("y", np.radians(degrees))
    other = walk.changed(turn.apply, turn, turn.apply(walk.belt))
    one, two = plant(walk.clip(), rig), plant(other.clip(), rig)
    expected = turn.apply(soles(one.clip, rig).reshape(-1, 3)).reshape(2, walk.frames, -1, 3)
    assert most_apart(expected, soles(two.clip, rig)) <= 1e-6


@pytest.mark.parametrize("seed", FEW)
def test_moving_the_world_moves_the_answer(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed)
    shift = np.array([3.0, 0.25, -7.0])
    other = walk.changed(lambda place: place + shift, Rotation.identity())
    one, two = plant(walk.clip(), rig), plant(other.clip(), rig, ground=Flat(0.25))
    assert most_apart(soles(one.clip, rig) + shift, soles(two.clip, rig)) <= 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_the_mirror_image_is_planted_as_the_mirror_image(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed)
    one, two = plant(walk.clip(), rig), plant(walk.mirrored().clip(), rig)
    ankles = [[measure.foot_steps(c.clip, rig, f, np.arange(1.0, walk.frames + 1)) for f in (0, 1)] for c in (one, two)]
    for foot in range(2):
        mine, other = ankles[0][foot], ankles[1][1 - foot]
        assert most_apart(mine.ankle * [-1.0, 1.0, 1.0], other.ankle) <= 1e-6
        for name, sign in (("pitch", 1.0), ("yaw", -1.0), ("cant", -1.0), ("bend", 1.0)):
            assert np.abs(getattr(mine, name) - sign * getattr(other, name)).max() <= 1e-6, name


@pytest.mark.parametrize("seed", SEEDS)
def test_in_place_and_travelling_are_planted_alike(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed)
    one, two = plant(walk.clip(), rig), plant(walk.travelling().clip(), rig)
    ride = -np.outer(np.arange(walk.frames) / walk.rate, walk.belt)
    assert most_apart(soles(one.clip, rig) + ride[:, None], soles(two.clip, rig)) <= 1e-6


@pytest.mark.parametrize("seed", FEW)
def test_a_travelling_loop_goes_on_planted_in_its_second_and_fifth_round(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed).travelling()
    done = plant(walk.clip(), rig)
    for stance in walk.stances:
        for later in (1, 4):
            at = measure.instants(stance.first, stance.last) + later * walk.frames
            assert measure.slide(measure.foot_steps(done.clip, rig, FEET.index(stance.foot), at)) <= 1e-4


@pytest.mark.parametrize("seed", FEW)
def test_a_travelling_walk_that_is_no_loop_is_planted_on_still_ground(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed, loop=False).travelling()
    done = plant(walk.clip(belt=False), rig)
    assert done.belt.is_still
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 1)) <= 1e-4


# the belt of an authored cycle


@pytest.mark.parametrize("loop", [True, False], ids=["loop", "no loop"])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_belt_of_a_foot_that_rolls_about_its_ankle_is_estimated_within_half_a_percent(
    seed: int, loop: bool
) -> None:
    walk = random_walk(seed, loop=loop)
    found = plant(walk.clip(belt=False, stated=False), make_rig()).belt.velocity
    assert np.linalg.norm(found - walk.belt) <= 0.005 * np.linalg.norm(walk.belt)


@pytest.mark.parametrize("seed", SEEDS)
def test_contacts_are_found_where_they_were_authored_within_two_frames(seed: int) -> None:
    walk = random_walk(seed, roll_share=0.5)
    found = plant(walk.clip(stated=False), make_rig()).stances
    assert [s.foot for s in found] == list(FEET)
    for mine, true in zip(found, walk.stances, strict=True):
        for one, other in ((mine.first, true.first), (mine.last, true.last)):
            around = (one - other + walk.frames // 2) % walk.frames - walk.frames // 2
            assert abs(around) <= 2


# stances of every kind


def started_at(walk: Walk, row: int) -> Walk:
    """Return a loop in place that starts on another of its rows."""
    rows = (np.arange(walk.frames + 1) + row) % walk.frames
    stances = tuple(
        Stance(s.foot, (s.first - 1 - row) % walk.frames + 1, (s.first - 1 - row) % walk.frames + 1 + s.last - s.first)
        for s in walk.stances
    )
    return replace(walk, hips=walk.hips[rows], feet=walk.feet[:, rows], stances=stances)


@pytest.mark.parametrize("seed", FEW)
def test_where_a_loop_starts_makes_no_difference(seed: int) -> None:
    """Whether a stance lies over the seam or not, the same frames are planted in the same place."""
    rig, walk = make_rig(), random_walk(seed)
    plain = soles(plant(walk.clip(), rig).clip, rig)
    for row in (1, walk.frames // 3, walk.frames // 2, walk.frames - 2):
        other = soles(plant(started_at(walk, row).clip(), rig).clip, rig)
        assert most_apart(np.roll(plain, -row, axis=1), other) <= 1e-6


@pytest.mark.parametrize("seed", FEW)
def test_a_loop_and_the_middle_of_its_unrolled_walk_are_planted_alike(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed)
    long = unrolled(walk, 5)
    one, two = soles(plant(walk.clip(), rig).clip, rig), soles(plant(long.clip(), rig).clip, rig)
    assert most_apart(one, two[:, 2 * walk.frames : 3 * walk.frames]) <= SAME


def test_a_stance_that_lasts_all_the_loop_keeps_one_footprint() -> None:
    """An idle shift of weight on still ground: both feet wobble and never leave the floor."""
    rig, count = make_rig(), 48
    phase = 2.0 * np.pi * np.arange(count + 1) / count
    hips = np.zeros((count + 1, 6))
    hips[:, 0], hips[:, 1] = 0.04 * np.sin(phase), 0.86 + 0.01 * np.cos(2 * phase)
    feet = np.zeros((2, count + 1, 7))
    for foot, sign in enumerate((1.0, -1.0)):
        feet[foot, :, 0] = sign * 0.1 + 0.01 * np.sin(phase)
        feet[foot, :, 1] = -SOLE + 0.004 * np.sin(phase + foot)
        feet[foot, :, 2] = 0.006 * np.cos(phase)
    stances = tuple(Stance(side, 1, count) for side in FEET)
    walk = Walk(hips, feet, 24, np.zeros(3), stances)
    done = plant(walk.clip(), rig)
    for foot in range(2):
        steps = measure.foot_steps(done.clip, rig, foot, measure.instants(1, count + 1, 5))
        assert np.ptp(steps.points, axis=0).max() <= 1e-4
        assert measure.sink(steps) <= 1e-4
        assert measure.hover(steps) <= 1e-4


def test_a_foot_without_a_stance_is_left_in_the_air() -> None:
    """A hop on the left leg: the right foot never lands, and nothing about it changes."""
    rig, walk = make_rig(), random_walk(3)
    feet = walk.feet.copy()
    feet[1, :, 1] += 0.25
    feet[1, :, 3] = 0.0
    walk = replace(walk, feet=feet, stances=tuple(s for s in walk.stances if s.foot == "left"))
    clip = walk.clip()
    done = plant(clip, rig)
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 1)) <= 1e-4
    assert most_apart(soles(clip, rig)[1], soles(done.clip, rig)[1]) <= SAME
    assert not [name for name in done.changed if name.startswith("right")]


def test_a_jump_without_any_stance_changes_nothing() -> None:
    rig, walk = make_rig(), random_walk(4)
    lifted = walk.changed(lambda place: place + np.array([0.0, 0.3, 0.0]), Rotation.identity())
    clip = replace(lifted, stances=()).clip()
    done = plant(clip, rig)
    assert done.changed == ()
    assert all(done.clip.channels[name] is curve for name, curve in clip.channels.items())


def test_a_looping_foot_that_never_lands_is_kept_out_of_the_ground() -> None:
    rig, walk = make_rig(), random_walk(5)
    clip = replace(walk, stances=()).clip()
    done = plant(clip, rig)
    at = measure.instants(1, walk.frames)
    before, after = (
        max(measure.sink(measure.foot_steps(c, rig, foot, at)) for foot in range(2)) for c in (clip, done.clip)
    )
    assert before > 0.01
    assert after <= 1e-4


@pytest.mark.parametrize("seed", FEW)
def test_a_stance_that_is_left_alone_keeps_its_authored_slide(seed: int) -> None:
    rig, walk = make_rig(), random_walk(seed)
    alone = tuple(replace(s, left_alone=s.foot == "right") for s in walk.stances)
    clip = replace(walk, stances=alone).clip()
    done = plant(clip, rig)
    mine = next(s for s in alone if s.left_alone)
    rows = np.arange(mine.first, mine.last + 1, dtype=np.float64)
    one, two = (measure.foot_steps(c, rig, 1, rows).ankle[:, [0, 2]] for c in (clip, done.clip))
    assert np.abs(one - two).max() <= SAME


@pytest.mark.parametrize("locked", ["left_foot.x", "right_foot.bend", "left_foot.yaw"])
def test_a_locked_channel_stays_the_very_same_object(locked: str) -> None:
    rig, walk = make_rig(), random_walk(1)
    clip = walk.clip(locked=frozenset({locked}))
    done = plant(clip, rig)
    assert locked in plant(walk.clip(), rig).changed
    assert locked not in done.changed
    assert done.clip.channels[locked] is clip.channels[locked]


def test_channels_outside_the_rig_come_back_as_the_very_same_objects() -> None:
    rig, walk = make_rig(), random_walk(2)
    clip = walk.clip().with_channels({"tail.wag": Curve.constant(3.0)})
    assert plant(clip, rig).clip.channels["tail.wag"] is clip.channels["tail.wag"]


# a slope


@pytest.mark.parametrize("degrees", [-12.0, -4.0, 6.0, 12.0])
@pytest.mark.parametrize("heading", [0.0, 50.0])
def test_a_walk_on_a_slope_is_planted(degrees: float, heading: float) -> None:
    """The feet are authored for the slope, the body stays upright, the belt runs along the slope."""
    rig, walk = make_rig(), random_walk(6)
    tilt = Rotation.from_rotvec(
        np.radians(-degrees) * np.array([np.cos(np.radians(heading)), 0.0, -np.sin(np.radians(heading))])
    )
    ground = Plane.slope(angle=np.radians(degrees), heading=np.radians(heading))
    normal = tilt.apply([0.0, 1.0, 0.0])
    assert np.allclose(normal, ground.normal_at_point, atol=1e-12)
    feet = walk.changed(tilt.apply, tilt, tilt.apply(walk.belt))
    other = replace(feet, hips=walk.hips - [0.0, 0.04, 0.0, 0.0, 0.0, 0.0])
    clip = other.clip()
    plane = ((0.0, 0.0, 0.0), tuple(normal))
    done = plant(clip, rig, ground=ground)
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, other, 1, plane=plane)) <= 1e-4
    assert max(measure.hover(s) for s in stance_steps(done.clip, rig, other, 1, plane=plane)) <= 1e-4
    at = measure.instants(1, walk.frames)
    for foot in range(2):
        steps = measure.foot_steps(done.clip, rig, foot, at, belt=other.belt, plane=plane)
        assert measure.sink(steps) <= 1e-4


# a belt that is stated wins


def test_a_belt_given_to_plant_wins_over_the_clips_own() -> None:
    rig, walk = make_rig(), random_walk(7)
    wrong = replace(walk, belt=walk.belt * 1.2).clip()
    one, two = plant(walk.clip(), rig), plant(wrong, rig, belt=Belt(walk.belt))
    assert most_apart(soles(one.clip, rig), soles(two.clip, rig)) == 0.0
