"""Stretch: by how much a leg is too short to reach its ankle."""

from __future__ import annotations

from surefoot.findings import Finding, by_foot
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return by_foot("stretch", seen.over, seen.fine.frames, limits)
