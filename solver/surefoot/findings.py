"""Findings: what is wrong, on which foot, in which frames, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.rig import FEET
from surefoot.tolerances import KINDS

__all__ = ["LEVELS", "Finding", "by_foot", "collect", "in_order", "level_of"]

Level = Literal["note", "warning", "error"]
LEVELS: tuple[Level, ...] = ("note", "warning", "error")


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault.

    ``first``, ``last`` and ``worst`` are the animator's frames (``worst`` may lie
    between two); ``amount`` and ``tolerance`` are metres or radians (radians per
    second squared for ``snap``); ``part`` names the joint or channel where the foot alone doesn't.
    """

    kind: str
    foot: str
    first: int
    last: int
    worst: float
    amount: float
    tolerance: float
    level: Level
    part: str = ""

    @property
    def unit(self) -> str:
        """The unit in which `shown` gives the amount."""
        return KINDS[self.kind].unit

    @property
    def shown(self) -> float:
        """The amount in millimetres, degrees or degrees per second squared."""
        return self.amount / KINDS[self.kind].scale

    @property
    def shown_tolerance(self) -> float:
        """The tolerance in the same unit as `shown`."""
        return self.tolerance / KINDS[self.kind].scale

    @property
    def advice(self) -> str:
        """One sentence on what would mend it."""
        return KINDS[self.kind].advice


def level_of(amount: float, limits: tuple[float, float, float]) -> tuple[Level, float] | None:
    """Return the level that an amount reaches and the tolerance that it breaks, or None."""
    for level, limit in zip(reversed(LEVELS), reversed(limits), strict=True):
        if amount > limit:
            return level, limit
    return None


def collect(
    kind: str,
    foot: str,
    amount: NDArray[np.float64],
    frames: NDArray[np.float64],
    limits: tuple[float, float, float],
    *,
    part: str = "",
    gap: float = 1.0,
) -> list[Finding]:
    """Return a finding for each spell of samples whose amount is beyond the note's limit.

    Parameters
    ----------
    amount, frames : ndarray, shape (samples,)
        In order of time; frames may lie between whole ones.
    gap : float
        Spells no farther apart than this many frames are one.
    """
    at = np.flatnonzero(amount > limits[0])
    if not len(at):
        return []
    breaks = np.flatnonzero(np.diff(frames[at]) > gap + 1e-9) + 1
    found = []
    for spell in np.split(at, breaks):
        worst = spell[amount[spell].argmax()]
        told = level_of(float(amount[worst]), limits)
        if told is not None:
            first, last = int(np.floor(frames[spell[0]])), int(np.ceil(frames[spell[-1]]))
            worst_frame, most = float(frames[worst]), float(amount[worst])
            found.append(Finding(kind, foot, first, last, worst_frame, most, told[1], told[0], part))
    return found


def by_foot(
    kind: str, amount: NDArray[np.float64], frames: NDArray[np.float64], limits: tuple[float, float, float]
) -> list[Finding]:
    """Return the findings of both feet, as `collect` does, from amounts ``(2, samples)``."""
    found = [collect(kind, name, amount[foot], frames, limits) for foot, name in enumerate(FEET)]
    return [finding for some in found for finding in some]


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings by kind as the table of kinds has them, then foot and frame."""
    order = list(KINDS)
    return tuple(sorted(findings, key=lambda f: (order.index(f.kind), f.foot, f.part, f.first)))
