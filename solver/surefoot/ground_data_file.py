"""Read a height grid's numbers: an array file (.npy) or a table of comma-separated values (.csv)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError, InputError
from surefoot.ground_grid import MOST_NODES

__all__ = ["read_heights"]

Array = NDArray[np.float64]


def read_heights(path: Path) -> Array:
    """Return a grid's heights in the file's own unit, ``(rows, columns)``; NaN or an empty field is a hole.

    Raises FileError if the file can't be read, InputError if it holds no such table. What an array file's
    header says is read first, so a huge one is refused before it's loaded.
    """
    place = str(path)
    try:
        if path.suffix.lower() == ".npy":
            return _array(path, place)
        if path.suffix.lower() == ".csv":
            return _table(path, place)
    except FileNotFoundError:
        raise FileError("expected a grid's heights, but there is no such file", place=place) from None
    except OSError as error:
        raise FileError(f"expected a grid's heights, but it can't be read ({error.strerror})", place=place) from None
    raise FileError("expected a .npy or a .csv file", place=place)


def _array(path: Path, place: str) -> Array:
    with path.open("rb") as file:
        try:
            version = np.lib.format.read_magic(file)
            read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
            shape, _, kind = read(file)
            head = file.tell()
        except ValueError as error:
            raise FileError(f"expected an array file ({error})", place=place) from None
    if kind.kind not in "fiu":
        raise InputError(f"expected numbers, got an array of {kind}", place=place)
    if len(shape) != 2 or any(isinstance(count, bool) or count < 0 for count in shape):
        raise InputError(f"expected rows of heights, got an array of shape {shape}", place=place)
    nodes = int(shape[0]) * int(shape[1])
    if nodes > MOST_NODES:
        raise InputError(f"expected at most {MOST_NODES} nodes, its header says {nodes}", place=place)
    if path.stat().st_size < head + nodes * kind.itemsize:
        raise FileError(f"its header says {nodes} nodes, but it ends before", place=place)
    return np.asarray(np.load(path, allow_pickle=False), dtype=np.float64)


def _table(path: Path, place: str) -> Array:
    rows: list[list[float]] = []
    with path.open(encoding="utf-8-sig") as file:
        try:
            for at, line in enumerate(file, start=1):
                if not line.strip():
                    continue
                fields = line.strip().split(",")
                rows.append([float(part) if part.strip() else np.nan for part in fields])
                if len(rows[-1]) != len(rows[0]):
                    wanted, came = len(rows[0]), len(rows[-1])
                    raise InputError(
                        f"expected {wanted} heights as in the first row, got {came}", place=f"{place}: line {at}"
                    )
                if len(rows) * len(rows[0]) > MOST_NODES:
                    raise InputError(f"expected at most {MOST_NODES} nodes", place=place)
        except UnicodeDecodeError:
            raise FileError("expected UTF-8 text", place=place) from None
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            raise InputError(
                f"expected numbers parted by commas, got {line.strip()!r:.40}", place=f"{place}: line {at}"
            ) from None
    return np.array(rows, dtype=np.float64).reshape(len(rows), -1 if rows else 0)
