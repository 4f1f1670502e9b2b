"""The layers of a recipe: hips, feet and upper body, as an animator sets them, in metres and radians.

Every layer can be scaled by its ``amount``; 0 switches it off. Timings are frames after a foot's own
contact; the other foot does the same half a cycle later.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from surefoot.recipe_measures import (
    DEG,
    Checked,
    Measure,
    amount_field,
    angle_field,
    frames_field,
    length_field,
    share_field,
)

__all__ = [
    "LAYERS",
    "MOMENTS",
    "Arc",
    "Arms",
    "Bob",
    "Chest",
    "Hang",
    "Head",
    "HeelToToe",
    "Lift",
    "Pitch",
    "Roll",
    "Settle",
    "Shift",
    "Spine",
    "Toes",
    "Yaw",
]

MOMENTS = ("mid-stance", "before contact", "flight")
"""Names for when the hips are highest; a number of frames after contact serves too."""


@dataclass(frozen=True, slots=True)
class Settle(Checked):
    """How much the hips settle into the knees: ``drop`` metres below the highest place that both legs reach."""

    called: ClassVar[str] = "settle"
    drop: float = length_field(0.3)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Bob(Checked):
    """The hips up and down twice a cycle: ``size`` from low to high; ``high`` and ``low`` say when.

    A moment is a word or frames after contact; ``low`` left out is halfway between two highs.
    """

    called: ClassVar[str] = "bob"
    size: float = length_field(0.4)
    high: float | str = field(default="mid-stance", metadata={"measure": Measure("moment", 0, 2000, MOMENTS)})
    low: int | None = frames_field(None)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Pitch(Checked):
    """The hips' lean: ``lean`` at the mean, ``swing`` to either side, forward ``after`` frames after the drop.

    ``amount`` scales both.
    """

    called: ClassVar[str] = "pitch"
    lean: float = angle_field(60, least=-45)
    swing: float = angle_field(30)
    after: int = frames_field(1, most=24)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Yaw(Checked):
    """The hips turn with the leading leg: ``size`` to either side, at contact."""

    called: ClassVar[str] = "yaw"
    size: float = angle_field(40)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Roll(Checked):
    """The hips tilt at passing: ``size`` to either side, the side of the swing leg ``down`` or ``up``."""

    called: ClassVar[str] = "roll"
    size: float = angle_field(30)
    swing_side: str = field(default="down", metadata={"measure": Measure("word", words=("down", "up"))})
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Shift(Checked):
    """The hips move towards the support foot at passing: ``size`` to either side."""

    called: ClassVar[str] = "shift"
    size: float = length_field(0.3)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class HeelToToe(Checked):
    """The foot's pitch through the stance; heel up is positive.

    ``contact`` at contact (below zero: heel first), ``middle`` from ``flat_after`` to ``heel_off`` (0 is flat,
    above: on the ball), ``push`` at the other foot's contact (where that falls before toe-off), ``off`` at
    toe-off, ``trail`` while it hangs behind, ``pass_by`` in the middle of the swing.
    """

    called: ClassVar[str] = "heel_to_toe"
    contact: float = angle_field(60, least=-45)
    flat_after: int = frames_field(2, least=1, most=200)
    middle: float = angle_field(60, least=-10)
    heel_off: int = frames_field(None)
    push: float | None = field(default=None, metadata={"measure": Measure("angle", -45 * DEG, 80 * DEG)})
    off: float = angle_field(85, least=-30)
    trail: float = angle_field(110, least=-30)
    pass_by: float = angle_field(90, least=-45)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Hang(Checked):
    """For how many ``frames`` the foot hangs behind after toe-off, late on its way ahead."""

    called: ClassVar[str] = "hang"
    frames: int = frames_field(1, least=0, most=200)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Lift(Checked):
    """How high the lowest point of the sole swings: ``height`` in the middle, ``behind`` while it hangs."""

    called: ClassVar[str] = "lift"
    height: float = length_field(0.8)
    behind: float = length_field(0.8)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Arc(Checked):
    """The foot swings in an arc: ``out`` metres outwards, at passing."""

    called: ClassVar[str] = "arc"
    out: float = length_field(0.4, least=-0.2)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Toes(Checked):
    """The toes ``drag`` (tip down in the middle of the swing) and ``lift`` (bend up ``before`` frames ahead of it)."""

    called: ClassVar[str] = "toes"
    drag: float = angle_field(60)
    lift: float = angle_field(60)
    before: int = frames_field(2, least=1, most=200)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Spine(Checked):
    """The spine leans by ``lean`` and follows the hips' pitch by a share, ``drag`` frames later."""

    called: ClassVar[str] = "spine"
    lean: float = angle_field(60, least=-45)
    follow: float = share_field(0.5, most=2.0)
    drag: int = frames_field(1, most=24)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Chest(Checked):
    """The chest counters the hips: ``yaw`` and ``roll`` to either side, ``drag`` frames later."""

    called: ClassVar[str] = "chest"
    yaw: float = angle_field(60)
    roll: float = angle_field(30)
    drag: int = frames_field(1, most=24)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Head(Checked):
    """The head stays level and looks ahead: it takes away a ``level`` share of what hips, spine and chest turn."""

    called: ClassVar[str] = "head"
    level: float = share_field(1.0)
    amount: float = amount_field()


@dataclass(frozen=True, slots=True)
class Arms(Checked):
    """The arms swing opposite the legs.

    ``swing`` to either side of ``rest`` (forward is positive); the elbow is bent by ``elbow`` and ``flex`` to
    either side, ``drag`` frames later; the wrist by ``wrist``, ``drag`` frames after that.
    """

    called: ClassVar[str] = "arms"
    swing: float = angle_field(90)
    rest: float = angle_field(90, least=-60)
    elbow: float = angle_field(140)
    flex: float = angle_field(60)
    wrist: float = angle_field(60)
    drag: int = frames_field(2, most=24)
    amount: float = amount_field()


LAYERS = {
    one.called: one
    for one in (
        Settle, Bob, Pitch, Yaw, Roll, Shift, HeelToToe, Hang, Lift, Arc, Toes, Spine, Chest, Head, Arms
    )
}  # fmt: skip
"""The layers by name, in the order in which an animator thinks of them."""
