"""The sole's lowest corner is where MuJoCo finds a box of the foot deepest in a plane.

Witness: MuJoCo's collision of boxes with a plane (package mujoco-core). A foot with a rectangular
hindfoot and toe segment is two boxes there, their undersides the sole; MuJoCo poses them by its own hinges.
Its axes are X = our z, Y = our y, Z = -our x.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from surefoot.rig import Control, Foot, Leg, Rig
from surefoot.sole import Soles
from tests.outside.table import agrees

mujoco = pytest.importorskip("mujoco", reason="needs mujoco-core")

THEIRS = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
SOLE, BALL, THICK = -0.08, 0.12, 0.03
X, Z = (-0.035, 0.055), (-0.06, 0.19)
POSES = 200


def rig(ball_height: float) -> Rig:
    outline = [[X[0], Z[0]], [X[1], Z[0]], [X[1], Z[1]], [X[0], Z[1]]]
    foot = Foot([0.01, SOLE, Z[0]], [0.012, SOLE + ball_height, BALL], [0.01, SOLE, Z[1]], outline)
    leg = Leg([0.09, 0.0, 0.0], 0.42, 0.41, foot)
    controls = {name: Control(name, {}) for name in ("hips", "left_foot", "right_foot")}
    return Rig("boxes", (leg, leg.mirrored()), controls)


def their_foot(foot: Foot) -> tuple[Any, Any]:
    """Return MuJoCo's model and data: yaw, pitch, cant and toe bend as hinges, two boxes, the ground.

    The ankle hangs at the ground's own height, so that most poses go through it; the contact margin
    is wide, so that those above it are told too.
    """
    spec = mujoco.MjSpec()
    spec.worldbody.add_geom(
        name="ground",
        type=mujoco.mjtGeom.mjGEOM_PLANE,
        size=[5.0, 5.0, 1.0],
        quat=[np.sqrt(0.5), -np.sqrt(0.5), 0.0, 0.0],  # the plane's normal from its own Z to Y
        margin=1.0,
    )
    body = spec.worldbody
    for name, axis in (("yaw", (0, 1, 0)), ("pitch", (1, 0, 0)), ("cant", (0, 0, 1))):
        body = body.add_body(name=name, mass=1.0, inertia=[1.0, 1.0, 1.0])
        body.add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=THEIRS @ np.array(axis, dtype=float))
    toes = body.add_body(name="toes", pos=THEIRS @ foot.ball, mass=1.0, inertia=[1.0, 1.0, 1.0])
    toes.add_joint(name="bend", type=mujoco.mjtJoint.mjJNT_HINGE, axis=THEIRS @ np.array([-1.0, 0.0, 0.0]))
    x = foot.outline[:, 0]
    for part, owner, z, origin in (
        ("hind", body, (Z[0], BALL), np.zeros(3)),
        ("toe", toes, (BALL, Z[1]), foot.ball),
    ):
        low = np.array([x.min(), SOLE, z[0]])
        high = np.array([x.max(), SOLE + THICK, z[1]])
        half = np.abs(THEIRS @ (high - low)) / 2
        middle = THEIRS @ ((low + high) / 2 - origin)
        owner.add_geom(name=part, type=mujoco.mjtGeom.mjGEOM_BOX, size=half, pos=middle, margin=1.0)
    model = spec.compile()
    return model, mujoco.MjData(model)


def poses(seed: int) -> np.ndarray:
    """Return pitch, yaw, cant and bend ``(4, poses)``; never so far that a box's upper side is lowest."""
    high = np.radians([60.0, 180.0, 35.0, 50.0])[:, None]
    q = np.random.default_rng(seed).uniform(-high, high, (4, POSES))
    q[3] = np.clip(q[3], q[0] - np.radians(75.0), q[0] + np.radians(75.0))  # pitch minus bend is the toes' own
    return q


