"""The tables of a rig file as they stand in TOML, in the file's own units."""

from __future__ import annotations

import msgspec

from surefoot.rig import ROCKERS

__all__ = [
    "AxisTable",
    "ControlTable",
    "FootTable",
    "LegTable",
    "MirrorTable",
    "Pair",
    "Point",
    "RigTable",
    "Triple",
    "WidthsTable",
]

Triple = tuple[float, float, float]
Point = list[float]
"""Three numbers, x, y and z; a planar rig may give two, z and y."""
Pair = tuple[float, float]


class Strict(msgspec.Struct, forbid_unknown_fields=True):
    """A table in which an unknown field is an error."""


class AxisTable(Strict):
    """How one channel drives an axis."""

    channel: str
    sign: float = 1.0
    unit: str | None = None
    zero: float = 0.0
    optional: bool = False


class PlacedTable(Strict):
    """Where a control sits."""

    parent: str = "world"
    rest: Point = []
    order: str = "yxz"
    rockers: tuple[str, ...] = ROCKERS


class ControlTable(PlacedTable):
    """One control: where it sits, and a channel or a table for each axis that it has."""

    x: str | AxisTable | None = None
    y: str | AxisTable | None = None
    z: str | AxisTable | None = None
    pitch: str | AxisTable | None = None
    yaw: str | AxisTable | None = None
    roll: str | AxisTable | None = None
    cant: str | AxisTable | None = None
    bend: str | AxisTable | None = None
    knee: str | AxisTable | None = None
    heel: str | AxisTable | None = None
    ball: str | AxisTable | None = None
    toe: str | AxisTable | None = None
    rocker: str | AxisTable | None = None
    yaw_heel: str | AxisTable | None = None
    yaw_ball: str | AxisTable | None = None
    yaw_toe: str | AxisTable | None = None
    hip_flexion: str | AxisTable | None = None
    hip_abduction: str | AxisTable | None = None
    hip_rotation: str | AxisTable | None = None
    knee_flexion: str | AxisTable | None = None
    ankle_flexion: str | AxisTable | None = None
    ankle_inversion: str | AxisTable | None = None
    foot_yaw: str | AxisTable | None = None
    hock_flexion: str | AxisTable | None = None


class WidthsTable(Strict):
    """The sole is so wide at heel, ball and toe."""

    heel: float
    ball: float
    toe: float


class FootTable(Strict):
    """A foot."""

    heel: Point
    ball: Point
    toe: Point
    widths: WidthsTable | None = None
    outline: list[Pair] | None = None
    hinged: bool = True
    onset: float | None = None


class LegTable(Strict):
    """A leg."""

    hip: Point
    thigh: float
    shank: float
    foot: FootTable
    limits: dict[str, Pair] = {}
    hock: float = 0.0
    backward: bool = False


class MirrorTable(Strict):
    """The image of a channel in a mirror: another channel, and the number there."""

    to: str
    factor: float = 1.0
    offset: float = 0.0


class RigTable(Strict):
    """A whole rig file."""

    surefoot: str
    name: str
    unit: str
    leg: LegTable
    angle: str = "deg"
    source: str = "invented"
    reach: float = 0.995
    style: str = "ankle"
    planar: bool = False
    any_size: bool = False
    right_leg: LegTable | None = None
    controls: dict[str, ControlTable] = {}
    tolerances: dict[str, Triple] = {}
    mirror: dict[str, MirrorTable] = {}
    drawn: tuple[str, str] = ("right", "left")
    soften: float = 1.0
