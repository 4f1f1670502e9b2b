"""Clips opened and written by their file's suffix."""

from __future__ import annotations

from collections.abc import Mapping as Table
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from surefoot import formats
from surefoot.clip import Clip
from surefoot.clip_file import load_clip
from surefoot.errors import FileError, InputError, UnknownName, plain_name
from surefoot.formats.bodies import body_clip
from surefoot.formats.carry import clip_of_nodes
from surefoot.formats.form import Format, Reading, Writing
from surefoot.formats.mapping import Mapping, load_mapping, mapping_path, mapping_text
from surefoot.formats.motion import Motion
from surefoot.rig import Rig
from surefoot.rig_file import load_rig
from surefoot.rig_save import rig_text
from surefoot.tabled import held_by
from surefoot.travel import ROOT, with_root

__all__ = [
    "Opened",
    "by_suffix",
    "clip_files",
    "is_foreign",
    "known_formats",
    "open_clip",
    "open_motion",
    "written_form",
]


def known_formats() -> tuple[Format, ...]:
    """Return every format of the table, the native one first."""
    return _held(tuple(formats.FORMATS))


def by_suffix() -> Table[str, Format]:
    """Return every format by each of its suffixes, in the table's order."""
    return _suffixes(tuple(formats.FORMATS))


@cache
def _held(names: tuple[str, ...]) -> tuple[Format, ...]:
    return tuple(held_by("surefoot.formats", names, "FORMAT", Format).values())


@cache
def _suffixes(names: tuple[str, ...]) -> Table[str, Format]:
    return {suffix: form for form in _held(names) for suffix in form.suffixes}


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """A clip, the rig that its file or mapping led to (None where it only names one), and the mapping."""

    clip: Clip
    rig: Rig | None = None
    mapping: Mapping | None = None
    fitted: bool = False


def is_foreign(path: str | Path) -> bool:
    """Return whether a file's suffix is that of another format than the native one."""
    suffix = Path(path).suffix.lower()
    return by_suffix().get(suffix, known_formats()[0]) is not known_formats()[0]


def open_motion(path: str | Path, *, rate: float | str | None = None) -> Motion:
    """Return the nodes, joints or markers in a file of a format that holds some, such as glTF, OpenUSD, BVH or C3D."""
    form = by_suffix().get(Path(path).suffix.lower())
    if form is not None and form.read_motion is not None:
        return form.read_motion(Reading(Path(path), rate=rate))
    if not Path(path).exists():
        raise FileError("can't be read: there is no such file", place=str(path))
    known = ", ".join(suffix for suffix, one in by_suffix().items() if one.read_motion is not None)
    told = "its name doesn't end as that of a known format"
    if form is not None:
        told = f"it holds {form.holds}, which need no mapping" if form.read else f"{form.name} is written only"
    raise InputError(f"{told}; wanted nodes, joints or markers: {known}", place=str(path))


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
    form = by_suffix()[path.suffix.lower()]
    if form.read_clip is not None:
        return Opened(form.read_clip(Reading(path, mapping, rig)), rig, mapping)
    if form.read_motion is None:
        raise InputError(f"{form.name} is written only")
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
        raise InputError('a mapping of kind "channels" is for samples of channels, as in CSV')
    name = str(mapping.clip.get("name") or plain_name(path.stem))
    clip, body = body_clip(motion, mapping, name=name, rig=rig)
    return Opened(clip, body, mapping, fitted=rig is None)


def written_form(path: str | Path) -> Format:
    """Return the format in which a clip goes to ``path``, without a suffix the native one; raise where none is."""
    suffix = Path(path).suffix.lower()
    known = [name for name, one in by_suffix().items() if one.written]
    if suffix and suffix not in by_suffix():
        raise UnknownName("format that is written", suffix, known, place=str(path))
    form = by_suffix().get(suffix, known_formats()[0])
    if form.write_clip is None:
        raise InputError(f"{form.name} is read only; written are {', '.join(known)}", place=str(path))
    return form


def clip_files(
    clip: Clip, rig: Rig | None, path: str | Path, *, fitted: bool = False, rig_file: Path | None = None,
    spline: bool = True,
) -> list[tuple[bytes, str]]:  # fmt: skip
    """Return the files that hold a clip in the format of a suffix, each with its path.

    The clip itself comes first; then its mapping, and its rig where that was ``fitted`` to a capture,
    or where its ``rig_file`` lies in another folder.
    """
    target, form = Path(path), written_form(path)
    assert form.write_clip is not None
    beside: list[tuple[bytes, str]] = []
    if fitted and rig is not None:
        rig_path = target.with_suffix(".rig.toml")
        beside = [(rig_text(rig).encode(), str(rig_path))]
        clip = replace(clip, rig=rig_path.name)
    elif rig_file is not None and rig_file.resolve().parent != target.resolve().parent:
        beside = [(rig_file.read_bytes(), str(target.with_name(rig_file.name)))]
        clip = replace(clip, rig=rig_file.name)
    data, said = form.write_clip(Writing(clip, rig, target, spline))
    mapped = [] if said is None else [(mapping_text(said).encode(), str(mapping_path(path)))]
    return [(data, str(path)), *mapped, *beside]
