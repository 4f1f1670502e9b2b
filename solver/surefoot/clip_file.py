"""Clips as JSON files: the documented format, its JSON Schema, reading and writing.

A key is a short list: ``[frame, value]``, ``[frame, value, shape]``, and for
``"given"`` ``[frame, value, "given", slope in, slope out]`` with slopes in value
per frame, for ``"bezier"`` ``[frame, value, "bezier", [dt, dv], [dt, dv]]`` with the
handles as offsets from the key. The default shape is ``"through"``.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
import numpy as np

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.curves import Curve, Outside, Shape
from surefoot.errors import FileError, InputError, UnknownName
from surefoot.rig import FEET
from surefoot.save import save_bytes
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["FORMAT", "clip_bytes", "clip_schema", "load_clip", "parse_clip", "save_clip"]

FORMAT = "clip/1"
Handle = tuple[float, float]
ShapeName = Literal["step", "linear", "through", "level", "given", "bezier"]
OutsideName = Literal["hold", "repeat", "advance"]
CODES = {name.lower(): int(code) for name, code in Shape.__members__.items()}
NAMES = {code: name for name, code in CODES.items()}


class _Strict(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    pass


class _Key(msgspec.Struct, array_like=True, forbid_unknown_fields=True):
    """``[frame, value, shape, in, out]``; the last three may be left out."""

    frame: float
    value: float
    shape: ShapeName = "through"
    inward: float | Handle | None = None
    outward: float | Handle | None = None


class _Channel(_Strict):
    """Keys in order of frame, in the rig's unit; what the curve does outside them."""

    keys: Annotated[list[_Key], msgspec.Meta(min_length=1)]
    before: OutsideName = "hold"
    after: OutsideName = "hold"
    locked: bool = False


class _Belt(_Strict):
    """The ground's velocity in the clip's length unit per second; turn in its angle unit per second."""

    velocity: tuple[float, float, float]
    turn: float = 0.0


class _Stance(_Strict):
    """Frames on the ground, both included; a last beyond the range wraps the loop's seam."""

    first: int
    last: int
    left_alone: bool = False


class _Range(_Strict):
    first: int
    last: int


class _Clip(_Strict):
    """A Surefoot clip: channels of keys over a frame range."""

    surefoot: str
    rate: float | str
    range: _Range
    channels: dict[str, _Channel]
    name: str = ""
    rig: str = ""
    unit: Literal["", "m", "cm", "mm", "in", "ft"] = ""
    angle: Literal["", "deg", "rad"] = ""
    loop: bool = False
    belt: _Belt | None = None
    stances: dict[Literal["left", "right"], list[_Stance]] | None = None
    spaces: dict[str, list[list[list[float]]]] = {}
    extra: dict[str, Any] = {}


def clip_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the clip format."""
    schema = msgspec.json.schema(_Clip)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"Surefoot {FORMAT}", **schema}


def load_clip(path: str | Path) -> Clip:
    """Return the clip in a JSON file.

    Raises FileError when the file can't be read or isn't a clip, InputError when
    a value in it is wrong; the message gives the file and the place in it.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise FileError(f"can't be read: {error.strerror or error}", place=str(path)) from None
    return parse_clip(data, place=str(path))


def parse_clip(data: bytes | str, *, place: str = "clip") -> Clip:
    """Return the clip written in ``data`` (JSON); ``place`` names it in errors."""
    try:
        raw = msgspec.json.decode(data, type=_Clip)
    except msgspec.ValidationError as error:
        raise FileError(f"not as the clip format has it: {error}", place=place) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise FileError(f"not a clip in JSON: {error}", place=place) from None
    except RecursionError:
        raise FileError("not a clip in JSON: nested too deeply", place=place) from None
    if raw.surefoot != FORMAT:
        raise FileError(f'wanted "surefoot": "{FORMAT}", got {raw.surefoot!r}', place=f"{place}: $.surefoot")
    try:
        return _build(raw)
    except InputError as error:
        raise error.within(place) from None


def _build(raw: _Clip) -> Clip:
    metre, radian = LENGTHS.get(raw.unit, 1.0), ANGLES.get(raw.angle, ANGLES["deg"])
    if raw.belt is not None and not raw.unit:
        raise InputError("a belt needs the clip's length unit stated", place="$.unit")
    channels, locked = {}, []
    for name, channel in raw.channels.items():
        try:
            channels[name] = _curve(channel)
        except InputError as error:
            raise error.within(f'$.channels["{name}"]') from None
        if channel.locked:
            locked.append(name)
    stances = None
    if raw.stances is not None:
        spans = {str(foot): own for foot, own in raw.stances.items()}
        stances = tuple(Stance(foot, s.first, s.last, s.left_alone) for foot in FEET for s in spans.get(foot, []))
    belt = None
    if raw.belt is not None:
        belt = Belt(np.array(raw.belt.velocity) * metre, raw.belt.turn * radian)
    return Clip(
        channels=channels,
        rate=read_rate(raw.rate, place="$.rate"),
        first=raw.range.first,
        last=raw.range.last,
        loop=raw.loop,
        belt=belt,
        stances=stances,
        spaces={name: _space(name, rows) for name, rows in raw.spaces.items()},
        locked=frozenset(locked),
        name=raw.name,
        rig=raw.rig,
        unit=raw.unit,
        angle=raw.angle,
        extra=raw.extra,
    )


