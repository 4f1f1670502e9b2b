"""Easing: the least smooth change of a number a frame that meets what is needed at every sample.

A change lives in a *window* of frames. It's zero and level at the window's ends (but not at a clip's own ends,
nor where the window is a whole loop), and between frames it's the cubic whose slopes run from neighbour to neighbour.
With ``x`` the change at the free frames and ``S x`` that at the samples, what is asked is

    minimise  |x|^2 + ease^4 |D2 x|^2   subject to   low <= S x <= high,

``D2`` the second differences. The bounds are met to rounding; where they contradict each other the least-squares
compromise is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv, dpotrf, dpotri
from scipy.optimize import nnls

from surefoot.touch import PER_FRAME

__all__ = [
    "Window",
    "frame_problem",
    "interpolate",
    "least_change",
    "least_within",
    "nearest_changes",
    "slopes_of",
]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

SOFT = 1e-4
"""How far bounds give way where they contradict each other, relative to what is needed."""
CONTRADICTION = 1e-5
"""Below this the dual's residual says that no change meets all bounds."""
ROUNDS = 30
LONG = 64
"""Frames: a window up to that long is interpolated by one product with a matrix that is kept."""
FEW = 128
"""Bounds: so many all take part at once, as that's quicker than asking which."""
ROUNDING = 1e-12

_T = np.arange(PER_FRAME) / PER_FRAME
_HERMITE = np.array([2 * _T**3 - 3 * _T**2 + 1, _T**3 - 2 * _T**2 + _T, 3 * _T**2 - 2 * _T**3, _T**3 - _T**2])


@dataclass(frozen=True, slots=True)
class Window:
    """A run of frames in which a change lives.

    Parameters
    ----------
    start : int
        Its first frame, counted from the clip's first; within the clip.
    count : int
        How many frames, both ends included; a closed window counts its first frame again as its last.
    level : tuple of bool
        Whether the change is zero and level at the first and at the last frame.
    closed : bool
        Whether it's a whole loop.
    """

    start: int
    count: int
    level: tuple[bool, bool] = (True, True)
    closed: bool = False

    @classmethod
    def around(cls, first: float, last: float, *, margin: int, frames: int, loop: bool) -> Window:
        """Return the window about frames ``first`` to ``last`` (from the clip's first) with so many to ease in."""
        start, end = int(np.floor(first)) - margin, int(np.ceil(last)) + margin
        if not loop:
            low, high = max(start, 0), min(end, frames - 1)
            return cls(low, high - low + 1, (start > 0, end < frames - 1))
        if end - start >= frames:
            return cls(0, frames + 1, (False, False), closed=True)
        return cls(start % frames, end - start + 1)

    @property
    def shape(self) -> tuple[int, tuple[bool, bool], bool]:
        """What it has in common with windows that start elsewhere."""
        return self.count, self.level, self.closed

    @property
    def free(self) -> int:
        """How many frames are free to change."""
        return self.count - 1 if self.closed else self.count - sum(self.level)

    @property
    def frames(self) -> Indices:
        """Its frames, counted from the clip's first and on over a loop's seam."""
        return np.arange(self.start, self.start + self.count)

    @property
    def samples(self) -> Indices:
        """Its samples, counted likewise."""
        return np.arange(self.start * PER_FRAME, (self.start + self.count - 1) * PER_FRAME + 1)

    def filled(self, free: Array) -> Array:
        """Return the change at every frame of the window for that at its free ones."""
        if self.closed:
            return np.concatenate([free, free[:1]])
        out = np.zeros(self.count)
        out[int(self.level[0]) : self.count - int(self.level[1])] = free
        return out


