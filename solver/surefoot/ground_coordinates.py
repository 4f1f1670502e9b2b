"""Coordinates handed to a ground: checked, copied, spread to one shape, turned about the vertical."""

from __future__ import annotations

from math import cos, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import InputError, ShapeError, UnitError

__all__ = [
    "Components",
    "common_shape",
    "filled",
    "frozen",
    "length",
    "lengths",
    "number",
    "point_at",
    "spread",
    "turned_vector",
    "vector",
]

Array = NDArray[np.float64]
Components = tuple[ArrayLike, ArrayLike, ArrayLike] | Array
"""Points as (x, y, z), one array per coordinate; an array of shape (3, ...) serves too."""

LARGEST = 10_000.0  # metres; a ground beyond ten kilometres is in the wrong unit


def common_shape(*coordinates: ArrayLike) -> tuple[int, ...]:
    """Return the shape that the coordinates broadcast to."""
    try:
        return np.broadcast(*coordinates).shape
    except ValueError:
        came = ", ".join(str(np.shape(each)) for each in coordinates)
        raise ShapeError(f"expected shapes that broadcast, got {came}", place="coordinates") from None


def filled(value: float, shape: tuple[int, ...]) -> Array:
    """Return a new array full of one value."""
    array = np.empty(shape)
    array.fill(value)
    return array


def spread(value: ArrayLike, shape: tuple[int, ...]) -> Array:
    """Return the values as an array of that shape; read-only where they had to be repeated."""
    array = np.asarray(value, dtype=np.float64)
    return array if array.shape == shape else np.broadcast_to(array, shape)


def turned_vector(vector: Array, yaw: float) -> Array:
    """Return a vector (3,) turned about +Y."""
    angle = number(yaw, "yaw")
    x, y, z = vector.tolist()
    return np.array([x * cos(angle) + z * sin(angle), y, z * cos(angle) - x * sin(angle)])


def _finite_array(value: ArrayLike, place: str) -> Array:
    """Return a float64 copy; raise InputError unless it holds finite numbers."""
    try:
        array = np.array(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"expected numbers, got {value!r:.60}", place=place) from None
    if not np.all(np.isfinite(array)):
        at = np.argwhere(~np.isfinite(array))[0].tolist()
        raise InputError(
            f"expected finite numbers, got {array[tuple(at)]}", place=place + "".join(f"[{i}]" for i in at)
        )
    return array


def number(value: float, place: str) -> float:
    """Return one finite number."""
    array = _finite_array(value, place)
    if array.ndim:
        raise ShapeError(f"expected one number, got shape {array.shape}", place=place)
    return float(array)


def lengths(value: ArrayLike, place: str) -> Array:
    """Return a copy; raise UnitError if any length is beyond ten kilometres."""
    array = _finite_array(value, place)
    if array.size and float(np.abs(array).max()) > LARGEST:
        worst = float(np.abs(array).max())
        raise UnitError(f"expected lengths within {LARGEST:g} m, got {worst:g} m; is the unit right?", place=place)
    return array


def length(value: float, place: str) -> float:
    """Return one length, metres, checked as `lengths` does."""
    number(value, place)
    return float(lengths(value, place))


def vector(value: ArrayLike, place: str) -> Array:
    """Return a copy of three finite numbers."""
    array = _finite_array(value, place)
    if array.shape != (3,):
        raise ShapeError(f"expected three numbers (x, y, z), got shape {array.shape}", place=place)
    return array


def point_at(value: ArrayLike, place: str) -> Array:
    """Return a copy of a point (3,), metres, checked as `lengths` does."""
    return lengths(vector(value, place), place)


def frozen(array: Array) -> Array:
    """Return the same array, made read-only; hand in only a copy of one's own."""
    array.flags.writeable = False
    return array
