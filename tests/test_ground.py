"""Grounds answer height, normal, depth and corners, and refuse what isn't a ground."""

from __future__ import annotations

import math
import pickle
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import InputError, ShapeError, UnitError
from surefoot.ground import Flat, Ground, Plane, Profile
from surefoot.ground_file import load_ground

HILL_STREET = Path(__file__).parents[1] / "demos" / "data" / "hill_street.toml"
HEAD = 'surefoot = "ground/1"\nunit = "m"\n'
STAIRS = Profile.stairs(riser=0.17, tread=0.29, count=4, start=0.5)


def every_kind() -> list[Ground]:
    return [
        Flat(0.3),
        Plane.slope(0.12, heading=0.7, point=(0.1, 0.2, 0.3)),
        Profile.stairs(riser=0.17, tread=0.29, count=4, start=0.2, heading=-0.4, origin=(0.2, 0.1, -0.3)),
        Profile.stairs(riser=-0.15, tread=0.3, count=3, heading=2.0),
        Profile.ramp(rise=0.5, run=3.0, heading=1.1),
        load_ground(HILL_STREET),
    ]


def turned(x: np.ndarray, z: np.ndarray, yaw: float, about: tuple[float, float, float]) -> tuple:
    """Turn points about a vertical by complex numbers: z + ix is multiplied by exp(i yaw)."""
    point = (z - about[2]) + 1j * (x - about[0])
    point = point * np.exp(1j * yaw)
    return point.imag + about[0], point.real + about[2]


@pytest.fixture
def cloud() -> np.ndarray:
    return np.random.default_rng(4).uniform((-2, -0.5, -2), (2, 1.2, 2), (500, 3)).T


class TestHeight:
    def test_flat_ground_has_its_height_everywhere(self) -> None:
        assert Flat(0.25).height(np.zeros(4), 3.0).tolist() == [0.25] * 4
        assert Flat().height(1.0, 2.0).shape == ()

    def test_a_twelve_percent_slope_rises_twelve_centimetres_a_metre_along_its_heading(self) -> None:
        plane = Plane.slope(0.12, heading=math.pi / 2)
        np.testing.assert_allclose(plane.height([0, 1, 1], [0, 0, 5]), [0, 0.12, 0.12], atol=1e-15)
        by_angle = Plane.slope(angle=math.atan(0.12), heading=math.pi / 2)
        assert plane.isclose(by_angle, atol=1e-15)

    def test_stairs_give_each_tread_its_height_and_the_upper_one_on_the_riser(self) -> None:
        z = [-1.0, np.nextafter(0.5, 0), 0.5, 0.78, 0.79, 1.08, 1.3699999, 9.0]
        expected = np.array([0, 0, 1, 1, 2, 3, 3, 4]) * 0.17
        np.testing.assert_allclose(STAIRS.height(7.0, z), expected, atol=1e-15)

    def test_going_down_the_edge_itself_still_belongs_to_the_upper_tread(self) -> None:
        down = Profile.kerb(height=-0.12, at=1.0)
        z = [np.nextafter(1.0, 0), 1.0, np.nextafter(1.0, 2)]
        assert down.height(0.0, z).tolist() == [0.0, 0.0, -0.12]

    def test_a_wall_between_two_lower_grounds_is_as_high_as_its_top(self) -> None:
        """A riser may end a slope that already stands above or below it."""
        wall = Profile([0, 1, 1, 2, 2, 3], [0, 0.1, 0.4, 0.4, 0.2, 0.2])
        np.testing.assert_allclose(wall.height(0, [0.5, 1.0, 2.0, 2.5]), [0.05, 0.4, 0.4, 0.2], atol=1e-15)

    def test_a_profile_is_level_beyond_both_ends(self) -> None:
        ramp = Profile.ramp(rise=0.5, run=6.0, start=1.0)
        assert ramp.height(0, [-100, 1.0, 4.0, 7.0, 100]).tolist() == [0, 0, 0.25, 0.5, 0.5]

    def test_a_distance_off_by_rounding_makes_a_riser_not_a_cliff_of_a_few_attometres(self) -> None:
        for pair in ([0.3, 0.1 + 0.2], [0.1 + 0.2, 0.3]):
            ground = Profile(pair, [0.0, 0.2])
            assert ground.height(0, [0.29, 0.31]).tolist() == [0.0, 0.2]
            assert ground.depth(0.0, 0.1, 0.31) == pytest.approx(0.01, abs=1e-15)

    def test_coordinates_broadcast_and_unlike_shapes_are_refused(self) -> None:
        x, z = np.zeros((3, 1)), np.zeros(4)
        for ground in every_kind():
            assert ground.height(x, z).shape == (3, 4)
            assert ground.height(0.0, np.zeros(0)).shape == (0,)
            assert [each.shape for each in ground.normal(x, z)] == [(3, 4)] * 3
            assert ground.depth(x, 0.0, z).shape == ground.depth(0.0, x, z).shape == (3, 4)
            assert ground.depth(0.0, np.zeros(0), 0.0).shape == (0,)
            assert ground.depth(0.0, 0.0, 0.0).shape == ()
            assert ground.corners_between((x, 0.0, 0.0), (0.0, 0.0, z)).shape == (3, 4)
            for wrong in (
                lambda g: g.height(np.zeros(3), np.zeros(4)),
                lambda g: g.normal(np.zeros(3), np.zeros(4)),
                lambda g: g.depth(np.zeros(3), np.zeros(4), 0.0),
                lambda g: g.corners_between((0, 0, np.zeros(3)), (0, 0, np.zeros(4))),
            ):
                with pytest.raises(ShapeError, match=r"shapes that broadcast.*\(3,\).*\(4,\)"):
                    wrong(ground)

    def test_a_missing_coordinate_gives_a_missing_answer_on_a_profile(self) -> None:
        assert np.isnan(STAIRS.height(0.0, [np.nan, 0.0])).tolist() == [True, False]
        assert np.isnan(STAIRS.depth(0.0, [np.nan, 0.0], [0.0, np.nan])).all()
        assert np.isnan(STAIRS.corners_between((0, 0, [np.nan, 0]), (0, 0, 1.0))).tolist() == [True, False]
        assert all(np.isnan(each).all() for each in STAIRS.normal(0.0, [np.nan])[1:2])


