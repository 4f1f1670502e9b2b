"""On the ball: which stances' feet turn on their balls while they lie flat, as in a turn on the spot.

A flat foot's heading is held, since one that turns with the body slides. Where it turns by more than a trifle and its
ball stays in its place meanwhile, the turn is meant, and it's kept as a turn about the ball.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.footprint import Tracks
from surefoot.scene import Scene
from surefoot.sole import FLAT
from surefoot.tolerances import KINDS, REFERENCE_LEG

__all__ = ["turn_on_ball"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST = KINDS["swivel"].limits[0] * KINDS["swivel"].scale
"""Radians from which a flat foot's turn is one that's meant."""
CREEPS = KINDS["slide"].limits[2] * KINDS["slide"].scale
"""Metres at a leg of 0.9 m within which its ball stays in its place."""
NEARER = 0.5
"""Share of what its ball would move in a turn about the ankle, within which it has to stay too."""


def turn_on_ball(scene: Scene, tracks: Tracks, pitch: Array, swivel: Array) -> Flags | None:
    """Return which frames are of stances whose flat feet turn on their balls, ``(2, n)``; None where none are.

    ``pitch`` and ``swivel`` ``(2, n)`` are those in the footprint, radians.
    """
    flat = tracks.planted & (np.abs(pitch) < FLAT)
    owner, count = tracks.source[tracks.print_of], len(tracks.source)
    turn = _ranges(swivel, flat, owner, count)
    if not np.count_nonzero(turn > LEAST):
        return None
    ball = scene.soles.centre_line(tracks.angles, tracks.bend)[:, 1] + tracks.ankle
    earlier = owner != tracks.print_of  # a loop before the stance that it's an image of
    if scene.drift is not None:
        ball = np.where(earlier, scene.drift.apply(ball), ball)
    crept = np.hypot(*(_ranges(ball[axis], flat, owner, count) for axis in (0, 2)))
    rig = scene.binding.rig
    arm = np.array([np.hypot(leg.foot.ball[0], leg.foot.ball[2]) for leg in rig.legs])[tracks.foot_of]
    meant = (turn > LEAST) & (crept < np.minimum(CREEPS * rig.leg / REFERENCE_LEG, NEARER * arm * turn))
    return (tracks.planted & meant[owner]) if np.count_nonzero(meant) else None


def _ranges(values: Array, flat: Flags, owner: NDArray[np.intp], count: int) -> Array:
    """Return the range of values ``(2, n)`` over the flat frames of each footprint; 0 where it has none."""
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, owner[flat], values[flat])
    np.maximum.at(most, owner[flat], values[flat])
    return np.asarray(np.maximum(most - least, 0.0))
