"""Four legs as two pairs: each pair is a two-legged rig with hips of its own, checked and planted by the same code.

A pair's channels have their own names, so that both lie in one clip. Stances are found for each pair, or stated by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from surefoot.belt import Belt
from surefoot.blocking import block
from surefoot.checking import Report, check
from surefoot.clip import Clip, Stance
from surefoot.curves import Curve
from surefoot.errors import FileError, InputError, UnknownName, came, finite_number
from surefoot.file_faults import read_text, toml_table
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.planting import Planted, plant, scene_of
from surefoot.recipe import Recipe
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, presets_folder

__all__ = ["Pairs", "PlantedPairs", "block_pairs", "check_pairs", "load_pairs", "pair_names", "plant_pairs"]

FORMAT = "pairs/1"
WANTED = "pairs of legs in TOML"
Stances = Mapping[str, Iterable[Stance]]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """A character with several pairs of legs.

    Parameters
    ----------
    pairs : mapping of str to Rig
        From the one that leads; no two pairs name the same channel.
    ahead : mapping of str to float
        How far a pair stands ahead of the first, metres.

    Raises
    ------
    InputError
        If there are fewer than two pairs, two pairs name one channel, or ``ahead`` names no pair.
    """

    name: str
    pairs: Mapping[str, Rig]
    ahead: Mapping[str, float]
    source: str = "invented"

    def __post_init__(self) -> None:
        for word, table in (("pairs", self.pairs), ("ahead", self.ahead)):
            if not isinstance(table, Mapping):
                raise InputError(f"wanted a mapping by the pair's name, got {came(table)}", place=word)
        if len(self.pairs) < 2:
            raise InputError(f"wanted at least two pairs of legs, got {len(self.pairs)}", place=f"pairs {self.name}")
        seen: dict[str, str] = {}
        for pair, rig in self.pairs.items():
            for channel in rig.channels():
                if channel in seen:
                    raise InputError(f"the channel {channel!r} is the {seen[channel]} pair's too", place=f"pair {pair}")
                seen[channel] = pair
        for pair in self.ahead:
            if pair not in self.pairs:
                raise UnknownName("pair", pair, self.pairs, place="ahead")
        object.__setattr__(self, "pairs", MappingProxyType(dict(self.pairs)))
        object.__setattr__(self, "ahead", MappingProxyType(dict(self.ahead)))


@dataclass(frozen=True, slots=True, eq=False)
class PlantedPairs:
    """The clip with every pair planted, and what `plant` gave for each."""

    clip: Clip
    parts: Mapping[str, Planted]


def pair_names() -> list[str]:
    """Return the names of the characters of several pairs that ship with the package."""
    return sorted(path.stem for path in (presets_folder() / "pairs").glob("*.toml"))


@checked()
def load_pairs(name_or_path: str | Path) -> Pairs:
    """Return the pairs of a preset's name or of a TOML file; its rigs are presets, or files beside it.

    Parameters
    ----------
    name_or_path : str or path
        A preset's name, such as ``hound``, or a file whose name ends in ``.toml``.

    Raises
    ------
    UnknownName
        If no preset has that name; lists those that there are.
    FileError, InputError
        If the file can't be read or holds something else; names the place.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        if str(name_or_path) not in pair_names():
            raise UnknownName("character of pairs", str(name_or_path), pair_names())
        path = presets_folder() / "pairs" / f"{name_or_path}.toml"
    table = toml_table(read_text(path, what=WANTED), FORMAT, what=WANTED, place=str(path))
    rigs, ahead = table.get("pairs"), table.get("ahead", {})
    good = isinstance(rigs, dict) and all(isinstance(name, str) for name in rigs.values())
    if not good or not isinstance(ahead, dict) or not all(isinstance(far, int | float) for far in ahead.values()):
        raise FileError("wanted [pairs] with a rig's name each, and numbers in [ahead]", place=str(path))
    assert isinstance(rigs, dict)
    made = {pair: load_rig(path.parent / rig if rig.endswith(".toml") else rig) for pair, rig in rigs.items()}
    return Pairs(str(table.get("name", path.stem)), made, ahead, str(table.get("source", "invented")))


