"""Blocking out: from a recipe to a first layered cycle whose feet hold."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import surefoot
from surefoot.blocking import Blocked, block
from surefoot.curves import Pack
from surefoot.recipe import Recipe
from surefoot.recipe_layers import LAYERS
from surefoot.remixing import Edit, remix
from surefoot.rig import Axis, Control, Rig
from surefoot.rig_file import parse_rig
from surefoot.rig_styles import rig_in_style
from tests.measure import foot_steps, hover, instants, sink, slide

ROOT = Path(__file__).parents[1]
RECIPES = ("climb", "run", "shuffle", "sneak", "trudge", "walk")
FEET_KINDS = ("slide", "sink", "hover", "stretch", "seam", "cross")


@pytest.fixture(scope="module")
def rig() -> Rig:
    return surefoot.load_rig("lamplighter")


@cache
def made(name: str, rig: Rig) -> Blocked:
    return block(surefoot.load_recipe(name), rig)


def beyond(blocked: Blocked, rig: Rig, **options: str) -> list[surefoot.Finding]:
    """Return the warnings and errors that are left once the clip is planted."""
    done = surefoot.plant(blocked.clip, rig, ground=blocked.ground, **options)  # type: ignore[arg-type]
    report = surefoot.check(done.clip, rig, ground=blocked.ground)
    return [f for f in report.findings if f.level != "note"]


def test_six_recipes_ship() -> None:
    assert tuple(surefoot.recipe_names()) == RECIPES


@pytest.mark.parametrize("name", RECIPES)
@pytest.mark.parametrize("keys", ["few", "every"])
def test_every_recipe_planted_has_nothing_beyond_tolerance(name: str, keys: str, rig: Rig) -> None:
    assert not beyond(made(name, rig), rig, keys=keys)


@pytest.mark.parametrize("name", RECIPES)
def test_the_recipes_fit_other_legs(name: str) -> None:
    other = surefoot.load_rig("adult")
    assert not beyond(made(name, other), other, keys="few")


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("name", RECIPES)
def test_each_layer_can_be_switched_off_and_the_feet_still_hold(name: str, layer: str, rig: Rig) -> None:
    """Joints may complain (a flat foot bends the ankle, legs without slack whip); the feet may not."""
    blocked = block(surefoot.load_recipe(name).without(layer), rig)
    assert not [f for f in beyond(blocked, rig, keys="few") if f.kind in FEET_KINDS]


@pytest.mark.parametrize("name", RECIPES)
def test_a_blocked_cycle_needs_little_planting(name: str, rig: Rig) -> None:
    """Its keys are on the planted path already: only the feet's channels change, by millimetres."""
    blocked = made(name, rig)
    done = surefoot.plant(blocked.clip, rig, ground=blocked.ground, keys="few")
    assert np.abs(done.ankle_change).max() < 0.010
    assert all("_foot." in channel for channel in done.changed)


@pytest.mark.parametrize("name", RECIPES)
def test_keys_lie_only_where_an_animator_would_set_them(name: str, rig: Rig) -> None:
    blocked = made(name, rig)
    pace = blocked.recipe.pace
    for channel, curve in blocked.clip.channels.items():
        assert np.all(curve.frames == np.round(curve.frames)), channel
        assert curve.frames[0] == pace.first
        assert len(curve.frames) == 1 or curve.frames[-1] == pace.first + pace.frames, channel
        assert len(curve.frames) <= 10, f"{channel} has {len(curve.frames)} keys for {pace.frames} frames"
    keyed = set(blocked.clip.channels["left_foot.pitch"].frames.tolist())
    for moment in ("contact", "flat", "heel off", "toe off", "hang", "middle", "toes up"):
        assert blocked.frames[moment] in keyed


@pytest.mark.parametrize("name", RECIPES)
def test_frame_one_and_the_frame_after_the_last_show_the_same_pose(name: str, rig: Rig) -> None:
    clip = surefoot.plant(made(name, rig).clip, rig, ground=made(name, rig).ground, keys="few").clip
    first, after = Pack.from_curves(tuple(clip.channels.values())).evaluate([clip.first, clip.last + 1]).T
    np.testing.assert_array_equal(first, after)
    assert clip.frames == clip.last - clip.first + 1


@pytest.mark.parametrize("name", RECIPES)
def test_the_right_side_does_the_same_half_a_cycle_later_sideways_negated(name: str, rig: Rig) -> None:
    clip = made(name, rig).clip
    frames = np.arange(clip.first, clip.last + 1, 0.25)
    for left, curve in clip.channels.items():
        sign = -1.0 if left.rpartition(".")[2] in ("x", "yaw", "roll", "cant") else 1.0
        right = left.replace("left_", "right_") if left.startswith("left_") else left
        if right == left and left.startswith("right_"):
            continue
        one = Pack.from_curves([curve]).evaluate(frames)[0]
        two = Pack.from_curves([clip.channels[right]]).evaluate(frames + clip.frames / 2)[0]
        np.testing.assert_allclose(two, sign * one, atol=1e-12, err_msg=left)


