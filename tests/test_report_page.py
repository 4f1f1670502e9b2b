"""The report in a real browser: it scrubs, goes to a finding's frame, and says nothing on the console."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import surefoot
from surefoot.laying import lay
from tests.browser import serious_faults


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    clip, rig = surefoot.demo("lamplighter")
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(surefoot.html_report(surefoot.plant(clip, rig).clip, rig, before=clip), encoding="utf-8")
    return path


@pytest.fixture
def page(browser: Any, file: Path) -> Iterator[Any]:
    shown = browser.new_page(viewport={"width": 1280, "height": 800})
    said: list[str] = []
    asked: list[str] = []
    shown.on("console", lambda message: said.append(message.text))
    shown.on("pageerror", lambda error: said.append(str(error)))
    shown.on("request", lambda request: asked.append(request.url))
    shown.goto(file.as_uri())
    yield shown
    shown.close()
    assert said == []
    assert asked == [file.as_uri()], "it fetches nothing but itself"


def ink_of(page: Any, view: str) -> int:
    """Return how many pixels of a view are drawn on."""
    count = page.evaluate(
        """view => {
        const canvas = document.getElementById(view), own = document.createElement('canvas');
        [own.width, own.height] = [canvas.width, canvas.height];
        const context = own.getContext('2d', {willReadFrequently: true});
        context.drawImage(canvas, 0, 0);
        const data = context.getImageData(0, 0, own.width, own.height).data;
        return data.filter((value, n) => n % 4 === 3 && value > 0).length; }""",
        view,
    )
    return int(count)


def test_it_scrubs_by_pointer_and_keyboard_and_shows_what_was_before(page: Any) -> None:
    frame = page.locator("#now")
    assert frame.inner_text() == "1 of 24"
    page.locator("#on").click()
    assert frame.inner_text() == "2 of 24"
    page.locator("#frame").focus()
    page.keyboard.press("ArrowRight")
    assert frame.inner_text() == "3 of 24"
    assert page.locator("#frame").get_attribute("aria-valuetext") == "frame 3 of 24"
    page.keyboard.press("End")
    assert frame.inner_text() == "24 of 24"
    page.locator("#on").click()
    assert frame.inner_text() == "1 of 24"
    for view in ("side", "front", "above"):
        both = ink_of(page, view)
        page.locator("#before").uncheck()
        alone = ink_of(page, view)
        assert 500 < alone < both, view
        page.locator("#before").check()
    page.locator("button[data-frame='10.8']").first.click()
    assert frame.inner_text() == "11 of 24"
    assert page.evaluate("document.activeElement.id") == "frame"
    page.locator("button[data-frame='26.4']").click()
    assert frame.inner_text() == "2 of 24", "a loop's frame beyond its last is taken back into it"


def test_it_plays_and_stops(page: Any) -> None:
    page.locator("#play").click()
    page.wait_for_function("() => document.getElementById('now').textContent === '5 of 24'", timeout=5000)
    page.locator("#play").click()
    assert page.locator("#play").inner_text() == "play"
    at = page.locator("#now").inner_text()
    page.wait_for_timeout(150)
    assert page.locator("#now").inner_text() == at


def test_the_words_in_its_pictures_dont_lie_on_each_other_as_the_browser_sets_them(page: Any) -> None:
    found = page.evaluate(
        """() => { const out = []; let n = 0;
        for (const svg of document.querySelectorAll('.picture svg')) {
          const box = svg.getBoundingClientRect();
          const words = [...svg.querySelectorAll('text')].map((e) => [e.textContent, e.getBoundingClientRect()]);
          n += words.length;
          words.forEach(([one, a], i) => {
            if (a.left < box.left - 1 || a.right > box.right + 1) out.push(`${one} leaves the sheet`);
            for (const [two, b] of words.slice(i + 1)) {
              if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 0.5
                && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3) out.push(`${one} lies on ${two}`);
            } }); }
        return [n, out]; }"""
    )
    count, faults = found
    assert count > 300
    assert faults == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_paper_and_ink_follow_the_screen(page: Any, scheme: str) -> None:
    from surefoot.pictures.ink import PAPERS

    page.emulate_media(color_scheme=scheme)
    paper = PAPERS[scheme]["paper"]
    wanted = "rgb({}, {}, {})".format(*(int(paper[i : i + 2], 16) for i in (1, 3, 5)))
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == wanted
    assert page.evaluate("getComputedStyle(document.querySelector('.sf-paper')).fill") == wanted
    page.emulate_media(color_scheme=scheme, media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


@pytest.fixture(scope="module")
def climb(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the report on a stair climb of 96 frames, without a clip before it."""
    clip, rig = surefoot.demo("lamplighter")
    stairs = surefoot.preset_ground("accessible-stairs")
    made = lay(clip, rig, ground=stairs, loops=4, let=["hips.y"]).clip
    path = tmp_path_factory.mktemp("climb") / "report.html"
    path.write_text(surefoot.html_report(made, rig, ground=stairs), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("which", "scheme", "wide"), [("compared", "light", 1280), ("compared", "dark", 400), ("climb", "light", 400)]
)
def test_axe_finds_no_serious_fault(
    browser: Any, file: Path, climb: Path, axe: str, which: str, scheme: str, wide: int
) -> None:
    """In its words, its colours, its names and its keyboard; on a desk's screen and on a telephone's."""
    shown = browser.new_page(viewport={"width": wide, "height": 800}, color_scheme=scheme)
    try:
        shown.goto((file if which == "compared" else climb).as_uri())
        assert serious_faults(shown, axe) == []
    finally:
        shown.close()
