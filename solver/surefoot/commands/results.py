"""Where a planted clip and its correction go: files in the format of their suffix."""

from __future__ import annotations

from pathlib import Path

from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes
from surefoot.commands.job import Job, check_outputs
from surefoot.errors import InputError
from surefoot.formats.carry import head_of
from surefoot.formats.mapping import Mapping, mapping_path, mapping_text
from surefoot.formats.opening import is_foreign
from surefoot.formats.usd_write import SUFFIXES
from surefoot.layer import layer_between

__all__ = ["layer_file", "planted_files"]


def planted_files(job: Job, planted: Clip, path: str) -> list[tuple[bytes, str]]:
    """Return what is written for ``-o``.

    A stage whose prims are the rig's controls isn't written anew: a correction layer is, and a stage that lays it
    over the original. Raises InputError where one of the two would be the original, which they need.
    """
    if not (_is_stage(job) and Path(path).suffix.lower() in SUFFIXES):
        return job.files(planted, path)
    from surefoot.formats.usd_layer import correction_layer, over_stage

    assert job.mapping is not None
    target = Path(path)
    if target.suffix.lower() != ".usda":
        raise InputError("a stage over another is written as text; name a .usda", place=path)
    layer = target.with_suffix(".contact.usda")
    check_outputs({"--output": path, "the correction layer": str(layer)}, {"the clip": str(job.path)})
    data = correction_layer(job.path, planted, mapping=job.mapping, rig=job.rig)
    said = job.mapping
    carried = {axis.channel for control in job.rig.controls.values() for axis in control.axes.values()}
    known = Mapping(
        said.kind, said.unit, said.axes, said.take, said.ground, said.nodes, {},
        head_of(planted, carried - _not_carried(job)), target.name,
    )  # fmt: skip
    return [
        (over_stage(job.path, layer, target), path),
        (data, str(layer)),
        (mapping_text(known).encode(), str(mapping_path(path))),
    ]


def layer_file(job: Job, planted: Clip, path: str) -> tuple[Clip, bytes]:
    """Return the correction as a clip to add on top, and the bytes for ``--layer``: its own, or a stage's layer."""
    layer = layer_between(job.clip, planted)
    if Path(path).suffix.lower() in SUFFIXES:
        if not _is_stage(job):
            raise InputError("a layer for OpenUSD needs a clip that is a stage of controls", place=path)
        from surefoot.formats.usd_layer import correction_layer

        assert job.mapping is not None
        suffix = Path(path).suffix.lower()
        return layer, correction_layer(job.path, planted, mapping=job.mapping, rig=job.rig, suffix=suffix)
    if is_foreign(path):
        raise InputError("a layer of keys is written as JSON; name a .json", place=path)
    return layer, clip_bytes(layer)


def _is_stage(job: Job) -> bool:
    return job.path.suffix.lower() in SUFFIXES and job.mapping is not None and job.mapping.kind == "controls"


def _not_carried(job: Job) -> set[str]:
    """The channels that no node plays: the knees, and a bend where no node is named for the toes."""
    assert job.mapping is not None
    found = set()
    for name, control in job.rig.controls.items():
        bends = name in job.mapping.nodes and job.mapping.nodes[name].toes is not None
        found |= {axis.channel for key, axis in control.axes.items() if key == "knee" or (key == "bend" and not bends)}
    return found
