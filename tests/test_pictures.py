"""Pictures: built as they should be, legible, the same bytes every time, and with the library's own numbers in them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely import LineString, MultiPoint, Point, Polygon, box

import surefoot
from surefoot.gait_measures import gait_figures
from surefoot.ground import Ground
from surefoot.joints import joints_of
from surefoot.laying import lay
from surefoot.pictures.figure import figure_of, scene_at
from surefoot.pictures.gait import cycle_of, touching
from surefoot.pictures.ink import OKABE_ITO, PAPERS, SIZES
from surefoot.pictures.sheet import KINDS_OF_PICTURE, pictures_of
from surefoot.pictures.slid import slid_between
from surefoot.pictures.subject import Subject, told_amount
from surefoot.pictures.svg import WIDTH, Pen, number
from surefoot.pictures.tracks import strides_of, tracks_of
from surefoot.rig import FEET
from surefoot.units import rounded

ROOT = Path(__file__).parents[1]
GOLDEN = Path(__file__).parent / "data" / "pictures.json"
SVG = "{http://www.w3.org/2000/svg}"


def ground(name: str) -> Ground | None:
    if name == "flat":
        return None
    if name == "hill":
        return surefoot.load_ground(ROOT / "demos" / "data" / "hill_street.toml")
    return surefoot.Profile.stairs(riser=0.12, tread=0.3, count=4, start=0.6)


def subjects(demo: str, on: str) -> tuple[Subject, Subject]:
    """Return a demo as it is and planted; or a stair climb from its recipe; or the lamplighter in another style."""
    if demo == "climb":
        rig = surefoot.load_rig("lamplighter")
        made = surefoot.block(surefoot.load_recipe("climb"), rig)
        done = surefoot.plant(made.clip, rig, ground=made.ground)
        return Subject.of(made.clip, rig, ground=made.ground), Subject.of(done.clip, rig, ground=made.ground)
    if demo == "turning":
        clip, rig = surefoot.demo("lamplighter")
        belt = surefoot.Belt([0.0, 0.0, -1.35], 0.5)
        return Subject.of(clip, rig, belt=belt), Subject.of(surefoot.plant(clip, rig, belt=belt).clip, rig)
    if demo.startswith("by "):
        own = surefoot.convert(*surefoot.demo("lamplighter"), style=demo.removeprefix("by "))
        clip, rig = own.clip, own.rig
    else:
        clip, rig = surefoot.demo(demo)
    done = surefoot.plant(clip, rig, ground=ground(on), keys="few")
    return Subject.of(clip, rig, ground=ground(on)), Subject.of(done.clip, rig, ground=ground(on))


@pytest.fixture(scope="module")
def lamplighter() -> tuple[Subject, Subject]:
    return subjects("lamplighter", "flat")


def elements(svg: str, tag: str, style: str = "") -> list[ElementTree.Element]:
    root = ElementTree.fromstring(svg)
    return [e for e in root.iter(SVG + tag) if not style or style in e.get("class", "").split()]


class Words(NamedTuple):
    text: str
    size: float
    left: float
    top: float
    right: float
    bottom: float


def advance(text: str, size: float) -> float:
    """How wide DejaVu Sans sets a text, a wide face: digits and most small letters 0.62, capitals 0.7 of the size."""
    narrow = sum(letter in "ijl.,:;'| ftr()-/I" for letter in text)
    wide = sum(letter in "mwMW%" for letter in text)
    capital = sum(letter.isupper() for letter in text)
    return (0.36 * narrow + 0.9 * wide + 0.62 * (len(text) - narrow - wide) + 0.08 * capital) * size


def words_of(svg: str) -> list[Words]:
    """Return every text with its box on the sheet; groups and windows may be shifted."""
    found: list[Words] = []

    def walk(element: ElementTree.Element, x: float, y: float) -> None:
        shift = re.fullmatch(r"translate\((\S+) (\S+)\)", element.get("transform", ""))
        if shift:
            x, y = x + float(shift[1]), y + float(shift[2])
        elif element.tag == SVG + "svg":
            x, y = x + float(element.get("x", "0")), y + float(element.get("y", "0"))
        if element.tag == SVG + "text":
            size, text = float(element.get("font-size", "0")), element.text or ""
            wide = advance(text, size) * (1.1 if element.get("font-weight") else 1.0)
            at = x + float(element.get("x", "0"))
            left = {"start": at, "middle": at - wide / 2, "end": at - wide}[element.get("text-anchor", "start")]
            base = y + float(element.get("y", "0"))
            found.append(Words(text, size, left, base - 0.76 * size, left + wide, base + 0.24 * size))
        for child in element:
            walk(child, x, y)

    walk(ElementTree.fromstring(svg), 0.0, 0.0)
    return found


CASES = [
    *((demo, on, compared)
      for demo in ("lamplighter", "treadmill") for on in ("flat", "hill", "stairs") for compared in (False, True)),
    ("run", "flat", True), ("trudge", "flat", True), ("climb", "its own stairs", True),
    ("turning", "flat", True), ("by rockers", "flat", True), ("by joints", "flat", True),
]  # fmt: skip


@pytest.mark.parametrize(("demo", "on", "compared"), CASES)
def test_no_words_are_too_small_lie_on_each_other_or_leave_the_sheet(demo: str, on: str, compared: bool) -> None:
    before, after = subjects(demo, on)
    for kind in KINDS_OF_PICTURE:
        picture = pictures_of(after if compared else before, before=before if compared else None, kinds=[kind])
        words = words_of(picture.svg())
        assert len(words) > 3
        for one in words:
            assert one.size in SIZES, f"{kind}: {one}"
            assert one.left >= 0.0, f"{kind}: {one}"
            assert one.right <= WIDTH, f"{kind}: {one}"
            assert one.top >= 0.0, f"{kind}: {one}"
            assert one.bottom <= picture.height, f"{kind}: {one}"
        for one, two in combinations(words, 2):
            across = min(one.right, two.right) - max(one.left, two.left)
            down = min(one.bottom, two.bottom) - max(one.top, two.top)
            assert across <= 0.5 or down <= 0.5, f"{kind}: {one} lies on {two}"


def laid(name: str) -> Subject:
    """Return the lamplighter laid out over stairs, so that her strides are short; unplanted or planted, or in place."""
    clip, rig = surefoot.demo("lamplighter")
    stairs = surefoot.preset_ground("accessible-stairs")
    made = lay(clip, rig, ground=stairs, loops=6, let=["hips.y"]).clip
    if name == "planted":
        made = surefoot.plant(made, rig, ground=stairs).clip
    return Subject.of(made, rig, ground=stairs)


def on_the_spot() -> Subject:
    """Return a clip in which each foot stands nine times, a few centimetres apart."""
    clip, rig = surefoot.demo("lamplighter")
    stances = [surefoot.Stance(foot, 1 + 24 * lap, 15 + 24 * lap) for lap in range(9) for foot in ("left", "right")]
    slow = surefoot.Belt([0.0, 0.0, -0.03])
    return Subject.of(replace(clip, last=216, loop=False, belt=slow), rig, belt=slow, stances=stances)


def plans_words_on_shapes(svg: str) -> list[str]:
    """Return which words of a plan lie on a sole, a streak or a width's line; the shapes from the file itself."""
    soles = [Polygon(numbers(e.get("d", ""))) for foot in FEET for e in elements(svg, "path", f"sf-{foot}-pale")]
    ways = [numbers(e.get("d", "")) for e in elements(svg, "path", "sf-streak")]
    streaks = [(LineString(way) if len(way) > 1 else MultiPoint(way)).buffer(3.5) for way in ways]
    assert soles
    found = []
    for word in words_of(svg):
        own = box(word.left, word.top, word.right, word.bottom)
        if any(own.intersection(shape).area > 0.5 for shape in (*soles, *streaks)):
            found.append(word.text)
    return found


