"""A leg with a third bone agrees with MuJoCo's hinges: points and Jacobian, of every shipped rig that has a hock.

Witness: MuJoCo (package mujoco-core), built here from the rig's lengths, in our own axes (+Y up, +Z forward, +X left).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from surefoot import load_rig
from surefoot.hinge_chain import hinge_points, leg_hinges
from surefoot.rig import Leg
from tests.outside.table import agrees

mujoco = pytest.importorskip("mujoco", reason="needs mujoco-core")

LEFT, UP, FRONT = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def their_leg(leg: Leg, side: str) -> Any:
    """Return MuJoCo's model: a body a bone, its joints in the order and with the signs of a rig's limits."""
    s = 1.0 if side == "left" else -1.0

    def turned(axis: tuple[float, float, float], sign: float) -> list[float]:
        return [sign * part for part in axis]

    foot = leg.foot
    bones = [
        ("thigh", (0.0, 0.0, 0.0), [turned(LEFT, -1.0), turned(FRONT, s), turned(UP, -s)]),
        ("knee", (0.0, -leg.thigh, 0.0), [turned(LEFT, 1.0)]),
        ("hock", (0.0, -leg.shank, 0.0), [turned(LEFT, -1.0)]),
        ("ankle", (0.0, -leg.hock, 0.0), [turned(UP, 1.0), turned(LEFT, -1.0), turned(FRONT, -s)]),
        ("ball", foot.ball, [turned(LEFT, -1.0)]),
    ]
    spec = mujoco.MjSpec()
    body = spec.worldbody
    for name, place, axes in bones:
        body = body.add_body(name=name, pos=place, mass=1.0, inertia=[1.0, 1.0, 1.0])
        body.add_site(name=name)
        for axis in axes:
            body.add_joint(type=mujoco.mjtJoint.mjJNT_HINGE, axis=axis)
        if name == "ankle":
            body.add_site(name="heel", pos=foot.heel)
    body.add_site(name="toe", pos=foot.toe - foot.ball)
    return spec.compile()


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("preset", ["stalker", "hound_hind"])
def test_points_and_jacobian_of_a_hocked_leg_are_mujocos_on_200_random_poses(preset: str, side: str) -> None:
    """Source: MuJoCo, mj_kinematics and mj_jacSite (verified)."""
    leg = load_rig(preset).legs[side == "right"]
    assert leg.hock > 0.0
    chain = leg_hinges(leg, side=side, foot_yaw=True)
    q = np.random.default_rng(33).uniform(-1.6, 1.6, (len(chain.hinges), 200))
    points, jacobian, _ = hinge_points(q, chain)
    model = their_leg(leg, side)
    data = mujoco.MjData(model)
    theirs, their_jacobian = np.empty_like(points), np.empty_like(jacobian)
    by_site = np.empty((3, model.nv))
    for pose in range(200):
        data.qpos[:] = q[:, pose]
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        for p, (name, _, _) in enumerate(chain.points):
            theirs[:, p, pose] = data.site(name).xpos
            mujoco.mj_jacSite(model, data, by_site, None, data.site(name).id)
            their_jacobian[:, p, :, pose] = by_site
    agrees("points of a leg with a hock, m", points, theirs, bound=1e-12)
    agrees("Jacobian of a leg with a hock, m", jacobian, their_jacobian, bound=1e-12)
    assert np.ptp(theirs[:, -1], axis=1).min() > 0.5  # the poses were wide
