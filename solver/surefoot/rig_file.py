"""Rigs as TOML files, and the presets that ship with the package."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.errors import FileError, InputError, UnknownName
from surefoot.file_faults import Words, in_plain_words, named_fault, read_text, toml_table
from surefoot.given import checked
from surefoot.rig import AXES, LENGTHWISE, Axis, Control, Foot, Leg, Limits, Rig
from surefoot.rig_styles import rig_in_style
from surefoot.rig_tables import AxisTable, ControlTable, FootTable, LegTable, MirrorTable, RigTable, Triple, WidthsTable
from surefoot.side_map import mirror_map
from surefoot.units import ANGLES, LENGTHS, unit_scale

__all__ = ["FORMAT", "load_rig", "parse_rig", "preset_names", "presets_folder"]

FORMAT = "rig/1"
WANTED = "a rig in TOML"
PAPER = 0.2
"""How broad a cut-out's foot is taken to be, as a share of its length: it has no breadth of its own."""
Array = NDArray[np.float64]
WORDS = Words(
    fields=[
        name
        for part in (RigTable, LegTable, FootTable, WidthsTable, ControlTable, AxisTable, MirrorTable)
        for name in part.__struct_fields__
    ],
    choices={},
)


def presets_folder() -> Path:
    """Return the folder of the rigs that ship with the package."""
    inside = Path(__file__).parent / "rigs"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "rigs"


def preset_names() -> list[str]:
    """Return the names of the rigs that ship with the package."""
    return sorted(path.stem for path in presets_folder().glob("*.toml"))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except ValueError:  # a null character in the name, in older versions of Python
        return False


@checked()
def load_rig(name_or_path: str | Path) -> Rig:
    """Return the rig of a preset's name or of a TOML file.

    Parameters
    ----------
    name_or_path : str or path
        A preset's name, such as ``lamplighter``, or a file whose name ends in ``.toml``.

    Raises
    ------
    UnknownName
        If it is neither a file nor a preset; lists the presets.
    FileError, InputError
        If the file can't be read or holds something else; names the place.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml" and not _is_file(path):
        if str(name_or_path) not in preset_names():
            raise UnknownName("rig", str(name_or_path), preset_names())
        path = presets_folder() / f"{name_or_path}.toml"
    return parse_rig(read_text(path, what=WANTED), place=str(path))


def parse_rig(text: str, *, place: str = "rig") -> Rig:
    """Return the rig written in ``text`` (TOML); ``place`` names it in errors."""
    table = toml_table(text, FORMAT, what=WANTED, place=place)
    try:
        raw = msgspec.convert(table, RigTable)
    except msgspec.ValidationError as error:
        raise _fault(error, table, place) from None
    try:
        return _build(raw)
    except InputError as error:
        raise error.within(place) from None


def _fault(error: msgspec.ValidationError, table: dict[str, Any], place: str) -> FileError:
    """Return what isn't as the format has it; a control, limit or tolerance is told by its name."""
    told, where = in_plain_words(error, WORDS)
    for field, kind in (("controls", ControlTable), ("tolerances", Triple), ("mirror", MirrorTable)):
        if where.startswith(f"$.{field}["):
            found = named_fault(table.get(field), kind, WORDS, place=field)
            if found is not None:
                told, where = found.reason, found.place
    where = where.removeprefix("$").removeprefix(".").replace("[...]", "")
    return FileError(told, place=f"{place}: {where}" if where else place)


def _build(raw: RigTable) -> Rig:
    if raw.unit not in LENGTHS:
        raise UnknownName("length unit", raw.unit, LENGTHS, place="unit")
    if raw.angle not in ANGLES:
        raise UnknownName("angle unit", raw.angle, ANGLES, place="angle")
    metre, radian = LENGTHS[raw.unit], ANGLES[raw.angle]
    left = _leg(raw.leg, metre, radian, "leg", planar=raw.planar)
    right = (
        left.mirrored() if raw.right_leg is None else _leg(raw.right_leg, metre, radian, "right_leg", planar=raw.planar)
    )
    tables = raw.controls or _default_controls(raw, metre, left, right)
    controls = {name: _control(name, table, raw, metre) for name, table in tables.items()}
    _check_channels(controls)
    made = Rig(
        name=raw.name,
        legs=(left, right),
        controls=controls,
        reach=raw.reach,
        tolerances={kind: _tolerance(kind, triple) for kind, triple in raw.tolerances.items()},
        style=raw.style if raw.controls or raw.style not in Rig.STYLES else "ankle",
        planar=raw.planar,
        source=raw.source,
        any_size=raw.any_size,
        mirror={name: (one.to, one.factor, one.offset) for name, one in raw.mirror.items()},
        drawn=raw.drawn,
        soften=raw.soften,
    )
    if raw.mirror:
        mirror_map(made)
    return made if made.style == raw.style else rig_in_style(made, raw.style)


def _leg(raw: LegTable, metre: float, radian: float, place: str, *, planar: bool) -> Leg:
    ranges: dict[str, Any] = {}
    for name, (low, high) in raw.limits.items():
        if name not in Limits.ALL:
            raise UnknownName("joint limit", name, Limits.ALL, place=f"{place}.limits")
        if not low < high:
            raise InputError(f"wanted the smaller angle first, got {low:g}, {high:g}", place=f"{place}.limits.{name}")
        ranges[name] = (low * radian, high * radian)
    for name, length in (("thigh", raw.thigh), ("shank", raw.shank)):
        if not 0.0 < length < np.inf:
            raise InputError(f"a bone needs a length above 0, got {length:g}", place=f"{place}.{name}")
    try:
        foot = _foot(raw.foot, metre, radian, planar=planar)
        hip = _point(raw.hip, "hip", planar=planar) * metre
        shank, thigh, hock = raw.shank * metre, raw.thigh * metre, raw.hock * metre
        return Leg(hip, thigh, shank, foot, Limits(**ranges), hock, raw.backward)
    except InputError as error:
        raise error.at(f"{place}.{error.place.removeprefix('leg.')}") from None