def words_on_words(words: list[Words]) -> list[tuple[str, str]]:
    return [(one.text, two.text) for one, two in combinations(words, 2)
            if min(one.right, two.right) - max(one.left, two.left) > 0.5
            and min(one.bottom, two.bottom) - max(one.top, two.top) > 0.5]  # fmt: skip


@pytest.mark.parametrize("name", ["unplanted", "planted"])
def test_on_a_stair_climb_the_plans_words_lie_on_no_sole_streak_or_other_words(name: str) -> None:
    subject = laid(name)
    picture = pictures_of(subject, kinds=["plan"])
    words = words_of(picture.svg())
    assert plans_words_on_shapes(picture.svg()) == []
    assert words_on_words(words) == []
    assert all(w.left >= 0.0 and w.right <= WIDTH and w.bottom <= picture.height for w in words)
    texts = {w.text for w in words}
    tracks = tracks_of(subject)
    assert {f"{FEET[t.foot]} {t.stance.first}–{t.stance.last}" for t in tracks} <= texts
    assert {f"stride {s.length * 1e3:.0f} mm" for s in strides_of(tracks)} <= texts
    assert {f"slides {rounded(t.slide * 1e3)} mm" for t in tracks if t.slide > 0.0} <= texts


def test_where_widths_agree_they_are_written_once_and_the_sheet_says_so() -> None:
    subject = laid("planted")
    words = [w.text for w in words_of(pictures_of(subject, kinds=["plan"]).svg())]
    widths = [s.width for s in strides_of(tracks_of(subject)) if s.width is not None]
    told = [float(w.split()[1]) / 1e3 for w in words if re.fullmatch(r"width \d+ mm", w)]
    assert len(told) < len(widths)
    assert all(min(abs(width - written) for written in told) <= 1.5e-3 for width in widths)
    assert any("a width within 1 mm of the one written before it isn't written again" in w for w in words)


