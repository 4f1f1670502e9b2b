"""Seam: whether a loop's frame last + 1 is its first again, in value and in slope.

Slopes are compared side by side, in with in and out with out: a break between in
and out at one key is lawful, as where a foot lands or lifts off.
"""

from __future__ import annotations

import numpy as np

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, resolve_slopes
from surefoot.findings import Finding, level_of
from surefoot.rig import Axis, Rig
from surefoot.units import ANGLES

__all__ = ["seam_findings", "seam_gap"]

LEVER = 0.2
"""Metres: an angle counts by how far it moves the end of this lever."""
SLOPE_WEIGHT = 0.25
"""Frames: a break of slope counts by about what it moves the curve near the seam."""


def seam_gap(curve: Curve, first: int, last: int) -> tuple[float, float]:
    """Return how far value and slope (a frame) are from closing, in the curve's unit; travel is taken off."""
    pack = Pack.from_curves([curve])
    start, end = np.array([float(first)]), np.array([float(last + 1)])
    value = float(pack.evaluate(end)[0, 0] - pack.evaluate(start)[0, 0])
    if curve.after == Outside.ADVANCE:
        value = 0.0
    slopes = [_sides(curve, pack, at) for at in (start, end)]
    breaks = [abs(b - a) for a, b in zip(*slopes, strict=True) if np.isfinite(a) and np.isfinite(b)]
    return abs(value), max(breaks, default=0.0)


def _sides(curve: Curve, pack: Pack, at: np.ndarray) -> tuple[float, float]:
    """Return in and out slope at a frame: those of the key there, else those of the curve."""
    key = np.flatnonzero(curve.frames == at[0])
    if len(key):
        slope_in, slope_out = resolve_slopes(curve)
        return float(slope_in[key[0]]), float(slope_out[key[0]])
    return float(pack.slopes(at, side="left")[0, 0]), float(pack.slopes(at, side="right")[0, 0])


def seam_findings(clip: Clip, rig: Rig, limits: tuple[float, float, float]) -> list[Finding]:
    """Return a finding for each channel of a loop that doesn't close, whatever it drives."""
    if not clip.loop:
        return []
    axes = rig.channels()
    found = []
    for name, curve in clip.channels.items():
        if len(curve.frames) < 2:
            continue
        value, slope = seam_gap(curve, clip.first, clip.last)
        scale = _scale(axes.get(name), rig, name)
        amount = max(value, SLOPE_WEIGHT * slope) * scale
        told = level_of(amount, limits)
        if told is not None:
            frame = clip.last + 1
            found.append(Finding("seam", "", frame, frame, float(frame), amount, told[1], told[0], name))
    return found


def _scale(axis: Axis | None, rig: Rig, name: str) -> float:
    """Return metres for one unit of a channel; one that the rig doesn't know is taken for an angle in degrees."""
    if axis is None:
        return ANGLES["deg"] * LEVER
    length = any(
        control.axes.get(key) is axis or (key in control.axes and control.axes[key].channel == name)
        for control in rig.controls.values()
        for key in "xyz"
    )
    return abs(axis.scale) * (1.0 if length else LEVER)
