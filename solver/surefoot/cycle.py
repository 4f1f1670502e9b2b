"""A cycle: a channel's keys round one loop, as offsets in frames, before they're put into a clip.

Values are metres or radians. A cycle can be shifted round the loop, scaled and evaluated; `Cycle.curve` makes
the channel of it, with the loop's two ends keyed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import log10
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.rig import Axis

__all__ = ["Cycle"]

Array = NDArray[np.float64]

FINEST = 6
"""Places after the point to which metres and radians are written; degrees and centimetres get two fewer."""


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """Keys round a loop.

    Parameters
    ----------
    period : int
        Frames.
    offset : ndarray, shape (keys,)
        Frames from the loop's start, from 0 to below the period, rising.
    value : ndarray, shape (keys,)
        Metres or radians.
    shape : ndarray of int8, shape (keys,)
        LEVEL, THROUGH or GIVEN.
    slope_in, slope_out : ndarray, shape (keys,)
        A frame, at every key, whatever its shape.
    """

    period: int
    offset: Array
    value: Array
    shape: NDArray[np.int8]
    slope_in: Array
    slope_out: Array

    @classmethod
    def of(cls, period: int, keys: Iterable[tuple[float, float, Shape]]) -> Self:
        """Return the cycle of level and through keys ``(offset, value, shape)``; offsets are taken round the loop."""
        rows = sorted((offset % period, value, int(shape)) for offset, value, shape in keys)
        offset, value = (np.array(column, dtype=np.float64) for column in list(zip(*rows, strict=True))[:2])
        shape = np.array([row[2] for row in rows], dtype=np.int8)
        slope = np.where(shape == Shape.THROUGH, _through(offset, value, period), 0.0)
        return cls(period, offset, value, shape, slope, slope)

    @classmethod
    def given(cls, period: int, offset: ArrayLike, value: ArrayLike, slope_in: ArrayLike, slope_out: ArrayLike) -> Self:
        """Return the cycle of keys with stated slopes; a slope that isn't a number runs through the neighbours."""
        t, v, entering, leaving = (np.array(a, dtype=np.float64) for a in (offset, value, slope_in, slope_out))
        through = _through(t, v, period)
        free = np.isnan(entering) & np.isnan(leaving)
        entering, leaving = (np.where(np.isnan(a), through, a) for a in (entering, leaving))
        level = ~free & (entering == 0.0) & (leaving == 0.0)
        shape = np.where(free, Shape.THROUGH, np.where(level, Shape.LEVEL, Shape.GIVEN)).astype(np.int8)
        return cls(period, t, v, shape, entering, leaving)

    @classmethod
    def constant(cls, period: int, value: float) -> Self:
        """Return the cycle of one key."""
        return cls.of(period, [(0.0, value, Shape.LEVEL)])

    def scaled(self, factor: float) -> Self:
        """Return the cycle with its values multiplied."""
        return replace(
            self, value=self.value * factor, slope_in=self.slope_in * factor, slope_out=self.slope_out * factor
        )

    def raised(self, by: float) -> Self:
        """Return the cycle with a constant added."""
        return replace(self, value=self.value + by)

    def shifted(self, frames: float) -> Self:
        """Return the cycle so many frames later."""
        offset = np.mod(self.offset + frames, self.period)
        order = offset.argsort(kind="stable")
        value, entering, leaving = (row[order] for row in (self.value, self.slope_in, self.slope_out))
        return replace(
            self, offset=offset[order], value=value, shape=self.shape[order], slope_in=entering, slope_out=leaving
        )

    def at(self, offset: ArrayLike) -> Array:
        """Return the values at offsets, ``(n,)``."""
        return np.asarray(Pack.from_curves([self._curve(0.0)]).evaluate(np.asarray(offset, dtype=np.float64))[0])

    def slopes(self, offset: ArrayLike) -> tuple[Array, Array]:
        """Return the slopes in and out at offsets, ``(n,)`` each."""
        at, pack = np.asarray(offset, dtype=np.float64), Pack.from_curves([self._curve(0.0)])
        return pack.slopes(at, side="left")[0], pack.slopes(at, side="right")[0]

    def curve(self, first: int, axis: Axis | None = None, *, scale: float = 1.0) -> Curve:
        """Return the channel, starting at frame ``first`` and keyed on both ends of the loop.

        Numbers are in the axis's own unit (without one, ``scale`` metres or radians), to about a micrometre.
        """
        scale, zero = (scale, 0.0) if axis is None else (axis.scale, axis.zero)
        places = max(0, FINEST + round(log10(abs(scale))))
        if len(self.offset) == 1 or not np.ptp(self.value):
            return Curve.constant(round(float(self.value[0]) / scale + zero, places), frame=first)
        value = np.round(self.value / scale + zero, places) + 0.0  # no minus before a zero
        through = self.shape == Shape.THROUGH
        slope = _through(self.offset, value, self.period)
        entering, leaving = (np.where(through, slope, side / scale) for side in (self.slope_in, self.slope_out))
        # in the file's own numbers first, so that the key put in at the loop's start leaves the curve as it is
        made = replace(self, value=value, slope_in=entering, slope_out=leaving)._ended()
        value, entering, leaving = made.value, made.slope_in, made.slope_out
        frames = np.append(made.offset, self.period) + first
        return Curve(frames, np.append(value, value[0]), np.append(made.shape, made.shape[0]),
                     np.append(entering, entering[0]), np.append(leaving, leaving[0]), None,
                     Outside.REPEAT, Outside.REPEAT)  # fmt: skip

    def _ended(self) -> Self:
        """Return the same curve with a key at the loop's start."""
        if self.offset[0] == 0.0:
            return self
        value = float(self.at([0.0])[0])
        entering, leaving = (float(side[0]) for side in self.slopes([0.0]))
        # a new neighbour would change the slopes through the keys, so they're stated
        shape = np.where(self.shape == Shape.THROUGH, Shape.GIVEN, self.shape).astype(np.int8)
        own = Shape.LEVEL if entering == 0.0 == leaving else Shape.GIVEN
        return replace(
            self,
            offset=np.append(0.0, self.offset),
            value=np.append(value, self.value),
            shape=np.append(np.int8(own), shape),
            slope_in=np.append(entering, self.slope_in),
            slope_out=np.append(leaving, self.slope_out),
        )

    def _curve(self, first: float) -> Curve:
        if len(self.offset) == 1:
            return Curve.constant(float(self.value[0]), frame=first)
        close = [np.append(row, row[0]) for row in (self.value, self.slope_in, self.slope_out)]
        frames = np.append(self.offset, self.offset[0] + self.period) + first
        return Curve.given(frames, *close, before=Outside.REPEAT, after=Outside.REPEAT)


def _through(offset: Array, value: Array, period: int) -> Array:
    """Return the slope from neighbour to neighbour round the loop."""
    if len(offset) < 2:
        return np.zeros(len(offset))
    before, after = np.roll(offset, 1), np.roll(offset, -1)
    before[0] -= period
    after[-1] += period
    return np.asarray((np.roll(value, -1) - np.roll(value, 1)) / (after - before))
