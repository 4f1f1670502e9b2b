"""How deep a sole stands in ground, against MuJoCo's own collision distances and against dense sampling."""

from __future__ import annotations

from itertools import pairwise

import mujoco
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Profile
from surefoot.ground_grid import Grid
from tests.outside.table import agrees

POSES = 200
RISER, TREAD, COUNT = 0.178, 0.279, 6
THIN = 1e-3
"""Half width of the witnesses' small bodies, metres."""
NEEDLE = """
<mujoco>
  <asset>{asset}</asset>
  <worldbody>
    {ground}
    <body name="foot" mocap="true">{points}</body>
  </worldbody>
</mujoco>
"""


def sole(random: np.random.Generator) -> np.ndarray:
    """Return the corners of a sole of our own, 0.1 by 0.27 m, at a random pose about the origin, ``(4, 3)``."""
    corners = np.array([[x, 0.0, z] for x in (-0.05, 0.05) for z in (-0.07, 0.2)])
    turn = Rotation.from_euler("YXZ", [random.uniform(-3.1, 3.1), *random.uniform(-0.4, 0.4, 2)])
    return np.asarray(turn.apply(corners))


def as_mujoco(points: np.ndarray) -> np.ndarray:
    """Return points whose y is up as points whose z is up."""
    return points[..., [2, 0, 1]]


def test_the_depth_of_soles_in_stairs_is_mujocos() -> None:
    """Source: MuJoCo 4, mj_geomDistance of a small sphere from the boxes that a stair is made of (verified)."""
    stairs = Profile.stairs(riser=RISER, tread=TREAD, count=COUNT)
    length, deep = 20.0, 5.0
    boxes = "".join(
        f'<geom name="step{k}" type="box" size="{length / 2} 10 {deep / 2}" '
        f'pos="{k * TREAD - TREAD + length / 2 if k else 0.0} 0 {k * RISER - deep / 2}"/>'
        for k in range(COUNT + 1)
    )
    point = f'<geom name="point" type="sphere" size="{THIN}"/>'
    model = mujoco.MjModel.from_xml_string(NEEDLE.format(asset="", ground=boxes, points=point))
    data = mujoco.MjData(model)
    steps = [model.geom(f"step{k}").id for k in range(COUNT + 1)]
    ball = model.geom("point").id
    random, ours, theirs = np.random.default_rng(11), [], []
    for _ in range(POSES):
        place = np.array([0.0, 0.0, random.uniform(-0.3, COUNT * TREAD)])
        corners = sole(random) + place
        corners[:, 1] += stairs.height(0.0, place[2]) + random.uniform(0.0, 0.25)
        above = stairs.height(corners[:, 0], corners[:, 2]) < corners[:, 1]
        if not above.any():
            continue
        for corner in corners[above]:  # a body that's outside all boxes: their distances are one stair's
            data.mocap_pos[0] = as_mujoco(corner)
            mujoco.mj_forward(model, data)
            gap = min(mujoco.mj_geomDistance(model, data, ball, step, 10.0, None) for step in steps)
            theirs.append(gap + THIN)
            ours.append(-float(stairs.depth(*corner)))
    assert len(ours) > 2 * POSES
    agrees("distance of a sole's corners from stairs, m", ours, theirs, bound=1e-6)


def test_the_height_under_soles_on_a_grid_is_that_of_mujocos_height_field() -> None:
    """Source: MuJoCo 4, mj_ray onto a height field (verified).

    A height field is cut into triangles and a grid's patch is not, so the bound is what the two differ by inside
    a patch: a quarter of the largest twist of its corners.
    """
    random = np.random.default_rng(12)
    rows, columns, spacing = 61, 41, 0.05
    z, x = np.meshgrid(np.arange(rows) * spacing, np.arange(columns) * spacing, indexing="ij")
    heights = 0.03 * np.sin(2.0 * x + 0.5) * np.cos(1.7 * z)
    heights -= heights.min()
    twist = heights[1:, 1:] + heights[:-1, :-1] - heights[1:, :-1] - heights[:-1, 1:]
    grid = Grid(heights, spacing)
    half = (columns - 1) * spacing / 2, (rows - 1) * spacing / 2
    top = float(heights.max())
    asset = f'<hfield name="field" nrow="{columns}" ncol="{rows}" size="{half[1]} {half[0]} {top} 0.5"/>'
    ground = f'<geom name="ground" type="hfield" hfield="field" pos="{half[1]} {half[0]} 0"/>'
    model = mujoco.MjModel.from_xml_string(NEEDLE.format(asset=asset, ground=ground, points='<geom size="0.001"/>'))
    model.hfield_data[:] = (heights.T / top).ravel()  # a row of theirs runs along our heading
    data = mujoco.MjData(model)
    data.mocap_pos[0] = [0.0, 0.0, -50.0]
    mujoco.mj_forward(model, data)
    ours, theirs = [], []
    for _ in range(POSES):
        corners = sole(random) + np.array([random.uniform(0.4, 1.6), 0.05, random.uniform(0.4, 2.6)])
        for corner in corners:
            start, hit = as_mujoco(corner), np.zeros(1, dtype=np.int32)
            start[2] = 2.0
            far = mujoco.mj_ray(model, data, start, np.array([0.0, 0.0, -1.0]), None, 1, -1, hit)
            assert model.geom(int(hit[0])).name == "ground"
            theirs.append(corner[1] - (2.0 - far))
            ours.append(corner[1] - float(grid.height(corner[0], corner[2])))
    agrees("height of a sole's corners above a grid, m", ours, theirs, bound=float(np.abs(twist).max()) / 4 + 1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_depth_in_a_profiles_plane_is_that_of_samples_a_tenth_of_a_millimetre_apart(seed: int) -> None:
    """Source: dense sampling of the line every 0.1 mm (computed)."""
    random = np.random.default_rng(seed)
    stairs = Profile.stairs(riser=random.uniform(0.1, 0.19), tread=random.uniform(0.25, 0.35), count=5)
    points = np.column_stack([stairs.distance, stairs.elevation])
    points = np.concatenate([[[points[0, 0] - 2.0, 0.0]], [points[0]], points[1:], [points[-1] + [2.0, 0.0]]])
    samples = []
    for (a, b), (c, d) in pairwise(points):
        share = np.linspace(0.0, 1.0, max(2, int(np.ceil(np.hypot(c - a, d - b) / 1e-4)) + 1))
        samples.append(np.column_stack([a + share * (c - a), b + share * (d - b)]))
    line = np.concatenate(samples)
    ours, theirs = [], []
    for _ in range(POSES // 4):
        at = np.array([0.0, 0.0, random.uniform(-0.3, 1.5)])
        corners = sole(random) + at
        corners[:, 1] += stairs.height(0.0, at[2]) + random.uniform(-0.05, 0.1)
        for x, y, z in corners:
            inside = y < float(stairs.height(x, z))
            gap = float(np.hypot(line[:, 0] - z, line[:, 1] - y).min())
            theirs.append(gap if inside else -gap)
            ours.append(float(stairs.depth(x, y, z)))
    agrees("depth in a profile against samples 0.1 mm apart, m", ours, theirs, bound=5e-5)
