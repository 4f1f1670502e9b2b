"""Legs solved inside their limits: never worse than SciPy's bounded solver, no flips, no jumps, no NaN."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from surefoot import Leg, Rig, check, convert, demo, load_rig, plant, rig_in_style
from surefoot.bounded import solve_bounded
from surefoot.errors import InputError, ShapeError
from surefoot.foot_styles import FootWorld, JointLegs, Setting
from surefoot.hinge_chain import Hinge, HingeChain, hinge_points, leg_hinges
from surefoot.leg import eased_reach, knee_angle
from surefoot.leg_chain import LegChain, leg_jacobian
from surefoot.leg_solve import solve_legs
from surefoot.poses import Space
from surefoot.rig import Limits

Array = NDArray[np.float64]
HELD = ("ankle", "heel", "ball")
JUMP = float(np.radians(6.0))
"""No joint may turn farther in one of the sweeps' 360 steps."""


def ranges(leg: Leg, chain: HingeChain) -> tuple[Array, Array]:
    yaw = (-0.4, 0.4)
    return tuple(np.array([getattr(leg.limits, n, yaw) for n in chain.names]).T)  # type: ignore[return-value]


def random_chain(rng: np.random.Generator) -> HingeChain:
    count = int(rng.integers(2, 8))
    hinges = [Hinge(f"h{k}", "xyz"[rng.integers(3)], tuple(rng.normal(size=3)), float(rng.choice([-1.0, 1.0])))
              for k in range(count)]  # fmt: skip
    points = [(f"p{k}", int(rng.integers(0, count + 1)), tuple(rng.normal(size=3))) for k in range(4)]
    return HingeChain(tuple(hinges), tuple(points))


# ---- the chain ----


@pytest.mark.parametrize("seed", range(8))
def test_the_jacobian_of_any_chain_is_its_slope(seed: int) -> None:
    rng = np.random.default_rng(seed)
    chain = random_chain(rng)
    angles = rng.uniform(-1, 1, (len(chain.hinges), 3))
    turn = np.moveaxis(Rotation.random(3, random_state=seed).as_matrix(), 0, -1)
    origin = rng.normal(size=(3, 3))
    _, jacobian, _ = hinge_points(angles, chain, turn=turn, origin=origin)
    for h in range(len(chain.hinges)):
        step = np.zeros((len(chain.hinges), 1))
        step[h] = 1e-6
        up, down = (hinge_points(angles + s, chain, turn=turn, origin=origin)[0] for s in (step, -step))
        np.testing.assert_allclose(jacobian[:, :, h], (up - down) / 2e-6, atol=1e-8)


def test_a_two_bone_leg_is_the_leg_chain() -> None:
    leg = load_rig("adult").legs[1]
    chain = leg_hinges(leg, side="right")
    angles = np.random.default_rng(0).uniform(-1, 1, (7, 20))
    points, jacobian, _ = hinge_points(angles, chain)
    theirs, slopes = leg_jacobian(angles, LegChain.one(leg, side="right"))
    np.testing.assert_allclose(points, theirs[:, 1:] - theirs[:, :1], atol=1e-14)
    np.testing.assert_allclose(jacobian, slopes[:, 1:], atol=1e-14)


def test_wrong_chains_are_told() -> None:
    with pytest.raises(InputError, match="'w' is no axis"):
        Hinge("h", "w")
    with pytest.raises(InputError, match="carried by 3 of 1 hinges"):
        HingeChain((Hinge("h", "x"),), (("p", 3, (0.0, 0.0, 0.0)),))
    with pytest.raises(InputError, match="'middle' is no side"):
        leg_hinges(load_rig("adult").legs[0], side="middle")
    with pytest.raises(ShapeError, match=r"wanted shape \(1, frames\)"):
        hinge_points(np.zeros((2, 3)), HingeChain((Hinge("h", "x"),), ()))


# ---- against SciPy ----


def compared(preset: str, count: int) -> tuple[Array, Array]:
    """Return our costs and those of trf on targets half of which are out of reach or beyond a limit."""
    leg = load_rig(preset).legs[0]
    assert isinstance(leg, Leg)
    chain = leg_hinges(leg, side="left", foot_yaw=preset == "stalker")
    low, high = ranges(leg, chain)
    rng = np.random.default_rng(count)
    names = [name for name, _, _ in chain.points]
    used = np.array([name in HELD for name in names])
    drawn = rng.uniform(-0.6, 0.6, (len(low), count))
    drawn[3] = rng.uniform(0.0, 1.3, count)
    wanted = hinge_points(drawn, chain)[0] * np.where(np.arange(count) % 2, rng.uniform(0.8, 1.2, count), 1.0)
    start = np.clip(drawn + 0.2 * rng.normal(size=drawn.shape), low[:, None], high[:, None])
    ours = solve_bounded(
        wanted, chain, weights=used * 1.0, low=low, high=high, start=start, smooth=False, thorough=True
    )
    assert np.all(ours.angles >= low[:, None])
    assert np.all(ours.angles <= high[:, None])
    theirs = []
    for k in range(count):

        def gap(q: Array, k: int = k) -> Array:
            return np.asarray((hinge_points(q[:, None], chain)[0][:, used, 0] - wanted[:, used, k]).ravel())

        def slope(q: Array) -> Array:
            return np.asarray(hinge_points(q[:, None], chain)[1][:, used, :, 0].reshape(-1, len(low)))

        inside = np.clip(start[:, k], low + 1e-9, high - 1e-9)
        found = least_squares(gap, inside, jac=slope, bounds=(low, high), xtol=1e-12, ftol=1e-12, gtol=1e-12,
                              max_nfev=100)  # fmt: skip
        theirs.append(found.cost)
    return ours.cost, np.array(theirs)


