"""Slide: how far a stance's touching point drifts; see `surefoot.slide`."""

from __future__ import annotations

from surefoot.findings import Finding
from surefoot.seen import Seen
from surefoot.slide import slide_findings

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return slide_findings(seen.touch, seen.stances, limits, landing=seen.landing)
