"""What is wrong with a file's text, told in plain words with the place in it.

Parsers speak of byte offsets and type names; a person wants the line, the
channel's name and what would have been right.
"""

from __future__ import annotations

import contextlib
import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from surefoot.errors import FileError, nearest_name

__all__ = [
    "Words",
    "in_plain_words",
    "json_fault",
    "look_for_twins",
    "named_fault",
    "not_finite",
    "read_bytes",
    "read_text",
    "toml_table",
]

_WORDS = {
    "float": "a number",
    "int": "a whole number",
    "str": "a text",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
    "null": "nothing",
}


def read_bytes(path: str | Path, *, most: float = math.inf) -> bytes:
    """Return what a file holds; raises FileError when it can't be read or is longer than ``most`` bytes."""
    try:
        size = Path(path).stat().st_size
        if size > most:
            raise FileError(f"{size} bytes are more than is taken", place=str(path))
        return Path(path).read_bytes()
    except OSError as error:
        raise FileError(f"can't be read: {error.strerror or error}", place=str(path)) from None
    except ValueError as error:  # a name with a null character in it
        if isinstance(error, FileError):
            raise
        raise FileError(f"can't be read: {error}", place=repr(str(path))) from None


def read_text(path: str | Path, *, what: str) -> str:
    """Return the text of a file in UTF-8, without a byte order mark; ``what`` is what was wanted in it.

    Raises FileError when it can't be read or isn't such a text.
    """
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        at = f"byte {error.start} is none of it"
        raise FileError(f"not a text in UTF-8 ({at}); wanted {what}", place=str(path)) from None


class Words(NamedTuple):
    """The words of a format: its fields, and the words that may stand at the end of a place."""

    fields: Sequence[str]
    choices: Mapping[str, Sequence[str]]


def in_plain_words(error: Exception, words: Words) -> tuple[str, str]:
    """Return what a parser found wrong, and the place as it names it (``$.range.first``), or nothing."""
    told, _, place = str(error).partition(" - at ")
    place = place.removeprefix("`key` in ").strip("`")
    if match := re.match(r"Expected `array` of length >= (\d+)", told):
        return f"wanted at least {match.group(1)} in the list, got none", place
    if match := re.match(r"Expected `array` of (at least |at most |)length (\d+)(?:, got (\d+))?", told):
        got = f", got {match.group(3)}" if match.group(3) else ""
        return f"wanted a list of {match.group(1)}{match.group(2)}{got}", place
    if match := re.match(r"Expected `(.+)`, got `(.+)`", told):
        if match.groups() == ("int", "float"):
            return "wanted a whole number, got one with a fraction", place
        wanted, got = (_kinds(names) for names in match.groups())
        return f"wanted {wanted}, got {got}", place
    if match := re.match(r"Expected `.+` (<=|>=) (.+)", told):
        return f"wanted a number {'at most' if match.group(1) == '<=' else 'at least'} {match.group(2)}", place
    if match := re.match(r"Object missing required field `(.+)`", told):
        return f"the field {match.group(1)!r} is missing", place
    if match := re.match(r"Object contains unknown field `(.*)`", told):
        return _unknown("field of the format", match.group(1), words.fields), place
    if match := re.match(r"Invalid enum value '(.*)'", told):
        choices = next((some for end, some in words.choices.items() if place.endswith(end)), ())
        return _unknown("word that may stand here", match.group(1), choices, listed=True), place
    return told[:1].lower() + told[1:], place


def _unknown(kind: str, name: str, known: Sequence[str], *, listed: bool = False) -> str:
    near = nearest_name(name, known)
    tail = f"; did you mean {near!r}?" if near else f"; known are {', '.join(known)}" if listed and known else ""
    return f"{name!r} is no {kind}{tail}"


def _kinds(names: str) -> str:
    kinds = [_WORDS.get(name, name) for name in names.split(" | ") if name != "null" or names == "null"]
    return " or ".join(kinds)


