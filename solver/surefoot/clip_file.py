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
from surefoot.errors import FileError, InputError
from surefoot.file_faults import Words, in_plain_words, json_fault, look_for_twins, named_fault, read_text
from surefoot.given import checked
from surefoot.rig import FEET
from surefoot.save import save_bytes
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["FORMAT", "clip_bytes", "clip_schema", "load_clip", "parse_clip", "save_clip"]

FORMAT = "clip/1"
Handle = tuple[float, float]
ShapeName = Literal["step", "linear", "through", "level", "given", "bezier"]
LengthName = Literal["", "m", "cm", "mm", "in", "ft"]
OutsideName = Literal["hold", "repeat", "advance"]
WANTED = "a clip in JSON"
MOST = 1e30
"""No frame, value, slope or handle of a key is larger; what is comes from a fault in an exporter."""
FrameNumber = Annotated[int, msgspec.Meta(ge=-(10**9), le=10**9)]
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
    """The ground's velocity in a length unit per second (the clip's, unless the belt states one of
    its own); turn in the clip's angle unit per second.
    """

    velocity: tuple[float, float, float]
    turn: float = 0.0
    unit: LengthName = ""


class _Stance(_Strict):
    """Frames on the ground, both included; a last beyond the range wraps the loop's seam."""

    first: FrameNumber
    last: FrameNumber
    left_alone: bool = False


class _Range(_Strict):
    first: FrameNumber
    last: FrameNumber


class _Clip(_Strict):
    """A Surefoot clip: channels of keys over a frame range."""

    surefoot: str
    rate: float | str
    range: _Range
    channels: dict[str, _Channel]
    name: str = ""
    rig: str = ""
    unit: LengthName = ""
    angle: Literal["", "deg", "rad"] = ""
    loop: bool = False
    belt: _Belt | None = None
    stances: dict[Literal["left", "right"], list[_Stance]] | None = None
    spaces: dict[str, list[list[list[float]]]] = {}
    extra: dict[str, Any] = {}


WORDS = Words(
    fields=[name for part in (_Clip, _Channel, _Belt, _Stance, _Range) for name in part.__struct_fields__],
    choices={
        "unit": tuple(LENGTHS),
        "angle": tuple(ANGLES),
        "before": ("hold", "repeat", "advance"),
        "after": ("hold", "repeat", "advance"),
        "[2]": tuple(CODES),
        "$": FEET,
        "stances": FEET,
    },
)


def clip_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the clip format."""
    (top,), parts = msgspec.json.schema_components([_Clip], ref_template="#/$defs/{name}")
    table = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"Surefoot {FORMAT}", **top}
    # the structs' names begin with _, the schema's don't
    text = msgspec.json.encode(table | {"$defs": parts}).replace(b'"#/$defs/_', b'"#/$defs/')
    plain: dict[str, Any] = msgspec.json.decode(text)
    plain["$defs"] = {
        name.removeprefix("_"): part | {"title": name.removeprefix("_")} for name, part in plain["$defs"].items()
    }
    plain["$defs"]["Clip"]["properties"]["surefoot"] = {"const": FORMAT}
    is_layer = {"properties": {"extra": {"properties": {"layer": {"const": True}}, "required": ["layer"]}}}
    plain["$defs"]["Clip"]["if"] = is_layer | {"required": ["extra"]}
    plain["$defs"]["Clip"]["else"] = {"properties": {"channels": {"minProperties": 1}}}
    feet = plain["$defs"]["Clip"]["properties"]["stances"]["anyOf"][0]
    feet["propertyNames"] = {"enum": list(FEET)}
    return plain


@checked()
def load_clip(path: str | Path) -> Clip:
    """Return the clip in the JSON file ``path``.

    Raises FileError when the file can't be read or isn't a clip, InputError when
    a value in it is wrong; the message gives the file and the place in it.
    """
    return parse_clip(read_text(path, what=WANTED), place=str(path))


def parse_clip(data: bytes | str, *, place: str = "clip") -> Clip:
    """Return the clip written in ``data`` (JSON); ``place`` names it in errors."""
    try:
        raw = msgspec.json.decode(data, type=_Clip)
    except msgspec.ValidationError as error:
        raise _fault(error, data, place) from None
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        text = data if isinstance(data, str) else data.decode("utf-8", errors="replace")
        raise json_fault(text, place=place, what=WANTED) from None
    if raw.surefoot != FORMAT:
        raise FileError(f'wanted "surefoot": "{FORMAT}", got {raw.surefoot[:40]!r}', place=f"{place}: $.surefoot")
    look_for_twins(data, '"keys"', wanted=len(raw.channels), place=place)
    try:
        return _build(raw)
    except InputError as error:
        raise error.within(place) from None


def _fault(error: msgspec.ValidationError, data: bytes | str, place: str) -> FileError:
    """Return what isn't as the format has it; a channel, space or foot is told by its name."""
    try:
        table = msgspec.json.decode(data)
    except (msgspec.DecodeError, RecursionError):  # a fault further on, or a number beyond what a float holds
        text = data if isinstance(data, str) else data.decode("utf-8", errors="replace")
        return json_fault(text, place=place, what=WANTED)
    told, where = in_plain_words(error, WORDS)
    if where.startswith(("$.channels", "$.spaces", "$.stances")) or where == "":
        parts = table if isinstance(table, dict) else {}
        found = (
            named_fault(parts.get("channels"), _Channel, WORDS, place="$.channels", items=("keys", _Key))
            or named_fault(parts.get("stances"), list[_Stance], WORDS, place="$.stances")
            or named_fault(parts.get("spaces"), list[list[list[float]]], WORDS, place="$.spaces")
        )
        if found is not None:
            told, where = found.reason, found.place
    return FileError(told, place=f"{place}: {where}" if where else place)


