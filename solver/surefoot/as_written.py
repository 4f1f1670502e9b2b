"""Feet as their channels can have them: a turn that can't be written stays, and the foot is planted for it.

A locked channel keeps its numbers, a stepped one holds each key's until the next, and a control may lack one. Such a
foot is rolled, headed, canted or bent as it then is, and its ankle goes where that stands.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve, Shape
from surefoot.rig import LENGTHWISE
from surefoot.scene import Scene
from surefoot.settle import Settled, stand_again, stand_with, swing_again

__all__ = ["as_written", "is_stepped", "stepped"]

Array = NDArray[np.float64]

ROUNDS = 6
SAME = 1e-9
"""Radians."""


def as_written(scene: Scene, settled: Settled, *, clearance: float, mend_reach: bool) -> Settled:
    """Return the feet planted with the turns that their channels will have; the same object where that's no change.

    Where feet share a turn out among several channels (rockers), what one of them keeps the others take over in a few
    rounds. Of legs by joints only the toe bend is so: any other joint moves the ankle too, and what a locked one
    leaves is told by the findings.
    """
    binding = scene.binding
    fixed = _fixed(scene)
    if not fixed:
        return settled
    first = settled
    for _ in range(ROUNDS):
        rows = binding.write(*settled.in_world(scene), scene.values, scene.frames)
        kept = rows.copy()
        for (row, foot), curve in fixed.items():
            kept[row, foot] = _held(scene, curve, row, foot, rows[row, foot])
        if np.abs(kept - rows).max() <= SAME:
            break
        if binding.style is None or binding.style.places:
            settled = stand_again(scene, settled, kept[3:])
        else:
            more = (kept - rows)[binding.foot_keys.index("bend"), np.arange(2)[:, None], settled.tracks.index]
            settled = stand_with(scene, settled, settled.angles, settled.bend + more)
    return settled if settled is first else swing_again(scene, settled, clearance=clearance, mend_reach=mend_reach)


def is_stepped(curve: Curve | None) -> bool:
    """Tell whether a channel steps from key to key throughout."""
    return curve is not None and bool((curve.shapes == Shape.STEP).all())


def stepped(old: Curve, frames: Array, values: Array) -> Curve:
    """Return a stepped channel planted at its own keys only: it stays stepped, and gains no key."""
    at = old.frames - frames[0]
    mine = (at >= 0) & (at <= len(frames) - 1) & (at == np.round(at))
    new = old.values.copy()
    new[mine] = values[at[mine].astype(int)]
    return replace(old, values=new)


def _fixed(scene: Scene) -> dict[tuple[int, int], Curve | None]:
    """Return the turns that can't be written as they please by row and foot: stepped ones' curves, None for others."""
    binding, clip = scene.binding, scene.binding.clip
    found: dict[tuple[int, int], Curve | None] = {}
    by_joint = binding.style is not None and not binding.style.places
    for row, key in enumerate(binding.foot_keys):
        if key in LENGTHWISE or key == "knee" or (by_joint and key != "bend"):
            continue
        for side, foot in enumerate(binding.rig.feet):
            axis = foot.axes.get(key)
            curve = clip.channels.get(axis.channel) if axis is not None else None
            if axis is None or curve is None:
                if binding.style is None:
                    found[row, side] = None
            elif axis.channel in clip.locked:
                found[row, side] = None
            elif is_stepped(curve):
                found[row, side] = curve
    return found


def _held(scene: Scene, curve: Curve | None, row: int, foot: int, wanted: Array) -> Array:
    """Return what a channel that can't be written as it pleases has in each frame, metres or radians."""
    if curve is None:
        return np.asarray(scene.binding.feet(scene.values)[row, foot])
    axis = scene.binding.rig.feet[foot].axes[scene.binding.foot_keys[row]]
    made = stepped(curve, scene.frames, wanted / axis.scale + axis.zero)
    return np.asarray((made.at(scene.frames) - axis.zero) * axis.scale)
