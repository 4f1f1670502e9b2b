"""Remote calls: the standard's answers to right and wrong messages, methods, cancelling, limits, hostile bytes."""

from __future__ import annotations

import io
import json
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import surefoot
from surefoot import layer_between
from surefoot.cli import main
from surefoot.clip_file import parse_clip
from surefoot.curves import Pack
from surefoot.formats.opening import clip_files
from surefoot.rpc import desk as desk_module
from surefoot.rpc.desk import METHODS, Desk
from surefoot.rpc.lines import TooLong, read_lines
from surefoot.rpc.messages import MOST_CALLS
from surefoot.rpc.server import Server

Table = dict[str, Any]


def served(data: bytes, **limits: int) -> list[Any]:
    """Return what a fresh server answers to these bytes, each line decoded by another library than its own."""
    sink, said = io.BytesIO(), []
    assert Server(io.BytesIO(data), sink, log=said.append, **limits).run() == 0, said
    out = sink.getvalue()
    assert out == b"" or out.endswith(b"\n")
    return [json.loads(line) for line in out.splitlines()]


def request(method: str, number: Any = 1, **params: Any) -> Table:
    return {"jsonrpc": "2.0", "id": number, "method": method, "params": params}


def lines(*messages: Any) -> bytes:
    return b"".join(json.dumps(message).encode() + b"\n" for message in messages)


def results(*messages: Table) -> list[Any]:
    answers = served(lines(*messages))
    assert all("error" not in answer for answer in answers), answers
    return [answer["result"] for answer in answers]


def refused(message: Table, *before: Table) -> Table:
    answer: Table = served(lines(*before, message))[-1]
    assert answer["id"] == message["id"]
    error: Table = answer["error"]
    return error


OPEN = request("clip.open", 0, path="lamplighter")

# the standard ---------------------------------------------------------------------------------------------

STANDARD = [
    # from the examples of the JSON-RPC 2.0 specification, section 7, with methods that are here
    ('{"jsonrpc": "2.0", "method": "foobar", "id": "1"}', -32601, "1"),
    ('{"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz]', -32700, None),
    ('{"jsonrpc": "2.0", "method": 1, "params": "bar"}', -32600, None),
    ("[]", -32600, None),
    # and further ones
    ('{"jsonrpc": "2.0", "method": 1, "id": 7}', -32600, 7),
    ('{"jsonrpc": "2.0", "method": "about", "params": 3, "id": 7}', -32600, 7),
    ('{"jsonrpc": "1.0", "method": "about", "id": 7}', -32600, 7),
    ('{"method": "about", "id": 7}', -32600, 7),
    ('{"jsonrpc": "2.0", "id": 7, "result": 3}', -32600, 7),
    ('{"jsonrpc": "2.0", "method": "about", "id": true}', -32600, None),
    ('{"jsonrpc": "2.0", "method": "about", "id": {}}', -32600, None),
    ('{"jsonrpc": "2.0", "method": "about", "id": [1]}', -32600, None),
    ("3", -32600, None),
    ('"about"', -32600, None),
    ("null", -32600, None),
    ("NaN", -32700, None),
    ("{'a': 1}", -32700, None),
    ('{"jsonrpc": "2.0", "method": "check", "params": {"clip": "clip-9"}, "id": 2.5}', -32602, 2.5),
    ('{"jsonrpc": "2.0", "method": "check", "params": {}, "id": null}', -32602, None),
    ('{"jsonrpc": "2.0", "method": "check", "params": {"clip": 3}, "id": "x"}', -32602, "x"),
    ('{"jsonrpc": "2.0", "method": "about", "params": [1], "id": "x"}', -32602, "x"),
    ('{"jsonrpc": "2.0", "method": "rpc.discover", "id": "x"}', -32601, "x"),
]


@pytest.mark.parametrize(("line", "code", "number"), STANDARD)
def test_wrong_messages_are_answered_with_the_standard_s_codes(line: str, code: int, number: Any) -> None:
    answers = served(line.encode() + b"\n" + lines(request("about", "after")))
    assert [set(answer) for answer in answers] == [{"jsonrpc", "id", "error"}, {"jsonrpc", "id", "result"}]
    assert answers[0]["jsonrpc"] == "2.0"
    assert answers[0]["error"]["code"] == code
    assert answers[0]["id"] == number
    assert answers[0]["error"]["message"]
    assert answers[1]["id"] == "after"


@pytest.mark.parametrize("number", [0, -3, 1.5, "", "ü€😀", None, 10**30, 2**63, "1"])
def test_an_id_comes_back_as_it_came(number: Any) -> None:
    (answer,) = served(lines(request("about", number)))
    assert answer["id"] == number
    assert type(answer["id"]) is type(number)


