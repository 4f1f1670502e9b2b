"""The same character in another style of control: about the ankle, by rockers or by joints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.rig import FEET, JOINTS, LENGTHWISE, ROCKERS, Axis, Control, Rig

__all__ = ["rig_in_style"]

SINGLE = ("x", "y", "z", "yaw", "rocker", "cant", "bend")
"""The axes of a foot with one foot-roll channel."""
SEVERAL = ("x", "y", "z", "yaw", "heel", "ball", "toe", "cant", "bend")
ABOUT_ANKLE = ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee")
OUT_OF_PLANE = ("x", "yaw", "roll", "cant", "knee", "hip_abduction", "hip_rotation", "ankle_inversion", "foot_yaw")


@checked()
def rig_in_style(rig: Rig, style: str, *, single: bool = False) -> Rig:
    """Return the same character with its feet posed in another style.

    Parameters
    ----------
    style : {"ankle", "rockers", "joints"}
    single : bool
        For ``rockers``: one foot-roll channel in place of three.

    Raises
    ------
    InputError
        If the style isn't known.

    Notes
    -----
    The hips' control stays. The feet's new channels are called after part and axis (``left_foot.heel``,
    ``right_leg.knee_flexion``), in the units of the hips' channels. Feet keep their parent and rest; legs
    by joints hang on the hips; feet that come from joints stand in the world.
    """
    if style not in Rig.STYLES:
        raise InputError(f"the control style {style!r} isn't known; use {', '.join(Rig.STYLES)}", place="style")
    length, angle = _units(rig)
    controls = {name: control for name, control in rig.controls.items() if name not in rig.limbs}
    part = "leg" if style == "joints" else "foot"
    for side, old, leg in zip(FEET, rig.feet, rig.legs, strict=True):
        name = f"{side}_{part}"
        keys = {"ankle": ABOUT_ANKLE, "rockers": (*(SINGLE if single else SEVERAL), "knee")}.get(
            style, (*JOINTS, "bend", "foot_yaw")
        )
        if rig.planar:
            keys = tuple(key for key in keys if key not in OUT_OF_PLANE)
        if style == "joints" and leg.hock > 0.0:
            keys = (*keys, "hock_flexion")
        if not leg.foot.hinged:
            keys = tuple(key for key in keys if key not in ("bend", "ball"))
        axes = {key: Axis(f"{name}.{_called(key, style)}", length if key in LENGTHWISE else angle) for key in keys}
        for key in ("knee", "foot_yaw"):
            if key in axes:
                axes[key] = replace(axes[key], optional=True)
        if style == "joints":
            controls[name] = Control(name, axes, parent="hips")
        elif rig.style == "joints":
            rest = np.array([0.0 if rig.planar else leg.hip[0], -leg.foot.sole, 0.0])
            controls[name] = Control(name, axes, rest=rest)
        else:
            order = old.order if style == "ankle" or rig.style != "ankle" else "yxz"
            controls[name] = Control(name, axes, old.parent, old.rest, order, ROCKERS)
    return replace(rig, style=style, controls=controls)


def _called(key: str, style: str) -> str:
    """Return what a channel is called: a foot about the ankle has cant where the axis is roll."""
    return "cant" if key == "roll" and style == "ankle" else "toe_bend" if key == "bend" and style == "joints" else key


def _units(rig: Rig) -> tuple[float, float]:
    """Return the size of one unit of length and of one of angle in the rig's channels, metres and radians."""
    length = angle = None
    for control in rig.controls.values():
        for key, axis in control.axes.items():
            if key in LENGTHWISE:
                length = length or abs(axis.scale)
            else:
                angle = angle or abs(axis.scale)
    return length or 1.0, angle or float(np.radians(1.0))
