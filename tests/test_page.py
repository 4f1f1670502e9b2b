"""The page in a real browser (Chromium by playwright): what is on the screen is what the library gives."""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surefoot import Clip, Rig, check, plant, propose
from surefoot.choice import Choice, Rejected
from surefoot.clip_file import load_clip
from surefoot.page.server import PageServer
from surefoot.remixing import Edit, remix
from surefoot.units import SIGNS
from tests.browser import serious_faults
from tests.faulty import faults
from tests.page_server import opened, serving


@pytest.fixture
def served(tmp_path: Path) -> Iterator[PageServer]:
    with serving(opened(tmp_path)) as server:
        yield server


@pytest.fixture
def page(browser: Any, served: PageServer) -> Iterator[Any]:
    """An open page; an error on the console fails the test, but for the browser's own note of a refused request."""
    shown = browser.new_page(viewport={"width": 1280, "height": 800})
    errors: list[str] = []
    shown.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    shown.on("pageerror", lambda error: errors.append(str(error)))
    shown.goto(served.address)
    settled(shown)
    yield shown
    shown.close()
    assert [error for error in errors if "422" not in error and "500" not in error] == []


def settled(page: Any) -> None:
    """Wait until the whole answer to the latest wishes is on the screen."""
    page.wait_for_function(
        "() => document.documentElement.dataset.shown === 'whole' && !document.documentElement.dataset.asked"
    )


def wishes_of(page: Any) -> dict[str, Any]:
    return dict(json.loads(page.evaluate("document.documentElement.dataset.wishes")))


def numbers(page: Any) -> dict[str, tuple[str, str]]:
    rows = page.locator("#numbers tbody tr").all()
    return {
        row.get_attribute("data-kind"): (row.locator("td").nth(1).inner_text(), row.locator("td").nth(2).inner_text())
        for row in rows
    }


def told(value: float, unit: str) -> str:
    digits = 2 if abs(value) < 9.995 else 1 if abs(value) < 99.95 else 0
    space = "" if unit.startswith("deg") else "\N{NO-BREAK SPACE}"
    return f"{value:.{digits}f}{space}{SIGNS.get(unit, unit)}"


def expected(mixed: Clip, rig: Rig, choice: Choice | None = None) -> dict[str, tuple[str, str]]:
    before, done = check(mixed, rig), plant(mixed, rig, keys="few", choice=choice or Choice())
    after = check(done.clip, rig, belt=done.belt, stances=done.stances)
    found = {}
    for kind in dict.fromkeys(f.kind for f in (*before.findings, *after.findings)):
        one, two = before.most(kind), after.most(kind)
        found[kind] = tuple("none" if f is None else told(f.shown, f.unit) for f in (one, two))
    return found  # type: ignore[return-value]


def bob_to(page: Any, share: int) -> None:
    page.locator("input[type=range][data-channels='hips.y']").evaluate(
        f"(slider) => {{ for (let v = 100; v >= {share}; v -= 2) "
        "{ slider.value = v; slider.dispatchEvent(new Event('input', { bubbles: true })); } "
        "slider.dispatchEvent(new Event('change', { bubbles: true })); }"
    )
    settled(page)


def test_opening_shows_the_unplanted_values_beside_the_planted_ones(page: Any, served: PageServer) -> None:
    assert page.title() == "lamplighter walks: Surefoot"
    assert numbers(page) == expected(served.work.clip, served.work.rig)
    assert page.locator("#findings li[data-kind]").count() == len(check(served.work.clip, served.work.rig).findings)


def test_the_bob_at_seventy_per_cent_is_planted_with_the_hips_as_asked(page: Any, served: PageServer) -> None:
    bob_to(page, 70)
    mixed = remix(served.work.clip, served.work.rig, [Edit("scale", "hips.y", 0.7)])
    found = numbers(page)
    assert found == expected(mixed, served.work.rig)
    assert all(found[kind][1] == "none" for kind in ("slide", "hover", "stretch"))
    assert wishes_of(page)["mix"] == [{"channels": "hips.y", "share": 0.7, "later": 0}]
    assert "hips.y: 70 per cent" in page.inner_text("#changes")
    page.click("#undo")
    settled(page)
    assert numbers(page) == expected(served.work.clip, served.work.rig)
    page.click("#redo")
    settled(page)
    assert numbers(page) == found


