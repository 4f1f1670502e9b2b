"""Locks: how each stance holds: where it's anchored, how it drifts, what is beneath it, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.lean import lean_of
from surefoot.rig import FEET
from surefoot.seen import Seen
from surefoot.slide import drift_of
from surefoot.stand import support_in
from surefoot.touch import PER_FRAME

__all__ = ["Lock", "locks_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Lock:
    """How one stance holds, in ground space, metres and radians; arrays have a row for each of its frames.

    Parameters
    ----------
    stance : Stance
    anchor : ndarray, shape (3,)
        Where the ball of the sole is in the flattest frame.
    heading : float
        The foot's there.
    along, across : ndarray, shape (frames,)
        Drift since the stance's first frame, ahead and to the left of that heading; on a slope along its surface.
    clearance : ndarray, shape (frames, 3)
        Height of heel, ball and toe above the ground.
    supported : ndarray, shape (frames,)
        Share of the sole with ground beneath it; NaN while the foot rolls.
    slope : ndarray, shape (frames,)
        The ground's slope along the foot under its ball, positive uphill.
    flexion : tuple of float
        The ankle's range, to hold against the slope.
    """

    stance: Stance
    anchor: Array
    heading: float
    along: Array
    across: Array
    clearance: Array
    supported: Array
    slope: Array
    flexion: tuple[float, float]

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
    def within_ankle(self) -> bool:
        """Whether the slope lies within the ankle's range."""
        low, high = self.flexion
        return bool(np.all((self.slope >= low) & (self.slope <= high)))


def locks_of(seen: Seen) -> tuple[Lock, ...]:
    """Return how each stance that a check saw holds, those left alone too."""
    scene, ground = seen.scene, seen.scene.ground
    support, lean = support_in(scene), lean_of(ground)
    nx, ny, nz = ground.normal(*(seen.touch.points[k, -2, :, ::PER_FRAME] for k in (0, 2)))
    found = []
    for stance in seen.stances:
        foot = FEET.index(stance.foot)
        frames = np.arange(stance.first, stance.last + 1) - scene.binding.clip.first
        at = frames % scene.count
        flattest = int(at[np.abs(scene.angles[0, foot, at]).argmin()])
        heading = float(scene.angles[1, foot, flattest])
        s, c = _ahead(heading, lean)
        (x, z), _ = drift_of(seen.touch, stance)
        x, z = x[::PER_FRAME], z[::PER_FRAME]
        yaw = scene.angles[1, foot, at]
        rise = -(nx[foot, at] * np.sin(yaw) + nz[foot, at] * np.cos(yaw)) / ny[foot, at]
        found.append(
            Lock(
                stance,
                seen.touch.points[:, -2, foot, flattest * PER_FRAME],
                heading,
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
