"""A ground file is read in its stated unit, and every fault in it is told in one sentence."""

from __future__ import annotations

import doctest
import math
from pathlib import Path

import numpy as np
import pytest

import surefoot.ground_file
from surefoot.errors import FileError, InputError, UnitError, UnknownName
from surefoot.ground import Flat, Ground, Plane, Profile
from surefoot.ground_file import load_ground, parse_ground
from surefoot.profile_file import profile_bytes

HILL_STREET = Path(__file__).parents[1] / "demos" / "data" / "hill_street.toml"
HEAD = 'surefoot = "ground/1"\nunit = "m"\n'


def test_the_hill_street_climbs_to_its_kerb_and_on() -> None:
    street = load_ground(HILL_STREET)
    assert street.name == "hill street"
    np.testing.assert_allclose(
        street.height(0, [-5, 0.75, 6.99999999, 7.0, 20]), [0, 0.015, 0.42, 0.54, 0.59], atol=1e-8
    )


@pytest.mark.parametrize(("unit", "metres"), [("m", 1), ("cm", 0.01), ("mm", 0.001), ("in", 0.0254), ("ft", 0.3048)])
def test_every_length_is_converted_from_the_stated_unit(unit: str, metres: float) -> None:
    def read(rest: str) -> Ground:
        return parse_ground(f'surefoot = "ground/1"\nunit = "{unit}"\n{rest}')

    assert read('kind = "flat"\nheight = 3').isclose(Flat(3 * metres), atol=1e-15)
    plane = read('kind = "plane"\npoint = [1, 2, 3]\nnormal = [1, 5, 0]')
    assert plane.isclose(Plane(np.array([1, 2, 3]) * metres, (1, 5, 0)), atol=1e-15)
    profile = read('kind = "profile"\npoints = [[0, 1], [2, 3.5]]\norigin = [1, 2, 3]\nheading_deg = 90')
    expected = Profile(
        np.array([0, 2]) * metres,
        np.array([1, 3.5]) * metres,
        math.pi / 2,
        np.array([1, 2, 3]) * metres,
    )
    assert profile.isclose(expected, atol=1e-15)
    stairs = read('kind = "profile"\nstairs = {riser = 6, tread = 11, count = 5, start = 2}')
    expected = Profile.stairs(riser=6 * metres, tread=11 * metres, count=5, start=2 * metres)
    assert stairs.isclose(expected, atol=1e-13)
    assert stairs.name == "stairs"
    ramp = read('kind = "profile"\nramp = {rise = 1, run = 12, start = 2}')
    assert ramp.isclose(Profile.ramp(rise=metres, run=12 * metres, start=2 * metres), atol=1e-15)
    kerb = read('kind = "profile"\nkerb = {height = 5, at = 4}')
    assert kerb.isclose(Profile.kerb(height=5 * metres, at=4 * metres), atol=1e-15)


def test_a_slope_is_stated_in_percent_or_degrees() -> None:
    plane = parse_ground(HEAD + 'kind = "plane"\nslope_percent = 100\nheading_deg = 90')
    assert plane.height(1.0, 0.0) == pytest.approx(1.0)
    same = parse_ground(HEAD + 'kind = "plane"\nslope_deg = 45\nheading_deg = 90')
    assert plane.isclose(same, atol=1e-15)


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "flat.toml"
    path.write_bytes(b"\xef\xbb\xbf" + (HEAD + 'kind = "flat"').replace("\n", "\r\n").encode())
    assert load_ground(path).is_level


