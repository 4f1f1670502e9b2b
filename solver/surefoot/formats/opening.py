"""Clips opened and written by their file's suffix."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, load_clip
from surefoot.errors import FileError, InputError, UnknownName
from surefoot.formats.bodies import body_clip
from surefoot.formats.bvh import read_bvh
from surefoot.formats.c3d import read_c3d
from surefoot.formats.carry import clip_of_nodes, node_mapping, node_tracks
from surefoot.formats.gltf_read import read_gltf
from surefoot.formats.gltf_write import gltf_bytes
from surefoot.formats.mapping import Mapping, Node, load_mapping, mapping_path, mapping_text
from surefoot.formats.motion import Motion
from surefoot.formats.samples_csv import csv_bytes, csv_mapping, read_csv
from surefoot.formats.usd_read import read_usd
from surefoot.formats.usd_write import usd_bytes
from surefoot.rig import Rig
from surefoot.rig_file import load_rig
from surefoot.rig_save import rig_text
from surefoot.travel import ROOT, with_root

__all__ = ["FORMATS", "SUFFIXES", "Format", "Opened", "clip_files", "is_foreign", "open_clip", "open_motion"]


@dataclass(frozen=True, slots=True)
class Format:
    """A format: its suffixes, what it holds, whether it's read and written, its precision, and what it needs."""

    name: str
    suffixes: tuple[str, ...]
    holds: str
    read: bool
    written: bool
    precision: str
    needs: str = ""


FORMATS = (
    Format("native JSON", (".json",), "channels, keys and all", True, True, "exact"),
    Format("CSV", (".csv",), "channels, sampled", True, True, "exact at frames"),
    Format("glTF 2.0", (".glb", ".gltf"), "nodes; CUBICSPLINE and LINEAR", True, True, "single floats, 1e-6 m"),
    Format("OpenUSD", (".usda", ".usdc", ".usd"), "prims or a skeleton", True, True, "double floats", "usd"),
    Format("BVH", (".bvh",), "joints", True, False, "as written in the file"),
    Format("C3D", (".c3d",), "markers", True, False, "single floats", "c3d"),
)
SUFFIXES = {suffix: one for one in FORMATS for suffix in one.suffixes}


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """A clip, the rig that its file or mapping led to (None where it only names one), and the mapping."""

    clip: Clip
    rig: Rig | None = None
    mapping: Mapping | None = None
    fitted: bool = False


def is_foreign(path: str | Path) -> bool:
    """Return whether a file's suffix is that of another format than the native one."""
    return Path(path).suffix.lower() in SUFFIXES and Path(path).suffix.lower() != ".json"


def open_motion(path: str | Path, *, rate: float | str | None = None) -> Motion:
    """Return the nodes, joints or markers in a file: glTF, OpenUSD, BVH or C3D."""
    suffix = Path(path).suffix.lower()
    reader: Callable[[str | Path], Motion]
    if suffix in (".glb", ".gltf"):
        return read_gltf(path, rate=rate)
    if suffix in (".usda", ".usdc", ".usd"):
        return read_usd(path, rate=rate)
    if suffix == ".bvh":
        reader = read_bvh
    elif suffix == ".c3d":
        reader = read_c3d
    elif not Path(path).exists():
        raise FileError("can't be read: there is no such file", place=str(path))
    else:
        known = ", ".join(one for one, form in SUFFIXES.items() if form.name not in ("native JSON", "CSV"))
        held = SUFFIXES[suffix].holds if suffix in SUFFIXES else ""
        told = f"it holds {held}, which need no mapping" if held else "its name doesn't end as that of a known format"
        raise InputError(f"{told}; wanted nodes, joints or markers: {known}", place=str(path))
    return reader(path)


def open_clip(path: str | Path, *, mapping: str | Path | None = None, rig: str | Rig | None = None) -> Opened:
    """Return the clip in a file of any format that is read.

    Parameters
    ----------
    path : path
        What isn't of a known suffix is taken for native JSON.
    mapping : path or None
        Its mapping; left out, the one beside it (``walk.glb.map.toml``).
    rig : name, path, Rig or None
        Wins over what clip and mapping name.

    Raises InputError and its kin, with the file and the place in it.
    """
    if not is_foreign(path):
        if mapping is not None:
            raise InputError("a clip in JSON needs no mapping", place=f"the mapping {mapping}")
        return Opened(load_clip(path))
    beside = mapping_path(path)
    _look(Path(path))
    found = mapping if mapping is not None else beside if beside.is_file() else None
    said = None if found is None else load_mapping(found)
    body = _rig_of(rig, said, Path(path if found is None else found))
    try:
        return _opened(Path(path), said, body)
    except InputError as error:
        told = error.place.startswith(str(path))
        raise (error if told else error.within(str(path))) from None


