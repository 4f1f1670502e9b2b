"""glTF 2.0 written: nodes without skin, animated with CUBICSPLINE or LINEAR, as ``.glb`` or ``.gltf``.

Precision: single floats, so about 1e-7 of a place and 1e-7 rad of a turn. Source: Khronos Group, glTF 2.0
Specification, sections 3.6, 3.11 and appendix C.
"""

from __future__ import annotations

import base64
import struct
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot._version import __version__
from surefoot.formats.carry import Track
from surefoot.formats.gltf_read import BINARY_CHUNK, JSON_CHUNK
from surefoot.rotations import matrix

__all__ = ["gltf_bytes"]

Array = NDArray[np.float64]
FLOAT = 5126
NUDGE = 1e-5


def gltf_bytes(
    tracks: Sequence[Track], rate: Fraction, *, name: str = "", binary: bool = True, spline: bool = True
) -> bytes:
    """Return the tracks as a glTF file, time 0 being the first sample.

    ``binary`` makes a ``.glb``, else a ``.gltf`` with its buffer inside. ``spline`` writes CUBICSPLINE with the
    tracks' own slopes, else LINEAR.
    """
    held, views, accessors = bytearray(), [], []

    def add(values: NDArray[Any], kind: str, **bounds: list[float]) -> int:
        data = np.ascontiguousarray(values, dtype="<f4").tobytes()
        views.append({"buffer": 0, "byteOffset": len(held), "byteLength": len(data)})
        held.extend(data)
        count = int(np.prod(np.shape(values)[:-1])) if kind != "SCALAR" else len(values)
        accessors.append({"bufferView": len(views) - 1, "componentType": FLOAT, "count": count, "type": kind, **bounds})
        return len(accessors) - 1

    step = float(1 / rate)
    times = (np.arange(len(tracks[0].place)) * step).astype("<f4")
    clock = add(times, "SCALAR", min=[float(times[0])], max=[float(times[-1])])
    nodes: list[dict[str, Any]] = [{"name": track.name} for track in tracks]
    samplers: list[dict[str, Any]] = []
    channels: list[dict[str, Any]] = []
    rows = {track.name: k for k, track in enumerate(tracks)}
    for k, track in enumerate(tracks):
        if track.parent:
            nodes[rows[track.parent]].setdefault("children", []).append(k)
        turns, turn_slopes = _quaternions(track)
        parts: list[tuple[str, str, Array, Array | None]] = [
            ("translation", "VEC3", track.place, track.place_slopes),
            ("rotation", "VEC4", turns, turn_slopes),
        ]
        if track.size is not None:
            parts.append(("scale", "VEC3", np.repeat(track.size[:, None], 3, axis=1), None))
        for path, kind, values, slopes in parts:
            nodes[k][path] = [float(v) for v in np.asarray(values[0], dtype=np.float32)]
            curved = spline and slopes is not None
            out = values
            if curved and slopes is not None:
                out = np.stack([slopes[0] / step, values, slopes[1] / step], axis=1)
            samplers.append(
                {"input": clock, "interpolation": "CUBICSPLINE" if curved else "LINEAR", "output": add(out, kind)}
            )
            channels.append({"sampler": len(samplers) - 1, "target": {"node": k, "path": path}})
    table = {
        "asset": {"version": "2.0", "generator": f"surefoot {__version__}"},
        "scene": 0,
        "scenes": [{"nodes": [k for k, track in enumerate(tracks) if not track.parent]}],
        "nodes": nodes,
        "animations": [{"name": name or "clip", "samplers": samplers, "channels": channels}],
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(held)}],
    }
    if not binary:
        table["buffers"] = [
            {
                "byteLength": len(held),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(held).decode(),
            }
        ]
        return msgspec.json.format(msgspec.json.encode(table), indent=1) + b"\n"
    text = msgspec.json.encode(table)
    text += b" " * (-len(text) % 4)
    body = bytes(held) + b"\0" * (-len(held) % 4)
    total = 12 + 8 + len(text) + 8 + len(body)
    return b"".join(
        [
            struct.pack("<4sII", b"glTF", 2, total),
            struct.pack("<II", len(text), JSON_CHUNK), text,
            struct.pack("<II", len(body), BINARY_CHUNK), body,
        ]
    )  # fmt: skip


def _quaternions(track: Track) -> tuple[Array, Array | None]:
    """Return quaternions x, y, z, w ``(samples, 4)`` without jumps, and their slopes per frame ``(2, samples, 4)``."""
    found = _quaternion(track.angles, track.order)
    flips = np.cumprod(np.where((found[1:] * found[:-1]).sum(axis=1) < 0.0, -1.0, 1.0))
    found[1:] *= flips[:, None]
    if track.angle_slopes is None:
        return found, None
    slopes = []
    for slope in track.angle_slopes:
        ends = [_quaternion(track.angles + way * NUDGE * slope, track.order) for way in (-1.0, 1.0)]
        for end in ends:  # on the side of the sphere where the value is
            end *= np.where((end * found).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
        slopes.append((ends[1] - ends[0]) / (2.0 * NUDGE))
    return found, np.stack(slopes)


def _quaternion(angles: Array, order: str) -> Array:
    """Return unit quaternions of pitch, yaw and roll: the largest of the four parts is found from the trace."""
    m = np.moveaxis(matrix(*angles.T, order=order), -1, 0)  # (samples, 3, 3)
    diagonal = np.einsum("fii->fi", m)
    four = np.column_stack([1.0 + 2.0 * diagonal - diagonal.sum(axis=1, keepdims=True), 1.0 + diagonal.sum(axis=1)])
    pick = four.argmax(axis=1)
    rest = np.empty((len(m), 4, 4))  # 4 times q q^T
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        rest[:, i, i] = four[:, i]
        rest[:, i, j] = rest[:, j, i] = m[:, i, j] + m[:, j, i]
        rest[:, i, 3] = rest[:, 3, i] = m[:, k, j] - m[:, j, k]
    rest[:, 3, 3] = four[:, 3]
    found: Array = rest[np.arange(len(m)), pick]
    return np.asarray(found / np.linalg.norm(found, axis=1, keepdims=True))
