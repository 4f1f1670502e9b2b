"""The lamplighter: an authored walk in place with every fault of the trade, planted.

Slide and sink are measured by `tests/measure.py` too, which shares no code with the solver.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from surefoot import Clip, Curve, Outside, Planted, Report, Rig, Shape, Stance, check, demo, plant
from tests import measure

FEET = ("left", "right")
BELT = (0.0, 0.0, -1.35)
TIMES = 10


@cache
def lamplighter() -> tuple[Clip, Rig, Planted]:
    clip, rig = demo("lamplighter")
    return clip, rig, plant(clip, rig)


@cache
def reports() -> tuple[Report, Report]:
    clip, rig, done = lamplighter()
    return check(clip, rig, stances=done.stances), check(done.clip, rig)


def written_out(clip: Clip, times: int, *, loop: bool) -> Clip:
    """Return the cycle written out so many times, every key with the slopes it has in the cycle.

    Without a loop one round more stands before and after, so that channels whose keys start late are whole.
    """
    length, channels = clip.frames, {}
    rounds = range(times) if loop else range(-1, times + 1)
    for name, curve in clip.channels.items():
        into, out = measure.slopes(curve)
        assert curve.frames[-1] - curve.frames[0] == length
        frames = np.concatenate([curve.frames[:-1] + k * length for k in rounds])
        values, slope_in, slope_out = (np.tile(v[:-1], len(rounds)) for v in (curve.values, into, out))
        outside = curve.after if loop else Outside.HOLD
        channels[name] = Curve.given(
            np.append(frames, frames[0] + len(rounds) * length), np.append(values, curve.values[-1]),
            np.append(slope_in, into[-1]), np.append(slope_out, out[-1]), before=outside, after=outside,
        )  # fmt: skip
    return replace(clip, channels=channels, last=clip.first + times * length - 1, loop=loop)


@pytest.mark.parametrize("loop", [True, False])
def test_the_cycle_written_out_is_the_same_motion(loop: bool) -> None:
    clip, rig, _ = lamplighter()
    long = written_out(clip, TIMES, loop=loop)
    frames = measure.instants(clip.first, clip.last, 5)
    for foot in range(2):
        one = measure.foot_steps(clip, rig, foot, frames).points
        for k in (0, 4, 9):
            other = measure.foot_steps(long, rig, foot, frames + k * clip.frames).points
            assert np.abs(one - other).max() < 1e-12


@pytest.mark.parametrize("kind", ["slide", "sink", "hover", "stretch"])
def test_the_authored_cycle_has_each_fault_beyond_tolerance(kind: str) -> None:
    found = reports()[0].most(kind)
    assert found is not None
    assert found.level in ("warning", "error")


def test_the_authored_cycle_is_as_faulty_as_the_independent_measure_says() -> None:
    clip, rig, done = lamplighter()
    slid, sunk, hovered = [], [], []
    for stance in done.stances:
        steps = measure.foot_steps(
            clip, rig, FEET.index(stance.foot), measure.instants(stance.first, stance.last), belt=BELT
        )
        slid.append(measure.slide(steps))
        sunk.append(measure.sink(steps))
        hovered.append(measure.hover(steps))
    assert min(slid) > 0.005
    assert max(sunk) > 0.002
    assert max(hovered) > 0.005


def test_the_planted_cycle_has_nothing_beyond_a_note() -> None:
    beyond = [f for f in reports()[1].findings if f.level != "note"]
    assert beyond == []


def test_planted_feet_neither_slide_nor_sink_by_more_than_a_tenth_of_a_millimetre_at_frames() -> None:
    clip, rig, done = lamplighter()
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames, belt=BELT)
        assert measure.slide(steps) <= 1e-4, stance
        assert measure.hover(steps) <= 1e-4, stance
    for foot in range(2):
        frames = measure.instants(clip.first, clip.last)
        assert measure.sink(measure.foot_steps(done.clip, rig, foot, frames, belt=BELT)) <= 1e-4


def test_planted_feet_slide_by_a_millimetre_at_most_between_frames() -> None:
    _, rig, done = lamplighter()
    for stance in done.stances:
        fine = measure.instants(stance.first, stance.last, 5)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), fine, belt=BELT)
        assert measure.slide(steps) <= 1e-3, stance
        assert measure.sink(steps) <= 1e-3, stance


def test_all_but_the_feet_come_back_as_the_very_same_objects() -> None:
    clip, _, done = lamplighter()
    for name, curve in clip.channels.items():
        if "foot" not in name:
            assert done.clip.channels[name] is curve
    assert set(done.changed) <= {name for name in clip.channels if "foot" in name}


def test_frame_25_is_frame_1_in_value_and_slope_on_every_channel() -> None:
    clip, _, done = lamplighter()
    assert len(done.clip.channels) == len(clip.channels)
    for name, curve in done.clip.channels.items():
        into, out = measure.slopes(curve)
        assert curve.frames[-1] - curve.frames[0] == clip.frames, name
        assert curve.values[-1] == curve.values[0], name
        assert into[-1] == into[0], name
        assert out[-1] == out[0], name


def test_the_loop_is_closed_and_its_stances_keep_one_footprint_a_round() -> None:
    clip, _, done = lamplighter()
    assert done.clip.loop
    assert (done.clip.first, done.clip.last) == (clip.first, clip.last)
    assert reports()[1].most("seam") is None


@pytest.mark.parametrize("loop", [True, False], ids=["a loop of 240", "240 frames"])
def test_the_cycle_written_out_ten_times_is_planted_as_the_cycle_is(loop: bool) -> None:
    clip, rig, done = lamplighter()
    long = written_out(clip, TIMES, loop=loop)
    again = plant(long, rig)
    inner = range(3, 7)
    for foot in range(2):
        frames = measure.instants(clip.first, clip.last)
        short = measure.foot_steps(done.clip, rig, foot, frames)
        for k in inner:
            other = measure.foot_steps(again.clip, rig, foot, frames + k * clip.frames)
            apart = np.abs(other.points - short.points)
            assert apart.max() <= 1e-4, (k, foot, int(frames[apart.max(axis=(1, 2)).argmax()]))


def test_the_written_out_cycle_has_the_same_stances() -> None:
    clip, rig, done = lamplighter()
    again = plant(written_out(clip, TIMES, loop=True), rig)
    for foot in FEET:
        short = {(s.first - 1) % clip.frames: s.last - s.first for s in done.stances if s.foot == foot}
        long = [s for s in again.stances if s.foot == foot]
        assert len(long) == TIMES * len(short)
        assert all(short.get((s.first - 1) % clip.frames) == s.last - s.first for s in long)


def test_stating_what_was_found_changes_nothing() -> None:
    clip, rig, done = lamplighter()
    again = plant(clip.with_stances([Stance(s.foot, s.first, s.last) for s in done.stances]), rig)
    for name in done.changed:
        assert np.array_equal(again.clip.channels[name].values, done.clip.channels[name].values)


def test_every_new_key_sits_on_a_whole_frame_with_slopes_of_its_own() -> None:
    _, _, done = lamplighter()
    for name in done.changed:
        curve = done.clip.channels[name]
        assert np.array_equal(curve.frames, np.round(curve.frames))
        assert set(curve.shapes.tolist()) == {int(Shape.GIVEN)}
