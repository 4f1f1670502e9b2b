"""The rig: lengths, rest offsets, joint limits, sole, controls and channel names of one character.

Everything in here is in metres and radians; a file's own units are kept only
in the channel axes, which turn a channel's number into metres or radians.

Foot space has its origin at the ankle joint, +Y up and +Z forward while the
foot stands flat. The right foot's outline is its own, not the left one's
reflection; `Leg.mirrored` makes one from the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, UnitError
from surefoot.rotations import check_order

__all__ = ["AXES", "FEET", "Axis", "Control", "Foot", "Leg", "Limits", "Rig"]

Array = NDArray[np.float64]

FEET = ("left", "right")
AXES = ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee")
"""What a channel can drive: three shifts, three turns, the toe bend, the turn of the knee."""


def _point(value: object, place: str) -> Array:
    point = np.array(value, dtype=np.float64)
    if point.shape != (3,) or not np.all(np.isfinite(point)):
        raise InputError(f"wanted three finite numbers, got {np.array(value).tolist()!r}", place=place)
    point.flags.writeable = False
    return point


@dataclass(frozen=True, slots=True)
class Axis:
    """How one channel's number becomes metres or radians: ``scale * (number - zero)``.

    ``scale`` carries the unit and the sign (negative where the host's axis runs
    the other way); ``zero`` is in the channel's own unit.
    """

    channel: str
    scale: float = 1.0
    zero: float = 0.0
    optional: bool = False

    def __post_init__(self) -> None:
        if not (np.isfinite(self.scale) and self.scale != 0 and np.isfinite(self.zero)):
            raise InputError("scale must be finite and not zero, zero must be finite", place=f"axis {self.channel}")


@dataclass(frozen=True, slots=True, eq=False)
class Control:
    """A movable part: its parent space, its rest offset there, and the channels that move it.

    ``rest`` is where it sits in the parent's space when every channel is zero,
    ``(3,)`` metres. ``order`` is the rotation order of its three turns.
    """

    name: str
    axes: Mapping[str, Axis]
    parent: str = "world"
    rest: Array = field(default_factory=lambda: np.zeros(3))
    order: str = "yxz"

    def __post_init__(self) -> None:
        place = f"control {self.name}"
        object.__setattr__(self, "rest", _point(self.rest, f"{place}.rest"))
        object.__setattr__(self, "order", check_order(self.order, place=f"{place}.order"))
        for axis in self.axes:
            if axis not in AXES:
                raise InputError(f"{axis!r} is no axis; use {', '.join(AXES)}", place=place)
        object.__setattr__(self, "axes", MappingProxyType(dict(self.axes)))


@dataclass(frozen=True, slots=True, eq=False)
class Foot:
    """A hindfoot with heel and ball hinge, and a toe segment, in foot space (metres).

    Parameters
    ----------
    heel, ball, toe : ndarray, shape (3,)
        The heel's centre on the sole, the ball hinge (it may sit above the
        sole) and the toe tip on the sole. ``heel`` and ``toe`` share one height.
    outline : ndarray, shape (corners, 2)
        The sole's convex edge seen from above as x and z, any direction round.
    hinged : bool
        False for a foot whose toes don't bend: it turns about its toe edge.
    onset : float
        Pitch in radians at which the toe rocker takes over from the forefoot rocker.
    """

    heel: Array
    ball: Array
    toe: Array
    outline: Array
    hinged: bool = True
    onset: float = np.radians(45.0)
    hind_corners: Array = field(init=False)
    toe_corners: Array = field(init=False)

    def __post_init__(self) -> None:
        for name in ("heel", "ball", "toe"):
            object.__setattr__(self, name, _point(getattr(self, name), f"foot.{name}"))
        sole = float(self.heel[1])
        if sole >= 0:
            raise InputError("the heel must lie below the ankle (negative y)", place="foot.heel")
        if abs(self.toe[1] - sole) > 1e-6:
            raise InputError("heel and toe must share one height, that of the sole", place="foot.toe")
        if not sole - 1e-9 <= self.ball[1] < 0:
            raise InputError("the ball hinge must lie on the sole or above it, below the ankle", place="foot.ball")
        if not self.heel[2] < self.ball[2] < self.toe[2]:
            raise InputError("heel, ball and toe must follow one another forward (z)", place="foot")
        if not 0.0 < self.onset < np.radians(85.0):
            raise InputError("the toe rocker's onset must lie between 0 and 85 degrees", place="foot.onset")
        outline = np.array(self.outline, dtype=np.float64)
        if outline.ndim != 2 or outline.shape[1:] != (2,) or len(outline) < 3 or not np.all(np.isfinite(outline)):
            raise InputError("wanted at least three corners of two finite numbers", place="foot.outline")
        if outline[:, 1].min() > self.heel[2] + 1e-9 or outline[:, 1].max() < self.toe[2] - 1e-9:
            raise InputError("the outline must reach from the heel to the toe tip", place="foot.outline")
        outline = _convex(outline)
        outline.flags.writeable = False
        object.__setattr__(self, "outline", outline)
        hind, toes = _split(outline, float(self.ball[2]))
        for name, part in (("hind_corners", hind), ("toe_corners", toes)):
            corners = np.column_stack([part[:, 0], np.full(len(part), sole), part[:, 1]])
            corners.flags.writeable = False
            object.__setattr__(self, name, corners)

    @property
    def sole(self) -> float:
        """Height of the flat sole in foot space, metres (negative: below the ankle)."""
        return float(self.heel[1])

    @property
    def length(self) -> float:
        """Heel edge to toe edge, metres."""
        return float(np.ptp(self.outline[:, 1]))

    def edge(self, z: float) -> tuple[float, float]:
        """Return the smallest and largest x of the outline on the line across at ``z``."""
        x = _crossings(self.outline, z)
        return float(x.min()), float(x.max())

    def mirrored(self) -> Foot:
        """Return the other side's foot."""
        flip = np.array([-1.0, 1.0, 1.0])
        outline = self.outline * [-1.0, 1.0]
        return Foot(self.heel * flip, self.ball * flip, self.toe * flip, outline, self.hinged, self.onset)


