"""What is timed: the lamplighter's cycle, written out as often as it takes, and its ankles as targets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot import Clip, Curve, Rig, demo
from surefoot.contact import find_stances
from surefoot.planting import scene_of
from surefoot.settle import settle

__all__ = ["Targets", "long_walk", "reference_targets"]

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
