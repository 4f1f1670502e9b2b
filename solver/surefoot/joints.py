"""Findings about the joints: a knee that whips near straight, a joint beyond its range."""

from __future__ import annotations

from collections.abc import Mapping

from surefoot.findings import Finding
from surefoot.scene import Scene


def joint_findings(scene: Scene, bounds: Mapping[str, tuple[float, float, float]]) -> list[Finding]:
    return []