def _convex(outline: Array) -> Array:
    """Return the outline's convex hull, counter-clockwise, or raise when it has no area."""
    from shapely import MultiPoint, get_coordinates

    hull = MultiPoint(outline).convex_hull
    if hull.geom_type != "Polygon" or hull.area < 1e-8:
        raise InputError("the outline encloses no area", place="foot.outline")
    return np.array(get_coordinates(hull)[:-1], dtype=np.float64)


def _crossings(outline: Array, z: float) -> Array:
    a, b = outline, np.roll(outline, -1, axis=0)
    low, high = np.minimum(a[:, 1], b[:, 1]) - 1e-9, np.maximum(a[:, 1], b[:, 1]) + 1e-9
    hit = (low <= z) & (z <= high)
    span = b[hit, 1] - a[hit, 1]
    level = np.abs(span) < 1e-9
    part = np.clip(np.where(level, 0.0, (z - a[hit, 1]) / np.where(level, 1.0, span)), 0.0, 1.0)
    x = a[hit, 0] + part * (b[hit, 0] - a[hit, 0])
    return np.concatenate([x, b[hit, 0][level]])


def _split(outline: Array, z: float) -> tuple[Array, Array]:
    """Cut the outline across at ``z``: the hindfoot's corners and the toe segment's."""
    x = _crossings(outline, z)
    cut = np.array([[x.min(), z], [x.max(), z]])
    hind = np.concatenate([outline[outline[:, 1] < z - 1e-9], cut])
    toes = np.concatenate([cut, outline[outline[:, 1] > z + 1e-9]])
    return hind, toes


