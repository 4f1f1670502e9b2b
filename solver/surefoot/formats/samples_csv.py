"""CSV of samples: a header ``frame, time [s], hips.x [cm], ...`` and a row for each frame.

Numbers are written so that they read back bit for bit.
"""

from __future__ import annotations

import csv
import io
import re
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Pack
from surefoot.errors import FileError, InputError, UnknownName
from surefoot.file_faults import read_text
from surefoot.formats.carry import FITS_ANGLE, FITS_LENGTH, Samples, clip_of_samples, head_of
from surefoot.formats.form import Format, Writing, Written
from surefoot.formats.mapping import Mapping
from surefoot.formats.motion import near_rate
from surefoot.rig import LENGTHWISE, Rig
from surefoot.units import ANGLES, LENGTHS, unit_scale

__all__ = ["FORMAT", "csv_bytes", "csv_mapping", "heading_of", "parse_csv", "read_csv", "table_of"]

Array = NDArray[np.float64]
WANTED = "samples in CSV, with a header such as frame,time [s],hips.x [cm]"
MOST_BYTES, MOST_COLUMNS = 1 << 28, 10_000
HEADING = re.compile(r"(.*?)\s*(?:\[(\w*)\])?\s*$", re.DOTALL)


def csv_bytes(clip: Clip, rig: Rig | None = None) -> bytes:
    """Return the clip's samples at its frames (and one on for a loop); units are those of the rig's channels.

    Raises InputError for a channel whose name a heading can't tell: it would be read back as another.
    """
    axes = {} if rig is None else rig.channels()
    names = list(clip.channels)
    frames = np.arange(clip.first, clip.last + 1 + clip.loop, dtype=np.float64)
    values = Pack.from_curves([clip.channels[name] for name in names]).evaluate(frames)
    scales = {name: abs(axis.scale) for name, axis in axes.items()}
    headings = [f"{name} [{_unit(scales.get(name))}]".removesuffix(" []") for name in names]
    for name, heading in zip(names, headings, strict=True):
        plain = HEADING.match(heading)
        if plain is None or plain.group(1).strip() != name or name in ("frame", "time") or "\r" in name:
            raise InputError("a CSV's heading can't tell a channel of that name", place=f"channel {name!r}")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["frame", "time [s]", *headings])
    for k, frame in enumerate(frames):
        writer.writerow(
            [int(frame), repr(float((int(frame) - clip.first) / clip.rate)), *map(repr, values[:, k].tolist())]
        )
    return out.getvalue().encode()


def _unit(scale: float | None) -> str:
    known = LENGTHS | ANGLES
    del known["rad"]
    return "" if scale is None else next((n for n, size in known.items() if abs(size / scale - 1.0) < 1e-12), "")


def csv_mapping(clip: Clip, *, file: str = "") -> Mapping:
    """Return the mapping with what samples can't carry: keys, loop, belt, stances."""
    return Mapping("channels", clip=head_of(clip, set(clip.channels)), file=file)


def read_csv(path: str | Path, mapping: Mapping | None = None, *, rig: Rig | None = None) -> Clip:
    """Return the clip in a CSV file; FileError tells the line and what is wrong there."""
    return parse_csv(read_text(path, what=WANTED), mapping, rig=rig, place=str(path))


