"""Lean: the turns that lay footprints onto the ground under them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.ground import Ground, Plane
from surefoot.rotations import apply
from surefoot.scene import Scene
from surefoot.seat import seats_of
from surefoot.sole import FOREFOOT, HEEL

__all__ = ["along_slope", "lean_of", "leaning", "planar_lean", "seated_lean", "tilt_onto"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


def tilt_onto(nx: Array, ny: Array, nz: Array) -> Array:
    """Return the least turns ``(3, 3, ...)`` that carry +Y onto unit normals, which point up."""
    k = 1.0 / (1.0 + ny)
    return np.array(
        [
            [1.0 - k * nx * nx, nx, -k * nx * nz],
            [-nx, ny, -nz],
            [-k * nx * nz, nz, 1.0 - k * nz * nz],
        ]
    )


def lean_of(ground: Ground) -> Array | None:
    """Return the turn ``(3, 3)`` that carries +Y onto the normal of ground that slopes alike everywhere.

    None on level ground, and on ground whose slope is another from place to place: that is looked at in plan.
    """
    return None if ground.is_level or not isinstance(ground, Plane) else tilt_onto(*ground.normal_at_point)


def along_slope(x: Array, z: Array, lean: Array | None) -> Array:
    """Return vectors ``(3, ...)`` across level ground, laid onto the slope that ``lean`` is of."""
    level = np.array([x, np.zeros_like(x), z])
    return level if lean is None else apply(lean, level)


def planar_lean(origin: Array, yaw: Array, foot_of: Indices, scene: Scene) -> Array:
    """Lean each footprint on the ground under its heel and ball, and its inner and outer edge."""
    s, c = np.sin(yaw), np.cos(yaw)
    x, z = origin[0], origin[2]
    _, _, _, back, _, _ = scene.soles.rockers[:, 3 * foot_of + HEEL]
    _, half, _, front, _, _ = scene.soles.rockers[:, 3 * foot_of + FOREFOOT]
    half = half * 0.5

    def height(dx: Array, dz: Array) -> Array:
        return scene.ground.height(x + c * dx + s * dz, z - s * dx + c * dz)

    zero = np.zeros_like(x)
    along = (height(zero, front) - height(zero, back)) / (front - back)
    across = (height(half, zero) - height(-half, zero)) / (2.0 * half)
    return leaning(yaw, along, across)


def seated_lean(origin: Array, yaw: Array, foot_of: Indices, scene: Scene) -> Array:
    """Lean each footprint on the ground that its sole lies on where it is."""
    place = origin[::2]
    seats = seats_of(scene.ground, scene.binding.rig, place, yaw, foot_of, movable=False)
    return leaning(yaw, seats.along, seats.across)


def leaning(yaw: Array, along: Array, across: Array) -> Array:
    """Return the turns onto ground that rises along headings and to their left, rise over run."""
    s, c = np.sin(yaw), np.cos(yaw)
    gx, gz = s * along + c * across, c * along - s * across
    size = 1.0 / np.sqrt(1.0 + gx**2 + gz**2)
    return tilt_onto(-gx * size, size, -gz * size)