def test_notifications_are_never_answered_right_or_wrong() -> None:
    calls: list[tuple[str, Table]] = [("about", {}), ("nothing", {}), ("check", {"clip": "clip-9"})]
    calls += [("cancel", {"id": 4}), ("cancel", {})]
    told = [{"jsonrpc": "2.0", "method": method, "params": params} for method, params in calls]
    assert served(lines(*told)) == []
    assert served(lines(told)) == [], "nor in a batch"


def test_a_batch_gives_one_line_with_an_answer_for_each_request() -> None:
    note = {"jsonrpc": "2.0", "method": "about"}
    (answers,) = served(lines([request("about", "a"), note, 1, request("foobar", "b"), request("cancel", "c", id=9)]))
    assert [answer["id"] for answer in answers] == ["a", None, "b", "c"]
    assert [answer.get("error", {}).get("code") for answer in answers] == [None, -32600, -32601, None]
    assert answers[3]["result"] == {"cancelled": "unknown"}


def test_the_standard_s_batch_of_nothing_but_wrong_calls() -> None:
    (answers,) = served(b"[1,2,3]\n")
    assert [answer["error"]["code"] for answer in answers] == [-32600] * 3


def test_a_batch_of_too_many_calls_is_refused_whole() -> None:
    (answer,) = served(lines([1] * (MOST_CALLS + 1)))
    assert answer["error"]["code"] == -32600
    assert str(MOST_CALLS) in answer["error"]["message"]


def test_parameters_may_come_by_place() -> None:
    opened, checked = results({**OPEN, "params": ["lamplighter"]}, {**request("check"), "params": ["clip-1"]})
    assert opened["clip"] == "clip-1"
    assert checked["worst"] == "error"
    assert refused({**request("clip.close"), "params": ["a", "b"]})["message"] == "params: wanted at most 1, got 2"


def test_frames_of_lines_are_lenient_where_the_framing_says_so() -> None:
    one = lines(request("about")).rstrip()
    assert [a["id"] for a in served(b"\n\r\n  \n" + one + b"\r\n\n" + one)] == [1, 1], "the last without an end"


# lines ----------------------------------------------------------------------------------------------------


def test_lines_up_to_the_limit_are_taken_and_longer_ones_read_away() -> None:
    data = b"1234\n12345\r\n123456\n" + b"x" * 200_000 + b"\n12\n" + b"y" * 9
    assert list(read_lines(io.BytesIO(data), 5)) == [
        b"1234",
        TooLong(7),
        TooLong(7),
        TooLong(200_001),
        b"12",
        TooLong(9),
    ]


@given(
    st.lists(st.binary(max_size=40).map(lambda b: b.replace(b"\n", b"")), max_size=12),
    st.integers(1, 30),
    st.booleans(),
)
def test_lines_are_what_splitting_gives(parts: list[bytes], most: int, ended: bool) -> None:
    """Against splitting the whole at once."""
    data = b"\n".join(parts) + (b"\n" if ended else b"")
    found = list(read_lines(io.BytesIO(data), most))
    pieces = data.split(b"\n")
    last = len(pieces) - 1
    wanted: list[bytes | TooLong] = []
    for i, piece in enumerate(pieces):
        if len(piece) > most:
            wanted.append(TooLong(len(piece) + (i < last)))
        elif piece.strip(b" \t\r") != b"" or (piece.rstrip(b"\r").strip(b" \t") != b""):
            wanted.append(piece.rstrip(b"\r"))
    assert found == wanted


class Dripping(io.RawIOBase):
    """A stream that counts how much of it is held, and gives without end."""

    def __init__(self, total: int) -> None:
        self.left = total

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        count = min(len(buffer), self.left)
        buffer[:count] = b"x" * count
        self.left -= count
        return count


def test_an_oversized_message_takes_bounded_memory_and_one_answer() -> None:
    import tracemalloc

    stream: BinaryIO = io.BufferedReader(Dripping(200 << 20))
    tracemalloc.start()
    found = list(read_lines(stream, 1 << 20))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == [TooLong(200 << 20)]
    assert most < 4 << 20


def test_an_oversized_message_is_answered_and_the_next_one_too() -> None:
    answers = served(b"[" + b"1," * 5000 + b"1]\n" + lines(request("about")), most_bytes=1000)
    assert answers[0]["error"]["code"] == -32600
    assert answers[0]["error"]["message"] == "a message of 10004 bytes; at most 1000 are taken"
    assert answers[0]["id"] is None
    assert answers[1]["id"] == 1


# the methods ----------------------------------------------------------------------------------------------


def test_about_lists_every_method_with_its_parameters() -> None:
    (told,) = results(request("about"))
    assert told["surefoot"] == surefoot.__version__
    assert set(told["methods"]) == set(METHODS)
    assert told["methods"]["accept"]["params"] == ["proposals", "let"]
    assert all(method["does"].endswith(".") for method in told["methods"].values())


