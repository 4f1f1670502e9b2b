"""Locks: how each stance holds: where it's anchored, how it drifts, what is beneath it, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.lean import lean_of
from surefoot.rig import FEET
from surefoot.rotations import matrix
from surefoot.seen import Seen
from surefoot.slide import drift_of
from surefoot.sole import FLAT
from surefoot.stand import support_in
from surefoot.swivel import swivel_of
from surefoot.touch import PER_FRAME

__all__ = ["HOLDS", "PARTS", "Lock", "locks_of"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

PARTS = ("heel", "ball", "toe")
"""The places of a sole's centre line, in the order of `Lock.points` and `Lock.clearance`."""
HOLDS = ("heel", "flat", "ball", "toe")
"""What a foot is held by: its heel's edge, its whole sole, its toes with the heel up, its toe edge."""
PLACE_OF = np.array([0, 1, 1, 2])
"""Which of `PARTS` stands for each of `HOLDS`."""


@dataclass(frozen=True, slots=True, eq=False)
class Lock:
    """How one stance holds, in ground space, metres and radians; arrays have a row for each of its frames.

    Ground space rides on the belt and lies on the world at the clip's first frame; of a check aboard it's the deck's.
    Frames of a loop's next round are where that round is.

    Parameters
    ----------
    stance : Stance
    points : ndarray, shape (frames, 3, 3)
        Where heel, ball and toe of the sole are: frame, part, then x, y, z.
    held : ndarray of int, shape (frames,)
        What the foot is held by, an index into `HOLDS`; by how it leans on the ground under its ball.
    flattest : int
        The row in which it leans least: there the stance is anchored.
    heading : float
        The foot's there.
    turned : ndarray, shape (frames,)
        How far it's turned from there about the ground's normal, positive to the left; NaN while its ball isn't down.
    along, across : ndarray, shape (frames,)
        Drift since the stance's first frame, ahead and to the left of that heading; on a slope along its surface.
    clearance : ndarray, shape (frames, 3)
        Height of heel, ball and toe straight above the ground.
    supported : ndarray, shape (frames,)
        Share of the sole with ground beneath it; NaN while the foot rolls.
    slope : ndarray, shape (frames,)
        The ground's slope along the foot under its ball, positive uphill.
    flexion : tuple of float
        The ankle's range, to hold against the slope.
    """

    stance: Stance
    points: Array
    held: Indices
    flattest: int
    heading: float
    turned: Array
    along: Array
    across: Array
    clearance: Array
    supported: Array
    slope: Array
    flexion: tuple[float, float]

    @property
    def anchors(self) -> Array:
        """Where heel, ball and toe are in the flattest frame, ``(3, 3)`` metres: part, then x, y, z."""
        return np.asarray(self.points[self.flattest])

    @property
    def anchor(self) -> Array:
        """Where the ball of the sole is in the flattest frame, ``(3,)`` metres."""
        return np.asarray(self.points[self.flattest, 1])

    @property
    def held_at(self) -> Array:
        """Where the foot is held in each frame, ``(frames, 3)`` metres; for a flat sole its ball."""
        return np.asarray(self.points[np.arange(len(self.held)), PLACE_OF[self.held]])

    @property
    def swivel(self) -> float:
        """How far the foot turns on its ball, radians, in whole frames; 0 where its ball is never down."""
        known = self.turned[~np.isnan(self.turned)]
        return float(np.ptp(known)) if known.size else 0.0

    @property
    def drift(self) -> tuple[float, float]:
        """The widest drift along and across, metres."""
        return float(np.ptp(self.along)), float(np.ptp(self.across))

    @property
    def least_supported(self) -> float:
        """The least share of the sole with ground beneath it; NaN for a foot that's never flat."""
        known = self.supported[~np.isnan(self.supported)]
        return float(known.min()) if known.size else float("nan")

    @property
    def beyond_ankle(self) -> Array:
        """By how much the slope is steeper than the ankle's range, ``(frames,)`` radians; 0 within it."""
        low, high = self.flexion
        return np.asarray(np.maximum(np.maximum(low - self.slope, self.slope - high), 0.0))

    @property
    def within_ankle(self) -> bool:
        """Whether the slope lies within the ankle's range."""
        return not np.count_nonzero(self.beyond_ankle)


def locks_of(seen: Seen) -> tuple[Lock, ...]:
    """Return how each stance that a check saw holds, those left alone too."""
    scene, ground = seen.scene, seen.scene.ground
    support, tilt = support_in(scene), lean_of(ground)
    turn = matrix(*scene.angles)
    normal = np.array(ground.normal(*(seen.touch.points[k, -2, :, ::PER_FRAME] for k in (0, 2))))
    nx, ny, nz = normal
    lean = np.arcsin(np.clip(-(turn[:, 2] * normal).sum(axis=0), -1.0, 1.0))
    onset = np.broadcast_to(scene.soles.onset, lean.shape)
    holds = np.where(lean < -FLAT, 0, np.where(lean <= FLAT, 1, np.where(lean <= onset, 2, 3)))
    found = []
    for stance in seen.stances:
        foot = FEET.index(stance.foot)
        laps, at = np.divmod(np.arange(stance.first, stance.last + 1) - scene.binding.clip.first, scene.count)
        points = seen.touch.points[:, -3:, foot, at * PER_FRAME]
        heading = scene.angles[1, foot, at]
        if scene.drift is not None:
            for lap in range(1, int(laps[-1]) + 1):
                points = np.where(laps >= lap, scene.drift.apply(points), points)
            heading = heading + laps * scene.drift.turn
        flattest = int(np.abs(lean[foot, at]).argmin())
        s, c = _ahead(float(heading[flattest]), tilt)
        turned, ball_down, _ = swivel_of(seen.touch, stance)
        (x, z), _ = drift_of(seen.touch, stance)
        x, z = x[::PER_FRAME], z[::PER_FRAME]
        yaw = scene.angles[1, foot, at]
        rise = -(nx[foot, at] * np.sin(yaw) + nz[foot, at] * np.cos(yaw)) / ny[foot, at]
        found.append(
            Lock(
                stance,
                points.transpose(2, 1, 0),
                holds[foot, at],
                flattest,
                float(heading[flattest]),
                np.where(ball_down, turned, np.nan)[::PER_FRAME],
                s * x + c * z,
                c * x - s * z,
                seen.touch.height[-3:, foot, at * PER_FRAME].T,
                support.share[foot, at],
                np.arctan(rise),
                scene.binding.rig.legs[foot].limits.ankle_flexion,
            )
        )
    return tuple(found)


def _ahead(heading: float, lean: Array | None) -> tuple[float, float]:
    """Return x and z of the unit vector ahead, along the slope that ``lean`` is of, as `drift_of` has them."""
    s, c = np.sin(heading), np.cos(heading)
    if lean is not None:
        nx, ny, nz = lean[:, 1]
        x, _, z = lean.T @ [s, -(nx * s + nz * c) / ny, c]
        s, c = np.array([x, z]) / np.hypot(x, z)
    return float(s), float(c)
