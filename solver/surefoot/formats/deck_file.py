"""Decks from files: keys in TOML, samples in CSV, or the channels of a clip in JSON.

In TOML: ``surefoot = "deck/1"``, the ``unit`` of places, the ``angle`` of turns, their ``order``, whether ``time``
runs in ``"frames"`` or ``"seconds"``, and ``[channels]`` of keys as a clip has them. In CSV: a header such as
``frame,x [m],y [m],yaw [deg]`` or ``time [s],...`` and a row for each; a line ``# order = zxy`` before it where it
isn't yxz. In a clip: channels ``deck.x`` to ``deck.roll``, its unit and angle, and its extra field ``order``.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.clip_file import load_clip, parse_clip
from surefoot.curves import Curve
from surefoot.deck import AXES, Deck
from surefoot.errors import FileError, InputError, UnknownName
from surefoot.file_faults import not_finite, read_text, toml_table
from surefoot.formats.samples_csv import heading_of, table_of
from surefoot.given import checked
from surefoot.key_edits import affine
from surefoot.rig import LENGTHWISE
from surefoot.rotations import check_order
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["FORMAT", "load_deck", "parse_deck"]

FORMAT = "deck/1"
WANTED = "a deck's motion in TOML"
WANTED_CSV = "a deck's samples in CSV, with a header such as frame,x [m],y [m],yaw [deg]"
FIELDS = ("surefoot", "name", "unit", "angle", "order", "time", "rate", "channels")
TIMES = ("frames", "seconds")
SAID_ORDER = re.compile(r"#\s*order\s*=\s*[\"']?(\w+)")
OF_DECK = "deck."

Array = NDArray[np.float64]


@checked()
def load_deck(path: str | Path) -> Deck:
    """Return the deck in a file, by its suffix: ``.toml``, ``.csv`` or ``.json``; one that has no name gets the file's.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    FileError
        When the file can't be read or isn't a deck's; the message gives the file and the place in it.
    InputError
        When a value in it is wrong, or its suffix isn't one of the three.
    """
    suffix, place = Path(path).suffix.lower(), str(path)
    readers: dict[str, Callable[[], Deck]] = {
        ".toml": lambda: parse_deck(read_text(path, what=WANTED), place=place),
        ".csv": lambda: _of_csv(read_text(path, what=WANTED_CSV), Path(path).stem, place),
        ".json": lambda: _told_of(place, load_clip(path)),
    }
    if not suffix:
        raise InputError(f"wanted a deck's file, whose name ends in {' or '.join(readers)}", place=place)
    if suffix not in readers:
        raise UnknownName("suffix of a deck's file", suffix, readers, place=place)
    deck = readers[suffix]()
    return deck if deck.name else replace(deck, name=Path(path).stem)


def parse_deck(text: str, *, place: str = "deck") -> Deck:
    """Return the deck written in ``text`` (TOML); ``place`` names it in errors."""
    table = toml_table(text, FORMAT, what=WANTED, place=place)
    for name in table:
        if name not in FIELDS:
            raise UnknownName("field of a deck", name, FIELDS, place=place)
    bad = not_finite(table)
    if bad is not None:
        raise FileError("wanted a finite number", place=f"{place}: {bad.removeprefix('$.')}")
    time = table.get("time", TIMES[0])
    if time not in TIMES:
        raise UnknownName("kind of time", f"{time}", TIMES, place=f"{place}: time")
    stated: dict[str, Any] = {name: table[name] for name in ("name", "unit", "angle") if name in table}
    as_clip: dict[str, Any] = {
        "surefoot": "clip/1", "rate": table.get("rate", 24), "range": {"first": 0, "last": 0},
        "extra": {"order": table.get("order", "yxz")}, "channels": table.get("channels", {}), **stated,
    }  # fmt: skip
    clip = parse_clip(msgspec.json.encode(as_clip), place=place)
    rate = read_rate(table["rate"], place=f"{place}: rate") if "rate" in table else None
    return _told_of(place, clip, in_seconds=time == "seconds", rate=rate, covers=None)


def _told_of(place: str, clip: Clip, **said: Any) -> Deck:
    """Return the deck that a clip's channels are; what is wrong with it is told of its file."""
    try:
        return _of_clip(clip, **said)
    except InputError as error:
        raise error.within(place) from None


