"""The recipe: a walk as an animator thinks of it, layer by layer, in metres and radians.

A first cycle for animation, not for clinical or ergonomic use; stairs are for pictures, not for
building: local codes and licensed practice decide.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from typing import Any, ClassVar

from surefoot.errors import InputError, UnknownName, came
from surefoot.recipe_layers import (
    LAYERS,
    Arc,
    Arms,
    Bob,
    Chest,
    Hang,
    Head,
    HeelToToe,
    Lift,
    Pitch,
    Roll,
    Settle,
    Shift,
    Spine,
    Toes,
    Yaw,
)
from surefoot.recipe_measures import (
    Checked,
    Measure,
    angle_field,
    check_measure,
    frames_field,
    length_field,
    share_field,
)
from surefoot.units import read_rate

__all__ = ["GAITS", "Pace", "Recipe", "Stairs"]

GAITS = ("walk", "run", "climb")


@dataclass(frozen=True, slots=True)
class Pace(Checked):
    """When the feet come down and go, and how far they step.

    ``frames`` is a whole cycle, two steps; ``first`` the animator's frame of the left contact;
    ``toe_off`` the frames from a foot's contact to its toe-off. One of ``step`` (ahead, from one foot to the
    other) and ``speed`` (metres a second) is given, or neither on stairs. ``width`` is between the
    ankles; ``toe_out`` positive turns the toes outwards; ``lead`` is the share of the step by which the
    leading ankle, once flat, is ahead of the hips at its contact.
    """

    called: ClassVar[str] = "pace"
    frames: int = frames_field(None, least=8, most=2000)
    toe_off: int = frames_field(None, least=3, most=2000)
    rate: Fraction = field(default=Fraction(24), metadata={"measure": Measure("rate")})
    first: int = frames_field(1, least=-1_000_000, most=1_000_000)
    step: float | None = length_field(3.0, least=0.005, default=None)
    speed: float | None = field(default=None, metadata={"measure": Measure("speed", 0.01, 15.0)})
    width: float = length_field(0.6)
    toe_out: float = angle_field(60, least=-30)
    lead: float = share_field(0.5, most=1.5, least=-0.5)

    def __post_init__(self) -> None:
        rate = self.rate if isinstance(self.rate, Fraction) else read_rate(self.rate, place="pace.rate")
        object.__setattr__(self, "rate", rate)
        for name in ("frames", "toe_off"):
            if getattr(self, name) is None:
                raise InputError("it must be given", place=f"pace.{name}")
        for one in fields(self):
            value = getattr(self, one.name)
            if value is not None and one.name != "rate":
                check_measure(value, one.metadata["measure"], place=f"pace.{one.name}")
        if self.frames % 2:
            raise InputError(
                f"wanted an even number, so that both contacts fall on frames, got {self.frames}", place="pace.frames"
            )
        if self.toe_off > self.frames - 4:
            raise InputError(
                f"a swing needs four frames; wanted at most {self.frames - 4}, got {self.toe_off}", place="pace.toe_off"
            )
        if self.step is not None and self.speed is not None:
            raise InputError("give either step or speed, not both", place="pace")

    @property
    def half(self) -> int:
        """Frames from one contact to the other foot's."""
        return self.frames // 2

    @property
    def passing(self) -> int:
        """Frames from contact to passing: halfway to the other contact, rounded down to a frame."""
        return self.frames // 4


@dataclass(frozen=True, slots=True)
class Stairs(Checked):
    """Steps to climb: ``riser`` up and ``tread`` ahead, metres. They don't grow with the rig."""

    called: ClassVar[str] = "stairs"
    riser: float = length_field(0.4, least=0.01, default=None)
    tread: float = length_field(1.0, least=0.1, default=None)

    def __post_init__(self) -> None:
        for name in ("riser", "tread"):
            if getattr(self, name) is None:
                raise InputError("it must be given", place=f"stairs.{name}")
        Checked.__post_init__(self)


