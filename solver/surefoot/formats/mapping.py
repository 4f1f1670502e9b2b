"""The mapping file: which joint, node or marker is which, and what the format beside it can't carry.

A mapping is TOML. ``kind`` says what the other file holds: ``channels`` (a table of samples), ``controls`` (a node
for each control of a rig), ``joints`` (a skeleton) or ``markers`` (captured points). ``unit`` and ``axes`` say how
its numbers become metres, left, up and forward. ``[clip]`` is a clip in the words of the clip format: rate, range,
loop, belt, stances; its channels' keys hold ``"*"`` in place of a value that is in the other file.
"""

from __future__ import annotations

from collections.abc import Mapping as Table
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError, InputError, UnknownName, plain_name
from surefoot.file_faults import Words, in_plain_words, read_text, toml_table
from surefoot.plain_toml import toml_text
from surefoot.units import LENGTHS, read_rate

__all__ = ["FORMAT", "POINTS", "Mapping", "Node", "load_mapping", "mapping_path", "mapping_text", "parse_mapping"]

FORMAT = "map/1"
WANTED = "a mapping in TOML"
Array = NDArray[np.float64]
SIDED = ("hip", "knee", "ankle", "heel", "ball", "toe", "ball_inner", "ball_outer")
POINTS = ("hips", *(f"{side}_{part}" for side in ("left", "right") for part in SIDED), "pelvis")
"""What a joint or a marker can be. ``pelvis`` is four markers: front left, front right, back left, back right."""
AXES = {f"{sign}{axis}": (k, -1.0 if sign else 1.0) for k, axis in enumerate("xyz") for sign in ("", "-")}


