"""Snap: a knee that whips where it is nearly straight."""

from __future__ import annotations

import numpy as np

from surefoot.findings import Finding, collect
from surefoot.joints import KNEE, whip
from surefoot.rig import FEET
from surefoot.seen import Seen

__all__ = ["look"]


def look(seen: Seen, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of this kind."""
    scene, knees = seen.scene, np.abs(seen.joints[KNEE])
    if knees.shape[-1] < 3:
        return []
    if scene.drift is not None:
        ends = knees[:, -1:], knees[:, :1]
    else:  # beyond the clip they go on as they were
        ends = 2 * knees[:, :1] - knees[:, 1:2], 2 * knees[:, -1:] - knees[:, -2:-1]
    whips = whip(np.concatenate([ends[0], knees, ends[1]], axis=-1), scene.binding.clip.step)
    found = [collect("snap", side, whips[foot], scene.frames, limits, part="knee") for foot, side in enumerate(FEET)]
    return [finding for some in found for finding in some]
