"""Reading what a person types on the command line: lengths, belts, frames."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from surefoot.belt import Belt
from surefoot.choice import MENDED, Choice
from surefoot.clip import Clip, Stance
from surefoot.errors import InputError, UnknownName
from surefoot.footprint import Anchor
from surefoot.rig import FEET
from surefoot.tolerances import KINDS
from surefoot.units import ANGLES, LENGTHS

__all__ = [
    "by_option",
    "leave_alone",
    "read_amount",
    "read_amounts",
    "read_anchor",
    "read_belt",
    "read_choice",
    "read_count",
    "read_frames",
    "read_leave",
    "read_length",
    "read_places",
    "read_span",
    "read_stances",
]

_NUMBER = re.compile(r"\s*([-+0-9.eE]+)\s*([a-z]*|%)(?:/s2)?\s*")
_FRAME = r"-?\d{1,9}"
_SPAN = re.compile(rf"\s*({_FRAME})\s*(?:-\s*({_FRAME}))?\s*", re.ASCII)


OPTION_OF = {
    **{name: f"--{name.replace('_', '-')}" for name in (
        "keys_at", "let", "stride", "loops", "before", "clearance", "leave_below", "speed", "gait", "channels",
        "anchor", "style", "scale", "add", "shift", "mix", "of", "frames", "landing",
    )},
    "path": "--along",
    "to": "--to",
    "source": "--from",
    "choice: frames": "--frames",
}  # fmt: skip
"""The option by which a person gives what the library calls so."""


def by_option(error: InputError) -> InputError:
    """Return the same error at the option of its argument, where it's of one."""
    for name, option in OPTION_OF.items():
        if error.place == name or error.place.startswith((f"{name} ", f"{name}:")):
            return error.at(option + error.place.removeprefix(name))
    return error


def _number(text: str, place: str, example: str) -> tuple[float, str]:
    match = _NUMBER.fullmatch(text)
    try:
        value = float(match.group(1)) if match else math.nan
    except ValueError:
        value = math.nan
    if match is None or not math.isfinite(value):
        raise InputError(f"wanted a number with its unit, such as {example}, got {text!r}", place=place)
    return value, match.group(2)


def read_length(text: str, *, place: str, most: float = math.inf) -> float:
    """Return metres from 0 to ``most`` for a text such as ``10mm``; only 0 may go without a unit."""
    value, unit = _number(text, place, "10mm")
    if value == 0.0 and not unit:
        return 0.0
    if not unit:
        raise InputError(f"wanted a length with its unit, such as 10mm, got {text!r}", place=place)
    if unit not in LENGTHS:
        raise UnknownName("length unit", unit, LENGTHS, place=place)
    metres = value * LENGTHS[unit]
    if not 0.0 <= metres <= most:
        raise InputError(f"wanted a length from 0 to {most:g} m, got {text!r}", place=place)
    return metres


def read_amount(text: str) -> tuple[str, float]:
    """Return kind and amount (metres or radians) for a text such as ``slide=2mm`` or ``limit=3deg``."""
    kind, sign, amount = text.partition("=")
    if not sign:
        raise InputError(f"wanted a kind and an amount, such as slide=2mm, got {text!r}", place="--tolerance")
    if kind not in KINDS:
        raise UnknownName("kind of finding", kind, KINDS, place="--tolerance")
    place = f"--tolerance {kind}"
    known: Mapping[str, float]
    known, example = (LENGTHS, "2mm") if KINDS[kind].unit == "mm" else (ANGLES, "3deg")
    if KINDS[kind].unit == "%":
        known, example = {"%": 0.01}, "25%"
    value, unit = _number(amount, place, example)
    if unit not in known:
        raise InputError(f"wanted an amount in {', '.join(known)}, such as {example}, got {amount!r}", place=place)
    if value <= 0.0:
        raise InputError(f"a tolerance must be above 0, got {amount!r}", place=place)
    return kind, value * known[unit]


