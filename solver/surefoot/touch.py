"""Touch: where every corner of both soles is, and how far below or above the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.heeding import heed
from surefoot.rig import Rig
from surefoot.rotations import matrix
from surefoot.scene import Scene
from surefoot.underfoot import poke_depth

__all__ = ["PER_FRAME", "Touch", "outline_normals"]

Array = NDArray[np.float64]

PER_FRAME = 5
"""Samples a frame, where soles are looked at: the frame itself and four between."""


@dataclass(frozen=True, slots=True, eq=False)
class Touch:
    """The soles of a scene's samples, in ground space.

    Parameters
    ----------
    points : ndarray, shape (3, points, 2, samples)
        The sole's corners, then heel, ball and toe on its centre line, metres.
    height : ndarray, shape (points, 2, samples)
        Straight above the ground, metres.
    gap : ndarray, shape (2, samples)
        Of the lowest corner above the ground, metres.
    depth : ndarray, shape (2, samples)
        Of the deepest place below the ground, along its normal, metres; negative: straight above it.
    """

    scene: Scene
    points: Array
    height: Array
    gap: Array
    depth: Array

    @classmethod
    def of(cls, scene: Scene) -> Self:
        """Work out the soles of every sample."""
        points = scene.soles.points(scene.angles, scene.pose.bend)
        heed()
        points += scene.ankle[:, None]
        heed()
        height = points[1] - scene.ground.height(points[0], points[2])
        gap = height.min(axis=0)
        if scene.ground.is_level:
            return cls(scene, points, height, gap, -gap)
        depth, below = -height, height < 0.0
        if np.count_nonzero(below):
            depth[below] = scene.ground.depth(*points[:, below])
        rig = scene.binding.rig
        poke = poke_depth(scene.ground, rig, scene.soles, scene.ankle, scene.angles, scene.pose.bend)
        deepest = depth.max(axis=0)
        return cls(scene, points, height, gap, np.where(poke > 0.0, np.maximum(deepest, poke), deepest))

    def overlap(self) -> Array:
        """Return by how much the feet cut through each other, ``(samples,)`` metres; negative: apart.

        Each foot is the hull of its sole's corners and its ankle. Two hulls overlap at most as deep
        as their least overlap along any direction; those tried are straight up, square to each sole,
        and square to the edges of each outline in plan. Feet that are apart along the most sideways
        edge of either are apart: by how much isn't worked out any closer.
        """
        hull = np.concatenate([self.points, self.scene.ankle[:, None]], axis=1)
        heed()
        rig, angles = self.scene.binding.rig, self.scene.angles
        normals = outline_normals(rig, angles[1])
        least = np.minimum(*(_overlap_along(hull, edges[0]) for edges in normals))
        (near,) = (least > 0.0).nonzero()
        if len(near):
            hull, angles = hull[..., near], angles[..., near]
            heed()
            turn = matrix(*angles)
            heed()
            edges = np.concatenate(normals)[..., near]
            tried = [(0.0, 1.0, 0.0), turn[:, 1, 0], turn[:, 1, 1], *edges]
            least[near] = np.minimum.reduce([_overlap_along(hull, axis) for axis in tried])
        return least


def outline_normals(rig: Rig, yaw: Array) -> tuple[Array, ...]:
    """Return, for each foot, the directions square to the edges of its outline in plan, ``(edges, 3, samples)``.

    ``yaw`` is the feet's heading, ``(2, samples)`` radians. The first edge is the most sideways one.
    """
    found = []
    for foot, leg in enumerate(rig.legs):
        outline = leg.foot.outline
        edge = np.concatenate([outline[1:], outline[:1]]) - outline
        normal = np.array([edge[:, 1], -edge[:, 0]]) / np.hypot(*edge.T)
        nx, nz = normal[:, np.abs(normal[0]).argsort()[::-1], None]
        s, c = np.sin(yaw[foot]), np.cos(yaw[foot])
        found.append(np.stack([c * nx + s * nz, np.zeros((len(nx), len(s))), c * nz - s * nx], axis=1))
    return tuple(found)


def _overlap_along(hull: Array, axis: tuple[Array | float, ...] | Array) -> Array:
    """Return by how much two point sets ``(3, points, 2, samples)`` overlap along a unit axis."""
    heed()
    along = hull[0] * axis[0] + hull[1] * axis[1] + hull[2] * axis[2]
    first, last = along.min(axis=0), along.max(axis=0)
    return np.asarray(np.minimum(last[0] - first[1], last[1] - first[0]))
