"""The mirror map of a rig: what is left goes right, twice is nothing, and a map that isn't its own inverse is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surefoot import Axis, Control, Curve, Rig, convert, load_rig, mirror_map, preset_names, rig_in_style
from surefoot.errors import InputError
from surefoot.rig_file import parse_rig
from surefoot.spaces import Binding
from tests.walks import make_rig, random_walk

ADULT = (Path(__file__).parents[1] / "rigs" / "adult.toml").read_text(encoding="utf-8")


def two_legged() -> list[str]:
    return [name for name in preset_names() if isinstance(load_rig(name), Rig)]


@pytest.mark.parametrize("style", Rig.STYLES)
@pytest.mark.parametrize("preset", two_legged())
def test_mirrored_twice_every_channel_is_what_it_was(preset: str, style: str) -> None:
    rig = rig_in_style(load_rig(preset), style)
    found = mirror_map(rig)
    assert set(found) == set(rig.channels())
    for name, image in found.items():
        back = found[image.to]
        assert back.to == name
        assert back.factor * (image.factor * 3.7 + image.offset) + back.offset == pytest.approx(3.7, abs=1e-12)


@pytest.mark.parametrize("style", Rig.STYLES)
@pytest.mark.parametrize("seed", range(3))
def test_a_mirrored_clip_is_the_mirror_image(seed: int, style: str) -> None:
    """Channels sent through the map pose hips and feet as their reflection, whatever the style, unit and zero."""
    walk, plain = random_walk(seed), make_rig()
    rig = rig_in_style(plain, style)
    left = rig.feet[0]
    odd = next(iter(left.axes))
    axes = {**left.axes, odd: replace(left.axes[odd], scale=-0.01, zero=3.0)}
    rig = replace(rig, controls={**rig.controls, left.name: replace(left, axes=axes)})
    clip = convert(walk.clip(), plain, to=rig).clip
    frames = np.arange(1.0, 13.0)
    turned: dict[str, Any] = {}
    for name, image in mirror_map(rig).items():
        if name in clip.channels:
            curve = clip.channels[name]
            turned[image.to] = Curve.through(curve.frames, image.factor * curve.values + image.offset,
                                             before=curve.before, after=curve.after)  # fmt: skip
    poses = []
    for one in (clip, replace(clip, channels=turned)):
        binding = Binding(rig, one)
        poses.append(binding.pose(binding.values(frames), frames))
    ours, theirs = poses
    flip = np.array([-1.0, 1.0, 1.0])[:, None, None]
    np.testing.assert_allclose(theirs.hip[:, ::-1] * flip, ours.hip, atol=1e-9)
    np.testing.assert_allclose(theirs.ankle[:, ::-1] * flip, ours.ankle, atol=1e-9)
    np.testing.assert_allclose(
        theirs.angles[:, ::-1] * np.array([1.0, -1.0, -1.0])[:, None, None], ours.angles, atol=1e-9
    )
    np.testing.assert_allclose(theirs.bend[::-1], ours.bend, atol=1e-12)


def test_a_channel_of_no_control_can_be_stated_once_and_goes_both_ways() -> None:
    rig = parse_rig(ADULT + '\n[mirror]\n"left_arm.swing" = {to = "right_arm.swing", factor = -2.0, offset = 1.0}\n')
    found = mirror_map(rig)
    assert found["left_arm.swing"] == ("right_arm.swing", -2.0, 1.0)
    assert found["right_arm.swing"] == ("left_arm.swing", -0.5, 0.5)


@pytest.mark.parametrize(
    ("left", "right"), [("L_pivot", "R_pivot"), ("pivot_l", "pivot_r"), ("LeftBlock", "RightBlock")]
)
def test_sides_are_told_by_capitals_and_by_a_lone_letter_too(left: str, right: str) -> None:
    """The feet hang on a pivot each: one is the other's image, whichever way their names say so."""
    rig = make_rig()
    controls = dict(rig.controls)
    for foot, name in zip(rig.feet, (left, right), strict=True):
        controls[name] = Control(name, {key: Axis(f"{name}.{key}") for key in "xz"})
        controls[foot.name] = replace(foot, parent=name)
    found = mirror_map(replace(rig, controls=controls))
    assert found[f"{left}.x"] == (f"{right}.x", -1.0, 0.0)
    assert found[f"{right}.z"] == (f"{left}.z", 1.0, 0.0)
    assert found["left_foot.x"] == ("right_foot.x", -1.0, 0.0)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ('a = {to = "b"}\nb = {to = "c"}', "'b', whose own image is 'c': the map isn't its own inverse"),
        ('a = {to = "b", factor = 2.0}\nb = {to = "a", factor = 2.0}', "mirrored twice, 1 becomes 4"),
        ('a = {to = "a", offset = 1.0}', "mirrored twice, 1 becomes 3"),
        ('a = {to = "b", factor = 0.0}', "a factor that is not zero"),
        ('a = {from = "b"}', "'from' is no field"),
    ],
)
def test_a_map_that_is_not_its_own_inverse_is_told(table: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_rig(f"{ADULT}\n[mirror]\n{table}\n")


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"order": "xyz"}, "turns in the order"),
        ({"parent": "hips"}, "hangs on"),
        ({"axes": {}}, "one side has the axis"),
    ],
)
def test_sides_that_are_not_each_others_image_are_told(changed: dict[str, Any], says: str) -> None:
    rig = make_rig()
    broken = replace(rig, controls={**rig.controls, "left_foot": replace(rig.feet[0], **changed)})
    with pytest.raises(InputError, match=says):
        mirror_map(broken)
