"""Rotations in all six orders agree with scipy's, and angles come back on the branch asked for."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot.errors import InputError
from surefoot.rotations import ORDERS, angles_of, apply, check_order, compose, matrix, turn, unwind

Array = NDArray[np.float64]


def random_angles(seed: int, count: int = 400) -> Array:
    """Return pitch, yaw and roll ``(3, count)`` over several turns."""
    return np.random.default_rng(seed).uniform(-3.0 * np.pi, 3.0 * np.pi, (3, count))


def by_scipy(angles: Array, order: str) -> Array:
    """Return the matrices ``(3, 3, n)`` by scipy, intrinsic turns in the order's sequence."""
    sequence = np.stack([angles["xyz".index(axis)] for axis in order], axis=-1)
    return np.moveaxis(Rotation.from_euler(order.upper(), sequence).as_matrix(), 0, -1)


def nearest_by_force(angles: Array, order: str, near: Array) -> float:
    """Return the least sum of squared differences from ``near`` over both triples and their whole turns."""
    middle = "xyz".index(order[1])
    other = angles + np.pi
    other[middle] = np.pi - angles[middle]
    turns = 2.0 * np.pi * np.array(list(itertools.product(range(-7, 8), repeat=3)))
    return float(min(((triple + turns - near) ** 2).sum(axis=1).min() for triple in (angles, other)))


@pytest.mark.parametrize("order", ORDERS)
def test_a_matrix_is_the_same_as_scipys(order: str) -> None:
    angles = random_angles(1)
    assert np.abs(matrix(*angles, order=order) - by_scipy(angles, order)).max() < 1e-14


@pytest.mark.parametrize("axis", "xyz")
def test_a_turn_about_one_axis_is_right_handed(axis: str) -> None:
    angle = random_angles(2)[0]
    expected = np.moveaxis(Rotation.from_euler(axis, angle[:, None]).as_matrix(), 0, -1)
    assert np.abs(turn(axis, angle) - expected).max() < 1e-14


def test_positive_pitch_tips_forward_down_and_positive_yaw_turns_forward_to_the_left() -> None:
    forward = np.array([0.0, 0.0, 1.0])
    zero, some = np.array(0.0), np.array(0.3)
    assert apply(matrix(some, zero, zero), forward)[1] < 0.0
    assert apply(matrix(zero, some, zero), forward)[0] > 0.0
    assert apply(matrix(zero, zero, some), np.array([1.0, 0.0, 0.0]))[1] > 0.0


@pytest.mark.parametrize("order", ORDERS)
def test_angles_make_the_round_trip_bit_for_bit_to_rounding_when_asked_near_themselves(order: str) -> None:
    angles = random_angles(3)
    found = np.array(angles_of(matrix(*angles, order=order), order=order, near=tuple(angles)))
    middle = np.cos(angles["xyz".index(order[1])])
    assert np.abs((found - angles) * middle).max() < 1e-13


@pytest.mark.parametrize("order", ORDERS)
def test_the_branch_taken_is_the_nearest_of_all(order: str) -> None:
    angles, near = random_angles(4, 60), random_angles(5, 60)
    found = np.array(angles_of(matrix(*angles, order=order), order=order, near=tuple(near)))
    assert np.abs(matrix(*found, order=order) - matrix(*angles, order=order)).max() < 1e-13
    for i in range(60):
        cost = float(((found[:, i] - near[:, i]) ** 2).sum())
        assert cost <= nearest_by_force(angles[:, i], order, near[:, i]) + 1e-9


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_in_gimbal_lock_the_first_turn_keeps_its_near_value_and_the_matrix_is_met(order: str, side: float) -> None:
    first, middle, _ = ("xyz".index(axis) for axis in order)
    angles, near = random_angles(6, 50), random_angles(7, 50)
    angles[middle] = side * np.pi / 2.0
    asked = matrix(*angles, order=order)
    found = np.array(angles_of(asked, order=order, near=tuple(near)))
    assert np.abs(np.mod(found[first] - near[first] + np.pi, 2.0 * np.pi) - np.pi).max() < 1e-12
    assert np.abs(matrix(*found, order=order) - asked).max() < 1e-12


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("off", [3e-8, 0.9e-7, 1.1e-7, 1e-6, 1e-4])
def test_on_both_sides_of_the_lock_threshold_the_matrix_is_met(order: str, off: float) -> None:
    middle = "xyz".index(order[1])
    angles, near = random_angles(8, 50), random_angles(9, 50)
    angles[middle] = np.pi / 2.0 - off
    asked = matrix(*angles, order=order)
    found = np.array(angles_of(asked, order=order, near=tuple(near)))
    assert np.abs(matrix(*found, order=order) - asked).max() < (2e-7 if off < 1e-7 else 1e-13)


def test_a_channel_that_turns_on_and_on_comes_back_without_a_jump() -> None:
    yaw = np.linspace(0.0, 9.0 * np.pi, 500)
    pitch, roll = 0.4 * np.sin(yaw), 0.3 * np.cos(yaw)
    found = angles_of(matrix(pitch, yaw, roll), near=(pitch + 0.1, yaw - 0.2, roll + 0.1))
    assert np.abs(np.array(found) - np.array([pitch, yaw, roll])).max() < 1e-13


def test_compose_and_apply_are_the_products_of_matrices() -> None:
    a, b = random_angles(10, 30), random_angles(11, 30)
    m, n = matrix(*a), matrix(*b)
    v = np.random.default_rng(12).normal(size=(3, 30))
    assert np.abs(compose(m, n) - np.einsum("ijf,jkf->ikf", m, n)).max() < 1e-14
    assert np.abs(apply(m, v) - np.einsum("ijf,jf->if", m, v)).max() < 1e-14


def test_unwinding_moves_by_whole_turns_to_within_half_a_turn() -> None:
    angle, near = random_angles(13)[:2]
    out = unwind(angle, near)
    assert np.abs(out - near).max() <= np.pi + 1e-12
    turns = (out - angle) / (2.0 * np.pi)
    assert np.abs(turns - np.round(turns)).max() < 1e-12


def test_an_order_that_does_not_exist_is_refused_with_the_list_of_those_that_do() -> None:
    assert check_order("ZXY") == "zxy"
    with pytest.raises(InputError, match=r"foot\.order: rotation order 'xyx' does not exist; use one of xyz, xzy"):
        check_order("xyx", place="foot.order")
