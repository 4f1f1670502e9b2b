"""A real walk on a treadmill: events, belt, and feet that hold, against its own labels and its known belt.

The capture and its labelled strikes and offs: gaitalytics 0.2.2 (MIT), see `tests/data/PROVENANCE.md`. The
belt ran at 1.10 m/s, which the capture's file doesn't say: the still sole in mid-stance does (1.100 left,
1.095 right). Slide is measured by `tests/measure.py`, which shares no code with the solver.
"""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from demos.make_treadmill import SPEED, capture, rig_text
from numpy.typing import NDArray

from surefoot import Belt, Clip, Planted, Rig, Stance, gait_of, plant
from surefoot.capture import Calibration, Capture, calibrate, capture_clip, fit_rig
from surefoot.rig_file import parse_rig
from tests import measure
from tests.data.treadmill import treadmill
from tests.outside.table import agrees, alike, within

Array = NDArray[np.float64]
FEET = ("left", "right")
BELT = (0.0, 0.0, -SPEED)
ERODED = 4
"""Frames taken off both ends of a labelled stance: labels and contact differ by up to that."""


@cache
def walk() -> tuple[Capture, Calibration, Rig, Clip]:
    whole = capture()
    flat = calibrate(whole)
    rig = parse_rig(rig_text(fit_rig(whole, name="treadmill", calibration=flat)))
    return whole, flat, rig, capture_clip(whole, rig, calibration=flat)


@cache
def planted() -> Planted:
    _, _, rig, clip = walk()
    return plant(clip, rig, belt=Belt(np.array(BELT)))


@cache
def steps_of(which: str, foot: int) -> measure.Steps:
    _, _, rig, clip = walk()
    shown = clip if which == "captured" else planted().clip
    return measure.foot_steps(shown, rig, foot, measure.instants(clip.first, clip.last), belt=BELT)


def part(steps: measure.Steps, first: int, last: int) -> measure.Steps:
    rows = slice(first - int(steps.at[0]), last - int(steps.at[0]) + 1)
    kept = {f.name: getattr(steps, f.name)[rows] for f in fields(steps) if f.name != "normal"}
    return measure.Steps(**kept, normal=steps.normal)


def labelled(foot: int) -> list[tuple[int, int]]:
    """Return first and last frame of each labelled stance that has both its strike and its off."""
    found = treadmill()
    strikes = (found.strikes_left, found.strikes_right)[foot] + 1
    offs = (found.offs_left, found.offs_right)[foot] + 1
    return [(int(s), int(offs[offs > s].min())) for s in strikes if (offs > s).any()]


def events(stances: tuple[Stance, ...], foot: int) -> tuple[Array, Array]:
    mine = [s for s in stances if s.foot == FEET[foot]]
    return np.array([s.first for s in mine], float), np.array([s.last for s in mine], float)


def miss(found: Array, wanted: Array) -> Array:
    """Return how far the nearest found event is from each wanted one."""
    return np.asarray(np.abs(found[None] - wanted[:, None]).min(axis=1))


def labels(foot: int) -> tuple[Array, Array]:
    found = treadmill()
    strikes = (found.strikes_left, found.strikes_right)[foot]
    offs = (found.offs_left, found.offs_right)[foot]
    return strikes.astype(float), offs.astype(float)


def stance_parts(kind: str, which: str) -> list[tuple[int, measure.Steps]]:
    parts = []
    for foot in range(2):
        if kind == "found":
            spans = [(s.first, s.last) for s in planted().stances if s.foot == FEET[foot]]
        else:
            spans = [(a + ERODED, b - ERODED) for a, b in labelled(foot)]
        parts += [(foot, part(steps_of(which, foot), *span)) for span in spans]
    return parts