def test_one_finding_rejected_and_one_way_accepted(page: Any, served: PageServer) -> None:
    hover = page.locator("#findings li[data-kind='hover'][data-foot='left']").last
    hover.get_by_role("button", name="Reject").click()
    settled(page)
    choice = Choice(rejected=(Rejected("hover", "left", 12, 15),))
    assert numbers(page) == expected(served.work.clip, served.work.rig, choice)
    assert numbers(page)["hover"][1] != "none"
    sink = page.locator("#findings li[data-kind='sink'][data-foot='right']").first
    sink.locator("summary").click()
    sink.get_by_role("button", name="Accept").first.click()
    settled(page)
    taken = wishes_of(page)["taken"]
    assert [(one["kind"], one["foot"]) for one in taken] == [("sink", "right")]
    assert page.locator("#changes li").count() == 2


def test_a_key_is_dragged_typed_undone_saved_and_there_again_after_a_reload(page: Any, served: PageServer) -> None:
    box = page.locator("#curve").bounding_box()
    keys = served.work.clip.channels["hips.y"]
    high, low = float(keys.values.max()), float(keys.values.min())
    room = 0.06 * (high - low)
    at = int(keys.values.argmax())
    x = box["x"] + 74 + (float(keys.frames[at]) - 1.0) / 24.0 * (box["width"] - 86)
    y = box["y"] + 8 + room / (high - low + 2 * room) * (box["height"] - 16)
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 9):
        page.mouse.move(x, y + step)
    page.mouse.up()
    settled(page)
    (key,) = wishes_of(page)["keys"]
    assert (key["channel"], key["frame"]) == ("hips.y", float(keys.frames[at]))
    assert low < key["value"] < high - 0.2
    page.click("#undo")
    settled(page)
    assert wishes_of(page)["keys"] == []
    page.locator("#keys summary").click()
    page.get_by_label(f"frame {float(keys.frames[at]):g}", exact=True).fill("92.5")
    settled(page)
    values = np.array(keys.values)
    values[at] = 92.5
    mixed = served.work.clip.with_channels({"hips.y": replace(keys, values=values)})
    shown = numbers(page)
    assert shown == expected(mixed, served.work.rig)
    page.click("#save")
    page.wait_for_function("() => document.getElementById('status').textContent.startsWith('Written')")
    assert "walk.planted.json and walk.layer.json" in page.inner_text("#status")
    page.reload()
    settled(page)
    assert numbers(page) == shown
    assert page.inner_text("#changes").startswith("hips.y: key on frame 10 at 92.5")


def test_a_drag_that_the_system_breaks_off_moves_the_key_no_further(page: Any, served: PageServer) -> None:
    box = page.locator("#curve").bounding_box()
    keys = served.work.clip.channels["hips.y"]
    at = int(keys.values.argmax())
    x = box["x"] + 74 + (float(keys.frames[at]) - 1.0) / 24.0 * (box["width"] - 86)
    y = box["y"] + 8 + 0.06 / 1.12 * (box["height"] - 16)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y + 5)
    page.locator("#curve").dispatch_event("pointercancel")
    settled(page)
    (key,) = wishes_of(page)["keys"]
    page.mouse.move(x, y + 40)
    settled(page)
    assert wishes_of(page)["keys"] == [key]


def test_scrubbing_by_pointer_and_by_keys_shows_the_frame(page: Any) -> None:
    box = page.locator("#scrub").bounding_box()
    page.mouse.click(box["x"] + 74 + 12.0 / 24.0 * (box["width"] - 86), box["y"] + 20)
    assert abs(float(page.locator("#frame").input_value()) - 13.0) <= 0.25
    page.locator("#scrub").focus()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    assert page.locator("#scrub").get_attribute("aria-valuenow") == "2"
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert page.locator("#frame").input_value() == "24"


def test_pointing_at_a_finding_shows_its_frame(page: Any, served: PageServer) -> None:
    worst = check(served.work.clip, served.work.rig).findings[0].worst
    page.locator("#findings li[data-kind] .where").first.hover()
    assert abs(float(page.locator("#frame").input_value()) - worst) <= 0.13