def test_a_remote_plant_gives_the_keys_of_a_plant_in_process() -> None:
    clip, rig = surefoot.demo("lamplighter")
    direct = surefoot.plant(clip, rig, keys="few", clearance=0.01)
    opened, planted, keys, layer = results(
        OPEN,
        request("plant", 1, clip="clip-1", clearance="10mm"),
        request("keys", 2, clip="clip-2", since="clip-1"),
        request("keys", 3, clip="clip-2", since="clip-1", layer=True),
    )
    assert (opened["first"], opened["last"], opened["rate"], opened["loop"]) == (1, 24, "24", True)
    assert planted["before"]["worst"] == "error"
    assert planted["after"]["worst"] == "note"
    assert set(keys["channels"]) == set(direct.changed) == set(planted["changed"])
    head = {"surefoot": "clip/1", "rate": 24, "range": {"first": 1, "last": 24}, "loop": True, "unit": "cm"}
    read = parse_clip(json.dumps({**head, "channels": keys["channels"]}).encode())
    added = parse_clip(json.dumps({**head, "channels": layer["channels"]}).encode())
    at = np.arange(1.0, 25.0, 0.2)
    for name in direct.changed:
        wanted = Pack.from_curves([direct.clip.channels[name]]).evaluate(at)
        assert np.abs(Pack.from_curves([read.channels[name]]).evaluate(at) - wanted).max() < 1e-9
        both = Pack.from_curves([clip.channels[name], added.channels[name]]).evaluate(at).sum(axis=0)
        assert np.abs(both - wanted).max() < 1e-9
        assert all(key[2] in ("given", "step") for key in keys["channels"][name]["keys"])
    assert layer["replaced"] == list(layer_between(clip, direct.clip).extra.get("replaced", []))


def test_keys_can_keep_their_shapes_and_be_picked() -> None:
    _, keys = results(OPEN, request("keys", clip="clip-1", channels=["hips.y"], slopes=False))
    table = json.loads((Path(__file__).parents[1] / "demos" / "data" / "lamplighter.json").read_text(encoding="utf-8"))
    assert keys["channels"] == {"hips.y": table["channels"]["hips.y"]}


def test_a_proposal_is_accepted_by_its_name() -> None:
    clip, rig = surefoot.demo("lamplighter")
    ways = surefoot.propose(clip, rig)
    _, told, accepted, checked = results(
        OPEN,
        request("propose", clip="clip-1"),
        request("accept", proposals=["clip-1/2"]),
        request("check", clip="clip-2"),
    )
    assert [way["way"] for way in told["proposals"]] == [way.way for way in ways]
    assert (accepted["ways"], accepted["changed"]) == ([ways[1].way], list(ways[1].channels))
    direct = surefoot.check(surefoot.apply_proposals(clip, rig, [ways[1]]), rig)
    assert [f["amount"] for f in checked["findings"]] == [f.shown for f in direct.findings]


def test_several_proposals_for_one_clip_are_accepted_together() -> None:
    clip, rig = surefoot.demo("lamplighter")
    ways = [way for way in surefoot.propose(clip, rig) if way.default]
    before = (OPEN, request("propose", clip="clip-1"))
    told = results(*before)[1]["proposals"]
    names = [way["proposal"] for way in told if way["default"]]
    _, _, accepted, keys = results(
        *before, request("accept", proposals=names), request("keys", clip="clip-2", slopes=False)
    )
    assert accepted["ways"] == [way.way for way in ways]
    direct = surefoot.apply_proposals(clip, rig, ways)
    first = accepted["changed"][0]
    assert [key[1] for key in keys["channels"][first]["keys"]] == direct.channels[first].values.tolist()
    two = (*before, OPEN, request("propose", clip="clip-2"))
    error = refused(request("accept", proposals=["clip-1/1", "clip-2/1"]), *two)
    assert error["message"] == "params.proposals: wanted one or more proposals for one clip, got those of 2 clips"
    assert "got none" in refused(request("accept", proposals=[]))["message"]


def test_a_proposal_that_asks_for_the_hips_needs_them_let() -> None:
    table = json.loads((Path(__file__).parents[1] / "demos" / "data" / "lamplighter.json").read_text(encoding="utf-8"))
    for key in table["channels"]["hips.y"]["keys"]:
        key[1] += 5
    open_high = request("clip.open", 0, clip=table)
    (_, told) = results(open_high, request("propose", clip="clip-1"))
    asking = next(way for way in told["proposals"] if way["asks"] == "hips.y")
    before = (open_high, request("propose", clip="clip-1"))
    error = refused(request("accept", proposals=[asking["proposal"]]), *before)
    assert error["code"] == -32602
    assert "hips.y, which must be let first" in error["message"]
    answers = results(*before, request("accept", proposals=[asking["proposal"]], let=["hips.y"]))
    assert answers[-1]["changed"] == ["hips.y"]
    let = results(open_high, request("plant", clip="clip-1", let=["hips.y"]))[-1]
    assert "hips.y" in let["changed"]