def _space(name: str, rows: list[list[list[float]]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    try:
        return np.array(rows, dtype=np.float64)
    except ValueError:
        raise InputError("wanted 4 by 4 matrices, one a frame", place=f'$.spaces["{name}"]') from None


def _curve(channel: _Channel) -> Curve:
    keys = channel.keys
    count = len(keys)
    slope_in, slope_out = np.zeros(count), np.zeros(count)
    handles = np.zeros((count, 4)) if any(key.shape == "bezier" for key in keys) else None
    for i, key in enumerate(keys):
        if key.shape not in ("given", "bezier"):
            if key.inward is not None or key.outward is not None:
                raise InputError(f"a {key.shape} key takes no slopes or handles", place=f"keys[{i}]")
            continue
        wanted: type = float if key.shape == "given" else tuple
        sides = (key.inward, key.outward)
        if not all(isinstance(side, wanted) for side in sides):
            what = "two slopes" if key.shape == "given" else "two handles, each [frames, value]"
            raise InputError(f"a {key.shape} key needs {what}", place=f"keys[{i}]")
        if key.shape == "given":
            slope_in[i], slope_out[i] = sides[0], sides[1]  # type: ignore[assignment]
        elif handles is not None:
            handles[i] = (*sides[0], *sides[1])  # type: ignore[misc]
    return Curve(
        frames=np.array([key.frame for key in keys]),
        values=np.array([key.value for key in keys]),
        shapes=np.array([CODES[key.shape] for key in keys], dtype=np.int8),
        slope_in=slope_in,
        slope_out=slope_out,
        handles=handles,
        before=Outside[channel.before.upper()],
        after=Outside[channel.after.upper()],
    )


def clip_bytes(clip: Clip) -> bytes:
    """Return the clip as JSON, one key a line short enough to read in a difference."""
    unit = LENGTHS.get(clip.unit, 1.0)
    table: dict[str, Any] = {"surefoot": FORMAT}
    for field in ("name", "rig", "unit", "angle"):
        if getattr(clip, field):
            table[field] = getattr(clip, field)
    table["rate"] = _rate(clip.rate)
    table["range"] = {"first": clip.first, "last": clip.last}
    table["loop"] = clip.loop
    if clip.belt is not None:
        if not clip.unit:
            table["unit"] = "m"
        turn = clip.belt.turn / ANGLES.get(clip.angle, ANGLES["deg"])
        table["belt"] = {"velocity": [_plain(v / unit) for v in clip.belt.velocity.tolist()], "turn": _plain(turn)}
    if clip.stances is not None:
        table["stances"] = {foot: [_stance(s) for s in clip.stances if s.foot == foot] for foot in FEET}
    if clip.spaces:
        table["spaces"] = {name: samples.tolist() for name, samples in clip.spaces.items()}
    if clip.extra:
        table["extra"] = dict(clip.extra)
    head = msgspec.json.format(msgspec.json.encode(table), indent=1).rstrip()[:-1].rstrip()
    body = b",\n ".join(_channel(name, curve, name in clip.locked) for name, curve in clip.channels.items())
    return head + b',\n "channels": {\n ' + body + b"\n }\n}\n"


def _rate(rate: Fraction) -> int | float | str:
    if rate.denominator == 1:
        return rate.numerator
    return float(rate) if Fraction(str(float(rate))) == rate else f"{rate.numerator}/{rate.denominator}"


def _plain(value: float) -> int | float:
    """Whole numbers are written without a point; both read back to the same number."""
    return int(value) if value.is_integer() and abs(value) < 1e15 and str(value) != "-0.0" else value


def _stance(stance: Stance) -> dict[str, Any]:
    table: dict[str, Any] = {"first": stance.first, "last": stance.last}
    return table | {"left_alone": True} if stance.left_alone else table


def _channel(name: str, curve: Curve, locked: bool) -> bytes:
    keys = []
    for i, code in enumerate(curve.shapes.tolist()):
        key: list[Any] = [_plain(float(curve.frames[i])), _plain(float(curve.values[i]))]
        if code != Shape.THROUGH:
            key.append(NAMES[code])
        if code == Shape.GIVEN:
            key += [_plain(float(curve.slope_in[i])), _plain(float(curve.slope_out[i]))]
        if code == Shape.BEZIER and curve.handles is not None:
            four = [_plain(v) for v in curve.handles[i].tolist()]
            key += [four[:2], four[2:]]
        keys.append(msgspec.json.encode(key))
    rules: list[tuple[str, Any]] = [("before", curve.before.name.lower()), ("after", curve.after.name.lower())]
    if locked:
        rules.append(("locked", True))
    tail = b"".join(b", " + msgspec.json.encode(k) + b": " + msgspec.json.encode(v) for k, v in rules)
    rows = b",\n   ".join(b", ".join(keys[i : i + 6]) for i in range(0, len(keys), 6))
    return msgspec.json.encode(name) + b': {"keys": [\n   ' + rows + b"]" + tail + b"}"


def save_clip(clip: Clip, path: str | Path) -> None:
    """Write the clip to ``path``: first to a temporary name beside it, then renamed.

    Raises FileError when it can't be written; an older file at ``path`` is then untouched.
    """
    save_bytes(clip_bytes(clip), path)


def check_known_units(clip: Clip) -> None:
    """Raise UnknownName unless the clip's stated units are known; none stated is fine."""
    if clip.unit and clip.unit not in LENGTHS:
        raise UnknownName("length unit", clip.unit, LENGTHS)
    if clip.angle and clip.angle not in ANGLES:
        raise UnknownName("angle unit", clip.angle, ANGLES)
