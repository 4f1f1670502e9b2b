"""One captured jump in two file formats, read by two routines that share no code, is one motion.

BVH turns by products of Euler matrices (`tests/data/jump.py`); ASF and AMC turn freedoms about tilted bone
axes, done here with quaternions (w, x, y, z). Files and sources are in `tests/data/PROVENANCE.md`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.data.jump import jump_points
from tests.outside.table import agrees

Array = NDArray[Any]

EXTRACT = Path(__file__).parents[1] / "data" / "jump.npz"

AGREEMENT = 1e-5
"""Metres. BVH rounds angles to 1e-4 degrees and the hips' place to 1e-4 units. Half of that in every turn of
every joint would add up to 0.8e-5 m at the toe, and in the place to 0.5e-5 m; never all at once."""


def product(one: Array, other: Array) -> Array:
    """Return the quaternion that turns by the other first; both (4, ...)."""
    a, b, c, d = one
    e, f, g, h = other
    return np.stack(
        [
            a * e - b * f - c * g - d * h,
            a * f + b * e + c * h - d * g,
            a * g - b * h + c * e + d * f,
            a * h + b * g - c * f + d * e,
        ]
    )


def rotate(quaternion: Array, vector: Array) -> Array:
    """Return the vectors, (frames, 3), that unit quaternions (4, frames) make of one vector (3,)."""
    axis = quaternion[1:].T
    twice = 2.0 * np.cross(axis, vector)
    turned: Array = vector + quaternion[0][:, None] * twice + np.cross(axis, twice)
    return turned


def turn_xyz(degrees: Array, *, last_first: bool = False) -> Array:
    """Return the quaternion of turns about the fixed X, then Y, then Z; degrees has shape (3, frames)."""
    whole = np.stack([np.ones_like(degrees[0]), *np.zeros_like(degrees)])
    for k in (2, 1, 0) if last_first else (0, 1, 2):
        half = np.radians(degrees[k]) / 2.0
        one = np.stack([np.cos(half), *np.zeros_like(degrees)])
        one[1 + k] = np.sin(half)
        whole = product(one, whole)
    return whole


def acclaim_jump(*, last_first: bool = False) -> tuple[Array, Array, Array]:
    """Return leg points (frames, 2, 5, 3), hips (frames, 3), both in metres, and the hips' turn (4, frames).

    A bone's freedoms turn it in its own axes, which stand at fixed angles in the root's: A L A⁻¹. The
    bone's direction is in the root's axes. `last_first` turns the freedoms in the wrong order.
    """
    with np.load(EXTRACT) as held:
        extract = {name: held[name] for name in held.files}
    values = {
        str(name): row.astype(np.float64)
        for name, row in zip(extract["amc_channels"], extract["amc_values"], strict=True)
    }
    still = np.zeros_like(values["root tx"])

    def freedoms(bone: str) -> Array:
        return np.stack([values.get(f"{bone} r{axis}", still) for axis in "xyz"])

    root = turn_xyz(freedoms("root"), last_first=last_first)
    hips = np.stack([values[f"root t{axis}"] for axis in "xyz"], axis=-1)
    points = np.empty((len(hips), 2, 5, 3))
    for k, name in enumerate(extract["asf_bones"]):
        foot, joint = divmod(k, 5)
        if joint == 0:
            place, whole = hips, root
        axes = turn_xyz(np.repeat(extract["asf_axes_deg"][k][:, None], len(hips), axis=1))
        back = axes * np.array([1.0, -1.0, -1.0, -1.0])[:, None]
        own = product(axes, product(turn_xyz(freedoms(str(name)), last_first=last_first), back))
        whole = product(whole, own)
        place = place + rotate(whole, extract["asf_directions"][k] * extract["asf_lengths"][k])
        points[:, foot, joint] = place
    inches = 1.0 / float(extract["asf_unit"])
    return points * inches * 0.0254, hips * inches * 0.0254, root


@pytest.fixture(scope="module", name="acclaim")
def acclaim_fixture() -> tuple[Array, Array, Array]:
    """Read the second file once."""
    return acclaim_jump()


def test_both_formats_put_every_leg_point_in_the_same_place(acclaim: tuple[Array, Array, Array]) -> None:
    """Hip, knee, ankle, ball and toe of both legs agree over all 2751 frames.

    Source: CMU graphics laboratory's motion capture, the ASF and AMC files of the trial (verified).
    """
    jump = jump_points()
    assert jump.points.shape == acclaim[0].shape == (2751, 2, 5, 3)
    agrees(
        "leg points by two formats, apart, m", np.linalg.norm(jump.points - acclaim[0], axis=-1), 0.0, bound=AGREEMENT
    )


def test_both_formats_place_and_turn_the_hips_alike(acclaim: tuple[Array, Array, Array]) -> None:
    """The hips agree in position, and the ends of unit vectors turned with them agree too.

    Source: CMU graphics laboratory's motion capture, the ASF and AMC files of the trial (verified).
    """
    jump = jump_points()
    agrees("hips by two formats, apart, m", np.linalg.norm(jump.hips - acclaim[1], axis=-1), 0.0, bound=AGREEMENT)
    for k, vector in enumerate(np.eye(3)):
        turned = rotate(acclaim[2], vector)
        apart = np.linalg.norm(jump.hips_rotation[:, :, k] - turned, axis=-1)
        agrees("hips' axes by two formats, apart", apart, 0.0, bound=AGREEMENT)


def test_the_agreement_is_no_accident(acclaim: tuple[Array, Array, Array]) -> None:
    """Control: one frame late, or with the freedoms in the other order, the formats differ far beyond the bound."""
    points = jump_points().points
    late = np.linalg.norm(points[1:] - acclaim[0][:-1], axis=-1)
    assert late.max() > 1000 * AGREEMENT
    wrong_order = np.linalg.norm(points - acclaim_jump(last_first=True)[0], axis=-1)
    assert wrong_order.max() > 1000 * AGREEMENT


def test_the_bones_of_the_jump_keep_their_lengths() -> None:
    """Thigh, shank, ankle to ball and ball to toe never stretch, and are as long as the ASF file says.

    Source: CMU graphics laboratory's motion capture, the ASF and AMC files of the trial (verified).
    """
    jump = jump_points()
    lengths = np.linalg.norm(np.diff(jump.points, axis=2), axis=-1)  # (frames, feet, bones)
    assert np.ptp(lengths, axis=0).max() < 1e-12
    with np.load(EXTRACT) as held:
        given = held["asf_lengths"].reshape(2, 5)[:, 1:] * 0.0254 / held["asf_unit"]
    agrees("bones' lengths, m", lengths[0], given, bound=AGREEMENT)
