"""Carrying a correction through the frames where it is free: one banded least-squares problem.

Tracks (one per foot, or several loops of one) are laid end to end on one axis of
``n`` frames. In *known* frames the correction is given; in free ones it minimises

    sum_j w_j (c[j-1] - 2 c[j] + c[j+1])^2  +  sum_i kappa_i (c[i+1] - c[i])^2  +  sum_i mu_i c[i]^2

with ``w_j`` 1, but 16 across a lift-off (value and slope are continuous there),
0 about a landing (value only) and 0 at a track's ends; ``kappa`` is ``(0.12 L)^-2`` and
``mu`` is ``(0.45 L)^-4``, ``L`` one more than the free run's length (so its steps from
known frame to known frame), for every step of which an end is free and for every free
frame: the fade keeps its proportions whatever the run's length. The pull on the steps
(``kappa``) keeps the slope at lift-off from swinging the foot out: on a captured
treadmill walk it took the change of the ankle from 21.6 to 13 mm (root mean square).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbsv

__all__ = ["Band", "solve_band"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ACROSS_LIFT_OFF = 16.0
WEIGHTS = np.array([1.0, 1.0, 0.0, 0.0, 1.0, 1.0, ACROSS_LIFT_OFF, 0.0])
"""Of three frames, by which are known: 4 for the first, 2 for the middle one and 1 for the last."""
FADE = 0.45
TAUT = 0.12


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The problem's matrix over the free frames only, and what the known ones pull with.

    Parameters
    ----------
    free : ndarray of int, shape (m,)
        Indices of the free frames.
    run : ndarray of int, shape (m,)
        Which free run each belongs to, counted from 0.
    main, one, two : ndarray, shape (m,)
        The diagonal and the couplings to the next and the next but one free frame.
    full_one, full_two : ndarray, shape (n,)
        Those couplings over all frames, known ones too.
    """

    free: NDArray[np.intp]
    run: NDArray[np.intp]
    main: Array
    one: Array
    two: Array
    full_one: Array
    full_two: Array

    @classmethod
    def of(cls, known: Flags, starts: NDArray[np.intp]) -> Self:
        """Build the matrix for known frames ``(n,)`` of tracks that begin at the indices ``starts``."""
        count = len(known)
        free = ~known
        weight = np.zeros(count + 2)  # one beyond each end, so that shifts need no edges
        centre = weight[1:-1]
        if count > 2:
            bits = known.view(np.int8)
            centre[1:-1] = WEIGHTS.take(4 * bits[:-2] + 2 * bits[1:-1] + bits[2:])
            centre[starts] = 0.0
            centre[starts[1:] - 1] = 0.0
        begins = free.copy()
        begins[1:] &= known[:-1]
        begins[starts] = free[starts]
        (index,) = free.nonzero()
        run = begins.cumsum()[index] - 1
        length = np.bincount(run) if len(run) else np.zeros(0)
        mu = (FADE * (length + 1.0)) ** -4.0
        taut = np.zeros(count + 1)  # of the step before each frame
        taut[index + 1] = taut[index] = (TAUT * (length + 1.0))[run] ** -2.0
        taut[starts] = taut[-1] = 0.0
        main = (weight[2:] + 4.0 * centre + weight[:-2] + taut[1:] + taut[:-1])[index] + mu[run]
        full_one = -2.0 * (centre + weight[2:]) - taut[1:]
        full_two = weight[2:].copy()
        if count:
            full_one[-1] = 0.0
        one, two = np.zeros(len(index)), np.zeros(len(index))
        if len(index) > 1:
            one[:-1] = np.where(index[1:] - index[:-1] == 1, full_one[index[:-1]], 0.0)
        if len(index) > 2:
            two[:-2] = np.where(index[2:] - index[:-2] == 2, full_two[index[:-2]], 0.0)
        return cls(index, run, main, one, two, full_one, full_two)

    def pull(self, given: Array) -> Array:
        """Return the right-hand side ``(k, m)`` that the known values in ``given`` ``(k, n)`` exert.

        Free frames of ``given`` must hold zero.
        """
        side = np.zeros(given.shape)
        side[:, :-1] -= self.full_one[:-1] * given[:, 1:]
        side[:, 1:] -= self.full_one[:-1] * given[:, :-1]
        side[:, :-2] -= self.full_two[:-2] * given[:, 2:]
        side[:, 2:] -= self.full_two[:-2] * given[:, :-2]
        return side[:, self.free]

    def fade(self, given: Array) -> Array:
        """Return the corrections ``(k, n)``: as given where known, carried through where free."""
        if not len(self.free):
            return given.copy()
        out = given.copy()
        out[:, self.free] = 0.0
        if np.count_nonzero(out):
            out[:, self.free] = solve_band(self.main, self.one, self.two, self.pull(out))
        return out

    def times(self, vector: Array) -> Array:
        """Return the matrix times ``vector`` ``(..., m)``."""
        out = self.main * vector
        out[..., :-1] += self.one[:-1] * vector[..., 1:]
        out[..., 1:] += self.one[:-1] * vector[..., :-1]
        out[..., :-2] += self.two[:-2] * vector[..., 2:]
        out[..., 2:] += self.two[:-2] * vector[..., :-2]
        return np.asarray(out)

    def kept(self, keep: Flags) -> Band:
        """Return the same problem for the runs whose free frames ``keep`` ``(m,)`` marks, whole runs only."""
        if keep.all():
            return self
        run = self.run[keep]
        fresh = np.zeros(len(run), dtype=np.intp)
        (run[1:] != run[:-1]).cumsum(out=fresh[1:])
        return Band(
            self.free[keep], fresh, self.main[keep], self.one[keep], self.two[keep], self.full_one, self.full_two
        )


def solve_band(main: Array, one: Array, two: Array, side: Array) -> Array:
    """Solve the symmetric, positive definite band for ``side`` ``(k, m)``; return ``(k, m)``."""
    matrix = np.zeros((3, len(main)), order="F")
    matrix[2] = main
    matrix[1, 1:] = one[:-1]
    matrix[0, 2:] = two[:-2]
    _, solution, info = dpbsv(matrix, side.T, lower=0, overwrite_ab=1)
    if info != 0:
        raise ArithmeticError(f"the band is not positive definite at row {info}")
    return np.ascontiguousarray(solution.T)
