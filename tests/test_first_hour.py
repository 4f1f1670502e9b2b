"""The tutorial's page and pictures are what its commands print and draw today; `surefoot demo` runs the same story."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from demos.first_hour import PICTURES, printed, write

from surefoot.cautions import FOR_ANIMATION, FOR_PICTURES
from surefoot.cli import main
from surefoot.story import STORY

DEMOS = Path(__file__).parents[1] / "demos"
STALE = "the tutorial is out of date; run python -m demos.first_hour and look at what has changed"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
HUNDREDTHS = 0.021
"""Pictures are drawn to hundredths of a pixel; another processor may round the last of them the other way."""


def commands() -> list[str]:
    return [line for step in STORY for line in (*step.commands, step.drawing) if line]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("first_hour")
    write(folder)
    return folder


def test_the_page_is_what_its_commands_print_today(made: Path) -> None:
    assert (made / "first_hour.md").read_text("utf-8") == (DEMOS / "first_hour.md").read_text("utf-8"), STALE


def test_the_pictures_are_what_its_commands_draw_today(made: Path) -> None:
    names = sorted(path.name for path in (made / PICTURES).iterdir())
    assert names == sorted(path.name for path in (DEMOS / PICTURES).iterdir()), STALE
    for name in names:
        now, kept = ((folder / PICTURES / name).read_text("utf-8") for folder in (made, DEMOS))
        assert NUMBER.sub("#", now) == NUMBER.sub("#", kept), f"{name}: {STALE}"
        off = [abs(float(one) - float(two)) for one, two in zip(NUMBER.findall(now), NUMBER.findall(kept), strict=True)]
        assert max(off) <= HUNDREDTHS, f"{name}: {STALE}"


def test_a_picture_that_has_changed_would_be_found(made: Path) -> None:
    text = (made / PICTURES / STORY[0].picture).read_text("utf-8")
    moved = re.sub(r"(<path[^>]* d=\"M)(\d+)", lambda m: f"{m[1]}{int(m[2]) + 1}", text, count=1)
    off = [abs(float(a) - float(b)) for a, b in zip(NUMBER.findall(text), NUMBER.findall(moved), strict=True)]
    assert max(off) > HUNDREDTHS


def test_the_pictures_are_small_and_all_on_the_page() -> None:
    assert sum(path.stat().st_size for path in (DEMOS / PICTURES).iterdir()) < 150_000
    page = (DEMOS / "first_hour.md").read_text("utf-8")
    assert re.findall(r"\]\((.*?)\)", page) == [f"{PICTURES}/{step.picture}" for step in STORY if step.picture]


def test_the_page_shows_every_command_that_is_run_and_the_cautions() -> None:
    page = (DEMOS / "first_hour.md").read_text("utf-8")
    assert re.findall(r"```sh\nsurefoot (.*)\n```", page) == commands()
    flat = " ".join(page.split())
    assert FOR_ANIMATION in flat
    assert FOR_PICTURES in flat


def test_the_story_ends_with_nothing_left_to_mend(made: Path) -> None:
    """Read from the page: planting and the hand-over have no warning and no error left."""
    page = (made / "first_hour.md").read_text("utf-8")
    last = page.split("surefoot check stairs.glb")[1]
    assert "warning" not in last.split("From here")[0]
    planted = page.split("surefoot plant edited.json")[1].split("```")[2]
    assert "clean: nothing beyond tolerance" in planted


def test_a_command_that_cannot_run_stops_the_page() -> None:
    with pytest.raises(RuntimeError, match=r"surefoot block wark\n.*wark"):
        printed("block wark")


class TestDemo:
    def test_it_runs_every_command_and_leaves_its_files(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        folder = tmp_path / "lamps"
        assert main(["demo", str(folder)]) == 0
        shown = capsys.readouterr()
        assert shown.err == ""
        assert re.findall(r"^\$ surefoot (.*)$", shown.out, flags=re.MULTILINE) == commands()
        files = {path.name for path in folder.iterdir()}
        assert {"stairs.glb", "report.html", *(step.picture for step in STORY if step.picture)} <= files
        assert [path.name for path in tmp_path.iterdir()] == ["lamps"]

    @pytest.mark.parametrize(
        ("made", "name", "says"),
        [
            ("lamps/letter.txt", "lamps", "lamps: there's something in it already"),
            ("lamps", "lamps", "lamps: that is a file"),
            ("", "no/lamps", "there is no folder no"),
            ("", "", "FOLDER: wanted the name of a folder, got ''"),
        ],
    )
    def test_it_writes_over_nothing(
        self, made: str, name: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:  # fmt: skip
        monkeypatch.chdir(tmp_path)
        if made:
            Path(made).parent.mkdir(exist_ok=True)
            Path(made).write_text("keep me")
        assert main(["demo", name]) == 2
        told = capsys.readouterr()
        assert told.out == ""
        assert says in told.err
        assert not made or Path(made).read_text() == "keep me"

    def test_a_step_that_cannot_run_ends_it(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setattr("surefoot.story.STORY", STORY[2:])  # its files are those of steps before
        assert main(["demo", str(tmp_path / "lamps")]) == 2
        assert "edited.json: can't be read" in capsys.readouterr().err