def test_rigs_and_grounds_are_loaded_by_name_file_or_text(tmp_path: Path) -> None:
    root = Path(__file__).parents[1]
    text = (root / "rigs" / "lamplighter.toml").read_text(encoding="utf-8")
    ground = 'surefoot = "ground/1"\nunit = "cm"\nkind = "flat"\nheight = 2'
    (tmp_path / "low.toml").write_text(ground.replace("2", "-50"), encoding="utf-8")
    answers = results(
        request("rig.load", rig="lamplighter"),
        request("rig.load", text=text),
        request("rig.load", rig=str(root / "rigs" / "adult.toml")),
        request("ground.load", text=ground),
        request("ground.load", path=str(tmp_path / "low.toml")),
        OPEN,
        request("check", clip="clip-6", rig="rig-2", ground="ground-4"),
        request("check", clip="clip-6", ground="ground-5"),
    )
    assert [a.get("rig", a.get("ground")) for a in answers[:5]] == ["rig-1", "rig-2", "rig-3", "ground-4", "ground-5"]
    assert answers[0]["channels"]["hips.y"] is True
    assert answers[0]["orders"]["hips"] == "yxz"
    deeper = [f["amount"] for f in answers[6]["findings"] if f["kind"] == "sink"]
    assert max(deeper) > 30.0
    assert not [f for f in answers[7]["findings"] if f["kind"] == "sink"]


