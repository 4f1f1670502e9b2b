"""BVH read: a hierarchy of joints with offsets and Euler channels, as open capture data comes in it.

Joint names that occur twice are told apart by their parent's (``Hand/End``). Turns multiply in the order in which
the file lists its channels, from left to right; end sites are joints without channels, called ``<parent> End``.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError
from surefoot.file_faults import read_text
from surefoot.formats.form import Format
from surefoot.formats.motion import Motion, near_rate

__all__ = ["FORMAT", "parse_bvh", "read_bvh"]

Array = NDArray[np.float64]
WANTED = "a motion in BVH"
MOTION = re.compile(r"^[ \t]*MOTION\b", re.MULTILINE)
"""The word at the beginning of a line; it may stand in a joint's name too."""
CHANNELS = tuple(f"{axis}{what}" for what in ("position", "rotation") for axis in "XYZ")
MOST_JOINTS = 10_000
MOST_DEPTH = 512


@dataclass(slots=True)
class _Joint:
    name: str
    parent: int
    offset: Array = field(default_factory=lambda: np.zeros(3))
    channels: list[str] = field(default_factory=list)
    column: int = 0


def read_bvh(path: str | Path) -> Motion:
    """Return the motion in a BVH file; FileError tells the line and what is wrong there."""
    return parse_bvh(read_text(path, what=WANTED), place=str(path))


def parse_bvh(text: str, *, place: str = "bvh") -> Motion:
    """Return the motion written in ``text``; ``place`` names it in errors."""
    parts = MOTION.split(text, maxsplit=1)
    if len(parts) < 2 or "HIERARCHY" not in parts[0]:
        raise FileError(f"no HIERARCHY with a MOTION after it; wanted {WANTED}", place=place)
    joints = _hierarchy(parts[0], place)
    values, step = _samples(parts[1], sum(len(joint.channels) for joint in joints), place)
    if len(joints) * len(values) * 16 > Motion.MOST:
        raise FileError(f"{len(joints)} joints over {len(values)} frames are more than is taken", place=place)
    return Motion(_names(joints), _posed(joints, values), near_rate(step, place=f"{place}: Frame Time"))


def _hierarchy(head: str, place: str) -> list[_Joint]:
    joints: list[_Joint] = []
    open_: list[int] = []
    column = depth = 0
    for number, line in enumerate(head.splitlines(), 1):
        words, where = line.split(), f"{place}: line {number}"
        match words:
            case [] | ["HIERARCHY"]:
                continue
            case ["ROOT" | "JOINT", *name] if name:
                joints.append(_Joint(" ".join(name), open_[-1] if open_ else -1))
            case ["End", "Site" | "site"] if open_:
                joints.append(_Joint(f"{joints[open_[-1]].name} End", open_[-1]))
            case ["{"] if joints and depth == len(open_) < MOST_DEPTH:
                open_.append(len(joints) - 1)
                depth += 1
            case ["}"] if open_:
                open_.pop()
                depth -= 1
            case ["OFFSET", *numbers] if open_:
                joints[open_[-1]].offset = np.array(_numbers(numbers, 3, where))
            case ["CHANNELS", count, *names] if open_ and count == str(len(names)) and set(names) <= set(CHANNELS):
                if joints[open_[-1]].channels:
                    raise FileError(f"the joint {joints[open_[-1]].name!r} has its channels twice", place=where)
                joints[open_[-1]].channels, joints[open_[-1]].column = names, column
                column += len(names)
            case _:
                raise FileError(f"{line.strip()[:60]!r} can't stand here; wanted {WANTED}", place=where)
        if len(joints) > MOST_JOINTS:
            raise FileError(f"more than {MOST_JOINTS} joints", place=where)
    if not joints or open_:
        raise FileError("the hierarchy has no joints or isn't closed", place=place)
    return joints


def _numbers(words: list[str], count: int, where: str) -> list[float]:
    try:
        found = [float(word) for word in words]
    except ValueError:
        found = []
    if len(found) != count or not np.isfinite(found).all():
        raise FileError(f"wanted {count} finite numbers, got {' '.join(words)[:60]!r}", place=where)
    return found


def _samples(body: str, columns: int, place: str) -> tuple[Array, float]:
    lines = body.strip().split("\n", 2)
    if len(lines) < 3 or not lines[0].startswith("Frames:") or not lines[1].startswith("Frame Time:"):
        raise FileError("wanted 'Frames:', 'Frame Time:' and the frames after MOTION", place=place)
    (count,) = _numbers(lines[0].split()[1:], 1, f"{place}: Frames")
    (step,) = _numbers(lines[1].split()[2:], 1, f"{place}: Frame Time")
    words = lines[2].split()
    if columns == 0 or count < 1 or len(words) != count * columns:
        raise FileError(
            f"wanted {count:g} frames of {columns} numbers, got {len(words)} numbers", place=f"{place}: MOTION"
        )
    try:
        values = np.array(words, dtype=np.float64).reshape(-1, columns)
    except ValueError as error:
        raise FileError(f"{error}"[:100], place=f"{place}: MOTION") from None
    good = np.isfinite(values).all(axis=1) & (np.abs(values) < 1e9).all(axis=1)
    if not good.all():
        raise FileError("a number isn't finite or is too large", place=f"{place}: frame {int(np.argmin(good)) + 1}")
    return values, step


def _names(joints: list[_Joint]) -> tuple[str, ...]:
    names = [joint.name for joint in joints]
    often = Counter(names)
    for k, joint in enumerate(joints):
        if often[joint.name] > 1 and joint.parent >= 0:
            names[k] = f"{joints[joint.parent].name}/{joint.name}"
    seen: dict[str, int] = {}
    for k, name in enumerate(names):
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1:
            names[k] = f"{name}#{seen[name]}"
    return tuple(names)


def _posed(joints: list[_Joint], values: Array) -> Array:
    world = np.empty((len(joints), len(values), 4, 4))
    for k, joint in enumerate(joints):
        local = np.zeros((len(values), 4, 4))
        local[:, range(4), range(4)] = 1.0
        local[:, :3, 3] = joint.offset
        for j, channel in enumerate(joint.channels):
            track, axis = values[:, joint.column + j], "XYZ".index(channel[0])
            if channel.endswith("position"):
                local[:, axis, 3] += track
            else:
                local[:, :3, :3] = local[:, :3, :3] @ _turn(axis, np.radians(track))
        world[k] = local if joint.parent < 0 else world[joint.parent] @ local
    return world


def _turn(axis: int, angle: Array) -> Array:
    one, two = (axis + 1) % 3, (axis + 2) % 3
    turn = np.zeros((len(angle), 3, 3))
    turn[:, axis, axis] = 1.0
    turn[:, one, one] = turn[:, two, two] = np.cos(angle)
    turn[:, two, one] = np.sin(angle)
    turn[:, one, two] = -turn[:, two, one]
    return turn


FORMAT = Format("BVH", (".bvh",), "joints", "as written in the file", read_motion=lambda file: read_bvh(file.path))
