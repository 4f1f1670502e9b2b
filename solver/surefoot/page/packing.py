"""Answers as bytes: a JSON head, then float32 numbers, so that a browser reads figures without parsing them.

Layout: the head's length (4 bytes, little-endian), the head (UTF-8 JSON, padded with spaces to a multiple of
4 bytes), then every array's numbers, row after row. The head's ``arrays`` tells each one's name, shape and where
it begins, counted in numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec
import numpy as np
from numpy.typing import ArrayLike

__all__ = ["packed", "unpacked"]


def packed(head: Mapping[str, Any], arrays: Mapping[str, ArrayLike]) -> bytes:
    """Return one answer as bytes; ``head`` may not have a field ``arrays``."""
    listed: list[dict[str, Any]] = []
    parts: list[bytes] = []
    at = 0
    for name, values in arrays.items():
        array = np.asarray(values, dtype="<f4", order="C")
        listed.append({"name": name, "shape": list(array.shape), "at": at})
        parts.append(array.tobytes())
        at += array.size
    text = msgspec.json.encode({**head, "arrays": listed})
    text += b" " * (-len(text) % 4)
    return b"".join([len(text).to_bytes(4, "little"), text, *parts])


def unpacked(data: bytes) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return head and arrays of an answer: what a browser does, for tests and scripts."""
    size = int.from_bytes(data[:4], "little")
    head = msgspec.json.decode(data[4 : 4 + size])
    numbers = np.frombuffer(data, dtype="<f4", offset=4 + size)
    found = {}
    for one in head.pop("arrays"):
        count = int(np.prod(one["shape"]))
        found[one["name"]] = numbers[one["at"] : one["at"] + count].reshape(one["shape"])
    return head, found
