"""Axes: from numbers to places on the paper, with ticks at round numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.pictures.svg import Pen

__all__ = ["Panel", "round_ticks", "told"]

Array = NDArray[np.float64]


def round_ticks(low: float, high: float, most: int) -> list[float]:
    """Return at most so many round numbers from low to high, 1, 2 or 5 times a power of ten apart."""
    if not high > low or most < 2:
        return [low]
    rough = (high - low) / (most - 1)
    size = 10.0 ** floor(log10(rough))
    step = next(size * factor for factor in (1.0, 2.0, 5.0, 10.0) if size * factor >= rough * (1.0 - 1e-9))
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [count * step for count in range(first, last + 1)]


def told(value: float) -> str:
    """Return a tick's number without needless digits."""
    return f"{value:.6g}".replace("-", "−")


@dataclass(frozen=True, slots=True)
class Panel:
    """A rectangle of the paper on which x and y are numbers."""

    x: float
    y: float
    width: float
    height: float
    across: tuple[float, float]
    up: tuple[float, float]

    def at(self, x: ArrayLike) -> Array:
        """Return where numbers across lie on the paper."""
        low, high = self.across
        return np.asarray(self.x + (np.asarray(x, dtype=np.float64) - low) / (high - low) * self.width)

    def of(self, y: ArrayLike) -> Array:
        """Return where numbers upwards lie on the paper."""
        low, high = self.up
        return np.asarray(self.y + self.height - (np.asarray(y, dtype=np.float64) - low) / (high - low) * self.height)

    def points(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Return points ``(n, 2)`` on the paper."""
        return np.stack([self.at(x), self.of(y)], axis=-1)

    def grid(self, pen: Pen, *, unit: str = "", ticks: int = 5) -> None:
        """Draw hair lines and numbers at round values upwards; the unit stands above them."""
        for value in round_ticks(*self.up, ticks):
            y = float(self.of(value))
            pen.line(self.x, y, self.x + self.width, y, "sf-hair")
            pen.text(self.x - 6, y + 4, told(value), size=11.0, anchor="end", style="sf-soft")
        if unit:
            pen.text(self.x - 6, self.y - 8, unit, size=11.0, anchor="end", style="sf-soft")

    def frames(self, pen: Pen, *, label: str = "frame", numbers: Sequence[float] | None = None) -> None:
        """Draw ticks and frame numbers under the panel."""
        low, high = self.across
        bottom = self.y + self.height
        pen.line(self.x, bottom, self.x + self.width, bottom, "sf-ink")
        ticks = round_ticks(low, high, max(3, int(self.width / 50))) if numbers is None else numbers
        for value in (tick for tick in ticks if tick == round(tick)):
            x = float(self.at(value))
            pen.line(x, bottom, x, bottom + 4, "sf-ink")
            pen.text(x, bottom + 16, told(value), size=11.0, anchor="middle", style="sf-soft")
        pen.text(self.x - 6, bottom + 16, label, size=11.0, anchor="end", style="sf-soft")


def padded(low: float, high: float, *, least: float, share: float = 0.08) -> tuple[float, float]:
    """Return a range with some room, at least so wide."""
    room = max((high - low) * share, (least - (high - low)) / 2.0, 1e-9)
    return low - room, high + room
