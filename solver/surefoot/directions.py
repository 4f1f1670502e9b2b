"""Directions along frames: what to do in a frame in which one has no meaning.

Vectors are component-major, ``(3, ..., frames)``. A direction that fades keeps that of the last frame in
which it stood clear of rounding noise; before the first such frame, that of the first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["PARALLEL", "across", "crossed", "dot", "kept", "length"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PARALLEL = 1e-6
"""Below this length across the leg, a unit vector is taken to lie along it.

A direction kept from another frame is then better than rounding noise, which
turns a direction of this length by up to 1e-10 radians.
"""


def across(line: Array, forward: Array) -> Array:
    """Return the unit vector along the part of ``forward`` square to the unit vectors ``line``."""
    part = forward - dot(line, forward) * line
    size = length(part)
    good = size > PARALLEL
    if good.all():
        return np.asarray(part / size)
    last = kept(part / np.where(good, size, 1.0), good, np.zeros(3))
    again = last - dot(line, last) * line
    size = length(again)
    bad = np.asarray(size <= PARALLEL)  # the kept direction lies along this frame's leg as well: any will do
    if bad.any():
        least = np.argmin(np.abs(line), axis=0)
        unit = (np.arange(3).reshape(3, *[1] * least.ndim) == least).astype(np.float64)
        again = np.where(bad, unit - dot(line, unit) * line, again)
        size = length(again)
    return np.asarray(again / size)


def kept(values: Array, good: Mask, otherwise: Array) -> Array:
    """Return ``values`` (n, ..., frames) with each frame that isn't ``good`` taking the last one that is.

    Before the first good frame the first stands; where there is none, ``otherwise`` (n,).
    """
    if good.all():
        return values
    frames = np.arange(good.shape[-1])
    last = np.maximum.accumulate(np.where(good, frames, -1), axis=-1)
    first = np.argmax(good, axis=-1)[..., None]
    at = np.where(last < 0, first, last)
    filled = np.take_along_axis(values, np.broadcast_to(at, values.shape), axis=-1)
    some = np.asarray(good.any(axis=-1))[..., None]
    return np.where(some, filled, otherwise.reshape(-1, *[1] * good.ndim))


def dot(a: Array, b: Array) -> Array:
    """Return the inner product, ``(...)``."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def crossed(a: Array, b: Array) -> Array:
    """Return ``a x b``, ``(3, ...)``."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def length(v: Array) -> Array:
    """Return the vectors' lengths, ``(...)``."""
    return np.asarray(np.sqrt(v[0] ** 2 + v[1] ** 2 + v[2] ** 2))
