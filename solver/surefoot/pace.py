"""Pace: where along a route each footprint of a repeated cycle goes, and how far hips and feet have got when.

The cycle's own footprints are laid out along the route; on uneven ground each step is lengthened or shortened,
within limits, to where its sole has enough ground beneath it. Hips follow at the middle of each stance, by a
smooth curve between; a foot stays with its footprint and passes on smoothly in its swing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.clip import Stance
from surefoot.ground import Ground
from surefoot.rig import Rig
from surefoot.route import Route
from surefoot.seat import seats_of
from surefoot.underfoot import is_even

__all__ = ["Pace", "Step", "paced"]

Array = NDArray[np.float64]

CHOICES = 61
"""Lengths tried for each step."""
HIGHEST = 0.3
"""The highest step up or down that is taken while a lower one will do, as a share of the leg."""
FITS, STANDS = 0.85, 0.6
"""Shares of the sole with ground beneath it: what is looked for, and what is made do with."""


@dataclass(frozen=True, slots=True)
class Step:
    """One stance of one foot along the route: its own place, and where it goes.

    ``own`` and ``at`` are metres along the route, before and after; ``aside`` to the route's left; ``yaw`` is the
    footprint's heading relative to the route's, radians; ``level`` the height of the ground there, metres; ``frames``
    are those of the stance, both ends included and not cut off by the end of the clip.
    """

    foot: int
    frames: tuple[int, int]
    own: float
    aside: float
    yaw: float
    at: float = 0.0
    level: float = 0.0
    share: float = 1.0

    @property
    def middle(self) -> float:
        """The frame in the middle of the stance."""
        return 0.5 * (self.frames[0] + self.frames[1])


def paced(
    steps: Sequence[Step], route: Route, ground: Ground, rig: Rig, *, stride: tuple[float, float]
) -> tuple[Step, ...]:
    """Return the steps, in order of time, moved along the route to where they stand well.

    ``stride`` is the least and the most that a step may be of its own length.
    """
    from dataclasses import replace

    shares = np.append(np.linspace(*stride, CHOICES), 1.0)
    if is_even(ground):
        shares = np.ones(1)
    found: list[Step] = []
    for step in sorted(steps, key=lambda one: (one.middle, one.foot)):
        if found:
            own = step.own - found[-1].own
            tried = found[-1].at + own * shares
        else:
            own = 1.0
            tried = (
                step.own + np.append(np.linspace(-0.3, 0.3, CHOICES) * rig.leg, 0.0)
                if len(shares) > 1
                else np.array([step.own])
            )
        x, z, heading = route.at(tried)
        x, z = x + step.aside * np.cos(heading), z - step.aside * np.sin(heading)
        feet = np.full(len(tried), step.foot)
        seats = seats_of(ground, rig, np.array([x, z]), heading + step.yaw, feet, movable=False)
        cost = np.abs(tried - tried[-1]) / abs(own if abs(own) > 1e-9 else 1.0) + (1.0 - seats.share)
        cost += 10.0 * (seats.share < FITS) + 10.0 * (seats.share < STANDS)
        if found:
            cost += 5.0 * (np.abs(seats.level - found[-1].level) > HIGHEST * rig.leg)
        best = int(cost.argmin())
        found.append(
            replace(step, at=float(tried[best]), level=float(seats.level[best]), share=float(seats.share[best]))
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """How far hips and feet have got along the route, and how high the ground is for them, at any frame."""

    steps: tuple[Step, ...]

    def ahead(self, frame: ArrayLike) -> Array:
        """Return by how much the hips are farther along than in the cycle's own walk, metres."""
        return self._hips(frame, np.array([step.at - step.own for step in self.steps]))

    def rise(self, frame: ArrayLike) -> Array:
        """Return the height of the ground that carries the hips, metres: that under each stance at its middle."""
        return self._hips(frame, np.array([step.level for step in self.steps]))

    def _hips(self, frame: ArrayLike, value: Array) -> Array:
        from scipy.interpolate import PchipInterpolator

        middle = np.array([step.middle for step in self.steps])
        times, which = np.unique(middle, return_inverse=True)
        mean = np.bincount(which, value) / np.bincount(which)
        if len(times) < 2:
            return np.full(np.shape(frame), mean[0])
        at = np.clip(np.asarray(frame, dtype=np.float64), times[0], times[-1])
        return np.asarray(PchipInterpolator(times, mean)(at))

    def of_foot(self, foot: int, frame: ArrayLike) -> Array:
        """Return a foot's own and new distance along the route and its ground's height, ``(3, ...)`` metres."""
        mine = [step for step in self.steps if step.foot == foot]
        asked = np.asarray(frame, dtype=np.float64)
        if not mine:
            return np.array([np.zeros(asked.shape), self.ahead(asked), self.rise(asked)])
        times = np.array([step.frames for step in mine], dtype=np.float64).ravel()
        values = np.repeat(np.array([[step.own, step.at, step.level] for step in mine]).T, 2, axis=1)
        k = np.clip(np.searchsorted(times, asked, "right") - 1, 0, max(len(times) - 2, 0))
        span = np.maximum(times[k + 1] - times[k], 1e-9)
        share = np.clip((asked - times[k]) / span, 0.0, 1.0)
        share = share * share * (3.0 - 2.0 * share)
        return np.asarray(values[:, k] + (values[:, k + 1] - values[:, k]) * share)

    def turns(self, foot: int | None, first: int, last: int) -> Array:
        """Return the whole frames at which the hips' (None) or a foot's way changes, the clip's own ends included.

        Keys there, with the slopes that the way has, follow it: it's a cubic between two of them.
        """
        mine = [step for step in self.steps if foot is None or step.foot == foot]
        times = [step.middle for step in mine] if foot is None else [time for step in mine for time in step.frames]
        inside = np.clip(np.round(times), first, last)
        return np.unique(np.append(inside, (first, last)))

    def stances(self, first: int, last: int) -> tuple[Stance, ...]:
        """Return the stances within a range of frames, cut off at its ends; of single frames none."""
        found = []
        for step in self.steps:
            begin, end = max(step.frames[0], first), min(step.frames[1], last)
            if end > begin:
                found.append(Stance("right" if step.foot else "left", begin, end))
        return tuple(sorted(found, key=lambda s: (s.foot, s.first)))
