"""glTF 2.0 as a format: nodes read by `gltf_read` and written by `gltf_write`."""

from __future__ import annotations

from surefoot.formats.carry import node_mapping, node_tracks
from surefoot.formats.form import Format, Writing, Written
from surefoot.formats.gltf_read import read_gltf
from surefoot.formats.gltf_write import gltf_bytes

__all__ = ["FORMAT"]


def _write(wish: Writing) -> Written:
    clip, path = wish.clip, wish.path
    rig = wish.rig_for_nodes()
    tracks, said = node_tracks(clip, rig), node_mapping(clip, rig, file=path.name)
    binary = path.suffix.lower() == ".glb"
    return Written(gltf_bytes(tracks, clip.rate, name=clip.name, binary=binary, spline=wish.spline), said)


FORMAT = Format(
    "glTF 2.0", (".glb", ".gltf"), "nodes; CUBICSPLINE and LINEAR", "single floats, 1e-6 m",
    read_motion=lambda file: read_gltf(file.path, rate=file.rate), write_clip=_write,
)  # fmt: skip