@pytest.mark.parametrize("name", RECIPES)
def test_a_blocked_cycle_has_no_mismatch_and_its_hips_come_back_from_a_remix(name: str, rig: Rig) -> None:
    blocked = made(name, rig)
    found = surefoot.check(blocked.clip, rig, ground=blocked.ground, also=("mismatch",)).findings
    assert not [f for f in found if f.kind in ("mismatch", "seam")]
    there = remix(blocked.clip, rig, [Edit("scale", "hips", 0.7)])
    back = remix(there, rig, [Edit("scale", "hips", 1.0 / 0.7)])
    for channel, curve in blocked.clip.channels.items():
        np.testing.assert_allclose(back.channels[channel].values, curve.values, rtol=0, atol=1e-9, err_msg=channel)
    done = surefoot.plant(there, rig, ground=blocked.ground, keys="few")
    left = surefoot.check(done.clip, rig, ground=blocked.ground).findings
    assert not [f for f in left if f.level != "note" and f.kind in ("slide", "sink", "hover", "seam")]


@pytest.mark.parametrize("name", RECIPES)
def test_planted_feet_stand_still_by_a_measure_of_its_own(name: str, rig: Rig) -> None:
    """Shares no code with the solver; between whole frames too."""
    blocked = made(name, rig)
    clip = surefoot.plant(blocked.clip, rig, ground=blocked.ground, keys="few").clip
    assert clip.belt is not None
    for stance in clip.stances or ():
        foot = 0 if stance.foot == "left" else 1
        steps = foot_steps(clip, rig, foot, instants(stance.first, stance.last, 4), belt=clip.belt.velocity)
        assert slide(steps) < 1e-3
        if name != "climb":
            assert sink(steps) < 1e-3
            assert hover(steps) < 2e-3


@pytest.mark.parametrize("name", RECIPES)
def test_the_belt_goes_at_the_pace_of_the_steps(name: str, rig: Rig) -> None:
    blocked = made(name, rig)
    pace, belt = blocked.recipe.pace, blocked.clip.belt
    assert belt is not None
    assert -belt.velocity[2] * pace.half / float(pace.rate) == pytest.approx(blocked.recipe.step)


def other_rig(parent: str = "world", order: str = "yxz", sign: float = 1.0, *, planar: bool = False) -> Rig:
    """The lamplighter with its controls elsewhere: under another parent, in another order, mirrored, or cut out."""
    text = (ROOT / "rigs" / "lamplighter.toml").read_text(encoding="utf-8")
    axes = ("z", "y", "pitch") if planar else ("x", "y", "z", "pitch", "yaw", "roll")
    if planar:
        text = text.replace('style = "ankle"', 'style = "ankle"\nplanar = true').replace("hip = [8.8", "hip = [0.0")
    above = "root" if parent == "root" else "world"
    tables = {"hips": (above, [0.0, 0.0, 0.0])}
    if parent == "root":
        tables["root"] = ("world", [0.0, 0.0, 0.0])
    for name, x in (("left_foot", 8.8), ("right_foot", -8.8)):
        tables[name] = (parent, [0.0 if planar else x, -80.0 if parent == "hips" else 8.5, 0.0])
    for name, (over, rest) in tables.items():
        text += f'\n[controls.{name}]\nparent = "{over}"\norder = "{order}"\nrest = {rest}\n'
        for axis in axes:
            flips = name == "right_foot" and axis in ("x", "yaw", "roll")
            text += f'{axis} = {{ channel = "{name}.{axis}", sign = {sign if flips else 1.0} }}\n'
        text += f'bend = "{name}.bend"\n' if name.endswith("foot") else ""
    return parse_rig(text)


@pytest.mark.parametrize("name", ["walk", "climb", "run"])
@pytest.mark.parametrize(
    "other",
    [
        {"parent": "hips"}, {"parent": "root"}, {"order": "zxy"}, {"parent": "hips", "order": "zyx"}, {"sign": -1.0},
        {"planar": True},
    ],
    ids=str,
)  # fmt: skip
def test_controls_may_sit_elsewhere(name: str, other: dict[str, Any]) -> None:
    """A cut-out character's feet lie in one plane, so they do cross."""
    rig = other_rig(**other)
    found = beyond(made(name, rig), rig, keys="few")
    assert not [f for f in found if f.kind != "cross" or not rig.planar]


