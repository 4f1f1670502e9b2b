"""A rig in words, and its rest pose as points: what `surefoot rig show` tells and pictures draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.cautions import FOR_ANIMATION
from surefoot.hinge_chain import hinge_points, leg_hinges
from surefoot.rig import FEET, Limits, Rig

__all__ = ["RestPose", "rest_pose", "rig_words"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RestPose:
    """A rig standing upright, hips unturned, soles at height 0, metres in the world.

    Parameters
    ----------
    points : mapping of str to ndarray, shape (points, 3)
        For each foot hip, knee, hock where there's one, ankle, heel, ball and toe, from the top down.
    names : tuple of str
        What those points are.
    soles : mapping of str to ndarray, shape (corners, 3)
        For each foot the sole's outline.
    limits : mapping of str to (float, float)
        For each foot ``left.knee_flexion`` and so on, radians.
    """

    points: dict[str, Array]
    names: tuple[str, ...]
    soles: dict[str, Array]
    limits: dict[str, tuple[float, float]]


def rest_pose(rig: Rig) -> RestPose:
    """Return a rig's rest pose: its legs straight down, or slightly bent where a third bone must show."""
    points, soles, limits = {}, {}, {}
    names: tuple[str, ...] = ()
    height = max(leg.length - leg.foot.sole - leg.hip[1] for leg in rig.legs)
    for side, leg in zip(FEET, rig.legs, strict=True):
        chain = leg_hinges(leg, side=side)
        angles = np.zeros((len(chain.hinges), 1))
        if leg.hock > 0.0 or leg.backward:
            bent = -0.6 if leg.backward else 0.6
            angles[0], angles[3] = 0.3 * np.sign(bent), bent
            if leg.hock > 0.0:
                angles[4] = bent
            pitch = angles[3, 0] - angles[0, 0] - (bent if leg.hock > 0.0 else 0.0)
            angles[chain.names.index("ankle_flexion")] = pitch
        hip = np.array([leg.hip[0], height + leg.hip[1], leg.hip[2]])
        found = hinge_points(angles, chain, origin=hip[:, None])[0][..., 0].T
        names = ("hip", *(name for name, _, _ in chain.points))
        own = np.vstack([hip, found])
        own[:, 1] -= own[names.index("heel"), 1]
        points[side] = own
        ankle = own[names.index("ankle")]
        outline = leg.foot.outline
        soles[side] = np.column_stack([ankle[0] + outline[:, 0], np.zeros(len(outline)), ankle[2] + outline[:, 1]])
        for name in Limits.ALL:
            if name != "hock_flexion" or leg.hock > 0.0:
                low, high = getattr(leg.limits, name)
                limits[f"{side}.{name}"] = (float(low), float(high))
    return RestPose(points, names, soles, limits)


def rig_words(rig: Rig) -> list[str]:
    """Return what a rig is, a line each: centimetres and degrees."""
    how = Rig.STYLES[rig.style].words
    kind = "a cut-out, seen from its side" if rig.planar else "two legs"
    lines = [f"{rig.name}: {kind}; {how}", f"source: {rig.source}"]
    for side, leg in zip(FEET, rig.legs, strict=True):
        bones = [("thigh", leg.thigh), ("shank", leg.shank)] + [("hock", leg.hock)] * (leg.hock > 0.0)
        told = ", ".join(f"{name} {100.0 * size:.1f} cm" for name, size in bones)
        foot = leg.foot
        across = [foot.edge(float(z)) for z in (foot.heel[2], foot.ball[2], foot.toe[2])]
        widths = ", ".join(f"{100.0 * (high - low):.1f}" for low, high in across)
        lines.append(f"{side} leg: {told}; the ankle {-100.0 * foot.sole:.1f} cm above the sole")
        toes = f"toes bend up to {np.degrees(foot.onset):.0f} degrees, then the toe rocker" if foot.hinged else "stiff"
        lines.append(f"{side} foot: {100.0 * foot.length:.1f} cm long, {widths} cm wide at heel, ball and toe; {toes}")
        shown = [name for name in Limits.ALL if name != "hock_flexion" or leg.hock > 0.0]
        ranges = [f"{n.replace('_', ' ')} {np.degrees(getattr(leg.limits, n)[0]):.0f} to "
                  f"{np.degrees(getattr(leg.limits, n)[1]):.0f}" for n in shown]  # fmt: skip
        lines.append(f"{side} limits, degrees: {', '.join(ranges)}")
    for control in rig.controls.values():
        axes = ", ".join(axis.channel for axis in control.axes.values())
        lines.append(f"control {control.name} in {control.parent}, order {control.order}: {axes}")
    lines.append(FOR_ANIMATION)
    return lines
