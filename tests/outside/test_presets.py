"""Preset lengths against published anthropometry (for animation, not for clinical or ergonomic use)."""

from __future__ import annotations

import pytest

from surefoot import Rig, load_rig
from tests.outside.table import agrees, within

STATURE = 1.75

# ANSUR II, means of men and women and the spread of men, as shares of the stature: Gordon and others 2014,
# NATICK/TR-15/007, computed from the raw data. The band is the one proposed beside the row.
HIP_HEIGHT = (0.513, 0.519, 0.03)
KNEE_HEIGHT = (0.267, 0.278, 0.016)  # tibiale to mid-patella, two standard deviations of tibiale
ANKLE_HEIGHT = (0.0385, 0.0415, 0.006)
FOOT_LENGTH = (0.1513, 0.1544, 0.010)
# as shares of the foot's length
BALL = (0.739, 0.741, 0.03)
BREADTH = (0.376, 0.376, 0.02)
HEEL_BREADTH = (0.268, 0.273, 0.02)


@pytest.fixture(scope="module")
def adult() -> Rig:
    return load_rig("adult")


def inside(value: float, band: tuple[float, float, float]) -> bool:
    low, high, margin = band
    return low - margin <= value <= high + margin


def lies(what: str, value: float, band: tuple[float, float, float]) -> None:
    low, high, margin = band
    within(what, value, low - margin, high + margin)


def test_the_adults_heights_lie_inside_the_bands_of_ansur(adult: Rig) -> None:
    """Drillis and Contini's fractions against later measurements.

    Source: ANSUR II, Gordon and others 2014, NATICK/TR-15/007, means of the raw data (computed).
    """
    leg = adult.legs[0]
    ankle = -leg.foot.sole / STATURE
    lies("the adult's ankle, share of stature", ankle, ANKLE_HEIGHT)
    lies("the adult's knee, share of stature", ankle + leg.shank / STATURE, KNEE_HEIGHT)
    lies("the adult's hip, share of stature", ankle + (leg.shank + leg.thigh) / STATURE, HIP_HEIGHT)


def test_the_adults_segments_add_up_to_the_hip_height_of_drillis_and_contini(adult: Rig) -> None:
    """0.245 + 0.246 + 0.039 of the stature.

    Source: Drillis and Contini 1966, by way of Winter 2009 (secondary).
    """
    leg = adult.legs[0]
    height = (leg.thigh + leg.shank - leg.foot.sole) / STATURE
    agrees("the adult's hip height, share of stature", height, 0.530, bound=1e-9)


def test_the_adults_foot_has_the_proportions_of_ansur(adult: Rig) -> None:
    """Source: ANSUR II, Gordon and others 2014, NATICK/TR-15/007, means of the raw data (computed)."""
    foot = adult.legs[0].foot
    lies("the adult's foot, share of stature", foot.length / STATURE, FOOT_LENGTH)
    lies("heel to ball, share of the foot", (foot.ball[2] - foot.heel[2]) / foot.length, BALL)
    low, high = foot.edge(float(foot.ball[2]))
    lies("breadth, share of the foot", (high - low) / foot.length, BREADTH)
    low, high = foot.edge(float(foot.heel[2]))
    lies("breadth of the heel, share of the foot", (high - low) / foot.length, HEEL_BREADTH)


def test_the_hip_joints_are_a_tenth_of_the_stature_apart(adult: Rig) -> None:
    """0.72 of the front iliac spines' distance, which is 0.24 m; not the hip breadth of 0.191.

    Source: Bell, Brand and Pedersen 1989 for the share; the spines' distance (from memory).
    """
    left, right = (leg.hip[0] for leg in adult.legs)
    agrees("the adult's hip joints apart, share of stature", (left - right) / STATURE, 0.10, bound=0.01)


def test_a_body_far_from_the_bands_would_be_told_apart() -> None:
    """Control: the bands can fail: a leg a tenth too long leaves them."""
    assert not inside(0.530 * 1.1, HIP_HEIGHT)
    assert not inside(0.82, BALL)


# Means of ANSUR II by sex, Gordon and others 2014 (computed from the raw data): stature in metres, then shares of it:
# trochanter to tibiale, tibiale to malleolus, malleolus height, foot length; then ball, breadth and heel breadth as
# shares of the foot's length.
ANSUR = {
    "man": (1.756, 0.246, 0.225, 0.0415, 0.1544, 0.741, 0.376, 0.268),
    "woman": (1.628, 0.250, 0.230, 0.0385, 0.1513, 0.739, 0.376, 0.273),
}


@pytest.mark.parametrize("name", ANSUR)
def test_the_presets_of_ansur_have_its_means(name: str) -> None:
    """Source: ANSUR II, Gordon and others 2014, NATICK/TR-15/007, means of the raw data (computed)."""
    stature, thigh, shank, ankle, length, ball, breadth, heel = ANSUR[name]
    leg = load_rig(name).legs[0]
    foot = leg.foot
    for what, ours, theirs in (
        ("thigh", leg.thigh, thigh),
        ("shank", leg.shank, shank),
        ("ankle's height", -foot.sole, ankle),
        ("foot", foot.length, length),
    ):
        agrees(f"{name}: {what}, share of stature", ours / stature, theirs, bound=5e-4)
    agrees(f"{name}: heel to ball, share of the foot", (foot.ball[2] - foot.heel[2]) / foot.length, ball, bound=1e-3)
    for what, z, share in (("breadth", foot.ball[2], breadth), ("breadth of the heel", foot.heel[2], heel)):
        low, high = foot.edge(float(z))
        agrees(f"{name}: {what}, share of the foot", (high - low) / foot.length, share, bound=1e-3)


@pytest.mark.parametrize("name", ANSUR)
def test_the_hip_joints_of_man_and_woman_are_a_tenth_of_the_stature_apart_too(name: str) -> None:
    """As the adult's.

    Source: Bell, Brand and Pedersen 1989 for the share; the spines' distance (from memory).
    """
    apart = load_rig(name).legs[0].hip[0] * 2.0 / ANSUR[name][0]
    agrees(f"{name}: hip joints apart, share of stature", apart, 0.10, bound=1e-3)
