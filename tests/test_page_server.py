"""The page's server: answers equal the library's, and whatever is wrong is refused with a sentence."""

from __future__ import annotations

import http.client
import json
import os
import socket
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from surefoot import Belt, Clip, check, demo, load_clip, plant
from surefoot.choice import Choice, Rejected
from surefoot.cli import main
from surefoot.curves import Pack
from surefoot.errors import FileError, InputError
from surefoot.page import server as module
from surefoot.page.packing import packed, unpacked
from surefoot.page.server import PageServer
from surefoot.page.wishes import KeySet, Mixed, Taken, Turned, Wishes
from surefoot.page.work import Work
from surefoot.pictures.figure import footings_at, footings_of
from surefoot.planting import scene_of
from surefoot.remixing import Edit, remix
from tests.measure import foot_steps, instants, slide
from tests.page_server import opened, serving


@pytest.fixture
def page(tmp_path: Path) -> Iterator[PageServer]:
    with serving(opened(tmp_path)) as server:
        yield server


def asked(
    page: PageServer, method: str, path: str, body: bytes | str | None = None, **headers: str
) -> tuple[int, bytes]:
    line = http.client.HTTPConnection("127.0.0.1", page.server_port, timeout=30)
    try:
        line.request(method, path if path.startswith("//") else f"/{page.token}/{path}", body, headers)
        reply = line.getresponse()
        return reply.status, reply.read()
    finally:
        line.close()


def work(wishes: dict[str, object], answer: str = "quick") -> str:
    return json.dumps({"wishes": wishes, "serial": 7, "answer": answer})


def head_of(page: PageServer, length: int) -> bytes:
    told = f"Host: 127.0.0.1:{page.server_port}\r\nContent-Length: {length}"
    return f"POST /{page.token}/work HTTP/1.1\r\n{told}\r\n\r\n".encode()


def test_an_answer_is_what_the_library_gives_for_the_same_mix(page: PageServer) -> None:
    status, body = asked(page, "POST", "work", work({"mix": [{"channels": "hips.y", "share": 0.7}]}, "whole"))
    assert status == 200
    head, arrays = unpacked(body)
    clip, rig = demo("lamplighter")
    mixed = remix(clip, rig, [Edit("scale", "hips.y", 0.7)])
    before, done = check(mixed, rig), plant(mixed, rig, keys="few")
    after = check(done.clip, rig)
    assert head["serial"] == 7
    assert [(f["kind"], f["foot"], f["first"], f["amount"]) for f in head["before"]] == [
        (f.kind, f.foot, f.first, f.shown) for f in before.findings
    ]
    assert [(f["kind"], f["amount"]) for f in head["after"]] == [(f.kind, f.shown) for f in after.findings]
    assert after.is_clean
    assert not before.is_clean
    hips = Pack.from_curves([mixed.channels["hips.y"]]).evaluate(np.arange(1.0, 25.0))[0] / 100.0
    assert np.abs(arrays["after.hips"][::4, 1] - hips).max() < 1e-6
    assert np.abs(arrays["before.hips"] - arrays["after.hips"]).max() == 0.0


def test_the_quick_answer_is_planted_too_and_poses_four_times_a_frame(page: PageServer) -> None:
    _, body = asked(page, "POST", "work", work({"channel": "left_foot.y"}))
    head, arrays = unpacked(body)
    assert arrays["after.joints"].shape == (96, 2, 7, 3)
    assert head["stances"] == [["left", 1, 15], ["right", 13, 27]]
    assert arrays["curve"].shape == (3, 24 * 8 + 1)
    assert np.abs(arrays["curve"][1] - arrays["curve"][2]).max() > 0.1


