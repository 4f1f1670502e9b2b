"""A toy style of control: a foot that turns about its heel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.foot_styles import FootWorld, Setting, along, into_parent, into_world
from surefoot.rig import Rig
from surefoot.rotations import apply, matrix

Array = NDArray[np.float64]


class HeeledFeet:
    """Feet whose control sits at the ankle while they stand, and turns them about the heel."""

    keys = ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee")
    places = 3

    def __init__(self, rig: Rig) -> None:
        self.feet = tuple(zip(rig.feet, (leg.foot.heel[:, None] for leg in rig.legs), strict=True))

    def read(self, rows: Array, setting: Setting) -> FootWorld:
        """Return the feet's world pose."""
        ankle, angles = np.empty((2, *rows[:3].shape))
        for side, (control, heel) in enumerate(self.feet):
            turn = matrix(*rows[3:6, side], order=control.order)
            place = rows[:3, side] + control.rest[:, None] + heel - apply(turn, np.repeat(heel, rows.shape[-1], axis=1))
            ankle[:, side], whole = into_world(setting.parents[side], place, turn)
            angles[:, side] = along(whole, (rows[3, side], rows[4, side], rows[5, side]))
        return FootWorld(ankle, angles, rows[6], rows[7])

    def write(self, feet: FootWorld, near: Array, given: NDArray[np.bool_], setting: Setting) -> Array:
        """Return the rows that give a world pose."""
        out = np.empty_like(near)
        for side, (control, heel) in enumerate(self.feet):
            turn = matrix(*feet.angles[:, side])
            place, turn = into_parent(setting.parents[side], feet.ankle[:, side], turn)
            own = apply(turn, np.repeat(heel, near.shape[-1], axis=1))
            out[:3, side] = place - control.rest[:, None] - heel + own
            out[3:6, side] = along(turn, (near[3, side], near[4, side], near[5, side]))
        out[6], out[7] = feet.bend, feet.knee
        return np.where(given[..., None], out, 0.0)