def parse_csv(text: str, mapping: Mapping | None = None, *, rig: Rig | None = None, place: str = "csv") -> Clip:
    """Return the clip written in ``text``; a unit in the header that isn't the rig's is converted to it."""
    if len(text) > MOST_BYTES:
        raise FileError("larger than is taken", place=place)
    header, rows = table_of(text, place)
    names, units = zip(*(heading_of(word, place) for word in header), strict=True)
    if "frame" not in names:
        raise FileError(f"no column is called frame; wanted {WANTED}", place=place)
    if len(set(names)) < len(names):
        raise FileError("two columns have one name", place=f"{place}: line 1")
    at = names.index("frame")
    frames = rows[:, at]
    if (frames != np.round(frames)).any() or (np.diff(frames) != 1.0).any() or np.abs(frames).max() > 1e9:
        raise FileError("frames aren't whole and one after the other", place=f"{place}: frame")
    said = Mapping("channels", clip={"range": {"first": int(frames[0])}}) if mapping is None else mapping
    if said.kind != "channels":
        raise InputError(f'a table of samples needs a mapping of kind "channels", not {said.kind!r}', place="mapping")
    rate = _rate(rows, names, said, place)
    axes = {} if rig is None else rig.channels()
    kinds = (
        {} if rig is None else {a.channel: k in LENGTHWISE for c in rig.controls.values() for k, a in c.axes.items()}
    )
    values, near = {}, {}
    for k, (name, unit) in enumerate(zip(names, units, strict=True)):
        if name in ("frame", "time"):
            continue
        track, where = rows[:, k], f"{place}: {name}"
        size = unit_scale(unit, place=where) if unit else 1.0
        lengths = unit in LENGTHS
        if name in axes:
            lengths, own = kinds[name], abs(axes[name].scale)
            if unit and unit not in (LENGTHS if lengths else ANGLES):
                wanted = ", ".join(LENGTHS if lengths else ANGLES)
                raise FileError(f"wanted one of {wanted} for it, got {unit}", place=where)
            if unit and abs(size / own - 1.0) > 1e-12:
                track = track * (size / own)
            size = own
        values[name] = track
        near[name] = (FITS_LENGTH if lengths else FITS_ANGLE) / size
    if not values:
        raise FileError("it has no channels", place=place)
    return clip_of_samples(Samples(frames, values, near), said, rate)


def table_of(text: str, place: str, *, wanted: str = WANTED) -> tuple[list[str], Array]:
    """Return the header and the rows ``(rows, columns)`` of a table; FileError tells the row and what's wrong."""
    try:
        lines = [row for row in csv.reader(io.StringIO(text)) if row]
    except csv.Error as error:
        raise FileError(f"not CSV: {error}; wanted {wanted}", place=place) from None
    if len(lines) < 2:
        raise FileError(f"no header with rows below it; wanted {wanted}", place=place)
    width = len(lines[0])
    if width > MOST_COLUMNS:
        raise FileError(f"{width} columns are more than is taken", place=place)
    for number, row in enumerate(lines, 1):
        if len(row) != width:
            raise FileError(f"wanted {width} values, got {len(row)}", place=f"{place}: row {number}")
    try:
        rows = np.array(lines[1:], dtype=np.float64)
    except ValueError as error:
        raise FileError(f"{error}"[:100], place=place) from None
    good = np.isfinite(rows).all(axis=1) & (np.abs(rows) <= 1e30).all(axis=1)
    if not good.all():
        raise FileError("a number isn't finite or is too large", place=f"{place}: row {int(np.argmin(good)) + 2}")
    return lines[0], rows


def heading_of(word: str, place: str) -> tuple[str, str]:
    """Return the name and the unit, or nothing, of a heading such as ``hips.x [cm]``."""
    match = HEADING.match(word)
    assert match is not None
    unit = match.group(2) or ""
    if unit and unit not in LENGTHS | ANGLES and unit != "s":
        raise UnknownName("unit", unit, [*LENGTHS, *ANGLES, "s"], place=f"{place}: line 1")
    return match.group(1).strip(), unit


def _rate(rows: Array, names: tuple[str, ...], mapping: Mapping, place: str) -> Fraction:
    if "time" in names and len(rows) > 1:
        times = rows[:, names.index("time")]
        return near_rate(float(times[-1] - times[0]) / (len(times) - 1), place=f"{place}: time")
    if "rate" not in mapping.clip:
        raise FileError("it has no column time [s]; state the rate in a mapping", place=place)
    return Fraction(1)  # the mapping's own is taken


def _write(wish: Writing) -> Written:
    return Written(csv_bytes(wish.clip, wish.rig), csv_mapping(wish.clip, file=wish.path.name))


FORMAT = Format(
    "CSV", (".csv",), "channels, sampled", "exact at frames",
    read_clip=lambda file: read_csv(file.path, file.mapping, rig=file.rig), write_clip=_write,
)  # fmt: skip
