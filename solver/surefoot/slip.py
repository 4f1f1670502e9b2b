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

from surefoot.sole import Soles, Turns

__all__ = ["TOUCHING", "least_steps", "slip_steps", "without_slip"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

TOUCHING = 5e-4
"""A point this near to the lowest one touches too, metres."""
NOTHING = 1e-9


def least_steps(points: Array, height: Array) -> Array:
    """Return the step ``(2, ..., n - 1)``, x and z, of the touching point that moves least.

    Parameters
    ----------
    points : ndarray, shape (3, points, ..., n)
    height : ndarray, shape (points, ..., n)
        Above the ground, metres.
    """
    touching = height < height.min(axis=0) + TOUCHING
    both = touching[..., 1:] & touching[..., :-1]
    x, z = points[0, ..., 1:] - points[0, ..., :-1], points[2, ..., 1:] - points[2, ..., :-1]
    size = x * x + z * z
    if both.any(axis=0).all():
        usable = both
    else:
        usable = np.where(both.any(axis=0), both, touching[..., 1:] | touching[..., :-1])
    size[~usable] = np.inf
    flat = size.reshape(len(size), -1)
    least = flat.argmin(axis=0)
    at = np.arange(flat.shape[1])
    step = np.empty((2, *size.shape[1:]))
    step[0].reshape(-1)[:] = x.reshape(len(x), -1)[least, at]
    step[1].reshape(-1)[:] = z.reshape(len(z), -1)[least, at]
    return step


def slip_steps(soles: Soles, turns: Turns, ankle: Array) -> Array:
    """Return the slip ``(2, feet, ..., n - 1)`` of planted feet from sample to sample, footprint space.

    ``ankle`` is ``(3, feet, ..., n)``; time runs along the last axis.
    """
    angles = np.array([turns.pitch, turns.swivel, turns.cant])
    points = np.concatenate([soles.corners(angles, turns.bend), soles.centre_line(angles, turns.bend)], axis=1)
    points += ankle[:, None]
    return least_steps(points, points[1])


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
    loose = (print_of >= 0) & ((np.abs(turns.cant) > NOTHING) | (np.abs(turns.swivel) > NOTHING))
    if not loose.any():
        return ankle
    same = (print_of[:, 1:] == print_of[:, :-1]) & (print_of[:, 1:] >= 0)
    step = np.where(same, slip_steps(soles, turns, ankle), 0.0)
    if np.abs(step).max() < NOTHING:
        return ankle
    path = np.zeros((2, *print_of.shape))
    np.cumsum(step, axis=-1, out=path[..., 1:])
    fixed = ankle.copy()
    ends: dict[int, Array] = {}
    for which in np.argsort(source != np.arange(len(source)), kind="stable"):  # images last
        foot, at = np.nonzero(print_of == which)
        if not len(at):
            continue
        own = path[:, foot, at]
        still = np.flatnonzero(held[foot, at])
        start = ends.get(int(source[which])) if source[which] != which else None
        if len(still):
            rest = np.array([np.interp(at, at[still], row[still]) for row in own])
        elif start is not None:
            rest = own[:, :1] + start[:, None]
        else:
            flattest = int(np.abs(turns.pitch[foot, at]).argmin())
            rest = own[:, [flattest]]
        fixed[0, foot, at] -= own[0] - rest[0]
        fixed[2, foot, at] -= own[1] - rest[1]
        ends[int(which)] = (rest - own)[:, -1]
    return fixed