def test_a_rejected_finding_and_a_set_key_are_the_librarys(tmp_path: Path) -> None:
    open_clip = opened(tmp_path)
    wishes = Wishes(rejected=(Turned("hover", "left", 12, 15),), keys=(KeySet("hips.y", 1.0, 91.0),))
    answer = open_clip.answer(wishes, whole=True)
    clip, rig = open_clip.clip, open_clip.rig
    values = np.array(clip.channels["hips.y"].values)
    assert values[0] == values[-1] != 91.0
    values[[0, -1]] = 91.0
    mixed = clip.with_channels({"hips.y": replace(clip.channels["hips.y"], values=values)})
    done = plant(mixed, rig, keys="few", choice=Choice(rejected=(Rejected("hover", "left", 12, 15),)))
    after = check(done.clip, rig, stances=done.stances, belt=done.belt)
    assert [(f["kind"], f["first"], f["amount"]) for f in answer.head["after"]] == [
        (f.kind, f.first, f.shown) for f in after.findings
    ]
    assert any(f.kind == "hover" and f.foot == "left" for f in after.findings)


def test_a_way_taken_by_name_changes_the_hips_and_nothing_asked_for_is_lost(tmp_path: Path) -> None:
    open_clip = opened(tmp_path)
    raised = Wishes(keys=(KeySet("hips.y", 10.0, 99.0),), let=("hips.y",))
    without = open_clip.answer(Wishes(keys=raised.keys), whole=True).head
    with_let = open_clip.answer(raised, whole=True).head
    assert any(f["kind"] == "stretch" for f in without["after"])
    assert not any(f["kind"] == "stretch" and f["level"] != "note" for f in with_let["after"])


def test_a_key_that_is_gone_after_a_shift_is_told(tmp_path: Path) -> None:
    told = opened(tmp_path).answer(
        Wishes(mix=(Mixed("hips.y", later=1.0),), keys=(KeySet("hips.y", 4.0, 90.0),)), whole=False
    )
    assert told.head["told"] == ["hips.y has no key on frame 4 now; that change is left out"]


def test_a_key_between_frames_is_known_by_the_single_float_that_the_page_has(tmp_path: Path) -> None:
    page = opened(tmp_path)
    later = Mixed("hips.y", later=61.3)
    shown = page.answer(Wishes(mix=(later,), channel="hips.y"), whole=False).arrays["keys.before"]
    frame = float(np.float32(shown[shown[:, 0] > 20.0][0, 0]))
    assert abs(frame - shown[shown[:, 0] > 20.0][0, 0]) > 1e-8
    answer = page.answer(Wishes(mix=(later,), keys=(KeySet("hips.y", frame, 95.0),), channel="hips.y"), whole=False)
    assert answer.head["told"] == []
    assert 95.0 in answer.arrays["keys.before"][:, 1]


def served_by(monkeypatch: pytest.MonkeyPatch, *words: str) -> tuple[Work, Callable[[], Work]]:
    """Return the work that the command opens a page on, and what reads it again."""
    got: list[tuple[Work, Callable[[], Work]]] = []
    monkeypatch.setattr(module, "serve", lambda work, *, again, **_: got.append((work, again)))
    assert main(["page", *words, "--no-open"]) == 0
    return got[0]


def test_the_page_judges_as_its_command_line_asks_and_again_after_it_is_opened_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = opened(tmp_path).path
    asks = ("--tolerance", "slide=900mm", "--also", "mismatch", "--stances", "left=2-14", "--stances", "right=13-27")
    first, again = served_by(monkeypatch, str(path), *asks)
    for page in (first, again()):
        head = page.answer(Wishes(), whole=True).head
        kinds = {one["kind"] for one in head["before"]}
        assert "slide" not in kinds
        assert "mismatch" in kinds
        assert head["stances"][0] == ["left", 2, 14]
    assert "slide" in {one["kind"] for one in opened(tmp_path).answer(Wishes(), whole=True).head["before"]}


def test_a_file_that_is_opened_anew_brings_its_own_belt(page: PageServer) -> None:
    table = json.loads(page.work.path.read_bytes())
    table["belt"]["velocity"] = [0, 0, -100]
    page.work.path.write_text(json.dumps(table))
    assert asked(page, "POST", "work", work({"slope": 2.0}))[0] == 200
    assert asked(page, "POST", "reopen", work({}))[0] == 200
    told = json.loads(asked(page, "GET", "clip")[1])
    assert (told["speed"], told["wishes"]["slope"]) == (pytest.approx(1.0), 2.0)


