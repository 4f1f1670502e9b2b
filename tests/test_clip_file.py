"""A clip file is read as the format has it, written back bit for bit, and every fault in it is told with its place."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import surefoot
from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.clip_file import clip_bytes, clip_schema, load_clip, parse_clip, save_clip
from surefoot.curves import Curve, Outside, Shape
from surefoot.errors import FileError, InputError

DEMOS = Path(__file__).parents[1] / "demos" / "data"
SCHEMA = Path(surefoot.__file__).with_name("clip.schema.json")
Table = dict[str, Any]


def table() -> Table:
    return {
        "surefoot": "clip/1",
        "rate": 24,
        "unit": "cm",
        "range": {"first": 1, "last": 24},
        "channels": {
            "hips.y": {"keys": [[1, 90], [13, 92.5, "level"], [25, 90]], "after": "repeat"},
            "left_foot.pitch": {"keys": [[1, 0.1]]},
        },
    }


def read(data: Table) -> Clip:
    return parse_clip(json.dumps(data), place="walk.json")


def test_every_field_lands_where_it_belongs() -> None:
    data = table() | {
        "name": "walk",
        "rig": "adult",
        "angle": "rad",
        "loop": True,
        "belt": {"velocity": [0, 0, -135], "turn": 0.5},
        "stances": {"right": [{"first": 13, "last": 27}], "left": [{"first": 1, "last": 9, "left_alone": True}]},
        "spaces": {"root": [np.eye(4).tolist()] * 24},
        "extra": {"note": [1, {"a": None}]},
    }
    data["channels"]["left_foot.pitch"] |= {"locked": True, "before": "advance"}
    clip = read(data)
    assert (clip.name, clip.rig, clip.unit, clip.angle, clip.loop) == ("walk", "adult", "cm", "rad", True)
    assert clip.rate == Fraction(24)
    assert (clip.first, clip.last) == (1, 24)
    assert clip.belt is not None
    np.testing.assert_allclose(clip.belt.velocity, [0, 0, -1.35], rtol=1e-15)
    assert clip.belt.turn == 0.5
    assert clip.stances == (Stance("left", 1, 9, True), Stance("right", 13, 27))
    assert clip.spaces["root"].shape == (24, 4, 4)
    assert clip.extra == {"note": [1, {"a": None}]}
    assert clip.locked == {"left_foot.pitch"}
    curve = clip.channels["hips.y"]
    assert list(curve.shapes) == [Shape.THROUGH, Shape.LEVEL, Shape.THROUGH]
    assert (curve.before, curve.after) == (Outside.HOLD, Outside.REPEAT)
    assert list(curve.values) == [90.0, 92.5, 90.0]
    assert clip.channels["left_foot.pitch"].before == Outside.ADVANCE


def test_a_turning_belt_is_in_degrees_unless_the_clip_says_radians() -> None:
    belt = read(table() | {"belt": {"velocity": [0, 0, 0], "turn": 90}}).belt
    assert belt is not None
    assert belt.turn == pytest.approx(np.pi / 2)


def test_each_shape_of_key_is_read() -> None:
    data = table()
    data["channels"]["hips.y"] = {
        "keys": [
            [1, 0, "step"],
            [2, 1, "linear"],
            [3, 1, "given", 0.5, -0.25],
            [4, 2, "bezier", [-0.5, 0.125], [0.25, -1]],
            [5.5, 2, "through"],
        ]
    }
    curve = read(data).channels["hips.y"]
    assert list(curve.shapes) == [Shape.STEP, Shape.LINEAR, Shape.GIVEN, Shape.BEZIER, Shape.THROUGH]
    assert (curve.slope_in[2], curve.slope_out[2]) == (0.5, -0.25)
    assert curve.handles is not None
    assert list(curve.handles[3]) == [-0.5, 0.125, 0.25, -1.0]


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "walk.json"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(table(), indent=1).replace("\n", "\r\n").encode())
    assert load_clip(path).frames == 24


# --- faults ---------------------------------------------------------------------------------------


def put(*path: Any, value: Any) -> Callable[[Table], None]:
    """Return a change that puts ``value`` at a path of a table."""

    def change(data: Table) -> None:
        inner: Any = data
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value

    return change


def drop(name: str) -> Callable[[Table], None]:
    return lambda data: data.pop(name)


Y = ("channels", "hips.y")
FAULTS: list[tuple[Callable[[Table], Any], str, str]] = [
    (drop("channels"), "walk.json", "the field 'channels' is missing"),
    (drop("surefoot"), "walk.json", "the field 'surefoot' is missing"),
    (put("channels", value={}), "walk.json: channels", "the clip is empty: it has no channels"),
    (put("chanels", value={}), "walk.json", "'chanels' is no field of the format; did you mean 'channels'?"),
    (put("surefoot", value="clip/2"), "walk.json: $.surefoot", 'wanted "surefoot": "clip/1", got \'clip/2\''),
    (put("unit", value="metre"), "walk.json: $.unit", "known are m, cm, mm, in, ft"),
    (put("angle", value="dg"), "walk.json: $.angle", "did you mean 'deg'?"),
    (put("loop", value=1), "walk.json: $.loop", "wanted true or false, got a whole number"),
    (put("rate", value=0), "walk.json: $.rate", "a frame rate runs from 0.01 to 100000 frames per second, got 0.0"),
    (put("rate", value=-24), "walk.json: $.rate", "a frame rate runs from"),
    (put("rate", value=1e9), "walk.json: $.rate", "a frame rate runs from"),
    (put("rate", value="fast"), "walk.json: $.rate", "wanted frames per second, such as 24"),
    (put("rate", value=None), "walk.json: $.rate", "wanted a number or a text, got nothing"),
    (put("range", "last", value=0), "walk.json: range", "runs backwards, from frame 1 to 0"),
    (put("range", "last", value=10**9), "walk.json: range", "1000000000 frames"),
    (put("range", "last", value=10**30), "walk.json: $.range.last", "at most 1000000000"),
    (put("range", "first", value=-(2**62)), "walk.json: $.range.first", "at least -1000000000"),
    (put("range", "first", value=1.5), "walk.json: $.range.first", "wanted a whole number, got one with a fraction"),
    (put("range", value=[1, 24]), "walk.json: $.range", "wanted a table, got a list"),
    (put(*Y, "keys", value=[]), 'walk.json: $.channels["hips.y"].keys', "wanted at least 1 in the list, got none"),
    (put(*Y, value={}), 'walk.json: $.channels["hips.y"]', "the field 'keys' is missing"),
    (put(*Y, "after", value="cycle"), 'walk.json: $.channels["hips.y"].after', "known are hold, repeat, advance"),
    (put(*Y, "afer", value="hold"), 'walk.json: $.channels["hips.y"]', "did you mean 'after'?"),
    (put(*Y, "keys", 1, 2, value="levle"), 'walk.json: $.channels["hips.y"].keys[1][2]', "did you mean 'level'?"),
    (put(*Y, "keys", 1, value=[13]), 'walk.json: $.channels["hips.y"].keys[1]', "wanted a list of at least 2, got 1"),
    (put(*Y, "keys", 1, value=[13, 1, "given", 1, 2, 3]), 'walk.json: $.channels["hips.y"].keys[1]', "at most 5"),
    (put(*Y, "keys", 1, 1, value="90"), 'walk.json: $.channels["hips.y"].keys[1][1]', "wanted a number, got a text"),
    (put(*Y, "keys", 1, 1, value=None), 'walk.json: $.channels["hips.y"].keys[1][1]', "wanted a number, got nothing"),
    (put(*Y, "keys", 1, 0, value=30), 'walk.json: $.channels["hips.y"]: key 3 at frame 25', "go in order of frame"),
    (put(*Y, "keys", 1, 0, value=1), 'walk.json: $.channels["hips.y"]: key 2 at frame 1', "one frame has one key"),
    (put(*Y, "keys", 1, 1, value=1e300), 'walk.json: $.channels["hips.y"]: key 2 at frame 13', "1e+300 is too large"),
    (put(*Y, "keys", 1, value=[13, 1, "given"]), 'walk.json: $.channels["hips.y"]: key 2 at frame 13', "two slopes"),
    (
        put(*Y, "keys", 1, value=[13, 1, "level", 0, 0]),
        'walk.json: $.channels["hips.y"]: key 2 at frame 13',
        "a level key takes no slopes or handles",
    ),
    (
        put(*Y, "keys", 1, value=[13, 1, "bezier", 0, 0]),
        'walk.json: $.channels["hips.y"]: key 2 at frame 13',
        "a bezier key needs two handles, each [frames, value]",
    ),
    (
        put(*Y, "keys", 1, value=[13, 1, "bezier", [1, 0], [1, 0]]),
        'walk.json: $.channels["hips.y"]: key 2 at frame 13',
        "the in handle runs backwards in time",
    ),
    (
        put(*Y, "keys", 1, value=[13, 1, "bezier", [-1, 0], [-1, 0]]),
        'walk.json: $.channels["hips.y"]: key 2 at frame 13',
        "the out handle runs backwards in time",
    ),
    (
        put(*Y, "keys", 1, value=[13, 1, "bezier", [-1, 0], [99, 0]]),
        'walk.json: $.channels["hips.y"]: key 2 at frame 13',
        "past the neighbouring key",
    ),
    (put("belt", value={"velocity": [0, 1]}), "walk.json: $.belt.velocity", "wanted a list of 3"),
    (put("belt", value={"velocity": [0, 0, 1e9]}), "walk.json: $.belt", "is the unit right?"),
    (put("belt", value={"velocity": [0, 0, 1], "unit": "cm/s"}), "walk.json: $.belt.unit", "did you mean 'cm'"),
    (put("stances", value={"lef": []}), "walk.json: $.stances", "'lef' is no word that may stand here; did you mean"),
    (
        put("stances", value={"left": [{"first": 9, "last": 1}]}),
        "walk.json: $.stances.left[0]",
        "runs backwards, from frame 9 to 1",
    ),
    (
        put("stances", value={"left": [{"first": 1, "last": 9}, {"first": 9, "last": 12}]}),
        "walk.json: stances of the left foot",
        "frames 1 to 9 and 9 to 12 overlap",
    ),
    (
        put("stances", value={"right": [{"first": 1, "last": 10**18}]}),
        'walk.json: $.stances["right"][0].last',
        "at most 1000000000",
    ),
    (put("spaces", value={"root": [[[1, 2], [3]]]}), 'walk.json: $.spaces["root"]', "wanted 4 by 4 matrices"),
    (put("spaces", value={"root": [np.eye(4).tolist()]}), "walk.json: space root", "wanted 24 finite 4 by 4 matrices"),
    (put("spaces", value={"root": [["x"]]}), 'walk.json: $.spaces["root"][0][0]', "wanted a list, got a text"),
]


@pytest.mark.parametrize(("change", "place", "says"), FAULTS, ids=[says[:40] for _, _, says in FAULTS])
def test_a_fault_is_told_in_one_sentence_with_its_place(change: Callable[[Table], Any], place: str, says: str) -> None:
    data = table()
    change(data)
    with pytest.raises(InputError) as told:
        read(data)
    assert told.value.place == place
    assert says in told.value.reason
    assert "\n" not in str(told.value)
    assert "[...]" not in str(told.value)
    assert "`" not in str(told.value)


@pytest.mark.parametrize("as_bytes", [False, True])
def test_a_channel_that_is_there_twice_is_told(as_bytes: bool) -> None:
    one, two = (f'"hips.y": {{"keys": [[1, {value}]]}}' for value in (1, 2))

    def written(channels: str, extra: str = "{}") -> str:
        head = '"surefoot": "clip/1", "rate": 24, "range": {"first": 1, "last": 4}'
        return f'{{{head}, "channels": {{{channels}}}, "extra": {extra}}}'

    twice = written(f"{one}, {two}")
    with pytest.raises(FileError, match=r"^c\.json: 'hips\.y' is there twice$"):
        parse_clip(twice.encode() if as_bytes else twice, place="c.json")
    for extra in ('{"keys": [1, {"keys": 2}]}', f'{{"keys": {"[" * 900 + "]" * 900}}}'):
        assert list(parse_clip(written(one, extra)).channels) == ["hips.y"]


def test_a_belt_in_a_clip_without_a_unit_must_state_its_own() -> None:
    data = table() | {"belt": {"velocity": [0, 0, -1]}}
    del data["unit"]
    with pytest.raises(InputError, match="a belt needs a length unit stated, the clip's or its own") as told:
        read(data)
    assert told.value.place == "walk.json: $.unit"
    data["belt"]["unit"] = "ft"
    belt = read(data).belt
    assert belt is not None
    assert belt.velocity[2] == -0.3048


@pytest.mark.parametrize("literal", ["NaN", "-Infinity", "Infinity", "1e999", "-1e999"])
def test_a_number_that_is_none_is_told_by_its_channel_and_key(literal: str) -> None:
    text = json.dumps(table()).replace("92.5", literal)
    with pytest.raises(FileError, match="wanted a finite number: JSON has no NaN") as told:
        parse_clip(text, place="walk.json")
    assert told.value.place == 'walk.json: $.channels["hips.y"].keys[1][1]'


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "walk.json: the file is empty; wanted a clip in JSON"),
        (b" \n", "walk.json: the file is empty; wanted a clip in JSON"),
        (b"hello", "walk.json: line 1, column 1: not JSON: expecting value; wanted a clip in JSON"),
        (b'{"surefoot":\n "clip/1",}', "walk.json: line 2, column"),
        (b'{"surefoot": "clip/1"', "walk.json: line 1, column 22: not JSON"),
        (b"[]", "walk.json: wanted a table, got a list"),
        (b"null", "walk.json: wanted a table, got nothing"),
        (b"3", "walk.json: wanted a table, got a whole number"),
        (b"[" * 100_000, "walk.json: nested too deeply; wanted a clip in JSON"),
        (b'{"extra": ' + b'{"a": ' * 100_000 + b"1" + b"}" * 100_001, "walk.json: nested too deeply"),
        (b'{"rate": ' + b"9" * 5000 + b"}", "walk.json"),
        (b'{"surefoot": "\xff"}', "walk.json"),
    ],
)
def test_what_is_no_clip_in_json_says_where(data: bytes, says: str) -> None:
    with pytest.raises(FileError) as told:
        parse_clip(data, place="walk.json")
    assert str(told.value).startswith(says)
    assert len(str(told.value)) < 200


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(FileError, match="can't be read: No such file or directory") as told:
        load_clip(tmp_path / "none.json")
    assert told.value.place == str(tmp_path / "none.json")
    with pytest.raises(FileError, match="can't be read: Is a directory"):
        load_clip(tmp_path)
    with pytest.raises(FileError, match="can't be read: embedded null"):
        load_clip("a\0b.json")
    (tmp_path / "latin.json").write_bytes(b'{"name": "\xe9"}')
    with pytest.raises(FileError, match=r"not a text in UTF-8 \(byte 10 is none of it\); wanted a clip in JSON"):
        load_clip(tmp_path / "latin.json")
    (tmp_path / "wide.json").write_text("{}", encoding="utf-16")
    with pytest.raises(FileError, match="not a text in UTF-8"):
        load_clip(tmp_path / "wide.json")

    def refused(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(FileError, match="can't be read: Permission denied"):
        load_clip(tmp_path / "latin.json")


# --- writing --------------------------------------------------------------------------------------

numbers = st.floats(min_value=-1e9, max_value=1e9)


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    frames = sorted(draw(st.lists(st.integers(-400, 400), min_size=1, max_size=7, unique=True)))
    count = len(frames)
    column = st.lists(numbers, min_size=count, max_size=count)
    shapes = draw(st.lists(st.integers(0, 5), min_size=count, max_size=count))
    handles = np.column_stack(
        [
            np.full(count, -draw(st.floats(0, 0.25))),
            draw(column),
            np.full(count, draw(st.floats(0, 0.25))),
            draw(column),
        ]
    )
    given_keys = np.array(shapes) == Shape.GIVEN
    bezier_keys = np.array(shapes) == Shape.BEZIER
    return Curve(
        np.array(frames) / 4 if draw(st.booleans()) else np.array(frames, dtype=float),
        np.array(draw(column)),
        np.array(shapes, dtype=np.int8),
        np.where(given_keys, draw(column), 0.0),
        np.where(given_keys, draw(column), 0.0),
        np.where(bezier_keys[:, None], handles, 0.0) if bezier_keys.any() else None,
        draw(st.sampled_from(Outside)),
        draw(st.sampled_from(Outside)),
    )


def same_bits(one: Curve, two: Curve) -> bool:
    fields = ("frames", "values", "shapes", "slope_in", "slope_out")
    alike = all(getattr(one, name).tobytes() == getattr(two, name).tobytes() for name in fields)
    handles = [None if c.handles is None else c.handles.tobytes() for c in (one, two)]
    return alike and handles[0] == handles[1] and (one.before, one.after) == (two.before, two.after)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.text(max_size=8), curves(), min_size=1, max_size=4), st.randoms())
def test_what_is_written_reads_back_bit_for_bit(channels: dict[str, Curve], random: Any) -> None:
    locked = frozenset(name for name in channels if random.random() < 0.3)
    clip = Clip(channels, Fraction(30000, 1001), -3, 40, extra={"a": [1, "é"]}, locked=locked, name='q"\\')
    back = parse_clip(clip_bytes(clip))
    assert list(back.channels) == list(clip.channels)
    for name, curve in clip.channels.items():
        assert same_bits(back.channels[name], curve)
    assert (back.rate, back.first, back.last, back.loop) == (clip.rate, -3, 40, False)
    assert (back.locked, back.extra, back.name) == (clip.locked, clip.extra, clip.name)
    assert clip_bytes(back) == clip_bytes(clip)


def test_minus_nothing_and_the_smallest_number_survive() -> None:
    curve = Curve.through([1.0, 2.0, 3.0, 4.0], [-0.0, 5e-324, 0.1 + 0.2, 2.0**60])
    back = parse_clip(clip_bytes(Clip({"a": curve}, Fraction(24), 1, 4))).channels["a"]
    assert back.values.tobytes() == curve.values.tobytes()


def test_belt_stances_and_spaces_come_back() -> None:
    space = np.tile(np.eye(4), (24, 1, 1))
    space[:, 0, 3] = np.linspace(0.0, 1.0, 24)
    clip = Clip(
        {"a": Curve.constant(1.0)}, Fraction(24000, 1001), 1, 24, True, Belt(np.array([0.1, 0.0, -1.3]), 0.25),
        (Stance("left", 1, 15), Stance("right", 13, 27, True)), {"root": space}, unit="in", angle="rad",
    )  # fmt: skip
    back = parse_clip(clip_bytes(clip))
    assert back.belt is not None
    assert clip.belt is not None
    np.testing.assert_allclose(back.belt.velocity, clip.belt.velocity, rtol=1e-15)
    assert back.belt.turn == 0.25
    assert back.stances == clip.stances
    assert back.spaces["root"].tobytes() == space.tobytes()
    assert back.rate == Fraction(24000, 1001)


def test_a_belt_worked_out_for_a_clip_without_a_unit_keeps_the_clip_without_one() -> None:
    """Stating metres for the whole clip would be a guess at the channels' unit."""
    clip = Clip({"a": Curve.constant(1.0)}, Fraction(24), 1, 24, belt=Belt(np.array([0.0, 0.0, -1.25])))
    back = parse_clip(clip_bytes(clip))
    assert back.unit == ""
    assert back.belt is not None
    assert back.belt.velocity[2] == -1.25


