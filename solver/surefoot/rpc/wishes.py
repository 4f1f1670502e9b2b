"""Parameters of the remote methods: their shapes, and what they mean as values of the library."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin, get_type_hints

import msgspec
import numpy as np

from surefoot.belt import STILL, Belt
from surefoot.choice import MENDED, Choice
from surefoot.clip import Clip, Stance
from surefoot.errors import InputError
from surefoot.file_faults import Words, in_plain_words
from surefoot.options import read_amount, read_anchor, read_belt, read_foot, read_length
from surefoot.rig import FEET, Rig
from surefoot.tolerances import tolerances_for

__all__ = [
    "About",
    "Accept",
    "Cancel",
    "Check",
    "ClipClose",
    "ClipOpen",
    "DeckLoad",
    "GroundLoad",
    "Keys",
    "Plant",
    "RigLoad",
    "Wish",
    "belt_of",
    "choice_of",
    "plant_settings",
    "read_wish",
    "stated_clip",
    "tolerances_of",
]

Frame = Annotated[int, msgspec.Meta(ge=-(10**9), le=10**9)]
Span = tuple[Frame, Frame]


class Wish(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    """The parameters of one method, by name or in this order."""


class About(Wish):
    """None."""


class RigLoad(Wish):
    """A rig by its preset's name or its TOML file, or as TOML text."""

    rig: str = ""
    text: str = ""


class GroundLoad(Wish):
    """A ground by its TOML file, or as TOML text."""

    path: str = ""
    text: str = ""


class DeckLoad(Wish):
    """A deck's motion by its file (TOML, CSV, or a clip with ``deck.x`` to ``deck.roll``), or as TOML text."""

    path: str = ""
    text: str = ""


class ClipOpen(Wish):
    """A clip by its file, in any format that is read, or a demo's name; or the clip itself as a JSON file has it.

    ``map`` is the mapping of a file in another format; left out, the one beside it.
    """

    path: str = ""
    clip: dict[str, Any] | None = None
    map: str = ""


class ClipClose(Wish):
    """A clip that's no longer needed."""

    clip: str


class Check(Wish):
    """What is checked, on what ground, and how it is judged; `propose` takes the same.

    ``aboard`` is what the feet stand on where that moves: a deck's handle, or the name of a space of the clip.
    Ground, belt, stances and findings are then the deck's.
    """

    clip: str
    rig: str = ""
    ground: str = ""
    belt: str | float | tuple[float, float, float] | None = None
    stances: dict[Literal["left", "right"], list[Span]] | None = None
    tolerances: dict[str, str] = {}
    landing: Annotated[float, msgspec.Meta(ge=0.0, le=1.0)] | None = None
    progress: bool = False
    aboard: str = ""


class Plant(Check):
    """What is planted, and how."""

    before: str = ""
    anchor: str = "flat"
    clearance: str = "0mm"
    leave_below: str = "0.001mm"
    keys: Literal["few", "every"] = "few"
    keys_at: list[Frame] | None = None
    feet: tuple[str, ...] = FEET
    frames: Span | None = None
    kinds: tuple[str, ...] = MENDED
    let: list[str] = []
    locked: list[str] = []


class Accept(Wish):
    """Proposals by their names, and the channels that may change though they're asked for."""

    proposals: list[str]
    let: list[str] = []


class Keys(Wish):
    """Which channels of a clip; with ``since`` those that differ from another clip, with ``layer`` the difference."""

    clip: str
    channels: list[str] | None = None
    since: str = ""
    layer: bool = False
    slopes: bool = True


class Cancel(Wish):
    """The id of a call that runs or waits."""

    id: str | float | int | None


Kind = TypeVar("Kind", bound=Wish)


def read_wish(kind: type[Kind], params: dict[str, Any] | list[Any]) -> Kind:
    """Return the parameters as a method wants them, or raise InputError with the place."""
    fields = kind.__struct_fields__
    if isinstance(params, list):
        if len(params) > len(fields):
            raise InputError(f"wanted at most {len(fields)}, got {len(params)}", place="params")
        params = dict(zip(fields, params, strict=False))
    try:
        return msgspec.convert(params, kind)
    except msgspec.ValidationError as error:
        choices = {name: _words_of(hint) for name, hint in get_type_hints(kind).items()}
        told, where = in_plain_words(error, Words(fields=fields, choices=choices))
        if told.endswith("is no field of the format"):
            told += f"; known are {', '.join(fields)}" if fields else "; there are none"
        told = told.replace("field of the format", "parameter").replace("the field", "the parameter")
        raise InputError(told, place=where.replace("$", "params", 1) or "params") from None


def _words_of(hint: object) -> tuple[str, ...]:
    """Return the words that a parameter's type spells out, such as few and every."""
    if get_origin(hint) is Literal:
        return get_args(hint)
    return tuple(word for one in get_args(hint) for word in _words_of(one))


def belt_of(wish: Check) -> Belt | None:
    """Return the stated belt: metres a second towards -Z, three of them, a text as on the command line, or None."""
    told = wish.belt
    if told is None or told == "estimate":
        return None
    if told == "still":
        return STILL
    try:
        if isinstance(told, str):
            return read_belt(told)
        return Belt(np.array([0.0, 0.0, -told] if isinstance(told, float | int) else told))
    except InputError as error:
        raise error.at("params.belt") from None


def stated_clip(clip: Clip, wish: Check) -> Clip:
    """Return the clip with the stances that are stated, and without its belt where that's to be estimated."""
    if wish.belt == "estimate":
        clip = replace(clip, belt=None)
    if wish.stances is None:
        return clip
    try:
        return clip.with_stances(
            Stance(foot, first, last) for foot, spans in wish.stances.items() for first, last in spans
        )
    except InputError as error:
        raise error.within("params.stances") from None


def tolerances_of(wish: Check, rig: Rig) -> dict[str, tuple[float, float, float]]:
    """Return note, warning and error by kind; a stated warning such as ``2mm`` moves the others in proportion."""
    found = tolerances_for(rig.leg, rig.tolerances)
    for name, told in wish.tolerances.items():
        try:
            kind, amount = read_amount(f"{name}={told}")
        except InputError as error:
            raise error.at(f"params.tolerances.{name}"[:80]) from None
        note, warning, error_limit = found[kind]
        share = amount / warning
        found[kind] = (note * share, amount, error_limit * share)
    return found


def choice_of(wish: Plant) -> Choice:
    """Return which feet, frames and kinds may be mended."""
    feet = tuple(read_foot(foot, place="params.feet") for foot in wish.feet)
    try:
        return Choice(feet, wish.frames, frozenset(wish.kinds))
    except InputError as error:
        raise error.at("params") from None


def plant_settings(wish: Plant, clip: Clip) -> dict[str, Any]:
    """Return anchor, clearance, keys and choice as `surefoot.plant` takes them."""
    return {
        "anchor": read_anchor(wish.anchor, clip),
        "clearance": read_length(wish.clearance, place="params.clearance", most=10.0),
        "leave_below": read_length(wish.leave_below, place="params.leave_below", most=1.0),
        "keys": wish.keys,
        "keys_at": wish.keys_at,
        "choice": choice_of(wish),
    }
