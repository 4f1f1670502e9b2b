"""Cross: by how much the feet cut through each other; a cut-out's legs pass each other in one plane."""

from __future__ import annotations

from surefoot.findings import Finding, collect
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    if seen.scene.binding.rig.planar:
        return []
    return collect("cross", "both", seen.overlap, seen.fine.frames, limits)
