"""Seam: whether a loop's frame last + 1 is its first again, in value and in slope.

Slopes are compared side by side, in with in and out with out: a break between in
and out at one key is lawful, as where a foot lands or lifts off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.findings import Finding, level_of
from surefoot.key_edits import advance_of
from surefoot.rig import Axis, Rig
from surefoot.units import ANGLES

__all__ = ["seam_findings", "seam_gap", "seam_gaps", "shift_channels"]

Array = NDArray[np.float64]

LEVER = 0.2
"""Metres: an angle counts by how far it moves the end of this lever."""
STEADY = 1e-9
"""Radians: what goes on by less of a turn a round heads as it did."""
SLOPE_WEIGHT = 0.25
"""Frames: a break of slope counts by about what it moves the curve near the seam."""


def seam_gaps(curves: Sequence[Curve], first: int, last: int) -> Array:
    """Return how far value and slope (a frame) of curves are from closing, ``(2, curves)``, each in its own unit.

    Travel is taken off. A slope is that of the key at the frame where there's one, else that of the curve; one
    that is upright isn't compared.
    """
    pack = Pack.from_curves(curves)
    ends = np.array([float(first), float(last + 1)])
    start, end = pack.evaluate(ends).T
    travels = np.array([curve.after == Outside.ADVANCE for curve in curves])
    slopes = np.array([pack.slopes(ends, side="left"), pack.slopes(ends, side="right")])  # (side, curve, end)
    for row, curve in enumerate(curves):
        keyed = [(at, k) for at, k in enumerate(curve.frames.searchsorted(ends).tolist())
                 if k < len(curve.frames) and curve.frames[k] == ends[at]]  # fmt: skip
        own = _key_slopes(curve) if keyed else ()
        for at, k in keyed:
            for side, slope in enumerate(own):
                slopes[side, row, at] = slope[k]
    finite = np.isfinite(slopes).all(axis=-1)
    slopes = np.where(finite[..., None], slopes, 0.0)
    breaks = np.abs(slopes[..., 1] - slopes[..., 0]).max(axis=0)
    return np.array([np.where(travels, 0.0, np.abs(end - start)), breaks])


def seam_gap(curve: Curve, first: int, last: int) -> tuple[float, float]:
    """Return what `seam_gaps` does for one curve."""
    value, slope = seam_gaps([curve], first, last)[:, 0].tolist()
    return value, slope


def _key_slopes(curve: Curve) -> tuple[Array, Array]:
    """Return in and out slope of every key."""
    if set(curve.shapes.tobytes()) == {Shape.GIVEN}:
        return curve.slope_in, curve.slope_out
    return resolve_slopes(curve)


def seam_findings(clip: Clip, rig: Rig, limits: tuple[float, float, float]) -> list[Finding]:
    """Return a finding for each channel of a loop that doesn't close, whatever it drives."""
    named = {name: curve for name, curve in clip.channels.items() if len(curve.frames) > 1}
    if not clip.loop or not named:
        return []
    axes, lengths, turned = rig.channels(), shift_channels(rig), _turned_on(clip, rig)
    values, slopes = seam_gaps(tuple(named.values()), clip.first, clip.last)
    slopes[[name in turned for name in named]] = 0.0
    found = []
    for name, gap in zip(named, np.maximum(values, SLOPE_WEIGHT * slopes).tolist(), strict=True):
        amount = gap * _scale(axes.get(name), name in lengths)
        told = level_of(amount, limits)
        if told is not None:
            frame = clip.last + 1
            found.append(Finding("seam", "", frame, frame, float(frame), amount, told[1], told[0], name))
    return found


def _turned_on(clip: Clip, rig: Rig) -> set[str]:
    """Return the channels along the ground of what goes on by a part of a turn each round: their slopes turn too."""
    found: set[str] = set()
    for control in rig.controls.values():
        yaw = control.axes.get("yaw")
        if yaw is None or yaw.channel not in clip.channels:
            continue
        turn = advance_of(clip.channels[yaw.channel]) * clip.frames * yaw.scale
        if abs(np.sin(0.5 * turn)) > STEADY:
            found |= {control.axes[key].channel for key in "xz" if key in control.axes}
    return found


def shift_channels(rig: Rig) -> set[str]:
    """Return the channels that move something along an axis."""
    return {control.axes[key].channel for control in rig.controls.values() for key in "xyz" if key in control.axes}


def _scale(axis: Axis | None, is_length: bool) -> float:
    """Return metres for one unit of a channel; one that the rig doesn't know is taken for an angle in degrees."""
    if axis is None:
        return ANGLES["deg"] * LEVER
    return abs(axis.scale) * (1.0 if is_length else LEVER)