def _build(raw: _Clip) -> Clip:
    channels, locked = {}, []
    for name, channel in raw.channels.items():
        try:
            channels[name] = _curve(channel)
        except InputError as error:
            raise error.within(f'$.channels["{name}"]') from None
        if channel.locked:
            locked.append(name)
    return Clip(
        channels=channels,
        rate=read_rate(raw.rate, place="$.rate"),
        first=raw.range.first,
        last=raw.range.last,
        loop=raw.loop,
        belt=None if raw.belt is None else _belt(raw.belt, raw),
        stances=None if raw.stances is None else _stances(raw.stances),
        spaces={name: _space(name, rows) for name, rows in raw.spaces.items()},
        locked=frozenset(locked),
        name=raw.name,
        rig=raw.rig,
        unit=raw.unit,
        angle=raw.angle,
        extra=raw.extra,
    )


def _belt(belt: _Belt, raw: _Clip) -> Belt:
    unit = belt.unit or raw.unit
    if not unit:
        raise InputError("a belt needs a length unit stated, the clip's or its own", place="$.unit")
    velocity = np.array(belt.velocity) * LENGTHS[unit]
    try:
        return Belt(velocity, belt.turn * ANGLES[raw.angle or "deg"])
    except InputError as error:
        raise error.at("$.belt") from None


def _stances(given: dict[Literal["left", "right"], list[_Stance]]) -> tuple[Stance, ...]:
    found = []
    for foot, mine in given.items():
        for i, stance in enumerate(mine):
            try:
                found.append(Stance(foot, stance.first, stance.last, stance.left_alone))
            except InputError as error:
                raise error.at(f"$.stances.{foot}[{i}]") from None
    return tuple(sorted(found, key=lambda stance: FEET.index(stance.foot)))


def _space(name: str, rows: list[list[list[float]]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    try:
        return np.array(rows, dtype=np.float64)
    except ValueError:  # rows of unlike length
        raise InputError("wanted 4 by 4 matrices, one a frame", place=f'$.spaces["{name}"]') from None


def _curve(channel: _Channel) -> Curve:
    keys = channel.keys
    count = len(keys)
    slope_in, slope_out = np.zeros(count), np.zeros(count)
    handles = np.zeros((count, 4)) if any(key.shape == "bezier" for key in keys) else None
    for i, key in enumerate(keys):
        if key.shape not in ("given", "bezier"):
            if key.inward is not None or key.outward is not None:
                raise InputError(f"a {key.shape} key takes no slopes or handles", place=_key_place(i, key))
            continue
        wanted: type = float if key.shape == "given" else tuple
        sides = (key.inward, key.outward)
        if not all(isinstance(side, wanted) for side in sides):
            what = "two slopes" if key.shape == "given" else "two handles, each [frames, value]"
            raise InputError(f"a {key.shape} key needs {what}", place=_key_place(i, key))
        if key.shape == "given":
            slope_in[i], slope_out[i] = sides[0], sides[1]
        elif handles is not None:
            handles[i] = (*sides[0], *sides[1])  # type: ignore[misc]
    frames, values = np.array([key.frame for key in keys]), np.array([key.value for key in keys])
    for numbers in (frames, values, slope_in, slope_out, handles):
        if numbers is not None and np.abs(numbers).max() > MOST:
            i = int(np.abs(numbers.reshape(count, -1)).max(axis=1).argmax())
            raise InputError(
                f"{np.abs(numbers).max():g} is too large; no number of a key goes beyond {MOST:g}",
                place=_key_place(i, keys[i]),
            )
    shapes = np.array([CODES[key.shape] for key in keys], dtype=np.int8)
    before, after = Outside[channel.before.upper()], Outside[channel.after.upper()]
    return Curve(frames, values, shapes, slope_in, slope_out, handles, before, after)


def _key_place(index: int, key: _Key) -> str:
    return f"key {index + 1} at frame {key.frame:g}"


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
        turn = clip.belt.turn / ANGLES.get(clip.angle, ANGLES["deg"])
        table["belt"] = {"velocity": [_plain(v / unit) for v in clip.belt.velocity.tolist()], "turn": _plain(turn)}
        if not clip.unit:
            table["belt"]["unit"] = "m"
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


@checked()
def save_clip(clip: Clip, path: str | Path) -> None:
    """Write the clip to ``path``: first to a temporary name beside it, then renamed.

    Raises FileError when it can't be written; an older file at ``path`` is then untouched.
    """
    save_bytes(clip_bytes(clip), path)
