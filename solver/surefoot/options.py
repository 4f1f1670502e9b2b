"""Reading what a person types on the command line: lengths, belts, frames."""

from __future__ import annotations

import math
import re

import numpy as np

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.errors import InputError, UnknownName
from surefoot.rig import FEET
from surefoot.tolerances import KINDS
from surefoot.units import ANGLES, LENGTHS

__all__ = ["read_amount", "read_belt", "read_leave", "read_length", "read_stances"]

_NUMBER = re.compile(r"^\s*([-+0-9.eE]+)\s*([a-z]*)(?:/s2)?\s*$")


def _number(text: str, place: str) -> tuple[float, str]:
    match = _NUMBER.match(text)
    try:
        value = float(match.group(1)) if match else math.nan
    except ValueError:
        value = math.nan
    if match is None or not math.isfinite(value):
        raise InputError(f"wanted a number with its unit, such as 2mm, got {text!r}", place=place)
    return value, match.group(2)


def read_length(text: str, *, place: str) -> float:
    """Return metres for a text such as ``10mm``; the unit must be there unless the number is 0."""
    value, unit = _number(text, place)
    if value == 0.0 and not unit:
        return 0.0
    if unit not in LENGTHS:
        raise UnknownName("length unit", unit, LENGTHS, place=place)
    return value * LENGTHS[unit]


def read_amount(text: str) -> tuple[str, float]:
    """Return kind and amount (metres or radians) for a text such as ``slide=2mm`` or ``limit=3deg``."""
    kind, sign, amount = text.partition("=")
    if not sign:
        raise InputError(f"wanted a kind and an amount, such as slide=2mm, got {text!r}", place="--tolerance")
    value, unit = _number(amount, "--tolerance")
    if kind not in KINDS:
        raise UnknownName("kind of finding", kind, KINDS, place="--tolerance")
    known = LENGTHS if KINDS[kind].unit == "mm" else ANGLES
    if unit not in known:
        raise UnknownName("unit", unit, known, place=f"--tolerance {kind}")
    if value <= 0.0:
        raise InputError(f"a tolerance must be above 0, got {amount}", place=f"--tolerance {kind}")
    return kind, value * known[unit]


def read_belt(text: str) -> Belt:
    """Return the belt for ``1.35`` (towards -Z) or ``x,y,z``, metres a second."""
    try:
        parts = [float(part) for part in text.split(",")]
    except ValueError:
        parts = []
    if len(parts) == 1:
        return Belt(np.array([0.0, 0.0, -parts[0]]))
    if len(parts) == 3:
        return Belt(np.array(parts))
    raise InputError(f"wanted a speed, x,y,z, still or estimate, got {text!r}", place="--belt")


def _span(text: str, place: str) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(-?\d+)\s*(?:-\s*(-?\d+))?\s*", text)
    if match is None:
        raise InputError(f"wanted frames such as 10-14, got {text!r}", place=place)
    return int(match.group(1)), int(match.group(2) or match.group(1))


def read_foot(text: str, *, place: str) -> str:
    """Return ``left`` or ``right`` for that or for ``left_foot``, ``right_foot``."""
    foot = text.removesuffix("_foot")
    if foot not in FEET:
        raise UnknownName("foot", text, FEET, place=place)
    return foot


def read_stances(given: list[str], clip: Clip) -> tuple[Stance, ...]:
    """Return the stances of ``left=1-15,25-38`` texts; a foot that isn't named keeps the clip's own."""
    found: list[Stance] = []
    named = set()
    for text in given:
        name, sign, spans = text.partition("=")
        if not sign:
            raise InputError(f"wanted a foot and frames, such as left=1-15, got {text!r}", place="--stances")
        foot = read_foot(name, place="--stances")
        if foot in named:
            raise InputError(f"the {foot} foot is given twice", place="--stances")
        named.add(foot)
        found += [Stance(foot, *_span(span, "--stances")) for span in spans.split(",") if span.strip()]
    missing = [foot for foot in FEET if foot not in named]
    if missing and clip.stances is None:
        raise InputError(f"state the {missing[0]} foot's stances too, or none", place="--stances")
    return tuple(found + [s for s in clip.stances or () if s.foot in missing])


def read_leave(foot: str, frames: str) -> tuple[str, int, int]:
    """Return foot, first and last frame of ``--leave``."""
    return (read_foot(foot, place="--leave"), *_span(frames, "--leave"))
