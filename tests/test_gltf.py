"""glTF read: what is lawful though rare, what is wrong told in a sentence, and huge numbers refused at once."""

from __future__ import annotations

import base64
import codecs
import json
import struct
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surefoot import FileError, demo
from surefoot.formats.carry import node_tracks
from surefoot.formats.gltf_read import BINARY_CHUNK, JSON_CHUNK, MOST_BYTES, parse_gltf, read_gltf
from surefoot.formats.gltf_write import gltf_bytes

Table = dict[str, Any]
CLIP, RIG = demo("lamplighter")
PLAIN = gltf_bytes(node_tracks(CLIP, RIG), CLIP.rate, binary=False)
BINARY = gltf_bytes(node_tracks(CLIP, RIG), CLIP.rate)
HUGE = (2**31 - 1, 2**31, 2**32 - 1, 2**32, 2**53, 2**63 - 1, 2**63, 2**64, 10**30)
QUICK, SMALL = 0.5, 20e6
"""Seconds and bytes that a refusal of a small file may take."""


def changed(act: Callable[[Table], object]) -> bytes:
    """Return the lamplighter's glTF with its table changed."""
    table = json.loads(PLAIN)
    act(table)
    return json.dumps(table).encode()


def small(times: list[float], values: list[list[float]], *, path: str = "translation", how: str = "LINEAR") -> Table:
    """Return a file of one node, moved at ``times`` by single floats."""
    data = np.array(times, "<f4").tobytes() + np.array(values, "<f4").tobytes()
    uri = "data:;base64," + base64.b64encode(data).decode()
    width = {3: "VEC3", 4: "VEC4"}[len(values[0])]
    return {
        "asset": {"version": "2.0"},
        "nodes": [{"name": "one"}],
        "buffers": [{"byteLength": len(data), "uri": uri}],
        "bufferViews": [
            {"buffer": 0, "byteLength": 4 * len(times)},
            {"buffer": 0, "byteOffset": 4 * len(times), "byteLength": len(data) - 4 * len(times)},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(times), "type": "SCALAR"},
            {"bufferView": 1, "componentType": 5126, "count": len(values), "type": width},
        ],
        "animations": [
            {
                "channels": [{"sampler": 0, "target": {"node": 0, "path": path}}],
                "samplers": [{"input": 0, "output": 1, "interpolation": how}],
            }
        ],
    }  # fmt: skip


def read(table: Table, **options: Any) -> Any:
    return parse_gltf(json.dumps(table).encode(), **options)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "walk.gltf"
    path.write_bytes(codecs.BOM_UTF8 + PLAIN)
    np.testing.assert_array_equal(read_gltf(path).world, parse_gltf(PLAIN).world)


def test_a_buffer_in_a_file_beside_it_is_read(tmp_path: Path) -> None:
    table = small([0.0, 0.5, 1.0], [[0, 0, 0], [1, 0, 0], [1, 2, 0]])
    whole = read(table)
    uri = table["buffers"][0]["uri"]
    (tmp_path / "a walk.bin").write_bytes(base64.b64decode(uri.partition(",")[2]))
    table["buffers"][0]["uri"] = "a%20walk.bin"
    (tmp_path / "walk.gltf").write_text(json.dumps(table))
    np.testing.assert_array_equal(read_gltf(tmp_path / "walk.gltf").world, whole.world)


@pytest.mark.parametrize("how", ["LINEAR", "STEP", "CUBICSPLINE"])
def test_frames_far_along_a_long_segment_are_not_taken_for_its_ends(how: str) -> None:
    # Source: glTF 2.0, appendix C: the closed forms of a segment of 100 s between 0 and 100, at 24 frames a second
    ends = [[0.0, 0, 0], [100.0, 0, 0]]
    still = [0.0, 0, 0]
    values = [still, ends[0], still, still, ends[1], still] if how == "CUBICSPLINE" else ends
    x = read(small([0.0, 100.0], values, how=how), rate=24).world[0, :, 0, 3]
    t = np.arange(2401) / 2400
    wanted = {"LINEAR": 100 * t, "STEP": 100.0 * (t == 1.0), "CUBICSPLINE": 100 * (3 * t**2 - 2 * t**3)}[how]
    np.testing.assert_allclose(x, wanted, atol=1e-9)