def slopes_of(values: Array, window: Window) -> Array:
    """Return the slopes a frame, ``(..., count)``, of a change ``(..., count)`` that lives in a window."""
    if window.count < 2:
        return np.zeros_like(values)
    out = np.empty_like(values)
    out[..., 1:-1] = 0.5 * (values[..., 2:] - values[..., :-2])
    if window.closed:
        out[..., 0] = out[..., -1] = 0.5 * (values[..., 1] - values[..., -2])
        return out
    out[..., 0] = 0.0 if window.level[0] else values[..., 1] - values[..., 0]
    out[..., -1] = 0.0 if window.level[1] else values[..., -1] - values[..., -2]
    return out


def interpolate(values: Array, window: Window) -> Array:
    """Return a change ``(..., count)`` at the window's samples, ``(..., samples)``."""
    if window.count > LONG:
        slope = slopes_of(values, window)
        parts = np.stack([values[..., :-1], slope[..., :-1], values[..., 1:], slope[..., 1:]], axis=-1)
        inner = (parts @ _HERMITE).reshape(*values.shape[:-1], -1)
        return np.concatenate([inner, values[..., -1:]], axis=-1)
    return np.asarray(values @ _spread(*window.shape))


@lru_cache(maxsize=256)
def _spread(count: int, level: tuple[bool, bool], closed: bool) -> Array:
    """Return what each frame's change counts for at each sample, ``(count, samples)``, in a window that starts at 0."""
    shape = Window(0, count, level, closed)
    values = np.eye(count)
    slope = slopes_of(values, shape)
    parts = np.stack([values[..., :-1], slope[..., :-1], values[..., 1:], slope[..., 1:]], axis=-1)
    inner = (parts @ _HERMITE).reshape(count, -1)
    found = np.concatenate([inner, values[:, -1:]], axis=-1)
    found.setflags(write=False)
    return found


@lru_cache(maxsize=256)
def _problem(count: int, level: tuple[bool, bool], closed: bool, ease: float) -> tuple[Array, Array, Array]:
    """Return ``S`` ``(samples, free)``, the objective's matrix inverted, and the matrix, for a window's shape."""
    shape = Window(0, count, level, closed)
    free = shape.free
    sampled = interpolate(np.array([shape.filled(row) for row in np.eye(free)]), shape).T
    if shape.closed:
        eye = np.eye(free)
        bends = np.roll(eye, 1, axis=0) - 2.0 * eye + np.roll(eye, -1, axis=0)
    else:
        padded = np.array([shape.filled(row) for row in np.eye(free)]).T
        ends = (np.zeros((int(shape.level[0]), free)), np.zeros((int(shape.level[1]), free)))
        padded = np.concatenate([ends[0], padded, ends[1]])  # level: one more zero beyond
        bends = padded[2:] - 2.0 * padded[1:-1] + padded[:-2]
    weight = np.eye(free) + ease**4 * bends.T @ bends
    sampled.setflags(write=False)
    weight.setflags(write=False)
    return sampled, _inverse(weight), weight


@lru_cache(maxsize=256)
def _rooted(count: int, level: tuple[bool, bool], closed: bool, ease: float) -> tuple[Array, Array]:
    """Return the root ``L`` of the objective's inverse, and ``S L``."""
    sampled, inverse, _ = _problem(count, level, closed, ease)
    root: Array = dpotrf(inverse, lower=1, clean=1)[0]
    scaled = sampled @ root
    for array in (root, scaled):
        array.setflags(write=False)
    return root, scaled


def frame_problem(window: Window, ease: float) -> tuple[Array, Array, Array]:
    """Return what a change at whole frames is asked with: values, second differences, and the root of the inverse.

    The first two are ``(count, free)``, over all frames of the window; the last is ``L``, where ``L L'`` is the
    objective's inverse.
    """
    return _at_frames(*window.shape, ease)


@lru_cache(maxsize=256)
def _at_frames(count: int, level: tuple[bool, bool], closed: bool, ease: float) -> tuple[Array, Array, Array]:
    shape = Window(0, count, level, closed)
    value = np.array([shape.filled(row) for row in np.eye(shape.free)]).T
    ends = (value[-2:-1], value[1:2]) if closed else (np.zeros((1, shape.free)), np.zeros((1, shape.free)))
    padded = np.concatenate([ends[0], value, ends[1]])
    return value, padded[2:] - 2.0 * padded[1:-1] + padded[:-2], _rooted(count, level, closed, ease)[0]


