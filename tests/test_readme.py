"""The README's code runs and prints what the README says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from surefoot.cli import main

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.DOTALL | re.MULTILINE)


def test_the_first_command_prints_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    line = next(line for line in blocks("sh")[0].splitlines() if "surefoot plant" in line)
    words = line.split("surefoot plant ")[1].split()
    assert main(["plant", *words]) == 0
    assert capsys.readouterr().out == blocks("text")[0]


def test_the_library_lines_print_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    exec(compile(blocks("python")[0], "README.md", "exec"), {})
    assert capsys.readouterr().out == blocks("text")[1]


def test_the_clip_that_the_readme_shows_is_one() -> None:
    from surefoot.clip_file import parse_clip

    clip = parse_clip(blocks("json")[0])
    assert clip.frames == 24
    assert clip.belt is not None
    assert clip.belt.speed == pytest.approx(1.35)