@pytest.mark.parametrize("rate", [Fraction(24), Fraction(24000, 1001), Fraction(25, 2), Fraction(100, 3)])
def test_a_rate_comes_back_exactly(rate: Fraction) -> None:
    assert parse_clip(clip_bytes(Clip({"a": Curve.constant(1.0)}, rate, 1, 2))).rate == rate


def test_stances_may_be_stated_as_none_at_all() -> None:
    clip = Clip({"a": Curve.constant(1.0)}, Fraction(24), 1, 2, stances=())
    assert parse_clip(clip_bytes(clip)).stances == ()
    assert parse_clip(clip_bytes(clip.with_stances(None))).stances is None


def test_saving_replaces_the_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "walk.json"
    path.write_text("older")
    save_clip(read(table()), path)
    assert load_clip(path).channels["hips.y"].values[1] == 92.5
    assert [p.name for p in tmp_path.iterdir()] == ["walk.json"]


# --- schema ---------------------------------------------------------------------------------------


def test_the_published_schema_is_the_one_that_the_package_gives() -> None:
    """To renew it: ``json.dumps(surefoot.clip_schema(), indent=2)``."""
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == clip_schema()


def schema() -> jsonschema.Draft202012Validator:
    jsonschema.Draft202012Validator.check_schema(clip_schema())
    return jsonschema.Draft202012Validator(clip_schema())


