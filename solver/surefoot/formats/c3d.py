"""C3D read, through ezc3d: named points of a motion capture, a gap being not a number."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any, Literal

import numpy as np

from surefoot.errors import FileError, InputError
from surefoot.formats.form import Format
from surefoot.formats.looking import look_first
from surefoot.formats.motion import Motion, near_rate
from surefoot.units import LENGTHS

__all__ = ["FORMAT", "hold_c3d", "read_c3d"]

WANTED = "a capture in C3D"
MOST_BYTES = 1 << 30
BIG_ENDIAN = bytes([86])
"""The fourth byte of the parameters where whole numbers begin with their highest byte; 84 and 85 otherwise."""


def read_c3d(path: str | Path) -> Motion:
    """Return the points of a C3D file as a motion without turns; gaps are NaN.

    Raises FileError when it can't be read or isn't C3D, InputError without the library.
    """
    _look(path)
    look_first(path)
    held = hold_c3d(path)
    try:
        point = held["parameters"]["POINT"]
        values = np.asarray(held["data"]["points"], dtype=np.float64)  # (4, points, samples)
        labels = _labels(point)[: values.shape[1]]
        rate = float(point["RATE"]["value"][0])
        units = (point.get("UNITS") or {"value": []})["value"]
        stated = str(units[0]).strip() if len(units) else ""
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise FileError(f"its points aren't told as C3D has it ({error}); wanted {WANTED}", place=str(path)) from None
    there, wanted = values.shape[-1], _stated_frames(path)
    if there < wanted:
        raise FileError(f"cut short: {there} of {wanted} frames are there", place=str(path))
    count = min(values.shape[1] if values.ndim == 3 else 0, len(labels))
    if count == 0 or values.shape[2] == 0:
        raise FileError("no labelled points in it", place=str(path))
    if count * values.shape[2] * 16 > Motion.MOST:
        raise FileError(f"{count} points over {values.shape[2]} frames are more than is taken", place=str(path))
    names: list[str] = []
    for k, label in enumerate(labels[:count]):
        name = label or f"point {k + 1}"
        names.append(name if name not in names else f"{name}#{k + 1}")
    world = np.zeros((count, values.shape[2], 4, 4))
    world[..., range(4), range(4)] = 1.0
    world[..., :3, 3] = np.moveaxis(values[:3, :count], 0, -1)
    # the fourth row holds the residual: negative where a point was not seen
    residuals = held["data"].get("meta_points", {}).get("residuals")
    if residuals is not None and np.shape(residuals)[-2:] == values.shape[1:]:
        world[np.asarray(residuals)[0, :count] < 0.0, :3, 3] = np.nan
    try:
        # a single float, or a broadcast rate to two places
        exact = near_rate(1.0 / rate if rate else np.inf, place="POINT:RATE")
    except InputError as error:
        raise error.within(str(path)) from None
    return Motion(tuple(names), world, exact, LENGTHS.get(stated.lower(), 0.0), "", turns=False)


def _labels(point: Any) -> list[str]:
    """Return the points' names: a parameter holds 255 at most, further ones stand in LABELS2, LABELS3 and so on.

    Source: C3D.org, The C3D File Format User Guide, POINT:LABELS and the storing of more than 255 points (from memory).
    """
    labels = list(point["LABELS"]["value"])
    number = 2
    while (more := point.get(f"LABELS{number}")) is not None:
        labels += more["value"]
        number += 1
    return [str(label).strip() for label in labels]


def _stated_frames(path: str | Path) -> int:
    """Return the frames that the header states in its words 4 and 5; 0 where they can't hold the number."""
    with open(path, "rb") as file:
        head = file.read(10)
        file.seek(512 * (head[0] - 1) + 3)
        order: Literal["little", "big"] = "big" if file.read(1) == BIG_ENDIAN else "little"
    first, last = (int.from_bytes(head[at : at + 2], order) for at in (6, 8))
    return last - first + 1 if first <= last < 0xFFFF else 0


def _look(path: str | Path) -> None:
    """Raise unless the first block is a C3D header whose parts lie inside the file."""
    try:
        with open(path, "rb") as file:
            head = file.read(512)
            size = file.seek(0, 2)
    except (OSError, ValueError) as error:
        told = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise FileError(f"can't be read: {told}", place=str(path)) from None
    if len(head) < 512 or head[1] != 0x50 or size > MOST_BYTES:
        raise FileError(f"it doesn't begin as C3D does; wanted {WANTED}", place=str(path))
    if not 2 <= head[0] <= size // 512:
        raise FileError("its parameters lie outside the file", place=str(path))


def hold_c3d(path: str | Path) -> Any:
    """Return what ezc3d makes of a file; FileError where it can't, InputError where it isn't installed."""
    try:
        ezc3d = importlib.import_module("ezc3d")
    except ImportError:
        raise InputError("C3D needs the library ezc3d: pip install 'surefoot[c3d]'", place=str(path)) from None
    try:
        return ezc3d.c3d(str(path))
    except Exception as error:
        told = " ".join(str(error).split())[:100] or type(error).__name__
        raise FileError(f"ezc3d can't read it: {told}; wanted {WANTED}", place=str(path)) from None


FORMAT = Format("C3D", (".c3d",), "markers", "single floats", "c3d", read_motion=lambda file: read_c3d(file.path))
