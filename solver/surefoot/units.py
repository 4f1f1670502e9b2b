"""Units of files: what one of each is in metres or radians, and how frame rates are read."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from surefoot.errors import InputError, UnknownName

__all__ = ["ANGLES", "LENGTHS", "SIGNS", "measured", "read_rate", "rounded", "unit_scale"]

LENGTHS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
LEAST_RATE, MOST_RATE = Fraction(1, 100), Fraction(100_000)
_RATE = re.compile(r"\s*[-+]?\d{1,30}(\.\d{1,30})?(/\d{1,30})?\s*", re.ASCII)
ANGLES = {"rad": 1.0, "deg": math.pi / 180.0}
SIGNS = {"deg": "°", "deg/s2": "°/s²"}
"""What a person reads for a unit; JSON and files keep the unit's name."""


def unit_scale(unit: str, *, place: str = "") -> float:
    """Return how many metres or radians one ``unit`` is; raise UnknownName otherwise."""
    known = LENGTHS | ANGLES
    if unit not in known:
        raise UnknownName("unit", unit, known, place=place)
    return known[unit]


def measured(number: str, unit: str) -> str:
    """Return a number with the sign that a person reads for its unit.

    There's a space between them, but none before a degree sign (BIPM, The International System of Units, 9th edition,
    section 5.4.3; from memory).
    """
    sign = SIGNS.get(unit, unit)
    return f"{number}{sign}" if sign.startswith("°") else f"{number} {sign}"


def rounded(amount: float) -> str:
    """Return an amount as a person reads it: with two digits after the point, with one from 10, with none from 100."""
    digits = 2 if abs(amount) < 9.995 else 1 if abs(amount) < 99.95 else 0
    return f"{amount:.{digits}f}"


def read_rate(value: float | str, *, place: str = "rate") -> Fraction:
    """Return frames per second as an exact fraction.

    Takes a number or ``"24000/1001"``. The broadcast rates, rounded to two or more
    places (23.98, 23.976, 29.97, 59.94, 119.88), are taken for their exact fractions
    over 1001 (ITU-R BT.709); any other number is taken as it stands.
    """
    shown = repr(value) if len(str(value)) <= 40 else repr(str(value)[:40] + "...")
    wanted = InputError(f'wanted frames per second, such as 24 or "24000/1001", got {shown}', place=place)
    if isinstance(value, str) and not _RATE.fullmatch(value):
        raise wanted
    try:
        rate = Fraction(value) if isinstance(value, str) else Fraction(str(value))
    except (ValueError, ZeroDivisionError, OverflowError):
        raise wanted from None
    for whole in (24, 30, 60, 120):
        exact = Fraction(whole * 1000, 1001)
        if any(rate == round(exact, places) for places in range(2, 7)):
            return exact
    if not LEAST_RATE <= rate <= MOST_RATE:
        between = f"from {float(LEAST_RATE):g} to {float(MOST_RATE):g} frames per second"
        raise InputError(f"a frame rate runs {between}, got {shown}", place=place)
    return rate
