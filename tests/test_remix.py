"""Remix: scaling, adding and shifting act on keys; what isn't named stays; a round trip gives the clip back."""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest

from surefoot import Clip, Curve, Edit, InputError, Outside, Shape, UnknownName, check, demo, mix, plant, remix, replant
from surefoot.curves import Pack
from surefoot.edit_text import read_edit
from tests import measure

FINE = np.linspace(1.0, 25.0, 241)
HIPS = ("hips.x", "hips.y", "hips.z", "hips.pitch", "hips.yaw", "hips.roll")


def at(clip: Clip, name: str, frames: np.ndarray = FINE) -> np.ndarray:
    return Pack.from_curves([clip.channels[name]]).evaluate(frames)[0]


def test_a_family_scaled_about_its_mean_there_and_back_gives_the_hips_back() -> None:
    clip, rig = demo("lamplighter")
    calmer = remix(clip, rig, [Edit("scale", "hips", 0.7)])
    back = remix(calmer, rig, [Edit("scale", "hips", 1.0 / 0.7)])
    for name in HIPS:
        assert calmer.channels[name] is not clip.channels[name]
        assert np.abs(at(back, name) - at(clip, name)).max() < 1e-9
        assert np.array_equal(back.channels[name].shapes, clip.channels[name].shapes)


@pytest.mark.parametrize("about", ["mean", "rest", 10])
def test_a_scale_leaves_what_it_is_about(about: str | int) -> None:
    clip, rig = demo("lamplighter")
    made = remix(clip, rig, [Edit("scale", "hips.y", 0.5, about=about)])  # type: ignore[arg-type]
    old = at(clip, "hips.y", np.arange(1.0, 25.0))
    pivot = {"mean": float(old.mean()), "rest": 0.0}[about] if isinstance(about, str) else float(old[9])
    assert np.abs(at(made, "hips.y") - (pivot + 0.5 * (at(clip, "hips.y") - pivot))).max() < 1e-12


def test_rest_is_the_rigs_zero_of_the_channel() -> None:
    clip, rig = demo("lamplighter")
    hips = rig.controls["hips"]
    axes = {**hips.axes, "y": replace(hips.axes["y"], zero=90.0)}
    rig = replace(rig, controls={**rig.controls, "hips": replace(hips, axes=axes)})
    made = remix(clip, rig, [Edit("scale", "hips.y", 0.0, about="rest")])
    assert np.all(at(made, "hips.y") == 90.0)


def test_all_but_the_named_channels_come_back_as_the_very_same_objects() -> None:
    clip, rig = demo("lamplighter")
    made = remix(clip, rig, [Edit("scale", "hips.y", 0.7), Edit("shift", "chest", 2.0)])
    changed = {name for name in clip.channels if made.channels[name] is not clip.channels[name]}
    assert changed == {"hips.y", "chest.yaw", "chest.roll"}


@pytest.mark.parametrize("by", [2, -3, 5, 24, 0.5])
def test_a_shift_wraps_and_keeps_every_key_a_key(by: float) -> None:
    clip, rig = demo("lamplighter")
    made = remix(clip, rig, [Edit("shift", "*", by)])
    for name, curve in made.channels.items():
        old = clip.channels[name]
        assert np.abs(at(made, name) - at(clip, name, FINE - by)).max() < 1e-12, name
        assert len(curve.frames) == len(old.frames)
        assert 1.0 <= curve.frames[0] < 25.0
        assert curve.frames[-1] - curve.frames[0] == 24.0


def test_a_shift_there_and_back_is_exact() -> None:
    clip, rig = demo("lamplighter")
    back = remix(clip, rig, [Edit("shift", "*", 7.0), Edit("shift", "*", -7.0)])
    for name in clip.channels:
        assert np.abs(at(back, name) - at(clip, name)).max() < 1e-12


