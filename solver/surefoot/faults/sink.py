"""Sink: how deep a sole is in the ground."""

from __future__ import annotations

from surefoot.findings import Finding, by_foot
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return by_foot("sink", seen.touch.depth, seen.fine.frames, limits)
