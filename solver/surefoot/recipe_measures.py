"""What a field of a recipe is: a length, an angle, frames, a share or a word, and its bounds."""

from __future__ import annotations

from dataclasses import field, fields
from math import isfinite, pi
from typing import Any, ClassVar, NamedTuple

from surefoot.errors import InputError

__all__ = ["Checked", "Measure", "check_measure"]

DEG = pi / 180.0


class Measure(NamedTuple):
    """What a field of a recipe is: ``length``, ``speed``, ``angle``, ``frames``, ``share``, ``word`` or ``moment``.

    ``least`` and ``most`` are its bounds in metres, radians or as they stand; ``words`` those that it may be.
    """

    kind: str
    least: float = 0.0
    most: float = 0.0
    words: tuple[str, ...] = ()


def length_field(most: float, *, least: float = 0.0, default: float | None = 0.0) -> Any:
    """Return a dataclass field in metres."""
    return field(default=default, metadata={"measure": Measure("length", least, most)})


def angle_field(most: float, *, least: float = 0.0, default: float = 0.0) -> Any:
    """Return a dataclass field in radians; bounds and default are given in degrees."""
    return field(default=default * DEG, metadata={"measure": Measure("angle", least * DEG, most * DEG)})


def frames_field(default: int | None = 0, *, least: int = 0, most: int = 10_000) -> Any:
    """Return a dataclass field in whole frames."""
    return field(default=default, metadata={"measure": Measure("frames", least, most)})


def share_field(default: float, *, least: float = 0.0, most: float = 1.0) -> Any:
    """Return a dataclass field that is a plain number."""
    return field(default=default, metadata={"measure": Measure("share", least, most)})


def amount_field() -> Any:
    """Return a layer's amount: 1, or what scales it."""
    return share_field(1.0, least=-4.0, most=4.0)


class Checked:
    """Checks each field against its measure when it's made; the place is the layer's name in a recipe."""

    __slots__ = ()
    called: ClassVar[str]

    def __post_init__(self) -> None:
        for one in fields(self):  # type: ignore[arg-type]
            value = getattr(self, one.name)
            if not (value is None and one.default is None):
                check_measure(value, one.metadata["measure"], place=f"{self.called}.{one.name}")


def check_measure(value: Any, measure: Measure, *, place: str) -> None:
    """Raise InputError if a value isn't what its measure says; ``place`` names it."""
    if measure.kind == "word" or (measure.kind == "moment" and isinstance(value, str)):
        if value not in measure.words:
            raise InputError(f"wanted {' or '.join(measure.words)}, got {str(value)[:40]!r}", place=place)
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise InputError(f"wanted a number, got {str(value)[:40]!r}", place=place)
    if measure.kind == "frames" and value != int(value):
        raise InputError(f"wanted a whole number of frames, got {value:g}", place=place)
    if not measure.least <= value <= measure.most:
        scale, unit = {"length": (1.0, " m"), "speed": (1.0, " m/s"), "angle": (DEG, " degrees")}.get(
            measure.kind, (1.0, "")
        )
        low, high, got = (number / scale for number in (measure.least, measure.most, value))
        raise InputError(f"wanted {low:g} to {high:g}{unit}, got {got:g}", place=place)