def _look(path: Path) -> None:
    """Raise FileError unless there is a file with something in it."""
    try:
        size = path.stat().st_size
    except (OSError, ValueError) as error:
        raise FileError(f"can't be read: {getattr(error, 'strerror', None) or error}", place=str(path)) from None
    if not size:
        raise FileError("the file is empty", place=str(path))


def _rig_of(given: str | Rig | None, mapping: Mapping | None, base: Path) -> Rig | None:
    if isinstance(given, Rig):
        return given
    name = given or (str(mapping.clip.get("rig") or "") if mapping is not None else "")
    if not name:
        return None
    beside = base.parent / name
    return load_rig(beside if not given and name.endswith(".toml") and beside.is_file() else name)


def _opened(path: Path, mapping: Mapping | None, rig: Rig | None) -> Opened:
    if path.suffix.lower() == ".csv":
        clip = read_csv(path, mapping, rig=rig)
        return Opened(clip, rig, mapping)
    if mapping is None:
        raise InputError(
            f"it needs a mapping that says which node, joint or marker is which; surefoot map {path.name} proposes one"
        )
    motion = open_motion(path, rate=mapping.clip.get("rate"))
    if mapping.kind == "controls":
        if rig is None:
            raise InputError("its mapping names no rig, under clip.rig; give one")
        if ROOT in mapping.nodes:
            rig = with_root(rig)
        return Opened(clip_of_nodes(motion, mapping, rig), rig, mapping)
    if mapping.kind == "channels":
        raise InputError('a mapping of kind "channels" is for CSV only')
    name = str(mapping.clip.get("name") or path.stem)
    clip, body = body_clip(motion, mapping, name=name, rig=rig)
    return Opened(clip, body, mapping, fitted=rig is None)


def clip_files(
    clip: Clip, rig: Rig | None, path: str | Path, *, fitted: bool = False, rig_file: Path | None = None,
    spline: bool = True,
) -> list[tuple[bytes, str]]:  # fmt: skip
    """Return the files that hold a clip in the format of a suffix, each with its path.

    The clip itself comes first; then its mapping, and its rig where that was ``fitted`` to a capture,
    or where its ``rig_file`` lies in another folder.
    """
    target, suffix = Path(path), Path(path).suffix.lower()
    if suffix and suffix not in SUFFIXES:
        known = [name for name, one in SUFFIXES.items() if one.written]
        raise UnknownName("format that is written", suffix, known, place=str(path))
    form = SUFFIXES.get(suffix, FORMATS[0])
    if not form.written:
        raise InputError(f"{form.name} is read only", place=str(path))
    beside: list[tuple[bytes, str]] = []
    if fitted and rig is not None:
        rig_path = target.with_suffix(".rig.toml")
        beside = [(rig_text(rig).encode(), str(rig_path))]
        clip = replace(clip, rig=rig_path.name)
    elif rig_file is not None and rig_file.resolve().parent != target.resolve().parent:
        beside = [(rig_file.read_bytes(), str(target.with_name(rig_file.name)))]
        clip = replace(clip, rig=rig_file.name)
    if form is FORMATS[0]:
        return [(clip_bytes(clip), str(path)), *beside]
    said, data = _written(clip, rig, target, suffix, spline)
    return [(data, str(path)), (mapping_text(said).encode(), str(mapping_path(path))), *beside]


def _written(clip: Clip, rig: Rig | None, target: Path, suffix: str, spline: bool) -> tuple[Mapping, bytes]:
    if suffix == ".csv":
        return csv_mapping(clip, file=target.name), csv_bytes(clip, rig)
    if rig is None:
        raise InputError("nodes need a rig to move; give one", place=str(target))
    tracks, said = node_tracks(clip, rig), node_mapping(clip, rig, file=target.name)
    if suffix in (".glb", ".gltf"):
        return said, gltf_bytes(tracks, clip.rate, name=clip.name, binary=suffix == ".glb", spline=spline)
    data, paths = usd_bytes(tracks, clip.rate, first=clip.first, suffix=suffix, name=clip.name)
    nodes = {
        name: Node(paths[node.node], None if node.toes is None else paths[node.toes], node.turn, node.start)
        for name, node in said.nodes.items()
    }
    return replace(said, nodes=nodes), data
