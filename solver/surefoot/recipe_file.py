"""Recipes as TOML files, and those that ship with the package.

::

    surefoot = "recipe/1"
    name = "walk"
    gait = "walk"                # walk, run or climb
    rig = "lamplighter"          # for whom; optional
    unit = "cm"                  # m, cm, mm, in or ft; never guessed
    angle = "deg"                # deg or rad
    leg = 86.5                   # thigh plus shank that the lengths are meant for

    [pace]
    frames = 24
    toe_off = 14
    step = 67.5                  # or speed, a second

    [bob]                        # a layer; one that is left out does nothing
    size = 5.0
    high = "before contact"
    amount = 0.7                 # every layer may be scaled
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from surefoot.errors import InputError, UnknownName
from surefoot.file_faults import read_text, toml_table
from surefoot.given import checked
from surefoot.recipe import GAITS, Pace, Recipe, Stairs
from surefoot.recipe_layers import LAYERS
from surefoot.recipe_measures import Measure
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["load_recipe", "parse_recipe", "recipe_names"]

FORMAT = "recipe/1"
WANTED = "a recipe in TOML"
PARTS: Mapping[str, type] = {"pace": Pace, "stairs": Stairs, **LAYERS}
TEXTS = ("name", "gait", "rig", "about")
HEADER = ("surefoot", *TEXTS, "unit", "angle", "leg")


def _folder() -> Path:
    inside = Path(__file__).parent / "demo_recipes"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "demos" / "recipes"


def recipe_names() -> list[str]:
    """Return the names of the recipes that ship with the package."""
    return sorted(path.stem for path in _folder().glob("*.toml"))


@checked()
def load_recipe(name_or_path: str | Path) -> Recipe:
    """Return the recipe of a shipped one's name or of a TOML file.

    Parameters
    ----------
    name_or_path : str or path
        A shipped recipe's name, such as ``walk``, or a file whose name ends in ``.toml``.

    Raises
    ------
    UnknownName
        If it is neither a file nor shipped; lists those that are.
    FileError, InputError
        If the file can't be read or holds something else; names the place.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        if str(name_or_path) not in recipe_names():
            raise UnknownName("recipe", str(name_or_path), recipe_names())
        path = _folder() / f"{name_or_path}.toml"
    return parse_recipe(read_text(path, what=WANTED), place=str(path))


def parse_recipe(text: str, *, place: str = "recipe") -> Recipe:
    """Return the recipe written in ``text`` (TOML); ``place`` names it in errors."""
    table = toml_table(text, FORMAT, what=WANTED, place=place)
    try:
        return _recipe(table)
    except InputError as error:
        raise error.within(place) from None


def _recipe(table: Mapping[str, Any]) -> Recipe:
    for key in table:
        if key not in (*HEADER, *PARTS):
            raise UnknownName("field or layer of a recipe", key, [*HEADER, *PARTS])
    texts = {key: _text(table, key) for key in TEXTS if key in table}
    for key in ("name", "unit", "leg", "pace"):
        if key not in table:
            raise InputError("it is missing", place=key)
    unit, angle = _text(table, "unit"), _text(table, "angle") if "angle" in table else "deg"
    if unit not in LENGTHS:
        raise UnknownName("length unit", unit, LENGTHS, place="unit")
    if angle not in ANGLES:
        raise UnknownName("angle unit", angle, ANGLES, place="angle")
    if texts.get("gait", "walk") not in GAITS:
        raise UnknownName("gait", texts["gait"], GAITS, place="gait")
    metre, radian = LENGTHS[unit], ANGLES[angle]
    scale = {"length": metre, "speed": metre, "angle": radian}
    leg = _number(table["leg"], place="leg") * metre
    parts: dict[str, Any] = {
        name: _part(kind, name, table[name], scale) for name, kind in PARTS.items() if name in table
    }
    return Recipe(leg=leg, **{**texts, **parts})


def _text(table: Mapping[str, Any], key: str) -> str:
    value = table[key]
    if not isinstance(value, str):
        raise InputError(f"wanted a text, got {str(value)[:40]}", place=key)
    return value


def _number(value: Any, *, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"wanted a number, got {str(value)[:40]!r}", place=place)
    try:
        return float(value)
    except OverflowError:
        raise InputError(f"no number is that large, got {str(value)[:40]!r}...", place=place) from None


def _part(kind: type, name: str, table: Any, scale: Mapping[str, float]) -> Any:
    """Return one layer of its table, in metres and radians."""
    if not isinstance(table, dict):
        raise InputError(f"wanted a table, [{name}], got {str(table)[:40]!r}", place=name)
    known = {one.name: one.metadata["measure"] for one in fields(kind)}
    given: dict[str, Any] = {}
    for key, value in table.items():
        if key not in known:
            raise UnknownName("field", key, known, place=name)
        given[key] = _value(value, known[key], scale, place=f"{name}.{key}")
    for one in fields(kind):
        if one.name not in given and one.default is MISSING:
            raise InputError("it must be given", place=f"{name}.{one.name}")
    return kind(**given)


def _value(value: Any, measure: Measure, scale: Mapping[str, float], *, place: str) -> Any:
    if measure.kind == "rate":
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise InputError(f"wanted frames per second, got {str(value)[:40]!r}", place=place)
        return read_rate(value, place=place)
    if measure.kind == "word" or (measure.kind == "moment" and isinstance(value, str)):
        return value
    if measure.kind == "frames":
        number = _number(value, place=place)
        if number != number // 1:
            raise InputError(f"wanted a whole number of frames, got {number:g}", place=place)
        return int(number)
    return _number(value, place=place) * scale.get(measure.kind, 1.0)