@pytest.mark.parametrize("name", ["lamplighter", "treadmill"])
def test_both_demo_clips_are_as_the_schema_has_it(name: str) -> None:
    schema().validate(json.loads((DEMOS / f"{name}.json").read_text(encoding="utf-8")))


@settings(max_examples=20, deadline=None)
@given(st.dictionaries(st.text(max_size=8), curves(), min_size=1, max_size=3))
def test_what_is_written_is_as_the_schema_has_it(channels: dict[str, Curve]) -> None:
    clip = Clip(channels, Fraction(30000, 1001), 1, 9, stances=(Stance("left", 1, 3),), belt=Belt(np.ones(3)))
    schema().validate(json.loads(clip_bytes(clip)))


# what the schema can't say: order, sums, and what depends on another field
BEYOND_SCHEMA = (
    "walk.json: channels",
    "key 2",
    "key 3",
    "walk.json: range",
    "$.rate",
    "stances of",
    "$.stances.left[0]",
)


@pytest.mark.parametrize(("change", "place", "says"), FAULTS, ids=[says[:40] for _, _, says in FAULTS])
def test_what_the_schema_refuses_the_reader_refuses_too(change: Callable[[Table], Any], place: str, says: str) -> None:
    """The reader is the stricter of the two; the schema catches whatever is a matter of form."""
    data = copy.deepcopy(table())
    change(data)
    matter_of_form = not any(part in place for part in BEYOND_SCHEMA) and "is the unit right" not in says
    if matter_of_form and "matrices" not in says:
        assert not schema().is_valid(data), place


def test_the_schema_takes_the_plain_table() -> None:
    schema().validate(table())