def _point(given: list[float], place: str, *, planar: bool) -> Array:
    """Return a point of the file as x, y and z, in the file's unit."""
    if planar and len(given) == 2:
        return np.array([0.0, given[1], given[0]])
    if len(given) != 3:
        wanted = "two numbers (z, y) or three" if planar else "three numbers (x, y, z)"
        raise InputError(f"wanted {wanted}, got {len(given)}", place=place)
    return np.array(given)


def _foot(raw: FootTable, metre: float, radian: float, *, planar: bool) -> Foot:
    points = {name: _point(getattr(raw, name), f"foot.{name}", planar=planar) for name in ("heel", "ball", "toe")}
    heel, ball, toe = (point * metre for point in points.values())
    if planar and raw.outline is None and raw.widths is None:
        breadth = PAPER * (points["toe"][2] - points["heel"][2])
        raw.widths = WidthsTable(breadth, breadth, breadth)
    if (raw.outline is None) == (raw.widths is None):
        raise InputError("give either widths (heel, ball, toe) or an outline of [x, z] corners", place="foot")
    if raw.outline is not None:
        outline = np.array(raw.outline, dtype=np.float64) * metre
    else:
        assert raw.widths is not None
        pairs = ((heel, raw.widths.heel), (ball, raw.widths.ball), (toe, raw.widths.toe))
        for name, (_, width) in zip(("heel", "ball", "toe"), pairs, strict=True):
            if not 0.0 <= width < np.inf:
                raise InputError(f"wanted a width of 0 or more, got {width:g}", place=f"foot.widths.{name}")
        outline = np.array(
            [[p[0] + side * width * metre / 2, p[2]] for p, width in pairs for side in (-1, 1)], dtype=np.float64
        )
    onset = {} if raw.onset is None else {"onset": raw.onset * radian}
    return Foot(heel, ball, toe, outline, raw.hinged, **onset)


def _default_controls(raw: RigTable, metre: float, left: Leg, right: Leg) -> dict[str, ControlTable]:
    """Controls named after the part and the axis, in the world, zero at the feet's stand."""
    plane = ("z", "y", "pitch") if raw.planar else ("x", "y", "z", "pitch", "yaw", "roll")
    hips: dict[str, Any] = {axis: f"hips.{axis}" for axis in plane}
    tables = {"hips": ControlTable(**hips)}
    for side, leg in (("left", left), ("right", right)):
        name = f"{side}_foot"
        axes: dict[str, Any] = {
            ("cant" if axis == "roll" else axis): f"{name}.{'cant' if axis == 'roll' else axis}" for axis in plane
        }
        if leg.foot.hinged:
            axes["bend"] = f"{name}.bend"
        x = 0.0 if raw.planar else float(leg.hip[0]) / metre
        tables[name] = ControlTable(rest=[x, -leg.foot.sole / metre, 0.0], **axes)
    return tables


def _control(name: str, raw: ControlTable, rig: RigTable, metre: float) -> Control:
    axes: dict[str, Axis] = {}
    canted = rig.style in Rig.STYLES and "cant" in Rig.STYLES[rig.style].axes
    for field in dict.fromkeys((*AXES[:6], "cant", *AXES)):
        given = getattr(raw, field)
        if given is None:
            continue
        axis = AxisTable(channel=given) if isinstance(given, str) else given
        place = f"controls.{name}.{field}"
        if not np.isfinite(axis.zero):
            raise InputError(f"zero must be finite, got {axis.zero}", place=place)
        if axis.sign not in (-1.0, 1.0):
            raise InputError(f"sign must be 1 or -1, got {axis.sign!r}", place=place)
        length = field in LENGTHWISE
        unit = axis.unit or (rig.unit if length else rig.angle)
        if unit not in (LENGTHS if length else ANGLES):
            raise UnknownName(
                "length unit" if length else "angle unit", unit, LENGTHS if length else ANGLES, place=place
            )
        key = "roll" if field == "cant" and not canted else field
        if key in axes:
            raise InputError("roll and cant are one axis; give one of them", place=place)
        axes[key] = Axis(axis.channel, axis.sign * unit_scale(unit), axis.zero, axis.optional)
    rest = _point(raw.rest or [0.0, 0.0, 0.0], f"controls.{name}.rest", planar=rig.planar) * metre
    return Control(name, axes, raw.parent, rest, raw.order, raw.rockers)


def _check_channels(controls: dict[str, Control]) -> None:
    """Raise if two axes read one channel: what is written for one would move the other."""
    seen: dict[str, str] = {}
    for control in controls.values():
        for key, axis in control.axes.items():
            place = f"controls.{control.name}.{key}"
            if axis.channel in seen:
                raise InputError(f"the channel {axis.channel!r} already drives {seen[axis.channel]}", place=place)
            seen[axis.channel] = place


def _tolerance(kind: str, triple: Triple) -> Triple:
    """Tolerances are written in millimetres and degrees, whatever the rig's own unit."""
    from surefoot.tolerances import KINDS

    if kind not in KINDS:
        raise UnknownName("kind of finding", kind, KINDS, place="tolerances")
    if not (0 <= triple[0] <= triple[1] <= triple[2] < np.inf and triple[1] > 0):
        raise InputError(
            "wanted note, warning and error, rising and finite, the warning above 0", place=f"tolerances.{kind}"
        )
    scale = KINDS[kind].scale
    return (triple[0] * scale, triple[1] * scale, triple[2] * scale)
