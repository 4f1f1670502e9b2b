"""OpenUSD as a format: prims or a skeleton read by `usd_read`, nodes written by `usd_write`."""

from __future__ import annotations

from dataclasses import replace

from surefoot.formats.carry import node_mapping, node_tracks
from surefoot.formats.form import Format, Writing, Written
from surefoot.formats.mapping import Node
from surefoot.formats.usd_read import read_usd
from surefoot.formats.usd_write import SUFFIXES, usd_bytes

__all__ = ["FORMAT"]


def _write(wish: Writing) -> Written:
    clip, path = wish.clip, wish.path
    rig = wish.rig_for_nodes()
    tracks, said = node_tracks(clip, rig), node_mapping(clip, rig, file=path.name)
    data, paths = usd_bytes(tracks, clip.rate, first=clip.first, suffix=path.suffix.lower(), name=clip.name)
    nodes = {
        name: Node(paths[node.node], None if node.toes is None else paths[node.toes], node.turn, node.start)
        for name, node in said.nodes.items()
    }
    return Written(data, replace(said, nodes=nodes))


FORMAT = Format(
    "OpenUSD", SUFFIXES, "prims or a skeleton", "double floats", "usd",
    read_motion=lambda file: read_usd(file.path, rate=file.rate), write_clip=_write,
)  # fmt: skip
