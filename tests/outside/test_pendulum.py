"""The inverted pendulum against plain geometry and the published rise of a compass gait.

An oracle of the mathematics only: people rise about 3 to 5 cm, far less than a stiff leg.
"""

from __future__ import annotations

import numpy as np
import pytest
from mpmath import findroot, mp, mpf, sin, sqrt
from scipy.optimize import minimize_scalar

import surefoot
from surefoot.pendulum import compass_rise, roller_rise


@pytest.mark.parametrize(
    ("leg", "step", "millimetres"),
    # computed from plain geometry, to 0.01 mm
    [(0.90, 0.70, 70.84), (0.90, 0.60, 51.47), (0.90, 0.80, 93.77), (1.0, 0.70, 63.25)],
)
def test_a_stiff_leg_raises_the_hip_by_the_arc(leg: float, step: float, millimetres: float) -> None:
    assert 1000.0 * compass_rise(leg, step) == pytest.approx(millimetres, abs=0.005)


@pytest.mark.parametrize(
    ("share", "millimetres"),
    # a foot that rolls like a wheel; Adamczyk, Collins and Kuo 2006 found 0.3 of the leg (verified); rises computed
    [(0.0, 70.84), (0.1, 63.40), (0.2, 56.05), (0.3, 48.77), (0.4, 41.58)],
)
def test_a_rolling_foot_lowers_the_arc(share: float, millimetres: float) -> None:
    assert 1000.0 * roller_rise(0.90, 0.70, radius=share * 0.90) == pytest.approx(millimetres, abs=0.005)


def test_both_agree_with_many_digits() -> None:
    mp.dps = 40
    leg, step, radius = mpf("0.9"), mpf("0.7"), mpf("0.27")
    assert compass_rise(0.9, 0.7) == pytest.approx(float(leg - sqrt(leg**2 - (step / 2) ** 2)), rel=1e-15)
    angle = findroot(lambda a: 2 * radius * a + 2 * (leg - radius) * sin(a) - step, mpf("0.4"))
    assert roller_rise(0.9, 0.7, radius=0.27) == pytest.approx(float((leg - radius) * (1 - mp.cos(angle))), rel=1e-14)


def test_the_hip_of_two_stiff_legs_is_lowest_when_both_feet_are_down() -> None:
    """By brute force: the highest point at which both legs still reach their feet, against the top of the arc."""
    at_contact = minimize_scalar(
        lambda z: -min(np.sqrt(0.81 - (z - 0.35) ** 2), np.sqrt(0.81 - (z + 0.35) ** 2)), bounds=(-0.3, 0.3),
        method="bounded", options={"xatol": 1e-12},
    )  # fmt: skip
    assert 0.9 + at_contact.fun == pytest.approx(compass_rise(0.9, 0.7), abs=1e-9)


def test_a_small_step_keeps_its_digits() -> None:
    assert compass_rise(0.9, 1e-8) == pytest.approx(1e-16 / 8.0 / 0.9, rel=1e-12)
    assert compass_rise(0.9, 0.0) == roller_rise(0.9, 0.0, radius=0.2) == 0.0
    assert roller_rise(0.9, 0.7, radius=0.9) == 0.0


@pytest.mark.parametrize(
    ("leg", "step"), [(0.9, 1.8), (0.9, -0.1), (0.0, 0.0), (float("nan"), 0.1), (0.9, float("nan"))]
)
def test_what_no_leg_does_is_told(leg: float, step: float) -> None:
    with pytest.raises(surefoot.InputError):
        compass_rise(leg, step)


def test_a_wheel_larger_than_the_leg_is_told() -> None:
    with pytest.raises(surefoot.InputError, match="radius"):
        roller_rise(0.9, 0.7, radius=1.0)
