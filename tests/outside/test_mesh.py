"""Depth below a mesh against trimesh's closest points."""

from __future__ import annotations

import numpy as np
import trimesh

from tests.outside.table import agrees, alike
from tests.test_ground_mesh import sheet, waves


def test_depth_is_the_distance_to_the_nearest_triangle() -> None:
    """Source: trimesh, triangles.closest_point on every triangle (verified)."""
    mesh, random = sheet(waves, spacing=0.2, size=20), np.random.default_rng(2)
    x, z = random.uniform(-1.5, 1.5, (2, 200))
    y = mesh.height(x, z) + random.uniform(-0.05, 0.05, 200)
    triangles = mesh.vertices[mesh.faces]
    apart, below = [], []
    for point in np.column_stack([x, y, z]):
        near = trimesh.triangles.closest_point(triangles, np.tile(point, (len(triangles), 1)))
        gaps = np.linalg.norm(near - point, axis=1)
        nearest = int(gaps.argmin())
        apart.append(gaps[nearest])
        below.append(float(np.cross(*np.diff(triangles[nearest], axis=0)) @ (near[nearest] - point)) > 0.0)
    depth = mesh.depth(x, y, z)
    agrees("distance to a mesh, m", np.abs(depth), apart, bound=1e-4)
    alike("below a mesh", depth > 0, np.array(below))