def test_a_demos_page_saves_where_it_was_started_and_not_inside_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    page, _ = served_by(monkeypatch, "lamplighter")
    assert page.about()["folder"] == str(tmp_path)
    assert page.save(Wishes()) == ["lamplighter.planted.json", "lamplighter.layer.json"]
    assert sorted(one.name for one in tmp_path.iterdir()) == ["lamplighter.layer.json", "lamplighter.planted.json"]


def test_saving_writes_clip_and_layer_beside_the_original_and_never_over_anything(page: PageServer) -> None:
    folder = page.work.path.parent
    before = page.work.path.read_bytes()
    body = work({"mix": [{"channels": "hips.y", "share": 0.7}]})
    for names in (["walk.planted.json", "walk.layer.json"], ["walk.planted-2.json", "walk.layer-2.json"]):
        status, reply = asked(page, "POST", "save", body)
        assert (status, json.loads(reply)) == (200, {"written": names})
    assert page.work.path.read_bytes() == before
    assert sorted(path.name for path in folder.iterdir()) == [
        "walk.json", "walk.layer-2.json", "walk.layer.json", "walk.planted-2.json", "walk.planted.json",
    ]  # fmt: skip
    saved = load_clip(folder / "walk.planted.json")
    assert check(saved, page.work.rig).is_clean
    layer = load_clip(folder / "walk.layer.json")
    at = np.linspace(1.0, 25.0, 97)
    for name, curve in layer.channels.items():
        three = page.work.clip.channels[name], curve, saved.channels[name]
        old, add, new = (Pack.from_curves([one]).evaluate(at)[0] for one in three)
        assert np.abs(old + add - new).max() < 1e-9


def test_a_clip_changed_on_disk_is_noticed_before_anything_is_written(page: PageServer) -> None:
    page.work.path.write_bytes(page.work.path.read_bytes() + b"\n")
    _, body = asked(page, "POST", "work", work({}, "whole"))
    assert unpacked(body)[0]["changed_on_disk"]
    status, told = asked(page, "POST", "save", work({}))
    assert status == 409
    assert b"walk.json: it has changed on disk since it was opened; nothing was written" in told
    assert [path.name for path in page.work.path.parent.iterdir()] == ["walk.json"]
    assert asked(page, "POST", "save-anyway", work({}))[0] == 200
    assert asked(page, "POST", "reopen", work({}))[0] == 200
    _, body = asked(page, "POST", "work", work({}, "whole"))
    assert not unpacked(body)[0]["changed_on_disk"]


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_clip = opened(tmp_path)

    def refuse(*_: object, **__: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(FileError, match="can't be written"):
        open_clip.save(Wishes())


@pytest.mark.parametrize(
    ("method", "path", "headers", "status", "told"),
    [
        ("GET", "//wrong-token/", {}, 404, b"open the address"),
        ("GET", "//", {}, 404, b"open the address"),
        ("GET", "clip", {"Host": "example.org"}, 403, b"own machine"),
        ("GET", "clip", {"Origin": "http://example.org"}, 403, b"another site"),
        ("POST", "work", {"Origin": "null"}, 403, b"another site"),
        ("GET", "../../etc/passwd", {}, 404, b"no such file"),
        ("GET", "..%2f..%2fpage.css", {}, 404, b"no such file"),
        ("GET", "server.py", {}, 404, b"no such file"),
        ("GET", "../server.py", {}, 404, b"no such file"),
        ("POST", "nonsense", {}, 404, b"the page asks for"),
    ],
)
def test_strangers_and_strange_paths_are_refused(
    page: PageServer, method: str, path: str, headers: dict[str, str], status: int, told: bytes
) -> None:
    found, body = asked(page, method, path, work({}) if method == "POST" else None, **headers)
    assert (found, told in body) == (status, True)


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"", b"no JSON"),
        (b"{", b"no JSON"),
        (b"\xff\xfe", b"the request is no"),
        (b"[" * 100_000, b"the request is no"),
        (b"[1]", b"not understood"),
        (b'{"wishes": {"mix": [{"channels": "hips.y", "share": 1e9}]}}', b"$.wishes.mix[0].share"),
        (b'{"wishes": {"mix": [{"channels": "hip.y", "share": 0.5}]}}', b"hips.y"),
        (b'{"wishes": {"keys": [{"channel": "hips.q", "frame": 1, "value": 0}]}}', b"hips.q"),
        (b'{"wishes": {"slope": NaN}}', b"the request is no"),
        (b'{"wishes": {"surprise": 1}}', b"surprise"),
        (b'{"wishes": {"rejected": [{"kind": "sink", "foot": "third", "first": 1, "last": 2}]}}', b"third"),
        (b'{"wishes": {"rejected": [{"kind": "sink", "foot": "left", "first": 3, "last": 2}]}}', b"run backwards"),
        (b'{"wishes": {"let": ["hips.why"]}}', b"hips.why"),
    ],
)  # fmt: skip
def test_a_request_that_says_nothing_sensible_is_told_so_and_the_page_goes_on(
    page: PageServer, body: bytes, told: bytes
) -> None:
    status, reply = asked(page, "POST", "work", body)
    assert (status, told in reply) == (422, True), reply
    assert asked(page, "POST", "work", work({}))[0] == 200


