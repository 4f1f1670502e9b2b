"""Travel: in place to travelling and back is exact; feet planted in place stay planted on the ground for ever."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
import pytest

from surefoot import (
    Axis,
    Belt,
    Clip,
    Control,
    Curve,
    InputError,
    Planted,
    Rig,
    Shape,
    at_speed,
    block,
    check,
    demo,
    gait_of,
    in_place,
    load_recipe,
    load_rig,
    plant,
    rooted,
    travelling,
)
from surefoot.curves import Pack
from surefoot.planting import scene_of
from tests import measure
from tests.walks import make_rig, random_walk

FEET = ("left", "right")


@cache
def planted() -> tuple[Clip, Rig, Planted]:
    clip, rig = demo("lamplighter")
    return clip, rig, plant(clip, rig)


def world(clip: Clip, rig: Rig, frames: np.ndarray) -> np.ndarray:
    """Return every sole point and the ankles in the world, sampled by code that isn't the solver's."""
    parts = [measure.foot_steps(clip, rooted(rig, clip), foot, frames) for foot in range(2)]
    return np.concatenate([np.concatenate([p.points, p.ankle[:, None]], axis=1) for p in parts], axis=1)


def test_travelling_and_back_gives_the_very_same_channels_and_the_belt_to_1e_12() -> None:
    clip, rig, done = planted()
    out = travelling(done.clip, rig)
    assert set(out.channels) - set(clip.channels) == {"root.z"}
    back = in_place(out, rig)
    assert list(back.channels) == list(done.clip.channels)
    assert all(back.channels[name] is curve for name, curve in done.clip.channels.items())
    assert back.belt is not None
    assert np.abs(back.belt.velocity - done.belt.velocity).max() < 1e-12
    # the rig by which the travelling clip is read does as well
    assert list(in_place(out, rooted(rig, out)).channels) == list(clip.channels)
    again = travelling(back, rooted(rig, out))
    frames = measure.instants(1, 24, 5)
    assert np.abs(world(again, rig, frames) - world(out, rig, frames)).max() < 1e-12


def test_a_travelling_clip_is_the_one_in_place_less_the_belts_motion() -> None:
    _, rig, done = planted()
    out = travelling(done.clip, rig)
    frames = measure.instants(1, 24, 5)
    ride = np.outer((frames - 1.0) / 24.0, done.belt.velocity)[:, None]
    assert np.abs(world(out, rig, frames) - (world(done.clip, rig, frames) - ride)).max() < 1e-12


def test_walking_fifty_loops_on_the_ground_shows_no_accumulated_slide() -> None:
    """Every footprint of the fiftieth round is the first one's, fifty travels on, and stands as still."""
    _, rig, done = planted()
    out = travelling(done.clip, rig)
    stride = 1.35
    slides = []
    for stance in done.stances:
        foot, frames = FEET.index(stance.foot), measure.instants(stance.first, stance.last)
        first = measure.foot_steps(out, rooted(rig, out), foot, frames)
        slides.append(measure.slide(first))
        for lap in range(1, 50):
            later = measure.foot_steps(out, rooted(rig, out), foot, frames + 24.0 * lap)
            assert np.abs(later.points - [0.0, 0.0, lap * stride] - first.points).max() < 1e-9
            assert abs(measure.slide(later) - slides[-1]) < 1e-9
    assert max(slides) < 1e-4


def test_a_travelling_clip_checks_as_the_one_in_place_does() -> None:
    _, rig, done = planted()
    out = travelling(done.clip, rig)
    one, two = check(done.clip, rig), check(out, rooted(rig, out))
    assert [(f.kind, f.foot, f.first, f.last) for f in one.findings] == [
        (f.kind, f.foot, f.first, f.last) for f in two.findings
    ]
    for a, b in zip(one.findings, two.findings, strict=True):
        assert b.amount == pytest.approx(a.amount, abs=1e-9)


def test_the_first_frame_again_comes_after_the_last_up_to_the_travel() -> None:
    _, rig, done = planted()
    out = travelling(done.clip, rig)
    assert (out.first, out.last) == (1, 24)
    start, end = (world(out, rig, np.array([frame])) for frame in (1.0, 25.0))
    assert np.abs(end - start - [0.0, 0.0, 1.35]).max() < 1e-12
    assert check(out, rooted(rig, out)).most("seam") is None


@pytest.mark.parametrize("turn", [0.4, -0.9])
def test_a_cycle_that_turns_travels_along_an_arc_and_back(turn: float) -> None:
    _, rig, done = planted()
    belt = Belt(np.array([0.1, 0.0, -1.2]), turn)
    out = travelling(replace(done.clip, belt=belt), rig)
    assert {name for name in out.channels if name.startswith("root")} == {"root.x", "root.z", "root.yaw"}
    back = in_place(out, rig)
    assert back.belt is not None
    assert np.abs(back.belt.velocity - belt.velocity).max() < 1e-12
    assert back.belt.turn == pytest.approx(turn, abs=1e-12)
    assert all(back.channels[name] is curve for name, curve in done.clip.channels.items())

    scene = scene_of(out, rooted(rig, out))
    held = scene_of(replace(done.clip, belt=belt), rig)
    assert np.abs(scene.ankle - held.ankle).max() < 1e-12
    assert np.abs(scene.angles - held.angles).max() < 1e-12


