"""Slip: what is left of a planted foot's motion once its rocker is closed form, and taking it away.

The closed form holds one rigid footprint. A foot that cants or swivels while it
rocks rolls over its sole's corners, and where it gets to depends on the way there:
its touching point would creep by millimetres. So from sample to sample the touching
point that moves least is followed, and what it moved is taken off from then on,
outwards from the frames in which the sole is held flat on its footprint.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.rotations import apply
from surefoot.sole import Soles, Turns

__all__ = ["NOTHING", "TOUCHING", "least_steps", "slip_steps", "taken_off", "widest", "without_slip"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

TOUCHING = 5e-4
"""A point this near to the lowest one touches too, metres."""
NOTHING = 1e-9


def least_steps(points: Array, height: Array, lean: Array | None = None) -> Array:
    """Return the step ``(2, ..., n - 1)``, x and z, of the touching point that moves least.

    Parameters
    ----------
    points : ndarray, shape (3, points, ..., n)
    height : ndarray, shape (points, ..., n)
        Straight up from the ground, metres.
    lean : ndarray, shape (3, 3), or None
        The turn that lays level ground onto a slope: steps are then along the slope, x and z those of the
        ground as it would lie level. A point that leaves a slope squarely moves in plan, but doesn't slide.
    """
    if lean is not None:
        points, height = apply(lean.T, points), lean[1, 1] * height
    touching = height < height.min(axis=0) + TOUCHING
    both = touching[..., 1:] & touching[..., :-1]
    move = points[::2, ..., 1:] - points[::2, ..., :-1]
    size = move[0] * move[0] + move[1] * move[1]
    shared = both.any(axis=0)
    usable = both if shared.all() else np.where(shared, both, touching[..., 1:] | touching[..., :-1])
    size[~usable] = np.inf
    count = len(size)
    least = size.reshape(count, -1).argmin(axis=0)
    step = move.reshape(2, count, -1)[:, least, np.arange(len(least))]
    return np.asarray(step.reshape(2, *size.shape[1:]))


def widest(path: Array) -> tuple[Array, Indices]:
    """Return the largest distance between two places of each path, and the index of the first one's partner.

    It's found from the place that is farthest from the start. Paths are ``(n, 2, samples)``, metres; of fewer than two
    samples there's no distance.
    """
    if path.shape[-1] < 2:
        return np.zeros(len(path)), np.zeros(len(path), dtype=np.intp)
    x, z = path[:, 0] - path[:, 0, :1], path[:, 1] - path[:, 1, :1]
    worst = (x * x + z * z).argmax(axis=-1)
    far = path[np.arange(len(path)), :, worst]
    x, z = path[:, 0] - far[:, :1], path[:, 1] - far[:, 1:]
    return np.sqrt((x * x + z * z).max(axis=-1)), worst


def slip_steps(soles: Soles, turns: Turns, ankle: Array) -> Array:
    """Return the slip ``(2, feet, ..., n - 1)`` of planted feet from sample to sample, footprint space.

    ``ankle`` is ``(3, feet, ..., n)``; time runs along the last axis.
    """
    angles = np.array([turns.pitch, turns.swivel, turns.cant])
    points = soles.points(angles, turns.bend)
    points[0] += ankle[0]
    points[2] += ankle[2]
    return least_steps(points, points[1])  # which point is lowest doesn't depend on the ankle's height


def without_slip(soles: Soles, turns: Turns, ankle: Array, print_of: Indices, source: Indices, held: Flags) -> Array:
    """Return planted ankles ``(3, 2, n)`` in footprint space that don't slip.

    Parameters
    ----------
    ankle : ndarray, shape (3, 2, n)
        What the closed form gives.
    print_of : ndarray of int, shape (2, n)
        The footprint of each planted frame, -1 elsewhere.
    source : ndarray of int, shape (prints,)
        The footprint of which each is an image a loop earlier, or itself.
    held : ndarray of bool, shape (2, n)
        Frames whose sole lies flat on its footprint: they stay.
    """
    loose = (np.abs(turns.cant) > NOTHING) | (np.abs(turns.swivel) > NOTHING)
    rolls = (print_of[:, 1:] == print_of[:, :-1]) & (print_of[:, 1:] >= 0) & (loose[:, 1:] | loose[:, :-1])
    if not np.count_nonzero(rolls):
        return ankle
    foot, at = rolls.nonzero()
    pair = (foot * print_of.shape[1] + at)[:, None] + np.arange(2)
    both = Turns(*np.array(turns).reshape(4, -1).take(pair, axis=1)[:, None])
    moved = slip_steps(soles.gathered(foot), both, ankle.reshape(3, -1).take(pair, axis=1)[:, None])
    step = np.zeros((2, *rolls.shape))
    step[:, foot, at] = moved[:, 0, :, 0]
    if np.abs(step).max() < NOTHING:
        return ankle
    fixed = ankle.copy()
    fixed[::2] += taken_off(step, print_of, source, held, turns.pitch)
    return fixed


def taken_off(step: Array, print_of: Indices, source: Indices, held: Flags, pitch: Array) -> Array:
    """Return what takes slips ``(2, 2, n - 1)`` off again, ``(2, 2, n)``, outwards from the held frames."""
    path = np.zeros((2, *print_of.shape))
    step.cumsum(axis=-1, out=path[..., 1:])
    return np.where(print_of >= 0, _at_rest(path, print_of, source, held, pitch) - path, 0.0)


def _at_rest(path: Array, print_of: Indices, source: Indices, held: Flags, pitch: Array) -> Array:
    """Return the path at the held frames of each footprint, drawn straight between them and level beyond.

    A footprint without held frames rests at its flattest frame; one that goes on from another
    over a loop's seam rests as that one ended.
    """
    count = print_of.shape[1]
    index = np.arange(count)
    last = np.maximum.accumulate(np.where(held, index, -1), axis=1)
    following = np.minimum.accumulate(np.where(held, index, count)[:, ::-1], axis=1)[:, ::-1]
    row = np.array([[0], [count]])
    has_last = (last >= 0) & (print_of.take(np.maximum(last, 0) + row) == print_of)
    has_next = (following < count) & (print_of.take(np.minimum(following, count - 1) + row) == print_of)
    low, high = np.where(has_last, last, following), np.where(has_next, following, last)
    low, high = (np.minimum(np.maximum(end, 0), count - 1) for end in (low, high))
    part = np.minimum(np.maximum((index - low) / np.maximum(high - low, 1), 0.0), 1.0)
    flat = path.reshape(2, -1)
    rest = flat.take(low + row, axis=1) * (1.0 - part) + flat.take(high + row, axis=1) * part
    lost = (print_of >= 0) & ~has_last & ~has_next
    if np.count_nonzero(lost):
        ended: dict[int, Array] = {}
        for which in sorted(set(print_of[lost].tolist()), key=lambda w: (source[w] != w, w)):
            foot, at = np.nonzero(print_of == which)
            own, of = path[:, foot, at], int(source[which])
            if of != which:
                f, tail = np.nonzero(print_of == of)
                ended[of] = rest[:, f[-1], tail[-1]] - path[:, f[-1], tail[-1]]
            flattest = int(np.abs(pitch[foot, at]).argmin())
            rest[:, foot, at] = own[:, :1] + ended[of][:, None] if of in ended else own[:, [flattest]]
    return np.asarray(rest)