def test_on_the_spot_what_has_no_room_is_left_out_and_counted() -> None:
    picture = pictures_of(on_the_spot(), kinds=["plan"])
    words = words_of(picture.svg())
    assert plans_words_on_shapes(picture.svg()) == []
    assert words_on_words(words) == []
    note = next(w.text for w in words if "no room for the words of" in w.text)
    spans = {f"{foot} {1 + 24 * lap}–{15 + 24 * lap}" for lap in range(9) for foot in FEET}
    texts = [w.text for w in words]
    assert spans <= set(texts)
    for word, whole in (("stride", 16), ("slide", 18)):
        written = sum(text.startswith((f"{word} ", f"{word}s ")) for text in texts)
        counted = re.search(rf"(\d+) {word}s?\b", note)
        assert counted
        assert 0 < written < whole
        assert written + int(counted[1]) == whole


@pytest.mark.parametrize(("demo", "on", "compared"), CASES)
def test_the_plans_words_lie_on_no_sole_or_streak(demo: str, on: str, compared: bool) -> None:
    before, after = subjects(demo, on)
    picture = pictures_of(after if compared else before, before=before if compared else None, kinds=["plan"])
    assert plans_words_on_shapes(picture.svg()) == []


def test_the_check_for_overlaps_would_find_one() -> None:
    pen = Pen()
    pen.path([(0, 0), (50, 0), (50, 30), (0, 30)], "sf-left-pale", closed=True)
    assert not plans_words_on_shapes(pen.picture("a", "b", 40).svg())
    pen.text(40, 20, "on a sole", size=11.0)
    pen.path([(100, 0), (100, 30)], "sf-streak")
    pen.text(106, 40, "beside it", size=11.0)
    pen.text(90, 20, "on a streak", size=11.0)
    assert plans_words_on_shapes(pen.picture("a", "b", 40).svg()) == ["on a sole", "on a streak"]
    pen = Pen()
    pen.text(10, 20, "one word", size=12.0)
    pen.text(40, 24, "another", size=12.0)
    one, two = words_of(pen.picture("a", "b", 40).svg())
    assert min(one.right, two.right) - max(one.left, two.left) > 0.5
    assert min(one.bottom, two.bottom) - max(one.top, two.top) > 0.5


def structure(svg: str) -> dict[str, object]:
    root = ElementTree.fromstring(svg)
    kinds = Counter(f"{e.tag.removeprefix(SVG)}.{e.get('class', '')}" for e in root.iter())
    return {
        "size": root.get("viewBox"),
        "elements": dict(sorted(kinds.items())),
        "words": [e.text for e in root.iter(SVG + "text")],
        "told": [e.text for e in root.iter() if e.tag in (SVG + "title", SVG + "desc")],
    }