def test_a_rig_s_file_beside_the_clip_s_is_found(tmp_path: Path) -> None:
    root = Path(__file__).parents[1]
    text = (root / "rigs" / "lamplighter.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text.replace('"lamplighter"', '"mine"'), encoding="utf-8")
    table = json.loads((root / "demos" / "data" / "lamplighter.json").read_text(encoding="utf-8"))
    (tmp_path / "walk.json").write_text(json.dumps({**table, "rig": "mine.toml"}), encoding="utf-8")
    opened = request("clip.open", 0, path=str(tmp_path / "walk.json"))
    answers = results(opened, request("check", clip="clip-1"), request("plant", clip="clip-1"),
                      request("check", clip="clip-2"))  # fmt: skip
    assert [answers[i]["rig"] for i in (1, 3)] == ["mine", "mine"]
    error = refused(request("check", clip="clip-1"), request("clip.open", 0, clip={**table, "rig": "mine.toml"}))
    assert "params.rig: no loaded rig or preset is called 'mine.toml'" in error["message"]


def test_other_formats_are_opened_with_their_mapping(tmp_path: Path) -> None:
    clip, rig = surefoot.demo("lamplighter")
    path = tmp_path / "walk.csv"
    for data, file in clip_files(clip, rig, path):
        Path(file).write_bytes(data)
    _, checked, planted = results(
        request("clip.open", path=str(path)), request("check", clip="clip-1"), request("plant", clip="clip-1")
    )
    assert checked["rig"] == rig.name
    assert checked["worst"] == surefoot.check(clip, rig).worst
    assert planted["after"]["worst"] in ("clean", "note")
    error = refused(request("clip.open", path=str(tmp_path / "walk.bvh")))
    assert "walk.bvh" in error["message"]


def test_options_mean_what_they_mean_on_the_command_line() -> None:
    clip, rig = surefoot.demo("lamplighter")
    stances = {"left": [[1, 14]], "right": [[13, 26]]}
    asked = {"belt": 1.3, "stances": stances, "tolerances": {"slide": "1mm"}, "landing": 0.04}
    _, told = results(OPEN, request("check", clip="clip-1", **asked))
    direct = surefoot.check(
        clip, rig, belt=surefoot.Belt(np.array([0.0, 0.0, -1.3])), landing=0.04,
        stances=[surefoot.Stance("left", 1, 14), surefoot.Stance("right", 13, 26)],
        tolerances={"slide": (0.0002, 0.001, 0.004)},
    )  # fmt: skip
    assert [(f["kind"], f["amount"], f["level"]) for f in told["findings"]] == [
        (f.kind, f.shown, f.level) for f in direct.findings
    ]
    chosen = results(OPEN, request("plant", clip="clip-1", feet=["left"], frames=[1, 9], locked=["left_foot.bend"],
                                   keys="every", kinds=["slide", "sink"], anchor="contact"))[-1]  # fmt: skip
    assert all(name.startswith("left_foot.") for name in chosen["changed"])
    assert "left_foot.bend" not in chosen["changed"]


@pytest.mark.parametrize(
    ("method", "params", "told", "kind"),
    [
        ("clip.open", {}, "params: give either path or clip", "InputError"),
        ("clip.open", {"path": "a.json", "clip": {"a": 1}}, "params: give either path or clip", "InputError"),
        ("clip.open", {"path": "lamplihgter"}, "no file or demo is called 'lamplihgter'; did you mean", "UnknownName"),
        ("clip.open", {"path": "nowhere/a.json"}, "can't be read: No such file", "FileError"),
        ("clip.open", {"clip": {"surefoot": "clip/1"}}, "params.clip: the field 'rate' is missing", "FileError"),
        ("clip.open", {"pat": "a"}, "params: 'pat' is no parameter; did you mean 'path'?", "InputError"),
        ("clip.close", {"clip": "clip-8"}, "params.clip: no open clip is called 'clip-8'; did you", "UnknownName"),
        ("check", {}, "params: the parameter 'clip' is missing", "InputError"),
        (
            "check",
            {"clip": "clip-1", "rig": "lampligther"},
            "params.rig: no loaded rig or preset is called",
            "UnknownName",
        ),
        (
            "check",
            {"clip": "clip-1", "ground": "g"},
            "params.ground: no loaded ground is called 'g'; there",
            "UnknownName",
        ),
        ("check", {"clip": "clip-1", "belt": "fast"}, "params.belt: wanted metres a second", "InputError"),
        ("check", {"clip": "clip-1", "belt": [1, 2]}, "params.belt: wanted", "InputError"),
        ("check", {"clip": "clip-1", "belt": 1e9}, "params.belt: faster than 1000 m/s", "InputError"),
        ("check", {"clip": "clip-1", "landing": 3}, "params.landing: wanted a number at most 1.0", "InputError"),
        ("check", {"clip": "clip-1", "stances": {"left": [[9, 3]]}}, "runs backwards, from frame 9 to 3", "InputError"),
        ("rig.load", {"name": "adult"}, "params: 'name' is no parameter; known are rig, text", "InputError"),
        ("about", {"all": True}, "params: 'all' is no parameter; there are none", "InputError"),
        (
            "plant",
            {"clip": "clip-1", "keys": "all"},
            "params.keys: 'all' is no word that may stand here; known are few, every",
            "InputError",
        ),
        ("check", {"clip": "clip-1", "stances": {"lft": []}}, "is no word that may stand here", "InputError"),
        (
            "check",
            {"clip": "clip-1", "tolerances": {"slid": "1mm"}},
            "params.tolerances.slid: no kind of",
            "UnknownName",
        ),
        (
            "plant",
            {"clip": "clip-1", "clearance": "10"},
            "params.clearance: wanted a length with its unit",
            "InputError",
        ),
        ("plant", {"clip": "clip-1", "keys": "some"}, "params.keys: 'some' is no word that may stand", "InputError"),
        (
            "plant",
            {"clip": "clip-1", "kinds": ["snap"]},
            "params: no kind that planting mends is called",
            "UnknownName",
        ),
        (
            "plant",
            {"clip": "clip-1", "let": ["hips.yy"]},
            "let: no channel is called 'hips.yy'; did you",
            "UnknownName",
        ),
        ("plant", {"clip": "clip-1", "locked": ["a"]}, "params.locked: no channel is called 'a'", "UnknownName"),
        ("plant", {"clip": "clip-1", "anchor": "frame:90"}, "frame 90 lies outside", "InputError"),
        ("plant", {"clip": "clip-1", "frames": [9, 2]}, "frames 9 to 2 run backwards", "InputError"),
        ("keys", {"clip": "clip-1", "channels": ["hips.w"]}, "params.channels: no channel is called", "UnknownName"),
        ("keys", {"clip": "clip-1", "layer": True}, "params.layer: a layer is the difference from", "InputError"),
        (
            "accept",
            {"proposals": ["clip-1/1"]},
            "params.proposals: no proposal is called 'clip-1/1'; there",
            "UnknownName",
        ),
        ("accept", {"proposals": ["9" * 99]}, "no proposal is called", "UnknownName"),
        ("rig.load", {"text": "a = "}, "params.text: not TOML", "FileError"),
        ("ground.load", {"text": "a = 1"}, "params.text", "InputError"),
        ("cancel", {"id": [1]}, "params.id: wanted", "InputError"),
    ],
)
def test_wrong_input_is_told_by_place(method: str, params: Table, told: str, kind: str) -> None:
    answers = served(lines(OPEN, request(method, "x", **params), request("about", "after")))
    by_id = {answer["id"]: answer for answer in answers}
    error = by_id["x"]["error"]
    assert error["code"] == -32602
    assert told in error["message"]
    assert error["data"]["kind"] == kind
    assert "result" in by_id["after"]


def test_an_unknown_method_names_the_nearest() -> None:
    error = refused(request("plnat"))
    assert error["code"] == -32601
    assert "did you mean 'plant'?" in error["message"]


def test_only_so_many_clips_are_held_and_closing_makes_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk_module, "MOST_HELD", 3)
    more = served(lines(*[OPEN] * 4, request("clip.close", clip="clip-2"), OPEN))
    assert [answer.get("result", {}).get("clip") for answer in more] == [
        "clip-1",
        "clip-2",
        "clip-3",
        None,
        None,
        "clip-4",
    ]
    assert "close one with clip.close" in more[3]["error"]["message"]
    assert more[4]["result"] == {"open": ["clip-1", "clip-3"]}


