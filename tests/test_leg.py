"""A leg by joint angles: its points, its Jacobian, its knee, and the angles back from a pose."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pytest
import sympy

from surefoot import leg_chain
from surefoot.directions import PARALLEL
from surefoot.errors import InputError, OutOfReach, ShapeError
from surefoot.leg import knee_angle, knee_forward, knee_point, strict_knee_angle
from surefoot.leg_chain import POINTS, LegChain, leg_jacobian, leg_points
from surefoot.leg_joints import JointAngles, joint_angles
from surefoot.rig import Foot, Leg, Limits
from surefoot.rotations import angles_of, apply, compose, matrix

OUTLINE = [[-0.03, -0.06], [0.05, -0.06], [0.05, 0.18], [-0.03, 0.18]]
FOOT = Foot([0.005, -0.06, -0.06], [0.012, -0.045, 0.115], [0.02, -0.06, 0.18], OUTLINE)
LEFT = Leg([0.09, -0.05, 0.01], 0.42, 0.41, FOOT)
RIGHT = LEFT.mirrored()
SIDES = [("left", LEFT, 1.0), ("right", RIGHT, -1.0)]
LOW, HIGH = (np.array([getattr(Limits(), name)[i] for name in Limits.NAMES])[:, None] for i in (0, 1))


def random_angles(seed: int, count: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(LOW, HIGH, (7, count))


def random_turn(seed: int, count: int) -> np.ndarray:
    from scipy.spatial.transform import Rotation

    return np.moveaxis(Rotation.random(count, random_state=seed).as_matrix(), 0, -1)


def one(values: list[float]) -> np.ndarray:
    return np.array(values, dtype=float)[:, None]


def bent(**angles: float) -> np.ndarray:
    """Return the seven angles of one frame, zero but for those named, in degrees."""
    return one([np.radians(angles.get(name, 0.0)) for name in Limits.NAMES])


def place(angles: np.ndarray, point: str, side: str = "left") -> np.ndarray:
    leg = LEFT if side == "left" else RIGHT
    chain = LegChain.one(leg, side=side)
    return leg_points(angles, chain)[:, POINTS.index(point), 0]


@lru_cache(maxsize=1)
def derived() -> tuple[Any, Any]:
    """Return functions for a leg's points and Jacobian that SymPy derived from the chain of hinges alone."""
    q = sympy.symbols("q1:8")
    sign, thigh, shank = sympy.symbols("s a b")
    hip, heel, ball, toe = (sympy.Matrix(sympy.symbols(f"{n}x {n}y {n}z")) for n in ("h", "e", "l", "t"))

    def about(axis: str, angle: Any) -> Any:
        # sympy's own rotation matrices turn the axes, so the angle is taken the other way
        return getattr(sympy, f"rot_axis{'xyz'.index(axis) + 1}")(-angle)

    upper = about("x", -q[0]) * about("z", sign * q[1]) * about("y", -sign * q[2])
    lower = upper * about("x", q[3])
    foot = lower * about("x", -q[4]) * about("z", -sign * q[5])
    toes = foot * about("x", -q[6])
    knee = hip + upper * sympy.Matrix([0, -thigh, 0])
    ankle = knee + lower * sympy.Matrix([0, -shank, 0])
    hinge = ankle + foot * ball
    points = sympy.Matrix.hstack(hip, knee, ankle, ankle + foot * heel, hinge, hinge + toes * toe)
    jacobian = [[[points[i, j].diff(angle) for angle in q] for j in range(6)] for i in range(3)]
    inputs = (q, sign, thigh, shank, tuple(hip), tuple(heel), tuple(ball), tuple(toe))
    flat = [term for row in jacobian for column in row for term in column]
    return (
        sympy.lambdify(inputs, list(points), "numpy", cse=True),
        sympy.lambdify(inputs, flat, "numpy", cse=True),
    )


def measures(leg: Leg, sign: float) -> tuple[Any, ...]:
    foot = leg.foot
    return (sign, leg.thigh, leg.shank, leg.hip, foot.heel, foot.ball, foot.toe - foot.ball)


