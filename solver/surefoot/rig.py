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

from surefoot.control_styles import JOINTS, STYLES, ControlStyle
from surefoot.errors import InputError, UnitError, came, finite_number
from surefoot.foot import Foot, finite_point
from surefoot.rotations import check_order

__all__ = ["AXES", "FEET", "JOINTS", "LENGTHWISE", "ROCKERS", "Axis", "Control", "Foot", "Leg", "Limits", "Rig"]

Array = NDArray[np.float64]

FEET = ("left", "right")
ROCKERS = ("yaw_heel", "yaw_toe", "yaw_ball", "heel", "toe", "cant", "ball")
"""The turns of a foot posed by rockers, in the order taken where a rig states none."""
AXES = (
    "x", "y", "z", "pitch", "yaw", "roll", "bend", "knee", *ROCKERS, "rocker", *JOINTS, "foot_yaw", "hock_flexion",
)  # fmt: skip
"""What a channel can drive.

Three shifts, three turns, the toe bend and the turn of the knee; for a foot posed by rockers its turns
and the one foot-roll channel ``rocker``; for a leg posed by joints their angles, signs as in `Limits`, and
``foot_yaw``, the foot's turn about the bone above it.
"""
LENGTHWISE = ("x", "y", "z")


@dataclass(frozen=True, slots=True)
class Axis:
    """How one channel's number becomes metres or radians: ``scale * (number - zero)``.

    ``scale`` carries the unit and the sign (negative where the host's axis runs
    the other way); ``zero`` is in the channel's own unit.

    Raises InputError if ``scale`` is zero, or either isn't a finite number.
    """

    channel: str
    scale: float = 1.0
    zero: float = 0.0
    optional: bool = False

    def __post_init__(self) -> None:
        place = f"axis {self.channel}"
        if finite_number(self.scale, place=f"{place}.scale") == 0.0:
            raise InputError("a scale of 0 would tell nothing", place=f"{place}.scale")
        finite_number(self.zero, place=f"{place}.zero")


@dataclass(frozen=True, slots=True, eq=False)
class Control:
    """A movable part: its parent space, its rest offset there, and the channels that move it.

    ``rest`` is where it sits in the parent's space when every channel is zero,
    ``(3,)`` metres. ``order`` is the rotation order of its three turns. ``rockers`` is the order of a
    foot's rockers, from the root outwards.

    Raises InputError if an axis isn't known, ``rest`` isn't three finite numbers, or an order
    names something twice or not at all.
    """

    name: str
    axes: Mapping[str, Axis]
    parent: str = "world"
    rest: Array = field(default_factory=lambda: np.zeros(3))
    order: str = "yxz"
    rockers: tuple[str, ...] = ROCKERS

    def __post_init__(self) -> None:
        place = f"control {self.name}"
        if not (isinstance(self.axes, Mapping) and all(isinstance(axis, Axis) for axis in self.axes.values())):
            raise InputError(f"wanted an Axis by the name of each axis, got {came(self.axes)}", place=f"{place}.axes")
        object.__setattr__(self, "rest", finite_point(self.rest, f"{place}.rest"))
        object.__setattr__(self, "order", check_order(self.order, place=f"{place}.order"))
        for axis in self.axes:
            if axis not in AXES:
                raise InputError(f"{axis!r} is no axis; use {', '.join(AXES)}", place=place)
        object.__setattr__(self, "rockers", tuple(self.rockers))
        self._check_rockers(place)
        object.__setattr__(self, "axes", MappingProxyType(dict(self.axes)))

    def _check_rockers(self, place: str) -> None:
        for name in self.rockers:
            if name not in ROCKERS:
                raise InputError(f"{name!r} is no rocker; use {', '.join(ROCKERS)}", place=f"{place}.rockers")
            if self.rockers.count(name) > 1:
                raise InputError(f"{name!r} stands twice in the order", place=f"{place}.rockers")
        for name in ROCKERS:
            if name in self.axes and name not in self.rockers:
                raise InputError(f"{name!r} has a channel but no place in the order", place=f"{place}.rockers")


