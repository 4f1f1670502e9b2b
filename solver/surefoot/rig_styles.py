"""The same character in another style of control: about the ankle, by rockers or by joints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.rig import FEET, LENGTHWISE, ROCKERS, Axis, Control, Rig

__all__ = ["rig_in_style"]


@checked()
def rig_in_style(rig: Rig, style: str, *, single: bool = False) -> Rig:
    """Return the same character with its feet posed in another style.

    Parameters
    ----------
    style : str
        ``ankle``, ``rockers``, ``joints`` or another of `control_styles.STYLES`.
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
    own, hung = Rig.STYLES[style], Rig.STYLES[rig.style].part == "leg"
    for side, old, leg in zip(FEET, rig.feet, rig.legs, strict=True):
        name = f"{side}_{own.part}"
        keys = own.axes_for(single=single, planar=rig.planar, hinged=leg.foot.hinged, hocked=leg.hock > 0.0)
        axes = {key: Axis(f"{name}.{own.called.get(key, key)}", length if key in LENGTHWISE else angle) for key in keys}
        for key in ("knee", "foot_yaw"):
            if key in axes:
                axes[key] = replace(axes[key], optional=True)
        if own.part == "leg":
            controls[name] = Control(name, axes, parent="hips")
        elif hung:
            rest = np.array([0.0 if rig.planar else leg.hip[0], -leg.foot.sole, 0.0])
            controls[name] = Control(name, axes, rest=rest)
        else:
            order = old.order if style == "ankle" or rig.style != "ankle" else "yxz"
            controls[name] = Control(name, axes, old.parent, old.rest, order, ROCKERS)
    return replace(rig, style=style, controls=controls)


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