def standing(page: PageServer, token: str | None = None, **headers: str) -> ClientConnection:
    address = f"ws://127.0.0.1:{page.server_port}/{token or page.token}/line"
    return connect(address, additional_headers=headers, proxy=None, max_size=None)


def test_a_standing_line_answers_like_single_requests_and_outlives_what_it_cannot_understand(page: PageServer) -> None:
    wanted = work({"mix": [{"channels": "hips.y", "share": 0.7}]})
    with standing(page) as line:
        for _ in range(3):
            line.send(wanted)
            assert line.recv(timeout=30) == asked(page, "POST", "work", wanted)[1]
        line.send("{")
        assert "no JSON" in str(line.recv(timeout=30))
        line.send(work({"mix": [{"channels": "hip.y", "share": 0.5}]}))
        assert "hips.y" in str(line.recv(timeout=30))
        line.send([wanted[:9], wanted[9:30], wanted[30:]])  # one message in three frames
        assert line.recv(timeout=30) == asked(page, "POST", "work", wanted)[1]
        assert line.ping().wait(10)


def test_a_fault_is_told_on_the_line_too_and_the_line_stands(page: PageServer, monkeypatch: pytest.MonkeyPatch) -> None:
    def stumble(*_: object, **__: object) -> None:
        raise ArithmeticError("the ground fell away")

    with standing(page) as line:
        with monkeypatch.context() as patched:
            patched.setattr(type(page.work), "answer", stumble)
            line.send(work({}))
            assert line.recv(timeout=30) == "fault: ArithmeticError: the ground fell away"
        line.send(work({}))
        assert line.recv(timeout=30) == asked(page, "POST", "work", work({}))[1]


def test_a_standing_line_is_refused_to_strangers(page: PageServer) -> None:
    for token, headers, status in (
        ("wrong", {}, 404),
        (None, {"Origin": "http://example.org"}, 403),
    ):
        with pytest.raises(InvalidStatus) as refused:
            standing(page, token, **headers)
        assert refused.value.response.status_code == status


def test_a_message_of_megabytes_ends_the_line_and_not_the_page(page: PageServer) -> None:
    with standing(page) as line:
        with suppress(ConnectionClosed):  # the server may well answer before all is sent
            line.send("x" * 3_000_000)
        with pytest.raises(ConnectionClosed) as closed:
            line.recv(timeout=30)
    assert closed.value.rcvd is not None
    assert closed.value.rcvd.code == 1009  # RFC 6455, section 7.4.1: a message that is too big
    assert asked(page, "POST", "work", work({}))[0] == 200


