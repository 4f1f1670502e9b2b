"""The two open captures as the files they came in: BVH and C3D, written again from the extracts in `tests/data`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.data.jump import FILE as JUMP
from tests.data.treadmill import treadmill

HIERARCHY = (("LHipJoint", "Left"), ("RHipJoint", "Right"))
LEG = ("UpLeg", "Leg", "Foot", "ToeBase")


def write_jump_bvh(path: Path, *, first: int = 0, last: int = 2752) -> Path:
    """Write hips and legs of the jump trial, rows ``first`` to ``last`` (row 0 is a T-pose), as BVH."""
    with np.load(JUMP) as held:
        names = [str(name) for name in held["bvh_channels"]]
        values = held["bvh_ten_thousandths"][:, first:last]
        offsets = dict(zip((str(name) for name in held["bvh_joints"]), held["bvh_offsets"].tolist(), strict=True))
        step = float(held["bvh_frame_time"])
    order: list[int] = []

    def joint(name: str, depth: int, children: list[str]) -> list[str]:
        pad = "\t" * depth
        mine = [k for k, channel in enumerate(names) if channel.split()[0] == name]
        order.extend(mine)
        told = " ".join(names[k].split()[1] for k in mine)
        head = [f"{pad}{'JOINT' if depth else 'ROOT'} {name}", f"{pad}{{"]
        offset = " ".join(repr(v) for v in offsets[name])
        return [*head, f"{pad}\tOFFSET {offset}", f"{pad}\tCHANNELS {len(mine)} {told}", *children, f"{pad}}}"]

    def chain(side: str, k: int) -> list[str]:
        name = f"{side}{LEG[k]}"
        pad = "\t" * (k + 2)
        order_before = len(order)
        made = joint(name, k + 2, [])
        assert len(order) > order_before
        if k + 1 < len(LEG):
            inner = chain(side, k + 1)
        else:
            end = " ".join(repr(v) for v in offsets[f"{name} End Site"])
            inner = [f"{pad}\tEnd Site", f"{pad}\t{{", f"{pad}\t\tOFFSET {end}", f"{pad}\t}}"]
        return [*made[:-1], *inner, made[-1]]

    root = joint("Hips", 0, [])
    inner: list[str] = []
    for hip, side in HIERARCHY:
        made = joint(hip, 1, [])
        inner += [*made[:-1], *chain(side, 0), made[-1]]
    lines = [
        "HIERARCHY",
        *root[:-1],
        *inner,
        root[-1],
        "MOTION",
        f"Frames: {values.shape[1]}",
        f"Frame Time: {step:.7f}",
    ]
    lines += [" ".join(f"{v / 1e4:.4f}" for v in row) for row in values[order].T.tolist()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_treadmill_c3d(path: Path, *, frames: int = 1206, rate: float | None = None) -> Path:
    """Write the treadmill walk's markers as C3D: millimetres, Z up, as they were captured."""
    import ezc3d

    walk = treadmill()
    marks: dict[str, Any] = {}
    for foot, letter in enumerate("LR"):
        for k, name in ((0, "FEP"), (1, "FEO"), (2, "TIO"), (3, "HEE")):
            marks[letter + name] = walk.points[:, foot, k]
        marks |= {f"{letter}MT2": walk.ball_inner[:, foot], f"{letter}MT5": walk.ball_outer[:, foot]}
        marks |= {f"{letter}MM": walk.ankle_inner[:, foot], f"{letter}LM": walk.ankle_outer[:, foot]}
    marks |= {name: walk.pelvis[:, k] for k, name in enumerate(("LASIS", "RASIS", "LPSIS", "RPSIS"))}
    points = np.stack(list(marks.values()), axis=1)[:frames] * 1000.0  # (frames, points, 3)
    held = np.ones((4, len(marks), frames))
    # left, up, forward were x, z, -y
    held[0], held[1], held[2] = points[..., 0].T, -points[..., 2].T, points[..., 1].T
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [walk.rate if rate is None else rate]
    file["parameters"]["POINT"]["LABELS"]["value"] = tuple(marks)
    file["parameters"]["POINT"]["UNITS"]["value"] = ("mm",)
    file["data"]["points"] = held
    file.write(str(path))
    return path
