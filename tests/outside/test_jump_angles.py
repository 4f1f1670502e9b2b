"""The jump's own joint angles come back from nothing but its points, by the solve inside limits.

Points are the BVH file's (`tests/data/jump.py`); angles are those of the ASF and AMC files, which another hand wrote.
A leg there has seven freedoms about axes that are tilted by fixed turns. A fixed turn is a row of hinges whose range
is a single angle.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot.bounded import Solved, solve_bounded
from surefoot.hinge_chain import Hinge, HingeChain, hinge_points
from tests.data.jump import METRES_PER_UNIT, jump_points
from tests.outside.table import agrees

Array = NDArray[Any]

EXTRACT = Path(__file__).parents[1] / "data" / "jump.npz"
BONES = ("femur", "tibia", "foot", "toes")
FREEDOMS = {"femur": "xyz", "tibia": "x", "foot": "xz", "toes": "x"}
RANGES = {"femur x": (-150, 30), "femur y": (-60, 60), "femur z": (-60, 60), "tibia x": (0, 160),
          "foot x": (-60, 70), "foot z": (-60, 60), "toes x": (-60, 60)}  # fmt: skip
"""Degrees: a leg's anatomy, roughly, with the signs of the file (judgement); the trial lies inside."""
NOISE = 1e-5
"""Metres by which the two files' points may differ (see `test_jump_formats.py`)."""
SINGULAR = 2.0 * NOISE / np.radians(0.1)
"""Metres a radian. Where the points move less than this with some mix of the angles, that mix can't be told to 0.1
degree from points that are known to NOISE (each of four, so twice)."""


def turns(degrees: Array, name: str) -> list[tuple[Hinge, float]]:
    """Return a fixed turn about Z, Y, X as hinges and their angles, without those that don't turn."""
    return [
        (Hinge(f"{name} {axis}", axis), float(np.radians(degrees["xyz".index(axis)])))
        for axis in "zyx"
        if abs(degrees["xyz".index(axis)]) > 1e-9
    ]


@cache
def told(side: str) -> tuple[HingeChain, Array, Array, Array]:
    """Return a leg's chain, its hinges' ranges (hinges, 2), which are free, and the file's angles (7, frames)."""
    with np.load(EXTRACT) as held:
        bones = [str(name) for name in held["asf_bones"]]
        axes, ways, lengths = held["asf_axes_deg"], held["asf_directions"], held["asf_lengths"]
        values = dict(zip((str(name) for name in held["amc_channels"]), held["amc_values"], strict=True))
    hinges: list[Hinge] = []
    ranges: list[tuple[float, float]] = []
    points: list[tuple[str, int, tuple[float, float, float]]] = []
    place = np.zeros(3)
    for bone in BONES:
        k = bones.index(side + bone)
        tilt = turns(axes[k], f"{bone} tilt")
        back = [(Hinge(h.name + " back", h.axis), -angle) for h, angle in reversed(tilt)]
        # turns about the fixed x, then y, then z are hinges z, y, x
        free = [(Hinge(f"{bone} {axis}", axis), np.nan) for axis in reversed(FREEDOMS[bone])]
        for hinge, angle in (*tilt, *free, *back):
            first = Hinge(hinge.name, hinge.axis, tuple(place.tolist()))
            hinges.append(first)
            place = np.zeros(3)
            low, high = np.radians(RANGES[hinge.name]) if np.isnan(angle) else (angle, angle)
            ranges.append((float(low), float(high)))
        place = ways[k] * lengths[k] * METRES_PER_UNIT
        points.append((bone, len(hinges), tuple(place.tolist())))
    names = [hinge.name for hinge in hinges]
    free_at = np.array([names.index(f"{bone} {axis}") for bone in BONES for axis in reversed(FREEDOMS[bone])])
    theirs = np.array([values[f"{side}{names[k].replace(' ', ' r')}"] for k in free_at], dtype=np.float64)
    return HingeChain(tuple(hinges), tuple(points)), np.array(ranges), free_at, np.radians(theirs)


@cache
def recovered(side: str) -> tuple[Solved, Array, Array]:
    """Return the solve, the least singular value of the free angles' Jacobian (frames,), and the gap in angles."""
    chain, ranges, free, theirs = told(side)
    jump = jump_points()
    foot = "lr".index(side)
    own = np.einsum("fij,fpi->jpf", jump.hips_rotation, jump.points[:, foot, 1:] - jump.points[:, foot, :1])
    middle = np.repeat(ranges.mean(axis=1)[:, None], own.shape[-1], axis=1)
    found = solve_bounded(
        np.ascontiguousarray(own),
        chain,
        weights=np.ones(4),
        low=ranges[:, 0],
        high=ranges[:, 1],
        start=middle,
        guess=True,
    )
    jacobian = hinge_points(found.angles, chain)[1][:, :, free]
    least = np.linalg.svd(jacobian.reshape(12, 7, -1).transpose(2, 0, 1), compute_uv=False)[:, -1]
    return found, least, found.angles[free] - theirs


@pytest.mark.parametrize("side", ["l", "r"], ids=["left", "right"])
def test_the_files_own_angles_come_back_from_its_points(side: str) -> None:
    """Seven angles of each leg in 2751 frames, within 0.1 degree wherever the points tell them.

    Source: CMU graphics laboratory's motion capture, trial 01_01: points of the BVH, angles of the AMC (verified).
    """
    found, least, apart = recovered(side)
    clear = least > SINGULAR
    assert clear.all()  # this trial's knees are always bent by 17 degrees or more
    agrees("joint angles from a jump's points, degrees", np.degrees(apart[:, clear]), 0.0, bound=0.1)
    agrees("points of a jump by its recovered angles, m", found.residual, 0.0, bound=NOISE)


def test_the_chain_is_the_files_own_leg() -> None:
    """Control: the file's angles put the points where a reader of the file with quaternions puts them.

    Source: CMU graphics laboratory's motion capture, the ASF and AMC files of the trial (verified).
    """
    from tests.outside.test_jump_formats import acclaim_jump

    points, _, root = acclaim_jump()
    turn = Rotation.from_quat(root.T, scalar_first=True).as_matrix()
    for foot, side in enumerate("lr"):
        chain, ranges, free, theirs = told(side)
        angles = np.repeat(ranges.mean(axis=1)[:, None], theirs.shape[1], axis=1)
        angles[free] = theirs
        placed = hinge_points(angles, chain, turn=np.moveaxis(turn, 0, -1), origin=points[:, foot, 0].T)[0]
        agrees("a leg's points by hinges, m", placed, points[:, foot, 1:].transpose(2, 1, 0), bound=1e-9)


def test_another_frames_angles_are_not_these() -> None:
    """Control: ten frames later the angles differ by far more than the bound."""
    _, _, apart = recovered("l")
    theirs = told("l")[3]
    assert np.degrees(np.abs((apart + theirs)[:, :-10] - theirs[:, 10:]).max()) > 5.0
