"""Touch: where every corner of both soles is, and how far below or above the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

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
        corners = scene.soles.corners(scene.angles, scene.pose.bend) + scene.ankle[:, None]
        lines = scene.soles.centre_line(scene.angles, scene.pose.bend) + scene.ankle[:, None]
        points = np.concatenate([corners, lines], axis=1)
        height = points[1] - scene.ground.height(points[0], points[2])
        gap = height.min(axis=0)
        if scene.ground.is_level:
            return cls(scene, points, height, gap, -gap)
        depth = scene.ground.depth(points[0], points[1], points[2]).max(axis=0)
        heel, ball, toe = lines[:, 0], lines[:, 1], lines[:, 2]
        for back, front in ((heel, ball), (ball, toe)):
            depth = np.maximum(depth, scene.ground.corners_between(back, front))
        return cls(scene, points, height, gap, depth)

    def overlap(self) -> Array:
        """Return by how much the feet cut through each other, ``(samples,)`` metres; negative: apart.

        Each foot counts as an upright box about its sole in plan, as high as its ankle.
        """
        yaw = self.scene.angles[1]
        low, high = self.points[1].min(axis=0), self.scene.ankle[1]
        least = np.minimum(high[0], high[1]) - np.maximum(low[0], low[1])
        for foot in range(2):
            s, c = np.sin(yaw[foot]), np.cos(yaw[foot])
            for ax, az in ((s, c), (c, -s)):
                along = self.points[0] * ax + self.points[2] * az
                first, last = along.min(axis=0), along.max(axis=0)
                least = np.minimum(least, np.minimum(last[0], last[1]) - np.maximum(first[0], first[1]))
        return np.asarray(least)
