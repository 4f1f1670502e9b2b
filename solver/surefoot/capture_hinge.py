"""Where a captured foot really bends: the point about which it turns while the heel rises.

A marker on the ball rides on the back of the foot, and the axis about which a foot
turns lies lower and further forward: about 16 % of the foot's length ahead of the
metatarsal heads in walking (Raychoudhury, Hu and Ren 2014, authors from memory).
So the hinge is measured: of all points of the foot, the one that moves least over the
ground in the forefoot rocker.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.capture_points import Capture
from surefoot.rotations import angles_of

__all__ = ["turning_point"]

Array = NDArray[np.float64]

BALL, ANKLE = 4, 2
WINDOW = (np.radians(5.0), np.radians(30.0))
"""Pitch of the foot between which it's in the forefoot rocker (30 degrees at its end: a secondary source)."""
LIFT = 0.03
"""Metres by which the ball may have risen."""
SPEED = 0.6
"""Metres a second at which it may move over the ground."""
FEWEST = 10
MISFIT = 0.005
"""Metres: a point that moves by more than this (root mean square) is no hinge."""


def turning_point(
    capture: Capture, foot: int, world_from_foot: Array, *, ball_height: float, ground_velocity: Array
) -> Array | None:
    """Return the foot-space point ``(3,)`` (origin ankle, metres) about which a foot turns, or None.

    Parameters
    ----------
    world_from_foot : ndarray, shape (3, 3, frames)
        With the flat foot's pitch and cant as zero.
    ball_height : float
        The captured ball's height while the foot is flat, metres.
    ground_velocity : ndarray, shape (3,)
        Metres per second.
    """
    zero = np.zeros(1)
    pitch = angles_of(world_from_foot, near=(zero, zero, zero))[0]
    time = np.arange(capture.frames) / capture.rate
    ball = capture.points[:, foot, BALL] - time[:, None] * ground_velocity
    speed = np.linalg.norm(np.gradient(ball, 1.0 / capture.rate, axis=0), axis=-1)
    rolling = (pitch > WINDOW[0]) & (pitch < WINDOW[1]) & (speed < SPEED)
    rolling &= ball[:, 1] < ball_height + LIFT
    at = np.flatnonzero(rolling)
    if len(at) < FEWEST:
        return None
    ankle = capture.points[:, foot, ANKLE] - time[:, None] * ground_velocity
    spells = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    turns, places = [], []
    for spell in spells:
        turn = np.moveaxis(world_from_foot[..., spell], -1, 0)
        turns.append(turn - turn.mean(axis=0))
        places.append(ankle[spell] - ankle[spell].mean(axis=0))
    turn, place = np.concatenate(turns).reshape(-1, 3), np.concatenate(places).ravel()
    # the turn is nearly about x, which says little of x itself: hold that near the foot's middle
    hold = np.array([[0.01 * np.sqrt(len(turn)), 0.0, 0.0]])
    point, _, rank, _ = np.linalg.lstsq(np.concatenate([turn, hold]), np.append(-place, 0.0), rcond=1e-6)
    misfit = float(np.sqrt(((turn @ point + place) ** 2).mean()))
    return np.asarray(point) if rank == 3 and misfit < MISFIT else None
