"""What the inverted pendulum refuses; its figures are checked in `tests/outside/test_pendulum.py`."""

from __future__ import annotations

import pytest

import surefoot
from surefoot.pendulum import compass_rise, pendulum_rate, roller_rise


@pytest.mark.parametrize(
    ("leg", "step"), [(0.9, 1.8), (0.9, -0.1), (0.0, 0.0), (float("nan"), 0.1), (0.9, float("nan"))]
)
def test_what_no_leg_does_is_told(leg: float, step: float) -> None:
    with pytest.raises(surefoot.InputError):
        compass_rise(leg, step)


def test_a_wheel_larger_than_the_leg_is_told() -> None:
    with pytest.raises(surefoot.InputError, match="radius"):
        roller_rise(0.9, 0.7, radius=1.0)


def test_a_leg_without_length_has_no_rate() -> None:
    with pytest.raises(surefoot.InputError):
        pendulum_rate(0.0)
