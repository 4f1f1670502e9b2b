"""What a file of moving nodes or points gives: names, and where each was at evenly spaced instants."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, UnknownName
from surefoot.units import read_rate

__all__ = ["Motion", "near_rate"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Nodes in the file's own space, axes and units.

    Parameters
    ----------
    names : tuple of str
        Unique.
    world : ndarray, shape (nodes, samples, 4, 4)
        World from node; for points the turn is none.
    rate : Fraction
        Samples a second.
    unit : float
        Metres in a unit, where the file states it; 0 where it doesn't.
    up : str
        The up axis, where the file states it.
    turns : bool
        False for points, which have no turn.
    linear : bool
        Whether between its samples the file goes straight, as a time sample of OpenUSD does.
    """

    names: tuple[str, ...]
    world: Array
    rate: Fraction
    unit: float = 0.0
    up: str = ""
    turns: bool = True
    linear: bool = False

    MOST: ClassVar[int] = 400_000_000
    """Numbers in one motion at most: nodes times samples times sixteen."""

    def __post_init__(self) -> None:
        if not self.names or self.world.shape[1] < 1:
            raise InputError("nothing moves in it", place="motion")

    @property
    def samples(self) -> int:
        """How many instants there are."""
        return int(self.world.shape[1])

    def row(self, name: str, *, place: str = "") -> int:
        """Return the row of a node, by its whole name or else by the only end of a path that fits."""
        if name in self.names:
            return self.names.index(name)
        ends = [k for k, one in enumerate(self.names) if one.replace(":", "/").endswith(f"/{name}")]
        if len(ends) == 1:
            return ends[0]
        if len(ends) > 1:
            raise InputError(f"{len(ends)} nodes are called {name!r}; give the whole path", place=place)
        raise UnknownName("node, joint or marker", name, self.names, place=place)

    def taken(self, take: tuple[int, int] | None) -> Motion:
        """Return the samples from one to another, counted from 1, both included; None takes all."""
        if take is None:
            return self
        if take[1] > self.samples:
            raise InputError(f"the file has {self.samples} samples, not {take[1]}", place="take")
        return replace(self, world=self.world[:, take[0] - 1 : take[1]])


def near_rate(step: float, *, place: str) -> Fraction:
    """Return the frame rate whose step in seconds was written rounded, else 1/step.

    A whole rate within 1 in 10,000 is taken, or one of 24, 30, 60 and 120 over 1.001 (ITU-R BT.709).
    """
    if not (np.isfinite(step) and step > 0.0):
        raise InputError(f"wanted a step of time above 0, got {step:g} s", place=place)
    rate = 1.0 / step
    for common in (max(round(rate), 1), 23.976, 29.97, 59.94, 119.88):
        exact = read_rate(common, place=place)
        # a broadcast rate is only a thousandth from a whole one, so nearer is asked than to any two of them
        if abs(rate / float(exact) - 1.0) < 1e-4:
            return exact
    return read_rate(round(rate, 6), place=place)
