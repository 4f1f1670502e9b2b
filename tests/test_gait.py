"""A clip's gait in figures, beside what gait science says of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import surefoot
from surefoot.blocking import block
from surefoot.clip import Clip
from surefoot.curves import Curve
from surefoot.gait import named_gait
from surefoot.gait_bands import BANDS, SHOWN, Beside, beside_science
from surefoot.gait_measures import gait_figures
from surefoot.recipe import GAITS, Recipe
from surefoot.rig import Rig


@pytest.fixture(scope="module")
def rig() -> Rig:
    return surefoot.load_rig("lamplighter")


def told(recipe: Recipe, rig: Rig) -> dict[str, Beside]:
    made = block(recipe, rig)
    clip = surefoot.plant(made.clip, rig, ground=made.ground, keys="few").clip
    return {row.figure: row for row in beside_science(clip, rig, recipe.gait, ground=made.ground)}


def test_the_figures_are_those_that_the_recipe_asks_for(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    made = block(recipe, rig)
    found = gait_figures(surefoot.plant(made.clip, rig).clip, rig)
    pace, degree = recipe.pace, np.radians(1.0)
    asked = {
        "step length": recipe.step, "speed": recipe.step * 2.0, "cadence": 120.0, "stance": 14 / 24,
        "double support, each": 2 / 24, "step width": pace.width, "toe-out": pace.toe_out,
        "hips up and down": recipe.bob.size, "hips highest": 6 / 24, "hips side to side": 2.0 * recipe.shift.size,
        "hips towards the support foot": recipe.shift.size, "hips yaw": recipe.yaw.size,
        "hips pitch": 2.0 * recipe.pitch.swing, "hips drop of the swing side": recipe.roll.size,
        "foot pitch at contact": recipe.heel_to_toe.contact, "foot pitch at toe-off": recipe.heel_to_toe.off,
    }  # fmt: skip
    for name, value in asked.items():
        assert found[name] == pytest.approx(value, rel=0.01, abs=0.05 * degree), name


def test_a_travelling_clip_has_the_same_figures_as_the_one_in_place(rig: Rig) -> None:
    clip = surefoot.plant(block(surefoot.load_recipe("walk"), rig).clip, rig).clip
    one, two = gait_figures(clip, rig), gait_figures(travelling(clip), rig)
    for name, value in one.items():
        assert two[name] == pytest.approx(value, abs=1e-5), name


@pytest.mark.parametrize("turn", [90.0, 180.0, -179.0])
def test_a_walk_has_the_same_figures_wherever_it_heads(rig: Rig, turn: float) -> None:
    clip = surefoot.plant(block(surefoot.load_recipe("walk"), rig).clip, rig).clip
    assert clip.belt is not None
    s, c = np.sin(np.radians(turn)), np.cos(np.radians(turn))
    x, y, z = clip.belt.velocity
    clip = clip.with_channels({"root.yaw": Curve.constant(turn)})
    turned = replace(clip, belt=surefoot.Belt([c * x + s * z, y, c * z - s * x]))
    one, two = gait_figures(clip, rig), gait_figures(turned, surefoot.rooted(rig, turned))
    for name, value in one.items():
        assert two[name] == pytest.approx(value, abs=1e-5), name


def travelling(clip: Clip) -> Clip:
    """Put the belt's motion onto hips and feet, key by key, without the library's own travel."""
    assert clip.belt is not None
    per_frame = -clip.belt.velocity[2] * clip.step * 100.0
    changed = {}
    for name in ("hips.z", "left_foot.z", "right_foot.z"):
        old = clip.channels[name]
        frames = old.frames if len(old.frames) > 1 else np.array([clip.first, clip.last + 1.0])
        values = np.broadcast_to(old.values, frames.shape) + per_frame * (frames - clip.first)
        slopes = surefoot.curves.resolve_slopes(old) if len(old.frames) > 1 else (np.zeros(2), np.zeros(2))
        advance = surefoot.Outside.ADVANCE
        changed[name] = Curve.given(
            frames, values, slopes[0] + per_frame, slopes[1] + per_frame, before=advance, after=advance
        )
    return replace(clip.with_channels(changed), belt=surefoot.Belt())


def test_the_shipped_walk_leaves_no_band(rig: Rig) -> None:
    assert not [row.figure for row in told(surefoot.load_recipe("walk"), rig).values() if row.leaves]


def test_the_hips_high_before_contact_are_told_as_a_stylisation(rig: Rig) -> None:
    row = told(surefoot.load_recipe("trudge"), rig)["hips highest"]
    assert row.place == "above"
    assert row.band is not None
    assert "stylisation" in row.band.outside
    assert told(surefoot.load_recipe("sneak"), rig)["hips highest"].place == "within"


@pytest.mark.parametrize(
    ("name", "leaving"),
    [
        ("shuffle", {"speed", "walk ratio", "clearance", "foot pitch at contact", "toe bend"}),
        ("sneak", {"foot pitch at contact", "clearance", "speed"}),
        ("trudge", {"hips side to side", "step width", "hips up and down"}),
    ],
)
def test_stylised_recipes_say_where_they_leave_the_bands(name: str, leaving: set[str], rig: Rig) -> None:
    rows = told(surefoot.load_recipe(name), rig)
    assert leaving <= {figure for figure, row in rows.items() if row.leaves}


def test_the_swing_side_up_is_below_its_band(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    up = told(replace(recipe, roll=replace(recipe.roll, swing_side="up")), rig)["hips drop of the swing side"]
    assert up.place == "below"
    assert up.value == pytest.approx(-3.0, abs=0.01)


def test_a_run_flies_within_its_band_and_a_climb_lands_on_the_forefoot(rig: Rig) -> None:
    run, climb = (told(surefoot.load_recipe(name), rig) for name in ("run", "climb"))
    assert run["flight, each"].place == run["stance"].place == "within"
    assert "double support, each" not in run
    assert climb["foot pitch at contact"].place == climb["clearance"].place == "within"


def test_an_edge_belongs_to_its_band() -> None:
    band = BANDS["walk"][0]
    for value, place in ((band.low, "within"), (band.high, "within"), (band.low - 0.01, "below"), (9.0, "above")):
        assert Beside(band.figure, value, band.unit, band).place == place
    assert Beside("cadence", 1.0, "", None).place == "no band"


def test_every_band_names_its_source_and_flag_and_every_gait_has_bands() -> None:
    assert tuple(BANDS) == GAITS
    for bands in BANDS.values():
        for band in bands:
            assert band.figure in SHOWN
            assert band.low < band.high
            assert len(band.source) > 10


def test_a_clip_is_of_the_gait_that_it_states_or_else_is_called(rig: Rig) -> None:
    clip = block(surefoot.load_recipe("walk"), rig).clip
    assert named_gait(replace(clip, extra={"gait": "run"}, name="a walk")) == "run"
    assert named_gait(replace(clip, extra={}, name="she Runs home")) == "run"
    assert named_gait(replace(clip, extra={"gait": "hop"}, name="evening")) == ""


def test_what_is_no_loop_or_no_gait_is_told(rig: Rig) -> None:
    clip = block(surefoot.load_recipe("walk"), rig).clip
    with pytest.raises(surefoot.InputError, match="a loop only"):
        gait_figures(replace(clip.with_stances(None), loop=False), rig)
    with pytest.raises(surefoot.InputError, match="the right foot has 0"):
        gait_figures(clip.with_stances(s for s in clip.stances or () if s.foot == "left"), rig)
    with pytest.raises(surefoot.UnknownName, match="did you mean 'walk'"):
        beside_science(clip, rig, "wolk")