def golden_pictures() -> dict[str, dict[str, object]]:
    """Return the structure of every picture of the unplanted lamplighter, against herself with lower hips."""
    clip, rig = surefoot.demo("lamplighter")
    hips = clip.channels["hips.y"]
    low = clip.with_channels({"hips.y": replace(hips, values=hips.values - 2.0)})
    one, two = Subject.of(clip, rig), Subject.of(low, rig)
    found = {}
    for kind in KINDS_OF_PICTURE:
        found[kind] = structure(pictures_of(one, kinds=[kind]).svg())
        found[f"{kind}, compared"] = structure(pictures_of(one, before=two, kinds=[kind]).svg())
    return found


def test_pictures_are_built_as_they_were() -> None:
    """Run this file as a program to write the structures anew, then look at the pictures and at the difference."""
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))
    found = golden_pictures()
    assert found.keys() == golden.keys()
    for kind in golden:
        assert found[kind] == golden[kind], kind


DRAWING = (
    "import sys, surefoot; clip, rig = surefoot.demo('treadmill'); "
    "sys.stdout.buffer.write(surefoot.draw(clip, rig).svg().encode())"
)


def test_the_same_clip_gives_the_same_bytes_in_another_process() -> None:
    clip, rig = surefoot.demo("treadmill")
    here = surefoot.draw(clip, rig).svg().encode()
    assert surefoot.draw(clip, rig).svg().encode() == here
    for seed in ("1", "77"):
        env = {**os.environ, "PYTHONHASHSEED": seed, "TZ": "Pacific/Auckland", "LC_ALL": "C"}
        there = subprocess.run([sys.executable, "-c", DRAWING], capture_output=True, check=True, env=env).stdout
        assert there == here


def test_a_number_has_two_digits_at_most_and_no_negative_nought() -> None:
    assert [number(v) for v in (1.0, 0.125, -0.001, 1234.5678, -2.5, 100.0)] == [
        "1",
        "0.12",
        "0",
        "1234.57",
        "-2.5",
        "100",
    ]


@pytest.mark.parametrize("theme", ["auto", "light", "dark"])
def test_a_file_is_complete_in_itself(theme: str, lamplighter: tuple[Subject, Subject]) -> None:
    svg = pictures_of(lamplighter[0]).svg(theme)  # type: ignore[arg-type]
    assert set(re.findall(r"https?://[^\"' ]+", svg)) == {"http://www.w3.org/2000/svg"}
    assert not re.findall(r"(?:href|src|@import|@font-face)", svg)
    used = {style for e in ElementTree.fromstring(svg).iter() for style in e.get("class", "").split()}
    told = set(re.findall(r"\.(sf[\w-]*)", svg))
    assert used - told <= {"sf-now", "sf-prints"}, "a class without a rule"


