"""Read a mesh's triangles from PLY or glTF, by the trimesh library (the extra ``mesh``)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError, InputError

__all__ = ["read_triangles"]

SUFFIXES = (".ply", ".gltf", ".glb")


def read_triangles(path: Path) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Return corners ``(n, 3)`` in the file's own unit and triangles ``(m, 3)``; a scene's parts are put together.

    Raises FileError if the file can't be read, InputError if it holds no triangles or the library isn't there.
    """
    place = str(path)
    if path.suffix.lower() not in SUFFIXES:
        raise FileError(f"expected one of {', '.join(SUFFIXES)}", place=place)
    if not path.is_file():
        raise FileError("expected a mesh, but there is no such file", place=place)
    try:
        import trimesh
    except ImportError:
        raise InputError("reading a mesh needs trimesh; install surefoot with the extra mesh", place=place) from None
    try:
        mesh: Any = trimesh.load_scene(path).to_mesh()
    except Exception as error:  # whatever a faulty file makes the reader raise
        lines = str(error).splitlines() if isinstance(error, ValueError) else []
        reason = f"{lines[0]:.80}" if lines else "it's broken or ends too early"
        raise FileError(f"expected a mesh, but it can't be read ({reason})", place=place) from None
    corners, faces = np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.intp)
    if not len(faces):
        raise InputError("expected triangles, got none", place=place)
    return corners, faces