def test_the_belt_is_estimated_within_two_centimetres_a_second() -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    _, _, rig, clip = walk()
    belt = plant(clip, rig).belt
    agrees("speed of the belt, m/s", belt.velocity[2], -1.10, bound=0.02)
    agrees("speed of the belt to the side, m/s", belt.velocity[0], 0.0, bound=0.02)
    assert belt.turn == 0.0


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_nine_of_ten_labelled_strikes_are_found_within_four_frames_and_offs_within_six(foot: int) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    strikes, offs = labels(foot)
    first, last = events(planted().stances, foot)
    within("share of strikes found within 4 frames", (miss(first - 1, strikes) <= 4).mean(), 0.9, 1.0)
    within("share of offs found within 6 frames", (miss(last - 1, offs) <= 6).mean(), 0.9, 1.0)


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_no_stance_is_found_that_the_labels_dont_have(foot: int) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    strikes, offs = labels(foot)
    first, last = events(planted().stances, foot)
    far = (miss(strikes, first - 1) > 6) & (miss(offs, last - 1) > 6)
    extra = far & (last - first > 0.1 * treadmill().rate)
    alike("stances that the labels don't have", int(extra.sum()), 0)


@pytest.mark.parametrize("kind", ["found", "labelled"])
def test_planted_anchors_slide_at_most_a_tenth_of_a_millimetre_at_frames(kind: str) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    before = [measure.slide(steps) for _, steps in stance_parts(kind, "captured")]
    after = [measure.slide(steps) for _, steps in stance_parts(kind, "planted")]
    assert np.median(before) > 0.010  # the capture's own: some two centimetres
    agrees(f"slide of a {kind} stance when planted, m", max(after), 0.0, bound=1e-4)


def test_each_pivot_stays_at_its_first_place_while_the_sole_is_level_and_keeps_its_heading() -> None:
    """Heel edge below zero pitch, ball up to the onset, toe edge beyond: against its own first place.

    Source: captured treadmill walk of gaitalytics 0.2.2 (verified).
    """
    _, _, rig, _ = walk()
    most, seen = 0.0, 0
    for foot, steps in stance_parts("found", "planted"):
        for pivot, rows in measure.spells(steps, onset=rig.legs[foot].foot.onset):
            for spell in np.split(rows, np.flatnonzero(np.abs(np.diff(steps.yaw[rows])) > 1e-5) + 1):
                place = steps.centre[spell, pivot][:, [0, 2]]
                most = max(most, float(np.hypot(*(place - place[0]).T).max()))
                seen += len(spell) > 1
    assert seen > 20
    agrees("a pivot from its first place, m", most, 0.0, bound=1e-4)


def test_a_pivot_edge_that_turns_and_cants_keeps_its_middle_within_a_millimetre() -> None:
    """The foot turns about a corner then, so that the edge's middle may move; no farther than the geometry asks.

    Source: captured treadmill walk of gaitalytics 0.2.2 (verified).
    """
    _, _, rig, _ = walk()
    for foot, steps in stance_parts("found", "planted"):
        slid = measure.anchor_slide(steps, onset=rig.legs[foot].foot.onset)
        agrees("middle of a canted pivot edge from its first place, m", slid, 0.0, bound=1e-3)


def test_anchors_slide_at_most_a_millimetre_between_frames() -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    _, _, rig, _ = walk()
    for stance in planted().stances:
        fine = measure.instants(stance.first, stance.last, 5)
        steps = measure.foot_steps(planted().clip, rig, FEET.index(stance.foot), fine, belt=BELT)
        agrees("slide between frames, m", measure.slide(steps), 0.0, bound=1e-3)


def test_few_keys_hold_the_whole_capture_with_a_quarter_of_its_keys() -> None:
    """The same tolerances as with a key on every frame; at most 35 % of the frames were asked for.

    Source: captured treadmill walk of gaitalytics 0.2.2 (verified).
    """
    _, _, rig, clip = walk()
    few = plant(clip, rig, belt=Belt(np.array(BELT)), keys="few")
    assert all(count.before == clip.frames for count in few.keys)
    share = sum(count.after for count in few.keys) / (clip.frames * len(few.keys))
    within("few keys, share of the capture's", share, 0.0, 0.25)
    for stance in few.stances:
        for per_frame, bound in ((1, 1e-4), (5, 1e-3)):
            at = measure.instants(stance.first, stance.last, per_frame)
            steps = measure.foot_steps(few.clip, rig, FEET.index(stance.foot), at, belt=BELT)
            where = "at frames" if per_frame == 1 else "between frames"
            agrees(f"slide by few keys {where}, m", measure.slide(steps), 0.0, bound=bound)
            agrees(f"depth by few keys {where}, m", max(measure.sink(steps), 0.0), 0.0, bound=bound)


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_no_sole_sinks_by_more_than_a_tenth_of_a_millimetre_at_any_frame(foot: int) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    assert measure.sink(steps_of("captured", foot)) > 0.010
    agrees("depth of a planted sole, m", max(measure.sink(steps_of("planted", foot)), 0.0), 0.0, bound=1e-4)