def read_belt(text: str) -> Belt:
    """Return the belt for ``1.35`` (towards -Z) or ``x,y,z``, metres a second."""
    try:
        parts = [float(part) for part in text.split(",")]
    except ValueError:
        parts = []
    if len(parts) not in (1, 3) or not all(math.isfinite(part) for part in parts):
        raise InputError(
            f"wanted metres a second, as 1.35 or x,y,z; or still; or estimate; got {text!r}", place="--belt"
        )
    velocity = [0.0, 0.0, -parts[0]] if len(parts) == 1 else parts
    try:
        return Belt(np.array(velocity))
    except InputError as error:
        raise error.at("--belt") from None


def read_anchor(text: str, clip: Clip) -> Anchor | int:
    """Return what footprints are taken from: ``flat``, ``contact``, ``fit``, or the frame of ``frame:N``."""
    if text in ("flat", "contact", "fit"):
        return text  # type: ignore[return-value]
    match = re.fullmatch(rf"frame:({_FRAME})", text, re.ASCII)
    if match is None:
        raise InputError(f"wanted flat, contact, fit or frame:N, got {text!r}", place="--anchor")
    frame = int(match.group(1))
    if not clip.first <= frame <= clip.last:
        raise InputError(f"frame {frame} lies outside the clip's {clip.first} to {clip.last}", place="--anchor")
    return frame


def _span(text: str, place: str) -> tuple[int, int]:
    match = _SPAN.fullmatch(text)
    if match is None:
        raise InputError(f"wanted frames such as 10-14, got {text[:40]!r}", place=place)
    first, last = int(match.group(1)), int(match.group(2) or match.group(1))
    if last < first:
        raise InputError(f"frames {first} to {last} run backwards", place=place)
    return first, last


def read_frames(text: str, *, place: str) -> tuple[int, ...]:
    """Return the frames of a text such as ``1,4,9-12``, at most 100000 of them."""
    found: set[int] = set()
    for part in text.split(","):
        first, last = _span(part, place)
        if last < first or last - first > 100_000:
            raise InputError(f"wanted frames such as 1,4,9-12, got {text!r}", place=place)
        found |= set(range(first, last + 1))
    return tuple(sorted(found))


def read_choice(only: str | None, frames: str | None, accept: str | None, reject: str | None) -> Choice:
    """Return the choice of ``--only``, ``--frames``, ``--accept`` and ``--reject``."""
    feet = FEET if only is None else (read_foot(only, place="--only"),)
    span = None if frames is None else _span(frames, "--frames")
    kinds = set(MENDED)
    for place, text in (("--accept", accept), ("--reject", reject)):
        if text is None:
            continue
        named = {kind.strip() for kind in text.split(",") if kind.strip()}
        for kind in named:
            if kind not in MENDED:
                raise UnknownName("kind that planting mends", kind, MENDED, place=place)
        kinds = kinds & named if place == "--accept" else kinds - named
        if not kinds and accept is not None:
            told = "names no kind" if reject is None or not named else "leaves none of the kinds of --accept"
            raise InputError(f"{told}; wanted at least one of {', '.join(MENDED)} to mend", place=place)
    return Choice(feet, span, frozenset(kinds))


def read_foot(text: str, *, place: str) -> str:
    """Return ``left`` or ``right`` for that or for ``left_foot``, ``right_foot``."""
    foot = text.removesuffix("_foot")
    if foot not in FEET:
        raise UnknownName("foot", text, FEET, place=place)
    return foot