def test_a_stepped_node_stands_until_its_next_key_and_a_fixed_matrix_stays() -> None:
    table = small([0.0, 0.5, 1.0], [[0, 0, 0], [1, 0, 0], [1, 2, 0]], how="STEP")
    fixed = np.eye(4)
    fixed[:3, 3] = 3.0, 4.0, 5.0
    table["nodes"].append({"matrix": fixed.T.ravel().tolist(), "children": [0]})
    table["animations"][0]["channels"].append({"sampler": 0, "target": {"path": "translation"}})  # it names no node
    motion = read(table, rate=4)
    assert motion.names == ("one", "node 1")
    np.testing.assert_allclose(
        motion.world[0, :, :3, 3] - fixed[:3, 3], [[0, 0, 0]] * 2 + [[1, 0, 0]] * 2 + [[1, 2, 0]]
    )
    np.testing.assert_array_equal(motion.world[1], [fixed] * 5)
    assert not motion.linear


def one_node(nodes: list[Table] | None = None, **options: Any) -> bytes:
    table = small(**{"times": [0.0, 1.0], "values": [[0, 0, 0], [1, 0, 0]]} | options)
    return json.dumps(table | ({} if nodes is None else {"nodes": nodes})).encode()


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (changed(lambda t: t["accessors"][3].update(sparse={})), r"accessors\[3\]: sparse or empty accessors"),
        (changed(lambda t: t["accessors"][3].pop("bufferView")), r"accessors\[3\]: sparse or empty accessors"),
        (changed(lambda t: t["accessors"][3].update(count=True)), "True is no count"),
        (changed(lambda t: t["accessors"][3].update(count=10**6)), "reaches beyond its buffer"),
        (changed(lambda t: t["asset"].update(version="1.0")), "wanted version 2"),
        (changed(lambda t: t.update(animations=[])), "nothing is animated"),
        (changed(lambda t: t.update(nodes=[{}] * 10_001)), "more than 10000 nodes"),
        (changed(lambda t: [c["target"].update(path="weights") for c in t["animations"][0]["channels"]]), "no node is"),
        (changed(lambda t: t["animations"][0]["samplers"][0].update(interpolation="CURVE")), "interpolation is called"),
        (changed(lambda t: t["animations"][0]["samplers"][1].update(input=4)), "isn't built as|aren't as many"),
        (changed(lambda t: t["buffers"][0].update(uri="data:,*")), "base64 is damaged"),
        (changed(lambda t: t["buffers"][0].pop("uri")), "a buffer has no data"),
        (changed(lambda t: t.update(nodes=t["nodes"] + [{"children": [0]}, {"children": [0]}])), "has two parents"),
        (changed(lambda t: t["nodes"][0].update(children=[0])), "each other's parents|two parents"),
        (one_node([{"children": [1]}, {"children": [0]}]), "each other's parents"),
        (one_node(times=[0.5], values=[[0, 0, 0]]), "one key only; state the rate"),
        (one_node(times=[1.0, 0.5]), "times don't rise"),
        (one_node(values=[[0, 0, 0, 0]] * 2, path="rotation"), "a rotation of no length"),
        (b"glTF", "cut short, or another version"),
        (b"[" * 100_000, "nested too deeply|not JSON"),
        (BINARY[:-4], "cut short: .* bytes are there"),
        (struct.pack("<4sIIII", b"glTF", 2, 20, 0, BINARY_CHUNK), "no chunk of JSON"),
        (struct.pack("<4sIIII", b"glTF", 2, 20, 4, JSON_CHUNK), "a chunk reaches beyond the file's end"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(data: bytes, match: str) -> None:
    with pytest.raises(FileError, match=match):
        parse_gltf(data)


@pytest.mark.parametrize(
    ("table", "rate", "match"),
    [
        (small([0.0, 1e5], [[0, 0, 0]] * 2), 24, "2400001 frames are more"),
        (small([0.0, 3e38], [[0, 0, 0]] * 2), 24, r"7\.\d*e\+39 frames are more"),
        (small([0.0, 4e4], [[0, 0, 0]] * 2) | {"nodes": [{} for _ in range(30)]}, 24, "30 nodes over 960001 frames"),
    ],
)
def test_more_frames_than_are_taken_are_refused_before_they_are_made(table: Table, rate: float, match: str) -> None:
    quickly_refused(json.dumps(table).encode(), match, rate=rate)


def test_a_file_that_is_not_there_or_too_long_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="can't be read: No such file"):
        read_gltf(tmp_path / "none.glb")
    with pytest.raises(FileError, match="can't be read"):
        read_gltf("a\0b.glb")
    long = tmp_path / "long.glb"
    with long.open("wb") as file:  # a hole: it takes no room on the disk
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(FileError, match="1073741825 bytes are more than is taken"):
        read_gltf(long)
    table = small([0.0, 1.0], [[0, 0, 0]] * 2)
    table["buffers"][0]["uri"] = "long.glb"
    for name, why in (("long.glb", "more than is taken"), ("none.bin", "No such file")):
        table["buffers"][0]["uri"] = name
        (tmp_path / "walk.gltf").write_text(json.dumps(table))
        with pytest.raises(FileError, match=rf"its buffer '{name}' isn't had \(.*{why}"):
            read_gltf(tmp_path / "walk.gltf")


