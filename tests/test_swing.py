"""The swing's correction: what already holds is left alone, and the world's turns and mirrors carry through."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.swing import carry
from tests.outside.test_swing import Walk, walk

Array = NDArray[np.float64]

SEEDS = (1, 2, 4, 7, 8, 11, 13, 17, 22, 28)
SAME = 2e-7  # metres: what the springs' last step leaves, seen through a rotated sum


def turned(vector: Array, angle: float) -> Array:
    s, c = np.sin(angle), np.cos(angle)
    return np.array([c * vector[0] + s * vector[2], vector[1], c * vector[2] - s * vector[0]])


def free_walk(known: list[bool], given: Array) -> Walk:
    """Return a walk of one track without floors and spheres."""
    count = len(known)
    return Walk(
        np.array(known),
        np.array([0]),
        given,
        np.zeros((3, count)),
        np.full(count, -np.inf),
        np.zeros((3, count)),
        np.full(count, np.inf),
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_turning_and_moving_the_world_turns_and_moves_the_answer(seed: int) -> None:
    w = walk(seed)
    shift = np.array([[3.0], [0.4], [-5.0]])
    other = replace(
        w,
        given=turned(w.given, 0.7),
        authored=turned(w.authored, 0.7) + shift,
        hip=turned(w.hip, 0.7) + shift,
        floor=w.floor + 0.4,
    )
    assert np.abs(other.carried() - turned(w.carried(), 0.7)).max() < SAME


@pytest.mark.parametrize("seed", SEEDS)
def test_the_mirrored_walk_gets_the_mirrored_answer(seed: int) -> None:
    w = walk(seed)
    flip = np.array([[-1.0], [1.0], [1.0]])
    other = replace(w, given=w.given * flip, authored=w.authored * flip, hip=w.hip * flip)
    assert np.abs(other.carried() - w.carried() * flip).max() < SAME


def test_a_walk_that_needs_nothing_is_left_alone_bit_for_bit() -> None:
    w = walk(4)
    easy = replace(w, given=np.zeros_like(w.given), floor=w.authored[1] - 0.001, limit=np.full(len(w.known), 9.0))
    assert not easy.carried().any()


def test_without_floors_and_spheres_the_band_alone_decides() -> None:
    w = walk(8)
    loose = replace(w, floor=np.full(len(w.known), -np.inf), limit=np.full(len(w.known), np.inf))
    assert np.array_equal(loose.carried(), Band.of(w.known, w.starts).fade(w.given))


def test_where_every_frame_is_known_the_given_comes_back() -> None:
    given = np.random.default_rng(1).normal(size=(3, 5))
    assert np.array_equal(free_walk([True] * 5, given).carried(), given)


def test_inputs_are_never_changed() -> None:
    w = walk(4)
    kept = [field.copy() for field in (w.given, w.authored, w.floor, w.hip, w.limit)]
    w.carried()
    assert all(np.array_equal(a, b) for a, b in zip(kept, (w.given, w.authored, w.floor, w.hip, w.limit), strict=True))


def test_two_tracks_at_once_get_what_each_gets_alone() -> None:
    for seed in range(40):
        w = walk(seed)
        if len(w.starts) < 2:
            continue
        cut = int(w.starts[1])
        first = Walk(
            w.known[:cut], np.array([0]), w.given[:, :cut], w.authored[:, :cut], w.floor[:cut], w.hip[:, :cut],
            w.limit[:cut],
        )  # fmt: skip
        assert np.abs(w.carried()[:, :cut] - first.carried()).max() < SAME


def test_one_frame_pushed_up_between_two_stances_goes_just_to_its_floor() -> None:
    w = free_walk([True] * 3 + [False] + [True] * 3, np.zeros((3, 7)))
    floor = np.where(w.known, -np.inf, 0.02)
    pushed = replace(w, floor=floor).carried()
    assert pushed[1, 3] == pytest.approx(0.02, abs=1e-15)
    assert not pushed[[0, 2]].any()


def test_one_frame_out_of_reach_goes_to_the_nearest_point_of_its_sphere() -> None:
    """A lone free frame between equal corrections weighs all directions alike: the answer is a projection."""
    w = free_walk([True] * 3 + [False] + [True] * 3, np.zeros((3, 7)))
    hip = np.tile([[0.1], [0.8], [-0.3]], (1, 7))
    reach = float(np.linalg.norm(hip[:, 3])) - 0.03
    moved = replace(w, hip=hip, limit=np.full(7, reach)).carried()
    expected = hip[:, 3] * (1.0 - reach / np.linalg.norm(hip[:, 3]))
    assert np.abs(moved[:, 3] - expected).max() < 1e-6


def test_at_lift_off_the_slope_runs_on_and_at_landing_only_the_value_is_met() -> None:
    given = np.zeros((3, 40))
    given[0, :10] = 0.03 + 0.001 * np.arange(10)
    given[0, 30:] = -0.02
    out = carry(
        given,
        band=Band.of(np.array([True] * 10 + [False] * 20 + [True] * 10), np.array([0])),
        authored=np.zeros((3, 40)),
        floor=np.full(40, -np.inf),
        hip=np.zeros((3, 40)),
        limit=np.full(40, np.inf),
    )
    kink = np.abs(np.diff(out[0], 2))
    assert kink[9 - 1] < 0.3 * kink[30 - 1]  # centred on the last stance frame, on the first of the next
    assert np.abs(np.diff(out[0]))[9:30].max() < 0.012