@pytest.mark.parametrize("name", ["walk", "run", "sneak", "trudge"])
def test_the_stances_and_the_belt_can_be_found_in_the_blocked_clip_again(name: str, rig: Rig) -> None:
    """By height and speed alone, within a frame; the belt within half a percent."""
    blocked = made(name, rig)
    clip = surefoot.plant(blocked.clip, rig, keys="few").clip
    seen = surefoot.check(replace(clip, stances=None, belt=None), rig)
    assert clip.belt is not None
    assert seen.belt.velocity[2] == pytest.approx(clip.belt.velocity[2], rel=5e-3)
    for one, two in zip(clip.stances or (), seen.stances, strict=True):
        assert one.foot == two.foot
        assert abs(one.first - two.first) <= 1
        assert abs(one.last - two.last) <= 1


@pytest.mark.parametrize("style", ["rockers", "joints"])
@pytest.mark.parametrize("name", ["walk", "sneak", "run"])
def test_the_other_control_styles_are_blocked_with_the_same_keys(name: str, style: str, rig: Rig) -> None:
    other = rig_in_style(rig, style)
    blocked = made(name, other)
    assert not beyond(blocked, other, keys="few")
    plain = made(name, rig).clip
    own = {"left_foot": "left_leg"} if style == "joints" else {}
    keyed = set(np.concatenate([c.frames for n, c in plain.channels.items() if n.startswith("left_foot.")]).tolist())
    for channel, curve in blocked.clip.channels.items():
        if channel.startswith(own.get("left_foot", "left_foot")) and len(curve.frames) > 1:
            assert set(curve.frames.tolist()) <= keyed, channel


@pytest.mark.parametrize("name", surefoot.preset_names())
def test_every_preset_that_ships_walks(name: str) -> None:
    """Feet from a cut-out puppet's to huge boots', legs from a sprite's to stilts'."""
    rig = surefoot.load_rig(name)
    found = beyond(made("shuffle", rig), rig, keys="few")
    assert not [f for f in found if f.kind in FEET_KINDS]


@pytest.mark.parametrize("size", [0.05, 8.0])
@pytest.mark.parametrize("name", ["walk", "sneak", "run"])
def test_a_mouse_and_a_giant_are_blocked_alike(name: str, size: float) -> None:
    text = (ROOT / "rigs" / "lamplighter.toml").read_text(encoding="utf-8")
    lengths = text[text.index("[leg]") :]
    scaled = re.sub(r"-?\d+\.\d+", lambda m: str(float(m.group()) * size), lengths)
    scaled = re.sub(r"onset = .*", "onset = 40.0", scaled)
    other = parse_rig(text[: text.index("[leg]")] + scaled)
    one, two = made(name, surefoot.load_rig("lamplighter")), made(name, other)
    assert two.recipe.step == pytest.approx(size * one.recipe.step)
    for channel, curve in one.clip.channels.items():
        scale = size if channel.endswith((".x", ".y", ".z")) else 1.0
        np.testing.assert_allclose(two.clip.channels[channel].values, scale * curve.values, atol=1e-3 * max(1.0, size))


@pytest.mark.parametrize("name", RECIPES)
def test_the_upper_body_opposes_the_legs_and_drags_by_the_frames_asked_for(name: str, rig: Rig) -> None:
    blocked = made(name, rig)
    found = surefoot.check(blocked.clip, rig, ground=blocked.ground, also=("oppose",)).findings
    assert not [f for f in found if f.kind == "oppose"]
    recipe = blocked.recipe
    asked = {"spine": recipe.spine.drag, "chest": recipe.chest.drag, "left_elbow": recipe.arms.drag,
             "left_wrist": recipe.arms.drag}  # fmt: skip
    seen = {drag.channel.partition(".")[0]: drag.lag for drag in surefoot.drags(blocked.clip, rig)}
    for part, lag in asked.items():
        assert seen[part] == pytest.approx(lag, abs=0.01), part


def test_a_chest_of_the_rig_s_own_gets_its_channel_unit_and_sign(rig: Rig) -> None:
    own = Control("chest", {"yaw": Axis("torso.ry", -1.0)}, parent="hips")
    other = replace(rig, controls={**rig.controls, "chest": own})
    plain, made_here = made("walk", rig).clip.channels, made("walk", other).clip.channels
    assert "chest.yaw" not in made_here
    np.testing.assert_allclose(made_here["torso.ry"].values, -np.radians(plain["chest.yaw"].values), atol=1e-5)


def test_feet_too_wide_to_pass_each_other_are_put_wider_apart() -> None:
    wide, narrow = (made("walk", surefoot.load_rig(name)) for name in ("boots", "lamplighter"))
    assert narrow.widened == 0.0
    assert wide.widened > 0.03
    assert wide.recipe.pace.width > 0.1