def read_stances(given: list[str], clip: Clip) -> Clip:
    """Return the clip with the stances of ``left=1-15,25-38`` texts, or of ``find``, none stated.

    A foot that isn't named keeps the clip's own; ``left=`` says that it never stands.
    """
    if not given:
        return clip
    if "find" in given:
        if len(given) > 1:
            raise InputError("find stands alone; it finds the stances of both feet", place="--stances")
        return clip.with_stances(None)
    found: list[Stance] = []
    named = set()
    for text in given:
        name, sign, spans = text.partition("=")
        if not sign:
            raise InputError(f"wanted a foot and frames, such as left=1-15, or find, got {text!r}", place="--stances")
        foot = read_foot(name, place="--stances")
        if foot in named:
            raise InputError(f"the {foot} foot is given twice; part its frames by commas", place="--stances")
        named.add(foot)
        found += [Stance(foot, *_span(span, "--stances")) for span in spans.split(",") if span.strip()]
    missing = [foot for foot in FEET if foot not in named]
    if missing and clip.stances is None:
        raise InputError(
            f"state the {missing[0]} foot's too; the clip states none (--stances {missing[0]}= if it never stands)",
            place="--stances",
        )
    try:
        return clip.with_stances(found + [s for s in clip.stances or () if s.foot in missing])
    except InputError as error:
        raise error.within("--stances") from None


def read_leave(given: list[list[str]]) -> list[tuple[str, int, int]]:
    """Return foot, first and last frame of each ``--leave``."""
    return [(read_foot(foot, place="--leave"), *_span(frames, "--leave")) for foot, frames in given]


def leave_alone(clip: Clip, stances: tuple[Stance, ...], spans: list[tuple[str, int, int]]) -> tuple[Stance, ...]:
    """Return the stances, those that touch one of the spans marked as left alone.

    In a loop a stance that runs over the seam is met on both sides of it.
    Raises InputError for a span that meets no stance, which would do nothing.
    """
    rounds = (-clip.frames, 0, clip.frames) if clip.loop else (0,)

    def met(stance: Stance, span: tuple[str, int, int]) -> bool:
        foot, first, last = span
        return foot == stance.foot and any(
            first + turn <= stance.last and last + turn >= stance.first for turn in rounds
        )

    for span in spans:
        if not any(met(stance, span) for stance in stances):
            own = ", ".join(f"{s.first}-{s.last}" for s in stances if s.foot == span[0]) or "none"
            raise InputError(
                f"the {span[0]} foot has no stance in frames {span[1]} to {span[2]}; its stances are {own}",
                place="--leave",
            )
    marked = [s.left_alone or any(met(s, span) for span in spans) for s in stances]
    return tuple(replace(s, left_alone=m) for s, m in zip(stances, marked, strict=True))


def read_amounts(given: list[str], *, place: str) -> dict[str, float]:
    """Return a factor by layer for texts such as ``bob=0.7``; a layer named twice gets both."""
    found: dict[str, float] = {}
    for text in given:
        name, sign, factor = text.partition("=")
        try:
            value, unit = _number(factor, place, "0.7") if sign else (math.nan, "")
        except InputError:
            sign = ""
        if not sign or unit:
            raise InputError(f"wanted a layer and a factor, such as bob=0.7, got {text!r}", place=place)
        found[name] = found.get(name, 1.0) * value
    return found


def read_count(text: str, *, place: str) -> int:
    """Return a whole number above zero."""
    if not re.fullmatch(r"\s*\d{1,6}\s*", text, re.ASCII) or int(text) < 1:
        raise InputError(f"wanted a whole number from 1 to 999999, such as 6, got {text!r}", place=place)
    return int(text)


def read_span(text: str, *, place: str) -> tuple[float, float]:
    """Return the least and the most of a text such as ``0.35-1.25``."""
    match = re.fullmatch(r"\s*(\d*\.?\d+)\s*-\s*(\d*\.?\d+)\s*", text, re.ASCII)
    if match is None:
        raise InputError(f"wanted two numbers such as 0.35-1.25, got {text!r}", place=place)
    return float(match.group(1)), float(match.group(2))


def read_places(text: str, *, place: str) -> list[list[float]]:
    """Return places on the plan, x and z in metres, of a text such as ``0,0:0,4:4,4``."""
    try:
        places = [[float(part) for part in pair.split(",")] for pair in text.split(":")]
    except ValueError:
        places = [[]]
    if not all(len(pair) == 2 for pair in places):
        raise InputError(f"wanted places such as 0,0:0,4:4,4 (x,z in metres), got {text!r}", place=place)
    return places