def _of_clip(clip: Clip, **said: Any) -> Deck:
    prefix = OF_DECK if any(name.startswith(OF_DECK) for name in clip.channels) else ""
    names = {axis: prefix + axis for axis in AXES if prefix + axis in clip.channels}
    if not names:
        raise InputError(
            f"it has no channel of a deck; wanted some of {', '.join(OF_DECK + axis for axis in AXES)}",
            place="channels",
        )
    if not prefix and len(names) < len(clip.channels):
        other = next(name for name in clip.channels if name not in AXES)
        raise UnknownName("channel of a deck", other, AXES, place="channels")
    curves = {axis: affine(clip.channels[name], factor=_unit(axis, clip, name)) for axis, name in names.items()}
    known = None if clip.loop else (float(clip.first), float(clip.last))
    stated: dict[str, Any] = {
        "order": str(clip.extra.get("order", "yxz")),
        "rate": clip.rate,
        "covers": known,
        "name": clip.name,
    }
    return Deck(curves, **(stated | said))


def _unit(axis: str, clip: Clip, name: str) -> float:
    lengthwise = axis in LENGTHWISE
    stated, known = (clip.unit, LENGTHS) if lengthwise else (clip.angle, ANGLES)
    if not stated:
        field = "unit" if lengthwise else "angle"
        raise InputError(f"wanted one of {', '.join(known)} for {name}, and none is stated", place=field)
    return known[stated]


def _of_csv(text: str, name: str, place: str) -> Deck:
    lines = text.splitlines(keepends=True)
    above = next((k for k, line in enumerate(lines) if not line.lstrip().startswith("#")), len(lines))
    orders = [found.group(1) for line in lines[:above] if (found := SAID_ORDER.match(line.strip()))]
    header, rows = table_of("".join(lines[above:]), place, wanted=WANTED_CSV)
    columns: dict[str, tuple[str, Array]] = {}
    for k, word in enumerate(header):
        column, unit = heading_of(word, place)
        column = column.removeprefix(OF_DECK)
        if column not in ("frame", "time", *AXES):
            raise UnknownName("column of a deck", column, ("frame", "time", *AXES), place=f"{place}: header")
        if column in columns:
            raise FileError(f"two columns are called {column}", place=f"{place}: header")
        columns[column] = unit, rows[:, k]
    key = next((one for one in ("frame", "time") if one in columns), None)
    if key is None:
        raise FileError(f"no column is called frame or time [s]; wanted {WANTED_CSV}", place=f"{place}: header")
    if key == "time" and columns[key][0] not in ("s", ""):
        raise FileError(f"wanted time in s, got {columns[key][0]}", place=f"{place}: header")
    times = columns[key][1]
    if (np.diff(times) <= 0.0).any():
        row = int(np.argmax(np.diff(times) <= 0.0)) + above + 3
        raise FileError(f"{key}s must rise from row to row", place=f"{place}: row {row}")
    curves = {}
    for axis in AXES:
        if axis in columns:
            unit, values = columns[axis]
            known = LENGTHS if axis in LENGTHWISE else ANGLES
            if unit not in known:
                told = f"wanted {axis} in one of {', '.join(known)}, written as {axis} [{next(iter(known))}]"
                raise FileError(f"{told}; got {unit or 'no unit'}", place=f"{place}: header")
            curves[axis] = Curve.through(times, values * known[unit])
    try:
        order = check_order(orders[-1] if orders else "yxz", place="order")
        covers = (float(times[0]), float(times[-1]))
        return Deck(curves, order=order, in_seconds=key == "time", covers=covers, name=name)
    except InputError as error:
        raise error.within(place) from None
