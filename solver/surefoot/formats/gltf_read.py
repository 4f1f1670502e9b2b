"""glTF 2.0 read: the nodes of a file and one animation of them, as ``.glb`` or ``.gltf``.

Skins, meshes and materials are passed over. Source: Khronos Group, glTF 2.0 Specification, sections 3.5, 3.6, 3.11
and appendix C (interpolation).
"""

from __future__ import annotations

import base64
import binascii
import codecs
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError
from surefoot.file_faults import read_bytes
from surefoot.formats.motion import Motion, near_rate
from surefoot.units import read_rate

__all__ = ["BINARY_CHUNK", "JSON_CHUNK", "parse_gltf", "read_gltf"]

Array = NDArray[np.float64]
WANTED = "glTF 2.0"
MOST_NODES, MOST_SAMPLES, MOST_BYTES = 10_000, 1_000_000, 1 << 30
JSON_CHUNK, BINARY_CHUNK = 0x4E4F534A, 0x004E4942
"""The kinds of chunks of a ``.glb``."""
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
TYPES = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
PATHS = {"translation": 3, "rotation": 4, "scale": 3}
REST = {"translation": [0.0, 0.0, 0.0], "rotation": [0.0, 0.0, 0.0, 1.0], "scale": [1.0, 1.0, 1.0]}


def read_gltf(path: str | Path, *, rate: float | str | None = None) -> Motion:
    """Return the animated nodes of a glTF file, sampled at ``rate`` (left out, at the animation's own step).

    Raises FileError with the place in the file and what is wrong there.
    """
    data = read_bytes(path, most=MOST_BYTES)
    return parse_gltf(data, place=str(path), folder=Path(path).parent, rate=rate)


def parse_gltf(
    data: bytes, *, place: str = "gltf", folder: Path | None = None, rate: float | str | None = None
) -> Motion:
    """Return the animated nodes in ``data``; buffers in files of their own are looked for in ``folder``."""
    try:
        return _parse(data, place, folder, rate)
    except FileError:
        raise
    except RecursionError:
        raise FileError(f"nested too deeply; wanted {WANTED}", place=place) from None
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, OverflowError) as error:
        # every field that is missing or of another kind ends here; the file is at fault, and is told so
        told = f"{type(error).__name__} {' '.join(str(error).split())[:80]}"
        raise FileError(f"isn't built as the format has it ({told}); wanted {WANTED}", place=place) from None


@dataclass(slots=True)
class _Book:
    table: dict[str, Any]
    buffers: list[bytes]
    place: str

    def accessor(self, index: Any) -> Array:
        """Return an accessor's numbers, ``(count, width)``; normalised whole numbers as fractions."""
        told = _at(self.table["accessors"], index)
        if "sparse" in told or "bufferView" not in told:
            raise FileError("sparse or empty accessors aren't read", place=f"{self.place}: accessors[{index}]")
        view = _at(self.table["bufferViews"], told["bufferView"])
        buffer = _at(self.buffers, view["buffer"])
        kind, width, count = np.dtype(TYPES[told["componentType"]]), WIDTHS[told["type"]], told["count"]
        start = _whole(view.get("byteOffset", 0)) + _whole(told.get("byteOffset", 0))
        stride = _whole(view.get("byteStride", 0)) or kind.itemsize * width
        end = _whole(view.get("byteOffset", 0)) + _whole(view["byteLength"])
        needed = start + stride * (_whole(count) - 1) + kind.itemsize * width
        if count < 1 or needed > min(end, len(buffer)) or count > 3 * MOST_SAMPLES:
            raise FileError("it reaches beyond its buffer", place=f"{self.place}: accessors[{index}]")
        raw = np.ndarray((count, width), kind, buffer, start, (stride, kind.itemsize))
        with np.errstate(invalid="ignore"):  # a signalling NaN, which is told below
            values = raw.astype(np.float64)
        if told.get("normalized") and kind.kind in "iu":
            values = np.maximum(values / np.iinfo(kind).max, -1.0)
        if not np.isfinite(values).all():
            raise FileError("it holds a number that isn't finite", place=f"{self.place}: accessors[{index}]")
        return values


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{value!r} is no count")
    return value


def _at(items: Any, index: Any) -> Any:
    if not isinstance(items, list):
        raise TypeError("a list is missing")
    if _whole(index) >= len(items):
        raise IndexError(f"{index} of {len(items)}")
    return items[index]