@pytest.mark.parametrize("preset", ["adult", "stalker"])
def test_no_target_is_missed_by_more_than_by_scipy(preset: str) -> None:
    ours, theirs = compared(preset, 24)
    assert np.all(ours <= theirs + 1e-8)
    assert ours.max() > 1e-4, "some must be out of reach, or this shows nothing"


@pytest.mark.long
@pytest.mark.parametrize("preset", ["adult", "stalker"])
def test_none_of_five_hundred_targets_is_missed_by_more_than_by_scipy(preset: str) -> None:
    ours, theirs = compared(preset, 500)
    assert np.all(ours <= theirs + 1e-8)


# ---- sweeps ----


def joints_rig(preset: str = "adult", **changed: Any) -> Rig:
    rig = load_rig(preset)
    return replace(rig_in_style(rig, "joints"), **changed)


def solved(rig: Rig, hip: Array, ankle: Array, turn: Array, yaw: Array) -> Array:
    zero = np.zeros(hip.shape[1:])
    angles = np.array([zero, np.broadcast_to(yaw, zero.shape), zero])
    setting = Setting((Space(None, None), Space(None, None)), turn, hip)
    found = solve_legs(rig, FootWorld(ankle, angles, zero, zero), setting)
    assert np.all(np.isfinite(found.rows))
    assert np.all(np.isfinite(found.residual))
    for side, leg in enumerate(rig.legs):
        for row, name in enumerate(Limits.NAMES):
            low, high = getattr(leg.limits, name)
            assert found.rows[row, side].min() >= low - 1e-8, name
            assert found.rows[row, side].max() <= high + 1e-8, name
    return found.rows


def level(count: int, yaw: Array | float = 0.0) -> Array:
    return np.moveaxis(Rotation.from_euler("y", np.broadcast_to(yaw, count)[:, None]).as_matrix(), 0, -1)


def standing(rig: Rig, count: int) -> Array:
    return np.repeat(np.array([leg.hip for leg in rig.legs]).T[:, :, None], count, axis=2)


def test_an_ankle_that_goes_through_full_extension_and_back_flips_no_knee() -> None:
    rig, count = joints_rig(), 361
    rig = replace(rig, soften=0.97)
    hip = standing(rig, count)
    phase = np.linspace(0.0, 2.0 * np.pi, count)
    ankle = hip.copy()
    ankle[1] -= rig.leg * (0.95 + 0.15 * np.sin(phase))  # from 0.8 to 1.1 of the leg
    ankle[2] += 0.1 * np.sin(phase)
    rows = solved(rig, hip, ankle, level(count), np.zeros(1))
    assert np.abs(np.diff(rows, axis=-1)).max() < JUMP
    assert rows[3].min() > 0.0


def test_an_ankle_that_swings_through_the_hips_vertical_flips_no_knee() -> None:
    rig, count = joints_rig(), 361
    hip = standing(rig, count)
    phase = np.linspace(0.0, 2.0 * np.pi, count)
    ankle = hip.copy()
    ankle[0] += 0.15 * np.sin(2.0 * phase)
    ankle[1] -= 0.8 * rig.leg
    ankle[2] += 0.3 * np.sin(phase)
    rows = solved(rig, hip, ankle, level(count), np.zeros(1))
    assert np.abs(np.diff(rows, axis=-1)).max() < JUMP


def test_hips_and_feet_that_turn_a_full_circle_keep_their_angles() -> None:
    rig, count = joints_rig(), 361
    yaw = np.linspace(0.0, 2.0 * np.pi, count)
    turn = level(count, yaw)
    rest = np.array([leg.hip for leg in rig.legs]).T
    hip = np.einsum("ijn,js->isn", turn, rest)
    ankle = hip.copy()
    ankle[1] -= 0.9 * rig.leg
    rows = solved(rig, hip, ankle, turn, yaw)
    assert np.ptp(rows, axis=-1).max() < 1e-9


