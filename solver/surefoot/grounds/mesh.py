"""A mesh in a file: its triangles stand in a file of their own beside it."""

from __future__ import annotations

import numpy as np

from surefoot.ground_mesh import Mesh
from surefoot.ground_mesh_file import read_triangles
from surefoot.grounds.kind import GroundKind, GroundTable, Three, Told, to_heading

__all__ = ["KIND"]


class _Mesh(GroundTable, forbid_unknown_fields=True, kw_only=True):
    file: str
    below: float | None = None
    origin: Three = (0.0, 0.0, 0.0)
    heading_deg: float = 0.0


def _mesh(told: Told[_Mesh]) -> Mesh:
    mesh, metres = told.table, told.metres
    corners, faces = read_triangles(told.folder / mesh.file)
    origin, ceiling = np.array(mesh.origin) * metres, np.inf if mesh.below is None else mesh.below * metres
    return Mesh(corners * metres, faces, to_heading(mesh.heading_deg), origin, ceiling, mesh.name or "mesh")


WANTED = {"file": 'the file of its triangles beside this one, such as file = "rocks.ply"'}

KIND = GroundKind("mesh", _Mesh, _mesh, wanted=WANTED)