def test_playing_moves_on_and_stops(page: Any) -> None:
    page.click("#play")
    page.wait_for_timeout(350)
    page.click("#play")
    stopped = page.locator("#frame").input_value()
    assert float(stopped) > 3.0
    page.wait_for_timeout(120)
    assert page.locator("#frame").input_value() == stopped


def test_everything_goes_by_keyboard_alone(page: Any, served: PageServer) -> None:
    def to(selector: str) -> None:
        for _ in range(200):
            page.keyboard.press("Tab")
            if page.evaluate("(s) => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(f"Tab never comes to {selector}")

    to("#scrub")
    page.keyboard.press("ArrowRight")
    assert page.locator("#frame").input_value() == "2"
    to("input[type=range][data-channels='hips.y']")
    for _ in range(30):
        page.keyboard.press("ArrowLeft")
    settled(page)
    assert wishes_of(page)["mix"][0]["share"] == 0.7
    to("#findings li[data-kind='slide'] button[data-at]")
    page.keyboard.press("Enter")
    settled(page)
    assert len(wishes_of(page)["rejected"]) == 1
    page.keyboard.press("Control+z")
    settled(page)
    assert wishes_of(page)["rejected"] == []
    page.keyboard.press("Control+s")
    page.wait_for_function("() => document.getElementById('status').textContent.startsWith('Written')")
    assert (served.work.path.parent / "walk.planted.json").is_file()


def test_a_wrong_number_is_told_beside_its_control(page: Any) -> None:
    field = page.get_by_label("clearance, mm", exact=True)
    field.fill("-4")
    assert "a number from 0 to 1000 mm is wanted" in page.inner_text("#setup")
    assert field.get_attribute("aria-invalid") == "true"
    field.fill("12")
    settled(page)
    assert wishes_of(page)["clearance"] == 0.012


def test_a_way_tells_the_signs_of_its_amounts_and_only_what_it_makes_worse(page: Any, served: PageServer) -> None:
    clip, rig = served.work.clip, served.work.rig
    ways = propose(clip, rig)
    words = page.locator(".ways").all_text_contents()
    told = " ".join(words).replace("\xa0", " ")
    way = next(way for way in ways if way.finding.kind == "slide" and way.finding.foot == "left")
    for name, amounts in zip(way.channels, way.shown, strict=True):
        most = float(amounts[np.abs(amounts).argmax()])
        digits = 0 if abs(most) >= 100 else 1 if abs(most) >= 10 else 2
        assert f"{name} {'+' if most > 0 else ''}{most:.{digits}f} mm" in told
    pairs = re.findall(r"([\d.]+ ?\S+) \(was ([\d.]+ ?[^)]+)\)", told)
    assert pairs
    assert all(after != before for after, before in pairs)


def test_a_number_typed_out_of_its_range_leaves_what_stood_before(page: Any) -> None:
    """Digit by digit 80 is 8 first, which is in the range; that may not stay, nor the sentence go."""
    field = page.get_by_label("slope up ahead, degrees", exact=True)
    field.fill("2")
    settled(page)
    field.blur()
    field.click()
    page.keyboard.press("Control+a")
    page.keyboard.type("8")
    settled(page)
    page.keyboard.type("0")
    settled(page)
    assert "slope up ahead: a number from -30 to 30 degrees is wanted" in page.inner_text("#setup")
    assert field.input_value() == "80"
    assert wishes_of(page)["slope"] == 2.0
    field.blur()
    page.get_by_label("clearance, mm", exact=True).fill("3")
    settled(page)
    assert field.input_value() == "2"


def test_what_the_server_refuses_is_told_and_the_page_goes_on(page: Any, served: PageServer) -> None:
    served.work.clip = replace(served.work.clip, locked=frozenset({"hips.y"}))
    page.get_by_label("bob, later, frames").fill("2")
    page.wait_for_function("() => document.getElementById('status').className === 'trouble'")
    assert "hips.y is locked" in page.inner_text("#status")
    served.work.clip = replace(served.work.clip, locked=frozenset())
    page.click("#undo")
    settled(page)


def test_a_file_changed_meanwhile_is_noticed(page: Any, served: PageServer) -> None:
    served.work.path.write_bytes(served.work.path.read_bytes() + b" ")
    bob_to(page, 90)
    assert "has changed on disk" in page.inner_text("#banner")
    assert page.get_by_role("button", name="Open the new one").is_visible()


@pytest.mark.parametrize("size", [(1280, 800), (1024, 640)])
def test_nothing_runs_out_of_the_window(page: Any, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
    assert wide[0] <= size[0]
    assert wide[1] <= size[1]
    for one in page.locator("button, input, select").all():
        box = one.bounding_box()
        assert box is None or box["x"] + box["width"] <= size[0] + 1


def test_on_a_narrow_screen_all_stands_below_one_another_and_is_wide_enough(page: Any) -> None:
    page.set_viewport_size({"width": 400, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    boxes = {name: page.locator(name).bounding_box() for name in ("main", "aside", "#side", "#plan", "#gait", "#mix")}
    assert boxes["aside"]["y"] >= boxes["main"]["y"] + boxes["main"]["height"] - 1.0
    for name in ("#side", "#plan", "#gait", "#mix"):
        assert boxes[name]["width"] >= 360.0, name
    for one in page.locator("button, input, select").all():
        box = one.bounding_box()
        assert box is None or box["x"] + box["width"] <= 401.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault(page: Any, axe: str, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    assert serious_faults(page, axe) == []


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EROFS])
def test_a_save_that_cannot_be_written_is_told_and_can_be_done_again(page: Any, served: PageServer, fault: int) -> None:
    """The disk is full, or read only: the sentence is on the page, nothing is written, the edits are still there."""
    folder = served.work.path.parent
    bob_to(page, 70)
    wishes = wishes_of(page)

    def refuse(_: int) -> None:
        raise OSError(fault, os.strerror(fault))

    with faults(refuse):
        page.click("#save")
        page.wait_for_function("() => document.getElementById('status').className === 'trouble'")
        assert f"can't be written: {os.strerror(fault)}" in page.inner_text("#status")
    assert page.locator("#banner").is_hidden(), "nothing changed on disk, so nothing is asked"
    assert [one.name for one in folder.iterdir()] == ["walk.json"]
    assert wishes_of(page) == wishes
    page.click("#save")
    page.wait_for_function("() => document.getElementById('status').textContent.startsWith('Written beside')")
    mixed = remix(served.work.clip, served.work.rig, [Edit("scale", "hips.y", 0.7)])
    saved, asked = load_clip(folder / "walk.planted.json").curve("hips.y"), mixed.curve("hips.y")
    assert np.array_equal(saved.values, asked.values)


def test_a_disk_that_fills_in_the_middle_of_a_save_leaves_nothing_half_written(page: Any, served: PageServer) -> None:
    """The system itself stops the write after a few bytes."""
    import resource

    folder = served.work.path.parent
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, before[1]))
    try:
        page.click("#save")
        page.wait_for_function("() => document.getElementById('status').className === 'trouble'")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "can't be written" in page.inner_text("#status")
    assert [one.name for one in folder.iterdir()] == ["walk.json"]


def test_a_fault_of_the_server_is_told_and_the_page_goes_on(
    page: Any, served: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stumble(*_: object, **__: object) -> list[str]:
        raise ArithmeticError("the ground fell away")

    monkeypatch.setattr(type(served.work), "save", stumble)
    page.click("#save")
    page.wait_for_function("() => document.getElementById('status').className === 'trouble'")
    assert page.inner_text("#status") == "fault: ArithmeticError: the ground fell away"
    monkeypatch.undo()
    bob_to(page, 90)


def test_every_channel_is_listed_with_its_unit(page: Any, served: PageServer) -> None:
    names = page.locator("#channel option").all_text_contents()
    assert names[:4] == ["hips.x, cm", "hips.y, cm", "hips.z, cm", "hips.pitch, °"]
    assert len(names) == len(served.work.clip.channels)
    assert "left_arm.swing" in names  # no control of the rig reads it, so no unit is known
