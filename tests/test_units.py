"""Units of files are what the standards say, and a frame rate is an exact fraction."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from surefoot.errors import InputError, UnknownName
from surefoot.units import ANGLES, read_rate, unit_scale


def test_units_are_shares_of_a_metre_and_of_a_radian() -> None:
    assert unit_scale("deg") == ANGLES["deg"] == math.radians(1.0)
    assert (unit_scale("m"), unit_scale("cm"), unit_scale("mm"), unit_scale("rad")) == (1.0, 0.01, 0.001, 1.0)


def test_an_unknown_unit_lists_those_that_are_known() -> None:
    with pytest.raises(
        UnknownName, match=r"^axis: no unit is called 'furlong'; known are cm, deg, ft, in, m, mm, rad$"
    ):
        unit_scale("furlong", place="axis")
    with pytest.raises(UnknownName, match="did you mean 'deg'"):
        unit_scale("degs")


@pytest.mark.parametrize(
    ("written", "exact"),
    [
        (24, Fraction(24)),
        (24.0, Fraction(24)),
        ("25", Fraction(25)),
        (12.5, Fraction(25, 2)),
        (23.976, Fraction(24000, 1001)),
        (23.98, Fraction(24000, 1001)),
        ("23.976", Fraction(24000, 1001)),
        (23.97602, Fraction(24000, 1001)),
        (119.88, Fraction(120000, 1001)),
        (29.97, Fraction(30000, 1001)),
        (59.94, Fraction(60000, 1001)),
        ("24000/1001", Fraction(24000, 1001)),
        ("30000/1001", Fraction(30000, 1001)),
        (23.9, Fraction(239, 10)),
        (23.975, Fraction(959, 40)),
        (24.001, Fraction(24001, 1000)),
        (0.01, Fraction(1, 100)),
        (100_000, Fraction(100_000)),
    ],
)
def test_a_rate_is_read_exactly_and_broadcast_rates_as_their_fractions(written: float | str, exact: Fraction) -> None:
    assert read_rate(written) == exact


@pytest.mark.parametrize("written", [0, -24, 1e9, 0.001, "0", "-24", "0/5", "100001"])
def test_a_rate_that_is_zero_negative_or_absurd_is_refused(written: float | str) -> None:
    with pytest.raises(InputError, match=r"^\$\.rate: a frame rate runs from 0\.01 to 100000 frames per second, got"):
        read_rate(written, place="$.rate")


@pytest.mark.parametrize(
    "written",
    ["x", "", "24/0", "nan", "inf", "1e400", "1e99999999999", "24/1001/3", "9" * 5000, math.nan, math.inf, "२४"],
)
def test_a_rate_that_is_no_number_is_refused_at_once(written: float | str) -> None:
    with pytest.raises(InputError, match="wanted frames per second, such as 24") as told:
        read_rate(written)
    assert len(str(told.value)) < 160
