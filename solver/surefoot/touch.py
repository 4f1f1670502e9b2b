"""Touch: where every corner of both soles is, and how far below or above the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.rotations import matrix
from surefoot.scene import Scene

__all__ = ["Touch"]

Array = NDArray[np.float64]


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
        Of the deepest place below the ground, along its normal, metres.
    """

    scene: Scene
    points: Array
    height: Array
    gap: Array
    depth: Array

    @classmethod
    def of(cls, scene: Scene) -> Self:
        """Work out the soles of every sample."""
        points = scene.soles.points(scene.angles, scene.pose.bend) + scene.ankle[:, None]
        height = points[1] - scene.ground.height(points[0], points[2])
        gap = height.min(axis=0)
        if scene.ground.is_level:
            return cls(scene, points, height, gap, -gap)
        depth = scene.ground.depth(points[0], points[1], points[2]).max(axis=0)
        heel, ball, toe = points[:, -3], points[:, -2], points[:, -1]
        for back, front in ((heel, ball), (ball, toe)):
            depth = np.maximum(depth, scene.ground.corners_between(back, front))
        return cls(scene, points, height, gap, depth)

    def overlap(self) -> Array:
        """Return by how much the feet cut through each other, ``(samples,)`` metres; negative: apart.

        Each foot is the hull of its sole's corners and its ankle. Two hulls overlap at most as deep
        as their least overlap along any direction; those tried are straight up, square to each sole,
        and square to the edges of each outline in plan.
        """
        hull = np.concatenate([self.points, self.scene.ankle[:, None]], axis=1)
        turn = matrix(*self.scene.angles)
        least = _overlap_along(hull, (0.0, 1.0, 0.0))
        for foot, leg in enumerate(self.scene.binding.rig.legs):
            least = np.minimum(least, _overlap_along(hull, turn[:, 1, foot]))
            yaw = self.scene.angles[1, foot]
            s, c = np.sin(yaw), np.cos(yaw)
            edge = np.roll(leg.foot.outline, -1, axis=0) - leg.foot.outline
            normal = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.hypot(*edge.T)[:, None]
            for nx, nz in normal:
                least = np.minimum(least, _overlap_along(hull, (c * nx + s * nz, 0.0, c * nz - s * nx)))
        return least


def _overlap_along(hull: Array, axis: tuple[Array | float, ...] | Array) -> Array:
    """Return by how much two point sets ``(3, points, 2, samples)`` overlap along a unit axis."""
    along = hull[0] * axis[0] + hull[1] * axis[1] + hull[2] * axis[2]
    first, last = along.min(axis=0), along.max(axis=0)
    return np.asarray(np.minimum(last[0] - first[1], last[1] - first[0]))
