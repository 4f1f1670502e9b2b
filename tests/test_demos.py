"""Every numbered demo runs and says what it opens with."""

from __future__ import annotations

import os
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DEMOS = sorted((ROOT / "demos").glob("[0-9]*.py"))


def contents() -> dict[str, tuple[int, int]]:
    """Return size and time of every file of the checkout but what Python, the tests and their coverage keep."""
    kept = {".git", "__pycache__", "node_modules", ".venv"}
    found = {}
    for path in ROOT.rglob("*"):
        parts = path.relative_to(ROOT).parts
        if path.name.startswith(".coverage"):
            continue
        if path.is_file() and not any(part in kept or "cache" in part or part == ".hypothesis" for part in parts):
            found[str(path)] = (path.stat().st_size, path.stat().st_mtime_ns)
    return found


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_demo_runs_and_prints(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.startswith('"""')
    before = contents()
    runpy.run_path(str(path), run_name="__main__")
    assert len(capsys.readouterr().out.splitlines()) >= 3
    assert contents() == before, "it writes into the checkout"


def test_a_hip_edit_leaves_the_footprints_of_the_clip_before_it_alone(capsys: pytest.CaptureFixture[str]) -> None:
    path = next(path for path in DEMOS if path.stem.startswith("02"))
    runpy.run_path(str(path), run_name="__main__")
    lines = capsys.readouterr().out.splitlines()
    moved = [float(line.split()[-2]) for line in lines if "footprint moved" in line]
    assert len(moved) == 2
    assert max(moved) <= 0.1


@pytest.mark.parametrize("name", ["03_from_a_capture.py"])
def test_a_demo_runs_as_a_file_from_anywhere(name: str, tmp_path: Path) -> None:
    environment = os.environ | {"PYTHONPATH": str(ROOT / "solver")}
    path = ROOT / "demos" / name
    done = subprocess.run([sys.executable, path], cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("leg ")
