"""A belt moves the ground at one velocity, and turns it at one rate; planted points stand still on it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from surefoot.belt import STILL, Belt
from surefoot.errors import InputError

VELOCITY = np.array([0.2, 0.05, -1.3])


@pytest.mark.parametrize("turn", [0.0, 0.7, -1.9, 1e-9])
def test_a_point_of_the_ground_moves_as_the_velocity_field_of_a_rigid_motion_says(turn: float) -> None:
    """Witness: the origin of ground space, integrated: its velocity turns with the ground."""

    def rate(time: float, _: np.ndarray) -> np.ndarray:
        return Rotation.from_euler("y", turn * time).apply(VELOCITY)

    time = np.linspace(0.0, 3.0, 7)
    solved = solve_ivp(rate, (0.0, 3.0), np.zeros(3), t_eval=time, rtol=1e-11, atol=1e-12)
    np.testing.assert_allclose(Belt(VELOCITY, turn).offset(time), solved.y, atol=1e-9)


@pytest.mark.parametrize("turn", [0.0, 0.7, -1.9])
def test_to_the_ground_and_back_is_the_same_point(turn: float) -> None:
    belt = Belt(VELOCITY, turn)
    point = np.random.default_rng(1).normal(size=(3, 4, 2, 9))
    time = np.linspace(-2.0, 5.0, 9)
    there = belt.to_ground(point, time)
    np.testing.assert_allclose(belt.to_world(there, time), point, atol=1e-13)


def test_a_point_that_stands_on_a_turning_belt_is_still_in_ground_space() -> None:
    belt, time = Belt(VELOCITY, 0.9), np.linspace(0.0, 2.0, 11)
    start = np.array([0.3, 0.0, 0.8])
    turned = Rotation.from_rotvec(np.outer(belt.turn * time, [0.0, 1.0, 0.0])).apply(start).T
    carried = turned + belt.offset(time)
    np.testing.assert_allclose(belt.to_ground(carried, time), np.tile(start[:, None], 11), atol=1e-14)


def test_a_slow_turn_is_as_exact_as_none() -> None:
    """Where the closed form would divide nothing by nothing."""
    time = np.linspace(0.0, 10.0, 6)
    np.testing.assert_allclose(Belt(VELOCITY, 1e-14).offset(time), Belt(VELOCITY).offset(time), atol=1e-12)


def test_a_still_belt_hands_points_back_untouched() -> None:
    point = np.ones((3, 5))
    assert STILL.is_still
    assert STILL.to_ground(point, np.zeros(5)) is point
    assert STILL.to_world(point, np.zeros(5)) is point
    assert not Belt(np.zeros(3), 0.1).is_still
    assert Belt(np.array([3.0, 0.0, -4.0])).speed == 5.0


def test_a_belt_keeps_its_own_copy() -> None:
    given = np.array([0.0, 0.0, -1.0])
    belt = Belt(given)
    given[2] = 9.0
    assert belt.velocity[2] == -1.0
    with pytest.raises(ValueError, match="read-only"):
        belt.velocity[0] = 1.0


@pytest.mark.parametrize("velocity", [[0.0, 1.0], [np.nan, 0.0, 0.0], [0.0, 0.0, np.inf], [[0.0, 0.0, 1.0]]])
def test_a_velocity_is_three_finite_numbers(velocity: list[float]) -> None:
    with pytest.raises(InputError, match=r"^belt: wanted a velocity of three finite numbers"):
        Belt(np.array(velocity))


@pytest.mark.parametrize(("velocity", "turn"), [((0.0, 0.0, 1001.0), 0.0), ((0.0, 0.0, 1.0), 101.0)])
def test_a_belt_faster_than_anything_that_walks_is_asked_about(velocity: tuple[float, ...], turn: float) -> None:
    with pytest.raises(InputError, match="is the unit right"):
        Belt(np.array(velocity), turn)
    with pytest.raises(InputError, match="turn: wanted a finite number"):
        Belt(np.array([0.0, 0.0, 1.0]), np.nan)