def quickly_refused(data: bytes, match: str = ".", **options: Any) -> None:
    """Check that a file is refused in a sentence, quickly, and in little memory."""
    tracemalloc.start()
    began = time.process_time()
    try:
        with pytest.raises(FileError, match=match) as caught:
            parse_gltf(data, **options)
        took, most = time.process_time() - began, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(str(caught.value)) < 300
    assert took < QUICK
    assert most < SMALL


@pytest.mark.parametrize("value", HUGE)
@pytest.mark.parametrize(
    ("part", "field"),
    [
        ("accessors", "count"), ("accessors", "byteOffset"), ("accessors", "bufferView"), ("bufferViews", "byteLength"),
        ("bufferViews", "byteOffset"), ("bufferViews", "byteStride"), ("bufferViews", "buffer"), ("samplers", "input"),
        ("samplers", "output"), ("channels", "sampler"), ("nodes", "children"),
    ],
)  # fmt: skip
def test_a_huge_number_in_a_table_is_refused_at_once_or_does_no_harm(part: str, field: str, value: int) -> None:
    for row in (0, -1):
        table = json.loads(PLAIN)
        table["animations"][0]["channels"][row]["target"]["node"] = 0
        held = table["animations"][0] if part in ("samplers", "channels") else table
        held[part][row][field] = [value] if field == "children" else value
        data = json.dumps(table).encode()
        if field == "byteLength":  # a view may say that it's longer than its buffer: what is read of it is there
            parse_gltf(data)
        else:
            quickly_refused(data)


@pytest.mark.parametrize("value", [2**31 - 1, 2**31, 2**32 - 4, 2**32 - 1])
@pytest.mark.parametrize("at", [8, 12])
def test_a_huge_length_in_a_binary_header_is_refused_at_once(at: int, value: int) -> None:
    data = bytearray(BINARY)
    struct.pack_into("<I", data, at, value)
    quickly_refused(bytes(data), "cut short" if at == 8 else "beyond the file's end")


@pytest.mark.parametrize("seed", range(4))
def test_huge_numbers_anywhere_in_a_file_are_told_in_a_sentence_or_do_no_harm(seed: int) -> None:
    """Each whole number of the table in turn is made huge; those that no one reads change nothing."""
    rng = np.random.default_rng(seed)
    good = parse_gltf(PLAIN)
    for _ in range(60):
        table = json.loads(PLAIN)
        places = list(whole_numbers(table))
        held, key = places[int(rng.integers(len(places)))]
        held[key] = HUGE[int(rng.integers(len(HUGE)))] * int(rng.choice([1, -1]))
        data = json.dumps(table).encode()
        try:
            motion = parse_gltf(data)
        except FileError:
            quickly_refused(data)
        else:
            np.testing.assert_array_equal(motion.world, good.world)


def whole_numbers(held: Any) -> Any:
    """Yield each place in a table where a whole number stands."""
    for key, value in held.items() if isinstance(held, dict) else enumerate(held):
        if isinstance(value, dict | list):
            yield from whole_numbers(value)
        elif isinstance(value, int) and not isinstance(value, bool):
            yield held, key