def test_hips_that_turn_over_standing_feet_come_to_their_limits_without_a_jump() -> None:
    rig, count = joints_rig(), 361
    yaw = 1.2 * np.sin(np.linspace(0.0, 2.0 * np.pi, count))
    rest = np.array([leg.hip for leg in rig.legs]).T
    turn = level(count, yaw)
    hip = np.einsum("ijn,js->isn", turn, rest)
    ankle = standing(rig, count)
    ankle[1] -= 0.9 * rig.leg
    rows = solved(rig, hip, ankle, turn, np.zeros(1))
    assert np.abs(np.diff(rows, axis=-1)).max() < JUMP


def test_easing_bounds_the_knees_speed() -> None:
    """Without it the knee turns with the root of the slack: ever faster towards straight."""
    reach = np.linspace(0.9, 1.3, 40_001)
    start = 0.97
    speed = np.abs(np.diff(knee_angle(eased_reach(reach, 1.0, start), 0.5, 0.5)) / np.diff(reach))
    assert speed.max() < np.sqrt(2.0 / (1.0 - start)) * 1.01
    plain = np.abs(np.diff(knee_angle(np.minimum(reach, 1.0), 0.5, 0.5)) / np.diff(reach))
    assert plain.max() > 10.0 * speed.max()
    np.testing.assert_array_equal(eased_reach(reach[:100], 1.0, start), reach[:100])
    assert np.all(eased_reach(reach, 1.0, start) < 1.0)
    assert eased_reach(reach, 1.0, 1.0) is reach


# ---- whole clips ----


def test_a_leg_out_of_reach_gives_the_nearest_pose_and_says_what_is_left() -> None:
    rig = joints_rig()
    hip = standing(rig, 2)
    ankle = hip.copy()
    ankle[1] -= 1.2 * rig.leg
    zero = np.zeros((2, 2))
    setting = Setting((Space(None, None), Space(None, None)), level(2), hip)
    found = solve_legs(rig, FootWorld(ankle, np.zeros((3, 2, 2)), zero, zero), setting)
    np.testing.assert_allclose(found.residual, 0.2 * rig.leg, atol=1e-6)


def test_planting_keeps_joints_inside_their_limits_where_that_can_be() -> None:
    clip, rig = demo("lamplighter")
    made = convert(clip, rig, style="joints")
    free = plant(made.clip, made.rig)
    style = JointLegs(made.rig)
    from surefoot.planting import scene_of

    scene = scene_of(free.clip, made.rig)
    rows = scene.binding.feet(scene.values)
    most = float(rows[4].min())
    tight = replace(made.rig.legs[0].limits, ankle_flexion=(most + 0.03, 1.0))
    rig = replace(made.rig, legs=tuple(replace(leg, limits=tight) for leg in made.rig.legs))  # type: ignore[arg-type]
    done = plant(made.clip, rig)
    scene = scene_of(done.clip, rig)
    ankle = scene.binding.feet(scene.values)[style.keys.index("ankle_flexion")]
    assert ankle.min() >= most + 0.03 - 1e-6
    assert rows[4].min() < most + 0.01
    report = check(done.clip, rig)
    assert report.most("limit") is None
    assert done.clip.channels["hips.y"] is clip.channels["hips.y"]


# ---- a third bone ----


@pytest.mark.parametrize("free", [True, False], ids=["its hock has a channel", "its hock goes with the knee"])
def test_a_leg_with_a_hock_keeps_its_ranges_where_it_can_fold_itself(free: bool) -> None:
    """Without a channel of its own the hock makes one pose of a foot's place: no other can be chosen, so it's told."""
    rig = rig_in_style(load_rig("hound_hind"), "joints")
    if not free:
        feet = {
            foot.name: replace(foot, axes={k: a for k, a in foot.axes.items() if k != "hock_flexion"})
            for foot in rig.feet
        }
        rig = replace(rig, controls={**rig.controls, **feet})
    tight = replace(rig.legs[0].limits, knee_flexion=(0.0, float(np.radians(60.0))))
    own = replace(rig, legs=(replace(rig.legs[0], limits=tight), replace(rig.legs[1], limits=tight)))
    count = 24
    hip = np.array([[[0.06], [-0.06]], [[0.5], [0.5]], [[0.0], [0.0]]]) + np.zeros((3, 2, count))
    ankle = hip - np.array([0.0, 0.45, 0.0])[:, None, None]
    ankle[2] += np.linspace(-0.1, 0.15, count)
    turn = np.broadcast_to(np.eye(3)[:, :, None], (3, 3, count))
    feet_at = FootWorld(ankle, np.zeros((3, 2, count)), np.zeros((2, count)), np.zeros((2, count)))
    setting = Setting((Space(None, None), Space(None, None)), turn, hip)
    solved = solve_legs(own, feet_at, setting)
    folded = solved.rows[3].max()
    if free:
        assert folded <= np.radians(60.0) + 1e-9
        assert folded >= np.radians(59.9)
        assert solved.residual.max() <= 1e-6
    else:
        assert folded > np.radians(61.0)
        assert solved.residual.max() <= 1e-9
        assert not solved.at_limit.any()