def test_stairs_too_steep_for_the_legs_are_told() -> None:
    with pytest.raises(surefoot.InputError, match=r"stairs: the feet step farther .* a shallower stair"):
        made("climb", surefoot.load_rig("puppet"))


def test_hips_on_a_space_of_the_clip_are_told(rig: Rig) -> None:
    loose = replace(rig, controls={**rig.controls, "hips": replace(rig.controls["hips"], parent="ship")})
    with pytest.raises(surefoot.InputError, match="block needs hips in the world"):
        made("walk", loose)


def test_an_odd_step_puts_passing_on_the_frame_before(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    odd = replace(recipe, pace=replace(recipe.pace, frames=26, toe_off=15))
    blocked = block(odd, rig)
    assert blocked.frames["passing"] == 1 + 6
    assert not beyond(blocked, rig, keys="few")


def test_a_run_flies_and_a_walk_does_not(rig: Rig) -> None:
    for name, flies in (("run", True), ("walk", False), ("climb", False)):
        clip = made(name, rig).clip
        down = np.zeros((2, clip.frames), dtype=bool)
        for stance in clip.stances or ():
            row = 0 if stance.foot == "left" else 1
            down[row, (np.arange(stance.first, stance.last + 1) - clip.first) % clip.frames] = True
        assert (~down.any(axis=0)).any() == flies, name


def test_a_climb_goes_up_one_tread_a_step(rig: Rig) -> None:
    blocked = made("climb", rig)
    stairs, pace, belt = blocked.recipe.stairs, blocked.recipe.pace, blocked.clip.belt
    assert stairs is not None
    assert belt is not None
    seconds = pace.half / float(pace.rate)
    np.testing.assert_allclose(-belt.velocity * seconds, [0.0, stairs.riser, stairs.tread])
    done = surefoot.plant(blocked.clip, rig, ground=blocked.ground)
    heights = sorted({round(one.place[1], 6) for one in done.footprints})
    np.testing.assert_allclose(np.diff(heights), stairs.riser)


def test_a_sneak_never_puts_its_heel_down(rig: Rig) -> None:
    blocked = made("sneak", rig)
    done = surefoot.plant(blocked.clip, rig, keys="few").clip
    frames = np.arange(done.first, done.last + 1)
    assert Pack.from_curves([done.channels["left_foot.pitch"]]).evaluate(frames)[0].min() > 10.0


def test_settling_by_so_much_lowers_the_hips_by_so_much(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    deep = replace(recipe, settle=replace(recipe.settle, drop=recipe.settle.drop + 0.03))
    one, two = (block(r, rig).clip.channels["hips.y"].values for r in (recipe, deep))
    np.testing.assert_allclose(one - two, 3.0, atol=2e-4)


def test_amounts_scale_a_layer_about_nothing(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    whole, part = (block(r, rig).clip.channels for r in (recipe, recipe.scaled({"yaw": 0.5, "shift": 0.25})))
    np.testing.assert_allclose(part["hips.yaw"].values, 0.5 * whole["hips.yaw"].values, atol=1e-4)
    np.testing.assert_allclose(part["hips.x"].values, 0.25 * whole["hips.x"].values, atol=1e-4)


def test_the_first_frame_may_be_any(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    here, there = block(recipe, rig).clip, block(replace(recipe, pace=replace(recipe.pace, first=101)), rig).clip
    assert (there.first, there.last) == (101, 124)
    for name, curve in here.channels.items():
        np.testing.assert_array_equal(curve.frames + 100, there.channels[name].frames)
        np.testing.assert_array_equal(curve.values, there.channels[name].values)


def test_a_step_that_no_leg_makes_is_told(rig: Rig) -> None:
    recipe = surefoot.load_recipe("walk")
    with pytest.raises(surefoot.InputError, match=r"pace\.step: the feet step farther than the legs reach, at frame"):
        block(replace(recipe, pace=replace(recipe.pace, step=2.0)), rig)


@settings(max_examples=12, deadline=None)
@given(
    frames=st.sampled_from([20, 24, 28, 30]), step=st.floats(0.2, 0.7), width=st.floats(0.09, 0.2),
    toe_out=st.floats(0.0, 0.3),
)  # fmt: skip
def test_the_feet_of_any_sensible_walk_hold(frames: int, step: float, width: float, toe_out: float) -> None:
    rig, recipe = surefoot.load_rig("lamplighter"), surefoot.load_recipe("walk")
    own = replace(recipe.pace, frames=frames, toe_off=round(0.58 * frames), step=step, width=width, toe_out=toe_out)
    changed: Recipe = replace(recipe, pace=own, hang=replace(recipe.hang, frames=1))
    found = beyond(block(changed, rig), rig, keys="few")
    assert not [f for f in found if f.kind in ("slide", "sink", "hover", "stretch", "seam")]
