"""Where a character's weight is: the centre of mass of both legs and of all above them.

Segment masses are Dempster's by Winter's table 4.1 (2009; seen in a text that quotes it). A rig says nothing of
the upper body, so head, arms and trunk are one segment, as long as Drillis and Contini's fractions make it for
such a leg. It leans forward with the hips and stays upright sideways, as a back that counters the hips' roll does
(judgement). For animation, not for clinical or ergonomic use.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.leg import knee_forward, knee_point
from surefoot.rig import Rig
from surefoot.rotations import matrix
from surefoot.spaces import Pose

__all__ = ["FOOT", "SHANK", "THIGH", "UPPER_BODY", "Segment", "centre_of_mass"]

Array = NDArray[np.float64]


class Segment(NamedTuple):
    """A segment's share of the body's mass, and its centre's share of the way from the near end to the far one."""

    mass: float
    centre: float


FOOT = Segment(0.0145, 0.500)
"""From the ankle to the heads of the metatarsals."""
SHANK = Segment(0.0465, 0.433)
THIGH = Segment(0.100, 0.433)
UPPER_BODY = Segment(0.678, 0.626)
"""Head, arms and trunk, from the hips to the shoulders."""
TRUNK = (0.818 - 0.530) / (0.245 + 0.246)
"""Hips to shoulders as a share of thigh plus shank: Drillis and Contini 1966 by way of Winter (secondary)."""


def centre_of_mass(rig: Rig, pose: Pose) -> Array:
    """Return the centre of mass in world space, ``(3, frames)`` metres."""
    upper, shank = (np.array([[getattr(leg, bone)] for leg in rig.legs]) for bone in ("upper", "shank"))
    facing = np.array([[-1.0 if leg.backward else 1.0] for leg in rig.legs])
    forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    knee = knee_point(pose.hip, pose.ankle, facing * forward, upper, shank)
    arm = np.array([leg.foot.ball for leg in rig.legs]).T[:, :, None]
    ball = pose.ankle + np.einsum("ij...,j...->i...", matrix(*pose.angles), np.broadcast_to(arm, pose.ankle.shape))
    legs = np.zeros_like(pose.ankle)
    for near, far, part in ((pose.hip, knee, THIGH), (knee, pose.ankle, SHANK), (pose.ankle, ball, FOOT)):
        legs += part.mass * (near + part.centre * (far - near))
    middle = pose.hip.mean(axis=1)
    return np.asarray(
        legs.sum(axis=1) + UPPER_BODY.mass * (middle + UPPER_BODY.centre * TRUNK * rig.leg * _up(pose.hips_turn))
    )


def _up(hips_turn: Array) -> Array:
    """Return the back's direction: the hips' up without what it leans sideways, ``(3, frames)``."""
    ahead = hips_turn[:, 2] * np.array([[1.0], [0.0], [1.0]])
    ahead = ahead / np.maximum(np.sqrt((ahead**2).sum(axis=0)), 1e-9)
    up = hips_turn[:, 1]
    lean = (up * ahead).sum(axis=0)
    size = np.maximum(np.hypot(lean, up[1]), 1e-9)
    return np.asarray(np.array([ahead[0] * lean, up[1], ahead[2] * lean]) / size)
