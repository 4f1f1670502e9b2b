"""Swivel: how far a planted foot turns on its ball; see `surefoot.swivel`."""

from __future__ import annotations

from surefoot.findings import Finding
from surefoot.seen import Seen
from surefoot.swivel import swivel_findings

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return swivel_findings(seen.touch, seen.stances, limits)