def _parse(data: bytes, place: str, folder: Path | None, rate: float | str | None) -> Motion:
    text, binary = _chunks(data, place)
    try:
        table = msgspec.json.decode(
            text.removeprefix(codecs.BOM_UTF8)
        )  # none should be there, but it may be passed over
    except (msgspec.DecodeError, UnicodeDecodeError):
        raise FileError(f"not JSON; wanted {WANTED}", place=place) from None
    if not isinstance(table, dict) or not str(table["asset"]["version"]).startswith("2."):
        raise FileError(f"wanted version 2 in its asset; wanted {WANTED}", place=place)
    if not table.get("animations"):
        raise FileError("nothing is animated in it", place=place)
    buffers = [_buffer(buffer, binary, folder, place) for buffer in table.get("buffers", [])]
    book = _Book(table, buffers, place)
    nodes, animation = table["nodes"], _at(table["animations"], 0)
    if len(nodes) > MOST_NODES:
        raise FileError(f"more than {MOST_NODES} nodes", place=place)
    tracks: dict[tuple[int, str], tuple[Array, Array, str]] = {}
    for channel in animation["channels"]:
        node, path = channel["target"].get("node"), channel["target"]["path"]
        if node is None or path not in PATHS:
            continue
        _at(nodes, node)
        sampler = _at(animation["samplers"], channel["sampler"])
        tracks[node, path] = _track(book, sampler, PATHS[path])
    if not tracks:
        raise FileError("no node is moved or turned in it", place=place)
    exact, times = _clock([track[0] for track in tracks.values()], rate, place)
    linear = all(how == "LINEAR" for _, _, how in tracks.values())
    if len(nodes) * len(times) * 16 > Motion.MOST:
        raise FileError(f"{len(nodes)} nodes over {len(times)} frames are more than is taken", place=place)
    return Motion(_names(nodes), _posed(nodes, tracks, times, place), exact, unit=1.0, up="y", linear=linear)


def _chunks(data: bytes, place: str) -> tuple[bytes, bytes | None]:
    if data[:4] != b"glTF":
        return data, None
    if len(data) < 20 or struct.unpack_from("<I", data, 4)[0] != 2:
        raise FileError(f"cut short, or another version; wanted {WANTED}", place=place)
    whole = struct.unpack_from("<I", data, 8)[0]
    if whole > len(data):
        raise FileError(f"cut short: {len(data)} of {whole} bytes are there", place=place)
    chunks: dict[int, bytes] = {}
    at = 12
    while at + 8 <= whole:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > whole:
            raise FileError("a chunk reaches beyond the file's end", place=place)
        chunks.setdefault(kind, data[at + 8 : at + 8 + size])
        at += 8 + size
    if JSON_CHUNK not in chunks:
        raise FileError(f"it has no chunk of JSON; wanted {WANTED}", place=place)
    return chunks[JSON_CHUNK], chunks.get(BINARY_CHUNK)


def _buffer(told: dict[str, Any], binary: bytes | None, folder: Path | None, place: str) -> bytes:
    uri = told.get("uri")
    if uri is None:
        if binary is None:
            raise FileError("a buffer has no data", place=place)
        return binary
    if uri.startswith("data:"):
        try:
            return base64.b64decode(uri.partition(",")[2], validate=True)
        except binascii.Error:
            raise FileError("a buffer's base64 is damaged", place=place) from None
    name = unquote(uri)
    if folder is None or "://" in name or Path(name).is_absolute() or ".." in Path(name).parts:
        raise FileError(f"the buffer {name[:60]!r} isn't beside it; only files beside it are read", place=place)
    try:
        return read_bytes(folder / name, most=MOST_BYTES)
    except FileError as error:
        raise FileError(f"its buffer {name[:60]!r} isn't had ({error.reason})", place=place) from None


def _track(book: _Book, sampler: dict[str, Any], width: int) -> tuple[Array, Array, str]:
    times = book.accessor(sampler["input"])[:, 0]
    values = book.accessor(sampler["output"])
    how = sampler.get("interpolation", "LINEAR")
    if how not in ("LINEAR", "STEP", "CUBICSPLINE"):
        raise ValueError(f"no interpolation is called {how!r}")
    count = len(times) * (3 if how == "CUBICSPLINE" else 1)
    if values.shape != (count, width) or (np.diff(times) <= 0.0).any() or times[0] < 0.0:
        raise FileError("times don't rise, or there aren't as many values as times", place=f"{book.place}: animations")
    return times, values.reshape(len(times), -1, width), how


def _clock(inputs: list[Array], rate: float | str | None, place: str) -> tuple[Any, Array]:
    start, end = min(float(t[0]) for t in inputs), max(float(t[-1]) for t in inputs)
    densest = max(inputs, key=len)
    if rate is not None:
        exact = read_rate(rate, place=f"{place}: rate")
    elif len(densest) < 2:
        raise FileError("it has one key only; state the rate in a mapping", place=place)
    else:
        exact = near_rate((float(densest[-1]) - float(densest[0])) / (len(densest) - 1), place=f"{place}: times")
    count = int(np.floor((end - start) * float(exact) + 0.01)) + 1
    if count > MOST_SAMPLES:
        raise FileError(f"{count:.7g} frames are more than is taken", place=place)
    return exact, start + np.arange(count) / float(exact)