def test_between_frames_an_arc_is_as_good_as_at_them() -> None:
    _, rig, done = planted()
    belt = Belt(np.array([0.1, 0.0, -1.2]), 0.5)
    out = travelling(replace(done.clip, belt=belt), rig)
    frames = measure.instants(1, 24, 5)
    time = (frames - 1.0) / 24.0
    wanted = belt.to_ground(np.zeros((3, len(time))), time)
    place = [Pack.from_curves([out.channels[f"root.{key}"]]).evaluate(frames)[0] * 0.01 for key in "xz"]
    assert np.abs(place - wanted[[0, 2]]).max() < 1e-8


@pytest.mark.parametrize("seed", range(3))
def test_any_walk_travels_and_comes_back(seed: int) -> None:
    walk, rig = random_walk(seed), make_rig()
    clip = walk.clip()
    out = travelling(clip, rig)
    mine = walk.travelling().clip()
    frames = np.arange(1.0, walk.frames + 1.0)
    assert np.abs(world(out, rig, frames) - world(mine, rig, frames)).max() < 1e-12
    parts = in_place(mine, rig)
    assert parts.belt is not None
    assert np.abs(parts.belt.velocity - walk.belt).max() < 1e-12
    assert np.abs(world(parts, rig, frames) - world(clip, rig, frames)).max() < 1e-12


def test_a_rigs_own_root_carries_the_travel_on_top_of_what_it_does() -> None:
    clip, rig, done = planted()
    root = Control("main", {"z": Axis("main.z", 0.01), "y": Axis("main.y", 0.01)})
    controls = {name: replace(control, parent="main") for name, control in rig.controls.items()}
    own = replace(rig, controls={"main": root, **controls})
    sway = clip.channels["hips.z"]
    carried = replace(done.clip, channels={**done.clip.channels, "main.z": sway, "main.y": Curve.constant(0.0)})
    out = travelling(carried, own)
    assert set(out.channels) == set(carried.channels)
    back = in_place(out, own)
    assert np.abs(back.channels["main.z"].values - sway.values).max() < 1e-12
    frames = np.arange(1.0, 25.0)
    assert np.abs(world(back, own, frames) - world(carried, own, frames)).max() < 1e-12


def test_a_root_that_sways_beside_its_travel_keeps_the_sway_in_place() -> None:
    """The travelling clip's root is edited: 3 cm to and fro on top of the straight line."""
    _, rig, done = planted()
    out = travelling(done.clip, rig)
    frames = np.arange(1.0, 26.0)
    sway = 3.0 * np.sin(2.0 * np.pi * (frames - 1.0) / 24.0)
    line = out.channels["root.z"]
    swayed = Curve.through(frames, line.at(frames) + sway, before=line.before, after=line.after)
    back = in_place(out.with_channels({"root.z": swayed}), rig)
    assert back.belt is not None
    assert done.clip.belt is not None
    np.testing.assert_allclose(back.belt.velocity, done.clip.belt.velocity, atol=1e-12)
    np.testing.assert_allclose(back.channels["root.z"].at(frames), sway, atol=1e-9)
    assert abs(back.channels["root.z"].values[0] - back.channels["root.z"].values[-1]) == 0.0


def test_a_clip_that_is_no_loop_travels_and_comes_back() -> None:
    clip, rig = demo("treadmill")
    out = travelling(clip, rig)
    back = in_place(out, rig)
    assert back.belt is not None
    assert clip.belt is not None
    assert np.abs(back.belt.velocity - clip.belt.velocity).max() < 1e-12
    assert all(back.channels[name] is curve for name, curve in clip.channels.items())


def test_what_cannot_travel_is_told() -> None:
    clip, rig, done = planted()
    out = travelling(done.clip, rig)
    with pytest.raises(InputError, match="stands still already"):
        travelling(out, rig)
    with pytest.raises(InputError, match="nothing in it travels"):
        in_place(clip, rig)
    with pytest.raises(InputError, match="its travel can't be told"):
        in_place(replace(clip, loop=False), rig)
    walk = random_walk(1)
    apart = walk.travelling().clip()
    still = walk.clip().channels["left_foot.z"]
    with pytest.raises(InputError, match="left_foot and hips travel apart"):
        in_place(apart.with_channels({"left_foot.z": still}), make_rig())
    slow = Curve.shaped([1, 30, 173], [0.0, 0.1, 3.0], shape=Shape.LINEAR)
    captured, walker = demo("treadmill")
    with pytest.raises(InputError, match="doesn't travel at one speed"):
        in_place(captured.with_channels({"root.z": slow}), walker)


