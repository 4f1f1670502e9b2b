"""The swing: the least, smoothest correction that keeps the foot above its floor and within reach.

Each free frame may have a floor under its ankle's height and a sphere about its
hip that the ankle must stay in. Both are convex, so the answer is unique. They
enter as stiff one-sided springs; Newton's method on that smooth, convex sum, with
a step length of its own for each swing, ends when the set of loaded springs stays
the same and the step is small. The springs give by less than 1e-6 m. Where a floor
lies above the sphere the floor wins, and the leg is out of reach by what is missing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbsv

from surefoot.band import Band, solve_band
from surefoot.bounds import STIFFENING, keep_between, runs_with, step_each
from surefoot.heeding import heed
from surefoot.rotations import length

__all__ = ["carry"]

Array = NDArray[np.float64]

PASSES = 60
SMALL = 1e-9


def carry(given: Array, *, band: Band, authored: Array, floor: Array, hip: Array, limit: Array) -> Array:
    """Return the corrections of the ankle in every frame.

    Parameters
    ----------
    given : ndarray, shape (3, n)
        Corrections x, y, z in the known frames, metres; zero elsewhere.
    band : Band
        Which frames are free, and the smoothness problem over them.
    authored : ndarray, shape (3, n)
        The authored ankle, ground space, metres.
    floor : ndarray, shape (n,)
        Lowest allowed height of the ankle, metres; -inf for none.
    hip : ndarray, shape (3, n)
        The hip joint.
    limit : ndarray, shape (n,)
        Longest allowed distance from hip to ankle, metres; inf for none.
    """
    out, free = given.copy(), band.free
    if not len(free):
        return out
    out[:, free] = 0.0
    side = band.pull(out)
    move = solve_band(band.main, band.one, band.two, side)
    start = authored[:, free]
    lowest = (floor - authored[1])[free]
    far = _excess(start + move - hip[:, free], limit[free]) > 0.0
    low = move[1] < lowest
    if np.count_nonzero(low) and not np.count_nonzero(far):
        move[1] = keep_between(move[1], side[1], lowest, np.full_like(lowest, np.inf), band)
        far = _excess(start + move - hip[:, free], limit[free]) > 0.0
        low[:] = False
    if np.count_nonzero(far) or np.count_nonzero(low):
        move = _within(move, side, start - hip[:, free], limit[free], lowest, band, far | low)
    np.maximum(move[1], lowest, out=move[1])
    out[:, free] = move
    return out


def _excess(arm: Array, limit: Array) -> Array:
    return length(arm) - limit


def _within(
    move: Array, side: Array, arm: Array, limit: Array, lowest: Array, band: Band, hit: NDArray[np.bool_]
) -> Array:
    """Newton on x, y and z together, for runs that would leave the leg's reach; springs stiffen as it goes."""
    keep = runs_with(hit, band.run)
    part = band.kept(keep)
    c, f, arm, limit = move[:, keep], side[:, keep], arm[:, keep], limit[keep]
    low = np.where(np.isfinite(lowest[keep]), lowest[keep], -1e9)
    limit = np.where(np.isfinite(limit), limit, 1e9)
    for stiffness in STIFFENING:

        def energy(c: Array, stiffness: float = stiffness) -> Array:
            each = (0.5 * c * part.times(c) - f * c).sum(axis=0)
            each += 0.5 * stiffness * np.maximum(low - c[1], 0.0) ** 2
            each += 0.5 * stiffness * np.maximum(_excess(arm + c, limit), 0.0) ** 2
            return np.asarray(np.bincount(part.run, each), dtype=np.float64)

        now = energy(c)
        for _ in range(PASSES):
            step, size = _newton_step(c, f, arm, limit, low, part, stiffness)
            if size < SMALL:
                break
            c, now = step_each(c, step, energy, now, part.run)
    out = move.copy()
    out[:, keep] = c
    return out


def _newton_step(
    c: Array, f: Array, arm: Array, limit: Array, low: Array, part: Band, stiffness: float
) -> tuple[Array, float]:
    heed()
    line = arm + c
    reached = np.maximum(length(line), 1e-9)
    unit = line / reached
    over = np.maximum(reached - limit, 0.0)
    under = np.maximum(low - c[1], 0.0)
    slope = part.times(c) - f + stiffness * over * unit
    slope[1] -= stiffness * under
    stiff = stiffness * (over > 0.0)
    bend = stiffness * over / reached  # the sphere's own curvature
    block = (stiff - bend) * unit[:, None] * unit[None, :]
    for k in range(3):
        block[k, k] += bend
    block[1, 1] += stiffness * (under > 0.0)
    count = c.shape[1]
    matrix = np.zeros((7, 3 * count), order="F")
    for k in range(3):
        matrix[6, k::3] = part.main + block[k, k]
        matrix[3, 3 + k :: 3] = part.one[:-1]
        matrix[0, 6 + k :: 3] = part.two[:-2]
    matrix[5, 1::3], matrix[5, 2::3], matrix[4, 2::3] = block[0, 1], block[1, 2], block[0, 2]
    _, solution, info = dpbsv(matrix, -slope.T.reshape(-1), lower=0, overwrite_ab=1)
    if info != 0:
        raise ArithmeticError(f"the band is not positive definite at row {info}")
    step = np.ascontiguousarray(solution.reshape(count, 3).T)
    return step, float(np.abs(step).max())