def test_a_broken_line_is_closed_by_the_standard(page: PageServer) -> None:
    for sent in (b"\x81\x05hello", b"\xff\xff\xff", b"\x81"):  # not masked, no such frame, cut off
        with socket.create_connection(("127.0.0.1", page.server_port), timeout=10) as line:
            told = f"Host: 127.0.0.1:{page.server_port}\r\nUpgrade: websocket\r\nConnection: Upgrade"
            key = "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13"
            line.sendall(f"GET /{page.token}/line HTTP/1.1\r\n{told}\r\n{key}\r\n\r\n".encode())
            reply = line.recv(65536)
            assert b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo=" in reply  # RFC 6455, section 1.3: the answer to its own key
            line.sendall(sent)
            line.shutdown(socket.SHUT_WR)
            while line.recv(65536):
                pass
    assert asked(page, "POST", "work", work({}))[0] == 200


def test_a_request_for_a_line_that_is_none_is_told(page: PageServer) -> None:
    assert asked(page, "GET", "line", None, Upgrade="websocket", Connection="Upgrade")[0] == 400
    assert asked(page, "GET", "clip", None, Upgrade="websocket", Connection="Upgrade")[0] == 404


def test_a_hundred_megabytes_are_refused_before_they_are_read(page: PageServer) -> None:
    with socket.create_connection(("127.0.0.1", page.server_port), timeout=10) as line:
        line.sendall(head_of(page, 100_000_000) + b"x" * 1000)
        assert line.recv(65536).startswith(b"HTTP/1.1 413")
    assert asked(page, "GET", "clip")[0] == 200


def test_a_request_without_a_length_is_refused(page: PageServer) -> None:
    with socket.create_connection(("127.0.0.1", page.server_port), timeout=10) as line:
        line.sendall(f"POST /{page.token}/work HTTP/1.1\r\nHost: 127.0.0.1:{page.server_port}\r\n\r\n".encode())
        assert line.recv(65536).startswith(b"HTTP/1.1 411")


def test_a_client_that_stands_still_holds_nobody_up(page: PageServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module._Handler, "timeout", 0.3)
    with socket.create_connection(("127.0.0.1", page.server_port), timeout=10) as line:
        line.sendall(head_of(page, 900) + b"{")
        assert asked(page, "POST", "work", work({}))[0] == 200
        assert line.recv(65536).startswith(b"HTTP/1.1 408")


def test_two_hundred_requests_at_once_are_all_answered(page: PageServer) -> None:
    wanted = [{"mix": [{"channels": "hips.y", "share": round(0.5 + i / 400, 4)}]} for i in range(200)]
    with ThreadPoolExecutor(200) as pool:
        found = list(pool.map(lambda wishes: asked(page, "POST", "work", work(wishes)), wanted))
    assert [status for status, _ in found] == [200] * 200
    assert [path.name for path in page.work.path.parent.iterdir()] == ["walk.json"]


def test_files_are_served_with_their_kind_and_only_this_page_may_use_them(page: PageServer) -> None:
    for name, kind in (("", "text/html"), ("main.js", "text/javascript"), ("page.css", "text/css")):
        line = http.client.HTTPConnection("127.0.0.1", page.server_port, timeout=30)
        line.request("GET", f"/{page.token}/{name}")
        reply = line.getresponse()
        assert reply.status == 200
        assert reply.headers["Content-Type"].startswith(kind)
        assert "default-src 'none'" in reply.headers["Content-Security-Policy"]
        reply.read()
        line.close()


def test_numbers_survive_the_packing() -> None:
    arrays = {"a": np.arange(6.0).reshape(2, 3), "b": np.zeros((0, 4)), "c": np.float64(2.5)}
    head, found = unpacked(packed({"word": "größe"}, arrays))
    assert head == {"word": "größe"}
    for name, array in arrays.items():
        assert np.array_equal(found[name], array)


def test_wishes_that_name_a_locked_channel_are_refused(tmp_path: Path) -> None:
    open_clip = opened(tmp_path)
    open_clip.clip = replace(open_clip.clip, locked=frozenset({"hips.y"}))
    with pytest.raises(InputError, match="locked"):
        open_clip.answer(Wishes(mix=(Mixed("hips.y", 0.5),)), whole=False)


