"""Whether the keys of a curve are lawful. Messages name a key by its number, from 1, and its frame."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from surefoot.errors import InputError, ShapeError
from surefoot.tangents import Shape

__all__ = ["check_given", "check_handles", "check_keys", "check_sizes"]

Floats = npt.NDArray[np.float64]


def check_sizes(
    frames: Floats,
    values: Floats,
    shapes: npt.NDArray[np.int8],
    slope_in: Floats,
    slope_out: Floats,
    handles: Floats | None,
) -> None:
    """Raise unless there is a key and every array has one row for each."""
    size = frames.shape
    if len(size) != 1:
        raise ShapeError(f"frames have shape (keys,), got {size}", place="keys")
    if size == (0,):
        raise InputError("a curve needs at least one key, got none", place="keys")
    if not size == values.shape == shapes.shape == slope_in.shape == slope_out.shape:
        got = f"values {values.shape}, shapes {shapes.shape}, slopes {slope_in.shape} and {slope_out.shape}"
        raise ShapeError(f"{size[0]} frames need as many values, shapes and slopes, got {got}", place="keys")
    if handles is not None and handles.shape != (*size, 4):
        raise ShapeError(f"{size[0]} frames need handles of shape {(*size, 4)}, got {handles.shape}", place="keys")


def check_keys(frames: Floats, values: Floats, shapes: npt.NDArray[np.int8]) -> None:
    """Raise unless frames increase, all is finite and every shape is known."""
    following = frames[1:] > frames[:-1]
    if not (following.all() and np.isfinite(frames[0]) and np.isfinite(frames[-1])):
        if not np.isfinite(frames).all():
            key = int(np.argmin(np.isfinite(frames)))
            raise InputError(f"the frame is not a finite number ({frames[key]})", place=f"key {key + 1}")
        key = int(np.argmin(following)) + 1
        if frames[key] == frames[key - 1]:
            told = f"key {key} stands on the same frame; one frame has one key"
        else:
            told = f"key {key} before it is at frame {frames[key - 1]:g}; keys go in order of frame"
        raise InputError(told, place=_place(frames, key))
    good = np.isfinite(values)
    if not good.all():
        key = int(np.argmin(good))
        raise InputError(f"the value is not a finite number ({values[key]})", place=_place(frames, key))
    known = shapes.view(np.uint8) <= Shape.BEZIER
    if not known.all():
        key = int(np.argmin(known))
        raise InputError(f"no shape has the code {shapes[key]}; they run from 0 to 5", place=_place(frames, key))


def check_given(frames: Floats, shapes: npt.NDArray[np.int8], slope_in: Floats, slope_out: Floats) -> None:
    """Raise unless both slopes of every GIVEN key are finite."""
    finite = np.isfinite(slope_in) & np.isfinite(slope_out)
    if finite.all():
        return
    bad = (shapes == Shape.GIVEN) & ~finite
    if bad.any():
        key = int(np.argmax(bad))
        told = f"a key with given slopes needs two finite ones, got {slope_in[key]} in and {slope_out[key]} out"
        raise InputError(told, place=_place(frames, key))


def check_handles(frames: Floats, shapes: npt.NDArray[np.int8], handles: Floats | None) -> None:
    """Raise unless the handles of every BEZIER key are there, finite, forward and within their segments."""
    is_bezier = shapes == Shape.BEZIER
    if handles is None:
        raise InputError("a bezier key needs handles", place=_place(frames, int(np.argmax(is_bezier))))
    finite = np.asarray(np.isfinite(handles).all(axis=1))
    gap = np.diff(frames)
    backward_in, backward_out = handles[:, 0] > 0.0, handles[:, 2] < 0.0
    far_in, far_out = np.zeros_like(is_bezier), np.zeros_like(is_bezier)
    far_in[1:] = (-handles[1:, 0] > gap) & (shapes[:-1] != Shape.STEP)
    far_out[:-1] = handles[:-1, 2] > gap
    bad = is_bezier & ~(finite & ~backward_in & ~backward_out & ~far_in & ~far_out)
    if not bad.any():
        return
    key = int(np.argmax(bad))
    place = _place(frames, key)
    if not finite[key]:
        raise InputError(f"the handles are not finite numbers ({handles[key].tolist()})", place=place)
    if backward_in[key] or backward_out[key]:
        side, run = ("in", handles[key, 0]) if backward_in[key] else ("out", handles[key, 2])
        raise InputError(f"the {side} handle runs backwards in time ({run:g} frames)", place=place)
    side, reach, room = ("in", -handles[key, 0], gap[key - 1]) if far_in[key] else ("out", handles[key, 2], gap[key])
    told = f"the {side} handle reaches {reach:g} frames, past the neighbouring key {room:g} frames away"
    raise InputError(told, place=place)


def _place(frames: Floats, key: int) -> str:
    """Return how a message names a key, from its index."""
    return f"key {key + 1} at frame {frames[key]:g}"
