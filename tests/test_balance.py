"""Balance: the weight moves towards the support foot, stays on its inner side, and a still pose stands."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon

import surefoot
from surefoot.balance import balance_findings, extrapolated
from surefoot.blocking import block
from surefoot.cli import main
from surefoot.clip import Clip, Stance
from surefoot.curves import Curve
from surefoot.mass import FOOT, SHANK, THIGH, UPPER_BODY, centre_of_mass
from surefoot.planting import scene_of
from surefoot.recipe import Recipe
from surefoot.rig import Rig

ANY = (0.0, 0.0, 0.0)
BOTH = (Stance("left", 1, 1), Stance("right", 1, 1))


@pytest.fixture(scope="module")
def rig() -> Rig:
    return surefoot.load_rig("lamplighter")


def walk(rig: Rig, **shift: float) -> Clip:
    recipe: Recipe = surefoot.load_recipe("walk")
    recipe = replace(recipe, shift=replace(recipe.shift, **shift))
    return surefoot.plant(block(recipe, rig).clip, rig, keys="few").clip


def of_balance(clip: Clip, rig: Rig) -> list[surefoot.Finding]:
    return [f for f in surefoot.check(clip, rig).findings if f.kind == "balance"]


def pose(rig: Rig, stances: tuple[Stance, ...] = BOTH, **values: float) -> Clip:
    """One frame of a character that stands, channels named with a double underscore for the dot."""
    stand = dict.fromkeys(rig.channels(), 0.0) | {"hips.y": 93.0}
    stand |= {name.replace("__", "."): value for name, value in values.items()}
    channels = {name: Curve.constant(value) for name, value in stand.items()}
    return Clip(channels, Fraction(24), 1, 1, stances=stances, rig=rig.name)


@pytest.mark.parametrize("name", ["lamplighter", "treadmill"])
def test_the_demos_are_in_balance(name: str) -> None:
    """One of them is a real walk."""
    clip, rig = surefoot.demo(name)
    assert not of_balance(clip, rig)


def test_a_walk_is_not_asked_to_keep_its_weight_over_the_foot(rig: Rig) -> None:
    """The centre of mass of a good walk is off the sole for a part of each single support; nothing is said of it."""
    clip = walk(rig)
    scene = scene_of(clip, rig)
    mass = scene.belt.to_ground(centre_of_mass(rig, scene.pose), scene.time)
    alone = np.arange(3, 12)  # the left foot carries alone
    soles = scene.soles.corners(scene.angles, scene.pose.bend) + scene.ankle[:, None]
    inside = [Polygon(soles[[0, 2], :, 0, f].T).convex_hull.contains(Point(mass[0, f], mass[2, f])) for f in alone]
    assert 0 < sum(inside) < len(inside)
    assert not of_balance(clip, rig)


def test_hips_that_move_away_from_the_support_foot_are_told(rig: Rig) -> None:
    found = of_balance(walk(rig, amount=-1.5), rig)
    mine = [f for f in found if f.part == "hips"]
    assert {f.foot for f in mine} == {"left", "right"}
    for f in mine:  # at the middle of the single support, a frame after the hips' furthest
        assert f.amount == pytest.approx(0.03, abs=2e-3)
        assert f.level == "warning"
        assert "towards the support foot" in f.advice


def test_hips_that_move_past_the_support_foot_are_told(rig: Rig) -> None:
    found = of_balance(walk(rig, size=0.12), rig)
    assert {(f.foot, f.part) for f in found} >= {
        (foot, part) for foot in ("left", "right") for part in ("centre of mass", "extrapolated centre of mass")
    }
    assert not [f for f in found if f.part == "hips"]


def test_hips_that_stay_in_the_middle_are_no_fault(rig: Rig) -> None:
    assert not of_balance(walk(rig, amount=0.0), rig)


def test_the_same_is_found_of_a_walk_that_turns_its_back(rig: Rig) -> None:
    """The whole world turned about: nothing depends on which way is ahead."""
    clip = walk(rig, amount=-1.5)
    turned = {}
    for name, curve in clip.channels.items():
        part = name.rpartition(".")[2]
        half = 180.0 if name in ("hips.yaw", "left_foot.yaw", "right_foot.yaw") else 0.0
        sign = -1.0 if part in ("x", "z") and half == 0.0 and "arm" not in name else 1.0
        rest = {"left_foot.x": -2.0 * 8.8, "right_foot.x": 2.0 * 8.8}.get(name, 0.0)
        turned[name] = replace(
            curve, values=sign * curve.values + half + rest, slope_in=sign * curve.slope_in,
            slope_out=sign * curve.slope_out,
        )  # fmt: skip
    assert clip.belt is not None
    about = replace(clip, channels=turned, belt=surefoot.Belt(clip.belt.velocity * [-1.0, 1.0, -1.0]))
    one, two = of_balance(clip, rig), of_balance(about, rig)
    assert [(f.foot, f.part) for f in two] == [(f.foot, f.part) for f in one]
    np.testing.assert_allclose([f.amount for f in two], [f.amount for f in one], atol=1e-9)


def test_a_walk_on_a_turning_belt_is_judged_about_its_own_way(rig: Rig) -> None:
    """Hips and feet of a walk in place, on ground that turns under it: the sides stay the sides."""
    for amount, count in ((1.0, 0), (-1.5, 2)):
        clip = walk(rig, amount=amount)
        assert clip.belt is not None
        turning = surefoot.Belt(clip.belt.velocity, -0.15)
        found = surefoot.check(clip, rig, belt=turning).findings
        assert sum(f.kind == "balance" and f.part == "hips" for f in found) == count


def test_a_still_pose_stands_while_its_weight_is_over_its_feet(rig: Rig) -> None:
    stands, leans = pose(rig, hips__z=2.0), pose(rig, hips__z=30.0)
    assert not [f for f in surefoot.check(stands, rig, still=True).findings if f.kind == "balance"]
    told = [f for f in surefoot.check(leans, rig, still=True).findings if f.kind == "balance"]
    assert [(f.part, f.foot) for f in told] == [("centre of mass", "both")]


def test_a_pose_that_is_not_declared_still_may_lean(rig: Rig) -> None:
    leans = pose(rig, hips__z=30.0)
    assert not [f for f in surefoot.check(leans, rig).findings if f.kind == "balance"]
    declared = replace(leans, extra={"still": True})
    assert [f for f in surefoot.check(declared, rig).findings if f.kind == "balance"]


@settings(max_examples=30, deadline=None)
@given(x=st.floats(-40, 40), z=st.floats(-40, 40), one=st.booleans())
def test_how_far_a_still_pose_is_off_agrees_with_brute_force(x: float, z: float, one: bool) -> None:
    """The distance to the support, walked round its edge in small steps."""
    rig = surefoot.load_rig("lamplighter")
    clip = pose(rig, BOTH[:1] if one else BOTH, hips__x=x, hips__z=z, hips__y=80.0)
    scene = scene_of(clip, rig)
    found = balance_findings(scene, clip.stances or (), ANY, still=True)
    px, _, pz = centre_of_mass(rig, scene.pose)[:, 0]
    points = []
    for side, leg in enumerate(rig.legs[: 1 if one else 2]):
        points += [(cx + (0.088 if side == 0 else -0.088), cz) for cx, cz in leg.foot.outline]
    hull = np.array(Polygon(points).convex_hull.exterior.coords)
    walked = np.concatenate([np.linspace(a, b, 2000) for a, b in pairwise(hull)])
    away = float(np.hypot(walked[:, 0] - px, walked[:, 1] - pz).min())
    cross = np.diff(hull, axis=0)[:, 0] * (pz - hull[:-1, 1]) - np.diff(hull, axis=0)[:, 1] * (px - hull[:-1, 0])
    within = bool(np.all(cross <= 0.0) or np.all(cross >= 0.0))
    if within:
        assert not found
    else:
        assert found[0].amount == pytest.approx(away, abs=1e-4)


def test_a_sway_is_held_to_where_it_swings(rig: Rig) -> None:
    """Two feet that never leave: a slow sway is fine, the same sway done fast would need a step."""

    def sway(frames: int) -> Clip:
        stand = pose(rig, hips__y=90.0)
        ahead = Curve.through([1, 1 + frames / 4, 1 + 3 * frames / 4, 1 + frames], [0.0, 8.0, -4.0, 0.0],
                              before=surefoot.Outside.REPEAT, after=surefoot.Outside.REPEAT)  # fmt: skip
        down = tuple(Stance(foot, 1, frames) for foot in ("left", "right"))
        return replace(
            stand.with_channels({"hips.z": ahead}), last=frames, loop=True, stances=down, belt=surefoot.Belt()
        )

    assert not of_balance(sway(96), rig)
    told = of_balance(sway(16), rig)
    assert {f.part for f in told} == {"extrapolated centre of mass"}


def test_the_extrapolated_centre_leads_by_the_velocity_over_the_rate(rig: Rig) -> None:
    clip = replace(pose(rig), last=24, stances=(), loop=False).with_channels(
        {"hips.x": Curve.shaped([1, 24], [0.0, 23.0 * 2.0], shape=surefoot.Shape.LINEAR)}
    )
    scene = scene_of(clip, rig)
    mass = centre_of_mass(rig, scene.pose)
    speed = np.gradient(mass[0], clip.step)
    rate = np.sqrt(9.80665 / mass[1].mean())
    np.testing.assert_allclose(extrapolated(scene, mass)[0], mass[0] + speed / rate, rtol=1e-12)


def test_the_centre_of_mass_is_the_weighted_mean_of_segments_measured_apart(rig: Rig) -> None:
    """By the knee's own triangle and plain vectors, for a pose with both legs bent straight ahead."""
    clip = pose(rig, hips__y=80.0, hips__pitch=10.0)
    mass = centre_of_mass(rig, scene_of(clip, rig).pose)[:, 0]
    hip, ankle = np.array([0.80]), 0.085
    leg, drop = rig.legs[0], hip[0] - ankle
    a, b = leg.thigh, leg.shank
    along = (a * a - b * b + drop * drop) / (2.0 * drop)
    knee = np.array([hip[0] - along, np.sqrt(a * a - along * along)])  # y, z
    top, low = np.array([hip[0], 0.0]), np.array([ankle, 0.0])
    ball = low + np.array([leg.foot.ball[1], leg.foot.ball[2]])
    legs = (
        THIGH.mass * (top + THIGH.centre * (knee - top)) + SHANK.mass * (knee + SHANK.centre * (low - knee))
        + FOOT.mass * (low + FOOT.centre * (ball - low))
    )  # fmt: skip
    lean = np.radians(10.0)
    trunk = rig.leg * 0.288 / 0.491 * UPPER_BODY.centre * np.array([np.cos(lean), np.sin(lean)])
    np.testing.assert_allclose(mass[1:], 2.0 * legs + UPPER_BODY.mass * (top + trunk), atol=1e-12)
    assert mass[0] == pytest.approx(0.0, abs=1e-15)


def test_balance_from_the_command_line(tmp_path: Path, rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "lean.json"
    surefoot.save_clip(pose(rig, hips__z=30.0, hips__y=80.0), path)
    assert main(["check", str(path)]) == 0
    assert "balance" not in capsys.readouterr().out
    assert main(["check", str(path), "--still"]) == 1
    assert "centre of mass" in capsys.readouterr().out