def named_fault(
    entries: Any, kind: Any, words: Words, *, place: str, items: tuple[str, Any] | None = None
) -> FileError | None:
    """Return the first entry of a table that isn't of its ``kind``, told by its name, or None.

    ``items`` names a list in each entry, and the kind of its items, to look into first.
    """
    if not isinstance(entries, dict):
        return None
    for name, entry in entries.items():
        inside = entry.get(items[0]) if items is not None and isinstance(entry, dict) else None
        rows = inside if isinstance(inside, list) else []
        looked = [(f".{items[0]}[{i}]", row, items[1]) for i, row in enumerate(rows)] if items else []
        for where, value, wanted in [*looked, ("", entry, kind)]:
            try:
                msgspec.convert(value, wanted)
            except msgspec.ValidationError as error:
                told, inner = in_plain_words(error, words)
                return FileError(told, place=f'{place}["{name}"]{where}{inner.removeprefix("$")}')
    return None


def json_fault(text: str, *, place: str, what: str) -> FileError:
    """Return why ``text`` isn't JSON, as an error that gives the line, or the place of a number that is none."""
    if not text.strip():
        return FileError(f"the file is empty; wanted {what}", place=place)
    try:
        table = json.loads(text)
    except RecursionError:
        return FileError(f"nested too deeply; wanted {what}", place=place)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        return FileError(f"not JSON: {error.msg[:1].lower()}{error.msg[1:]}; wanted {what}", place=f"{place}: {where}")
    except ValueError as error:  # a whole number of thousands of digits
        return FileError(f"a number is too long: {error}", place=place)
    found = not_finite(table)
    if found is None:
        return FileError(f"not JSON as it is written; wanted {what}", place=place)
    return FileError(
        "wanted a finite number: JSON has no NaN, no Infinity and none so large", place=f"{place}: {found}"
    )


def look_for_twins(text: bytes | str, mark: str, *, wanted: int, place: str) -> None:
    """Raise FileError if a JSON object has two fields of one name: of those only the last would be read.

    Source: RFC 8259, section 4: names should be unique. A text that has the ``mark`` just ``wanted`` times isn't
    looked through: each object of interest has it once.
    """
    plain = text if isinstance(text, str) else text.decode()
    if plain.count(mark) == wanted:
        return

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table = dict(pairs)
        for name in table if len(table) < len(pairs) else ():
            if sum(name == other for other, _ in pairs) > 1:
                raise FileError(f"{name!r} is there twice", place=place)
        return table

    with contextlib.suppress(RecursionError):
        json.loads(plain, object_pairs_hook=once)


def not_finite(table: Any) -> str | None:
    """Return the place of the first number in tables and lists that isn't finite, such as ``$.belt[2]``, or None."""
    waiting: list[tuple[str, Any]] = [("$", table)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, float) and not math.isfinite(value):
            return place
        if isinstance(value, dict):
            inner = [(f'{place}["{k}"]' if "." in k else f"{place}.{k}", v) for k, v in value.items()]
            waiting += reversed(inner)
        elif isinstance(value, list):
            waiting += reversed([(f"{place}[{i}]", v) for i, v in enumerate(value)])
    return None


def toml_table(text: str, form: str, *, what: str, place: str) -> dict[str, Any]:
    """Return the table written in ``text`` (TOML) that says ``surefoot = form`` at its top; else raises FileError."""
    try:
        table = tomllib.loads(text)
    except ValueError as error:
        told = f"{error}" if isinstance(error, tomllib.TOMLDecodeError) else "A whole number has thousands of digits"
        raise FileError(f"not TOML: {told[:1].lower()}{told[1:]}; wanted {what}", place=place) from None
    except RecursionError:
        raise FileError(f"nested too deeply; wanted {what}", place=place) from None
    if table.get("surefoot") != form:
        got = repr(table.get("surefoot"))[:40]
        raise FileError(f'wanted surefoot = "{form}" at the top, got {got}', place=place)
    return table
