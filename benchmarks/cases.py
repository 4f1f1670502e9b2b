"""What is timed: the lamplighter's cycle, written out as often as it takes, and its ankles as targets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot import Clip, Curve, Flat, Grid, Ground, Mesh, Profile, Rig, demo
from surefoot.contact import find_stances
from surefoot.planting import scene_of
from surefoot.settle import settle

__all__ = ["Targets", "grounds", "long_walk", "reference_targets"]

Array = NDArray[np.float64]


def long_walk(frames: int) -> tuple[Clip, Rig]:
    """Return the lamplighter's cycle written out over ``frames`` frames (a multiple of 24), a loop."""
    clip, rig = demo("lamplighter")
    loops = frames // clip.frames
    if loops == 1:
        return clip, rig
    channels = {}
    for name, curve in clip.channels.items():
        count = len(curve.frames) - 1
        rounds = [curve.frames[:-1] + clip.frames * lap for lap in range(loops)]
        at = np.concatenate([*rounds, curve.frames[:1] + frames])
        index = np.append(np.tile(np.arange(count), loops), 0)
        channels[name] = Curve(
            at, curve.values[index], curve.shapes[index], curve.slope_in[index], curve.slope_out[index],
            None, curve.before, curve.after,
        )  # fmt: skip
    return replace(clip, channels=channels, last=clip.first + frames - 1), rig


def grounds() -> dict[str, Ground]:
    """Return ground that the long walk stands on: flat, stairs of 200 steps, a grid of a million nodes, a big mesh."""
    stones = 0.005 * np.random.default_rng(0).random((1_000, 1_000))
    rows, columns, spacing = 1_420, 71, 0.1  # 201,640 triangles
    z, x = np.meshgrid(np.arange(rows + 1) * spacing - 4.0, np.arange(columns + 1) * spacing - 3.5, indexing="ij")
    corners = np.column_stack([x.ravel(), 0.005 * np.sin(3.0 * x.ravel()) * np.cos(2.0 * z.ravel()), z.ravel()])
    at = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    one, two = (at, at + columns + 1, at + 1), (at + 1, at + columns + 1, at + columns + 2)
    faces = np.concatenate([np.column_stack(one), np.column_stack(two)])
    return {
        "flat": Flat(),
        "200 stairs": Profile.stairs(riser=0.003, tread=0.65, count=200),
        "a grid of 1,000 by 1,000": Grid(stones, 0.15, origin=np.array([-75.0, 0.0, -5.0])),
        "a mesh of 201,640 triangles": Mesh(corners, faces),
    }


@dataclass(frozen=True, slots=True, eq=False)
class Targets:
    """Hip joints and planted ankles of two legs, ``(frames, 2, 3)`` metres, and the bones' lengths."""

    hip: Array
    ankle: Array
    thigh: float
    shank: float


def reference_targets(frames: int) -> Targets:
    """Return what a planted walk asks of each leg, frame by frame."""
    clip, rig = long_walk(frames)
    scene = scene_of(clip, rig)
    settled = settle(scene, find_stances(scene))
    ankle = settled.tracks.unroll_points(scene, settled.ankle)
    leg = rig.legs[0]
    return Targets(scene.hip.transpose(2, 1, 0), ankle.transpose(2, 1, 0), leg.thigh, leg.shank)
