"""A new thing is one new file and one line, as DEVELOPERS.md says: a toy of each, used as a user would use it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import surefoot
from surefoot import formats
from surefoot.__main__ import main


@pytest.fixture
def pipes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one line of a new format."""
    monkeypatch.setattr(formats, "FORMATS", [*formats.FORMATS, "tests.toys.pipes"])


@pytest.mark.usefixtures("pipes")
def test_a_new_format_is_read_written_and_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip, _ = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    made, planted = tmp_path / "walk.pipes", tmp_path / "planted.pipes"
    assert main(["convert", str(tmp_path / "walk.json"), str(made)]) == 0
    assert main(["plant", str(made), "-o", str(planted)]) in (0, 1)
    assert main(["formats"]) == 0
    assert re.search(r"^pipes +\.pipes +yes +yes ", capsys.readouterr().out, re.MULTILINE)
    before, after = made.read_text("utf-8").splitlines(), planted.read_text("utf-8").splitlines()
    assert before[0] == after[0] == "|".join(["frame", *clip.channels])
    assert len(before) == len(after) == clip.frames + 1
    assert before != after


def test_an_unknown_format_stays_unknown_without_its_line(tmp_path: Path) -> None:
    clip, _ = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, tmp_path / "walk.json")
    assert main(["convert", str(tmp_path / "walk.json"), str(tmp_path / "walk.pipes")]) == 2
