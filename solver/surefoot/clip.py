"""The clip: channels over a frame range, as the animator has them.

Channels stay in the file's own units; the rig's axes convert them when a pose
is read. Frame numbers are the animator's, both ends of the range included. A
loop's frame ``last + 1`` is its frame ``first`` again, up to the travel.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import Any, ClassVar, cast

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.curves import Curve
from surefoot.errors import InputError, UnknownName, came, whole_number
from surefoot.rig import FEET
from surefoot.units import read_rate

__all__ = ["Clip", "Stance"]

Array = NDArray[np.float64]
SUCH_STANCES = "; such as [Stance('left', 1, 15)]"


@dataclass(frozen=True, slots=True)
class Stance:
    """One foot on the ground from frame ``first``, its initial contact, to frame ``last``, its toe-off.

    Both frames touch the ground, and the time on the ground is the one between them: ``last - first`` frames.

    A stance over a loop's seam has a ``last`` beyond the clip's, counted on:
    frames 20 to 32 of a 24-frame loop are 20 to 24 and then 1 to 8.
    ``left_alone`` marks a slide on purpose: it is neither mended nor told.

    Raises
    ------
    InputError, UnknownName
        If the foot isn't left or right, a frame isn't whole, or the last comes before the first.
    """

    foot: str
    first: int
    last: int
    left_alone: bool = False

    def __post_init__(self) -> None:
        if self.foot not in FEET:
            raise UnknownName("foot", str(self.foot), FEET, place="stance")
        place = f"stance of the {self.foot} foot"
        if type(self.first) is not int or type(self.last) is not int:
            object.__setattr__(self, "first", whole_number(self.first, place=place))
            object.__setattr__(self, "last", whole_number(self.last, place=place))
        if self.last < self.first:
            raise InputError(f"runs backwards, from frame {self.first} to {self.last}", place=place)


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """Channels over a frame range.

    Parameters
    ----------
    channels : mapping of str to Curve
        In the order of the file; values in the file's units.
    rate : Fraction
        Frames per second, exact.
    first, last : int
        The frame range, ends included.
    loop : bool
        Whether frame ``last + 1`` is frame ``first`` again.
    belt : Belt or None
        The ground's motion, where the clip states it.
    stances : tuple of Stance or None
        Where the clip states them; None means that they are found.
    spaces : mapping of str to ndarray, shape (frames, 4, 4)
        Parent spaces sampled at each frame of the range, world from parent, metres.
    locked : frozenset of str
        Channels that are never written.
    name, rig : str
        What it's called, and the rig that it's made for: a preset's name or a TOML file beside the clip's.
    unit, angle : str
        The units of its file's lengths and turns, such as ``cm`` and ``deg``, where it states them.
    extra : mapping
        Anything else in the file, handed through.

    Raises
    ------
    InputError, ShapeError, UnknownName
        If it has no channels, its range or a stance runs backwards, the rate isn't above 0, or a space isn't a
        matrix a frame.
    """

    channels: Mapping[str, Curve]
    rate: Fraction
    first: int
    last: int
    loop: bool = False
    belt: Belt | None = None
    stances: tuple[Stance, ...] | None = None
    spaces: Mapping[str, Array] = field(default_factory=dict)
    locked: frozenset[str] = frozenset()
    name: str = ""
    rig: str = ""
    unit: str = ""
    angle: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)

    MOST_FRAMES: ClassVar[int] = 5_000_000

    def __post_init__(self) -> None:
        rate = self.rate if isinstance(self.rate, Fraction) else read_rate(self.rate)
        if not 0 < rate.numerator <= 100_000 * rate.denominator:
            raise InputError(f"must be above 0 and at most 100000, got {self.rate}", place="rate")
        object.__setattr__(self, "rate", rate)
        self._check_kinds()
        if not self.channels and self.extra.get("layer") is not True:
            raise InputError("the clip is empty: it has no channels", place="channels")
        if self.last < self.first:
            raise InputError(f"runs backwards, from frame {self.first} to {self.last}", place="range")
        if self.frames > self.MOST_FRAMES:
            raise InputError(
                f"{self.frames} frames, from {self.first} to {self.last}; at most {self.MOST_FRAMES} are taken",
                place="range",
            )
        if self.loop and self.frames < 2:
            raise InputError("a loop needs at least two frames", place="range")
        object.__setattr__(self, "channels", MappingProxyType(dict(self.channels)))
        object.__setattr__(self, "extra", MappingProxyType(dict(self.extra)))
        object.__setattr__(self, "locked", frozenset(self.locked))
        self._check_stances()
        spaces = {name: self._space(name, samples) for name, samples in self.spaces.items()}
        object.__setattr__(self, "spaces", MappingProxyType(spaces))

    def _check_kinds(self) -> None:
        """Raise InputError unless every field is of its kind; whole frame numbers become int."""
        for name in ("channels", "spaces", "extra"):
            if not isinstance(getattr(self, name), Mapping):
                raise InputError(f"wanted a mapping by name, got {came(getattr(self, name))}", place=name)
        for name, curve in self.channels.items():
            if not isinstance(curve, Curve):
                told = f"wanted a Curve, got {came(curve)}; Curve.through(frames, values) makes one"
                raise InputError(told, place=f"channel {name}")
        if type(self.first) is not int or type(self.last) is not int:
            object.__setattr__(self, "first", whole_number(self.first, place="first"))
            object.__setattr__(self, "last", whole_number(self.last, place="last"))
        if self.belt is not None and not isinstance(self.belt, Belt):
            raise InputError(f"wanted a Belt, got {came(self.belt)}; such as Belt([0, 0, -1.35])", place="belt")
        if isinstance(self.locked, str):
            object.__setattr__(self, "locked", frozenset((self.locked,)))

    def _check_stances(self) -> None:
        if self.stances is None:
            return
        many = (self.stances,) if isinstance(self.stances, Stance) else self.stances
        if isinstance(many, Mapping) or not isinstance(many, Iterable):
            raise InputError(f"wanted a list of Stance, got {came(many)}{SUCH_STANCES}", place="stances")
        object.__setattr__(self, "stances", tuple(many))
        for stance in self.stances:
            if not isinstance(stance, Stance):
                raise InputError(f"wanted a list of Stance, got {came(stance)} in it{SUCH_STANCES}", place="stances")
        for foot in FEET:
            mine = sorted((s for s in self.stances if s.foot == foot), key=lambda s: s.first)
            for stance in mine:
                beyond = stance.last > self.last and not self.loop
                if stance.first < self.first or stance.first > self.last or beyond:
                    raise InputError(
                        f"frames {stance.first} to {stance.last} lie outside {self.first} to {self.last}",
                        place=f"stance of the {foot} foot",
                    )
                if self.loop and stance.last - stance.first >= self.frames:
                    raise InputError(
                        f"frames {stance.first} to {stance.last} last longer than the loop; a foot that never "
                        f"leaves the ground stands from {self.first} to {self.last}",
                        place=f"stance of the {foot} foot",
                    )
            for one, two in pairwise(mine):
                if two.first <= one.last:
                    raise InputError(
                        f"frames {one.first} to {one.last} and {two.first} to {two.last} overlap",
                        place=f"stances of the {foot} foot",
                    )
            if mine and self.loop and len(mine) > 1 and mine[-1].last - self.frames >= mine[0].first:
                raise InputError("the last overlaps the first across the seam", place=f"stances of the {foot} foot")

    def _space(self, name: str, samples: Array) -> Array:
        place = f"space {name}"
        matrices = np.array(samples, dtype=np.float64)
        if matrices.shape != (self.frames, 4, 4) or not np.all(np.isfinite(matrices)):
            raise InputError(f"wanted {self.frames} finite 4 by 4 matrices, one a frame", place=place)
        axes = matrices[:, :3, :3]
        gram = np.einsum("fki,fkj->fij", axes, axes)
        size = np.einsum("fii->f", gram) / 3.0
        if np.any(size < 1e-12) or np.abs(gram - size[:, None, None] * np.eye(3)).max() > 1e-6 * size.max():
            raise InputError("its scale must be uniform and not zero, without shear", place=place)
        if np.any(np.linalg.det(axes) < 0):
            raise InputError("it mirrors left and right; give it without the reflection", place=place)
        matrices.flags.writeable = False
        return matrices

    def __repr__(self) -> str:
        told = f" {self.name!r}" if self.name else ""
        stances = "" if self.stances is None else f", {len(self.stances)} stances"
        loop = ", a loop" if self.loop else ""
        span = f"frames {self.first} to {self.last} at {self.rate}"
        return f"<Clip{told}: {len(self.channels)} channels, {span}{loop}{stances}>"

    @property
    def frames(self) -> int:
        """How many frames the range holds; a loop's frame last + 1 isn't counted."""
        return self.last - self.first + 1

    @property
    def step(self) -> float:
        """Seconds from one frame to the next."""
        return self.rate.denominator / self.rate.numerator

    def curve(self, name: str, *, place: str = "channels") -> Curve:
        """Return the channel ``name``, or raise UnknownName with the nearest one."""
        found = self.channels.get(name)
        if found is None:
            raise UnknownName("channel", str(name), self.channels, place=place)
        return found

    def with_channels(self, changed: Mapping[str, Curve]) -> Clip:
        """Return the clip with some channels replaced or added; the others are the very same objects."""
        return replace(self, channels={**self.channels, **changed})

    def with_stances(self, stances: Iterable[Stance] | None) -> Clip:
        """Return the clip with its stances stated."""
        return replace(self, stances=cast("tuple[Stance, ...] | None", stances))  # looked at as it is built
