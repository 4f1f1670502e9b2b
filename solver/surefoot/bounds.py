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

__all__ = ["STIFFENING", "keep_between", "runs_with", "step_each"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STIFFENING = (1e0, 1e1, 1e2, 1e4, 1e7)
PASSES = 60
HOPEFUL = 6
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
        if not np.count_nonzero(worse):
            return new, value
        share[worse] *= 0.5
    share[worse] = 0.0
    new = here + share[run] * step
    return new, energy(new)


def _stiffened(
    y: Array, loaded: Callable[[Array, float], tuple[Array, bool]], f: Array, low: Array, high: Array, part: Band
) -> Array:
    """Newton's method with shortened steps, stage by stage: at the last stiffness at once the steps would creep."""
    for stiffness in STIFFENING:

        def energy(y: Array, stiffness: float = stiffness) -> Array:
            beyond = np.maximum(low - y, 0.0) + np.maximum(y - high, 0.0)
            return _sums(part.run, 0.5 * y * part.times(y) - f * y + 0.5 * stiffness * beyond**2)

        now = energy(y)
        for _ in range(PASSES):
            new, settled = loaded(y, stiffness)
            if settled:
                y = new
                break
            y, now = step_each(y, new - y, energy, now, part.run)
    return y


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
    if not np.count_nonzero(hit):
        return start
    keep = runs_with(hit, band.run)
    part = band.kept(keep)
    y, f = start[keep], side[keep]
    low, high = np.maximum(low[keep], -FAR), np.minimum(high[keep], FAR)

    def loaded(y: Array, stiffness: float) -> tuple[Array, bool]:
        """Solve with the springs that are loaded at ``y``, and tell whether the same ones are loaded then."""
        below, above = y < low, y > high
        stiff = stiffness * (below | above)
        pulled = (f + stiff * np.where(below, low, high))[None]
        new = solve_band(part.main + stiff, part.one, part.two, pulled)[0]
        return new, not np.count_nonzero(((new < low) != below) | ((new > high) != above))

    for _ in range(HOPEFUL):  # mostly enough; a set of springs that stays the same is the optimum's
        y, settled = loaded(y, STIFFENING[-1])
        if settled:
            break
    else:
        y = _stiffened(start[keep], loaded, f, low, high, part)
    out = start.copy()
    out[keep] = np.minimum(np.maximum(y, low), high)
    return out
