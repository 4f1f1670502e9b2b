"""Limit: by how much a joint is beyond its range."""

from __future__ import annotations

import numpy as np

from surefoot.findings import Finding, collect
from surefoot.joints import beyond_limits
from surefoot.rig import FEET, Limits
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    beyond = beyond_limits(seen.joints, seen.scene.binding.rig)
    found: list[Finding] = []
    for row, foot in np.argwhere(beyond.max(axis=-1) > limits[0]).tolist():
        part = Limits.NAMES[row].replace("_", " ")
        found += collect("limit", FEET[foot], beyond[row, foot], seen.scene.frames, limits, part=part)
    return found