@dataclass(frozen=True, slots=True)
class Limits:
    """Joint ranges in radians, each as (least, most).

    Signs are the anatomist's: hip and ankle flexion lift the front (thigh forward,
    toes up), knee flexion folds the leg, abduction and inversion carry the sole
    away from and towards the middle. Defaults are wide; they're for animation,
    not for clinical or ergonomic use (common practice, no source).
    """

    hip_flexion: tuple[float, float] = (np.radians(-40.0), np.radians(130.0))
    hip_abduction: tuple[float, float] = (np.radians(-40.0), np.radians(60.0))
    hip_rotation: tuple[float, float] = (np.radians(-60.0), np.radians(60.0))
    knee_flexion: tuple[float, float] = (np.radians(-1.0), np.radians(160.0))
    ankle_flexion: tuple[float, float] = (np.radians(-65.0), np.radians(50.0))
    ankle_inversion: tuple[float, float] = (np.radians(-40.0), np.radians(50.0))
    toe_bend: tuple[float, float] = (np.radians(-45.0), np.radians(70.0))

    NAMES: ClassVar[tuple[str, ...]] = (
        "hip_flexion",
        "hip_abduction",
        "hip_rotation",
        "knee_flexion",
        "ankle_flexion",
        "ankle_inversion",
        "toe_bend",
    )

    def __post_init__(self) -> None:
        for name in self.NAMES:
            low, high = getattr(self, name)
            if not (np.isfinite(low) and np.isfinite(high) and low < high):
                raise InputError(f"wanted the smaller angle first, got {low!r}, {high!r}", place=f"limits.{name}")


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """One leg: the hip joint in hips space, thigh and shank lengths, the foot (metres)."""

    hip: Array
    thigh: float
    shank: float
    foot: Foot
    limits: Limits = field(default_factory=Limits)

    def __post_init__(self) -> None:
        object.__setattr__(self, "hip", _point(self.hip, "leg.hip"))
        for name in ("thigh", "shank"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 1e-6):
                raise InputError(f"a bone needs a length above 0, got {value:g} m", place=f"leg.{name}")

    @property
    def length(self) -> float:
        """Thigh and shank together, metres."""
        return self.thigh + self.shank

    def mirrored(self) -> Leg:
        """Return the other side's leg."""
        return replace(self, hip=self.hip * np.array([-1.0, 1.0, 1.0]), foot=self.foot.mirrored())


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """One character: two legs, the controls that pose them, and what to judge them by.

    Parameters
    ----------
    name : str
    legs : tuple of Leg
        Left, right.
    controls : mapping of str to Control
        At least ``hips``, ``left_foot`` and ``right_foot``; each control's parent is
        ``world``, another control, or a space that the clip gives as matrices.
    reach : float
        The longest the leg is made, as a share of thigh plus shank.
    tolerances : mapping of str to triple of float
        Overrides of note, warning and error by kind of finding; lengths in metres, turns in radians.
    style : str
        What a foot control turns about; ``ankle`` is the one there is.
    planar : bool
        True for a cut-out character without x, yaw and roll.
    source : str
        Where the lengths come from, or "invented".
    """

    name: str
    legs: tuple[Leg, Leg]
    controls: Mapping[str, Control]
    reach: float = 0.995
    tolerances: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    style: str = "ankle"
    planar: bool = False
    source: str = "invented"
    any_size: bool = False

    STYLES: ClassVar[tuple[str, ...]] = ("ankle",)
    SIZES: ClassVar[tuple[float, float]] = (0.02, 8.0)
    """Leg lengths, metres, taken without a question: from a mouse-sized puppet to a giant."""

    def __post_init__(self) -> None:
        for name in ("hips", "left_foot", "right_foot"):
            if name not in self.controls:
                raise InputError(f"the control {name!r} is missing", place=f"rig {self.name}")
        if not 0.5 < self.reach <= 1.0:
            raise InputError(f"reach must lie above 0.5 and not above 1, got {self.reach!r}", place="rig.reach")
        if self.style not in self.STYLES:
            raise InputError(
                f"the control style {self.style!r} isn't known; use {', '.join(self.STYLES)}", place="rig.style"
            )
        low, high = self.SIZES
        if not self.any_size and not low <= self.leg <= high:
            raise UnitError(
                f"a leg of {self.leg:.4g} m; is the unit right? (state any_size = true if it is)",
                place=f"rig {self.name}",
            )
        object.__setattr__(self, "controls", MappingProxyType(dict(self.controls)))
        object.__setattr__(self, "tolerances", MappingProxyType(dict(self.tolerances)))
        self._check_parents()

    def _check_parents(self) -> None:
        for name in self.controls:
            seen = [name]
            while (parent := self.controls[seen[-1]].parent) in self.controls:
                if parent in seen:
                    raise InputError(f"parents run in a circle: {' > '.join([*seen, parent])}", place=f"control {name}")
                seen.append(parent)

    @property
    def leg(self) -> float:
        """Length of the longer leg, thigh plus shank, metres: the scale of every tolerance."""
        return max(leg.length for leg in self.legs)

    @property
    def feet(self) -> tuple[Control, Control]:
        """The foot controls, left and right."""
        return self.controls["left_foot"], self.controls["right_foot"]

    def channels(self) -> dict[str, Axis]:
        """Return every channel that the rig's controls name, with its axis."""
        return {axis.channel: axis for control in self.controls.values() for axis in control.axes.values()}
