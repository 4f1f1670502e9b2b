"""`surefoot check --propose`: the ways to mend, in a table and as JSON, with the same figures as the library's."""

from __future__ import annotations

import json
import re

import pytest

import surefoot
from surefoot.cli import main
from surefoot.tables import print_proposals


def test_the_table_names_each_way_once_a_finding_and_marks_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "lamplighter", "--propose"]) == 1
    told = capsys.readouterr().out
    head, _, ways = told.partition("ways to mend, cheapest first")
    assert "beyond" in head
    heads, *lines = ways.splitlines()[1:-1]
    begin, end = heads.index("way"), heads.index("most")
    cells: list[str] = []  # a way goes on below itself where its column is narrower
    for line in lines:
        own = line[begin:end].strip()
        if line[0] != " ":
            cells.append(own)
        elif own:
            cells[-1] += f" {own}"
    clip, rig = surefoot.demo("lamplighter")
    found = surefoot.propose(clip, rig)
    assert len(cells) == len(found)
    for cell, proposal in zip(cells, found, strict=True):
        asks = f" (asks for {proposal.asks})" if proposal.asks else ""
        assert cell == ("* " if proposal.default else "") + proposal.way + asks
    assert "toes up" in ways
    assert "lower the hips (asks for hips.y)" in cells
    assert "cost: 1 cm for a leg of 0.9 m counts 1, and so do 10 degrees" in ways


def test_json_has_the_librarys_figures(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "lamplighter", "--propose", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    clip, rig = surefoot.demo("lamplighter")
    found = surefoot.propose(clip, rig)
    assert len(told["proposals"]) == len(found)
    for shown, proposal in zip(told["proposals"], found, strict=True):
        assert shown["way"] == proposal.way
        assert shown["mends"]["kind"] == proposal.finding.kind
        assert shown["frames"] == proposal.frames.tolist()
        assert [c["channel"] for c in shown["channels"]] == list(proposal.channels)
        assert [c["amounts"] for c in shown["channels"]] == proposal.shown.tolist()
        assert {c["unit"] for c in shown["channels"]} <= {"mm", "deg"}
        assert shown["leaves"] == {"amount": proposal.shown_left, "unit": proposal.finding.unit}
        assert [w["after"] for w in shown["worse"]] == [w.shown for w in proposal.worse]
        assert [w["before"] for w in shown["worse"]] == [w.shown_before for w in proposal.worse]


def test_without_it_nothing_is_proposed(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "lamplighter"])
    assert "ways to mend" not in capsys.readouterr().out
    main(["check", "lamplighter", "--json"])
    assert "proposals" not in json.loads(capsys.readouterr().out)


def test_a_clip_with_nothing_to_mend_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    loose = [f"--tolerance={kind}=1m" for kind in ("slide", "sink", "hover", "stretch", "seam", "cross")]
    assert main(["check", "lamplighter", "--propose", *loose, "--tolerance=snap=99999deg"]) == 0
    assert "no proposals" in capsys.readouterr().out


def test_tolerances_that_are_stated_hold_for_proposals_too(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "lamplighter", "--propose", "--json", "--tolerance", "sink=50mm"])
    told = json.loads(capsys.readouterr().out)
    assert "sink" not in {p["mends"]["kind"] for p in told["proposals"]}


def test_no_way_is_said_to_make_worse_what_reads_the_same_and_one_frame_is_written_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows: list[tuple[str, ...]] = []
    monkeypatch.setattr("surefoot.tables._table", lambda _, given: rows.extend(given))
    print_proposals(surefoot.propose(*surefoot.demo("lamplighter")))
    told = re.findall(r"([\d.]+) \S+ \(was ([\d.]+)", " ".join(row[-1] for row in rows))
    assert told
    assert all(after != before for after, before in told)
    assert any(row[:3] == ("snap", "left knee", "24") for row in rows)