class TestNormal:
    def test_it_is_of_unit_length_and_square_to_the_height_by_central_differences(self, cloud) -> None:
        x, _, z = cloud
        step = 1e-6
        for ground in every_kind():
            nx, ny, nz = ground.normal(x, z)
            np.testing.assert_allclose(nx**2 + ny**2 + nz**2, 1.0, atol=1e-14)
            slope_x = (ground.height(x + step, z) - ground.height(x - step, z)) / (2 * step)
            slope_z = (ground.height(x, z + step) - ground.height(x, z - step)) / (2 * step)
            inside = np.hypot(slope_x, slope_z) < 100  # a difference taken across a riser tells nothing
            assert inside.sum() > 490
            np.testing.assert_allclose((-nx / ny)[inside], slope_x[inside], atol=1e-8)
            np.testing.assert_allclose((-nz / ny)[inside], slope_z[inside], atol=1e-8)


class TestDepth:
    def test_below_flat_ground_is_positive_and_above_is_negative(self) -> None:
        assert Flat(1.0).depth(0, [0.5, 1.0, 1.5], 0).tolist() == [0.5, 0.0, -0.5]

    def test_on_a_slope_it_is_taken_square_to_the_slope(self) -> None:
        plane = Plane.slope(angle=math.radians(30))
        assert plane.depth(0.0, -1.0, 0.0) == pytest.approx(math.cos(math.radians(30)), abs=1e-15)

    def test_behind_a_riser_the_nearest_way_out_is_forwards(self) -> None:
        """1 cm inside the riser, 10 cm below the tread: 1 cm deep."""
        assert STAIRS.depth(0.0, 0.07, 0.51) == pytest.approx(0.01, abs=1e-15)
        assert STAIRS.depth(0.0, 0.07, 0.49) == pytest.approx(-0.01, abs=1e-15)

    def test_before_a_nosing_the_distance_is_to_the_corner(self) -> None:
        assert STAIRS.depth(0.0, 0.17 + 0.04, 0.5 - 0.03) == pytest.approx(-0.05, abs=1e-15)

    def test_on_the_surface_risers_and_corners_included_it_is_zero(self) -> None:
        y, z = [0.0, 0.0, 0.1, 0.17, 0.17, 0.17], [0.2, 0.5, 0.5, 0.5, 0.6, 0.79]
        np.testing.assert_allclose(STAIRS.depth(0.0, y, z), 0.0, atol=1e-15)

    def test_a_profile_of_one_slope_agrees_with_the_plane_far_from_its_ends(self, cloud) -> None:
        x, y, z = cloud
        profile = Profile([-100, 100], [-12, 12], heading=0.4)
        np.testing.assert_allclose(profile.depth(x, y, z), Plane.slope(0.12, heading=0.4).depth(x, y, z), atol=1e-13)

    def test_wide_and_narrow_queries_asked_together_agree_with_one_at_a_time(self) -> None:
        """A point high above a long rough profile has many candidates, a point near it few."""
        random = np.random.default_rng(8)
        rough = Profile(np.sort(random.uniform(0, 40, 900)), random.uniform(0, 0.2, 900))
        z, y = random.uniform(-2, 42, 3000), 0.1 + 10.0 ** random.uniform(-3, 1.5, 3000)
        together = rough.depth(0.0, y, z)
        alone = [float(rough.depth(0.0, y[i], z[i])) for i in range(0, 3000, 100)]
        assert together[::100].tolist() == alone


