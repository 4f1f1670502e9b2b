"""Proposals' amounts against scipy's SLSQP, and the knee near straight against its published sensitivity.

The witness states each problem anew: its own cubic between frames (scipy's CubicHermiteSpline), its own spheres,
rotations by hand, and a general solver with constraints. It knows the objective only from its description: the sum
of squares of the change plus ``ease^4`` times that of its second differences.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import minimize

from surefoot.easing import Window, frame_problem, least_change, least_within
from surefoot.leg import knee_angle
from surefoot.mend_reach import least_shift, lowering
from surefoot.mend_snap import extra_bend, leg_length
from tests.outside.table import agrees, alike

Array = NDArray[np.float64]

CASES = range(50)
EXACT = 1e-6
"""Metres and radians."""


def between(free: Array, count: int) -> Array:
    """Return a change that is zero and level at both ends of ``count`` frames, at five samples a frame."""
    values = np.concatenate([[0.0], free, [0.0]])
    slopes = np.concatenate([[0.0], (values[2:] - values[:-2]) / 2.0, [0.0]])
    return np.asarray(CubicHermiteSpline(np.arange(count), values, slopes)(np.arange((count - 1) * 5 + 1) / 5.0))


def effort(free: Array, ease: float) -> float:
    values = np.concatenate([[0.0, 0.0], free, [0.0, 0.0]])
    return float((free**2).sum() + ease**4 * (np.diff(values, 2) ** 2).sum())


def slsqp(
    cost: Callable[[Array], float],
    size: int,
    *room: Callable[[Array], Array],
    start: Array | None = None,
    most: float | None = None,
) -> Array:
    """Return the minimiser of ``cost``, no part beyond ``most``, for which each of ``room`` is nowhere below zero."""
    found = minimize(
        cost, np.zeros(size) if start is None else start, method="SLSQP",
        bounds=None if most is None else [(-most, most)] * size,
        constraints=[{"type": "ineq", "fun": one} for one in room], options={"maxiter": 1000, "ftol": 1e-15},
    )  # fmt: skip
    assert found.status in (0, 8), found.message  # 8: it can't get any lower
    assert min(float(one(found.x).min()) for one in room) > -1e-7
    return np.asarray(found.x)


@pytest.mark.parametrize("seed", CASES)
def test_the_least_change_that_meets_needs_is_the_one_that_slsqp_finds(seed: int) -> None:
    """Source: SciPy, minimize by SLSQP (verified)."""
    rng = np.random.default_rng(seed)
    count, ease = int(rng.integers(7, 13)), float(rng.uniform(0.8, 2.0))
    samples = (count - 1) * 5 + 1
    at = np.arange(samples) / 5.0
    centre, width = rng.uniform(3.0, count - 4.0), rng.uniform(1.0, 2.5)
    need = rng.uniform(0.5, 2.0) * np.maximum(1.0 - ((at - centre) / width) ** 2, 0.0)
    found = least_change(Window(0, count), need, ease=ease)
    wanted = slsqp(lambda x: effort(x, ease), count - 2, lambda x: between(x, count) - need)
    assert found[[0, -1]].tolist() == [0.0, 0.0]
    agrees("least change that meets needs", found[1:-1], wanted, bound=EXACT)


@pytest.mark.parametrize("seed", CASES)
def test_toes_go_up_by_the_least_that_keeps_their_tip_out_of_the_ground(seed: int) -> None:
    """The tip's height is that of a turned segment, so here the constraint is the sine itself.

    Source: SciPy, minimize by SLSQP (verified).
    """
    rng = np.random.default_rng(1000 + seed)
    count, ease, toe = int(rng.integers(7, 12)), float(rng.uniform(0.8, 1.5)), rng.uniform(0.05, 0.09)
    at = np.arange((count - 1) * 5 + 1) / 5.0
    bend = -rng.uniform(0.05, 0.2) * np.exp(-(((at - count / 2.0) / rng.uniform(0.8, 1.6)) ** 2)) + 0.02
    need = np.maximum(-bend, 0.0)
    found = least_change(Window(0, count), need, ease=ease)

    def height(x: Array) -> Array:
        return np.asarray(10.0 * toe * np.sin(bend + between(x, count)))

    sunk = bend < 0.0
    wanted = slsqp(
        lambda x: 10.0 * effort(x, ease), count - 2, lambda x: height(x)[sunk], lambda x: between(x, count)[~sunk],
        start=np.full(count - 2, float(need.max())), most=0.6,  # a sine comes down again beyond a right angle
    )  # fmt: skip
    agrees("least bend of the toes, rad", found[1:-1], wanted, bound=EXACT)


@pytest.mark.parametrize("seed", CASES)
def test_hips_come_down_by_the_least_that_brings_both_legs_within_their_spheres(seed: int) -> None:
    """Source: SciPy, minimize by SLSQP (verified)."""
    rng = np.random.default_rng(2000 + seed)
    count, ease, limit = int(rng.integers(7, 11)), float(rng.uniform(1.0, 2.0)), 0.865
    at = np.arange((count - 1) * 5 + 1) / 5.0
    ways = []
    for _ in range(2):
        middle = rng.uniform(2.5, count - 3.5)
        over = rng.uniform(0.002, 0.012) * np.maximum(1.0 - ((at - middle) / 1.8) ** 2, -0.5)
        lean, aside = rng.uniform(-0.4, 0.4) * np.ones_like(at) + 0.02 * np.sin(at), 0.02 * np.cos(at)
        up = np.sqrt((limit + over) ** 2 - lean**2 - aside**2)
        ways.append(np.array([aside, up, lean]))
    way = np.array(ways).transpose(1, 0, 2)
    need = lowering(way, np.full(way.shape[1:], limit)).max(axis=0)
    found = least_change(Window(0, count), need, ease=ease)

    def slack(x: Array) -> Array:
        down = way.copy()
        down[1] -= between(x, count) / 100.0
        return np.asarray(1e3 * (limit - np.sqrt((down**2).sum(axis=0))).ravel())

    wanted = slsqp(lambda x: effort(x, ease), count - 2, slack, lambda x: between(x, count)) / 100.0
    agrees("least lowering of the hips, m", found[1:-1], wanted, bound=EXACT)


@pytest.mark.parametrize("seed", CASES)
def test_a_footprint_moves_nearer_by_the_least_that_reaches_every_frame(seed: int) -> None:
    """Source: SciPy, minimize by SLSQP (verified)."""
    rng = np.random.default_rng(3000 + seed)
    count, limit = 40, 0.86
    arm = np.array([rng.uniform(-0.05, 0.05) + np.zeros(count), np.full(count, -0.8), np.linspace(-0.3, 0.1, count)])
    arm += rng.normal(0.0, 0.005, arm.shape)
    arm *= (limit + rng.uniform(0.002, 0.02)) / np.sqrt((arm**2).sum(axis=0)).max()
    found = least_shift(arm, np.full(count, limit), most=0.2)
    assert found is not None

    def slack(shift: Array) -> Array:
        moved = arm + np.array([shift[0], 0.0, shift[1]])[:, None] / 100.0
        return np.asarray(1e3 * (limit - np.sqrt((moved**2).sum(axis=0))))

    wanted = slsqp(lambda s: float((s**2).sum()), 2, slack) / 100.0
    agrees("least shift of a footprint, m", found, wanted, bound=EXACT)


@pytest.mark.parametrize("seed", CASES)
def test_a_knee_gets_the_least_extra_bend_that_keeps_its_acceleration(seed: int) -> None:
    """Source: SciPy, minimize by SLSQP (verified)."""
    rng = np.random.default_rng(4000 + seed)
    count, ease, most = int(rng.integers(8, 13)), 1.0, 0.25
    at = np.arange(-1, count + 1)
    middle = count / 2.0 + rng.uniform(-0.5, 0.5)
    flexion = 0.02 + rng.uniform(0.15, 0.3) * np.abs(at - middle) ** rng.uniform(0.8, 1.1)
    counted = np.zeros(count, dtype=bool)
    counted[3:-3] = True
    found = extra_bend(flexion, Window(0, count), counted, acceleration=most, speed=10.0, ease=ease)
    second = np.abs(np.diff(flexion, 2))
    near = np.min([flexion[:-2], flexion[1:-1], flexion[2:]], axis=0) < np.radians(20.0)
    bound = np.where(counted, most, np.maximum(most, second))

    def room(x: Array) -> Array:
        bent = flexion + np.concatenate([[0.0, 0.0], x, [0.0, 0.0]])
        return np.asarray((bound - np.abs(np.diff(bent, 2)))[near])

    alike("whether a knee needs a bend", bool(found.max() > 0.0), bool((second[near & counted] > most).any()))
    free = count - 2
    bends = np.diff(np.concatenate([np.zeros((2, free)), np.eye(free), np.zeros((2, free))]), 2, axis=0)[near]
    base = np.diff(flexion, 2)[near]

    def above(x: Array) -> Array:
        return np.asarray(bound[near] - base - bends @ x)

    def below(x: Array) -> Array:
        return np.asarray(bound[near] + base + bends @ x)

    wanted = slsqp(lambda x: effort(x, ease), free, above, below, lambda x: x)
    assert room(found[1:-1]).min() > -1e-9
    agrees("least bend of a knee, rad", found[1:-1], wanted, bound=EXACT)


def test_a_change_round_a_whole_loop_has_no_seam() -> None:
    """Source: NumPy, linalg.inv (verified)."""
    window = Window(0, 13, (False, False), closed=True)
    need = np.zeros(61)
    need[[2, 58]] = 1.0
    found = least_change(window, need, ease=1.5)
    assert found[0] == found[-1]
    value, bends, root = frame_problem(window, 1.5)
    weight = np.eye(12) + 1.5**4 * bends[:-1].T @ bends[:-1]
    agrees("inverse of a loop's weights", root @ root.T, np.linalg.inv(weight), bound=1e-12)
    assert value.shape == (13, 12)


def test_bounds_that_contradict_each_other_are_missed_by_as_little() -> None:
    """Source: plain geometry, the middle of two bounds by hand (computed)."""
    found = least_within(np.array([[1.0], [-1.0]]), np.array([1.0, -0.5]), np.eye(1))
    agrees("between bounds of 1 and 0.5", found, [0.75], bound=1e-4)


# Thigh and shank as shares of stature: Drillis and Contini 1966, in Winter's "Biomechanics and Motor Control of
# Human Movement" (secondary). The angles are geometry.
STATURE = 1.75
WHOLE = (0.245 * STATURE, 0.246 * STATURE)


@pytest.mark.parametrize(("short", "degrees"), [(0.001, 5.5), (0.005, 12.4), (0.010, 17.5)])
def test_a_knee_some_millimetres_short_of_straight_is_bent_by_as_much_as_geometry_says(
    short: float, degrees: float
) -> None:
    """Source: plain geometry, the law of cosines by hand (computed)."""
    thigh, shank = WHOLE
    flexion = np.pi - knee_angle(thigh + shank - short, thigh, shank)
    agrees(f"flexion {1000 * short:.0f} mm short of straight, degrees", np.degrees(flexion), degrees, bound=0.05)
    exact = np.sqrt(thigh**2 + shank**2 + 2.0 * thigh * shank * np.cos(flexion))
    agrees("length of a bent leg, m", leg_length(np.asarray(flexion), thigh, shank), exact, bound=1e-12)


def test_the_slack_that_bends_a_knee_by_5_5_degrees_is_a_millimetre() -> None:
    """Source: plain geometry, the law of cosines by hand (computed)."""
    thigh, shank = WHOLE
    slack = float(thigh + shank - leg_length(np.radians(np.array(5.5)), thigh, shank))
    agrees("slack that bends a knee by 5.5 degrees, m", slack, 0.001, bound=2e-5)
