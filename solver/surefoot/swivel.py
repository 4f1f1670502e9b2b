"""Swivel: how far a planted foot turns on its ball during one stance.

It's the foot's heading about the normal of the ground where it stands flattest, while its ball is down: a turn about
the heel as the foot lands isn't one, nor one about the toe's edge as it leaves. A turn on the ball may well be meant:
it's never an error short of a whole turn, no proposal mends it, and a stance that's left alone isn't looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.findings import Finding, level_of
from surefoot.heeding import heed
from surefoot.rig import FEET
from surefoot.slide import samples_of
from surefoot.sole import FLAT
from surefoot.touch import Touch

__all__ = ["most_swivel", "swivel_findings", "swivel_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def swivel_of(touch: Touch, stance: Stance) -> tuple[Array, Flags, Array]:
    """Return how far the foot is turned from its heading where it's flattest, where its ball is down, and the frames.

    ``(samples,)`` each; radians, positive to the character's left, about the ground's normal there.
    """
    heed()
    scene, foot = touch.scene, FEET.index(stance.foot)
    own, _, frames = samples_of(touch, stance)
    pitch, yaw, _ = scene.angles[:, foot, own]
    if scene.ground.is_level:
        lean, heading = pitch, yaw
    else:
        level = np.cos(pitch)
        ahead = np.array([np.sin(yaw) * level, -np.sin(pitch), np.cos(yaw) * level])
        ball = touch.points[:, -2, foot, own]
        normal = np.array(scene.ground.normal(ball[0], ball[2]))
        lean = np.arcsin(np.clip(-(ahead * normal).sum(axis=0), -1.0, 1.0))
        up = normal[:, np.abs(lean).argmin()]
        forward = np.array([0.0, 0.0, 1.0]) - up * up[2]
        forward /= np.sqrt(forward @ forward)
        left = np.array([up[1] * forward[2] - up[2] * forward[1], up[2] * forward[0] - up[0] * forward[2],
                         up[0] * forward[1] - up[1] * forward[0]])  # fmt: skip
        heading = np.arctan2(left @ ahead, forward @ ahead)
    heading = np.unwrap(heading)
    ball_down = (lean >= -FLAT) & (lean <= max(float(scene.soles.onset[foot, 0]), FLAT))
    return heading - heading[np.abs(lean).argmin()], ball_down, frames


def swivel_findings(touch: Touch, stances: Sequence[Stance], limits: tuple[float, float, float]) -> list[Finding]:
    """Return a finding for each stance whose foot turns on its ball by more than the note's limit.

    The amount is the angle between the two headings that are farthest apart, radians.
    """
    found = []
    scene = touch.scene
    for stance in stances:
        if scene.ground.is_level:  # few feet turn at all: most stances are done with here
            yaw = scene.angles[1, FEET.index(stance.foot), samples_of(touch, stance)[0]]
            if yaw.max() - yaw.min() <= limits[0]:
                continue
        amount, worst = _widest(touch, stance)
        told = level_of(amount, limits)
        if told is not None:
            found.append(Finding("swivel", stance.foot, stance.first, stance.last, worst, amount, told[1], told[0]))
    return found


def most_swivel(touch: Touch, stances: Sequence[Stance]) -> float:
    """Return how far a foot turns on its ball at most in one stance, radians."""
    return max((_widest(touch, stance)[0] for stance in stances), default=0.0)


def _widest(touch: Touch, stance: Stance) -> tuple[float, float]:
    """Return how far the foot turns on its ball, and in which frame it's turned farthest from where it's flattest."""
    turned, down, frames = swivel_of(touch, stance)
    if stance.left_alone or not np.count_nonzero(down):
        return 0.0, float(stance.first)
    turned, frames = turned[down], frames[down]
    return float(np.ptp(turned)), float(frames[np.abs(turned).argmax()])
