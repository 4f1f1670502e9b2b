"""A clock that jumps, forwards or backwards, changes nothing: no module asks it, and files aren't told apart by it."""

from __future__ import annotations

import ast
import io
import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

import surefoot
from surefoot.batch.progress import Progress
from surefoot.cli import main
from surefoot.clip_file import clip_bytes
from tests.page_server import opened

PACKAGE = Path(surefoot.__file__).parent
CLOCKS = {"time", "time_ns", "localtime", "gmtime", "ctime", "strftime", "now", "today", "utcnow"}
LONG_AGO, FAR_AHEAD = 1_000, 4_102_444_800
"""Seconds since 1970: within its first hour, and the year 2100."""


def test_no_module_asks_what_time_it_is() -> None:
    """What takes long is measured by the clock that only runs forwards (``time.monotonic``)."""
    seen = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert node.module not in ("time", "datetime"), path
            if isinstance(node, ast.Import):
                assert "datetime" not in {alias.name for alias in node.names}, path
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "time":
                assert node.attr not in CLOCKS, f"{path}, line {node.lineno}"
                seen.add(node.attr)
    assert "monotonic" in seen


def test_a_batch_is_taken_up_whatever_the_clock_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two clips, of long ago and of the year 2100; then one is changed while the clock stands ten years back."""
    lib, out = tmp_path / "lib", tmp_path / "out"
    lib.mkdir()
    clip, _ = surefoot.demo("lamplighter")
    for name, at in (("a.json", LONG_AGO), ("b.json", FAR_AHEAD)):
        (lib / name).write_bytes(clip_bytes(clip))
        os.utime(lib / name, (at, at))

    def run() -> str:
        assert main(["batch", str(lib), "-o", str(out), "--check", "--processes", "1"]) in (0, 1)
        return capsys.readouterr().out

    assert "done before" not in run()
    assert "2 of them done before" in run()
    now = (lib / "b.json").stat().st_mtime
    (lib / "b.json").write_bytes(clip_bytes(replace(clip, name="another")))
    os.utime(lib / "b.json", (now - 10 * 365 * 86400, now - 10 * 365 * 86400))
    assert "1 of them done before" in run()
    assert "2 of them done before" in run()


def test_a_clip_that_could_not_be_written_is_done_when_there_is_room(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib, out = tmp_path / "lib", tmp_path / "out"
    (lib / "deep").mkdir(parents=True)
    out.mkdir()
    clip, _ = surefoot.demo("lamplighter")
    (lib / "deep" / "a.json").write_bytes(clip_bytes(clip))
    (out / "deep").write_bytes(b"in the way")
    words = ["batch", str(lib), "-o", str(out), "--processes", "1"]
    assert main(words) == 1
    told = capsys.readouterr().out
    assert "failed   deep/a.json" in told
    assert "can't be written: File exists" in told
    assert "fault" not in told
    (out / "deep").unlink()
    assert main(words) in (0, 1)
    assert "0 failed" in capsys.readouterr().out
    assert (out / "deep" / "a.json").is_file()


def test_the_page_tells_a_changed_file_by_what_is_in_it(tmp_path: Path) -> None:
    work = opened(tmp_path)
    for at in (LONG_AGO, FAR_AHEAD):
        os.utime(work.path, (at, at))
        assert not work.changed_on_disk, "the clock jumped; the file is the same"
    text = work.path.read_bytes()
    work.path.write_bytes(text.replace(b"lamplighter walks", b"lamplighter talks"))
    os.utime(work.path, (FAR_AHEAD, FAR_AHEAD))
    assert len(text) == work.path.stat().st_size
    assert work.changed_on_disk, "of the same length and time, but another"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_the_bar_of_progress_goes_on_when_the_clock_jumps(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(time, "time", lambda: float(LONG_AGO))
    bar = Progress(4, 1)
    monkeypatch.setattr(time, "time", lambda: float(FAR_AHEAD))
    bar.step(failed=True)
    monkeypatch.setattr(time, "time", lambda: 0.0)
    bar.step(failed=False)
    bar.step(failed=False)
    bar.end()
    shown = screen.getvalue().split("\r")
    assert shown[1].startswith("[###############...............] 2 of 4, 1 failed, 0 s left")
    assert shown[-1].startswith(f"[{'#' * 30}] 4 of 4, 1 failed, 0 s left")
    assert shown[-1].endswith("\n")
