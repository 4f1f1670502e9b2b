"""Mismatch: channels that aren't their partner's mirror half a cycle later; see `surefoot.mismatch`."""

from __future__ import annotations

from surefoot.findings import Finding
from surefoot.mismatch import mismatch_findings
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    return mismatch_findings(seen.clip, seen.scene.binding.rig, limits)
