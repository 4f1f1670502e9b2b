"""Damaged files: every reader answers with one clear error, in bounded time and memory, and never with anything else.

Files are damaged byte by byte, digit by digit and by cuts, from a fixed seed each, so that a fault can be seen again.
What the libraries for C3D and binary OpenUSD read is looked at by another process first, here by one that stands.
"""

from __future__ import annotations

import contextlib
import json
import resource
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import surefoot
from surefoot.errors import InputError
from surefoot.formats.bvh import parse_bvh
from surefoot.formats.gltf_read import parse_gltf
from surefoot.formats.looking import _STANDING, keep_lookout
from surefoot.formats.mapping import parse_mapping
from surefoot.formats.opening import clip_files, open_clip, open_motion
from surefoot.plain_toml import toml_text
from tests.captures import write_jump_bvh, write_treadmill_c3d

WORDS = (
    b"9" * 12,
    b"-",
    b"1e999",
    b"nan",
    b"\0" * 4,
    b"\xff" * 3,
    b'"',
    b"[",
    b"{",
    b"}",
    b",",
    b"\n",
    b"0",
    b"-1",
    b"1e9",
)
SECONDS = 5.0
"""Longest that one small file may take in this process."""
MEGABYTES = 500
"""By how much the process may grow over all of them."""
MOST_MEGABYTES = 1500
"""What a process that looks at a small file may hold."""
QUICK = {
    ".json": 60,
    ".csv": 60,
    ".bvh": 60,
    ".glb": 60,
    ".gltf": 60,
    ".toml": 60,
    ".usda": 25,
    ".usdc": 60,
    ".c3d": 60,
}


def damaged(data: bytes, seed: int) -> bytes:
    """Return the bytes with one to three faults in them."""
    rng = np.random.default_rng(seed)
    held = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        if not held:
            break
        at, count = int(rng.integers(len(held))), int(rng.integers(1, 16))
        digits = [k for k in range(at, min(at + 200, len(held))) if 48 <= held[k] <= 57]
        match int(rng.integers(8)):
            case 0:
                held[at] ^= 1 << int(rng.integers(8))
            case 1:
                held[at : at + count] = rng.integers(0, 256, count, dtype=np.uint8).tobytes()
            case 2:
                del held[at : at + count]
            case 3:
                start = int(rng.integers(len(held)))
                held[at:at] = bytes(held[start : start + count])
            case 4:
                del held[at:]
            case 5:
                held[at : at + 1] = WORDS[int(rng.integers(len(WORDS)))]
            case _ if digits:
                held[digits[0]] = 48 + int(rng.integers(10))
            case _:
                held[at] = int(rng.integers(256))
    return bytes(held)


@pytest.fixture(scope="module", name="seeds")
def seeds_fixture(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Return a good file in each format."""
    folder = tmp_path_factory.mktemp("seeds")
    clip, rig = surefoot.demo("lamplighter")
    found = {}
    for suffix in (".json", ".csv", ".glb", ".gltf", ".usda", ".usdc"):
        files = clip_files(replace(clip, rig="lamplighter"), rig, folder / f"walk{suffix}")
        found[suffix] = files[0][0]
        if suffix == ".glb":
            found[".toml"] = files[1][0]
    found[".bvh"] = write_jump_bvh(folder / "jump.bvh", last=12).read_bytes()
    found[".c3d"] = write_treadmill_c3d(folder / "walk.c3d", frames=12).read_bytes()
    return found


def read(suffix: str, path: Path) -> None:
    if suffix == ".toml":
        parse_mapping(path.read_bytes().decode("utf-8", "replace"))
    elif suffix in (".json", ".csv"):
        open_clip(path)
    else:
        open_motion(path)


@pytest.fixture(autouse=True, name="lookout", scope="module")
def lookout_fixture() -> Iterator[None]:
    standing = keep_lookout()
    yield
    assert standing is not None
    standing.close()
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    print(f"largest process that looked at a file: {most} MB")
    assert most < MOST_MEGABYTES
    _STANDING.set(None)


def tried(suffix: str, data: bytes, count: int, path: Path) -> int:
    """Read so many damaged files; return how many were taken for good. Anything but a clear error fails."""
    good, slowest, wordings = 0, 0.0, Counter[str]()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for seed in range(count):
        path.write_bytes(damaged(data, seed))
        start, began = time.process_time(), time.monotonic()
        told = "read"
        try:
            read(suffix, path)
            good += 1
        except InputError as error:
            told = str(error).strip()
        except BaseException as fault:
            raise AssertionError(f"{suffix}, seed {seed}: {type(fault).__name__}: {fault}") from fault
        assert 0 < len(told) < 700, seed
        assert time.process_time() - start < SECONDS, f"{suffix}, seed {seed}"
        slowest = max(slowest, time.monotonic() - began)
        wordings[next((word for word in ("far too long", "crashes or fills") if word in told), "a sentence")] += 1
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024
    print(f"{suffix}: {count} files, {good} read, {dict(wordings)} (those read among them), slowest {slowest:.2f} s, "
          f"grown {grown} MB")  # fmt: skip
    assert grown < MEGABYTES
    return good


@pytest.mark.parametrize("suffix", QUICK)
def test_damaged_files_are_told_in_a_sentence(suffix: str, seeds: dict[str, bytes], tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_bytes(seeds[suffix])
    read(suffix, path)  # the seed itself is good
    assert tried(suffix, seeds[suffix], QUICK[suffix], path) < QUICK[suffix]


@pytest.mark.long
@pytest.mark.parametrize("suffix", QUICK)
def test_ten_thousand_damaged_files_are_told_in_a_sentence(
    suffix: str, seeds: dict[str, bytes], tmp_path: Path
) -> None:
    assert tried(suffix, seeds[suffix], 10_000, tmp_path / f"a{suffix}") < 10_000


def told_or_read(parse: Callable[[], object]) -> None:
    with contextlib.suppress(InputError):
        parse()


@settings(deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_no_crash(text: str) -> None:
    told_or_read(lambda: parse_bvh(text))
    told_or_read(lambda: parse_bvh(f"HIERARCHY\n{text}\nMOTION\n{text}"))
    told_or_read(lambda: parse_mapping(text))
    told_or_read(lambda: parse_gltf(text.encode("utf-8", "surrogatepass")))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 10**12) | st.floats() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=12,
)
PARTS = ("asset", "nodes", "animations", "accessors", "bufferViews", "buffers")


@settings(deadline=None)
@given(st.data())
def test_any_table_in_place_of_a_part_of_gltf_is_no_crash(data: st.DataObject) -> None:
    clip, rig = surefoot.demo("lamplighter")
    whole = json.loads(clip_files(clip, rig, "walk.gltf")[0][0])
    part = data.draw(st.sampled_from(PARTS))
    whole[part] = data.draw(JSON)
    told_or_read(lambda: parse_gltf(json.dumps(whole).encode()))


@settings(deadline=None)
@given(
    st.dictionaries(
        st.text(max_size=8),
        st.text(max_size=20) | st.integers() | st.booleans() | st.lists(st.text(max_size=5), max_size=3),
        max_size=5,
    )
)
def test_any_table_is_read_back_from_its_toml(table: dict[str, object]) -> None:
    assert tomllib.loads(toml_text(table)) == table
    assert tomllib.loads(toml_text({"in": table})) == {"in": table}
