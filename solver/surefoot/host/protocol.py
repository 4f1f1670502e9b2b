"""What a host program must offer, as a protocol: reading channels, writing them, one undo step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve
from surefoot.errors import InputError, UnknownName
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["Host", "Progress", "Setup", "Status"]

Array = NDArray[np.float64]

Progress = Callable[[float, str], object]
"""Called with the share done, 0 to 1, and what comes next; when it returns False the job is cancelled."""


class Status(StrEnum):
    """What may be done with a channel."""

    FREE = "free"
    """It can be read and written."""
    LOCKED = "locked"
    """It can be read only."""
    MUTED = "muted"
    """Its keys aren't heard; it's read as what it evaluates to, and isn't written."""
    DRIVEN = "driven"
    """A constraint or an expression sets it; it's read as what it evaluates to, and isn't written."""
    ABSENT = "absent"
    """There is no such channel."""


@dataclass(frozen=True, slots=True)
class Setup:
    """What the host works in.

    Parameters
    ----------
    first, last : int
        The current frame range, both included; of a loop, frame last + 1 is the first again.
    rate : Fraction, float or str
        Frames per second; ``"24000/1001"`` is exact.
    unit, angle : str
        In which the channels' numbers are: m, cm, mm, in or ft; deg or rad.
    loop : bool
    name : str
        Of the scene or shot, for messages.
    """

    first: int
    last: int
    rate: Fraction | float | str
    unit: str
    angle: str = "deg"
    loop: bool = False
    name: str = ""

    def __post_init__(self) -> None:
        for kind, unit, known in (("length unit", self.unit, LENGTHS), ("angle unit", self.angle, ANGLES)):
            if unit not in known:
                raise UnknownName(kind, unit, known, place="host setup")
        if isinstance(self.first, bool) or not isinstance(self.first, int) or not isinstance(self.last, int):
            raise InputError(f"wanted whole frames, got {self.first!r} to {self.last!r}", place="host setup")
        if not isinstance(self.rate, Fraction):
            object.__setattr__(self, "rate", read_rate(self.rate, place="host setup"))


class Host(Protocol):
    """What Surefoot asks of a host program.

    Channels are called by the names in the rig's file; a class for a host translates where the host calls
    them otherwise. Numbers are in the units of `setup`. Methods may raise whatever they like: it comes
    through to the caller, and what was written is taken back before.
    """

    def setup(self) -> Setup:
        """Return range, rate and units."""

    def status(self, channel: str) -> Status:
        """Return what may be done with a channel; `Status.ABSENT` for a name that isn't there."""

    def order(self, control: str) -> str | None:
        """Return a control's rotation order as the rig writes it, ``"yxz"`` for Ry Rx Rz; None if it has none."""

    def keys(self, channel: str) -> Curve | None:
        """Return the channel's own keys, without any layer; None for a channel without keys."""

    def samples(self, channels: Sequence[str], frames: Array) -> Array:
        """Return what channels evaluate to with layers, mutes and drivers, ``(channels, frames)``.

        Frames may lie between two whole ones, and one past the range.
        """

    def spaces(self, name: str, frames: Array) -> Array:
        """Return a parent space that no control of the rig makes, ``(frames, 4, 4)``, world from parent.

        For column vectors, lengths in the unit of `setup`, +Y up and +Z forward. Asked only for the
        names that the rig gives as parents, and for that of a deck which the caller names.
        """

    def layers(self) -> Sequence[str]:
        """Return the names of the layers that there are."""

    def begin_step(self, name: str) -> None:
        """Open an undo step: all that is written until its end is undone together.

        Called only while `step_open` says that none is. When it raises, `step_open` is asked whether it had opened
        one by then; that one is taken back with `undo_step`.
        """

    def step_open(self) -> bool:
        """Return whether an undo step is open, whoever opened it."""

    def write(self, channel: str, curve: Curve, layer: str) -> None:
        """Put keys on a channel, inside a step.

        ``layer`` is the name of an additive layer, made when it's first named; its keys are added to what the
        channel has. When it's empty, the keys replace the channel's own. Every key's shape is
        ``GIVEN`` (slopes in value per frame), ``STEP`` or ``BEZIER``.
        """

    def end_step(self) -> None:
        """Close the undo step; it stays."""

    def undo_step(self) -> None:
        """Close the step that `begin_step` opened, if it's open still, and take back all of it, new layers too.

        Called once, when something went wrong, and only where `begin_step` opened a step: it never takes back what
        was there before. When it raises, the caller is told so, with both errors.
        """
