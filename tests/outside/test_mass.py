"""Segment masses against their table's own identities, and a standing body's centre against the literature.

Dempster adapted by Winter, table 4.1 (2009): secondary, read in a text that quotes the table. Stature fractions of
Drillis and Contini 1966 by way of Winter: secondary. Hof 2008: verified.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

import surefoot
from surefoot.clip import Clip
from surefoot.curves import Curve
from surefoot.mass import FOOT, SHANK, THIGH, UPPER_BODY, centre_of_mass
from surefoot.pendulum import pendulum_rate
from surefoot.planting import scene_of

STATURE = 1.75


def test_two_legs_and_all_above_make_one_body() -> None:
    leg = FOOT.mass + SHANK.mass + THIGH.mass
    assert leg == pytest.approx(0.161)
    assert 2.0 * leg + UPPER_BODY.mass == pytest.approx(1.0)


def test_the_leg_s_own_centre_is_the_table_s() -> None:
    """The table gives the whole leg's centre 0.447 of the way from hip to ankle; put together of its three it's 0.431.

    The table's rows were measured each on its own and don't compose exactly: 0.016 of a leg is 14 mm.
    """
    thigh, shank = 0.245, 0.246
    centre = THIGH.mass * THIGH.centre * thigh + SHANK.mass * (thigh + SHANK.centre * shank)
    centre += FOOT.mass * (thigh + shank)
    assert centre / (0.161 * (thigh + shank)) == pytest.approx(0.447, abs=0.02)


def test_a_standing_adult_has_its_centre_where_the_literature_has_it() -> None:
    """0.55 to 0.57 of the stature, give or take 0.03 (from memory); 0.583 computed from the same tables."""
    rig = surefoot.load_rig("adult")
    height = rig.leg - rig.legs[0].foot.sole
    channels = {name: Curve.constant(height if name == "hips.y" else 0.0) for name in rig.channels()}
    clip = Clip(channels, Fraction(24), 1, 1, rig=rig.name)
    share = float(centre_of_mass(rig, scene_of(clip, rig).pose)[1, 0]) / STATURE
    assert 0.52 <= share <= 0.60
    assert share == pytest.approx(0.583, abs=0.01)


def test_the_pendulum_s_rate_is_hof_s() -> None:
    """A leg of 0.90 m: 3.301 radians a second, so 0.20 m/s leads by 60.6 mm (computed)."""
    assert pendulum_rate(0.90) == pytest.approx(3.301, abs=5e-4)
    assert 1000.0 * 0.20 / pendulum_rate(0.90) == pytest.approx(60.6, abs=0.05)
    with pytest.raises(surefoot.InputError):
        pendulum_rate(0.0)