@pytest.mark.parametrize("by", ["time", "stride"])
@pytest.mark.parametrize("speed", [1.1, 1.25, 1.5])
def test_a_loop_brought_to_a_speed_and_planted_walks_at_it(speed: float, by: str) -> None:
    clip, rig, _ = planted()
    made = at_speed(clip, rig, speed, by=by)  # type: ignore[arg-type]
    done = plant(made, rig, keys="few")
    gait = gait_of(done.clip, rig, stances=done.stances)
    assert gait.speed == pytest.approx(speed, abs=1e-9)
    frames = {1.1: 30, 1.25: 26, 1.5: 22}[speed] if by == "time" else 24
    assert made.frames == frames
    assert gait.stride == pytest.approx(speed * frames / 24.0, abs=1e-9)
    report = check(done.clip, rig)
    assert {f.kind for f in report.findings if f.level != "note"} <= {"stretch", "snap", "limit"}
    for name in done.clip.channels:
        one, two = Pack.from_curves([done.clip.channels[name]]).evaluate([1.0, float(frames + 1)])[0]
        assert abs(one - two) < 1e-9, name
    assert report.most("seam") is None


def test_retiming_there_and_back_is_exact_where_the_frames_come_out_whole() -> None:
    clip, rig, _ = planted()
    slow = at_speed(clip, rig, 0.9, by="time")
    back = at_speed(slow, rig, 1.35, by="time")
    assert (slow.frames, back.frames) == (36, 24)
    frames = np.linspace(1.0, 25.0, 97)
    for name, curve in clip.channels.items():
        one, two = Pack.from_curves([curve, back.channels[name]]).evaluate(frames)
        assert np.abs(one - two).max() < 1e-9, name
    assert slow.rate == Fraction(24)


def test_on_stairs_the_strides_stay_and_the_time_gives_way() -> None:
    rig = load_rig("lamplighter")
    made = block(load_recipe("climb"), rig)
    speed = gait_of(made.clip, rig, ground=made.ground).speed
    slow = at_speed(made.clip, rig, 0.8 * speed, by="time", ground=made.ground)
    done = plant(slow, rig, ground=made.ground, keys="few")
    assert check(done.clip, rig, ground=made.ground).is_clean
    assert gait_of(done.clip, rig, ground=made.ground).speed == pytest.approx(0.8 * speed)
    assert np.hypot(*done.belt.velocity[[0, 2]]) == pytest.approx(0.8 * speed)
    assert done.clip.frames == 40
    with pytest.raises(InputError, match="the ground sets the strides"):
        at_speed(made.clip, rig, 0.8 * speed, by="stride", ground=made.ground)


def test_a_wrong_wish_for_a_speed_is_told() -> None:
    clip, rig, done = planted()
    with pytest.raises(InputError, match="wanted time or stride"):
        at_speed(clip, rig, 1.0, by="both")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="wanted a speed above 0"):
        at_speed(clip, rig, -1.0, by="time")
    with pytest.raises(InputError, match="only a loop has one speed"):
        at_speed(replace(clip, loop=False), rig, 1.0, by="time")
    out = travelling(done.clip, rig)
    with pytest.raises(InputError, match="bring the clip in place first"):
        at_speed(out, rooted(rig, out), 1.0, by="time")
    aside = replace(clip, belt=Belt(np.array([-1.0, 0.0, -1.0])))
    with pytest.raises(InputError, match="neither along Z nor along X"):
        at_speed(aside, rig, 1.0, by="stride")


def test_an_arc_that_travels_is_told_no_seam_that_it_has_not_in_place() -> None:
    """The root's way turns by 17 degrees a round, so its slopes along x and z do too; a broken layer is still told."""
    clip, rig = demo("lamplighter")
    turns = replace(clip, belt=Belt([0.0, 0.0, -1.35], 0.3), stances=None)
    out = travelling(turns, rig)
    assert [f.part for f in check(out, rooted(rig, out)).findings if f.kind == "seam"] == []
    own = out.channels["hips.y"]
    values = own.values.copy()
    values[-1] += 5.0
    broken = out.with_channels({"hips.y": replace(own, values=values)})
    assert [f.part for f in check(broken, rooted(rig, out)).findings if f.kind == "seam"] == ["hips.y"]


def test_strides_are_scaled_about_hips_that_only_rest_ahead() -> None:
    """Hips and feet that rest 0.2 m ahead, the hips without a channel along the way: the same walk, elsewhere."""
    clip, rig = demo("lamplighter")
    hips, ahead = rig.controls["hips"], np.array([0.0, 0.0, 0.2])
    bare = replace(hips, axes={key: axis for key, axis in hips.axes.items() if key != "z"}, rest=hips.rest + ahead)
    feet = {foot.name: replace(foot, rest=foot.rest + ahead) for foot in rig.feet}
    clip = replace(clip.with_channels({"hips.z": Curve.constant(0.0)}), belt=Belt([0.0, 0.0, -1.35]))
    found = []
    for each in (rig, replace(rig, controls={**rig.controls, "hips": bare, **feet})):
        pose = scene_of(at_speed(clip, each, 0.9, by="stride"), each).pose
        found.append(pose.ankle - pose.hip)
    assert np.abs(found[0] - found[1]).max() < 1e-12
