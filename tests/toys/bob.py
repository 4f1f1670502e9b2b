"""A toy finding: hips that rise and fall far from their middle height."""

from __future__ import annotations

import numpy as np

from surefoot.findings import Finding, collect
from surefoot.seen import Seen


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return where the hips are farther from their middle height than the limits, metres."""
    height = seen.scene.pose.hips[1]
    return collect("bob", "", np.abs(height - np.median(height)), seen.scene.frames, limits, part="hips")
