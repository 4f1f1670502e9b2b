"""Seam: a loop's channels that don't close; see `surefoot.seam`."""

from __future__ import annotations

from surefoot.findings import Finding
from surefoot.seam import seam_findings
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return seam_findings(seen.clip, seen.scene.binding.rig, limits)
