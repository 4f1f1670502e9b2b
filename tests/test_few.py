"""Few keys, handed over: as few as an animator would set, and the feet hold with them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest

from surefoot import Belt, Curve, Flat, Planted, Rig, Shape, block, check, demo, load_recipe, load_rig, plant
from surefoot.curves import Pack
from surefoot.layer import layer_between
from surefoot.rig import FEET
from tests import measure, walks

CHANNELS = 14  # seven a foot


CYCLES = ("lamplighter", "trudge", "run")
"""A walk of 24 frames, a heavy trudge of 32 and a run with flight of 16, blocked by hand."""


@pytest.mark.parametrize("name", CYCLES)
def test_a_cycle_takes_few_keys_and_nothing_is_left_beyond_a_note(name: str) -> None:
    """At most 40 % of a key on every frame over all foot channels, kept ones too; half of it on any of y, z, pitch."""
    clip, rig = demo(name)
    done = plant(clip, rig, keys="few")
    assert not check(clip, rig).is_clean
    assert check(done.clip, rig).is_clean
    played = {
        (foot.name, key): int(np.count_nonzero(done.clip.channels[axis.channel].frames <= clip.last))
        for foot in rig.feet
        for key, axis in foot.axes.items()
    }
    assert sum(played.values()) <= 0.40 * CHANNELS * clip.frames
    for (_, key), keys in played.items():
        if key in ("y", "z", "pitch"):
            assert keys <= 0.50 * clip.frames


def test_a_captured_walk_takes_few_keys_and_nothing_is_left_beyond_a_note() -> None:
    """At most 35 % of the frames, which all had a key, on the channels that changed."""
    clip, rig = demo("treadmill")
    done = plant(clip, rig, keys="few")
    assert check(done.clip, rig).is_clean
    assert sum(k.after for k in done.keys) <= 0.35 * sum(k.every_frame for k in done.keys)


@pytest.mark.parametrize("name", CYCLES)
def test_few_keys_hold_the_feet_on_the_frames_and_between_them(name: str) -> None:
    clip, rig = demo(name)
    done = plant(clip, rig, keys="few")
    for stance in done.stances:
        for between, bound in ((1, 1.0e-4), (17, 1.0e-3)):
            frames = np.arange((stance.last - stance.first) * between + 1) / between + stance.first
            steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames, belt=done.belt.velocity)
            assert measure.slide(steps) <= bound


@pytest.mark.parametrize("name", CYCLES)
def test_the_animators_own_keys_stay_and_untouched_channels_are_the_same(name: str) -> None:
    clip, rig = demo(name)
    done = plant(clip, rig, keys="few")
    for name, curve in clip.channels.items():
        if name in done.changed:
            assert set(curve.frames) <= set(done.clip.channels[name].frames)
        else:
            assert done.clip.channels[name] is curve


def test_planting_the_demos_twice_with_few_keys_changes_nothing_more() -> None:
    for name in (*CYCLES, "treadmill"):
        clip, rig = demo(name)
        once = plant(clip, rig, keys="few")
        assert plant(once.clip, rig, keys="few").changed == ()


@pytest.mark.parametrize("name", CYCLES)
def test_few_keys_depart_no_further_from_the_authored_motion_than_a_key_on_every_frame(name: str) -> None:
    """By at most a tenth: root mean square of how far each foot's ankle and sole moved, between frames too."""
    clip, rig = demo(name)
    few, every = (plant(clip, rig, keys=keys).clip for keys in ("few", "every"))  # type: ignore[arg-type]
    at = measure.instants(clip.first, clip.last + 1, 5)
    for foot in range(2):
        old, one, two = (measure.foot_steps(c, rig, foot, at) for c in (clip, few, every))
        for part in ("ankle", "points"):
            authored, by_few, by_every = (getattr(steps, part) for steps in (old, one, two))
            assert np.sqrt(((by_few - authored) ** 2).mean()) <= 1.1 * np.sqrt(((by_every - authored) ** 2).mean())


def test_the_layer_of_few_keys_added_to_the_input_gives_the_output() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig, keys="few", ground=Flat(0.0))
    layer = layer_between(clip, done.clip)
    at = np.random.default_rng(3).uniform(1.0, 25.0, 400)
    for name in done.changed:
        old, add, new = (Pack.from_curves([c.channels[name]]).evaluate(at)[0] for c in (clip, layer, done.clip))
        assert np.abs(old + add - new).max() < 1e-9


def planted_points_apart(few: Planted, every: Planted, rig: Rig, per_frame: int) -> float:
    """Return how far few keys move a point that a key on every frame has on the ground, metres, on the plan."""
    apart = 0.0
    for stance in every.stances:
        at = measure.instants(stance.first, stance.last, per_frame)
        one, two = (
            measure.foot_steps(done.clip, rig, FEET.index(stance.foot), at, belt=done.belt.velocity)
            for done in (few, every)
        )
        way = np.hypot(*np.moveaxis((one.points - two.points)[..., [0, 2]], -1, 0))
        apart = max(apart, float(way[two.height < two.height.min(axis=1, keepdims=True) + 1e-4].max()))
    return apart


@pytest.mark.parametrize("seed", range(12))
def test_few_keys_never_move_a_planted_point_beyond_the_tolerance(seed: int) -> None:
    """A tenth of a millimetre on the frames, one millimetre at 17 places a frame, on random walks knocked about."""
    walk, rig = walks.random_walk(seed), walks.make_rig()
    clip = walk.clip()
    few, every = (plant(clip, rig, keys=keys) for keys in ("few", "every"))  # type: ignore[arg-type]
    assert planted_points_apart(few, every, rig, 1) <= 1e-4
    assert planted_points_apart(few, every, rig, 17) <= 1e-3


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("recipe", ["walk", "run"])
def test_a_boot_without_a_hinge_turns_about_its_edge_between_frames_too(
    recipe: str, keys: Literal["every", "few"]
) -> None:
    """Toes that can't bend mustn't be taken to bend between frames as those do that stay flat on the ground."""
    rig = load_rig("boots")
    made = block(load_recipe(recipe), rig)
    report = check(plant(made.clip, rig, ground=made.ground, keys=keys).clip, rig, ground=made.ground)
    assert report.is_clean, report.findings


@pytest.mark.parametrize("keys", ["every", "few"])
def test_handles_outside_the_clips_range_stay_where_the_range_is_planted(keys: Any) -> None:
    """Keys before frame 1 and after frame 24 belong to the animator: there the curve stays."""
    clip, rig = demo("lamplighter")
    at = np.arange(-19.0, 46.0, 4.0)
    name, none = "left_foot.y", np.zeros(17)
    handles = np.tile([-1.3, -0.2, 1.3, 0.2], (17, 1))
    bezier = Curve(at, clip.channels[name].at(at), np.full(17, Shape.BEZIER, dtype=np.int8), none, none, handles)
    still = replace(clip, loop=False, stances=None).with_channels({name: bezier})
    done = plant(still, rig, belt=Belt([0.0, 0.0, -1.35]), keys=keys)
    assert name in done.changed
    new = done.clip.channels[name]
    for beyond in (np.linspace(-30.0, -3.0, 55), np.linspace(29.0, 50.0, 43)):
        np.testing.assert_allclose(new.at(beyond), bezier.at(beyond), atol=1e-12)
    inside = np.arange(1.0, 25.0)
    assert np.abs(new.at(inside) - bezier.at(inside)).max() > 0.1