def test_bezier_handles_scale_and_shift_with_their_keys() -> None:
    clip, rig = demo("lamplighter")
    handles = np.array([[-2.0, 0.3, 4.0, -1.0], [-1.0, 0.5, 3.0, 0.4], [-5.0, 1.0, 2.0, -0.2]])
    curve = Curve(np.array([1.0, 9.0, 25.0]), np.array([90.0, 92.0, 90.0]), np.full(3, Shape.BEZIER),
                  np.zeros(3), np.zeros(3), handles, Outside.REPEAT, Outside.REPEAT)  # fmt: skip
    clip = clip.with_channels({"hips.y": curve})
    made = remix(clip, rig, [Edit("scale", "hips.y", 0.5, about=9)])
    assert np.array_equal(made.channels["hips.y"].handles, handles * [1.0, 0.5, 1.0, 0.5])
    assert np.abs(at(made, "hips.y") - (92.0 + 0.5 * (at(clip, "hips.y") - 92.0))).max() < 1e-12
    late = remix(clip, rig, [Edit("shift", "hips.y", 3.0)])
    assert set(late.channels["hips.y"].shapes.tolist()) == {int(Shape.BEZIER)}
    assert np.abs(at(late, "hips.y") - at(clip, "hips.y", FINE - 3.0)).max() < 1e-12


def test_an_amount_is_added_in_the_channels_own_unit_or_in_a_stated_one() -> None:
    clip, rig = demo("lamplighter")
    plain = remix(clip, rig, [Edit("add", "hips.y", -1.5)])
    stated = remix(clip, rig, [Edit("add", "hips.y", -15.0, unit="mm")])
    assert np.abs(at(plain, "hips.y") - (at(clip, "hips.y") - 1.5)).max() < 1e-12
    assert np.abs(at(stated, "hips.y") - at(plain, "hips.y")).max() < 1e-12
    with pytest.raises(InputError, match="the rig doesn't know its unit"):
        remix(clip, rig, [Edit("add", "chest.yaw", 1.0, unit="deg")])


def test_a_channel_that_travels_keeps_its_travel_when_it_is_scaled() -> None:
    clip, rig = demo("lamplighter")
    bob = clip.channels["hips.z"]
    travelling = Curve.given(
        bob.frames, bob.values + 5.0 * (bob.frames - 1.0), np.full(7, 5.0), np.full(7, 5.0),
        before=Outside.ADVANCE, after=Outside.ADVANCE,
    )  # fmt: skip
    made = remix(clip.with_channels({"hips.z": travelling}), rig, [Edit("scale", "hips", 0.0)])
    ramp = at(made, "hips.z") - 5.0 * (FINE - 1.0)
    assert np.ptp(ramp) < 1e-9
    assert made.channels["hips.z"].values[-1] - made.channels["hips.z"].values[0] == pytest.approx(120.0)


def test_an_unknown_family_a_locked_channel_and_an_open_loop_are_told() -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(UnknownName, match=r"did you mean 'chest'\?"):
        remix(clip, rig, [Edit("scale", "chst", 0.5)])
    with pytest.raises(InputError, match=r"scale hips: hips\.x is locked"):
        remix(replace(clip, locked=frozenset({"hips.x"})), rig, [Edit("scale", "hips", 0.5)])
    broken = clip.with_channels({"hips.y": Curve.through([1, 12, 25], [90.0, 92.0, 91.0])})
    with pytest.raises(InputError, match="doesn't close over the loop"):
        remix(broken, rig, [Edit("shift", "hips.y", 2.0)])
    with pytest.raises(InputError, match="wanted scale, add or shift"):
        Edit("turn", "hips", 1.0)  # type: ignore[arg-type]


def test_a_mix_of_a_clip_and_its_scaled_self_is_the_clip_scaled_between() -> None:
    clip, rig = demo("lamplighter")
    half = remix(clip, rig, [Edit("scale", "hips", 0.5)])
    made = mix([(clip, 3.0), (half, 1.0)])
    wanted = remix(clip, rig, [Edit("scale", "hips", 0.875)])
    for name in clip.channels:
        assert np.abs(at(made, name) - at(wanted, name)).max() < 1e-12
        assert np.array_equal(made.channels[name].shapes, clip.channels[name].shapes)
    assert made.channels["chest.yaw"] is clip.channels["chest.yaw"]


def test_a_mix_of_unlike_keys_is_the_mean_at_every_instant() -> None:
    clip, rig = demo("lamplighter")
    late = remix(clip, rig, [Edit("shift", "*", 3.0)])
    made = mix([(clip, 0.3), (late, 0.7)])
    for name in clip.channels:
        wanted = 0.3 * at(clip, name) + 0.7 * at(late, name)
        assert np.abs(at(made, name) - wanted).max() < 1e-10, name
        assert np.abs(at(made, name, FINE + 24.0) - wanted).max() < 1e-10, name