def test_the_hips_come_back_as_the_very_same_objects() -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    _, _, _, clip = walk()
    hips = [name for name in clip.channels if name.startswith("hips.")]
    assert len(hips) == 6
    changed = [name for name in hips if planted().clip.channels[name] is not clip.channels[name]]
    alike("hip channels that are no longer the captured ones", changed, [])


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_the_ankles_move_by_fifteen_millimetres_at_most_on_average(foot: int) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    change = steps_of("planted", foot).ankle - steps_of("captured", foot).ankle
    size = np.linalg.norm(change, axis=1)
    agrees("ankles from the captured ones, root of the mean square, m", np.sqrt((size**2).mean()), 0.0, bound=0.015)
    agrees("ankles from the captured ones, at most, m", size, 0.0, bound=0.045)


def resampled(whole: Capture, rate: float) -> Capture:
    """Return the capture at another rate, its points drawn straight from sample to sample."""
    at = np.arange(0.0, (whole.frames - 1) / whole.rate + 1e-9, 1.0 / rate) * whole.rate
    low = np.minimum(at.astype(int), whole.frames - 2)

    def between(values: Array) -> Array:
        part = (at - low).reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(values[low] * (1.0 - part) + values[low + 1] * part)

    assert whole.hips is not None
    assert whole.hips_rotation is not None
    assert whole.ball_inner is not None
    assert whole.ball_outer is not None
    left, _, right = np.linalg.svd(between(whole.hips_rotation))
    return Capture(
        between(whole.points), rate, between(whole.hips), left @ right,
        between(whole.ball_inner), between(whole.ball_outer),
    )  # fmt: skip


@pytest.mark.parametrize("rate", [24.0, 30.0])
def test_the_capture_at_an_animators_rate_keeps_its_events_within_a_frame_and_its_feet_still(
    rate: float,
) -> None:
    """Source: captured treadmill walk of gaitalytics 0.2.2 (verified)."""
    whole, flat, rig, _ = walk()
    clip = capture_clip(resampled(whole, rate), rig, calibration=flat)
    done = plant(clip, rig, belt=Belt(np.array(BELT)))
    for foot in range(2):
        first, last = events(done.stances, foot)
        fine_first, fine_last = events(planted().stances, foot)
        assert len(first) == len(fine_first)
        share = rate / whole.rate
        for found, wanted in zip((first, last), labels(foot), strict=True):
            agrees(
                f"events from their labels at {rate:g} a second, frames",
                miss(found - 1, wanted * share),
                0.0,
                bound=1.0,
            )
        assert np.abs((first - 1) - (fine_first - 1) * share).max() <= 1.0
        assert np.abs((last - 1) - (fine_last - 1) * share).max() <= 1.0
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames, belt=BELT)
        agrees(f"slide at {rate:g} frames a second, m", measure.slide(steps), 0.0, bound=1e-4)
        agrees(f"depth at {rate:g} frames a second, m", max(measure.sink(steps), 0.0), 0.0, bound=1e-4)


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_the_share_of_stance_is_that_between_the_labelled_strikes_and_offs(foot: int) -> None:
    """From strike to off over strike to next strike, the mean of the labelled strides; a frame at each end is let.

    Source: captured treadmill walk of gaitalytics 0.2.2 (verified).
    """
    _, _, rig, _ = walk()
    done = planted()
    spans = labelled(foot)
    share = np.mean([(off - on) / (after - on) for (on, off), (after, _) in pairwise(spans)])
    stride = np.mean([after - on for (on, _), (after, _) in pairwise(spans)])
    gait = gait_of(done.clip, rig, belt=Belt(np.array(BELT)), stances=done.stances)
    agrees("share of stance", gait.duty[foot], share, bound=2.0 / stride)