class TestCorners:
    def test_flat_and_plane_have_none(self) -> None:
        heel, toe = (0, -1.0, np.zeros(3)), (0, -1.0, np.ones(3))
        for ground in (Flat(), Plane.slope(0.1)):
            assert ground.corners_between(heel, toe).tolist() == [0.0] * 3

    def test_a_kerb_under_the_arch_pokes_through_a_level_sole_by_its_height_above_it(self) -> None:
        kerb = Profile.kerb(height=0.12, at=1.0)
        assert kerb.corners_between((0, 0.1, 0.9), (0, 0.1, 1.1)) == pytest.approx(0.02, abs=1e-15)

    def test_a_sole_that_clears_the_edge_or_stops_short_of_it_has_none(self) -> None:
        kerb = Profile.kerb(height=0.12, at=1.0)
        heel, toe = (0, [0.12, 0.13, 0.0, 0.0], [0.9, 0.9, 0.8, 1.0]), (0, [0.12, 0.13, 0.0, 0.1], 1.0)
        assert kerb.corners_between(heel, toe).tolist() == [0.0] * 4
        assert kerb.corners_between((0, 0.0, 0.9), (0, 0.30, 1.1)) == 0.0

    def test_on_a_tilted_sole_the_depth_is_square_to_the_sole(self) -> None:
        kerb = Profile.kerb(height=0.12, at=0.0)
        assert kerb.corners_between((0, 0, -1), (0, 0.15, 1)) == pytest.approx(
            (0.12 - 0.075) * math.cos(math.atan(0.075)), abs=1e-15
        )

    def test_heel_and_toe_may_change_places(self) -> None:
        random = np.random.default_rng(3)
        one, other = random.uniform(-1, 2, (2, 3, 200))
        there, back = STAIRS.corners_between(one, other), STAIRS.corners_between(other, one)
        np.testing.assert_allclose(there, back, atol=1e-14)
        assert (there > 0).sum() > 20

    def test_a_foot_along_the_edge_or_with_no_length_has_none(self) -> None:
        assert STAIRS.corners_between((0, 0, 0.5), (1, 0, 0.5)) == 0.0
        assert STAIRS.corners_between((0, 0, 0.6), (0, 0, 0.6)) == 0.0

    def test_the_hollow_of_a_stair_is_no_corner(self) -> None:
        """Only the lower end of the riser lies between heel and toe."""
        hollow = Profile([0, 1, 1], [0.5, 0.0, 0.4])
        assert hollow.corners_between((0, -0.3, 0.9), (0, -0.3, 0.99)) == 0.0

    def test_the_top_of_a_ramp_is_a_corner_and_its_foot_is_not(self) -> None:
        ramp = Profile.ramp(rise=0.5, run=5.0)
        assert ramp.corners_between((0, 0.45, 4.5), (0, 0.5, 5.5)) == pytest.approx(
            0.025 * math.cos(math.atan(0.05)), abs=1e-15
        )
        assert ramp.corners_between((0, 0.0, -0.5), (0, 0.05, 0.5)) == 0.0


