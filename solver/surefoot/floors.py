"""Floors: how high an ankle must be for its sole to be out of the ground, corners of the ground included."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.scene import Scene
from surefoot.tolerances import REFERENCE_LEG
from surefoot.underfoot import BENEATH, is_even, rise_inside

__all__ = ["floor_under", "onto_ground", "swept_floor"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SWEPT = (0.25, 0.5, 0.75)
"""Where between two frames the ground under a swinging sole is asked for."""


def onto_ground(scene: Scene, stood: Array, angles: Array, bend: Array, planted: Flags) -> Array:
    """Lift planted feet, straight up, out of ground that their footprint's plane doesn't tell of.

    Where the ground gives way a little beneath that plane they follow it down.
    """
    raised = stood.copy()
    if is_even(scene.ground):
        floor = floor_under(scene, stood[0], stood[2], angles, bend)
        raised[1] = np.where(planted & (floor - stood[1] > 1e-9), floor, stood[1])
        return raised
    foot = planted.nonzero()[0]
    part = stood[:, planted], angles[:, planted], bend[planted]
    off = _floor_of(scene, foot, *part) - part[0][1]
    near = BENEATH * scene.binding.rig.leg / REFERENCE_LEG
    raised[1, planted] += np.where((off > 1e-9) | ((off < 0.0) & (off > -near)), off, 0.0)
    return raised


def _floor_of(scene: Scene, foot: NDArray[np.intp], ankle: Array, angles: Array, bend: Array) -> Array:
    """Return the height of the ankle at which a sole touches, corners of the ground too, for samples ``(n,)``."""
    soles, ground = scene.soles.gathered(foot), scene.ground
    corner = soles.corners(angles[:, None], bend[None])
    floor = (ground.height(ankle[0] + corner[0], ankle[2] + corner[2]) - corner[1]).max(axis=0)
    at = np.array([ankle[0][None], floor, ankle[2][None]])
    return np.asarray((floor + rise_inside(ground, scene.binding.rig, soles, at, angles[:, None], bend[None]))[0])


def floor_under(scene: Scene, x: Array, z: Array, angles: Array, bend: Array) -> Array:
    """Return the height of the ankle at which the sole's lowest point touches, ``(2, n)`` metres."""
    if scene.ground.is_level:
        level = float(scene.ground.height(np.zeros(1), np.zeros(1))[0])
        return np.asarray(level - scene.soles.lowest(angles[0], angles[2], bend))
    corner = scene.soles.corners(angles, bend)
    return np.asarray((scene.ground.height(x + corner[0], z + corner[2]) - corner[1]).max(axis=0))


def swept_floor(scene: Scene, known: Flags, ankle: Array, angles: Array, bend: Array) -> Array:
    """Return the lowest ankle of each swing frame, ``(2, n)``, at which the sole clears the ground it sweeps over.

    That's the ground under it at the frame and at places on the way to both neighbours; -inf in known frames.
    """
    free = ~known
    foot = free.nonzero()[0]
    floor = np.full(known.shape, -np.inf)
    floor[free] = _floor_of(scene, foot, ankle[:, free], angles[:, free], bend[free])
    ways = free[:, :-1] | free[:, 1:]
    foot, at = ways.nonzero()
    for share in SWEPT:
        part = [
            values[..., foot, at] * (1.0 - share) + values[..., foot, at + 1] * share
            for values in (ankle, angles, bend)
        ]
        between = np.full(ways.shape, -np.inf)
        between[ways] = _floor_of(scene, foot, *part)
        floor[:, :-1] = np.maximum(floor[:, :-1], between)
        floor[:, 1:] = np.maximum(floor[:, 1:], between)
    return np.where(known, -np.inf, floor)
