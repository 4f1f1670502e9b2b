"""The inverted pendulum against plain geometry and the published rise of a compass gait.

An oracle of the mathematics only: people rise about 3 to 5 cm, far less than a stiff leg.
"""

from __future__ import annotations

import numpy as np
import pytest
from mpmath import findroot, mp, mpf, sin, sqrt
from scipy.optimize import minimize_scalar

from surefoot.pendulum import compass_rise, roller_rise
from tests.outside.table import agrees


@pytest.mark.parametrize(
    ("leg", "step", "millimetres"),
    [(0.90, 0.70, 70.84), (0.90, 0.60, 51.47), (0.90, 0.80, 93.77), (1.0, 0.70, 63.25)],
)
def test_a_stiff_leg_raises_the_hip_by_the_arc(leg: float, step: float, millimetres: float) -> None:
    """Source: plain geometry by hand, the rise of a chord (computed)."""
    agrees(
        f"rise of a leg of {leg} m over a step of {step} m, mm",
        1000.0 * compass_rise(leg, step),
        millimetres,
        bound=0.005,
    )


@pytest.mark.parametrize(
    ("share", "millimetres"),
    [(0.0, 70.84), (0.1, 63.40), (0.2, 56.05), (0.3, 48.77), (0.4, 41.58)],
)
def test_a_rolling_foot_lowers_the_arc(share: float, millimetres: float) -> None:
    """Source: Adamczyk, Collins and Kuo 2006 for the foot of 0.3 of the leg; rises by hand (computed)."""
    rise = 1000.0 * roller_rise(0.90, 0.70, radius=share * 0.90)
    agrees(f"rise over a foot that rolls like a wheel of {share} of the leg, mm", rise, millimetres, bound=0.005)


def test_both_agree_with_many_digits() -> None:
    """Source: mpmath, in 40 digits (verified)."""
    mp.dps = 40
    leg, step, radius = mpf("0.9"), mpf("0.7"), mpf("0.27")
    agrees("rise of a stiff leg, m", compass_rise(0.9, 0.7), float(leg - sqrt(leg**2 - (step / 2) ** 2)), share=1e-15)
    angle = findroot(lambda a: 2 * radius * a + 2 * (leg - radius) * sin(a) - step, mpf("0.4"))
    theirs = float((leg - radius) * (1 - mp.cos(angle)))
    agrees("rise over a rolling foot, m", roller_rise(0.9, 0.7, radius=0.27), theirs, share=1e-14)


def test_the_hip_of_two_stiff_legs_is_lowest_when_both_feet_are_down() -> None:
    """By brute force: the highest point at which both legs still reach their feet, against the top of the arc.

    Source: SciPy, minimize_scalar (verified).
    """
    at_contact = minimize_scalar(
        lambda z: -min(np.sqrt(0.81 - (z - 0.35) ** 2), np.sqrt(0.81 - (z + 0.35) ** 2)), bounds=(-0.3, 0.3),
        method="bounded", options={"xatol": 1e-12},
    )  # fmt: skip
    agrees("fall of the hip between two stiff legs, m", compass_rise(0.9, 0.7), 0.9 + at_contact.fun, bound=1e-9)


def test_a_small_step_keeps_its_digits() -> None:
    """Source: plain geometry by hand, the first term of the series (computed)."""
    agrees("rise over a step of 10 nm, m", compass_rise(0.9, 1e-8), 1e-16 / 8.0 / 0.9, share=1e-12)
    assert compass_rise(0.9, 0.0) == roller_rise(0.9, 0.0, radius=0.2) == 0.0
    assert roller_rise(0.9, 0.7, radius=0.9) == 0.0
