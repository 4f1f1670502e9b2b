"""Chromium by playwright, started once a module, and axe-core; a test that asks for either is skipped without it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

__all__ = ["axe", "browser", "serious_faults"]

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Yield a running Chromium."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("there is no Chromium here (apt-get install chromium)")
    api = pytest.importorskip("playwright.sync_api", reason="playwright isn't installed")
    with api.sync_playwright() as running:
        shown = running.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield shown
        shown.close()


@pytest.fixture(scope="module")
def axe() -> str:
    """Return axe-core (npm), the accessibility rules of Deque Systems; skipped only where there's no npm."""
    script = ROOT / "node_modules" / "axe-core" / "axe.min.js"
    if not script.is_file():
        npm = shutil.which("npm")
        if npm is None:
            pytest.skip("neither axe-core nor npm is here")
        subprocess.run([npm, "install", "--no-save", "--silent", "axe-core", "gltf-validator"], cwd=ROOT, check=True)
    return script.read_text(encoding="utf-8")


def serious_faults(page: Any, axe: str) -> list[tuple[str, str, list[str]]]:
    """Return what axe finds serious or critical on an open page: rule, weight, the places in it.

    It looks for these alone: passes aren't listed, and rules of lesser weight aren't run.
    """
    page.evaluate(axe)
    rules = page.evaluate("axe.getRules().map((rule) => rule.ruleId)")
    assert len(rules) > 50
    found = page.evaluate("axe.run(document, {resultTypes: ['violations'], preload: false})")
    assert len(found["passes"]) > 10
    return [
        (one["id"], one["impact"], [node["html"][:120] for node in one["nodes"]])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
