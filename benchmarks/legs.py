"""Timings of posing legs, as lines of the one table; alone with ``python -m benchmarks.legs``.

The same ankle targets, to the same micrometre, solved for all frames at once and frame by frame by damped least
squares on MuJoCo's Jacobian, each frame started from the one before: with free joints (where the closed form serves),
with ranges that bind in part of the frames, and with a third bone.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import mujoco
import numpy as np
from numpy.typing import NDArray

import surefoot
from benchmarks.cases import Targets, long_walk, reference_targets
from benchmarks.references import CLOSE, mujoco_frames
from benchmarks.table import Table, alone
from surefoot.bounded import solve_bounded
from surefoot.hinge_chain import Hinge, HingeChain
from surefoot.leg import knee_point
from surefoot.leg_chain import LegChain
from surefoot.leg_joints import joint_angles
from surefoot.restyle import convert

Array = NDArray[np.float64]
Job = Callable[[], object]


def chain_of(thigh: float, shank: float, hock: float) -> HingeChain:
    """Return hip, knee and, with a third bone, hock; the ankle is its only point."""
    hinges = [Hinge("flexion", "x", sign=-1.0), Hinge("abduction", "z"), Hinge("rotation", "y", sign=-1.0),
              Hinge("knee", "x", (0.0, -thigh, 0.0))]  # fmt: skip
    last = shank
    if hock:
        hinges.append(Hinge("hock", "x", (0.0, -shank, 0.0), -1.0))
        last = hock
    return HingeChain(tuple(hinges), (("ankle", len(hinges), (0.0, -last, 0.0)),))


def closed(targets: Targets) -> None:
    """Solve every frame of both legs in closed form, all seven angles."""
    hip, ankle = targets.hip.transpose(2, 1, 0), targets.ankle.transpose(2, 1, 0)
    count = hip.shape[-1]
    forward = np.zeros_like(hip)
    forward[2] = 1.0
    knee = knee_point(hip, ankle, forward, targets.thigh, targets.shank)
    turn = np.broadcast_to(np.eye(3)[..., None], (3, 3, count))
    chain = LegChain.of(surefoot.load_rig("lamplighter"))
    joint_angles(turn, hip, knee, ankle, np.zeros_like(hip), np.zeros(hip.shape[1:]), chain=chain, forward=forward)


def batched(way: Array, chain: HingeChain, low: Array, high: Array, start: Array) -> Array:
    """Solve all frames at once; returns the distance left, metres."""
    count = way.shape[-1]
    begin = np.repeat(start[:, None], count, axis=1)
    return solve_bounded(way[:, None], chain, weights=np.ones(1), low=low, high=high, start=begin, guess=True).residual


def framewise(way: Array, chain: HingeChain, low: Array, high: Array, start: Array) -> Array:
    """Solve frame by frame by damped least squares, clipped to the ranges; returns the distance left, metres."""
    spec = mujoco.MjSpec()
    body = spec.worldbody
    for hinge in chain.hinges:
        body = body.add_body(pos=hinge.place)
        axis = [0.0, 0.0, 0.0]
        axis["xyz".index(hinge.axis)] = hinge.sign
        body.add_joint(type=mujoco.mjtJoint.mjJNT_HINGE, axis=axis)
        body.add_geom(type=mujoco.mjtGeom.mjGEOM_SPHERE, size=[0.01, 0, 0])
    body.add_site(name="ankle", pos=chain.points[0][2])
    model = spec.compile()
    data = mujoco.MjData(model)
    jacobian = np.zeros((3, model.nv))
    site, damping = model.site("ankle").id, 1e-6 * np.eye(model.nv)
    data.qpos[:] = start
    left = np.empty(way.shape[-1])
    for k in range(way.shape[-1]):
        before = np.inf
        for _ in range(50):
            mujoco.mj_kinematics(model, data)
            mujoco.mj_comPos(model, data)
            gap = way[:, k] - data.site_xpos[site]
            size = float(gap @ gap)
            if size < CLOSE**2 or abs(before - size) < 1e-12:
                break
            before = size
            mujoco.mj_jacSite(model, data, jacobian, None, site)
            step = np.linalg.solve(jacobian.T @ jacobian + damping, jacobian.T @ gap)
            data.qpos[:] = np.minimum(np.maximum(data.qpos + step, low), high)
        left[k] = np.sqrt(size)
    return left


def fill(table: Table) -> None:
    """Print the lines of the legs: ours, and MuJoCo's on the same targets."""
    for frames in (24, 240, 2_400):
        targets = reference_targets(frames)
        _both(table, "two legs, closed form", frames, partial(closed, targets), partial(mujoco_frames, targets))
        way = (targets.ankle - targets.hip)[:, 0].T
        for what, hock, least in (("one leg, a range binds", 0.0, 0.45), ("one leg with a hock", 0.16, 0.0)):
            chain = chain_of(targets.thigh, targets.shank - hock, hock)
            low, high = np.full(len(chain.hinges), -1.2), np.full(len(chain.hinges), 2.0)
            low[3] = least
            start = np.array([0.2, 0.0, 0.0, 0.5, 0.3])[: len(chain.hinges)]
            job = (way, chain, low, high, start)
            left = [f"{1e6 * float(solve(*job).mean()):.1f}" for solve in (batched, framewise)]
            told = f"; mean left, micrometres: {' and '.join(left)}"
            _both(table, what, frames, partial(batched, *job), partial(framewise, *job), told)
    clip, rig = long_walk(24)
    for style in ("ankle", "rockers", "joints"):
        made = convert(clip, rig, style=style)
        table.run(f"a whole plant, feet by {style}", 24, partial(surefoot.plant, made.clip, made.rig))


def _both(table: Table, what: str, frames: int, ours: Job, theirs: Job, told: str = "") -> None:
    own = table.run(f"{what}: ours", frames, ours)
    table.run(f"{what}: MuJoCo", frames, theirs, most=5, against=(own, "ours"), told=told)


if __name__ == "__main__":
    alone(fill)