def test_dark_paper_is_for_screens_that_ask_and_print_is_light() -> None:
    clip, rig = surefoot.demo("lamplighter")
    picture = surefoot.draw(clip, rig, kinds=["gait"])
    auto, light, dark = (picture.svg(theme) for theme in ("auto", "light", "dark"))
    assert picture._repr_svg_() == auto
    assert "@media screen and (prefers-color-scheme:dark)" in auto
    assert "@media" not in light + dark
    assert f".sf-dark .sf-paper{{fill:{PAPERS['dark']['paper']}}}" in dark
    assert auto.index(PAPERS["light"]["paper"]) < auto.index("@media") < auto.index(PAPERS["dark"]["paper"])
    with pytest.raises(surefoot.UnknownName, match="no paper is called 'grey'"):
        picture.svg("grey")  # type: ignore[arg-type]


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, two: str) -> float:
    low, high = sorted((luminance(one), luminance(two)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("paper", PAPERS)
def test_words_and_lines_stand_out_from_their_paper(paper: str) -> None:
    """Text 4.5 to 1, graphics 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11); a slide's streak has words beside it."""
    colours = PAPERS[paper]
    for role, least in (("ink", 7.0), ("soft", 4.5), ("left", 3.0), ("right", 3.0), ("stone", 3.0), ("allowed", 3.0)):
        assert contrast(colours[role], colours["paper"]) >= least, role
    assert contrast(colours["ink"], colours["earth"]) >= 7.0
    assert {colours[role] for role in ("left", "right", "finding", "allowed")} <= set(OKABE_ITO.values())


def test_strides_widths_and_slides_in_the_plan_are_the_librarys(lamplighter: tuple[Subject, Subject]) -> None:
    before, after = lamplighter
    shift = np.array(before.scene.drift.shift)  # type: ignore[union-attr]
    strides = strides_of(tracks_of(after, rounds=2))
    for stride in strides:
        assert stride.length == pytest.approx(float(np.hypot(shift[0], shift[2])), abs=1e-12)
    left, right = after.footings
    assert strides[0].width == pytest.approx(abs(left.place[0] - right.place[0]), abs=1e-9)
    words = [w.text for w in words_of(pictures_of(after, before=before, kinds=["plan"]).svg())]
    assert f"stride {np.hypot(shift[0], shift[2]) * 1e3:.0f} mm" in words
    for finding in before.report.findings:
        if finding.kind == "slide":
            assert f"slid {told_amount(finding)}" in words
    assert not any(word.startswith("slides") for word in words)
    assert {"left 1–15", "right 13–27", "left 25–39", "right 37–51"} <= set(words)


@pytest.mark.parametrize("demo", ["lamplighter", "trudge", "run"])
def test_the_tracks_and_the_gait_figures_agree(demo: str) -> None:
    clip, rig = surefoot.demo(demo)
    planted = surefoot.plant(clip, rig).clip
    figures = gait_figures(planted, rig)
    subject = Subject.of(planted, rig)
    stride = strides_of(tracks_of(subject, rounds=2))[0]
    assert stride.length == pytest.approx(2.0 * figures["step length"], abs=1e-9)
    assert stride.width == pytest.approx(figures["step width"], abs=2e-3)
    told = pictures_of(subject, kinds=["gait"]).told
    assert told.count(f"{100.0 * figures['stance']:.1f} % of the cycle") == 2


def test_no_round_is_drawn_beyond_the_end_of_a_flight_of_stairs() -> None:
    rig = surefoot.load_rig("lamplighter")
    made = surefoot.block(surefoot.load_recipe("climb"), rig)
    subject = Subject.of(surefoot.plant(made.clip, rig, ground=made.ground).clip, rig, ground=made.ground)

    def astray(rounds: int) -> float:
        places = [track.place for track in tracks_of(subject, rounds=rounds)]
        return max(abs(y - float(made.ground.height(x, z))) for x, y, z in places)

    spans = [
        w.text for w in words_of(pictures_of(subject, kinds=["plan"]).svg()) if re.match(r"(left|right) \d+–", w.text)
    ]
    assert len(spans) == 6
    assert astray(3) < 1e-3
    assert astray(4) > 0.1


def numbers(path: str) -> np.ndarray:
    return np.array(re.findall(r"-?[\d.]+", path), dtype=float).reshape(-1, 2)


def test_a_slides_streak_is_as_long_as_the_slide_on_the_plans_scale(lamplighter: tuple[Subject, Subject]) -> None:
    before, _ = lamplighter
    svg = pictures_of(before, kinds=["plan"]).svg()
    scale_words = next(w for w in words_of(svg) if w.text == "0.5 m")
    bars = [numbers(e.get("d", "")) for e in elements(svg, "path", "sf-ink")]
    bar = next(b for b in bars if abs(b[1, 0] + 8 - scale_words.left) < 0.1 and b[0, 1] == b[1, 1])
    scale = (bar[1, 0] - bar[0, 0]) / 0.5
    streak = numbers(elements(svg, "path", "sf-streak")[0].get("d", ""))
    apart = np.linalg.norm(streak[:, None] - streak[None], axis=-1).max() / scale
    slide = before.report.most("slide")
    assert slide is not None
    assert apart == pytest.approx(slide.amount, abs=2e-4)


def test_a_strides_line_is_as_long_as_the_stride_though_the_walk_turns() -> None:
    clip, rig = surefoot.demo("lamplighter")
    subject = Subject.of(clip, rig, belt=surefoot.Belt([0.0, 0.0, -1.35], 0.5))
    svg = pictures_of(subject, kinds=["plan"]).svg()
    lines = [numbers(e.get("d", "")) for e in elements(svg, "path", "sf-thin") if e.get("class") == "sf-ink sf-thin"]
    bar = next(b for b in (numbers(e.get("d", "")) for e in elements(svg, "path", "sf-ink")) if b[0, 0] == 116.0)
    scale = (bar[1, 0] - bar[0, 0]) / 0.5
    strides = strides_of(tracks_of(subject, rounds=2))
    assert len(lines) == len(strides) == 2
    for line, stride in zip(lines, strides, strict=True):
        assert np.linalg.norm(line[1] - line[0]) / scale == pytest.approx(stride.length, abs=2e-4)
        assert abs(line[1, 1] - line[0, 1]) > 20.0, "it turns"
        x, _, z = stride.last.place - stride.first.place
        assert stride.length == pytest.approx(np.hypot(x, z), abs=1e-12)


def test_a_long_walks_plan_goes_on_in_rows_with_every_stride_once() -> None:
    clip, rig = surefoot.demo("lamplighter")
    long = replace(clip, last=240, loop=False, stances=None)
    subject = Subject.of(long, rig)
    words = [w.text for w in words_of(pictures_of(subject, kinds=["plan"]).svg())]
    tracks = tracks_of(subject)
    assert sum(word.startswith("stride ") for word in words) == len(strides_of(tracks)) > 15
    spans = {f"{('left', 'right')[t.foot]} {t.stance.first}–{t.stance.last}" for t in tracks}
    assert spans <= set(words)
    assert not any("aren't drawn" in word for word in words)


def test_the_gait_diagrams_bars_are_the_stances_in_per_cent(lamplighter: tuple[Subject, Subject]) -> None:
    _, after = lamplighter
    svg = pictures_of(after, kinds=["gait"]).svg()
    left, right = (
        [(float(e.get("x", "0")), float(e.get("width", "0"))) for e in elements(svg, "rect", f"sf-{foot}-full")
         if e.get("height") == "22"] for foot in ("left", "right")
    )  # fmt: skip
    cycle = cycle_of(after)
    assert cycle == (1.0, 24.0)
    start, whole = 150.0, WIDTH - 190.0
    (bar,) = left
    assert bar == (start, pytest.approx(14 / 24 * whole, abs=0.01))
    assert sum(width for _, width in right) == pytest.approx(14 / 24 * whole, abs=0.02)
    assert sorted(x for x, _ in right) == [start, pytest.approx(start + whole / 2, abs=0.01)]
    assert "58.3 %" in next(w.text for w in words_of(svg) if "on the ground" in w.text)


def test_a_part_touches_where_a_stance_has_it_low(lamplighter: tuple[Subject, Subject]) -> None:
    before, _ = lamplighter
    limit = before.report.tolerances["hover"][1]
    found = touching(before)
    assert found.shape == before.seen.touch.height[-3:].shape
    for sample, frame in enumerate(before.seen.fine.frames):
        for foot, stance in enumerate(before.report.stances):
            inside = any(stance.first <= frame + 24 * lap <= stance.last for lap in (0, 1))
            low = before.seen.touch.height[-3:, foot, sample] < limit
            assert np.array_equal(found[:, foot, sample], low & inside)


def test_channel_curves_show_every_key_at_its_value(lamplighter: tuple[Subject, Subject]) -> None:
    before, after = lamplighter
    name = "left_foot.y"
    svg = pictures_of(after, before=before, kinds=["channels"], channels=[name]).svg()
    full = [(float(e.get("cx", 0)), float(e.get("cy", 0))) for e in elements(svg, "circle", "sf-left-dot")]
    openly = [(float(e.get("cx", 0)), float(e.get("cy", 0))) for e in elements(svg, "circle", "sf-open")]
    for subject, drawn in ((after, full), (before, openly)):
        curve = subject.clip.channels[name]
        assert len(drawn) == len(curve.frames)
        x, y = np.array(drawn).T
        for paper, own in ((x, curve.frames), (y, curve.values)):
            slope, base = np.polyfit(own, paper, 1)
            assert np.abs(slope * own + base - paper).max() < 0.011, "two digits after the point"
    assert "cm" in [w.text for w in words_of(svg)]


def test_clearance_and_leg_curves_tell_the_checks_own_extremes(lamplighter: tuple[Subject, Subject]) -> None:
    before, _ = lamplighter
    told = pictures_of(before, kinds=["clearance"]).told
    for foot, name in enumerate(("left", "right")):
        assert f"{name} foot: lowest {before.seen.touch.height[-3:, foot].min() * 1e3:.3g} mm" in told
    legs = pictures_of(before, kinds=["legs"]).told
    knees = np.degrees(joints_of(before.rig, before.seen.fine.pose)[3])
    for foot, name in enumerate(("left", "right")):
        length = before.rig.legs[foot].length
        reach = 100.0 * (before.seen.over[foot].max() + length) / length
        assert f"{name}: knee {knees[foot].min():.1f} to {knees[foot].max():.1f} degrees" in legs
        assert f"leg at most {reach:.2f} %" in legs
    stretch = before.report.most("stretch")
    assert stretch is not None
    assert before.seen.over.max() == pytest.approx(stretch.amount, abs=1e-12)


def test_the_strip_shows_every_finding_with_its_amount(lamplighter: tuple[Subject, Subject]) -> None:
    before, _ = lamplighter
    words = " ".join(w.text for w in words_of(pictures_of(before, kinds=["strip"]).svg()))
    for finding in before.report.findings:
        space = "" if finding.unit.startswith("deg") else " "
        assert f"{finding.kind} {finding.foot[0].upper()} {rounded(finding.shown)}{space}" in words


@pytest.mark.parametrize(("demo", "on"), [("lamplighter", "flat"), ("turning", "flat"), ("treadmill", "hill")])
def test_the_strip_shows_each_slide_as_long_as_it_is_and_ending_under_the_sole(demo: str, on: str) -> None:
    before, _ = subjects(demo, on)
    slides = [f for f in before.report.findings if f.kind == "slide"]
    assert slides
    for finding in slides:
        then, now = slid_between(before, finding)
        assert np.linalg.norm(then - now) == pytest.approx(finding.amount, abs=1e-9)
        figure = figure_of(scene_at(before.scene, [finding.worst]), before.report.stances)
        foot = FEET.index(finding.foot)
        sole = np.concatenate([figure.hind[0, foot], figure.toes[0, foot]])
        assert MultiPoint(sole[:, ::2]).convex_hull.buffer(1e-6).contains(Point(now[::2]))
        assert 0.0 <= now[1] - sole[:, 1].min() < 0.02, "the lowest part of the sole"


def test_in_the_strip_a_ring_and_a_dot_lie_a_slide_apart_by_the_footprints_measure(
    lamplighter: tuple[Subject, Subject],
) -> None:
    before, _ = lamplighter
    strip = ElementTree.fromstring(pictures_of(before, kinds=["strip"]).svg())
    windows = [w for w in strip.iter(SVG + "svg") if w.find(f"{SVG}circle[@class='sf-ink-ring']") is not None]
    slides = {f.foot: f for f in before.report.findings if f.kind == "slide"}
    assert len(windows) == len(slides) == 2
    for window in windows:
        ring, dot = (window.find(f"{SVG}circle[@class='sf-ink-{shape}']") for shape in ("ring", "dot"))
        assert ring is not None
        assert dot is not None
        foot = next(i for i, name in enumerate(FEET) if window.find(f"{SVG}path[@class='sf-{name}-dot']") is not None)
        wedges = [numbers(w.get("d", ""))[0, 0] for w in window.findall(f"{SVG}path[@class='sf-{FEET[foot]}-dot']")]
        anchors = next(f for f in before.footings if f.foot == foot).anchors
        scale = (wedges[2] - wedges[0]) / float(anchors[2, 2] - anchors[0, 2])
        then, now = slid_between(before, slides[FEET[foot]])
        apart = float(ring.get("cx", "")) - float(dot.get("cx", ""))
        assert apart == pytest.approx(scale * (then - now)[2], abs=0.1)
        assert apart > 30.0
        words = [w.text for w in window.iter(SVG + "text")]
        assert words == [told_amount(slides[FEET[foot]])]


def test_in_the_strip_feet_that_cross_are_both_seen_from_above() -> None:
    before, _ = subjects("treadmill", "flat")
    crossings = [f for f in before.report.findings if f.kind == "cross"]
    assert crossings
    strip = ElementTree.fromstring(pictures_of(before, kinds=["strip"]).svg())
    windows = [w for w in strip.findall(f".//{SVG}svg") if "from above" in [t.text for t in w.iter(SVG + "text")]]
    seen = [
        {foot: [numbers(p.get("d", "")) for p in w.iter(SVG + "path") if p.get("class") == f"sf-{foot}-pale"]
         for foot in FEET} for w in windows
    ]  # fmt: skip
    both = [rings for rings in seen if rings["left"] and rings["right"]]
    assert len(both) == len(crossings)
    assert len(seen) == len(both) + sum(f.kind == "swivel" for f in before.report.findings)
    for rings in both:
        left, right = (MultiPoint(np.concatenate(rings[foot])).convex_hull for foot in FEET)
        assert left.intersects(right)
        assert left.intersection(right).intersects(box(0.0, 0.0, 138.0, 96.0))


def test_of_many_findings_alike_the_strip_shows_the_worst_and_says_how_many() -> None:
    subject = laid("unplanted")
    words = [w.text for w in words_of(pictures_of(subject, kinds=["strip"]).svg())]
    alike: dict[tuple[str, str, str], list[surefoot.Finding]] = {}
    for finding in subject.report.findings:
        alike.setdefault((finding.kind, finding.foot, finding.part), []).append(finding)
    many = [same for same in alike.values() if len(same) > 3]
    assert len(many) >= 4
    for same in many:
        assert f"worst of {len(same)} such" in words
        kind, foot = same[0].kind, same[0].foot[0].upper()
        if kind in ("slide", "sink"):
            lines = [f"{kind} {foot} {told_amount(f)}" for f in sorted(same, key=lambda f: -f.amount)]
            assert lines[0] in words
            assert not (set(lines[1:]) - {lines[0]}) & set(words)
    hidden = sum(len(same) - 1 for same in many)
    assert any(f"{hidden} more findings aren't drawn" in w for w in words)
    assert sum(w.startswith("frame ") for w in words) < 40


def test_a_channels_long_name_stays_in_its_cell() -> None:
    clip, rig = surefoot.demo("lamplighter")
    subject = Subject.of(clip, rig)
    name = "lamplighter_from_the_upper_square:spine.pitch"
    named = replace(subject.report.findings[0], part=name)
    long = replace(subject, report=replace(subject.report, findings=(named,)))
    words = words_of(pictures_of(long, kinds=["strip"]).svg())
    first = next(i for i, w in enumerate(words) if name.startswith(w.text) and len(w.text) > 4)
    cell = words[first : first + 3]
    assert name in "".join(w.text for w in cell)
    assert all(w.right - w.left < (WIDTH - 48.0) / 8.0 for w in cell)


def test_frames_of_ones_own_choice_are_drawn_instead() -> None:
    clip, rig = surefoot.demo("lamplighter")
    words = [w.text for w in words_of(surefoot.draw(clip, rig, kinds=["strip"], frames=[2, 5.5]).svg())]
    assert "frame 5.5" in words
    assert "contact left" not in words


def test_a_clip_with_no_stance_has_pictures_too() -> None:
    clip, rig = surefoot.demo("lamplighter")
    words = " ".join(w.text for w in words_of(surefoot.draw(clip, rig, stances=()).svg()))
    assert "no foot stands anywhere" in words


def test_a_single_frame_has_pictures_too() -> None:
    clip, rig = surefoot.demo("lamplighter")
    still = replace(clip, first=3, last=3, loop=False, stances=None)
    assert "frame 3" in [w.text for w in words_of(surefoot.draw(still, rig).svg())]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"kinds": ["stripe"]}, "no picture is called 'stripe'; did you mean 'strip'"),
        ({"kinds": ["channels"], "channels": ["hips.q"]}, "channels: no channel is called 'hips.q'"),
    ],
)
def test_what_isnt_there_is_told(asked: dict[str, list[str]], told: str) -> None:
    clip, rig = surefoot.demo("lamplighter")
    with pytest.raises(surefoot.UnknownName, match=re.escape(told)):
        surefoot.draw(clip, rig, **asked)  # type: ignore[arg-type]


def test_names_with_marks_are_written_as_text() -> None:
    clip, rig = surefoot.demo("lamplighter")
    named = replace(clip, name="<b>&\"walk'")
    svg = surefoot.draw(named, rig, kinds=["gait"]).svg()
    assert "<b>" not in svg
    assert any(w.text.startswith("<b>&\"walk'") for w in words_of(svg))


if __name__ == "__main__":
    GOLDEN.write_text(json.dumps(golden_pictures(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