def test_a_fault_of_our_own_is_told_as_such_and_the_server_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> Table:
        raise ZeroDivisionError("a bug")

    monkeypatch.setitem(METHODS, "check", METHODS["check"]._replace(run=broken))
    sink, said = io.BytesIO(), []
    data = lines(OPEN, request("check", clip="clip-1"), request("about", "after"))
    assert Server(io.BytesIO(data), sink, log=said.append).run() == 0
    answers = [json.loads(line) for line in sink.getvalue().splitlines()]
    assert answers[1]["error"] == {"code": -32603, "message": "a fault in here: ZeroDivisionError: a bug"}
    assert "result" in answers[2]
    assert "Traceback" in said[0]


def test_two_desks_share_nothing() -> None:
    one, two = Desk(), Desk()
    wish = METHODS["clip.open"].wish
    for some in (one, two):
        assert some.clip_open(wish(path="lamplighter"), lambda *_: None)["clip"] == "clip-1"  # type: ignore[call-arg, arg-type]


# progress and cancelling ----------------------------------------------------------------------------------


def test_progress_comes_as_notifications_where_it_is_asked_for() -> None:
    answers = served(lines(OPEN, request("plant", "p", clip="clip-1", progress=True), request("check", clip="clip-1")))
    told = [answer for answer in answers if "id" not in answer]
    assert all(set(note) == {"jsonrpc", "method", "params"} and note["method"] == "progress" for note in told)
    assert all(note["params"]["id"] == "p" for note in told)
    shares = [note["params"]["share"] for note in told]
    assert shares == sorted(shares)
    assert len(shares) >= 2
    assert [answer["id"] for answer in answers if "id" in answer] == [0, "p", 1]


class Talk:
    """A server on two pipes, run in this thread by `until_done`, and a script in another that talks to it."""

    def __init__(self, script: Callable[[Talk], None], **limits: int) -> None:
        there, self._to = os.pipe()
        self._from, back = os.pipe()
        self.answers: list[Any] = []
        self._source, self._sink = os.fdopen(there, "rb"), os.fdopen(back, "wb")
        self._out, self._in = os.fdopen(self._to, "wb"), os.fdopen(self._from, "rb")
        self.said: list[str] = []
        self._server = Server(self._source, self._sink, log=self.said.append, **limits)
        self._script, self._error = script, None

    def say(self, *messages: Any) -> None:
        self._out.write(lines(*messages))
        self._out.flush()

    def hear(self) -> Any:
        return json.loads(self._in.readline())

    def until_done(self) -> int:
        errors: list[BaseException] = []

        def talk() -> None:
            try:
                self._script(self)
            except BaseException as error:
                errors.append(error)
            finally:
                self._out.close()
                while not self._in.closed and self._in.read(1 << 16):
                    pass  # a script that failed reads no more, and the server would wait for ever to be heard

        thread = threading.Thread(target=talk)
        thread.start()
        status = self._server.run()
        self._sink.close()
        thread.join(20.0)
        self._in.close()
        self._source.close()
        if errors:
            raise errors[0]
        return status


LONG = request("clip.open", "long", clip={
    **json.loads((Path(__file__).parents[1] / "demos" / "data" / "lamplighter.json").read_text(encoding="utf-8")),
    "range": {"first": 1, "last": 6000}, "loop": False, "stances": None,
})  # fmt: skip


def test_a_running_call_is_cancelled_at_once_and_the_server_goes_on() -> None:
    """Uncancelled, these proposals take several seconds."""
    took: list[float] = []

    def script(talk: Talk) -> None:
        talk.say(LONG)
        talk.hear()
        for number in range(3):
            talk.say(request("propose", number, clip="clip-1", progress=True))
            while talk.hear()["params"]["what"] != "proposing":
                pass
            time.sleep(0.05 * (number + 1))
            start = time.perf_counter()
            talk.say(request("cancel", "c", id=number))
            two = [talk.hear(), talk.hear()]
            took.append(time.perf_counter() - start)
            by_id = {answer["id"]: answer for answer in two}
            assert by_id["c"]["result"] == {"cancelled": "running"}
            assert by_id[number]["error"] == {"code": 1, "message": "cancelled"}
        talk.say(request("clip.open", 9, path="lamplighter"), request("check", 10, clip="clip-2"))
        assert [talk.hear()["id"] for _ in range(2)] == [9, 10]

    assert Talk(script).until_done() == 0
    assert max(took) < 1.0