@dataclass(frozen=True, slots=True)
class Recipe:
    """A first cycle in layers; a layer left out does nothing.

    ``leg`` is thigh plus shank, metres, of the character that the lengths are meant for.

    Raises
    ------
    InputError, UnknownName
        If a layer's amount is out of its range, moments don't fit the pace, or step and speed are both given or
        neither.
    """

    name: str
    pace: Pace
    gait: str = "walk"
    leg: float = 0.9
    rig: str = ""
    about: str = ""
    stairs: Stairs | None = None
    settle: Settle = field(default_factory=Settle)
    bob: Bob = field(default_factory=Bob)
    pitch: Pitch = field(default_factory=Pitch)
    yaw: Yaw = field(default_factory=Yaw)
    roll: Roll = field(default_factory=Roll)
    shift: Shift = field(default_factory=Shift)
    heel_to_toe: HeelToToe = field(default_factory=HeelToToe)
    hang: Hang = field(default_factory=Hang)
    lift: Lift = field(default_factory=Lift)
    arc: Arc = field(default_factory=Arc)
    toes: Toes = field(default_factory=Toes)
    spine: Spine = field(default_factory=Spine)
    chest: Chest = field(default_factory=Chest)
    head: Head = field(default_factory=Head)
    arms: Arms = field(default_factory=Arms)

    def __post_init__(self) -> None:
        if self.gait not in GAITS:
            raise InputError(f"wanted {', '.join(GAITS)}, got {str(self.gait)[:40]!r}", place="gait")
        if not isinstance(self.pace, Pace):
            raise InputError(f"wanted a Pace, got {came(self.pace)}", place="pace")
        check_measure(self.leg, Measure("length", 0.02, 8.0), place="leg")
        pace, roll = self.pace, self.heel_to_toe
        if (self.stairs is None) == (self.gait == "climb"):
            raise InputError("a climb, and nothing else, has stairs", place="stairs")
        given = pace.step is not None or pace.speed is not None
        if given == (self.stairs is not None):
            told = "the stairs' tread is the step" if given else "wanted a step or a speed"
            raise InputError(told, place="pace.step")
        walks = pace.toe_off >= pace.half
        if walks == (self.gait == "run"):
            wanted = "less than" if self.gait == "run" else "at least"
            raise InputError(
                f"a {self.gait}'s foot stays down {wanted} half the cycle, {pace.half} frames, got {pace.toe_off}",
                place="pace.toe_off",
            )
        if not roll.flat_after <= self.heel_off < pace.toe_off:
            raise InputError(
                f"wanted a frame from flat_after, {roll.flat_after}, to before toe_off, {pace.toe_off}, "
                f"got {self.heel_off}",
                place="heel_to_toe.heel_off",
            )
        if pace.toe_off + max(1, self.hang.frames) + 1 >= pace.frames - self.toes.before:
            raise InputError(
                f"hanging {self.hang.frames} frames and lifting {self.toes.before} before contact leave no middle to "
                f"a swing of {pace.frames - pace.toe_off}",
                place="hang.frames",
            )
        for place, moment in (("bob.high", self.bob.high), ("bob.low", self.bob.low)):
            if isinstance(moment, int | float) and moment >= pace.half:
                raise InputError(f"wanted frames from 0 to {pace.half - 1}, got {moment:g}", place=place)
        if self.bob.high == "flight" and walks:
            raise InputError("a walk has no flight", place="bob.high")
        if self.bob_low == self.bob_high:
            raise InputError("high and low fall on one frame", place="bob.low")

    @property
    def step(self) -> float:
        """Metres ahead from one foot to the other."""
        if self.stairs is not None:
            return self.stairs.tread
        if self.pace.step is not None:
            return self.pace.step
        assert self.pace.speed is not None
        return self.pace.speed * self.pace.half / float(self.pace.rate)

    @property
    def heel_off(self) -> int:
        """Frames from contact to heel-off; left out, two thirds of the way from flat to toe-off."""
        own, roll = self.heel_to_toe.heel_off, self.heel_to_toe
        return own if own is not None else roll.flat_after + 2 * (self.pace.toe_off - roll.flat_after) // 3

    @property
    def bob_high(self) -> float:
        """Frames from contact to the hips' high point."""
        pace, high = self.pace, self.bob.high
        if high == "mid-stance":
            return pace.passing
        if high == "before contact":
            return pace.half - max(1, round(pace.half / 6))
        if high == "flight":
            return (pace.toe_off + pace.half) // 2
        return float(high)

    @property
    def bob_low(self) -> float:
        """Frames from contact to the hips' low point."""
        own = self.bob.low
        return own if own is not None else (self.bob_high + self.pace.half - self.pace.half // 2) % self.pace.half

    def without(self, *names: str) -> Recipe:
        """Return the recipe with those layers switched off, or raise UnknownName."""
        return self.scaled(dict.fromkeys(names, 0.0))

    def scaled(self, amounts: dict[str, float]) -> Recipe:
        """Return the recipe with the amount of some layers multiplied, or raise UnknownName."""
        changed = {}
        for name, factor in amounts.items():
            if name not in LAYERS:
                raise UnknownName("layer", name, LAYERS, place="layers")
            layer = getattr(self, name)
            changed[name] = replace(layer, amount=layer.amount * factor)
        return replace(self, **changed)

    def for_leg(self, leg: float) -> Recipe:
        """Return the recipe for a leg of so many metres: lengths and speed grow with it, frames and stairs stay."""
        size = leg / self.leg
        grown = {name: _grown(getattr(self, name), size) for name in ("pace", *LAYERS)}
        return replace(self, leg=leg, **grown)

    def widened(self, width: float) -> Recipe:
        """Return the recipe with so many metres between the ankles."""
        return replace(self, pace=_with(self.pace, {"width": width}))


def _grown(layer: Any, size: float) -> Any:
    lengths = {
        one.name: getattr(layer, one.name) * size
        for one in fields(layer)
        if one.metadata["measure"].kind in ("length", "speed") and getattr(layer, one.name) is not None
    }
    return _with(layer, lengths)


def _with(layer: Any, values: dict[str, Any]) -> Any:
    """Return a layer with other values, unchecked: bounds are for the leg that it was written for."""
    made = copy(layer)
    for name, value in values.items():
        object.__setattr__(made, name, value)
    return made
