"""Segment masses against their table's own identities, and a standing body's centre against the literature.

Dempster adapted by Winter, table 4.1 (2009): secondary, read in a text that quotes the table. Stature fractions of
Drillis and Contini 1966 by way of Winter: secondary. Hof 2008: verified.
"""

from __future__ import annotations

from fractions import Fraction

import surefoot
from surefoot.clip import Clip
from surefoot.curves import Curve
from surefoot.mass import FOOT, SHANK, THIGH, UPPER_BODY, centre_of_mass
from surefoot.pendulum import pendulum_rate
from surefoot.planting import scene_of
from tests.outside.table import agrees, within

STATURE = 1.75


def test_two_legs_and_all_above_make_one_body() -> None:
    """Source: Dempster by way of Winter 2009, table 4.1 (secondary)."""
    leg = FOOT.mass + SHANK.mass + THIGH.mass
    agrees("mass of a leg, share of the body", leg, 0.161, bound=1e-9)
    agrees("mass of the body less legs and all above, share", 2.0 * leg + UPPER_BODY.mass, 1.0, bound=1e-9)


def test_the_leg_s_own_centre_is_the_table_s() -> None:
    """The table gives the whole leg's centre 0.447 of the way from hip to ankle; put together of its three it's 0.431.

    The table's rows were measured each on its own and don't compose exactly: 0.016 of a leg is 14 mm.

    Source: Dempster by way of Winter 2009, table 4.1 (secondary).
    """
    thigh, shank = 0.245, 0.246
    centre = THIGH.mass * THIGH.centre * thigh + SHANK.mass * (thigh + SHANK.centre * shank)
    centre += FOOT.mass * (thigh + shank)
    agrees("centre of a leg, share from hip to ankle", centre / (0.161 * (thigh + shank)), 0.447, bound=0.02)


def test_a_standing_adult_has_its_centre_where_the_literature_has_it() -> None:
    """Source: 0.55 to 0.57 of the stature, give or take 0.03 (from memory).

    Source: put together by hand from Winter's tables 4.1 (computed).
    """
    rig = surefoot.load_rig("adult")
    height = rig.leg - rig.legs[0].foot.sole
    channels = {name: Curve.constant(height if name == "hips.y" else 0.0) for name in rig.channels()}
    clip = Clip(channels, Fraction(24), 1, 1, rig=rig.name)
    share = float(centre_of_mass(rig, scene_of(clip, rig).pose)[1, 0]) / STATURE
    within("height of a standing adult's centre, share of stature", share, 0.52, 0.60, by="give or take")
    agrees("height of a standing adult's centre by the table", share, 0.583, bound=0.01, by="tables")


def test_the_pendulum_s_rate_is_hof_s() -> None:
    """A leg of 0.90 m; 0.20 m/s leads by 60.6 mm.

    Source: Hof 2008, the extrapolated centre of mass, worked by hand (computed).
    """
    agrees("pendulum's rate of a leg of 0.90 m, rad/s", pendulum_rate(0.90), 3.301, bound=5e-4)
    agrees("lead of 0.20 m/s, mm", 1000.0 * 0.20 / pendulum_rate(0.90), 60.6, bound=0.05)