def test_a_waiting_call_is_cancelled_before_it_begins() -> None:
    def script(talk: Talk) -> None:
        talk.say(LONG)
        talk.hear()
        talk.say(request("propose", "first", clip="clip-1", progress=True))
        while talk.hear()["params"]["what"] != "proposing":
            pass
        batch = [request("about", "third"), request("check", "fourth", clip="clip-1")]
        talk.say(request("check", "second", clip="clip-1"), batch)
        heard: dict[str, Any] = {}
        for number, where in (("second", "waiting"), ("fourth", "waiting"), ("first", "running"), ("none", "unknown")):
            talk.say(request("cancel", f"c {number}", id=number))
            while f"c {number}" not in heard:
                answer = talk.hear()
                heard[answer["id"]] = answer
            assert heard[f"c {number}"]["result"] == {"cancelled": where}
        while "second" not in heard:
            answer = talk.hear()
            heard[answer["id"]] = answer
        assert heard["first"]["error"]["code"] == 1
        assert heard["second"]["error"] == {"code": 1, "message": "cancelled before it began"}
        answers = talk.hear()
        assert [part["id"] for part in answers] == ["third", "fourth"]
        assert answers[1]["error"]["code"] == 1

    assert Talk(script).until_done() == 0


def test_the_text_1_is_not_the_number_1() -> None:
    def script(talk: Talk) -> None:
        talk.say(LONG)
        talk.hear()
        talk.say(request("propose", 1, clip="clip-1"))
        time.sleep(0.1)
        talk.say(request("cancel", "a", id="1"))
        assert talk.hear()["result"] == {"cancelled": "unknown"}
        talk.say(request("cancel", "b", id=1))
        assert {talk.hear()["id"], talk.hear()["id"]} == {1, "b"}

    assert Talk(script).until_done() == 0


def test_cancels_at_any_moment_give_one_answer_each_and_break_nothing() -> None:
    """Short calls, cancelled at moments all over them: each is either done or cancelled, and the server lives."""
    count, outcomes = 150, []

    def outcome(talk: Talk, number: Any) -> bool:
        answer = talk.hear()
        while "id" not in answer:
            answer = talk.hear()
        assert answer["id"] == number
        assert "result" in answer or answer["error"]["code"] == 1
        return "result" in answer

    def script(talk: Talk) -> None:
        talk.say(OPEN, request("check", "warm", clip="clip-1"))
        assert (talk.hear()["id"], talk.hear()["id"]) == (0, "warm")
        start = time.perf_counter()
        talk.say(request("check", "timed", clip="clip-1"))
        assert outcome(talk, "timed")
        whole = time.perf_counter() - start
        for number in range(count):
            talk.say(request("check", number, clip="clip-1", progress=number % 2 == 0))
            time.sleep(3.0 * whole * (number / count))
            talk.say({"jsonrpc": "2.0", "method": "cancel", "params": {"id": number}})
            outcomes.append(outcome(talk, number))
        talk.say(request("about", "after"))
        assert outcome(talk, "after")

    talk = Talk(script)
    assert talk.until_done() == 0
    assert talk.said == []
    assert {True, False} == set(outcomes)


def test_more_waiting_than_is_taken_is_answered_as_busy() -> None:
    def script(talk: Talk) -> None:
        talk.say(LONG)
        talk.hear()
        talk.say(request("propose", "slow", clip="clip-1"))
        time.sleep(0.05)
        talk.say(*[request("about", n, padding="x" * 30_000) for n in range(5)])
        busy = [talk.hear() for _ in range(2)]
        assert [answer["error"]["code"] for answer in busy] == [2, 2]
        assert "read the answers" in busy[0]["error"]["message"]
        talk.say(request("cancel", "c", id="slow"))
        assert len({talk.hear()["id"] for _ in range(5)}) == 5

    assert Talk(script, most_bytes=1 << 20, most_waiting=100_000).until_done() == 0


def test_a_closed_output_ends_the_server_with_a_sentence() -> None:
    sink, said = io.BytesIO(), []
    sink.close()
    assert Server(io.BytesIO(lines(OPEN, OPEN)), sink, log=said.append).run() == 1
    assert said == ["the output is closed (I/O operation on closed file.); stopping"]


def test_an_input_that_breaks_off_ends_the_server_with_a_sentence_after_its_answers() -> None:
    class Breaks(io.BytesIO):
        def readline(self, size: int | None = -1, /) -> bytes:
            line = super().readline(size)
            if not line:
                raise OSError("the line is dead")
            return line

    sink, said = io.BytesIO(), []
    assert Server(Breaks(lines(request("about"))), sink, log=said.append).run() == 1
    assert said == ["reading broke off: OSError: the line is dead"]
    assert json.loads(sink.getvalue())["id"] == 1


# hostile bytes --------------------------------------------------------------------------------------------