@checked(pairs=Pairs, stances=Mapping)
def plant_pairs(
    clip: Clip, pairs: Pairs, *, ground: Ground | None = None, belt: Belt | None = None, stances: Stances | None = None,
    **options: Any,
) -> PlantedPairs:  # fmt: skip
    """Return the clip with every pair of legs planted, one after the other; ``options`` are those of `plant`.

    The belt is the one given, else the clip's, else the first pair's estimate: one ground moves under all.

    Parameters
    ----------
    pairs : Pairs
    ground, belt : as for `plant`
    stances : mapping of str to iterable of Stance, optional
        By the pair's name.

    Raises
    ------
    InputError
        If the clip and a pair's rig don't belong together, or an option isn't what `plant` takes.
    """
    parts: dict[str, Planted] = {}
    belt = belt or clip.belt
    done = replace(clip, stances=None)
    for pair, rig in pairs.pairs.items():
        own = None if stances is None else stances.get(pair)
        belt = belt or scene_of(done, rig, ground).belt
        parts[pair] = plant(done, rig, ground=ground, belt=belt, stances=own, **options)
        done = replace(parts[pair].clip, stances=None)
    return PlantedPairs(done, MappingProxyType(parts))


@checked(pairs=Pairs, stances=Mapping)
def check_pairs(
    clip: Clip, pairs: Pairs, *, ground: Ground | None = None, belt: Belt | None = None, stances: Stances | None = None,
    **options: Any,
) -> dict[str, Report]:  # fmt: skip
    """Return what is wrong with each pair's feet; ``options`` are those of `check`.

    Parameters
    ----------
    pairs : Pairs
    ground, belt : as for `check`
    stances : mapping of str to iterable of Stance, optional
        By the pair's name.

    Returns
    -------
    dict of str to Report
        By the pair's name.

    Raises
    ------
    InputError
        If the clip and a pair's rig don't belong together, or an option isn't what `check` takes.
    """
    plain = replace(clip, stances=None)
    belt = belt or clip.belt
    found = {}
    for pair, rig in pairs.pairs.items():
        own = None if stances is None else stances.get(pair)
        belt = belt or scene_of(plain, rig, ground).belt
        found[pair] = check(plain, rig, ground=ground, belt=belt, stances=own, **options)
    return found


@checked(recipe=Recipe, pairs=Pairs)
def block_pairs(recipe: Recipe, pairs: Pairs, *, lag: float = 0.25) -> Clip:
    """Return a first cycle for every pair: the same recipe, each pair ``lag`` of a cycle after the one before it.

    A quarter of a cycle gives a walk in lateral sequence (left hind, left fore, right hind, right fore), half a cycle
    a trot. Lengths grow with the first pair's legs, so that all pairs step alike.

    Parameters
    ----------
    recipe : Recipe
        The first pair's; the others' lengths grow with their legs.
    lag : float
        Share of a cycle.

    Raises
    ------
    InputError
        If a height of the hips can't be found, as for `block`, or ``lag`` is no finite number.
    """
    share = finite_number(lag, place="lag")
    first = next(iter(pairs.pairs.values()))
    channels: dict[str, Curve] = {}
    made: Clip | None = None
    for k, (pair, rig) in enumerate(pairs.pairs.items()):
        blocked = block(replace(recipe, leg=recipe.leg * rig.leg / first.leg), rig).clip
        made = made or blocked
        later = round(k * share * recipe.pace.frames)
        for name, axis in rig.channels().items():
            if name not in blocked.channels:
                continue
            curve = blocked.channels[name]
            ahead = pairs.ahead.get(pair, 0.0) / axis.scale if _is_forward(rig, name) else 0.0
            channels[name] = replace(curve, frames=curve.frames + later, values=curve.values + ahead)
    assert made is not None
    return replace(made, channels=channels, stances=None, rig=pairs.name, name=f"{pairs.name} {recipe.name}")


def _is_forward(rig: Rig, name: str) -> bool:
    """Return whether a channel is a world place along +Z."""
    return any(
        control.parent == "world" and key == "z" and axis.channel == name
        for control in rig.controls.values()
        for key, axis in control.axes.items()
    )
