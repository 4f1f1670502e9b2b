"""Balance: whether the weight is where the support foot can hold it; see `surefoot.balance`."""

from __future__ import annotations

from surefoot.balance import balance_findings
from surefoot.findings import Finding
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return balance_findings(seen.scene, seen.stances, limits, still=seen.still)