def test_footprints_on_level_ground_are_those_that_are_fitted_to_the_planted_feet() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig)
    scene = scene_of(done.clip, rig)
    told, fitted = footings_at(scene, done.footprints), footings_of(scene, done.stances)
    for one, two in zip(told, fitted, strict=True):
        assert (one.stance, one.foot) == (two.stance, two.foot)
        for name in ("place", "hind", "toes", "anchors"):
            assert np.abs(getattr(one, name) - getattr(two, name)).max() < 1e-4


# ---- what is wished for, as it's saved ----


def saved(page: Work, wishes: Wishes) -> Clip:
    return load_clip(page.folder / page.save(wishes)[0])


def test_a_wished_slope_and_speed_are_what_the_saved_feet_stand_on(tmp_path: Path) -> None:
    """Witness: `tests/measure.py` on the plane y = z tan 3 degrees, the ground going back by 1 m/s from above."""
    page = opened(tmp_path)
    wishes = Wishes(slope=3.0, speed=1.0)
    head = page.answer(wishes, whole=False).head
    made, rise = saved(page, wishes), float(np.tan(np.radians(3.0)))
    ride = np.array([0.0, -rise, -1.0])
    assert head["speed"] == pytest.approx(np.linalg.norm(ride))
    for foot, first, last in head["stances"]:
        steps = foot_steps(
            made, page.rig, ("left", "right").index(foot), instants(first, last), belt=ride,
            plane=([0.0, 0.0, 0.0], [0.0, 1.0, -rise]),
        )  # fmt: skip
        assert slide(steps) <= 2e-4
        assert np.abs(steps.height.min(axis=1)).max() <= 2e-4


def test_a_standing_ground_gets_a_wished_speed_towards_minus_z(tmp_path: Path) -> None:
    page = opened(tmp_path)
    still = replace(page, belt=Belt([0.0, 0.0, 0.0]))
    shared = replace(page, belt=Belt([0.0, 0.0, -0.5], 0.2))
    wishes = Wishes(speed=1.35)
    want = page.answer(wishes, whole=False)
    got = still.answer(wishes, whole=False)
    assert want.head["speed"] == got.head["speed"] == 1.35
    for name in want.arrays:
        np.testing.assert_array_equal(got.arrays[name], want.arrays[name])
    assert shared.answer(Wishes(speed=1.0), whole=False).head["speed"] == pytest.approx(1.0)


def test_a_family_shifted_on_the_page_is_saved_as_remix_shifts_it(tmp_path: Path) -> None:
    page = opened(tmp_path)
    made = saved(page, Wishes(mix=(Mixed("hips.y", later=2.0),)))
    asked_for = remix(page.clip, page.rig, [Edit("shift", "hips.y", 2.0)]).channels["hips.y"]
    frames = np.linspace(1.0, 25.0, 97)
    np.testing.assert_allclose(made.channels["hips.y"].at(frames), asked_for.at(frames), atol=1e-9)


def test_a_way_that_was_taken_and_is_not_there_any_more_is_told_and_left_out(tmp_path: Path) -> None:
    page = opened(tmp_path)
    gone = Wishes(taken=(Taken("slide", "left", "", "hold", 100, 101),))
    assert page.answer(gone, whole=False).head["told"] == ["slide of the left in frames 100 to 101 isn't there now"]
    one, two = saved(page, gone), saved(page, Wishes())
    assert set(one.channels) == set(two.channels)
    assert all(np.array_equal(one.channels[name].values, curve.values) for name, curve in two.channels.items())


def test_copies_are_counted_and_too_many_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = opened(tmp_path)
    monkeypatch.setattr("surefoot.page.work.MOST_COPIES", 3)
    assert page.save(Wishes()) == ["walk.planted.json", "walk.layer.json"]
    (tmp_path / "walk.planted.json").unlink()  # the layer alone is in the way too
    assert page.save(Wishes()) == ["walk.planted-2.json", "walk.layer-2.json"]
    with pytest.raises(FileError, match=r"walk\.json: there are 3 saved copies beside it already; remove some"):
        page.save(Wishes())
