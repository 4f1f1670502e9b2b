"""A rig that couldn't stand or walk can't be built, and says why in one sentence."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from surefoot.errors import InputError, UnitError
from surefoot.rig import Axis, Control, Foot, Leg, Limits, Rig

FOOT: dict[str, Any] = {
    "heel": np.array([0.0, -0.08, -0.06]),
    "ball": np.array([0.0, -0.06, 0.13]),
    "toe": np.array([0.0, -0.08, 0.20]),
    "outline": np.array([[-0.03, -0.06], [0.03, -0.06], [0.05, 0.13], [0.03, 0.20], [-0.03, 0.20], [-0.04, 0.13]]),
}


def foot(**changed: Any) -> Foot:
    return Foot(**(FOOT | changed))


def leg(**changed: Any) -> Leg:
    return Leg(**({"hip": np.array([0.09, 0.0, 0.0]), "thigh": 0.45, "shank": 0.43, "foot": foot()} | changed))


def controls(**parents: str) -> dict[str, Control]:
    return {name: Control(name, {}, parents.get(name, "world")) for name in ("hips", "left_foot", "right_foot")}


def rig(**changed: Any) -> Rig:
    return Rig(**({"name": "r", "legs": (leg(), leg().mirrored()), "controls": controls()} | changed))


def test_the_longer_leg_is_the_scale() -> None:
    assert rig(legs=(leg(), leg(thigh=0.5).mirrored())).leg == pytest.approx(0.93)


def test_the_other_side_is_the_reflection_and_twice_the_same() -> None:
    one = leg(foot=foot(toe=np.array([0.01, -0.08, 0.20])))
    two = one.mirrored()
    assert two.hip[0] == -one.hip[0]
    assert two.foot.toe[0] == -0.01
    assert two.foot.edge(0.13) == pytest.approx((-0.05, 0.04))
    again = two.mirrored()
    np.testing.assert_array_equal(again.foot.heel, one.foot.heel)
    assert again.foot.edge(0.05) == pytest.approx(one.foot.edge(0.05))


def test_the_sole_is_parted_at_the_ball_hinge() -> None:
    made = foot()
    assert set(made.hind_corners[:, 2]) == {-0.06, 0.13}
    assert made.toe_corners[:, 2].min() == 0.13
    assert np.all(made.hind_corners[:, 1] == -0.08)
    assert made.length == pytest.approx(0.26)
    assert made.sole == -0.08


def test_values_are_copies_that_cannot_be_written() -> None:
    given = np.array([0.0, -0.08, -0.06])
    made = foot(heel=given)
    given[1] = 5.0
    assert made.heel[1] == -0.08
    for array in (made.heel, made.outline, made.hind_corners, leg().hip, controls()["hips"].rest):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


@pytest.mark.parametrize(
    ("changed", "place", "says"),
    [
        ({"heel": [0, 0.08, -0.06]}, "foot.heel", "below the ankle"),
        ({"heel": [0, -0.08, 0.30]}, "foot", "heel, ball and toe must follow one another forward"),
        ({"ball": [0, -0.06, 0.25]}, "foot", "heel, ball and toe must follow one another forward"),
        ({"toe": [0, -0.07, 0.20]}, "foot.toe", "share one height"),
        ({"ball": [0, -0.09, 0.13]}, "foot.ball", "on the sole or above it"),
        ({"ball": [0, 0.01, 0.13]}, "foot.ball", "below the ankle"),
        ({"heel": [0, -0.08]}, "foot.heel", "three finite numbers"),
        ({"toe": [0, np.nan, 0.2]}, "foot.toe", "three finite numbers"),
        ({"onset": 0.0}, "foot.onset", "between 0 and 85 degrees"),
        ({"onset": np.radians(85.0)}, "foot.onset", "between 0 and 85 degrees"),
        ({"onset": np.nan}, "foot.onset", "between 0 and 85 degrees"),
        ({"outline": [[0, -0.06], [0, 0.2]]}, "foot.outline", "at least three corners"),
        ({"outline": [[0, -0.06], [0, 0.1], [0, 0.2]]}, "foot.outline", "encloses no area"),
        ({"outline": [[0, -0.06], [np.inf, 0.1], [0, 0.2]]}, "foot.outline", "finite"),
        ({"outline": [[-0.03, 0.0], [0.03, 0.0], [0.0, 0.2]]}, "foot.outline", "from the heel to the toe tip"),
        ({"outline": [[-0.03, -0.06], [0.03, -0.06], [0.0, 0.1]]}, "foot.outline", "from the heel to the toe tip"),
    ],
)
def test_a_foot_that_could_not_roll_is_refused(changed: dict[str, Any], place: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as told:
        foot(**changed)
    assert told.value.place == place


@pytest.mark.parametrize("length", [0.0, -0.4, 1e-7, np.nan, np.inf])
@pytest.mark.parametrize("bone", ["thigh", "shank"])
def test_a_bone_without_length_is_refused(bone: str, length: float) -> None:
    wanted = "a bone needs a length above 0" if np.isfinite(length) else "wanted a finite number"
    with pytest.raises(InputError, match=rf"^leg\.{bone}: {wanted}, got"):
        leg(**{bone: length})


def test_joint_limits_run_from_the_smaller_to_the_larger() -> None:
    with pytest.raises(InputError, match=r"^limits\.knee_flexion: wanted the smaller angle first"):
        Limits(knee_flexion=(1.0, 1.0))
    with pytest.raises(InputError, match=r"^limits\.toe_bend: wanted a finite number, got the number nan"):
        Limits(toe_bend=(np.nan, 1.0))


@pytest.mark.parametrize(("thigh", "asked"), [(45.0, True), (0.005, True), (0.3, False), (4.0, False)])
def test_a_leg_of_no_likely_length_is_asked_about(thigh: float, asked: bool) -> None:
    limb = leg(thigh=thigh, shank=thigh)
    legs = (limb, limb.mirrored())
    if asked:
        with pytest.raises(UnitError, match="is the unit right"):
            rig(legs=legs)
    assert rig(legs=legs, any_size=True).leg == 2 * thigh


@pytest.mark.parametrize("missing", ["hips", "left_foot", "right_foot"])
def test_a_rig_without_hips_or_a_foot_is_refused(missing: str) -> None:
    some = controls()
    del some[missing]
    with pytest.raises(InputError, match=f"^rig r: the control '{missing}' is missing$"):
        rig(controls=some)


def test_parents_that_run_in_a_circle_are_told_in_order() -> None:
    with pytest.raises(InputError, match="parents run in a circle: hips > left_foot > hips"):
        rig(controls=controls(hips="left_foot", left_foot="hips"))
    with pytest.raises(InputError, match="parents run in a circle: hips > hips"):
        rig(controls=controls(hips="hips"))


def test_a_circle_further_up_is_found_too() -> None:
    some = controls(left_foot="one") | {"one": Control("one", {}, "two"), "two": Control("two", {}, "one")}
    with pytest.raises(InputError, match="circle"):
        rig(controls=some)


def test_a_rotation_order_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match=r"^control hips\.order: rotation order 'xyy' does not exist; use one of xyz"):
        Control("hips", {}, order="xyy")
    assert Control("hips", {}, order="ZXY").order == "zxy"


def test_an_axis_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match="'twist' is no axis; use x, y, z, pitch"):
        Control("hips", {"twist": Axis("hips.twist")})


@pytest.mark.parametrize(("scale", "zero"), [(0.0, 0.0), (np.nan, 0.0), (np.inf, 0.0), (1.0, np.nan)])
def test_an_axis_that_loses_the_number_is_refused(scale: float, zero: float) -> None:
    wrong = "zero: wanted a finite" if np.isnan(zero) else "scale: (a scale of 0 would|wanted a finite)"
    with pytest.raises(InputError, match=rf"^axis hips\.y\.{wrong}"):
        Axis("hips.y", scale, zero)


@pytest.mark.parametrize("reach", [0.5, 1.01, np.nan])
def test_a_reach_beyond_the_leg_is_refused(reach: float) -> None:
    with pytest.raises(
        InputError, match=r"^rig\.reach: (reach must lie above 0\.5 and not above 1|wanted a finite number)"
    ):
        rig(reach=reach)
    assert rig(reach=1.0).reach == 1.0


def test_the_rig_lists_the_channels_that_it_reads() -> None:
    some = controls() | {"hips": Control("hips", {"y": Axis("root.up", 0.01), "yaw": Axis("root.turn")})}
    assert list(replace(rig(), controls=some).channels()) == ["root.up", "root.turn"]
