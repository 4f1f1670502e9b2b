"""A rig file is read in its stated unit, and every fault in it is told in one sentence with its place."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import FileError, InputError, UnitError, UnknownName
from surefoot.rig_file import load_rig, parse_rig, preset_names

LEG = """
surefoot = "rig/1"
name = "r"
unit = "cm"

[leg]
hip = [9, 0, 0]
thigh = 45
shank = 43

[leg.foot]
heel = [0, -8, -6]
ball = [0, -6, 13]
toe = [0, -8, 20]
"""
RIG = LEG + "widths = { heel = 6, ball = 10, toe = 6 }\n"
CONTROLS = """
[controls.hips]
parent = "world"
x = "hips.x"
y = "hips.y"
z = "hips.z"
[controls.left_foot]
x = "left_foot.x"
y = "left_foot.y"
z = "left_foot.z"
[controls.right_foot]
x = "right_foot.x"
y = "right_foot.y"
z = "right_foot.z"
"""


def test_lengths_are_converted_and_the_right_leg_is_the_left_ones_reflection() -> None:
    rig = parse_rig(RIG)
    left, right = rig.legs
    assert (left.thigh, left.shank) == (0.45, 0.43)
    np.testing.assert_allclose(left.hip, [0.09, 0, 0], rtol=1e-15)
    np.testing.assert_allclose(right.hip, [-0.09, 0, 0], rtol=1e-15)
    np.testing.assert_allclose(left.foot.toe, [0, -0.08, 0.20], rtol=1e-15)
    assert left.foot.edge(0.13) == pytest.approx((-0.05, 0.05))
    assert rig.source == "invented"


@pytest.mark.parametrize(("unit", "metres"), [("m", 1.0), ("cm", 0.01), ("mm", 0.001), ("in", 0.0254), ("ft", 0.3048)])
def test_every_length_unit_is_read(unit: str, metres: float) -> None:
    rig = parse_rig(RIG.replace('"cm"', f'"{unit}"\nany_size = true'))
    assert rig.leg == pytest.approx(88 * metres, rel=1e-14)
    assert rig.legs[0].foot.length == pytest.approx(26 * metres, rel=1e-14)
    assert rig.controls["hips"].axes["y"].scale == metres


def test_a_rig_without_controls_gets_channels_named_after_part_and_axis() -> None:
    rig = parse_rig(RIG)
    assert list(rig.controls) == ["hips", "left_foot", "right_foot"]
    assert [axis.channel for axis in rig.controls["left_foot"].axes.values()] == [
        f"left_foot.{axis}" for axis in ("x", "y", "z", "pitch", "yaw", "cant", "bend")
    ]
    assert rig.controls["left_foot"].axes["roll"].scale == pytest.approx(math.radians(1.0))
    np.testing.assert_allclose(rig.controls["right_foot"].rest, [-0.09, 0.08, 0.0], atol=1e-16)


def test_a_planar_rig_has_neither_sideways_nor_turning_channels() -> None:
    rig = parse_rig(RIG.replace('unit = "cm"', 'unit = "cm"\nplanar = true'))
    assert set(rig.controls["hips"].axes) == {"z", "y", "pitch"}
    assert set(rig.controls["left_foot"].axes) == {"z", "y", "pitch", "bend"}
    assert rig.controls["left_foot"].rest[0] == 0.0


def test_a_foot_without_a_toe_hinge_has_no_bend() -> None:
    assert "bend" not in parse_rig(RIG + "hinged = false\n").controls["left_foot"].axes


def test_an_axis_may_have_its_own_unit_sign_and_zero() -> None:
    controls = CONTROLS.replace('x = "hips.x"', 'x = { channel = "n:root.tx", unit = "in", sign = -1, zero = 3 }')
    axis = parse_rig(RIG + controls).controls["hips"].axes["x"]
    assert (axis.channel, axis.scale, axis.zero) == ("n:root.tx", -0.0254, 3.0)


def test_tolerances_are_in_millimetres_and_degrees_whatever_the_unit() -> None:
    rig = parse_rig(RIG + "[tolerances]\nslide = [1, 2, 3]\nlimit = [1, 2, 3]\n")
    assert rig.tolerances["slide"] == pytest.approx((0.001, 0.002, 0.003))
    assert rig.tolerances["limit"] == pytest.approx(tuple(map(math.radians, (1, 2, 3))))


def test_joint_limits_are_in_the_files_angle() -> None:
    rig = parse_rig(RIG + "[leg.limits]\nknee_flexion = [0, 150]\n")
    assert rig.legs[0].limits.knee_flexion == pytest.approx((0.0, math.radians(150.0)))
    assert rig.legs[1].limits.knee_flexion == rig.legs[0].limits.knee_flexion


def test_every_preset_is_read_and_named_as_its_file() -> None:
    assert {"adult", "boots", "man", "puppet", "sprite", "stalker", "stilts", "woman"} <= set(preset_names())
    for name in preset_names():
        rig = load_rig(name)
        assert rig.name == name
        assert 0.2 < rig.leg < 1.8, name
        assert rig.source


def outline(corners: str) -> str:
    return LEG + f"outline = {corners}\n"


def swapped(old: str, new: str, text: str = RIG) -> str:
    assert old in text
    return text.replace(old, new)


ROOTED = RIG + CONTROLS
FAULTS = [
    (swapped("thigh = 45", "thigh = 0"), "r.toml: leg.thigh", "a bone needs a length above 0, got 0"),
    (swapped("shank = 43", "shank = -43"), "r.toml: leg.shank", "a bone needs a length above 0, got -43"),
    (swapped("thigh = 45", "thigh = nan"), "r.toml: leg.thigh", "a bone needs a length above 0, got nan"),
    (swapped("thigh = 45", "thigh = inf"), "r.toml: leg.thigh", "a bone needs a length above 0, got inf"),
    (swapped("thigh = 45", ""), "r.toml: leg", "the field 'thigh' is missing"),
    (swapped("thigh = 45", "thig = 45"), "r.toml: leg", "'thig' is no field of the format; did you mean 'thigh'?"),
    (swapped("thigh = 45", 'thigh = "45"'), "r.toml: leg.thigh", "wanted a number, got a text"),
    (swapped("hip = [9, 0, 0]", "hip = [9, 0]"), "r.toml: leg.hip", "wanted three numbers (x, y, z), got 2"),
    (swapped("hip = [9, 0, 0]", "hip = [nan, 0, 0]"), "r.toml: leg.hip", "wanted three finite numbers"),
    (swapped("-8, -6]", "-8, 26]"), "r.toml: leg.foot", "heel, ball and toe must follow one another forward"),
    (swapped("heel = [0, -8, -6]", "heel = [0, 8, -6]"), "r.toml: leg.foot.heel", "the heel must lie below the ankle"),
    (swapped("toe = [0, -8, 20]", "toe = [0, -7, 20]"), "r.toml: leg.foot.toe", "must share one height"),
    (swapped("heel = 6,", "heel = -6,"), "r.toml: leg.foot.widths.heel", "wanted a width of 0 or more, got -6"),
    (swapped("heel = 6,", "heel = nan,"), "r.toml: leg.foot.widths.heel", "wanted a width of 0 or more, got nan"),
    (swapped("heel = 6, ball = 10, toe = 6", "heel = 0, ball = 0, toe = 0"), "r.toml: leg.foot.outline", "no area"),
    (outline("[[0, -6], [0, 1], [0, 20]]"), "r.toml: leg.foot.outline", "the outline encloses no area"),
    (outline("[[0, -6], [0, 20]]"), "r.toml: leg.foot.outline", "at least three corners"),
    (outline("[[-3, 0], [3, 0], [0, 20]]"), "r.toml: leg.foot.outline", "from the heel to the toe tip"),
    (RIG + "outline = [[0, -6], [3, 0], [0, 20]]\n", "r.toml: leg.foot", "give either widths"),
    (LEG, "r.toml: leg.foot", "give either widths (heel, ball, toe) or an outline"),
    (RIG + "onset = 100\n", "r.toml: leg.foot.onset", "between 0 and 85 degrees"),
    (swapped('"cm"', '"centimetre"'), "r.toml: unit", "no length unit is called 'centimetre'; known are cm, ft, in"),
    (swapped('unit = "cm"', 'unit = "cm"\nangle = "grad"'), "r.toml: angle", "no angle unit is called 'grad'; did you"),
    (swapped('unit = "cm"', ""), "r.toml", "the field 'unit' is missing"),
    (swapped('unit = "cm"', 'unit = "cm"\nreach = 2'), "r.toml: rig.reach", "not above 1, got 2.0"),
    (swapped('"rig/1"', '"rig/9"'), "r.toml", "wanted surefoot = \"rig/1\" at the top, got 'rig/9'"),
    (RIG + "[leg.limits]\nknee_flexion = [10, -10]\n", "r.toml: leg.limits.knee_flexion", "first, got 10, -10"),
    (RIG + "[leg.limits]\nknee = [0, 1]\n", "r.toml: leg.limits", "no joint limit is called 'knee'"),
    (RIG + "[tolerances]\nslid = [1, 2, 3]\n", "r.toml: tolerances", "did you mean 'slide'?"),
    (RIG + "[tolerances]\nslide = [3, 2, 1]\n", "r.toml: tolerances.slide", "rising"),
    (RIG + "[tolerances]\nslide = [0, 0, 0]\n", "r.toml: tolerances.slide", "the warning above 0"),
    (RIG + "[tolerances]\nslide = [1, 2, inf]\n", "r.toml: tolerances.slide", "finite"),
    (RIG + "[tolerances]\nslide = [1, 2]\n", 'r.toml: tolerances["slide"]', "wanted a list of 3, got 2"),
    (
        swapped('parent = "world"', 'order = "xyy"', ROOTED),
        "r.toml: control hips.order",
        "rotation order 'xyy' does not exist; use one of xyz, xzy, yxz, yzx, zxy, zyx",
    ),
    (
        swapped('parent = "world"', 'parent = "left_foot"', ROOTED).replace("foot]\nx", 'foot]\nparent = "hips"\nx'),
        "r.toml: control hips",
        "parents run in a circle: hips > left_foot > hips",
    ),
    (swapped('x = "hips.x"', "x = 3", ROOTED), 'r.toml: controls["hips"].x', "wanted a text or a table, got a whole"),
    (swapped('x = "hips.x"', 'x = "hips.y"', ROOTED), "r.toml: controls.hips.y", "already drives controls.hips.x"),
    (
        swapped('"right_foot.x"', '"left_foot.x"', ROOTED),
        "r.toml: controls.right_foot.x",
        "the channel 'left_foot.x' already drives controls.left_foot.x",
    ),
    (
        swapped('x = "hips.x"', 'x = { channel = "a", sign = 2 }', ROOTED),
        "r.toml: controls.hips.x",
        "sign must be 1 or -1, got 2.0",
    ),
    (
        swapped('x = "hips.x"', 'x = { channel = "a", unit = "deg" }', ROOTED),
        "r.toml: controls.hips.x",
        "no length unit is called 'deg'",
    ),
    (
        swapped('x = "hips.x"', 'x = { channel = "a", zero = nan }', ROOTED),
        "r.toml: controls.hips.x",
        "zero must be finite",
    ),
    (
        swapped('x = "hips.x"', 'roll = "a"\ncant = "b"', ROOTED),
        "r.toml: controls.hips.cant",
        "roll and cant are one axis",
    ),
    (RIG + CONTROLS.partition("[controls.right")[0], "r.toml: rig r", "the control 'right_foot' is missing"),
    ("hello", "r.toml", "not TOML: expected '=' after a key"),
    ("\0", "r.toml", "not TOML: invalid statement (at line 1, column 1)"),
    ("", "r.toml", 'wanted surefoot = "rig/1" at the top, got None'),
    ("a = " + "9" * 5_000, "r.toml", "not TOML: a whole number has thousands of digits; wanted a rig in TOML"),
    ("a = " + "[" * 100_000, "r.toml", "nested too deeply; wanted a rig in TOML"),
    ("a = " + "{a = " * 10_000, "r.toml", "nested too deeply; wanted a rig in TOML"),
]


@pytest.mark.parametrize(("text", "place", "says"), FAULTS, ids=[says[:40] for _, _, says in FAULTS])
def test_a_fault_is_told_in_one_sentence_with_its_place(text: str, place: str, says: str) -> None:
    with pytest.raises(InputError) as told:
        parse_rig(text, place="r.toml")
    assert says in told.value.reason
    assert told.value.place == place
    assert "\n" not in str(told.value)
    assert "`" not in str(told.value)


def test_the_right_legs_faults_are_told_of_the_right_leg() -> None:
    right = RIG.partition("[leg]")[2].replace("[leg.foot]", "[right_leg.foot]").replace("thigh = 45", "thigh = 0")
    with pytest.raises(InputError) as told:
        parse_rig(RIG + "[right_leg]" + right)
    assert told.value.place == "rig: right_leg.thigh"


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_a_leg_of_ninety_metres_gets_a_question(unit: str) -> None:
    with pytest.raises(UnitError, match=r"a leg of .* m; is the unit right\? \(state any_size = true if it is\)"):
        parse_rig(RIG.replace('"cm"', f'"{unit}"'))


def test_an_unknown_rig_names_the_nearest_and_a_file_says_why_it_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(UnknownName, match=r"^no rig is called 'lampligter'; did you mean 'lamplighter'\?$"):
        load_rig("lampligter")
    with pytest.raises(UnknownName, match=r"known are .*lamplighter"):
        load_rig("xyzzy")
    with pytest.raises(FileError, match="can't be read: No such file or directory"):
        load_rig(tmp_path / "none.toml")
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(FileError, match="can't be read: Is a directory"):
        load_rig(tmp_path / "folder.toml")
    (tmp_path / "wide.toml").write_text(RIG, encoding="utf-16")
    with pytest.raises(FileError, match=r"not a text in UTF-8 \(byte 0 is none of it\); wanted a rig in TOML"):
        load_rig(tmp_path / "wide.toml")
    with pytest.raises(InputError, match=r"no rig is called|null"):
        load_rig("a\0b")


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    (tmp_path / "r.toml").write_bytes(b"\xef\xbb\xbf" + RIG.replace("\n", "\r\n").encode())
    assert load_rig(tmp_path / "r.toml").name == "r"


def test_a_control_style_that_does_not_exist_is_told() -> None:
    text = Path(__file__).parents[1] / "rigs" / "adult.toml"
    with pytest.raises(InputError, match=r"rig.style: the control style 'heel' isn't known; use ankle"):
        parse_rig(text.read_text(encoding="utf-8").replace('style = "ankle"', 'style = "heel"'))