def _sampled(track: tuple[Array, Array, str], at: Array, *, turns: bool) -> Array:
    """Return a sampler's values at instants ``at``, ``(samples, width)``: appendix C of the specification."""
    times, values, how = track
    k = np.clip(np.searchsorted(times, at + 1e-7, side="right") - 1, 0, max(len(times) - 2, 0))
    nxt = np.minimum(k + 1, len(times) - 1)
    span = np.where(nxt > k, times[nxt] - times[k], 1.0)
    t = np.clip((at - times[k]) / span, 0.0, 1.0)[:, None]
    t = np.where(nxt[:, None] > k[:, None], t, 0.0)
    # single floats of time: what is within a thousandth of a frame, or of a shorter segment, of a key is at the key
    frame = at[1] - at[0] if len(at) > 1 else np.inf
    near = 1e-3 * np.minimum(1.0, frame / span)[:, None]
    t = np.where(t < near, 0.0, np.where(t > 1.0 - near, 1.0, t))
    if how == "CUBICSPLINE":
        p, m, q, n = values[k, 1], values[k, 2] * span[:, None], values[nxt, 1], values[nxt, 0] * span[:, None]
        found = (
            (2 * t**3 - 3 * t**2 + 1) * p + (t**3 - 2 * t**2 + t) * m + (3 * t**2 - 2 * t**3) * q + (t**3 - t**2) * n
        )
    elif how == "STEP":
        found = np.where(t >= 1.0, values[nxt, 0], values[k, 0])
    else:
        p, q = values[k, 0], values[nxt, 0]
        found = _slerp(p, q, t) if turns else p + t * (q - p)
    if turns:
        size = np.linalg.norm(found, axis=1, keepdims=True)
        if (size < 1e-6).any():
            raise ValueError("a rotation of no length")
        found = found / size
    return np.asarray(found)


def _slerp(p: Array, q: Array, t: Array) -> Array:
    dot = (p * q).sum(axis=1, keepdims=True)
    q, dot = np.where(dot < 0.0, -q, q), np.minimum(np.abs(dot), 1.0)
    angle = np.arccos(dot)
    near = angle < 1e-4
    sine = np.where(near, 1.0, np.sin(angle))
    one, two = (np.where(near, s, np.sin(s * angle) / sine) for s in (1.0 - t, t))
    return np.asarray(one * p + two * q)


def _names(nodes: list[dict[str, Any]]) -> tuple[str, ...]:
    names: list[str] = []
    seen: set[str] = set()
    for k, node in enumerate(nodes):
        name = str(node.get("name") or f"node {k}")
        names.append(f"{name}#{k}" if name in seen else name)
        seen.add(names[-1])
    return tuple(names)


def _posed(nodes: list[dict[str, Any]], tracks: dict[Any, Any], times: Array, place: str) -> Array:
    parent = [-1] * len(nodes)
    for k, node in enumerate(nodes):
        for child in node.get("children", []):
            _at(nodes, child)
            if parent[child] >= 0:
                raise FileError(f"node {child} has two parents", place=place)
            parent[child] = k
    world = np.empty((len(nodes), len(times), 4, 4))
    done = [False] * len(nodes)
    for k in range(len(nodes)):
        chain = [k]
        while not done[chain[-1]] and parent[chain[-1]] >= 0 and not done[parent[chain[-1]]]:
            chain.append(parent[chain[-1]])
            if len(chain) > len(nodes):
                raise FileError("nodes are each other's parents", place=place)
        for one in reversed(chain):
            if not done[one]:
                local = _local(nodes[one], one, tracks, times)
                world[one] = local if parent[one] < 0 else world[parent[one]] @ local
                done[one] = True
    return world


def _local(node: dict[str, Any], row: int, tracks: dict[Any, Any], times: Array) -> Array:
    if "matrix" in node:
        fixed = np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
        return np.broadcast_to(fixed, (len(times), 4, 4))
    parts = {}
    for path, width in PATHS.items():
        if (row, path) in tracks:
            parts[path] = _sampled(tracks[row, path], times, turns=path == "rotation")
        else:
            rest = np.array(node.get(path, REST[path]), dtype=np.float64).reshape(1, width)
            parts[path] = np.broadcast_to(rest, (len(times), width))
    x, y, z, w = (parts["rotation"] / np.linalg.norm(parts["rotation"], axis=1, keepdims=True)).T
    local = np.zeros((len(times), 4, 4))
    local[:, 0, :3] = np.stack([1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)], axis=1)
    local[:, 1, :3] = np.stack([2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)], axis=1)
    local[:, 2, :3] = np.stack([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)], axis=1)
    local[:, :3, :3] *= parts["scale"][:, None, :]
    local[:, :3, 3] = parts["translation"]
    local[:, 3, 3] = 1.0
    return local