class TestChain:
    @pytest.mark.parametrize(("side", "leg", "sign"), SIDES)
    def test_points_and_jacobian_are_those_that_sympy_derives_term_by_term(
        self, side: str, leg: Leg, sign: float
    ) -> None:
        q = random_angles(3, 50)
        points, jacobian = leg_jacobian(q, LegChain.one(leg, side=side))
        by_points, by_jacobian = derived()
        for i, term in enumerate(by_points(q, *measures(leg, sign))):
            got = points[i // 6, i % 6]
            np.testing.assert_allclose(got, np.broadcast_to(term, got.shape), rtol=0, atol=1e-15, err_msg=f"point {i}")
        moving = 0
        for i, term in enumerate(by_jacobian(q, *measures(leg, sign))):
            at = np.unravel_index(i, (3, 6, 7))
            got = jacobian[at]
            np.testing.assert_allclose(got, np.broadcast_to(term, got.shape), rtol=0, atol=1e-15, err_msg=str(at))
            moving += bool(np.any(term))
        # 25 pairs of hinge and moved point; turning about the lateral axis never moves a point sideways
        # only where that axis is still the hips' own: five terms of the first hinge are zero
        assert moving == 25 * 3 - 5

    def test_points_alone_equal_the_points_that_come_with_the_jacobian(self) -> None:
        chain = LegChain.one(LEFT, side="left")
        q, turn = random_angles(1, 9), random_turn(1, 9)
        np.testing.assert_array_equal(leg_points(q, chain, hips_turn=turn), leg_jacobian(q, chain, hips_turn=turn)[0])

    def test_a_leg_at_rest_hangs_straight_down_with_its_foot_flat(self) -> None:
        rest = np.zeros((7, 1))
        np.testing.assert_allclose(place(rest, "ankle"), LEFT.hip - np.array([0, 0.83, 0]), atol=1e-15)
        for name in ("heel", "ball", "toe"):
            np.testing.assert_allclose(place(rest, name), place(rest, "ankle") + getattr(FOOT, name), atol=1e-15)

    @pytest.mark.parametrize("side", ["left", "right"])
    @pytest.mark.parametrize(
        ("joint", "point", "axis", "towards"),
        [
            ("hip_flexion", "knee", 2, 1),  # the thigh comes forward
            ("knee_flexion", "ankle", 2, -1),  # the shank folds back
            ("ankle_flexion", "toe", 1, 1),  # the toes come up
            ("toe_bend", "toe", 1, 1),
        ],
    )
    def test_flexions_lift_the_front_on_both_sides(
        self, side: str, joint: str, point: str, axis: int, towards: int
    ) -> None:
        moved = place(bent(**{joint: 10.0}), point, side) - place(bent(), point, side)
        assert moved[axis] * towards > 0.005

    @pytest.mark.parametrize(("side", "outwards"), [("left", 1), ("right", -1)])
    def test_abduction_carries_the_foot_outwards_and_inversion_turns_the_sole_inwards(
        self, side: str, outwards: int
    ) -> None:
        apart = place(bent(hip_abduction=10.0), "ankle", side) - place(bent(), "ankle", side)
        assert apart[0] * outwards > 0.1
        # a point of the sole under the ankle goes to the middle as the sole turns there
        under = place(bent(ankle_inversion=10.0), "heel", side) - place(bent(), "heel", side)
        assert under[0] * outwards < -0.005

    @pytest.mark.parametrize(("side", "outwards"), [("left", 1), ("right", -1)])
    def test_positive_hip_rotation_turns_the_toes_in(self, side: str, outwards: int) -> None:
        turned = place(bent(hip_rotation=10.0), "toe", side) - place(bent(), "toe", side)
        assert turned[0] * outwards < -0.02

    def test_equal_angles_on_both_legs_are_mirrored_poses(self) -> None:
        q = random_angles(4, 20)
        left, left_by = leg_jacobian(q, LegChain.one(LEFT, side="left"))
        right, right_by = leg_jacobian(q, LegChain.one(RIGHT, side="right"))
        flip = np.array([-1.0, 1.0, 1.0])
        np.testing.assert_allclose(right, left * flip[:, None, None], atol=1e-15)
        np.testing.assert_allclose(right_by, left_by * flip[:, None, None, None], atol=1e-15)

    def test_both_legs_at_once_are_each_leg_alone(self) -> None:
        q = np.stack([random_angles(5, 11), random_angles(6, 11)], axis=1)
        turn, hip = random_turn(2, 11), np.random.default_rng(2).normal(size=(3, 2, 11))
        both, both_by = leg_jacobian(q, two(), hips_turn=turn, hip=hip)
        for i, (side, leg, _) in enumerate(SIDES):
            alone, alone_by = leg_jacobian(q[:, i], LegChain.one(leg, side=side), hips_turn=turn, hip=hip[:, i])
            np.testing.assert_array_equal(both[:, :, i], alone)
            np.testing.assert_array_equal(both_by[:, :, :, i], alone_by)

    def test_turning_the_hips_turns_points_and_jacobian(self) -> None:
        q, turn = random_angles(7, 30), random_turn(7, 30)
        chain = LegChain.one(RIGHT, side="right")
        still, still_by = leg_jacobian(q, chain)
        points, by = leg_jacobian(q, chain, hips_turn=turn)
        np.testing.assert_allclose(points, np.einsum("ijf,jpf->ipf", turn, still), atol=1e-15)
        np.testing.assert_allclose(by, np.einsum("ijf,jpqf->ipqf", turn, still_by), atol=1e-15)

    def test_a_long_clip_worked_through_in_blocks_is_the_same(self, monkeypatch: pytest.MonkeyPatch) -> None:
        q = np.stack([random_angles(8, 50), random_angles(9, 50)], axis=1)
        turn = random_turn(3, 50)
        whole = leg_jacobian(q, two(), hips_turn=turn)
        monkeypatch.setattr(leg_chain, "BLOCK", 14)
        parts = leg_jacobian(q, two(), hips_turn=turn)
        for a, b in zip(whole, parts, strict=True):
            np.testing.assert_array_equal(a, b)

    def test_no_frames_give_no_points(self) -> None:
        points, jacobian = leg_jacobian(np.zeros((7, 0)), LegChain.one(LEFT, side="left"))
        assert points.shape == (3, 6, 0)
        assert jacobian.shape == (3, 6, 7, 0)

    def test_angles_that_do_not_fit_the_chain_are_refused_with_the_wanted_shape(self) -> None:
        with pytest.raises(ShapeError, match=r"angles: wanted shape \(7, 2, frames\), got \(7, 5\)"):
            leg_points(np.zeros((7, 5)), two())
        with pytest.raises(ShapeError, match=r"wanted shape \(7, frames\), got \(6, 5\)"):
            leg_points(np.zeros((6, 5)), LegChain.one(LEFT, side="left"))

    def test_a_side_that_is_none_is_refused(self) -> None:
        with pytest.raises(InputError, match="'middle' is no side; use left or right"):
            LegChain.one(LEFT, side="middle")


@lru_cache(maxsize=1)
def two() -> LegChain:
    from surefoot.rig import Control, Rig

    controls = {name: Control(name, {}) for name in ("hips", "left_foot", "right_foot")}
    return LegChain.of(Rig("pair", (LEFT, RIGHT), controls))


class TestKneeAngle:
    def test_a_right_angled_leg_has_a_right_angle(self) -> None:
        assert float(knee_angle(np.array(5.0), 3.0, 4.0)) == pytest.approx(np.pi / 2, abs=1e-15)

    def test_straight_folded_and_out_of_reach_are_pi_and_zero_exactly(self) -> None:
        reach = np.array([0.83, 1.0, 9.0, 0.42 - 0.41, 0.0, 0.005])
        np.testing.assert_array_equal(knee_angle(reach, 0.42, 0.41), [np.pi] * 3 + [0.0] * 3)
        assert float(knee_angle(np.array(0.0), 0.4, 0.4)) == 0.0

    def test_thigh_and_shank_may_be_swapped(self) -> None:
        reach = np.linspace(0.001, 0.9, 200)
        np.testing.assert_array_equal(knee_angle(reach, 0.5, 0.3), knee_angle(reach, 0.3, 0.5))

    def test_it_opens_as_the_reach_grows(self) -> None:
        reach = 0.83 - np.geomspace(1e-15, 0.5, 300)[::-1]
        angle = knee_angle(reach, 0.42, 0.41)
        assert np.all(np.diff(angle)[np.diff(reach) > 0] > 0)


class TestStrict:
    def test_within_reach_it_is_the_plain_angle(self) -> None:
        reach = np.linspace(0.0100001, 0.83, 50)
        np.testing.assert_array_equal(strict_knee_angle(reach, 0.42, 0.41), knee_angle(reach, 0.42, 0.41))

    def test_too_far_names_the_place_and_the_metres_missing(self) -> None:
        reach = np.array([[0.5, 0.84], [0.8, 0.86]])
        with pytest.raises(OutOfReach, match=r"0\.03 m too far from the hip at index \(1, 1\)") as caught:
            strict_knee_angle(reach, 0.42, 0.41)
        assert caught.value.index == (1, 1)
        assert caught.value.missing == pytest.approx(0.03, abs=1e-15)

    def test_too_near_says_so(self) -> None:
        with pytest.raises(OutOfReach, match=r"0\.1 m too near the hip; move either") as caught:
            strict_knee_angle(np.array(0.1), 0.5, 0.3)
        assert caught.value.missing == pytest.approx(0.1, abs=1e-15)

    def test_rounding_at_full_stretch_is_let_pass(self) -> None:
        assert float(strict_knee_angle(np.array(0.83 * (1 + 1e-15)), 0.42, 0.41)) == np.pi


def leg_lines(seed: int, count: int, share: tuple[float, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return hips, ankles at ``share`` of a 0.83 m leg, and directions."""
    random = np.random.default_rng(seed)
    hip, way, forward = random.normal(size=(3, 3, count))
    way *= random.uniform(*share, count) * 0.83 / np.linalg.norm(way, axis=0)
    return hip, hip + way, forward / np.linalg.norm(forward, axis=0)


class TestKneePoint:
    def test_it_lies_a_thigh_from_the_hip_and_a_shank_from_the_ankle(self) -> None:
        hip, ankle, forward = leg_lines(1, 500, (0.02, 1.0))
        knee = knee_point(hip, ankle, forward, 0.42, 0.41)
        np.testing.assert_allclose(np.linalg.norm(knee - hip, axis=0), 0.42, atol=2e-15)
        np.testing.assert_allclose(np.linalg.norm(knee - ankle, axis=0), 0.41, atol=5e-15)

    def test_it_lies_on_the_side_of_its_direction_in_the_plane_of_leg_and_direction(self) -> None:
        hip, ankle, forward = leg_lines(2, 500, (0.02, 0.999))
        bulge = knee_point(hip, ankle, forward, 0.42, 0.41) - hip
        normal = np.cross(ankle - hip, forward, axis=0)
        np.testing.assert_allclose(np.sum(normal * bulge, axis=0), 0.0, atol=1e-14)
        way = (ankle - hip) / np.linalg.norm(ankle - hip, axis=0)
        square = forward - np.sum(way * forward, axis=0) * way
        assert np.all(np.sum(square * bulge, axis=0) > 0)

    def test_an_ankle_out_of_reach_draws_the_leg_straight_towards_it(self) -> None:
        hip, ankle, forward = leg_lines(3, 50, (1.0 + 1e-12, 3.0))
        knee = knee_point(hip, ankle, forward, 0.42, 0.41)
        way = (ankle - hip) / np.linalg.norm(ankle - hip, axis=0)
        np.testing.assert_allclose(knee, hip + 0.42 * way, atol=1e-15)

    @pytest.mark.parametrize(("thigh", "shank", "towards"), [(0.5, 0.3, 1.0), (0.3, 0.5, -1.0)])
    def test_an_ankle_too_near_folds_the_leg_flat(self, thigh: float, shank: float, towards: float) -> None:
        hip, ankle, forward = leg_lines(4, 50, (0.01, 0.2))
        way = (ankle - hip) / np.linalg.norm(ankle - hip, axis=0)
        knee = knee_point(hip, ankle, forward, thigh, shank)
        np.testing.assert_allclose(knee, hip + towards * thigh * way, atol=1e-15)

    def test_it_moves_without_a_jump_as_the_leg_straightens_and_passes_its_reach(self) -> None:
        reach = 0.83 + np.linspace(-1e-12, 1e-12, 2001)
        zero = np.zeros_like(reach)
        hip, ankle = np.array([zero, zero, zero]), np.array([zero, -reach, zero])
        knee = knee_point(hip, ankle, np.array([zero, zero, zero + 1]), 0.42, 0.41)
        # the height of a thin triangle: sqrt(2 slack thigh shank / (thigh + shank))
        slack = np.maximum((0.42 - reach) + 0.41, 0.0)
        np.testing.assert_allclose(knee[2], np.sqrt(2 * slack * 0.42 * 0.41 / 0.83), rtol=1e-11, atol=0)

    def test_both_legs_and_each_their_own_lengths(self) -> None:
        hip, ankle, forward = (np.reshape(v, (3, 2, 20)) for v in leg_lines(5, 40, (0.3, 0.9)))
        thigh, shank = np.array([[0.42], [0.5]]), np.array([[0.41], [0.4]])
        both = knee_point(hip, ankle, forward, thigh, shank)
        for i in (0, 1):
            alone = knee_point(hip[:, i], ankle[:, i], forward[:, i], thigh[i, 0], shank[i, 0])
            np.testing.assert_array_equal(both[:, i], alone)


def standing(forward: list[list[float]], *, reach: float = 0.7) -> tuple[np.ndarray, ...]:
    """Return hip, ankle straight below, and the directions of as many frames."""
    count = len(forward)
    hip = np.zeros((3, count))
    return hip, hip + one([0.0, -reach, 0.0]), np.array(forward, dtype=float).T


AHEAD, DOWN, ASIDE = [0.0, 0.0, 1.0], [0.0, -1.0, 0.0], [1.0, 0.0, 0.0]


class TestLostDirection:
    def test_a_direction_along_the_leg_keeps_the_last_frames_that_was_not(self) -> None:
        knee = knee_point(*standing([AHEAD, DOWN, DOWN, ASIDE, DOWN]), 0.42, 0.41)
        plain = knee_point(*standing([AHEAD, AHEAD, AHEAD, ASIDE, ASIDE]), 0.42, 0.41)
        np.testing.assert_array_equal(knee, plain)

    def test_the_first_frames_take_the_first_direction_that_comes(self) -> None:
        knee = knee_point(*standing([DOWN, [0, 0, 0], AHEAD, ASIDE]), 0.42, 0.41)
        np.testing.assert_array_equal(knee, knee_point(*standing([AHEAD, AHEAD, AHEAD, ASIDE]), 0.42, 0.41))

    def test_each_leg_keeps_its_own(self) -> None:
        hip, ankle, _ = standing([AHEAD] * 3)
        given = [[AHEAD, DOWN, ASIDE], [ASIDE, ASIDE, DOWN]]
        meant = [[AHEAD, AHEAD, ASIDE], [ASIDE, ASIDE, ASIDE]]
        hip, ankle = (np.repeat(v[:, None], 2, axis=1) for v in (hip, ankle))
        knee, wanted = (knee_point(hip, ankle, np.moveaxis(np.array(v), 2, 0), 0.42, 0.41) for v in (given, meant))
        np.testing.assert_array_equal(knee, wanted)

    def test_a_direction_that_never_comes_still_gives_a_knee_of_the_right_lengths(self) -> None:
        hip, ankle, forward = standing([DOWN, DOWN])
        knee = knee_point(hip, ankle, forward, 0.42, 0.41)
        np.testing.assert_allclose(np.linalg.norm(knee - hip, axis=0), 0.42, atol=1e-15)
        np.testing.assert_allclose(np.linalg.norm(knee - ankle, axis=0), 0.41, atol=1e-15)

    def test_a_kept_direction_that_the_leg_then_points_along_gives_way_to_any(self) -> None:
        hip = np.zeros((3, 2))
        ankle = np.array([DOWN, AHEAD]).T * 0.7
        knee = knee_point(hip, ankle, np.array([AHEAD, AHEAD]).T, 0.42, 0.41)
        np.testing.assert_allclose(np.linalg.norm(knee - ankle, axis=0), 0.41, atol=1e-15)

    @pytest.mark.parametrize(("size", "counts"), [(0.5 * PARALLEL, False), (2.0 * PARALLEL, True)])
    def test_both_sides_of_the_threshold(self, size: float, counts: bool) -> None:
        knee = knee_point(*standing([AHEAD, [size, -1.0, 0.0]]), 0.42, 0.41)
        assert (abs(knee[0, 1]) > 0.1) == counts
        assert (abs(knee[2, 1]) > 0.1) == (not counts)

    def test_an_ankle_on_the_hip_keeps_the_last_frames_line(self) -> None:
        hip = np.zeros((3, 3))
        ankle = np.array([[0.3, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, -0.3, 0.0]]).T
        knee = knee_point(hip, ankle, np.array([AHEAD] * 3).T, 0.4, 0.4)
        np.testing.assert_allclose(knee[:, 1], [0.0, 0.0, 0.4], atol=1e-15)  # square to the line, as bones alike are
        longer = knee_point(hip, ankle, np.array([AHEAD] * 3).T, 0.5, 0.4)
        np.testing.assert_allclose(longer[:, 1], [0.5, 0.0, 0.0], atol=1e-15)

    def test_an_ankle_on_the_hip_throughout_hangs_the_leg_down(self) -> None:
        knee = knee_point(np.zeros((3, 2)), np.zeros((3, 2)), np.array([AHEAD] * 2).T, 0.5, 0.4)
        np.testing.assert_allclose(knee, one([0.0, -0.5, 0.0]) * [1, 1], atol=1e-15)


class TestKneeForward:
    def angles(self, *yaw: float, pitch: float = 0.0) -> np.ndarray:
        return np.radians([[[pitch], [pitch]], [[v] for v in yaw], [[0.0], [0.0]]])

    def test_it_lies_half_way_between_hips_and_foot(self) -> None:
        hips = matrix(np.zeros(1), np.radians([20.0]), np.zeros(1))
        forward = knee_forward(hips, self.angles(60.0, 0.0), np.zeros((2, 1)))
        heading = np.degrees(np.arctan2(forward[0], forward[2]))[:, 0]
        np.testing.assert_allclose(heading, [40.0, 10.0], atol=1e-13)

    def test_a_lifted_heel_does_not_pull_the_knee_down(self) -> None:
        hips = matrix(*np.zeros((3, 1)))
        still = np.zeros((2, 1))
        flat = knee_forward(hips, self.angles(5.0, -5.0), still)
        np.testing.assert_array_equal(flat, knee_forward(hips, self.angles(5.0, -5.0, pitch=80.0), still))

    def test_positive_twist_turns_both_hanging_knees_to_the_characters_right(self) -> None:
        hips = matrix(*np.zeros((3, 1)))
        hip = np.zeros((3, 2, 1))
        ankle = hip + np.array([0.0, -0.7, 0.0])[:, None, None]
        turned = knee_forward(hips, self.angles(0.0, 0.0), np.radians([[30.0], [30.0]]), hip=hip, ankle=ankle)
        np.testing.assert_allclose(turned[0], -2 * np.sin(np.radians(30.0)), atol=1e-15)
        np.testing.assert_allclose(turned[2], 2 * np.cos(np.radians(30.0)), atol=1e-15)

    def test_twist_agrees_with_scipys_rotation_vectors(self) -> None:
        from scipy.spatial.transform import Rotation

        random = np.random.default_rng(8)
        hips, hip, ankle = random_turn(8, 6), random.normal(size=(3, 2, 6)), random.normal(size=(3, 2, 6))
        angles, twist = random.uniform(-1, 1, (3, 2, 6)), random.uniform(-3, 3, (2, 6))
        plain = knee_forward(hips, angles, np.zeros((2, 6)))
        got = knee_forward(hips, angles, twist, hip=hip, ankle=ankle)
        for foot in (0, 1):
            way = (ankle - hip)[:, foot]
            turns = Rotation.from_rotvec((twist[foot] * way / np.linalg.norm(way, axis=0)).T)
            np.testing.assert_allclose(got[:, foot].T, turns.apply(plain[:, foot].T), atol=1e-14)

    def test_opposed_hips_and_foot_give_no_direction_and_the_knee_keeps_its_last(self) -> None:
        hips = matrix(*np.zeros((3, 2)))
        yaw = np.radians([[0.0, 180.0], [0.0, 180.0]])
        zero = np.zeros_like(yaw)
        forward = knee_forward(hips, np.array([zero, yaw, zero]), zero)
        hip = np.zeros((3, 2, 2))
        ankle = hip + np.array([0.0, -0.7, 0.0])[:, None, None]
        knee = knee_point(hip, ankle, forward, 0.42, 0.41)
        np.testing.assert_array_equal(knee[..., 1], knee[..., 0])

    def test_a_twist_without_joints_is_refused(self) -> None:
        with pytest.raises(InputError, match="knee_forward: wanted hip and ankle where the knees are turned"):
            knee_forward(matrix(*np.zeros((3, 1))), np.zeros((3, 2, 1)), np.ones((2, 1)))


def smooth_angles(seed: int, count: int, knee: tuple[float, float] = (1.0, 158.0)) -> np.ndarray:
    """Return angles of both legs ``(7, 2, frames)`` that wander smoothly through the joints' ranges."""
    random = np.random.default_rng(seed)
    low, high = LOW[..., None].copy(), HIGH[..., None].copy()
    low[3], high[3] = np.radians(knee)
    wave = np.cumsum(random.normal(size=(7, 2, count)), axis=-1) * 0.05 + random.uniform(-3, 3, (7, 2, 1))
    return (low + high) / 2 + (high - low) / 2 * np.sin(wave)


def foot_turn(q: np.ndarray, hips: np.ndarray, sign: np.ndarray, yaw: Any = 0.0) -> np.ndarray:
    """Return world from foot of the chain, by scipy's rotations; ``yaw`` turns the foot about the shank."""
    from scipy.spatial.transform import Rotation

    shape = q.shape[1:]
    s = np.broadcast_to(sign, shape).ravel()
    a = q.reshape(7, -1)
    upper = Rotation.from_euler("XZY", np.stack([-a[0], s * a[1], -s * a[2]], axis=1))
    lower = upper * Rotation.from_euler("X", a[3][:, None])
    about = np.broadcast_to(yaw, shape).ravel()
    foot = lower * Rotation.from_euler("YXZ", np.stack([about, -a[4], -s * a[5]], axis=1))
    local = np.moveaxis(foot.as_matrix(), 0, -1).reshape(3, 3, *shape)
    return compose(hips[:, :, None] if q.ndim == 3 else hips, local)


def read_back(q: np.ndarray, hips: np.ndarray, chain: LegChain, *, yaw: Any = 0.0) -> JointAngles:
    """Pose legs by the chain and ask for their angles again, knees pointing along the thigh's front."""
    points = leg_points(q, chain, hips_turn=hips)
    turn = foot_turn(q, hips, chain.sign, yaw)
    zero = np.zeros(1)
    feet = np.array(angles_of(turn, near=(zero, zero, zero)))
    # the direction of the knee: the front of thigh and shank together, which stands square to neither bone
    knee_half = q.copy()
    knee_half[3] /= 2
    knee_half[4:] = 0
    front = apply(foot_turn(knee_half, hips, chain.sign), np.array([0.0, 0.0, 1.0]))
    hip, knee, ankle = points[:, 0], points[:, 1], points[:, 2]
    return joint_angles(hips, hip, knee, ankle, feet, q[6], chain=chain, forward=front)


def wandering_hips(count: int) -> np.ndarray:
    return matrix(*np.cumsum(np.random.default_rng(9).normal(size=(3, count)), axis=1) * 0.02)


class TestJointAngles:
    def test_they_are_those_that_posed_the_legs(self) -> None:
        q = smooth_angles(1, 400)
        back = read_back(q, wandering_hips(400), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)
        np.testing.assert_allclose(back.foot_yaw, 0.0, atol=1e-12)

    @pytest.mark.parametrize(("side", "leg"), [("left", LEFT), ("right", RIGHT)])
    def test_one_leg_alone_too(self, side: str, leg: Leg) -> None:
        q = smooth_angles(2, 100)[:, 0]
        back = read_back(q, wandering_hips(100), LegChain.one(leg, side=side))
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)

    @pytest.mark.parametrize("degrees", [1e-3, 1e-4, 4e-5, 1e-6, 0.0])
    def test_a_straight_leg_takes_its_plane_from_the_knees_direction(self, degrees: float) -> None:
        q = smooth_angles(3, 60)
        q[3] = np.radians(degrees)
        back = read_back(q, wandering_hips(60), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=2e-9)  # rounding of points over a thin triangle

    def test_a_knee_bent_backwards_comes_out_negative(self) -> None:
        q = smooth_angles(4, 60, knee=(-15.0, -0.5))
        back = read_back(q, wandering_hips(60), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-11)

    @pytest.mark.parametrize("degrees", [90.0, 5.0, 0.1])
    def test_sitting_with_the_thigh_along_the_knees_direction_takes_the_plane_from_the_bones(
        self, degrees: float
    ) -> None:
        q = np.zeros((7, 2, 1))
        q[0], q[3] = np.pi / 2, np.radians(degrees)
        hips = matrix(*np.zeros((3, 1)))
        points, ahead = leg_points(q, two()), np.broadcast_to(np.array(AHEAD)[:, None, None], (3, 2, 1))
        feet = np.zeros((3, 2, 1))
        feet[0] = q[3] - q[0]
        back = joint_angles(hips, points[:, 0], points[:, 1], points[:, 2], feet, q[6], chain=two(), forward=ahead)
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)

    def test_a_foot_turned_about_the_shank_is_told_and_leaves_the_other_angles_alone(self) -> None:
        q = smooth_angles(5, 80)
        yaw = np.radians(25.0) * np.sin(np.arange(80) / 9) + np.array([[0.1], [-0.2]])
        back = read_back(q, wandering_hips(80), two(), yaw=yaw)
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)
        np.testing.assert_allclose(back.foot_yaw, yaw, rtol=0, atol=1e-12)

    def test_a_leg_swung_through_whole_turns_counts_on(self) -> None:
        q = np.zeros((7, 2, 200))
        q[0] = np.linspace(0, 13.0, 200)
        q[3] = 0.4
        back = read_back(q, wandering_hips(200), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)

    def test_a_kick_sideways_past_level_goes_on_without_a_jump(self) -> None:
        q = np.zeros((7, 2, 101))
        q[0] = 0.3
        q[1] = np.radians(np.linspace(60.0, 140.0, 101) + 0.05)  # past a quarter turn, not exactly on it
        q[2], q[3] = 0.2, 0.5
        back = read_back(q, wandering_hips(101), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-10)

    def test_a_thigh_straight_sideways_keeps_the_last_flexion(self) -> None:
        q = np.zeros((7, 2, 3))
        q[0], q[2], q[3] = 0.3, 0.2, 0.5
        q[1] = [np.radians(80), np.pi / 2, np.radians(85)]
        back = read_back(q, wandering_hips(3), two())
        np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-7)

    def test_turning_and_shifting_the_world_changes_nothing(self) -> None:
        q, hips = smooth_angles(6, 50), wandering_hips(50)
        turned = compose(matrix(*np.array([0.3, -1.2, 0.4])[:, None]), hips)
        np.testing.assert_allclose(
            read_back(q, turned, two()).angles, read_back(q, hips, two()).angles, rtol=0, atol=1e-12
        )

    def test_a_whole_leg_made_by_the_knees_direction_is_drawn_again_by_its_angles(self) -> None:
        """Hips and feet in, knees by their direction, angles out, the same points again by the chain."""
        random, count, chain = np.random.default_rng(11), 120, two()
        hips = matrix(*random.uniform(-0.4, 0.4, (3, count)))
        hip = apply(hips[:, :, None], chain.hip) + random.normal(size=(3, 1, count))
        down = np.array([0.0, -0.7, 0.0])[:, None, None]
        ankle = hip + down + random.uniform(-0.25, 0.25, (3, 2, count))
        feet, bend = random.uniform(-0.6, 0.6, (3, 2, count)), random.uniform(-0.3, 0.8, (2, count))
        twist = random.uniform(-0.5, 0.5, (2, count))
        forward = knee_forward(hips, feet, twist, hip=hip, ankle=ankle)
        knee = knee_point(hip, ankle, forward, chain.thigh, chain.shank)
        found = joint_angles(hips, hip, knee, ankle, feet, bend, chain=chain, forward=forward)
        again = leg_points(found.angles, chain, hips_turn=hips, hip=hip)
        np.testing.assert_allclose(again[:, 1], knee, atol=1e-13)
        reached = np.linalg.norm(ankle - hip, axis=0) <= 0.83
        assert 0.5 < reached.mean() < 1.0
        np.testing.assert_allclose(again[:, 2][:, reached], ankle[:, reached], atol=1e-13)
        assert np.all(found.angles[3] > -1e-7)  # a knee never comes out bent backwards
        turn = foot_turn(found.angles, hips, chain.sign, found.foot_yaw)
        np.testing.assert_allclose(turn, matrix(*feet), atol=1e-12)

    def test_one_frame_and_none_are_enough(self) -> None:
        for count in (0, 1):
            q = smooth_angles(7, 5)[..., :count]
            back = read_back(q, wandering_hips(5)[..., :count], two())
            assert back.angles.shape == (7, 2, count)
            np.testing.assert_allclose(back.angles, q, rtol=0, atol=1e-12)
