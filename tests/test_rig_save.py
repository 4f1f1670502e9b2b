"""A rig that is written reads back as the same rig, in every style."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import Rig, load_rig, preset_names, rig_in_style, save_rig
from surefoot.errors import InputError
from surefoot.rig import Limits
from tests.walks import make_rig


@pytest.mark.parametrize("style", Rig.STYLES)
@pytest.mark.parametrize("preset", [n for n in preset_names() if isinstance(load_rig(n), Rig)])
def test_a_written_rig_reads_back(preset: str, style: str, tmp_path: Path) -> None:
    rig = rig_in_style(load_rig(preset), style)
    save_rig(rig, tmp_path / "r.toml")
    back = load_rig(tmp_path / "r.toml")
    assert isinstance(back, Rig)
    assert (back.name, back.style, back.planar, back.reach) == (rig.name, rig.style, rig.planar, rig.reach)
    assert list(back.controls) == list(rig.controls)
    for name, control in rig.controls.items():
        other = back.controls[name]
        assert (other.parent, other.order, other.rockers) == (control.parent, control.order, control.rockers)
        assert dict(other.axes) == dict(control.axes)
        np.testing.assert_array_equal(other.rest, control.rest)
    for one, two in zip(rig.legs, back.legs, strict=True):
        assert (one.thigh, one.shank) == (two.thigh, two.shank)
        np.testing.assert_array_equal(one.hip, two.hip)
        np.testing.assert_array_equal(one.foot.ball, two.foot.ball)
        np.testing.assert_allclose(one.foot.hind_corners, two.foot.hind_corners, atol=1e-15)
        assert [getattr(one.limits, k) for k in Limits.NAMES] == [getattr(two.limits, k) for k in Limits.NAMES]


def test_a_scale_that_is_no_units_is_told(tmp_path: Path) -> None:
    rig = make_rig()
    foot = rig.feet[0]
    odd = replace(foot, axes={**foot.axes, "x": replace(foot.axes["x"], scale=0.37)})
    with pytest.raises(InputError, match=r"left_foot.x: a scale of 0.37 is none of m, cm"):
        save_rig(replace(rig, controls={**rig.controls, "left_foot": odd}), tmp_path / "r.toml")


def test_what_a_rig_states_of_its_mirror_rockers_and_tolerances_is_written_too(tmp_path: Path) -> None:
    rig = rig_in_style(load_rig("lamplighter"), "rockers")
    order = ("ball", "toe", "heel", "cant", "yaw_ball", "yaw_toe", "yaw_heel")
    feet = {control.name: replace(control, rockers=order) for control in rig.feet}
    mirror = {'tail "tip".x': ('tail "tip".x', -1.0, 0.0), "left_arm.swing": ("right_arm.swing", 1.0, 2.5)}
    own = replace(
        rig, controls={**rig.controls, **feet}, mirror=mirror, tolerances={"slide": (0.002, 0.004, 0.03)}, any_size=True
    )
    save_rig(own, tmp_path / "r.toml")
    back = load_rig(tmp_path / "r.toml")
    assert isinstance(back, Rig)
    assert [control.rockers for control in back.feet] == [order, order]
    assert dict(back.mirror) == mirror
    assert dict(back.tolerances) == {"slide": (0.002, 0.004, 0.03)}
    assert back.any_size