def test_clips_of_different_ranges_are_not_mixed() -> None:
    clip, _ = demo("lamplighter")
    with pytest.raises(InputError, match="frames 1 to 20 at 24 a second don't go with 1 to 24"):
        mix([(clip, 1.0), (replace(clip, last=20), 1.0)])
    with pytest.raises(InputError, match="a weight must be above 0"):
        mix([(clip, 0.0)])


def test_a_foot_shifted_whole_takes_its_stated_stances_along() -> None:
    clip, rig = demo("lamplighter")
    stated = clip.with_stances(plant(clip, rig).stances)
    moved = remix(stated, rig, [Edit("shift", "left_foot", -2.0)]).stances
    assert moved is not None
    assert [(s.foot, s.first, s.last) for s in moved] == [("left", 23, 37), ("right", 13, 27)]
    assert remix(stated, rig, [Edit("shift", "left_foot.z", 1.0)]).stances is None


@pytest.mark.parametrize("factor", [0.0, 0.5, 0.7, 1.5])
def test_hips_scaled_about_their_mean_are_exactly_as_asked_and_planted_again(factor: float) -> None:
    """Where the leg can't reach, `stretch` is told, with a lowering of the hips among its proposals."""
    from surefoot import propose

    clip, rig = demo("lamplighter")
    edited = remix(clip, rig, [Edit("scale", "hips", factor)])
    done = replant(clip, edited, rig)
    for name in HIPS:
        assert done.clip.channels[name] is edited.channels[name]
        mean = at(clip, name, np.arange(1.0, 25.0)).mean()
        assert np.abs(at(edited, name) - (mean + factor * (at(clip, name) - mean))).max() < 1e-12
    report = check(done.clip, rig)
    beyond = [f for f in report.findings if f.level != "note"]
    assert {f.kind for f in beyond} <= {"stretch", "snap"}
    stretched = [f for f in beyond if f.kind == "stretch"]
    if stretched:
        ways = propose(done.clip, rig, report=report)
        for finding in stretched:
            assert any(way.finding is finding and way.asks == "hips.y" for way in ways)
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(done.clip, rig, ("left", "right").index(stance.foot), frames, belt=(0.0, 0.0, -1.35))
        assert measure.slide(steps) <= 1e-4


@pytest.mark.long
@pytest.mark.parametrize("factor", [0.0, 0.5, 0.7, 1.5])
def test_solving_after_a_hip_edit_takes_less_than_five_milliseconds(factor: float) -> None:
    """The best of many, and not among the everyday tests: on a busy machine a clock tells of the others' work."""
    clip, rig = demo("lamplighter")
    edited = remix(clip, rig, [Edit("scale", "hips", factor)])
    best = np.inf
    for _ in range(300):
        start = perf_counter()
        plant(edited, rig, before=clip)
        best = min(best, perf_counter() - start)
    assert best < 0.005


@pytest.mark.parametrize("edit", [Edit("scale", "hips", 0.7), Edit("shift", "chest", 2.0), Edit("add", "hips.y", -0.5),
                                  Edit("shift", "left_foot", 1.0), Edit("shift", "*", 5.0)])  # fmt: skip
def test_frame_25_is_frame_1_after_every_edit(edit: Edit) -> None:
    clip, rig = demo("lamplighter")
    done = replant(clip, remix(clip, rig, [edit]), rig).clip
    for name in done.channels:
        one, two = at(done, name, np.array([1.0, 25.0]))
        assert abs(one - two) < 1e-9, name
    assert check(done, rig).most("seam") is None
    assert (done.first, done.last) == (1, 24)


@pytest.mark.parametrize(("channel", "unit", "wanted"), [("hips.y", "deg", "m, cm, mm, in, ft"),
                                                         ("hips.yaw", "mm", "rad, deg")])  # fmt: skip
def test_a_length_is_not_added_to_a_turn_nor_an_angle_to_a_place(channel: str, unit: str, wanted: str) -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(InputError, match=f"{channel}: wanted an amount in {wanted}, got one in {unit}"):
        remix(clip, rig, [Edit("add", channel, 2.0, unit=unit)])


@pytest.mark.parametrize("text", ["hips.y=1e300", "hips.y=-1e7", "hips.y=1e999"])
def test_a_written_amount_beyond_a_million_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="at most 1,000,000"):
        read_edit("scale", text)
