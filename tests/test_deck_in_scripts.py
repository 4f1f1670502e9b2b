"""A deck for scripts: by remote calls and in a host; what comes out is what `plant_aboard` gives."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surefoot import Clip, InputError, Rig, UnknownName, check, demo, load_deck
from surefoot.cli import main
from surefoot.clip_file import parse_clip, save_clip
from surefoot.curves import Pack
from surefoot.deck import aboard, plant_aboard
from surefoot.demos import deck_path
from surefoot.host import MemoryHost
from surefoot.host import check as check_in_host
from surefoot.host import plant as plant_in_host
from surefoot.host import read as read_host
from tests.test_deck_file import LIFT, ferry_by_hand
from tests.test_rpc import refused, request, results

FERRY = str(deck_path("ferry"))
OPEN = request("clip.open", 0, path="ferry")
LOAD = request("deck.load", 0, path=FERRY)


@pytest.fixture(scope="module")
def ferry() -> tuple[Clip, Rig]:
    return demo("ferry")


def kinds(findings: list[dict[str, Any]]) -> list[tuple[str, str, int]]:
    return [(f["kind"], f["foot"], f["first"]) for f in findings]


# remote calls ---------------------------------------------------------------------------------------------


def test_a_remote_plant_aboard_gives_the_keys_of_a_plant_aboard_in_process(ferry: tuple[Clip, Rig]) -> None:
    clip, rig = ferry
    _, loaded, found, planted, keys = results(
        OPEN,
        LOAD,
        request("check", clip="clip-1", aboard="deck-2"),
        request("plant", clip="clip-1", aboard="deck-2", keys="every"),
        request("keys", clip="clip-3"),
    )
    assert loaded == {"deck": "deck-2", "name": "ferry"}
    deck = load_deck(FERRY)
    direct, report = plant_aboard(clip, rig, deck), check(*aboard(clip, rig, deck))
    assert found["aboard"] == planted["aboard"] == "ferry"
    assert kinds(found["findings"]) == [(f.kind, f.foot, f.first) for f in report.findings]
    assert planted["after"]["worst"] == "clean"
    assert set(planted["changed"]) == set(direct.changed)
    table = {"surefoot": "clip/1", "rate": 24, "range": {"first": 1, "last": 48}, "channels": keys["channels"]}
    remote = parse_clip(json.dumps(table).encode())
    for name, curve in direct.clip.channels.items():
        assert np.abs(remote.channels[name].values - curve.values).max() < 1e-12, name


def test_what_comes_back_is_in_the_world_again_and_stands_well_on_the_same_deck() -> None:
    *_, on_deck, on_land = results(
        OPEN,
        LOAD,
        request("plant", clip="clip-1", aboard="deck-2", before="clip-1"),
        request("check", clip="clip-3", aboard="deck-2"),
        request("check", clip="clip-3"),
    )
    assert on_deck["worst"] in ("clean", "note")
    assert on_land["worst"] == "error"
    assert "aboard" not in on_land


def test_a_proposal_aboard_is_accepted_and_mends_what_it_says() -> None:
    before, listed = results(OPEN, LOAD, request("propose", clip="clip-1", aboard="deck-2"))[1:]
    assert before["name"] == "ferry"
    ways = listed["proposals"]
    first = next(way for way in ways if way["mends"]["kind"] == "slide" and way["default"])
    *_, accepted, found = results(
        OPEN,
        LOAD,
        request("propose", clip="clip-1", aboard="deck-2"),
        request("accept", proposals=[first["proposal"]]),
        request("check", clip="clip-3", aboard="deck-2"),
    )
    mended = first["mends"]
    place = ("slide", mended["foot"], mended["first"])
    left = [f["amount"] for f in found["findings"] if (f["kind"], f["foot"], f["first"]) == place]
    assert accepted["changed"]
    assert max(left, default=0.0) <= first["leaves"]["amount"] + 1e-6


def test_a_space_of_the_clip_is_a_deck_by_its_name(ferry: tuple[Clip, Rig], tmp_path: Path) -> None:
    clip, _ = ferry
    path = tmp_path / "own.json"
    save_clip(replace(clip, spaces={"boat": ferry_by_hand(clip)}), path)
    _, own, _, _, shipped = results(
        request("clip.open", path=str(path)),
        request("check", clip="clip-1", aboard="boat"),
        OPEN,
        LOAD,
        request("check", clip="clip-2", aboard="deck-3"),
    )
    assert own["aboard"] == "boat"
    assert kinds(own["findings"]) == kinds(shipped["findings"])


def test_a_deck_may_come_as_text_and_a_nameless_one_is_called_a_deck() -> None:
    answers = results(OPEN, request("deck.load", text=LIFT), request("check", clip="clip-1", aboard="deck-2"))
    assert answers[1] == {"deck": "deck-2", "name": ""}
    assert answers[2]["aboard"] == "deck"


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (request("check", clip="clip-1", aboard="deck-9"), "params.aboard: no loaded deck or space of the clip"),
        (request("plant", clip="clip-1", aboard=3), "params.aboard: wanted"),
        (request("deck.load"), "give either path or text"),
        (request("deck.load", text=LIFT.replace("yaw =", "yow =")), "params.text: channels: no channel of a deck is"),
        (request("deck.load", path="nowhere.toml"), "can't be read"),
        (request("deck.load", path="ferry"), "ferry: wanted a deck's file, whose name ends in .toml or .csv or .json"),
        (request("deck.load", path="nowhere.glb"), "no suffix of a deck's file"),
    ],
)
def test_a_wrong_deck_is_told_by_place(call: dict[str, Any], told: str) -> None:
    error = refused(call, OPEN)
    assert error["code"] == -32602
    assert told in error["message"]


def test_a_deck_that_does_not_fit_the_clip_is_told_by_place() -> None:
    error = refused(request("check", clip="clip-2", aboard="deck-1"), LOAD, request("clip.open", path="lamplighter"))
    assert "params.aboard: deck ferry: at frame 25" in error["message"]


# in a host ------------------------------------------------------------------------------------------------


def test_planting_aboard_in_a_host_gives_what_plant_aboard_gives(ferry: tuple[Clip, Rig]) -> None:
    clip, rig = ferry
    host, deck = MemoryHost(clip), load_deck(FERRY)
    done = plant_in_host(host, rig, aboard=deck, keys="every")
    direct = plant_aboard(replace(clip, belt=None, stances=None), rig, deck)
    found = read_host(host, rig)
    assert set(done.written) == set(direct.changed)
    assert not found.spaces
    assert not done.planted.clip.spaces
    frames = np.arange(1.0, 49.0)
    names = list(direct.clip.channels)
    wanted = Pack.from_curves([direct.clip.channels[name] for name in names]).evaluate(frames)
    assert np.abs(host.samples(names, frames) - wanted).max() < 1e-9
    assert done.before.worst == "error"
    assert done.after.is_clean
    assert check_in_host(host, rig, aboard=deck, stances=done.planted.stances).is_clean
    assert not check_in_host(host, rig, stances=done.planted.stances).is_clean
    host.undo_step()
    assert read_host(host, rig).channels == read_host(MemoryHost(clip), rig).channels


def test_a_space_of_the_host_is_a_deck_by_its_name_in_the_host_s_unit(ferry: tuple[Clip, Rig]) -> None:
    clip, rig = ferry
    motion = ferry_by_hand(clip)
    host = MemoryHost(replace(clip, spaces={"boat": motion}))
    assert host.setup().unit == "cm"
    by_name = check_in_host(host, rig, aboard="boat")
    by_array = check_in_host(MemoryHost(clip), rig, aboard=motion)
    told = [[(f.kind, f.foot, f.first, round(f.amount, 9)) for f in one.findings] for one in (by_name, by_array)]
    assert told[0] == told[1]
    assert by_name.most("slide") is not None


def test_a_clip_before_the_edit_goes_aboard_with_the_host(ferry: tuple[Clip, Rig]) -> None:
    clip, rig = ferry
    deck = load_deck(FERRY)
    done = plant_in_host(MemoryHost(clip), rig, aboard=deck, before=clip)
    direct = plant_aboard(replace(clip, belt=None, stances=None), rig, deck, before=clip)
    on_land = plant_in_host(MemoryHost(clip), rig, before=clip)
    places = [[p.place for p in some.footprints] for some in (done.planted, direct, on_land.planted)]
    assert places[0] == places[1]
    assert places[0] != places[2]


@pytest.mark.parametrize(
    ("deck", "kind", "told"),
    [
        ("boat", UnknownName, "no space is called 'boat'"),
        (3.0, InputError, "expected a matrix a frame"),
        (np.zeros((48, 4, 4)), InputError, "without scale or mirror"),
        (object(), InputError, "wanted a Deck, a space's name or a matrix a frame"),
    ],
)
def test_a_wrong_deck_leaves_the_host_as_it_was(
    ferry: tuple[Clip, Rig], deck: Any, kind: type[InputError], told: str
) -> None:
    host = MemoryHost(ferry[0])
    with pytest.raises(kind, match=told):
        plant_in_host(host, ferry[1], aboard=deck)
    assert (list(host.layers()), host.steps) == ([], [])


# what is printed ------------------------------------------------------------------------------------------


def test_the_table_and_the_json_name_the_deck(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "tender.toml").write_text(LIFT)
    for command in ("check", "plant"):
        main([command, "ferry", "--aboard", "ferry"])
        assert "aboard: ferry, whose ground and findings these are" in capsys.readouterr().out.splitlines()
        main([command, "ferry", "--aboard", str(tmp_path / "tender.toml"), "--json"])
        assert json.loads(capsys.readouterr().out)["aboard"] == "tender"
        main([command, "ferry"])
        assert "aboard" not in capsys.readouterr().out
        main([command, "ferry", "--json"])
        assert "aboard" not in json.loads(capsys.readouterr().out)