class TestMotion:
    @pytest.mark.parametrize("number", range(6))
    def test_turning_and_moving_the_ground_and_the_points_leaves_every_answer_as_it_was(
        self, number: int, cloud: np.ndarray
    ) -> None:
        ground, (x, y, z) = every_kind()[number], cloud
        about, yaw, offset = (0.4, 9.0, -1.1), 2.2, (3.0, -0.7, 1.5)
        elsewhere = ground.turned(yaw, about).moved(offset)
        new_x, new_z = turned(x, z, yaw, about)
        new_x, new_y, new_z = new_x + offset[0], y + offset[1], new_z + offset[2]
        np.testing.assert_allclose(elsewhere.height(new_x, new_z), ground.height(x, z) + offset[1], atol=1e-12)
        np.testing.assert_allclose(elsewhere.depth(new_x, new_y, new_z), ground.depth(x, y, z), atol=1e-12)
        half = 250
        before = ground.corners_between((x[:half], y[:half], z[:half]), (x[half:], y[half:], z[half:]))
        after = elsewhere.corners_between(
            (new_x[:half], new_y[:half], new_z[:half]), (new_x[half:], new_y[half:], new_z[half:])
        )
        np.testing.assert_allclose(after, before, atol=1e-12)
        nx, ny, nz = ground.normal(x, z)
        there_x, there_z = turned(nx, nz, yaw, (0.0, 0.0, 0.0))
        np.testing.assert_allclose(elsewhere.normal(new_x, new_z), np.array([there_x, ny, there_z]), atol=1e-12)
        assert (elsewhere.name, elsewhere.is_level) == (ground.name, ground.is_level)

    def test_turning_there_and_back_gives_the_same_ground(self) -> None:
        for ground in every_kind():
            back = ground.turned(0.8, (1, 2, 3)).moved((1, 1, 1)).moved((-1, -1, -1)).turned(-0.8, (1, 2, 3))
            assert ground.isclose(back, atol=1e-12)
            assert not ground.isclose(ground.moved((0, 0.1, 0)), atol=1e-3)

    def test_a_quarter_turn_to_the_left_sends_a_climb_from_forward_to_left(self) -> None:
        ramp = Profile.ramp(rise=1.0, run=1.0).turned(math.pi / 2)
        assert ramp.height(0.5, 0.0) == pytest.approx(0.5)
        assert ramp.height(-0.5, 0.3) == 0.0

    def test_only_level_grounds_say_so(self) -> None:
        assert [ground.is_level for ground in every_kind()] == [True] + [False] * 5
        assert Plane((0, 0, 0), (0, 2, 0)).is_level
        assert Profile([0, 1], [0.3, 0.3]).is_level
        assert not Plane.slope(1e-9).is_level


