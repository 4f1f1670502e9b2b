"""A cut-out puppet is the same model without x, yaw and roll: read, checked, planted and converted by the same code."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from surefoot import Clip, Curve, Outside, Rig, check, convert, demo, load_clip, load_rig, plant, save_clip
from surefoot.errors import InputError
from surefoot.rig_file import parse_rig
from tests.measure import most_apart, soles

SAGITTAL = ("y", "z", "pitch", "bend")


def flat(name: str = "lamplighter") -> tuple[Clip, Rig]:
    """Return a demo walk's sagittal channels for a cut-out with the same legs, in one plane."""
    clip, rig = demo(name)
    legs = tuple(replace(leg, hip=leg.hip * np.array([0.0, 1.0, 1.0])) for leg in rig.legs)
    controls = {
        control.name: replace(
            control,
            rest=control.rest * np.array([0.0, 1.0, 1.0]),
            axes={key: axis for key, axis in control.axes.items() if key in SAGITTAL},
        )
        for control in rig.controls.values()
    }
    puppet = replace(rig, legs=legs, controls=controls, planar=True, name="flat")  # type: ignore[arg-type]
    mine = puppet.channels()
    return replace(clip, channels={n: c for n, c in clip.channels.items() if n in mine}), puppet


def test_a_puppets_channels_are_those_of_its_plane() -> None:
    rig = load_rig("puppet")
    assert rig.planar
    assert {name.split(".")[1] for name in rig.channels()} == set(SAGITTAL)
    assert rig.drawn == ("right", "left")
    assert rig.legs[0].foot.length == pytest.approx(0.07)
    assert np.all(rig.legs[0].hip == 0.0)


@pytest.mark.parametrize("keys", ["every", "few"])
def test_a_puppets_walk_is_mended(keys: Any) -> None:
    clip, rig = flat()
    before = check(clip, rig)
    done = plant(clip, rig, keys=keys)
    after = check(done.clip, rig)
    assert before.worst == "error"
    assert after.is_clean, after.findings
    assert set(done.clip.channels) == set(clip.channels)
    assert np.all(done.ankle_change[..., 0] == 0.0)


def test_it_is_planted_as_the_character_with_all_its_channels_at_zero() -> None:
    """The plane is a special case, not a second solver."""
    clip, rig = flat()
    whole, full = demo("lamplighter")
    zero = {}
    for name in whole.channels.keys() - clip.channels.keys():
        # keys on the frames of z: a keyed flat frame tells where a foot stands
        curve = clip.channels.get(f"{name.split('.')[0]}.z", whole.channels[name])
        zero[name] = Curve.through(curve.frames, 0.0 * curve.values, before=Outside.REPEAT, after=Outside.REPEAT)
    controls = {c.name: replace(c, rest=c.rest * np.array([0.0, 1.0, 1.0])) for c in full.controls.values()}
    solid = replace(full, legs=rig.legs, controls=controls)
    theirs = plant(replace(whole, channels={**whole.channels, **zero}), solid)
    ours = plant(clip, rig)
    at = np.arange(clip.first, clip.last + 1.0)
    one, two = soles(ours.clip, rig, at), soles(theirs.clip, solid, at)
    assert most_apart(one[..., 1:], two[..., 1:]) < 1e-9


@pytest.mark.parametrize("style", ["rockers", "joints"])
def test_a_puppet_goes_to_each_style_and_back(style: str) -> None:
    clip, rig = flat()
    planted = plant(clip, rig).clip
    made = convert(planted, rig, style=style)
    assert made.on_frames < 1e-10
    axes = {key for control in made.rig.feet for key in control.axes}
    assert not axes & {"x", "yaw", "roll", "cant", "hip_abduction", "ankle_inversion", "foot_yaw"}
    assert check(made.clip, made.rig).is_clean
    back = convert(made.clip, made.rig, to=rig)
    at = np.arange(clip.first, clip.last + 1.0)
    assert most_apart(soles(planted, rig, at), soles(back.clip, rig, at)) < 1e-9


def test_a_puppets_clip_is_saved_and_loaded_with_its_own_channels_only(tmp_path: Any) -> None:
    clip, rig = flat()
    save_clip(clip, tmp_path / "flat.json")
    assert plant(load_clip(tmp_path / "flat.json"), rig).changed


PUPPET = """
surefoot = "rig/1"
name = "p"
unit = "cm"
planar = true
[leg]
hip = [0, 0]
thigh = 11
shank = 10
[leg.foot]
heel = [-1.8, -2.2]
ball = [3.2, -1.9]
toe = [5.2, -2.2]
"""


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("hip = [0, 0]", "hip = [0]", r"leg.hip: wanted two numbers \(z, y\) or three, got 1"),
        ("[-1.8, -2.2]", "[-1.8, 2.2]", "the heel must lie below the ankle"),
        ("planar = true", 'planar = true\ndrawn = ["left", "left"]', "left and right in some order"),
        ("planar = true", "", r"leg.foot.heel: wanted three numbers \(x, y, z\), got 2"),
    ],
)
def test_a_wrong_puppet_is_told(old: str, new: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_rig(PUPPET.replace(old, new))
