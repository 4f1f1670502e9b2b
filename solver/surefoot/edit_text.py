"""Edits as a person writes them: on a command line, and in a TOML file."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

import msgspec

from surefoot.errors import FileError, InputError
from surefoot.file_faults import Words, in_plain_words, read_text, toml_table
from surefoot.remixing import About, Edit

__all__ = ["FORMAT", "load_edits", "read_edit", "read_weight"]

FORMAT = "edits/1"
WANTED = "edits in TOML"
_AMOUNT = re.compile(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s*([a-z]*)\s*", re.ASCII)
MOST = 1e6
"""What no factor, amount or number of frames is beyond; a slip of the hand is told as one, not worked out."""
Do = Literal["scale", "add", "shift"]
EXAMPLES = {"scale": "hips.y=0.7", "add": "hips.y=-15mm", "shift": "chest.pitch=2"}


class _Edit(msgspec.Struct, forbid_unknown_fields=True):
    by: float
    scale: str = ""
    add: str = ""
    shift: str = ""
    about: str | int = "mean"
    unit: str = ""


class _File(msgspec.Struct, forbid_unknown_fields=True):
    surefoot: str
    edit: list[_Edit]


WORDS = Words(fields=[*_File.__struct_fields__, *_Edit.__struct_fields__], choices={})


def read_edit(do: Do, text: str) -> Edit:
    """Return the edit of a text such as ``hips.y=0.7``, ``hips=0.7@rest``, ``hips.y=-15mm`` or ``chest.pitch=2``."""
    place = f"--{do}"
    name, sign, rest = text.rpartition("=")
    amount, at, about = rest.partition("@")
    match = _AMOUNT.fullmatch(amount)
    if not sign or not name.strip() or match is None or (at and do != "scale") or (match.group(2) and do != "add"):
        raise InputError(f"wanted channels and an amount, such as {EXAMPLES[do]}, got {text!r}", place=place)
    try:
        by = float(match.group(1))
    except ValueError:
        raise InputError(f"wanted a number, got {match.group(1)!r}", place=place) from None
    if abs(by) > MOST:
        raise InputError(f"wanted an amount of at most {MOST:,.0f}, got {match.group(1)}", place=place)
    return Edit(do, name.strip(), by, _about(about or "mean", place), match.group(2))


def _about(text: str | int, place: str) -> About | int:
    if isinstance(text, int):
        return text
    if text in ("mean", "rest"):
        return text  # type: ignore[return-value]
    if re.fullmatch(r"-?\d{1,9}", text, re.ASCII):
        return int(text)
    raise InputError(f"a scale is about mean, rest or a frame's number, got {text!r}", place=place)


def read_weight(text: str) -> tuple[str, float]:
    """Return the clip and the share of a text such as ``other.json=0.3``."""
    name, sign, share = text.rpartition("=")
    try:
        weight = float(share)
    except ValueError:
        weight = -1.0
    if not sign or not name or not 0.0 < weight < 1.0:
        raise InputError(f"wanted a clip and its share, above 0 and below 1, such as other.json=0.3, got {text!r}",
                         place="--mix")  # fmt: skip
    return name, weight


def load_edits(path: str | Path) -> list[Edit]:
    """Return the edits of a TOML file, in its order.

    Each ``[[edit]]`` has one of ``scale``, ``add`` and ``shift`` with the channels, and ``by``; a scale may have
    ``about`` (``mean``, ``rest`` or a frame), an add ``unit``.

    Raises FileError or InputError with the place in the file.
    """
    table = toml_table(read_text(Path(path), what=WANTED), FORMAT, what=WANTED, place=str(path))
    try:
        raw = msgspec.convert(table, _File)
    except msgspec.ValidationError as error:
        told, where = in_plain_words(error, WORDS)
        where = where.removeprefix("$").removeprefix(".")
        raise FileError(told, place=f"{path}: {where}" if where else str(path)) from None
    return [_edit(one, f"{path}: edit {k}") for k, one in enumerate(raw.edit, start=1)]


def _edit(raw: _Edit, place: str) -> Edit:
    named: list[tuple[Do, str]] = []
    if raw.scale:
        named.append(("scale", raw.scale))
    if raw.add:
        named.append(("add", raw.add))
    if raw.shift:
        named.append(("shift", raw.shift))
    if len(named) != 1:
        raise InputError("wanted one of scale, add and shift, with the channels it's for", place=place)
    do, channels = named[0]
    try:
        return Edit(do, channels, raw.by, _about(raw.about, "about"), raw.unit)
    except InputError as error:
        raise error.within(place) from None