class TestValues:
    def test_arrays_are_copied_in_and_read_only(self) -> None:
        distance, height = np.array([0.0, 1.0]), np.array([0.0, 0.5])
        ground = Profile(distance, height)
        distance[1] = 0.1
        assert ground.height(0, 0.5) == 0.25
        for array in (ground.distance, ground.elevation, ground.origin, Plane.slope(0.1).point):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 1.0

    def test_the_caller_may_write_into_an_answer(self) -> None:
        for ground in every_kind():
            for answer in (ground.height(np.zeros(3), 0.0), ground.depth(0.0, 0.0, np.zeros(3))):
                answer += 1.0

    def test_a_ground_goes_through_pickle(self) -> None:
        again = pickle.loads(pickle.dumps(STAIRS))
        assert again.depth(0.0, 0.07, 0.51) == STAIRS.depth(0.0, 0.07, 0.51)

    def test_a_point_named_twice_changes_nothing(self, cloud) -> None:
        once, twice = (
            Profile([0, 1, 1, 2], [0, 0, 0.2, 0.3]),
            Profile([0, 0, 1, 1, 1, 1, 2], [0, 0, 0, 0, 0.1, 0.2, 0.3]),
        )
        assert once.height(0, cloud[2]).tolist() == twice.height(0, cloud[2]).tolist()
        np.testing.assert_allclose(once.depth(*cloud), twice.depth(*cloud), atol=1e-15)

    @pytest.mark.parametrize(
        ("make", "error", "says"),
        [
            (lambda: Flat(math.nan), InputError, "height: expected finite numbers, got nan"),
            (lambda: Flat("high"), InputError, "height: expected numbers, got 'high'"),
            (lambda: Flat([1.0, 2.0]), ShapeError, r"height: expected one number, got shape \(2,\)"),
            (lambda: Flat(10_001.0), UnitError, "within 10000 m, got 10001 m; is the unit right"),
            (lambda: Plane((0, 0, 0), (0, -1, 0)), InputError, "normal: expected a normal whose y"),
            (lambda: Plane((0, 0, 0), (1, 0.009, 0)), InputError, "normal: expected a normal whose y"),
            (lambda: Plane((0, 0, 0), (0, 0, 0)), InputError, "normal: expected a normal whose y"),
            (lambda: Plane((0, 0, 0), (0, math.inf, 0)), InputError, r"normal\[1\]: expected finite"),
            (lambda: Plane((0, 0), (0, 1, 0)), ShapeError, r"point: expected three numbers"),
            (lambda: Plane((0, 0, 2e4), (0, 1, 0)), UnitError, "point: .*20000 m"),
            (lambda: Plane.slope(), InputError, "either rise_over_run or angle"),
            (lambda: Plane.slope(0.1, angle=0.1), InputError, "either rise_over_run or angle"),
            (lambda: Plane.slope(angle=1.6), InputError, "angle: expected less than a quarter turn"),
            (lambda: Plane.slope(0.1, heading=math.nan), InputError, "heading: expected finite"),
            (lambda: Profile([0, math.nan], [0, 1]), InputError, r"distance\[1\]: expected finite"),
            (lambda: Profile([0, 1], [math.inf, 1]), InputError, r"height\[0\]: expected finite"),
            (lambda: Profile([0, 1, 0.5], [0, 1, 2]), InputError, r"points\[2\]: .*got 0.5 m after 1 m"),
            (lambda: Profile([0], [0]), InputError, "points: expected at least two different points"),
            (lambda: Profile([], []), InputError, "points: expected at least two different points"),
            (lambda: Profile([1, 1], [2, 2]), InputError, "points: expected at least two different points"),
            (lambda: Profile([0, 1], [0, 1, 2]), ShapeError, "points: expected as many heights"),
            (lambda: Profile([[0, 1]], [[0, 1]]), ShapeError, "points: expected as many heights"),
            (lambda: Profile([0, 2e4], [0, 1]), UnitError, "distance: .*20000 m"),
            (lambda: Profile([0, 1, 1, 1], [0, 0, 2, 1]), InputError, r"points\[3\]: .*runs back over"),
            (lambda: Profile([0, 1], [0, 1], math.inf), InputError, "heading: expected finite"),
            (lambda: Profile([0, 1], [0, 1], 0.0, (0, 1)), ShapeError, "origin: expected three numbers"),
            (lambda: Profile.stairs(riser=0, tread=0.3, count=2), InputError, "riser: .*above or below"),
            (lambda: Profile.stairs(riser=0.1, tread=0, count=2), InputError, "tread: .*above zero"),
            (lambda: Profile.stairs(riser=0.1, tread=0.3, count=0), InputError, "count: .*1 to 10000"),
            (lambda: Profile.stairs(riser=0.1, tread=0.3, count=2.5), InputError, "count: .*got 2.5"),
            (lambda: Profile.stairs(riser=9, tread=9, count=9999), UnitError, "distance: "),
            (lambda: Profile.ramp(rise=1, run=0), InputError, "run: .*above zero"),
            (lambda: Profile.kerb(height=0), InputError, "height: .*above or below"),
            (lambda: Profile.kerb(height=0.1, at=math.nan), InputError, "at: expected finite"),
            (lambda: Flat().turned(math.nan), InputError, "yaw: expected finite"),
            (lambda: STAIRS.turned(1.0, (0, 0)), ShapeError, "about: expected three"),
            (lambda: STAIRS.moved((0, math.nan, 0)), InputError, r"offset\[1\]: expected finite"),
        ],
    )
    def test_what_is_not_a_ground_is_refused_in_a_sentence(self, make, error, says) -> None:
        with pytest.raises(error, match=says):
            make()
