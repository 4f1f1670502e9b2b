"""Overhang: the share of a planted foot that hangs over an edge."""

from __future__ import annotations

from surefoot.findings import Finding, by_foot
from surefoot.seen import Seen
from surefoot.stand import overhang_of

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    if seen.scene.ground.is_even:
        return []
    return by_foot("overhang", overhang_of(seen.scene, seen.stances), seen.scene.frames, limits)
