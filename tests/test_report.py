"""The report: one file that needs no other, with the library's own numbers; and the commands that draw and report."""

from __future__ import annotations

import html
import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import surefoot
from surefoot.cli import main
from surefoot.pictures.png import png_bytes
from surefoot.pictures.scrubbed import MOST_FRAMES, figure_table
from surefoot.pictures.subject import Subject

ROOT = Path(__file__).parents[1]
VOID = {"meta", "input", "br", "path", "rect", "circle"}


class Tags(HTMLParser):
    """Collects the elements, their attributes, the cells of the tables, and whether all that's opened is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.rows: list[list[str]] = []
        self.cell = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self.cell = True

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open.pop() == tag
        if tag in ("td", "th"):
            self.cell = False

    def handle_data(self, data: str) -> None:
        if self.cell:
            self.rows[-1][-1] += data


def read(text: str) -> Tags:
    tags = Tags()
    tags.feed(text)
    assert tags.open == []
    return tags


@pytest.fixture(scope="module")
def walk() -> tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]:
    clip, rig = surefoot.demo("lamplighter")
    return clip, surefoot.plant(clip, rig).clip, rig


@pytest.fixture(scope="module")
def text(walk: tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]) -> str:
    clip, planted, rig = walk
    return surefoot.html_report(planted, rig, before=clip)


def test_it_is_well_formed_and_fetches_nothing(text: str) -> None:
    tags = read(text)
    for tag, attributes in tags.seen:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "form"), tag
        assert not {"src", "srcset", "href", "action", "data"} & attributes.keys(), tag
        assert not [name for name in attributes if name.startswith("on") and name != "on"], tag
    assert not re.findall(r"https?://|@import|url\((?!#)|fetch\(|XMLHttpRequest|WebSocket|import\(", text)
    policy = next(a["content"] for t, a in tags.seen if t == "meta" and "http-equiv" in a)
    assert policy is not None
    assert policy.startswith("default-src 'none'")


def test_its_ids_are_there_once_and_its_script_finds_them(text: str) -> None:
    ids = [a["id"] for _, a in read(text).seen if a.get("id")]
    assert len(ids) == len(set(ids))
    script = text[text.index('<script type="module">') :]
    assert set(re.findall(r'getElementById\("(\w[\w-]*)"\)', script)) <= set(ids)
    labelled = {a.get("for") for t, a in read(text).seen if t == "label"}
    assert "frame" in labelled


def test_its_tables_tell_every_finding_with_the_checks_own_numbers(
    text: str, walk: tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]
) -> None:
    clip, planted, rig = walk
    rows = read(text).rows
    for report in (surefoot.check(clip, rig), surefoot.check(planted, rig)):
        for f in report.findings:
            unit = {"deg/s2": "°/s²", "deg": "°"}.get(f.unit, f" {f.unit}")
            digits = 2 if f.shown < 9.995 else 1 if f.shown < 99.95 else 0
            amount = f"{f.shown:.{digits}f}{unit}"
            where = f"{f.foot} {f.part}".strip()
            assert any(r[0] == f.kind and r[1] == where and r[4] == amount and r[6] == f.level for r in rows), f


def test_its_proposals_are_those_of_the_library(
    text: str, walk: tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]
) -> None:
    clip, _, rig = walk
    ways = surefoot.propose(clip, rig)
    rows = [row for row in read(text).rows if len(row) == 6 and row[0] != "mends"]
    assert len(rows) == len(ways) > 5
    for way, row in zip(ways, rows, strict=True):
        assert row[1].split(" (taken)")[0].split(", asks")[0] == way.way
        assert ("(taken)" in row[1]) == way.default
        assert float(row[3]) == pytest.approx(way.cost, abs=0.0051)
        for name in way.channels:
            assert name in row[2]
        assert all(now != was for now, was in re.findall(r"([\d.]+ ?\S+) \(was ([\d.]+ ?[^)]+)\)", row[5]))
    assert any("(was " in row[5] for row in rows)


def test_the_figure_to_scrub_is_the_posed_figure(
    text: str, walk: tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]
) -> None:
    clip, planted, rig = walk
    data = json.loads(re.search(r'id="figure-data">(.*?)</script>', text, re.DOTALL)[1])  # type: ignore[index]
    assert data["frames"] == list(range(1, 25))
    for name, own in (("now", planted), ("before", clip)):
        figure = Subject.of(own, rig).figure
        for field in ("joints", "hips", "hind", "toes", "up"):
            assert np.abs(np.array(data[name][field]) - getattr(figure, field)).max() <= 0.5001e-4, field
        assert data[name]["standing"] == figure.standing.tolist()


def test_a_long_clip_is_thinned_out_to_be_scrubbed() -> None:
    clip, rig = surefoot.demo("treadmill")
    subject = Subject.of(clip, rig)
    assert figure_table(subject)["seconds"] == pytest.approx(1 / 50)
    long = surefoot.Clip(clip.channels, clip.rate, 1, 3 * MOST_FRAMES - 5, rig=clip.rig, belt=clip.belt, stances=())
    table = figure_table(Subject.of(long, rig))
    assert len(table["frames"]) <= MOST_FRAMES
    assert table["frames"][:3] == [1, 4, 7]
    assert table["seconds"] == pytest.approx(3 / 50)


def test_names_with_marks_stay_text() -> None:
    from dataclasses import replace

    clip, rig = surefoot.demo("lamplighter")
    name = '</script><img src=x onerror="a">'
    text = surefoot.html_report(replace(clip, name=name), rig)
    assert name not in text
    assert html.escape(name) in text
    read(text)


def test_the_same_clip_gives_the_same_report(
    text: str, walk: tuple[surefoot.Clip, surefoot.Clip, surefoot.Rig]
) -> None:
    clip, planted, rig = walk
    assert surefoot.html_report(planted, rig, before=clip) == text


def test_a_report_of_a_clip_alone_has_nothing_to_compare() -> None:
    clip, rig = surefoot.demo("lamplighter")
    tags = read(surefoot.html_report(clip, rig, ground=surefoot.Plane.slope(0.05)))
    assert "before" not in [a.get("id") for _, a in tags.seen]


def png_size(data: bytes) -> tuple[int, int]:
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    return int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")


def test_a_png_has_twice_the_pictures_pixels() -> None:
    clip, rig = surefoot.demo("lamplighter")
    picture = surefoot.draw(clip, rig, kinds=["gait"])
    light, dark = png_bytes(picture), png_bytes(picture, theme="dark")
    assert png_size(light) == (2400, round(2 * picture.height))
    assert light == png_bytes(picture, theme="auto")
    assert light != dark
    with pytest.raises(surefoot.InputError, match=r"png: wanted a zoom from 0.1 to 8, got 99"):
        png_bytes(picture, zoom=99)


def test_without_resvg_a_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    clip, rig = surefoot.demo("lamplighter")
    with pytest.raises(surefoot.InputError, match=r"PNG needs resvg; install it with: pip install 'surefoot\[png\]'"):
        png_bytes(surefoot.draw(clip, rig, kinds=["gait"]))


def test_draw_writes_an_svg_with_the_clip_before_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.svg"
    assert main(["draw", "lamplighter", "-o", str(out), "--planted", "--pictures", "plan,gait"]) == 0
    assert capsys.readouterr().out == f"drawn: plan, gait\nwritten: {out}\n"
    text = out.read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    assert "slid 107 mm" in text
    assert "% of cycle" in text


def test_draw_writes_a_png_and_tells_it_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "gait.png"
    assert main(["draw", "treadmill", "-o", str(out), "--pictures", "gait", "--paper", "dark", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["written"] == str(out)
    assert "left foot on the ground" in told["told"]
    assert png_size(out.read_bytes())[0] == 2400


def test_report_plants_unless_told_not_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "report.html"
    assert main(["report", "lamplighter", "-o", str(out)]) == 0
    assert capsys.readouterr().out == f"worst before: error, after: note\nwritten: {out}\n"
    read(out.read_text(encoding="utf-8"))
    assert main(["report", "lamplighter", "-o", str(out), "--as-is", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert "before" not in told
    assert told["after"]["worst"] == "error"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["draw", "lamplighter", "-o", "x.pdf"], "--output x.pdf: wanted a file that ends in .svg or .png"),
        (["draw", "lamplighter", "-o", "x.svg", "--pictures", "stip"], "--pictures: no picture is called 'stip'; "
                                                                        "did you mean 'strip'?"),
        (["draw", "lamplighter", "-o", "x.svg", "--paper", "grey"], "--paper: no paper is called 'grey'"),
        (["draw", "lamplighter", "-o", "x.svg", "--frames", "a"], "--frames: wanted frames such as 10-14, got 'a'"),
        (["draw", "lamplighter", "-o", "x.svg", "--channels", "hip.y"], "--channels: no channel is called 'hip.y'"),
        (["draw", "lamplighter", "-o", "x.svg", "--planted", "--before", "lamplighter"], "--planted: with --before"),
        (["draw", "lamplighter", "-o", "nowhere/x.svg"], "nowhere/x.svg: can't be written: there is no folder"),
        (["report", "lamplighter", "-o", "x.html", "--as-is", "--before", "lamplighter"], "--as-is: with --before"),
        (["report", "nobody", "-o", "x.html"], "no file or demo is called 'nobody'"),
    ],
)  # fmt: skip
def test_wrong_input_is_refused_in_a_sentence_and_writes_nothing(
    options: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(options) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"surefoot: {told}"), err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_picture_never_goes_over_the_clip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip = tmp_path / "walk.svg"
    clip.write_bytes((ROOT / "demos" / "data" / "lamplighter.json").read_bytes())
    before = clip.read_bytes()
    assert main(["draw", str(clip), "-o", str(clip)]) == 2
    assert "is the clip too; name another file" in capsys.readouterr().err
    assert clip.read_bytes() == before
