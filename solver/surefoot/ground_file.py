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
from math import isfinite, radians
from os import PathLike, fspath
from pathlib import Path
from typing import Any, Literal, NoReturn, TypeVar

import msgspec
import numpy as np

from surefoot.errors import FileError, InputError, UnitError, UnknownName
from surefoot.given import checked
from surefoot.ground import Flat, Ground, Plane, Profile
from surefoot.ground_data_file import read_heights
from surefoot.ground_grid import Grid
from surefoot.ground_mesh import Mesh
from surefoot.ground_mesh_file import read_triangles
from surefoot.ground_presets import FLIGHT, RAMPS, STAIRS
from surefoot.units import LENGTHS

__all__ = ["load_ground", "parse_ground"]

WANTED = {
    "surefoot": 'surefoot = "ground/1"',
    "unit": f"one of {', '.join(LENGTHS)}",
    "kind": "flat, plane, profile, grid or mesh",
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

Three = tuple[float, float, float]


class _Header(msgspec.Struct):
    surefoot: Literal["ground/1"]
    unit: str
    kind: str
    name: str | None = None


class _Flat(_Header, forbid_unknown_fields=True):
    height: float = 0.0


class _Plane(_Header, forbid_unknown_fields=True):
    point: Three = (0.0, 0.0, 0.0)
    normal: Three | None = None
    slope_percent: float | None = None
    slope_deg: float | None = None
    heading_deg: float | None = None


class _Stairs(msgspec.Struct, forbid_unknown_fields=True):
    riser: float | None = None
    tread: float | None = None
    count: int | None = None
    nosing: float | None = None
    start: float = 0.0
    preset: str | None = None


class _Ramp(msgspec.Struct, forbid_unknown_fields=True):
    run: float
    rise: float | None = None
    start: float = 0.0
    preset: str | None = None


class _Kerb(msgspec.Struct, forbid_unknown_fields=True):
    height: float
    at: float = 0.0


class _Profile(_Header, forbid_unknown_fields=True):
    points: list[tuple[float, float]] | None = None
    stairs: _Stairs | None = None
    ramp: _Ramp | None = None
    kerb: _Kerb | None = None
    heading_deg: float = 0.0
    origin: Three = (0.0, 0.0, 0.0)


class _Grid(_Header, forbid_unknown_fields=True, kw_only=True):
    file: str
    spacing: float
    smooth: bool = False
    heading_deg: float = 0.0
    origin: Three = (0.0, 0.0, 0.0)


class _Mesh(_Header, forbid_unknown_fields=True, kw_only=True):
    file: str
    below: float | None = None
    origin: Three = (0.0, 0.0, 0.0)
    heading_deg: float = 0.0


Told = TypeVar("Told", bound=msgspec.Struct)


@checked()
def load_ground(path: str | PathLike[str]) -> Ground:
    """Return the ground that the TOML file ``path`` describes, in metres.

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
    header = _read(table, _Header)
    if header.unit not in LENGTHS:
        raise UnitError(f"expected {WANTED['unit']}, got {header.unit!r}", place="unit")
    metres = LENGTHS[header.unit]
    if header.kind == "flat":
        flat = _read(table, _Flat)
        return Flat(flat.height * metres, flat.name or "flat")
    if header.kind == "plane":
        return _plane(_read(table, _Plane), metres)
    if header.kind == "profile":
        return _profile(_read(table, _Profile), metres)
    if header.kind == "grid":
        grid = _read(table, _Grid)
        heights = read_heights(folder / grid.file) * metres
        origin, heading = np.array(grid.origin) * metres, _heading(grid.heading_deg)
        return Grid(heights, grid.spacing * metres, heading, origin, grid.smooth, grid.name or "grid")
    if header.kind == "mesh":
        mesh = _read(table, _Mesh)
        corners, faces = read_triangles(folder / mesh.file)
        origin, ceiling = np.array(mesh.origin) * metres, np.inf if mesh.below is None else mesh.below * metres
        return Mesh(corners * metres, faces, _heading(mesh.heading_deg), origin, ceiling, mesh.name or "mesh")
    raise InputError(f"expected {WANTED['kind']}, got {header.kind!r}", place="kind")


def _plane(plane: _Plane, metres: float) -> Plane:
    given = _the_one(plane, ("normal", "slope_percent", "slope_deg"))
    point, name = np.array(plane.point) * metres, plane.name or "plane"
    if plane.normal is not None:
        if plane.heading_deg is not None:
            raise InputError("expected a heading only beside a slope; a normal has its own", place="heading_deg")
        return Plane(point, np.array(plane.normal), name)
    heading = _heading(plane.heading_deg or 0.0)
    try:
        if plane.slope_deg is not None:
            return Plane.slope(angle=radians(plane.slope_deg), heading=heading, point=point, name=name)
        ratio = (plane.slope_percent or 0.0) / 100.0
        return Plane.slope(ratio, heading=heading, point=point, name=name)
    except InputError as error:
        if error.place not in ("angle", "rise_over_run", "normal"):
            raise
        message = f"expected a finite slope below 89 degrees, got {getattr(plane, given):g}"
        raise InputError(message, place=given) from None


def _profile(profile: _Profile, metres: float) -> Profile:
    given = _the_one(profile, ("points", "stairs", "ramp", "kerb"))
    heading, origin = _heading(profile.heading_deg), np.array(profile.origin) * metres
    name = profile.name or given.replace("points", "profile")
    if profile.points is not None:
        distance, height = np.array(profile.points, dtype=np.float64).reshape(-1, 2).T * metres
        try:
            return Profile(distance, height, heading, origin, name)
        except InputError as error:
            column = {"distance": "[0]", "height": "[1]"}
            axis, bracket, index = error.place.partition("[")
            if axis not in column:
                raise
            place = f"points[{index}{column[axis]}" if bracket else "points"
            raise type(error)(error.reason, place=place) from None
    try:
        if (stairs := profile.stairs) is not None:
            riser, tread, nosing = _steps(stairs, metres)
            return Profile.stairs(
                riser=riser,
                tread=tread,
                nosing=nosing,
                count=FLIGHT if stairs.count is None else stairs.count,
                start=stairs.start * metres,
                heading=heading,
                origin=origin,
                name=name,
            )
        if (ramp := profile.ramp) is not None:
            run, start = ramp.run * metres, ramp.start * metres
            rise = _rise(ramp, metres)
            return Profile.ramp(rise=rise, run=run, start=start, heading=heading, origin=origin, name=name)
        kerb = profile.kerb or _Kerb(0.0)
        height, at = kerb.height * metres, kerb.at * metres
        return Profile.kerb(height=height, at=at, heading=heading, origin=origin, name=name)
    except InputError as error:
        raise (error if error.place.startswith("origin") else error.within(given)) from None


def _steps(stairs: _Stairs, metres: float) -> tuple[float, float, float]:
    """Return riser, tread and nosing in metres, as stated or as their preset has them."""
    nosing = (stairs.nosing or 0.0) * metres
    if stairs.preset is not None:
        if stairs.preset not in STAIRS:
            raise UnknownName("stairs", stairs.preset, STAIRS, place="preset")
        if stairs.tread is not None or stairs.riser is not None:
            raise InputError("expected either a preset or a riser and a tread, got both", place="preset")
        preset = STAIRS[stairs.preset]
        return preset.riser, preset.tread, preset.nosing if stairs.nosing is None else nosing
    for name in ("riser", "tread", "count"):
        if getattr(stairs, name) is None:
            raise InputError("expected a value, got none", place=name)
    return (stairs.riser or 0.0) * metres, (stairs.tread or 0.0) * metres, nosing


def _rise(ramp: _Ramp, metres: float) -> float:
    """Return a ramp's rise in metres, as stated or as its preset has it."""
    if ramp.preset is None:
        if ramp.rise is None:
            raise InputError("expected a value, got none", place="rise")
        return ramp.rise * metres
    if ramp.preset not in RAMPS:
        raise UnknownName("ramp", ramp.preset, RAMPS, place="preset")
    if ramp.rise is not None:
        raise InputError("expected either a preset or a rise, got both", place="preset")
    return ramp.run * metres * RAMPS[ramp.preset].ratio


def _heading(degrees: float) -> float:
    if not isfinite(degrees):
        raise InputError(f"expected a finite number, got {degrees:g}", place="heading_deg")
    return radians(degrees)


def _the_one(told: _Plane | _Profile, names: tuple[str, ...]) -> str:
    """Return which one of these keys is given; raise InputError if none is, or several are."""
    given = [name for name in names if getattr(told, name) is not None]
    if len(given) != 1:
        message = f"expected one of {', '.join(names)}, got {' and '.join(given) or 'none'}"
        raise InputError(message, place=given[1] if given else told.kind)
    return given[0]


def _read(table: dict[str, Any], kind: type[Told]) -> Told:
    """Return the table as a struct; raise InputError for what doesn't fit."""
    try:
        return msgspec.convert(table, kind)
    except msgspec.ValidationError as error:
        reason, _, path = str(error).partition(" - at `$.")
        _refuse(reason, path.removesuffix("`"), kind)


def _refuse(reason: str, path: str, kind: type[msgspec.Struct]) -> NoReturn:
    """Raise msgspec's reason in this library's words."""
    if found := re.fullmatch(r"Object contains unknown field `(.*)`", reason, re.DOTALL):
        inner = {"stairs": _Stairs, "ramp": _Ramp, "kerb": _Kerb}.get(path, kind)
        owner = path or f"{kind.__name__[1:].lower()} ground"
        raise UnknownName(f"key of a {owner}", found[1], inner.__struct_fields__, place=path)
    if found := re.fullmatch(r"Object missing required field `(.*)`", reason):
        raise InputError(
            f"expected {WANTED.get(found[1], 'a value')}, got none", place=f"{path}.{found[1]}".lstrip(".")
        )
    if path == "surefoot":
        raise InputError(f"expected {WANTED[path]}, got something else", place=path)
    if found := re.fullmatch(r"Expected `array` of length (\d+), got (\d+)", reason):
        raise InputError(f"expected {found[1]} numbers, got {found[2]}", place=path)
    if found := re.fullmatch(r"Expected `(\w+)(?: \| null)?`, got `(\w+)`", reason):
        wanted, came = (IN_WORDS.get(word, word) for word in found.groups())
        raise InputError(f"expected {wanted}, got {came}", place=path)
    raise InputError(f"expected another value ({reason})", place=path)


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
