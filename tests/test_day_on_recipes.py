"""Every recipe, and every command of the day on it: nothing beyond tolerance, and the loop stays closed."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from surefoot import (
    Clip,
    Edit,
    Ground,
    Outside,
    Rig,
    at_speed,
    block,
    check,
    close_loop,
    drags,
    gait_of,
    gait_warnings,
    in_place,
    load_recipe,
    load_rig,
    plant,
    recipe_names,
    remix,
    replant,
    rooted,
    travelling,
    twin,
)
from surefoot.curves import Pack
from surefoot.gait import named_gait
from surefoot.mismatch import mismatches

RECIPES = recipe_names()
Command = Callable[[Clip, Rig, Ground], Clip]


@cache
def planted(name: str) -> tuple[Clip, Rig, Ground]:
    rig = load_rig("lamplighter")
    made = block(load_recipe(name), rig)
    return plant(made.clip, rig, ground=made.ground, keys="few").clip, rig, made.ground


@pytest.mark.parametrize("name", ["adult", "man", "puppet", "stilts", "woman"])
def test_the_day_goes_on_in_every_style_of_rig(name: str) -> None:
    """Hips scaled, a side copied, another timing, on the ground and back; feet by ankle or by joints, or in a plane."""
    rig = load_rig(name)
    made = block(load_recipe("walk"), rig)
    clip = plant(made.clip, rig, keys="few").clip
    before = {f.kind for f in check(clip, rig).findings if f.level != "note"}
    for done in (
        replant(clip, remix(clip, rig, [Edit("scale", "hips", 0.7)]), rig).clip,
        replant(clip, twin(clip, rig, centre=True).clip, rig, feet=("right",)).clip,
        plant(at_speed(clip, rig, 0.9 * gait_of(clip, rig).speed, by="time"), rig, keys="few").clip,
        travelling(clip, rig),
    ):
        report = check(done, rooted(rig, done))
        assert {f.kind for f in report.findings if f.level != "note"} <= before
    back = in_place(travelling(clip, rig), rig)
    assert all(back.channels[channel] is curve for channel, curve in clip.channels.items())
    assert max(amount for amount, _ in mismatches(twin(clip, rig, centre=True).clip, rig).values()) < 1e-9


def faster(clip: Clip, rig: Rig, ground: Ground) -> Clip:
    speed = gait_of(clip, rig, ground=ground).speed
    return plant(at_speed(clip, rig, 0.8 * speed, by="time", ground=ground), rig, ground=ground, keys="few").clip


def shorter(clip: Clip, rig: Rig, ground: Ground) -> Clip:
    speed = gait_of(clip, rig, ground=ground).speed
    return plant(at_speed(clip, rig, 0.9 * speed, by="stride", ground=ground), rig, ground=ground, keys="few").clip


COMMANDS: dict[str, Command] = {
    "nothing": lambda clip, _rig, _ground: clip,
    "hips at 0.7": lambda clip, rig, ground: (
        replant(clip, remix(clip, rig, [Edit("scale", "hips", 0.7)]), rig, ground=ground).clip
    ),
    "chest later": lambda clip, rig, ground: (
        replant(clip, remix(clip, rig, [Edit("shift", "chest", 2.0)]), rig, ground=ground).clip
    ),
    "all later": lambda clip, rig, ground: (
        replant(clip, remix(clip, rig, [Edit("shift", "*", 5.0)]), rig, ground=ground).clip
    ),
    "twin": lambda clip, rig, ground: (
        replant(clip, twin(clip, rig, centre=True).clip, rig, ground=ground, feet=("right",)).clip
    ),
    "close": lambda clip, rig, _ground: close_loop(clip, rig),
    "slower": faster,
    "shorter": shorter,
    "travelling": lambda clip, rig, ground: travelling(clip, rig, ground=ground),
    "there and back": lambda clip, rig, ground: in_place(travelling(clip, rig, ground=ground), rig),
}
SET_BY_STAIRS = {("climb", "all later"), ("climb", "shorter")}
"""Stairs stand where they stand: the cycle can't be moved in time over them, nor its strides be changed."""
STRAIGHTENS = {("climb", "hips at 0.7")}
"""A climb whose hips rise less straightens a knee on each stair: told as a `snap`."""


@pytest.mark.parametrize("command", list(COMMANDS))
@pytest.mark.parametrize("recipe", RECIPES)
def test_after_every_command_the_loop_is_closed_and_the_feet_hold(recipe: str, command: str) -> None:
    if (recipe, command) in SET_BY_STAIRS:
        pytest.skip("stairs set it")
    clip, rig, ground = planted(recipe)
    made = COMMANDS[command](clip, rig, ground)
    report = check(made, rooted(rig, made), ground=ground)
    allowed = {"snap"} if (recipe, command) in STRAIGHTENS else set()
    assert {f.kind for f in report.findings if f.level != "note"} <= allowed
    assert report.most("seam") is None
    names = list(made.channels)
    start, end = Pack.from_curves([made.channels[name] for name in names]).evaluate(
        [float(made.first), float(made.last + 1)]
    ).T  # fmt: skip
    for name, one, two in zip(names, start, end, strict=True):
        if made.channels[name].after == Outside.ADVANCE:
            assert name.startswith("root.")
        else:
            assert abs(one - two) < 1e-9, name
    assert made.loop
    assert made.last - made.first + 1 == made.frames


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_recipe_has_the_duty_factor_of_its_gait(recipe: str) -> None:
    clip, rig, ground = planted(recipe)
    assert named_gait(clip) == recipe
    assert gait_warnings(gait_of(clip, rig, ground=ground), expected=recipe) == []


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_recipe_travels_and_comes_back_exactly(recipe: str) -> None:
    clip, rig, ground = planted(recipe)
    back = in_place(travelling(clip, rig, ground=ground), rig)
    assert all(back.channels[name] is curve for name, curve in clip.channels.items())
    assert back.belt is not None
    assert clip.belt is not None
    assert np.abs(back.belt.velocity - clip.belt.velocity).max() < 1e-12


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_recipes_hips_at_seven_tenths_and_back_are_the_hips(recipe: str) -> None:
    clip, rig, _ = planted(recipe)
    back = remix(clip, rig, [Edit("scale", "hips", 0.7), Edit("scale", "hips", 1.0 / 0.7)])
    fine = np.linspace(clip.first, clip.last + 1.0, 200)
    for name in clip.channels:
        one, two = Pack.from_curves([clip.channels[name], back.channels[name]]).evaluate(fine)
        assert np.abs(one - two).max() < 1e-9, name


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_twinned_recipe_has_no_mismatch_and_is_twinned_already(recipe: str) -> None:
    clip, rig, _ = planted(recipe)
    done = twin(clip, rig, centre=True).clip
    assert max(amount for amount, _ in mismatches(done, rig).values()) < 1e-9
    assert twin(done, rig, centre=True).changed == ()


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_recipes_upper_body_opposes_and_drags_down_its_chains(recipe: str) -> None:
    clip, rig, ground = planted(recipe)
    report = check(clip, rig, ground=ground, also=("oppose",))
    assert [f for f in report.findings if f.kind == "oppose" and f.level != "note"] == []
    lags = drags(clip, rig)
    assert {drag.channel for drag in lags} >= {"spine.pitch", "chest.yaw", "left_elbow.bend", "right_wrist.bend"}
    assert all(drag.lag > 0.5 for drag in lags)