@dataclass(frozen=True, slots=True)
class Limits:
    """Joint ranges in radians, each as (least, most).

    Signs are the anatomist's: hip and ankle flexion lift the front (thigh forward,
    toes up), knee flexion folds the leg, abduction and inversion carry the sole
    away from and towards the middle. Defaults are wide; they're for animation,
    not for clinical or ergonomic use (common practice, no source).

    Raises InputError if a range isn't two finite angles, the smaller first.
    """

    hip_flexion: tuple[float, float] = (np.radians(-40.0), np.radians(130.0))
    hip_abduction: tuple[float, float] = (np.radians(-40.0), np.radians(60.0))
    hip_rotation: tuple[float, float] = (np.radians(-60.0), np.radians(60.0))
    knee_flexion: tuple[float, float] = (np.radians(-1.0), np.radians(160.0))
    ankle_flexion: tuple[float, float] = (np.radians(-65.0), np.radians(50.0))
    ankle_inversion: tuple[float, float] = (np.radians(-40.0), np.radians(50.0))
    toe_bend: tuple[float, float] = (np.radians(-45.0), np.radians(70.0))
    hock_flexion: tuple[float, float] = (np.radians(-1.0), np.radians(160.0))

    NAMES: ClassVar[tuple[str, ...]] = (
        "hip_flexion",
        "hip_abduction",
        "hip_rotation",
        "knee_flexion",
        "ankle_flexion",
        "ankle_inversion",
        "toe_bend",
    )
    ALL: ClassVar[tuple[str, ...]] = (*NAMES, "hock_flexion")

    def __post_init__(self) -> None:
        for name in self.ALL:
            ends, place = getattr(self, name), f"limits.{name}"
            if not isinstance(ends, list | tuple) or len(ends) != 2:
                raise InputError(f"wanted the least and the most angle, got {came(ends)}", place=place)
            low, high = (finite_number(end, place=place) for end in ends)
            if not low < high:
                raise InputError(f"wanted the smaller angle first, got {low!r}, {high!r}", place=place)


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """One leg: the hip joint in hips space, the bones' lengths, the foot (metres).

    Parameters
    ----------
    hip : ndarray, shape (3,)
        The hip joint in hips space (x to the character's left), metres.
    thigh, shank : float
        Lengths of the bones, metres.
    foot : Foot
    limits : Limits
        The joints' ranges, radians.
    hock : float
        Length of a third bone below the shank, 0 for none. It folds with the knee and stays parallel to the thigh
        (the reciprocal apparatus of a horse's hind leg, from memory), unless it has a channel of its own.
    backward : bool
        True where the knee points backward, as an elbow does: its flexion is then negative.

    Raises InputError if a length isn't above zero, or ``hip`` isn't three finite numbers.
    """

    hip: Array
    thigh: float
    shank: float
    foot: Foot
    limits: Limits = field(default_factory=Limits)
    hock: float = 0.0
    backward: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "hip", finite_point(self.hip, "leg.hip"))
        for name in ("thigh", "shank"):
            value = finite_number(getattr(self, name), place=f"leg.{name}")
            if not value > 1e-6:
                raise InputError(f"a bone needs a length above 0, got {value:g} m", place=f"leg.{name}")
        if not isinstance(self.foot, Foot):
            raise InputError(f"wanted a Foot, got {came(self.foot)}", place="leg.foot")
        if finite_number(self.hock, place="leg.hock") < 0.0:
            raise InputError(f"wanted a length of 0 or more, got {self.hock:g} m", place="leg.hock")

    @property
    def length(self) -> float:
        """All bones above the ankle together, metres."""
        return self.upper + self.shank

    @property
    def upper(self) -> float:
        """Thigh and hock bone, metres: they move as one bone, being parallel."""
        return self.thigh + self.hock

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
        At least ``hips``, and ``left_foot`` and ``right_foot`` (``left_leg`` and ``right_leg`` for the style
        ``joints``); each control's parent is ``world``, another control, or a space that the clip gives as matrices.
    reach : float
        The longest the leg is made, as a share of thigh plus shank.
    tolerances : mapping of str to triple of float
        Overrides of note, warning and error by kind of finding; lengths in metres, turns in radians.
    style : str
        How feet are posed: ``ankle`` (the control turns about the ankle), ``rockers`` (about heel, ball and
        toe) or ``joints`` (by the angles of hip, knee, ankle and toes).
    planar : bool
        True for a cut-out character without x, yaw and roll.
    source : str
        Where the lengths come from, or "invented".
    mirror : mapping of str to (str, float, float)
        Channels whose mirror image isn't told by the controls' axes: the channel of the other side, factor and
        offset, such that its number is ``factor * number + offset`` (see `mirror`).
    soften : float
        For legs by joints: the share of a leg's length from which its extension eases (see `leg.eased_reach`); 1 for
        not at all. An eased leg falls short of an ankle that's nearly out of reach.
    drawn : tuple of str
        In which order the legs of a cut-out character are drawn, the farthest first.

    Raises
    ------
    InputError, UnitError
        If a control or an axis that the style needs is missing, parents run in a circle, or the legs' length
        looks like another unit.
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
    mirror: Mapping[str, tuple[str, float, float]] = field(default_factory=dict)
    drawn: tuple[str, str] = ("right", "left")
    soften: float = 1.0

    STYLES: ClassVar[Mapping[str, ControlStyle]] = STYLES
    SIZES: ClassVar[tuple[float, float]] = (0.02, 8.0)
    """Leg lengths, metres, taken without a question: from a mouse-sized puppet to a giant."""

    def __post_init__(self) -> None:
        self._check_kinds()
        if not 0.5 < self.reach <= 1.0:
            raise InputError(f"reach must lie above 0.5 and not above 1, got {self.reach!r}", place="rig.reach")
        if not 0.5 <= self.soften <= 1.0:
            raise InputError(f"soften must lie from 0.5 to 1, got {self.soften!r}", place="rig.soften")
        if self.style not in self.STYLES:
            raise InputError(
                f"the control style {self.style!r} isn't known; use {', '.join(self.STYLES)}", place="rig.style"
            )
        for name in ("hips", *self.limbs):
            if name not in self.controls:
                raise InputError(f"the control {name!r} is missing", place=f"rig {self.name}")
        for control in self.feet:
            self._check_style(control)
        low, high = self.SIZES
        if not self.any_size and not low <= self.leg <= high:
            raise UnitError(
                f"a leg of {self.leg:.4g} m; is the unit right? (state any_size = true if it is)",
                place=f"rig {self.name}",
            )
        object.__setattr__(self, "controls", MappingProxyType(dict(self.controls)))
        object.__setattr__(self, "tolerances", MappingProxyType(dict(self.tolerances)))
        object.__setattr__(self, "mirror", MappingProxyType(dict(self.mirror)))
        if sorted(self.drawn) != sorted(FEET):
            raise InputError(f"wanted left and right in some order, got {self.drawn!r}", place="rig.drawn")
        self._check_parents()

    def __repr__(self) -> str:
        return f"<Rig {self.name!r}: legs of {self.leg:.3f} m, style {self.style}, {len(self.channels())} channels>"

    def _check_kinds(self) -> None:
        legs, controls = self.legs, self.controls
        if not (isinstance(legs, list | tuple) and len(legs) == 2 and all(isinstance(leg, Leg) for leg in legs)):
            raise InputError(f"wanted the left and the right Leg, got {came(legs)}", place="rig.legs")
        if not (isinstance(controls, Mapping) and all(isinstance(one, Control) for one in controls.values())):
            raise InputError(f"wanted a Control by the name of each, got {came(controls)}", place="rig.controls")
        for name in ("reach", "soften"):
            finite_number(getattr(self, name), place=f"rig.{name}")

    def _check_parents(self) -> None:
        for name in self.controls:
            seen = [name]
            while (parent := self.controls[seen[-1]].parent) in self.controls:
                if parent in seen:
                    raise InputError(f"parents run in a circle: {' > '.join([*seen, parent])}", place=f"control {name}")
                seen.append(parent)

    def _check_style(self, control: Control) -> None:
        """Raise if a foot's control lacks what its style can't do without."""
        hinged = all(leg.foot.hinged for leg in self.legs)
        for name in self.STYLES[self.style].missing(control.axes, planar=self.planar, hinged=hinged):
            raise InputError(f"the style {self.style} needs the axis {name!r}", place=f"control {control.name}")

    @property
    def limbs(self) -> tuple[str, str]:
        """The names of the controls that pose the feet, left and right."""
        part = self.STYLES[self.style].part
        return f"left_{part}", f"right_{part}"

    @property
    def leg(self) -> float:
        """Length of the longer leg, thigh plus shank, metres: the scale of every tolerance."""
        return max(leg.length for leg in self.legs)

    @property
    def feet(self) -> tuple[Control, Control]:
        """The foot controls, left and right."""
        left, right = self.limbs
        return self.controls[left], self.controls[right]

    def channels(self) -> dict[str, Axis]:
        """Return every channel that the rig's controls name, with its axis."""
        return {axis.channel: axis for control in self.controls.values() for axis in control.axes.values()}
