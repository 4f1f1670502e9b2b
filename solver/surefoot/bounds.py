"""One smooth track between a lower and an upper bound.

The bounds enter as stiff one-sided springs, so the problem is smooth, convex and
piecewise quadratic: Newton's method with the set of loaded springs, a step length
of its own for each free run, ends when that set stays the same. That releases a
bound as soon as its force would pull, and leaves about force / stiffness.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band, solve_band

__all__ = ["STIFFNESS", "keep_between", "runs_with", "step_each"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STIFFNESS = 1e7
PASSES = 60
FAR = 1e9


def runs_with(flag: Flags, run: NDArray[np.intp]) -> Flags:
    """Return which free frames lie in a run that has ``flag`` anywhere."""
    hit = np.zeros(int(run[-1]) + 1, dtype=bool)
    hit[run[flag]] = True
    return np.asarray(hit[run])


def _sums(run: NDArray[np.intp], each: Array) -> Array:
    return np.asarray(np.bincount(run, each), dtype=np.float64)


def step_each(
    here: Array, step: Array, energy: Callable[[Array], Array], now: Array, run: NDArray[np.intp]
) -> tuple[Array, Array]:
    """Take a step, halved for each run on its own until that run's energy doesn't rise.

    Parameters
    ----------
    here, step : ndarray, shape (..., m)
    energy : callable
        Returns each run's energy, ``(runs,)``.
    now : ndarray, shape (runs,)
        The energy at ``here``.
    run : ndarray of int, shape (m,)
    """
    share = np.ones(int(run[-1]) + 1)
    for _ in range(40):
        new = here + share[run] * step
        value = energy(new)
        worse = value > now + 1e-13 * np.abs(now)
        if not worse.any():
            return new, value
        share[worse] *= 0.5
    share[worse] = 0.0
    new = here + share[run] * step
    return new, energy(new)


def keep_between(start: Array, side: Array, low: Array, high: Array, band: Band) -> Array:
    """Return the track nearest to the band's optimum that stays between ``low`` and ``high``.

    Parameters
    ----------
    start : ndarray, shape (m,)
        The optimum without bounds, over the free frames.
    side : ndarray, shape (m,)
        The band's right-hand side.
    low, high : ndarray, shape (m,)
        Bounds; -inf and inf for none.
    """
    hit = (start < low) | (start > high)
    if not hit.any():
        return start
    keep = runs_with(hit, band.run)
    part = band.kept(keep)
    y, f = start[keep], side[keep]
    low, high = np.maximum(low[keep], -FAR), np.minimum(high[keep], FAR)

    def energy(y: Array) -> Array:
        beyond = np.maximum(low - y, 0.0) + np.maximum(y - high, 0.0)
        return _sums(part.run, 0.5 * y * part.times(y) - f * y + 0.5 * STIFFNESS * beyond**2)

    now = energy(y)
    for _ in range(PASSES):
        below, above = y < low, y > high
        stiff = STIFFNESS * (below | above)
        new = solve_band(part.main + stiff, part.one, part.two, (f + stiff * np.where(below, low, high))[None])[0]
        if np.array_equal(new < low, below) and np.array_equal(new > high, above):
            y = new
            break
        y, now = step_each(y, new - y, energy, now, part.run)
    out = start.copy()
    out[keep] = np.clip(y, low, high)
    return out