@pytest.mark.parametrize(
    ("text", "error", "says"),
    [
        ("", InputError, 'surefoot: expected surefoot = "ground/1", got none'),
        ('surefoot = "clip/1"', InputError, 'surefoot: expected surefoot = "ground/1"'),
        (
            'surefoot = "ground/1"\nkind = "flat"',
            InputError,
            "unit: expected one of m, cm, mm, in, ft, got",
        ),
        ('surefoot = "ground/1"\nkind = "flat"\nunit = "yd"', UnitError, "unit: .*ft, got 'yd'"),
        (HEAD + 'kind = "grid"\nfile = "h.csv"', InputError, "spacing: expected .* such as spacing = 0.05, got none"),
        (HEAD + 'kind = "grid"\nspacing = 1', InputError, 'file: expected .* such as file = "cobbles.csv", got none'),
        (HEAD + 'kind = "mesh"', InputError, 'file: expected .* such as file = "rocks.ply", got none'),
        (HEAD, InputError, "kind: expected flat, plane, profile, grid or mesh, got none"),
        (HEAD + 'kind = "wavy"', InputError, "kind: expected flat, plane, profile, grid or mesh, got 'wavy'"),
        (HEAD + 'kind = "flat"\nhieght = 1', UnknownName, "key of a flat ground .*'hieght'.*'height'"),
        (HEAD + 'kind = "flat"\nheight = "low"', InputError, "height: expected a number, got text"),
        (HEAD + 'kind = "flat"\nheight = true', InputError, "height: expected a number, got true or"),
        (
            HEAD + 'kind = "flat"\nheight = 1979-05-27',
            InputError,
            "height: expected a number, got a date",
        ),
        (HEAD + 'kind = "flat"\nheight = nan', InputError, "height: expected finite numbers, got nan"),
        (HEAD + 'kind = "flat"\nheight = 12000', UnitError, "height: .*is the unit right"),
        (HEAD + 'kind = "flat"\nheight = ' + "9" * 400, InputError, "height: expected .*out of range"),
        (HEAD + 'kind = "flat"\nheight = ' + "9" * 5000, FileError, "expected TOML, but exceeds"),
        (HEAD + 'kind = "flat"\nname = 3', InputError, "name: expected text, got a whole number"),
        (HEAD + 'kind = "plane"', InputError, "plane: expected one of normal, slope_percent, slope_deg"),
        (HEAD + 'kind = "plane"\nslope_deg = 1\nslope_percent = 1', InputError, "got slope_percent and"),
        (HEAD + 'kind = "plane"\nnormal = [0, 1]', InputError, "normal: expected 3 numbers, got 2"),
        (HEAD + 'kind = "plane"\nnormal = [0, -1, 0]', InputError, "normal: expected a normal whose y"),
        (HEAD + 'kind = "plane"\nnormal = [0, 1, 0]\nheading_deg = 1', InputError, "heading_deg: "),
        (HEAD + 'kind = "plane"\nslope_deg = 90', InputError, "slope_deg: .*below 89 degrees, got 90"),
        (HEAD + 'kind = "plane"\nslope_percent = 1e9', InputError, "slope_percent: .*got 1e\\+09"),
        (HEAD + 'kind = "plane"\nslope_percent = nan', InputError, "slope_percent: .*got nan"),
        (HEAD + 'kind = "plane"\nslope_deg = 5\nheading_deg = inf', InputError, "heading_deg: .*got inf"),
        (HEAD + 'kind = "profile"', InputError, "profile: expected one of points, stairs, ramp, kerb"),
        (HEAD + 'kind = "profile"\npoints = []', InputError, "points: expected at least two"),
        (
            HEAD + 'kind = "profile"\npoints = 3',
            InputError,
            "points: expected a list, got a whole number",
        ),
        (
            HEAD + 'kind = "profile"\npoints = [[0, 0], [1]]',
            InputError,
            r"points\[1\]: expected 2 numbers",
        ),
        (HEAD + 'kind = "profile"\npoints = [[0, 0], [1, "a"]]', InputError, r"points\[1\]\[1\]: .*text"),
        (HEAD + 'kind = "profile"\npoints = [[0, 0], [1, nan]]', InputError, r"points\[1\]\[1\]: .*nan"),
        (HEAD + 'kind = "profile"\npoints = [[nan, 0], [1, 0]]', InputError, r"points\[0\]\[0\]: .*nan"),
        (HEAD + 'kind = "profile"\npoints = [[0, 0], [9e4, 0]]', UnitError, "points: .*90000 m"),
        (HEAD + 'kind = "profile"\npoints = [[1, 0], [0, 0]]', InputError, r"points\[1\]: .*decrease"),
        (HEAD + 'kind = "profile"\nstairs = {riser = 1}', InputError, "stairs: tread: expected a value"),
        (
            HEAD + 'kind = "profile"\nstairs = {riser = 1, tread = 1, count = 2.5}',
            InputError,
            "stairs.count: expected a whole number, got a number",
        ),
        (
            HEAD + 'kind = "profile"\nstairs = {riser = 1, tread = -1, count = 2}',
            InputError,
            "stairs: tread: expected a length above zero",
        ),
        (
            HEAD + 'kind = "profile"\nstairs = {riser = 1, tred = 1, count = 2}',
            UnknownName,
            "stairs: no key of a stairs .*'tred'.*'tread'",
        ),
        (
            HEAD + 'kind = "profile"\nkerb = {height = 1}\norigin = [0, nan, 0]',
            InputError,
            r"here.toml: origin\[1\]: expected finite",
        ),
        (HEAD + 'kind = "flat"\nheight =', FileError, "expected TOML, but invalid value"),
        (HEAD + HEAD, FileError, "expected TOML, but cannot overwrite a value .*line 3"),
        ("a = " + "[" * 20_000, FileError, "nested too deep"),
    ],
)
def test_a_fault_is_told_in_one_sentence_with_its_place(text, error, says) -> None:
    with pytest.raises(error, match=says) as caught:
        parse_ground(text, place="here.toml")
    assert str(caught.value).startswith("here.toml: ")
    assert "\n" not in str(caught.value)
    assert "msgspec" not in str(caught.value)


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"nowhere.toml: .*no such file"):
        load_ground(tmp_path / "nowhere.toml")
    with pytest.raises(FileError, match="got a directory"):
        load_ground(tmp_path)
    with pytest.raises(FileError, match="can't be read"):
        load_ground("nul\0byte.toml")
    (tmp_path / "latin.toml").write_bytes(b'surefoot = "ground/1"\nname = "stra\xdfe"\n')
    with pytest.raises(FileError, match=r"latin\.toml: line 2: .*UTF-8 text, got the byte 0xdf"):
        load_ground(tmp_path / "latin.toml")


def test_the_docstring_example_runs() -> None:
    assert doctest.testmod(surefoot.ground_file).attempted == 2
    assert doctest.testmod(surefoot.ground_file).failed == 0


def test_a_profile_comes_back_with_its_name_whatever_is_in_it() -> None:
    odd = Profile([0.0, 1.0, 1.0, 2.0], [0.0, 0.0, 0.2, 0.2], name='the "old" steps\\ up\n\x7f é')
    back = parse_ground(profile_bytes(odd).decode())
    assert isinstance(back, Profile)
    assert back.name == odd.name
    np.testing.assert_array_equal(back.elevation, odd.elevation)
