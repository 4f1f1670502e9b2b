"""What a kind of ground is in a file: its name, the fields of its table, and how a ground is made of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isfinite, radians
from pathlib import Path
from typing import Any, Generic, Literal, NamedTuple, TypeVar

import msgspec

from surefoot.errors import InputError
from surefoot.ground import Ground

__all__ = ["GroundKind", "GroundTable", "Three", "Told", "the_one", "to_heading"]

Three = tuple[float, float, float]


class GroundTable(msgspec.Struct):
    """What every ground's table has; a kind's own adds its fields, with ``forbid_unknown_fields=True``."""

    surefoot: Literal["ground/1"]
    unit: str
    kind: str
    name: str | None = None


Table = TypeVar("Table", bound=GroundTable)


class Told(NamedTuple, Generic[Table]):
    """A kind's table as read, the metres in one of its units, and the folder of the files that it names."""

    table: Table
    metres: float
    folder: Path


@dataclass(frozen=True, slots=True)
class GroundKind(Generic[Table]):
    """A kind of ground: ``kind = "name"`` in files, its table, how one is made, and its tables within by their field.

    ``made`` raises InputError with the field as its place.
    """

    name: str
    table: type[Table]
    made: Callable[[Told[Table]], Ground]
    within: Mapping[str, type[msgspec.Struct]] = field(default_factory=dict)
    wanted: Mapping[str, str] = field(default_factory=dict)
    """What each field that can't be left out is, with a line as an example; fields within by ``field.inner``."""


def to_heading(degrees: float) -> float:
    """Return a file's heading in radians; raise InputError unless it's finite."""
    if not isfinite(degrees):
        raise InputError(f"expected a finite number, got {degrees:g}", place="heading_deg")
    return radians(degrees)


def the_one(told: Any, names: tuple[str, ...]) -> str:
    """Return which one of a table's fields is given; raise InputError if none is, or several are."""
    given = [name for name in names if getattr(told, name) is not None]
    if len(given) != 1:
        message = f"expected one of {', '.join(names)}, got {' and '.join(given) or 'none'}"
        raise InputError(message, place=given[1] if given else told.kind)
    return given[0]