SEEDS = [
    lines(OPEN),
    lines(request("check", clip="clip-1")),
    lines([request("about", 1), request("about", 2)]),
    lines(request("plant", clip="clip-1", feet=["left"], frames=[1, 9], clearance="1mm")),
    lines(request("keys", clip="clip-1", channels=["hips.y"])),
    lines(request("accept", proposals=["clip-1/1"])),
    lines(request("cancel", id=1)),
    lines(request("clip.open", clip={"surefoot": "clip/1", "rate": 24, "channels": {}})),
]


def mutated(rng: np.random.Generator) -> bytes:
    """Return a message with some bytes changed, cut out, doubled or put in."""
    data = bytearray(SEEDS[rng.integers(len(SEEDS))].rstrip())
    for _ in range(rng.integers(1, 6)):
        at, what = int(rng.integers(len(data) + 1)), int(rng.integers(5))
        if what == 0 and data:
            data[at % len(data)] = int(rng.integers(256))
        elif what == 1:
            del data[at : at + int(rng.integers(1, 9))]
        elif what == 2:
            data[at:at] = data[at : at + int(rng.integers(1, 20))]
        elif what == 3:
            data[at:at] = rng.bytes(int(rng.integers(1, 5)))
        else:
            data[at:at] = [b"[", b"{", b'"', b"1e999", b"-", b"\\ud800", b"null", b"NaN"][rng.integers(8)]
    return bytes(data)


def is_json(line: bytes) -> bool:
    """Return whether a line is JSON of finite numbers, by the standard library."""

    def refuse(_name: str) -> None:
        raise ValueError

    try:
        table = json.loads(line.decode("utf-8"), parse_constant=refuse)
        json.dumps(table, ensure_ascii=False, allow_nan=False).encode("utf-8")
    except (ValueError, RecursionError):
        return False
    return True


def check_answers(sent: list[bytes]) -> None:
    """Send each line with a call after it: no line is answered twice, none stops the next, codes are the standard's."""
    data = b"".join(line + b"\n" + lines(request("about", f"after {i}")) for i, line in enumerate(sent))
    answers = served(data)
    marks = [i for i, a in enumerate(answers) if isinstance(a, dict) and str(a.get("id")).startswith("after ")]
    assert [answers[i]["id"] for i in marks] == [f"after {i}" for i in range(len(sent))]
    codes = {-32700, -32600, -32601, -32602, 1}
    for answer in answers:
        for part in answer if isinstance(answer, list) else [answer]:
            assert part.get("jsonrpc") == "2.0"
            assert set(part) in (
                {"jsonrpc", "id", "result"},
                {"jsonrpc", "id", "error"},
                {"jsonrpc", "method", "params"},
            )
            if "error" in part:
                assert part["error"]["code"] in codes, part
    parse_errors = [a for a in answers if isinstance(a, dict) and a.get("error", {}).get("code") == -32700]
    told = sum(not is_json(piece) for line in sent for piece in line.split(b"\n") if piece.strip(b" \t\r"))
    assert len(parse_errors) == told


def test_mutated_messages_get_clear_errors_and_stop_nothing() -> None:
    rng = np.random.default_rng(8)
    check_answers([mutated(rng) for _ in range(400)])


@pytest.mark.long
def test_ten_thousand_mutated_messages_get_clear_errors_and_stop_nothing() -> None:
    rng = np.random.default_rng(88)
    for _ in range(20):
        check_answers([mutated(rng) for _ in range(500)])


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
PARAMS = sorted({name for method in METHODS.values() for name in method.wish.__struct_fields__} - {"path", "rig"})


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.fixed_dictionaries(
            {"jsonrpc": st.just("2.0"), "id": st.integers(0, 9),
             "method": st.sampled_from([*METHODS, "cancel"]),
             "params": st.dictionaries(st.sampled_from(PARAMS), VALUES, max_size=4) | VALUES},
        ) | VALUES,
        min_size=1, max_size=4,
    )
)  # fmt: skip
def test_whatever_values_stand_in_a_call_the_answer_is_the_standard_s(messages: list[Any]) -> None:
    sent = [json.dumps(message).encode() for message in messages]
    check_answers([line for line in sent if b"\\ud" not in line])


# the command ----------------------------------------------------------------------------------------------


def test_the_command_writes_the_client_and_refuses_odd_limits(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "surefoot_client.py"
    assert main(["rpc", "--client", str(path)]) == 0
    assert capsys.readouterr().out == f"written: {path}\n"
    assert path.read_bytes() == (Path(surefoot.__file__).parent / "rpc" / "client.py").read_bytes()
    assert main(["rpc", "--longest", "0"]) == 2
    assert capsys.readouterr().err == "surefoot: --longest: wanted 1 to 1024 mebibytes, got 0\n"
    assert main(["rpc", "--help"]) == 0
    assert "example: echo" in capsys.readouterr().out
