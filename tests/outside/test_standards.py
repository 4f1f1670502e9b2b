"""Units, frame rates, stairs and ramps against the standards that state them, and one foot on one tread.

Stairs and ramps are for pictures, not for building: local codes and licensed practice decide.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from surefoot import check
from surefoot.ground import Profile
from surefoot.ground_presets import RAMPS, STAIRS
from surefoot.rig import Foot, Leg, Rig
from surefoot.units import LENGTHS, read_rate
from tests.outside.table import agrees, alike, within
from tests.test_underfoot import SOLE, standing
from tests.walks import plain_controls


def test_an_inch_is_254_tenths_of_a_millimetre_and_a_foot_is_twelve() -> None:
    """Source: International yard and pound agreement, 1959 (from memory)."""
    agrees("an inch, m", LENGTHS["in"], 0.0254)
    agrees("a foot, m", LENGTHS["ft"], 0.3048, bound=1e-16)


@pytest.mark.parametrize(
    ("written", "exact"), [(23.976, (24000, 1001)), (29.97, (30000, 1001)), (59.94, (60000, 1001)), (25, (25, 1))]
)
def test_a_broadcast_rate_is_read_as_its_fraction(written: float, exact: tuple[int, int]) -> None:
    """Source: ITU-R BT.709, frame rates over 1001 (from memory)."""
    alike(f"frames a second written {written}", read_rate(written), Fraction(*exact))


@pytest.mark.parametrize("name", STAIRS)
def test_twice_the_riser_and_the_tread_make_a_pace(name: str) -> None:
    """Metres.

    Source: Approved Document K (England) 2013, table 1.1, 550 to 700 mm (verified).
    """
    within(f"{name} stairs, twice the riser and the tread, m", STAIRS[name].pace, 0.550, 0.700)


def test_the_accessible_stair_has_the_tabulated_pace_and_pitch() -> None:
    """A riser of 178 mm and a tread of 279 mm.

    Source: ABA/ADA Standards 504.2, worked by hand (computed).
    """
    agrees("accessible stairs, twice the riser and the tread, m", STAIRS["accessible"].pace, 0.635, bound=5e-4)
    agrees("accessible stairs, pitch, degrees", np.degrees(STAIRS["accessible"].pitch), 32.5, bound=0.05)


@pytest.mark.parametrize(("name", "degrees"), [("1:20", 2.86), ("1:15", 3.81), ("1:12", 4.76)])
def test_slopes_are_what_the_ratios_say(name: str, degrees: float) -> None:
    """Source: plain geometry, the angle of a ratio by hand (computed)."""
    agrees(f"a ramp of {name}, degrees", np.degrees(RAMPS[name].slope), degrees, bound=5e-3)


def test_a_271_mm_foot_on_a_220_mm_tread_overhangs_by_19_per_cent() -> None:
    """Overhang is what is beyond the edge as a share of the foot: (271 - 220) / 271.

    Source: Muhaidat and others 2011, Gait and Posture 33: 504, for the measure; the share by hand (computed).
    """
    corners = np.array([(x, z) for z in (-0.07, 0.201) for x in (-0.045, 0.045)])
    heel, ball, toe = ([0.0, SOLE, z] for z in (-0.07, 0.12, 0.201))
    foot = Foot(heel, ball, toe, corners)  # type: ignore[arg-type]
    leg = Leg([0.09, 0.0, 0.0], 0.44, 0.43, foot)  # type: ignore[arg-type]
    rig = Rig("boot", (leg, leg.mirrored()), plain_controls())
    down = Profile.stairs(riser=-0.2, tread=0.22, count=6)
    clip = standing((0.0, -0.2 * 3 + 0.085, 2 * 0.22 + 0.07))
    found = check(clip, rig, ground=down).most("overhang")
    assert found is not None
    agrees("overhang of a foot of 271 mm, per cent", found.shown, 100.0 * 51.0 / 271.0, bound=0.4)
