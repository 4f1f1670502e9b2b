"""Height grids against the analytic surface, brute force and planes; stairs and ramps with a published source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import FileError, InputError, ShapeError, UnknownName
from surefoot.ground import Plane, Profile
from surefoot.ground_file import load_ground, parse_ground
from surefoot.ground_grid import Grid
from surefoot.ground_presets import STAIRS, preset_ground, preset_grounds
from surefoot.ground_surface import line_samples

HEAD = 'surefoot = "ground/1"\nunit = "m"\n'


def wave(x: np.ndarray, z: np.ndarray) -> np.ndarray:
    return 0.05 * np.sin(3.0 * x) * np.cos(2.0 * z)


def wavy(*, smooth: bool, spacing: float = 0.02) -> Grid:
    z, x = np.meshgrid(np.arange(-60, 61) * spacing, np.arange(-50, 51) * spacing, indexing="ij")
    return Grid(wave(x, z), spacing, origin=np.array([-50 * spacing, 0.0, -60 * spacing]), smooth=smooth)


@pytest.mark.parametrize(("smooth", "high", "steep"), [(False, 3.3e-5, 7e-3), (True, 1e-6, 2e-4)])
def test_heights_and_normals_follow_the_analytic_surface(smooth: bool, high: float, steep: float) -> None:
    """Bilinear: within spacing squared over 8, and spacing over 2, of the second derivatives (0.45 and 0.2)."""
    grid, random = wavy(smooth=smooth), np.random.default_rng(3)
    x, z = random.uniform(-0.8, 0.8, (2, 3_000))
    assert np.abs(grid.height(x, z) - wave(x, z)).max() < high
    slope_x, slope_z = 0.15 * np.cos(3 * x) * np.cos(2 * z), -0.1 * np.sin(3 * x) * np.sin(2 * z)
    size = np.sqrt(1 + slope_x**2 + slope_z**2)
    for got, wanted in zip(grid.normal(x, z), (-slope_x / size, 1 / size, -slope_z / size), strict=True):
        assert np.abs(got - wanted).max() < steep


@pytest.mark.parametrize("smooth", [False, True])
def test_a_plane_as_a_grid_is_the_plane(smooth: bool) -> None:
    plane = Plane.slope(0.2, heading=0.4, point=(0.0, 0.3, 0.0))
    z, x = np.meshgrid(np.arange(-30, 31) * 0.1, np.arange(-30, 31) * 0.1, indexing="ij")
    grid = Grid(plane.height(x, z), 0.1, origin=np.array([-3.0, 0.0, -3.0]), smooth=smooth)
    random = np.random.default_rng(5)
    x, z = random.uniform(-2, 2, (2, 200))
    y = plane.height(x, z) + random.uniform(-0.1, 0.1, 200)
    np.testing.assert_allclose(grid.height(x, z), plane.height(x, z), atol=1e-12)
    np.testing.assert_allclose(grid.depth(x, y, z), plane.depth(x, y, z), atol=1e-9)


@pytest.mark.parametrize("smooth", [False, True])
def test_depth_is_the_distance_to_a_surface_sampled_every_tenth_of_a_millimetre(smooth: bool) -> None:
    random = np.random.default_rng(7)
    heights = random.uniform(0.0, 0.03, (12, 12))
    grid = Grid(heights, 0.06, smooth=smooth)
    worst = 0.0
    for _ in range(40):
        x, z = random.uniform(0.15, 0.5, 2)
        y = float(grid.height(x, z)) + random.uniform(-0.02, 0.02)
        gap = abs(float(grid.height(x, z)) - y)
        about = np.arange(-gap - 1e-4, gap + 1e-4, 1e-4)
        pz, px = np.meshgrid(z + about, x + about, indexing="ij")
        nearest = np.sqrt((px - x) ** 2 + (grid.height(px, pz) - y) ** 2 + (pz - z) ** 2).min()
        worst = max(worst, abs(abs(float(grid.depth(x, y, z))) - nearest))
    assert worst < 1e-4


def test_beyond_its_border_a_grid_goes_on_as_the_border_is() -> None:
    grid = Grid([[0.0, 1.0], [0.5, 2.0]], 1.0)
    assert grid.height([-3.0, 9.0], [0.0, 9.0]).tolist() == [0.0, 2.0]
    assert [float(part) for part in grid.normal(-3.0, 5.0)] == [0.0, 1.0, 0.0]


def test_turning_a_grid_turns_its_answers() -> None:
    grid, yaw = wavy(smooth=True), 0.7
    other = grid.turned(yaw, (0.1, 0.0, 0.2))
    x, z = np.array([0.2, -0.3]), np.array([0.1, 0.4])
    dx, dz = x - 0.1, z - 0.2
    tx, tz = 0.1 + np.cos(yaw) * dx + np.sin(yaw) * dz, 0.2 + np.cos(yaw) * dz - np.sin(yaw) * dx
    np.testing.assert_allclose(other.height(tx, tz), grid.height(x, z), atol=1e-12)
    assert other.turned(-yaw, (0.1, 0.0, 0.2)).isclose(grid, atol=1e-12)
    assert not grid.moved((0, 0.1, 0)).isclose(grid, atol=1e-3)


@pytest.mark.parametrize("smooth", [False, True])
@pytest.mark.parametrize("spacing", [0.02, 0.3, 1.0])
def test_lines_above_every_roof_near_them_are_left_out_and_no_others(smooth: bool, spacing: float) -> None:
    random = np.random.default_rng(9)
    grid = Grid(random.uniform(0.0, 0.2, (60, 47)), spacing, 0.3, np.array([0.1, -0.2, 0.3]), smooth)
    start = np.array([random.uniform(-2, 50 * spacing, 4_000), random.uniform(-0.3, 0.3, 4_000),
                      random.uniform(-2, 60 * spacing, 4_000)])  # fmt: skip
    end = start + random.uniform(-0.25, 0.25, (3, 4_000))
    np.testing.assert_allclose(grid.poke(start, end), line_samples(grid, start, end), rtol=0.0, atol=1e-13)


def test_a_hole_is_told_only_where_it_is_asked_for() -> None:
    heights = np.zeros((5, 5))
    heights[4, 4] = np.nan
    grid = Grid(heights, 0.1, name="pit")
    assert float(grid.height(0.05, 0.05)) == 0.0
    with pytest.raises(InputError, match=r"ground pit: it has a hole at x 0.350, z 0.390"):
        grid.height(0.35, 0.39)


@pytest.mark.parametrize(
    ("heights", "spacing", "says"),
    [
        ([1.0, 2.0], 1.0, "at least two rows"), ([[1.0, 2.0]], 1.0, "at least two rows"),
        ([[0.0, np.inf], [0.0, 0.0]], 1.0, "finite heights"), ([[np.nan] * 2] * 2, 1.0, "finite heights"),
        ([[0.0, 1e6], [0.0, 0.0]], 1.0, "unit right"), ([[0.0, 0.0], [0.0, 0.0]], 0.0, "spacing: .*above zero"),
    ],
)  # fmt: skip
def test_a_grid_that_is_none_is_refused(heights: list[list[float]], spacing: float, says: str) -> None:
    with pytest.raises((InputError, ShapeError), match=says):
        Grid(heights, spacing)


def test_a_grid_file_reads_arrays_and_tables(tmp_path: Path) -> None:
    heights = np.arange(12.0).reshape(3, 4)
    np.save(tmp_path / "field.npy", heights)
    (tmp_path / "field.csv").write_text("\n".join(",".join(map(str, row)) for row in heights.tolist()) + "\n")
    made = []
    for suffix in ("npy", "csv"):
        path = tmp_path / f"{suffix}.toml"
        path.write_text(f'surefoot = "ground/1"\nunit = "cm"\nkind = "grid"\nfile = "field.{suffix}"\nspacing = 5')
        made.append(load_ground(path))
    assert made[0].isclose(Grid(heights * 0.01, 0.05), atol=1e-15)  # type: ignore[attr-defined]
    assert made[1].isclose(made[0], atol=0.0)  # type: ignore[attr-defined]


def test_a_huge_grid_is_refused_by_its_header(tmp_path: Path) -> None:
    path = tmp_path / "huge.npy"
    with path.open("wb") as file:
        np.lib.format.write_array_header_1_0(file, {"descr": "<f8", "fortran_order": False, "shape": (10**6, 10**6)})
    (tmp_path / "g.toml").write_text(HEAD + 'kind = "grid"\nfile = "huge.npy"\nspacing = 0.1')
    with pytest.raises(InputError, match=r"huge\.npy: expected at most 100000000 nodes, its header says 1000000000000"):
        load_ground(tmp_path / "g.toml")


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.npy", b"nonsense", "expected an array file"), ("a.csv", b"1,2\n3", "line 2: expected 2 heights"),
        ("a.csv", b"1,2\n3,x", "line 2: expected numbers"), ("a.csv", b"\xff\xfe1", "UTF-8"),
        ("a.txt", b"", "expected a .npy or a .csv"), ("a.csv", b"", "at least two rows"),
        ("a.csv", b"1,2\n3,inf", "finite heights"),
    ],
)  # fmt: skip
def test_a_faulty_grid_file_is_told_in_one_sentence(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(data)
    (tmp_path / "g.toml").write_text(HEAD + f'kind = "grid"\nfile = "{name}"\nspacing = 0.1')
    with pytest.raises((InputError, FileError), match=says) as caught:
        load_ground(tmp_path / "g.toml")
    assert "\n" not in str(caught.value)


def test_a_grid_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    (tmp_path / "g.toml").write_text(HEAD + 'kind = "grid"\nfile = "none.npy"\nspacing = 0.1')
    with pytest.raises(FileError, match="no such file"):
        load_ground(tmp_path / "g.toml")


class TestPresets:
    @pytest.mark.parametrize("name", STAIRS)
    def test_stairs_lie_in_their_ranges(self, name: str) -> None:
        stairs = STAIRS[name]
        assert stairs.risers[0] <= stairs.riser <= stairs.risers[1]
        assert stairs.treads[0] <= stairs.tread <= stairs.treads[1]
        assert stairs.pitch <= stairs.steepest

    @pytest.mark.parametrize("name", preset_grounds())
    def test_every_preset_is_a_ground_that_rises(self, name: str) -> None:
        ground = preset_ground(name)
        assert float(ground.height(0.0, 0.9)) == 0.0
        assert float(ground.height(0.0, 20.0)) > 0.1

    def test_an_unknown_preset_lists_the_known(self) -> None:
        with pytest.raises(UnknownName, match="accessible-stairs"):
            preset_ground("accessible-stair")

    def test_a_file_may_name_a_preset(self) -> None:
        stairs = parse_ground(HEAD + 'kind = "profile"\nstairs = {preset = "accessible", count = 4}')
        assert isinstance(stairs, Profile)
        assert stairs.isclose(Profile.stairs(riser=0.178, tread=0.279, count=4), atol=1e-12)
        ramp = parse_ground(HEAD + 'kind = "profile"\nramp = {preset = "1:12", run = 6}')
        assert float(ramp.height(0.0, 6.0)) == pytest.approx(0.5)

    @pytest.mark.parametrize(
        ("line", "says"),
        [
            ('stairs = {preset = "grand"}', "stairs: preset: .*grand"),
            ('stairs = {preset = "private", riser = 0.2}', "either a preset or a riser"),
            ('ramp = {preset = "1:9", run = 1}', "ramp: preset: .*1:9"),
            ('ramp = {preset = "1:12", run = 1, rise = 1}', "either a preset or a rise"),
            ("ramp = {run = 1}", "ramp: rise: expected a value"),
            ("stairs = {riser = 0.1, tread = 0.2, count = 2, nosing = 0.3}", "nosing: expected a length from 0"),
            ("stairs = {riser = 0, tread = 0.2, count = 2}", "riser: expected a height above or below zero"),
        ],
    )
    def test_a_faulty_preset_is_told_in_one_sentence(self, line: str, says: str) -> None:
        with pytest.raises(InputError, match=says):
            parse_ground(HEAD + f'kind = "profile"\n{line}')


def test_a_nosing_puts_each_edge_out_over_its_riser() -> None:
    up = Profile.stairs(riser=0.2, tread=0.3, count=2, nosing=0.03, start=1.0)
    assert up.height(0.0, [0.96, 0.98, 1.28]).tolist() == [0.0, 0.2, 0.4]
    down = Profile.stairs(riser=-0.2, tread=0.3, count=2, nosing=0.03, start=1.0)
    np.testing.assert_allclose(down.height(0.0, [1.02, 1.04]), [0.0, -0.2])