class Node(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """The node that stands for a control.

    ``toes`` is the node that bends, ``turn`` the fixed turn of the control in the node (quaternion x, y, z, w),
    ``start`` the control's pitch, yaw and roll at the first frame in degrees, to the nearest few: it tells whole
    turns, which no quaternion carries.
    """

    node: str
    toes: str | None = None
    turn: tuple[float, float, float, float] | None = None
    start: tuple[float, float, float] | None = None


class _File(msgspec.Struct, forbid_unknown_fields=True):
    surefoot: str
    kind: Literal["channels", "controls", "joints", "markers"]
    file: str = ""
    unit: str | float = "m"
    axes: tuple[str, str, str] = ("x", "y", "z")
    take: tuple[int, int] | None = None
    ground: float = 0.0
    surety: dict[str, str] = {}
    nodes: dict[str, Node] = {}
    points: dict[str, str | list[str]] = {}
    clip: dict[str, Any] = {}


WORDS = Words(
    fields=[*_File.__struct_fields__, *Node.__struct_fields__],
    choices={"kind": ("channels", "controls", "joints", "markers")},
)


@dataclass(frozen=True, slots=True, eq=False)
class Mapping:
    """What a mapping file says.

    Parameters
    ----------
    kind : str
        ``channels``, ``controls``, ``joints`` or ``markers``.
    unit : float
        Metres in one length of the other file.
    axes : tuple of str
        Which of its axes run to the character's left, up and forward; ``-x`` is x turned about.
    take : tuple of int, or None
        The first and the last of its samples that are taken, counted from 1.
    ground : float
        The floor's height in metres, where a rig is fitted.
    nodes : mapping of str to Node
        By control.
    points : mapping of str to tuple of str
        By point (`POINTS`); of several markers the middle is taken.
    clip : mapping
        In the words of the clip format, none of them needed.
    surety : mapping of str to str
        How sure whoever proposed it was, by what was proposed; for the reader only.
    """

    kind: str
    unit: float = 1.0
    axes: tuple[str, str, str] = ("x", "y", "z")
    take: tuple[int, int] | None = None
    ground: float = 0.0
    nodes: Table[str, Node] = field(default_factory=dict)
    points: Table[str, tuple[str, ...]] = field(default_factory=dict)
    clip: Table[str, Any] = field(default_factory=dict)
    file: str = ""
    surety: Table[str, str] = field(default_factory=dict)

    SIZES: ClassVar[tuple[float, float]] = (1e-6, 1e4)

    def __post_init__(self) -> None:
        if not self.SIZES[0] <= self.unit <= self.SIZES[1]:
            raise InputError(f"wanted the metres in one unit, from 1e-6 to 1e4, got {self.unit!r}", place="unit")
        for axis in self.axes:
            if axis not in AXES:
                raise UnknownName("axis", axis, AXES, place="axes")
        if abs(np.linalg.det(self.ours_from_file()) - 1.0) > 1e-9:
            raise InputError(
                f"{', '.join(self.axes)} for left, up and forward is no right-handed set of axes; turn one about",
                place="axes",
            )
        if self.take is not None and not 1 <= self.take[0] <= self.take[1]:
            raise InputError(f"wanted two samples in order, counted from 1, got {list(self.take)}", place="take")
        if not np.isfinite(self.ground):
            raise InputError("wanted a finite height", place="ground")
        for name in self.points:
            if name not in POINTS:
                raise UnknownName("point", name, POINTS, place="points")

    def ours_from_file(self) -> Array:
        """Return the turn ``(3, 3)`` that takes the file's axes to left, up and forward."""
        turn = np.zeros((3, 3))
        for row, axis in enumerate(self.axes):
            column, sign = AXES[axis]
            turn[row, column] = sign
        return turn

    def world(self, matrices: Array) -> Array:
        """Return matrices ``(..., 4, 4)`` of the file in metres, left, up and forward."""
        turn = self.ours_from_file()
        found = np.zeros_like(matrices)
        found[..., :3, :3] = turn @ matrices[..., :3, :3] @ turn.T
        found[..., :3, 3] = (matrices[..., :3, 3] * self.unit) @ turn.T
        found[..., 3, 3] = 1.0
        return found

    @property
    def first(self) -> int:
        """The clip's frame of the first sample taken."""
        return int((self.clip.get("range") or {}).get("first", 1))


def mapping_path(path: str | Path) -> Path:
    """Return where the mapping of a file is looked for: ``walk.glb`` has ``walk.glb.map.toml``."""
    return Path(f"{path}.map.toml")


def load_mapping(path: str | Path) -> Mapping:
    """Return the mapping in a TOML file; FileError or InputError tell its place and what is wrong there."""
    return parse_mapping(read_text(path, what=WANTED), place=str(path))


def parse_mapping(text: str, *, place: str = "mapping") -> Mapping:
    """Return the mapping written in ``text`` (TOML); ``place`` names it in errors."""
    table = toml_table(text, FORMAT, what=WANTED, place=place)
    try:
        raw = msgspec.convert(table, _File)
    except msgspec.ValidationError as error:
        told, where = in_plain_words(error, WORDS)
        where = where.removeprefix("$").removeprefix(".")
        raise FileError(told, place=f"{place}: {where}" if where else place) from None
    try:
        return _build(raw)
    except InputError as error:
        raise error.within(place) from None


def _build(raw: _File) -> Mapping:
    if isinstance(raw.unit, str) and raw.unit not in LENGTHS:
        raise UnknownName("length unit", raw.unit, LENGTHS, place="unit")
    stretch = raw.clip.get("range")
    if stretch is not None and not (isinstance(stretch, dict) and isinstance(stretch.get("first", 1), int)):
        raise InputError("wanted whole numbers first and last", place="clip.range")
    if "rate" in raw.clip:
        if not isinstance(raw.clip["rate"], (int, float, str)):
            raise InputError("wanted a number or a text", place="clip.rate")
        read_rate(raw.clip["rate"], place="clip.rate")
    return Mapping(
        kind=raw.kind,
        unit=LENGTHS[raw.unit] if isinstance(raw.unit, str) else raw.unit,
        axes=raw.axes,
        take=raw.take,
        ground=raw.ground,
        nodes=raw.nodes,
        points={k: (v,) if isinstance(v, str) else tuple(v) for k, v in raw.points.items()},
        clip=raw.clip,
        file=raw.file,
        surety=raw.surety,
    )


def mapping_text(mapping: Mapping) -> str:
    """Return the mapping as TOML."""
    unit: str | float = next((name for name, size in LENGTHS.items() if size == mapping.unit), mapping.unit)
    table: dict[str, Any] = {"surefoot": FORMAT, "kind": mapping.kind}
    if mapping.file:
        table["file"] = plain_name(mapping.file)
    table |= {"unit": unit, "axes": list(mapping.axes)}
    if mapping.take is not None:
        table["take"] = list(mapping.take)
    if mapping.ground:
        table["ground"] = mapping.ground
    if mapping.surety:
        table["surety"] = dict(mapping.surety)
    if mapping.nodes:
        table["nodes"] = {name: msgspec.to_builtins(node) for name, node in mapping.nodes.items()}
    if mapping.points:
        table["points"] = {k: v[0] if len(v) == 1 else list(v) for k, v in mapping.points.items()}
    if mapping.clip:
        table["clip"] = dict(mapping.clip)
    return toml_text(table)
