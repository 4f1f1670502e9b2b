"""Recipes as files: what they say, in which unit, and what is told of a wrong one."""

from __future__ import annotations

from dataclasses import fields
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import surefoot
from surefoot.recipe_file import parse_recipe
from surefoot.recipe_layers import LAYERS

SHORT = """
surefoot = "recipe/1"
name = "short"
unit = "cm"
leg = 90

[pace]
frames = 24
toe_off = 15
step = 60
"""


def test_lengths_and_angles_come_out_in_metres_and_radians() -> None:
    recipe = parse_recipe(SHORT + "toe_out = 6\nrate = 23.976\n[bob]\nsize = 4.5\n[yaw]\nsize = 5\namount = 0.7")
    assert (recipe.leg, recipe.pace.step, recipe.bob.size) == (0.9, 0.6, 0.045)
    assert recipe.yaw.size == pytest.approx(np.radians(5.0))
    assert recipe.yaw.amount == 0.7
    assert recipe.pace.rate == Fraction(24000, 1001)


def test_a_layer_left_out_does_nothing() -> None:
    recipe = parse_recipe(SHORT)
    rig = surefoot.load_rig("lamplighter")
    channels = surefoot.block(recipe, rig).clip.channels
    for name in ("hips.x", "hips.pitch", "hips.yaw", "hips.roll", "chest.yaw", "left_arm.swing"):
        assert not channels[name].values.any(), name


def test_a_speed_says_the_same_as_a_step() -> None:
    stepped, sped = parse_recipe(SHORT), parse_recipe(SHORT.replace("step = 60", "speed = 120"))
    assert sped.step == pytest.approx(stepped.step)


def test_lengths_grow_with_the_leg_and_angles_do_not() -> None:
    recipe = surefoot.load_recipe("walk")
    grown = recipe.for_leg(2.0 * recipe.leg)
    assert grown.step == pytest.approx(2.0 * recipe.step)
    assert grown.bob.size == pytest.approx(2.0 * recipe.bob.size)
    assert grown.yaw == recipe.yaw
    assert grown.pace.frames == recipe.pace.frames


def test_stairs_do_not_grow() -> None:
    climb = surefoot.load_recipe("climb")
    assert climb.for_leg(2.0 * climb.leg).stairs == climb.stairs


@pytest.mark.parametrize("name", surefoot.recipe_names())
def test_shipped_recipes_name_every_layer(name: str) -> None:
    """So that an animator finds every handle in the file."""
    text = next(Path(__file__).parents[1].joinpath("demos", "recipes").glob(f"{name}.toml")).read_text()
    for layer in LAYERS:
        assert f"[{layer}]" in text


WRONG = {
    "surefoot = 1": 'wanted surefoot = "recipe/1" at the top, got 1',
    "x = [": "not TOML",
    SHORT + "[bop]\nsize = 1": "no field or layer of a recipe is called 'bop'; did you mean 'bob'?",
    SHORT + "[bob]\nsise = 1": "bob: no field is called 'sise'; did you mean 'size'?",
    SHORT + "[bob]\nsize = 'big'": "bob.size: wanted a number, got 'big'",
    SHORT + "[bob]\nsize = true": "bob.size: wanted a number, got 'True'",
    SHORT + "[bob]\nsize = 400": "bob.size: wanted 0 to 0.4 m, got 4",
    SHORT + "[bob]\nsize = 1" + "0" * 400: "bob.size: no number is that large, got '1000",
    SHORT + "[bob]\nsize = 1" + "0" * 5000: "not TOML: a whole number has thousands of digits",
    SHORT + "[bob]\nsize = nan": "bob.size: wanted a number, got 'nan'",
    SHORT + "[bob]\nhigh = 'noon'": "bob.high: wanted mid-stance or before contact or flight, got 'noon'",
    SHORT + "[bob]\nhigh = 12": "bob.high: wanted frames from 0 to 11, got 12",
    SHORT + "[bob]\nhigh = 'flight'": "bob.high: a walk has no flight",
    SHORT + "[bob]\nhigh = 3\nlow = 3": "bob.low: high and low fall on one frame",
    SHORT + "[roll]\nswing_side = 'left'": "roll.swing_side: wanted down or up, got 'left'",
    SHORT + "[yaw]\nsize = 90": "yaw.size: wanted 0 to 40 degrees, got 90",
    SHORT + "[hang]\nframes = 1.5": "hang.frames: wanted a whole number of frames, got 1.5",
    SHORT + "[hang]\nframes = 6": "hang.frames: hanging 6 frames and lifting 2 before contact leave no middle",
    SHORT + "[stairs]\nriser = 17\ntread = 29": "stairs: a climb, and nothing else, has stairs",
    SHORT + "[heel_to_toe]\nheel_off = 15": "heel_to_toe.heel_off: wanted a frame from flat_after, 2, to before",
    SHORT + "bob = 3": "pace: no field is called 'bob'",
    SHORT.replace("leg = 90", ""): "leg: it is missing",
    SHORT.replace("leg = 90", "leg = 9000"): "leg: wanted 0.02 to 8 m, got 90",
    SHORT.replace('unit = "cm"', ""): "unit: it is missing",
    SHORT.replace('"cm"', '"elbow"'): "unit: no length unit is called 'elbow'",
    SHORT.replace("frames = 24", ""): "pace.frames: it must be given",
    SHORT.replace("frames = 24", "frames = 25"): "wanted an even number, so that both contacts fall on frames, got 25",
    SHORT.replace("toe_off = 15", "toe_off = 21"): "pace.toe_off: a swing needs four frames; wanted at most 20, got 21",
    SHORT.replace("toe_off = 15", "toe_off = 9"): "pace.toe_off: a walk's foot stays down at least half the cycle, 12",
    SHORT.replace("step = 60", ""): "pace.step: wanted a step or a speed",
    SHORT.replace("step = 60", "step = 60\nspeed = 120"): "pace: give either step or speed, not both",
    SHORT.replace('name = "short"', "name = 7"): "name: wanted a text, got 7",
    SHORT.replace("leg = 90", 'leg = 90\ngait = "wlak"'): "gait: no gait is called 'wlak'; did you mean 'walk'?",
    SHORT.replace("[pace]", "[pace]\nrate = 0"): "pace.rate: ",
    "bob = 3\n" + SHORT: "bob: wanted a table, [bob], got '3'",
}


@pytest.mark.parametrize("text", WRONG, ids=range(len(WRONG)))
def test_a_wrong_recipe_is_told_in_one_sentence(text: str) -> None:
    with pytest.raises(surefoot.InputError) as told:
        parse_recipe(text, place="my.toml")
    assert WRONG[text] in str(told.value)
    assert str(told.value).startswith("my.toml: ")
    assert "\n" not in str(told.value)


def test_an_unknown_recipe_names_the_nearest() -> None:
    with pytest.raises(surefoot.UnknownName, match="did you mean 'trudge'"):
        surefoot.load_recipe("trudje")
    with pytest.raises(surefoot.FileError, match="can't be read"):
        surefoot.load_recipe("nowhere.toml")


def test_an_unknown_layer_is_told() -> None:
    with pytest.raises(surefoot.UnknownName, match="did you mean 'shift'"):
        surefoot.load_recipe("walk").without("shft")


def test_every_field_of_every_layer_has_a_measure() -> None:
    for layer in LAYERS.values():
        assert all(one.metadata["measure"].kind for one in fields(layer))
        assert any(one.name == "amount" for one in fields(layer))