def their_lowest(foot: Foot, q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest height of either box by contacts, and by the distance of two bodies."""
    model, data = their_foot(foot)
    by_contact, by_distance = np.empty(q.shape[1]), np.empty(q.shape[1])
    ground = model.geom("ground").id
    for i, (pitch, yaw, cant, bend) in enumerate(q.T):
        data.qpos[:] = yaw, pitch, cant, bend
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        mujoco.mj_collision(model, data)
        with_ground = [c.dist for c in data.contact if ground in c.geom]
        by_contact[i] = min(with_ground)
        by_distance[i] = min(
            mujoco.mj_geomDistance(model, data, ground, model.geom(part).id, 5.0, None) for part in ("hind", "toe")
        )
    return by_contact, by_distance


@pytest.mark.parametrize("ball_height", [0.0, 0.02])
@pytest.mark.parametrize("side", [0, 1])
def test_the_lowest_corner_is_mujocos_deepest_contact_on_200_random_poses(side: int, ball_height: float) -> None:
    """Source: MuJoCo, contacts of boxes with a plane, and mj_geomDistance (verified)."""
    feet = rig(ball_height)
    q = poses(5 + side)
    # both feet take the same angles; each pose's are the foot's own, not mirrored
    pitch, _, cant, bend = (np.broadcast_to(v, (2, POSES)) for v in q)
    lowest = Soles.of(feet).lowest(pitch, cant, bend)[side]
    by_contact, by_distance = their_lowest(feet.legs[side].foot, q)
    agrees("lowest corner of a sole by contacts, m", lowest, by_contact, bound=1e-12)
    agrees("lowest corner of a sole by distance, m", lowest, by_distance, bound=1e-12)
    assert np.ptp(lowest) > 0.05  # the poses were wide


@pytest.mark.parametrize("side", [0, 1])
def test_flat_poses_too_where_a_whole_edge_or_side_is_lowest(side: int) -> None:
    """Source: MuJoCo, contacts of boxes with a plane (verified)."""
    feet = rig(0.02)
    q = poses(9)[:, :40]
    q[2] = 0.0
    q[:, 0] = 0.0
    pitch, _, cant, bend = (np.broadcast_to(v, (2, 40)) for v in q)
    lowest = Soles.of(feet).lowest(pitch, cant, bend)[side]
    by_contact, _ = their_lowest(feet.legs[side].foot, q)
    agrees("lowest corner of an uncanted sole, m", lowest, by_contact, bound=1e-12)
    assert lowest[0] == SOLE


@pytest.mark.parametrize("side", [0, 1])
def test_every_corner_is_a_corner_of_mujocos_boxes(side: int) -> None:
    """Source: MuJoCo, the boxes' places (verified)."""
    feet = rig(0.02)
    foot = feet.legs[side].foot
    q = poses(13)
    angles = np.broadcast_to(q[:3, None], (3, 2, POSES))
    ours = Soles.of(feet).corners(angles, np.broadcast_to(q[3], (2, POSES)))[:, :, side]
    model, data = their_foot(foot)
    for i, (pitch, yaw, cant, bend) in enumerate(q.T):
        data.qpos[:] = yaw, pitch, cant, bend
        mujoco.mj_kinematics(model, data)
        under = np.concatenate([_underside(model, data, part) for part in ("hind", "toe")])
        gaps = np.linalg.norm(ours[:, :, i].T[:, None] - under[None], axis=2)
        agrees("a corner of ours to the nearest of theirs, m", gaps.min(axis=1), 0.0, bound=1e-12)
        agrees("a corner of theirs to the nearest of ours, m", gaps.min(axis=0), 0.0, bound=1e-12)


def _underside(model: Any, data: Any, part: str) -> np.ndarray:
    """Return the four lower corners of a box in our axes, ``(4, 3)``."""
    geom = model.geom(part).id
    half, turn = model.geom_size[geom], data.geom_xmat[geom].reshape(3, 3)
    local = np.array([[a * half[0], -half[1], c * half[2]] for a in (-1, 1) for c in (-1, 1)])
    return (data.geom_xpos[geom] + local @ turn.T) @ THEIRS
