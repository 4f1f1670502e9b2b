"""Oppose: parts that go the wrong way in a walk; see `surefoot.oppose`."""

from __future__ import annotations

from surefoot.findings import Finding
from surefoot.oppose import oppose_findings
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return oppose_findings(seen.scene, limits)
