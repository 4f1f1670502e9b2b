"""Read a ground from a TOML file (https://toml.io/en/v1.0.0).

::

    surefoot = "ground/1"
    name = "hill street"             # optional
    unit = "m"                       # m, cm, mm, in or ft; never guessed
    kind = "profile"                 # flat, plane, profile, grid or mesh

    # flat:     height = 0.0
    # plane:    point = [0, 0, 0], and normal = [x, y, z], or slope_percent or slope_deg with heading_deg = 0
    # profile:  heading_deg = 0, origin = [0, 0, 0], and one of
    points = [[0, 0], [4, 0.2]]      # distance and height; equal distances in a row make a riser
    # stairs = { riser = 0.17, tread = 0.29, nosing = 0.02, count = 12, start = 0 }, or { preset = "accessible" }
    # ramp = { rise = 0.5, run = 6, start = 0 }, or { preset = "1:12", run = 5 }
    # kerb = { height = 0.12, at = 0 }

    # grid:     file = "cobbles.npy" or .csv beside this file (rows along the heading), spacing = 0.05,
    #           smooth = false, heading_deg = 0, origin = [0, 0, 0]
    # mesh:     file = "rocks.ply", .gltf or .glb, heading_deg, origin, below = 2 (what is above is no ground)

Presets for stairs, ramps and kerbs are for pictures: what may be built is decided by local codes and
licensed practice, not here.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from os import PathLike, fspath
from pathlib import Path
from typing import Any

import msgspec

from surefoot import grounds
from surefoot.errors import FileError, InputError, UnitError, UnknownName
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.grounds.kind import GroundKind, GroundTable, Told
from surefoot.tabled import held_by
from surefoot.units import LENGTHS

__all__ = ["load_ground", "parse_ground"]

WANTED = {
    "surefoot": 'surefoot = "ground/1"',
    "unit": f"one of {', '.join(LENGTHS)}",
}
IN_WORDS = {
    "float": "a number",
    "int": "a whole number",
    "bool": "true or false",
    "str": "text",
    "array": "a list",
    "object": "a table",
    "date": "a date",
    "datetime": "a date",
    "time": "a time of day",
}


DATA = {
    **dict.fromkeys((".csv", ".npy"), ("heights", 'kind = "grid", file = "{}", spacing = 0.05')),
    **dict.fromkeys((".ply", ".gltf", ".glb"), ("triangles", 'kind = "mesh", file = "{}"')),
}
"""Files that a ground's file names, by suffix: what they hold, and lines that name them."""


@checked()
def load_ground(path: str | PathLike[str]) -> Ground:
    """Return the ground that the TOML file ``path`` describes, in metres.

    Each file has ``surefoot = "ground/1"``, ``unit`` (m, cm, mm, in or ft) and ``kind``, and by its kind:

    - ``flat``: ``height``.
    - ``plane``: ``point``, and ``normal`` or ``slope_percent`` or ``slope_deg`` with ``heading_deg``.
    - ``profile``: ``heading_deg``, ``origin``, and ``points`` (distance, height), ``stairs``, ``ramp`` or ``kerb``.
    - ``grid``: ``file`` (.csv or .npy: a bare table of heights, a row further along the heading each, no line of
      names) and ``spacing``; ``smooth``, ``heading_deg``, ``origin``.
    - ``mesh``: ``file`` (.ply, .gltf or .glb); ``heading_deg``, ``origin``, ``below``.

    Raises
    ------
    FileError
        If the file can't be read, or isn't UTF-8 or TOML.
    InputError
        If what it says isn't a ground; the place is the file and the key.
    """
    place = fspath(path)
    try:
        raw = Path(path).read_bytes()
    except FileNotFoundError:
        raise FileError("expected a ground file, but there is no such file", place=place) from None
    except IsADirectoryError:
        raise FileError("expected a ground file, got a directory", place=place) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"expected a readable ground file, but it can't be read ({reason})", place=place) from None
    if (data := DATA.get(Path(path).suffix.lower())) is not None:
        lines = 'surefoot = "ground/1", unit = "m", ' + data[1].format(Path(path).name)
        raise FileError(f"it holds {data[0]} alone; give a TOML file beside it, with the lines {lines}", place=place)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        message = f"expected UTF-8 text, got the byte {raw[error.start]:#04x}"
        raise FileError(message, place=f"{place}: line {line}") from None
    return parse_ground(text, place=place, folder=Path(path).parent)


def parse_ground(text: str, *, place: str = "ground", folder: Path | None = None) -> Ground:
    """Return the ground that a TOML text describes, in metres; ``place`` names the text in messages.

    Files that it names are looked for in ``folder``.

    Examples
    --------
    >>> ground = parse_ground('surefoot = "ground/1"\\nunit = "cm"\\nkind = "flat"\\nheight = 12')
    >>> float(ground.height(0.0, 0.0))
    0.12
    """
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise FileError("expected TOML, got brackets nested too deep to read", place=place) from None
    except ValueError as error:
        hint = "" if place.endswith(".toml") or not place else "; a mesh or grid is named by the TOML file of a ground"
        raise FileError(f"expected TOML, but {_lowered(str(error))}{hint}", place=place) from None
    try:
        return _ground(table, folder or Path())
    except InputError as error:
        raise error.within(place) from None


def _ground(table: dict[str, Any], folder: Path) -> Ground:
    kinds = {kind.name: kind for kind in held_by("surefoot.grounds", grounds.KINDS, "KIND", GroundKind).values()}
    wanted = WANTED | {"kind": " or ".join((", ".join(list(kinds)[:-1]), list(kinds)[-1]))}
    try:
        header = msgspec.convert(table, GroundTable)
        if header.unit not in LENGTHS:
            raise UnitError(f"expected {wanted['unit']}, got {header.unit!r}", place="unit")
        if header.kind not in kinds:
            raise InputError(f"expected {wanted['kind']}, got {header.kind!r}", place="kind")
        kind = kinds[header.kind]
        told = msgspec.convert(table, kind.table)
    except msgspec.ValidationError as error:
        reason, _, path = str(error).partition(" - at `$.")
        raise _refused(reason, path.removesuffix("`"), kinds.get(str(table.get("kind"))), wanted) from None
    return kind.made(Told(told, LENGTHS[header.unit], folder))


def _refused(reason: str, path: str, kind: GroundKind[Any] | None, wanted: Mapping[str, str]) -> InputError:
    """Return msgspec's reason in this library's words."""
    if kind is not None and (found := re.fullmatch(r"Object contains unknown field `(.*)`", reason, re.DOTALL)):
        inner = kind.within.get(path, kind.table)
        return UnknownName(f"key of a {path or f'{kind.name} ground'}", found[1], inner.__struct_fields__, place=path)
    if found := re.fullmatch(r"Object missing required field `(.*)`", reason):
        place = f"{path}.{found[1]}".lstrip(".")
        known = {**({} if kind is None else kind.wanted), **wanted}
        return InputError(f"expected {known.get(place, 'a value')}, got none", place=place)
    if path == "surefoot":
        return InputError(f"expected {wanted[path]}, got something else", place=path)
    if found := re.fullmatch(r"Expected `array` of length (\d+), got (\d+)", reason):
        return InputError(f"expected {found[1]} numbers, got {found[2]}", place=path)
    if found := re.fullmatch(r"Expected `(\w+)(?: \| null)?`, got `(\w+)`", reason):
        expected, came = (IN_WORDS.get(word, word) for word in found.groups())
        return InputError(f"expected {expected}, got {came}", place=path)
    return InputError(f"expected another value ({reason})", place=path)


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
