"""Hover: how far a planted foot is above the ground."""

from __future__ import annotations

import numpy as np

from surefoot.findings import Finding, by_foot
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return by_foot("hover", np.where(seen.down, seen.touch.gap, -1.0), seen.fine.frames, limits)