def _inverse(matrix: Array) -> Array:
    half, _ = dpotri(dpotrf(matrix, lower=1)[0], lower=1)
    full: Array = np.tril(half) + np.tril(half, -1).T
    full.setflags(write=False)
    return full


def least_change(window: Window, low: Array, *, ease: float) -> Array:
    """Return the least smooth change, ``(count,)``, that is nowhere under a bound at the samples of its window.

    Parameters
    ----------
    low : ndarray, shape (samples,)
        Bounds; -inf for none.
    ease : float
        Frames over which the change likes to bend.
    """
    if window.free < 1:
        return np.zeros(window.count)
    root, scaled = _rooted(*window.shape, ease)
    bound = np.flatnonzero(np.isfinite(low))
    return window.filled(_least(root, scaled[bound], low[bound]))


def nearest_changes(window: Window, wanted: Array, weight: Array, *, ease: float) -> list[Array]:
    """Return the smooth changes, each ``(count,)``, nearest to what's wanted at the samples that have a weight.

    Each minimises ``sum weight (S x - wanted)^2`` plus the objective above; ``wanted`` and ``weight`` are
    ``(changes, samples)``.
    """
    if window.free < 1:
        return [np.zeros(window.count) for _ in wanted]
    sampled, _, weighed = _problem(*window.shape, ease)
    pulled = sampled.T * weight[:, None]
    both = zip(pulled @ sampled + weighed, np.einsum("kfs,ks->kf", pulled, wanted), strict=True)
    return [window.filled(dposv(matrix, side)[1]) for matrix, side in both]


def least_within(side: Array, bound: Array, root: Array) -> Array:
    """Return the ``x`` ``(n,)`` with ``side @ x >= bound`` for which ``x @ H @ x`` is least.

    Parameters
    ----------
    side : ndarray, shape (m, n)
    bound : ndarray, shape (m,)
    root : ndarray, shape (n, n)
        ``L``, where ``L L'`` is the inverse of ``H``.

    Notes
    -----
    The dual is least squares with no sign but positive ones (Lawson and Hanson 1974, chapter 23, from memory).
    Only bounds that have been broken so far take part, so the dual stays small.
    """
    return _least(root, side @ root, bound)


def _least(root: Array, scaled: Array, bound: Array) -> Array:
    """Return what `least_within` does, for the inverse's root ``L`` and ``side @ L``."""
    size = float(bound.max(initial=0.0))
    if size <= 0.0:
        return np.zeros(scaled.shape[1])
    wanted = bound / size
    if len(bound) <= FEW:
        return np.asarray(root @ _nearest(scaled, wanted) * size)
    active = wanted > ROUNDING
    y = _nearest(scaled[active], wanted[active])
    for _ in range(ROUNDS - 1):
        fresh = (wanted - scaled @ y > ROUNDING) & ~active
        if not np.count_nonzero(fresh):
            break
        active |= fresh
        y = _nearest(scaled[active], wanted[active])
    return np.asarray(root @ y * size)


def _nearest(side: Array, bound: Array, *, soft: float = 0.0) -> Array:
    """Return the shortest ``y`` with ``side @ y >= bound``; where there's none, the bounds give way."""
    rows, columns = side.shape
    system = np.concatenate([side.T, bound[None]])
    if soft:
        system = np.concatenate([system, np.eye(rows) * soft])
    goal = np.zeros(len(system))
    goal[columns] = 1.0
    dual, apart = nnls(system, goal, maxiter=30 * rows + 100)
    if not soft and apart < CONTRADICTION:
        return _nearest(side, bound, soft=SOFT)
    rest = system @ dual - goal
    return np.asarray(rest[:columns] / -rest[columns])
