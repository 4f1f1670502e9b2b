"""Reference solvers, a frame at a time, each started from the frame before."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import mujoco
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from benchmarks.cases import Targets

__all__ = ["least_squares_frames", "mujoco_frames"]

Array = NDArray[np.float64]
CLOSE = 1e-6
"""Metres from the target at which a frame is solved."""


@lru_cache(maxsize=4)
def _model(thigh: float, shank: float) -> Any:
    """A hip with three hinges and a knee with one, in our axes (+Y up, +Z forward)."""
    spec = mujoco.MjSpec()
    upper = spec.worldbody.add_body(name="thigh")
    for name, axis in (("flexion", (-1, 0, 0)), ("abduction", (0, 0, 1)), ("rotation", (0, 1, 0))):
        upper.add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=axis)
    upper.add_geom(type=mujoco.mjtGeom.mjGEOM_SPHERE, size=[0.01, 0, 0])
    lower = upper.add_body(name="shank", pos=(0, -thigh, 0))
    lower.add_joint(name="knee", type=mujoco.mjtJoint.mjJNT_HINGE, axis=(1, 0, 0))
    lower.add_geom(type=mujoco.mjtGeom.mjGEOM_SPHERE, size=[0.01, 0, 0])
    lower.add_site(name="ankle", pos=(0, -shank, 0))
    return spec.compile()


def mujoco_frames(targets: Targets) -> float:
    """Solve every frame of both legs by damped least squares; return the largest distance left, metres."""
    model = _model(targets.thigh, targets.shank)
    data = mujoco.MjData(model)
    jacobian = np.zeros((3, model.nv))
    site = model.site("ankle").id
    worst = 0.0
    damping = 1e-6 * np.eye(3)
    for leg in range(2):
        data.qpos[:] = (0.2, 0.0, 0.0, 0.4)
        for goal in targets.ankle[:, leg] - targets.hip[:, leg]:
            for _ in range(50):
                mujoco.mj_kinematics(model, data)
                mujoco.mj_comPos(model, data)
                gap = goal - data.site_xpos[site]
                if gap @ gap < CLOSE**2:
                    break
                mujoco.mj_jacSite(model, data, jacobian, None, site)
                data.qpos += jacobian.T @ np.linalg.solve(jacobian @ jacobian.T + damping, gap)
            worst = max(worst, float(np.sqrt(gap @ gap)))
    return worst


def _ankle(angles: Array, thigh: float, shank: float) -> Array:
    flexion, abduction, rotation, knee = angles
    x, y, z = 0.0, -thigh - shank * np.cos(knee), -shank * np.sin(knee)
    s, c = np.sin(rotation), np.cos(rotation)
    x, z = c * x + s * z, c * z - s * x
    s, c = np.sin(abduction), np.cos(abduction)
    x, y = c * x - s * y, s * x + c * y
    s, c = np.sin(flexion), np.cos(flexion)
    return np.array([x, c * y + s * z, c * z - s * y])


def least_squares_frames(targets: Targets) -> float:
    """Solve every frame of both legs with SciPy's `least_squares`; return the largest distance left, metres."""
    worst = 0.0
    for leg in range(2):
        guess = np.array([0.2, 0.0, 0.0, 0.4])
        for goal in targets.ankle[:, leg] - targets.hip[:, leg]:
            found = least_squares(lambda q, goal=goal: _ankle(q, targets.thigh, targets.shank) - goal, guess)
            guess = found.x
            worst = max(worst, float(np.linalg.norm(found.fun)))
    return worst
