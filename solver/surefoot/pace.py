"""Pace: where along a route each footprint of a repeated cycle goes, and how far hips and feet have got when.

The cycle's own footprints are laid out along the route; on uneven ground each step is lengthened or shortened,
within limits, to where its sole has enough ground beneath it. Hips follow at the middle of each stance, by a
smooth curve between; a foot stays with its footprint and passes on in its swing as it does in the cycle, its way
scaled, and earlier or later where an edge stands near (see `tread`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.clip import Stance
from surefoot.ground import Ground
from surefoot.rig import Rig
from surefoot.route import Route
from surefoot.seat import seats_of

__all__ = ["OwnWay", "Pace", "Step", "paced"]

Array = NDArray[np.float64]

CHOICES = 61
"""Lengths tried for each step."""
HIGHEST = 0.3
"""The highest step up or down that is taken while a lower one will do, as a share of the leg."""
FITS, STANDS = 0.85, 0.6
"""Shares of the sole with ground beneath it: what is looked for, and what is made do with."""

LEAST_WAY = 0.02
"""Metres that a foot goes ahead in its own swing for its way to tell how the new one is gone."""


@dataclass(frozen=True, slots=True)
class Step:
    """One stance of one foot along the route: its own place, and where it goes.

    ``own`` and ``at`` are metres along the route, before and after; ``aside`` to the route's left; ``yaw`` is the
    footprint's heading relative to the route's, radians; ``level`` the height of the ground there, metres; ``frames``
    are those of the stance, both ends included and not cut off by the end of the clip. ``lean`` is the ground's rise
    over run along the route.

    The rest tells how it's swung from there to the foot's next footprint, as shares of that swing: it goes ahead from
    ``leaves`` to ``arrives`` and changes its height from ``turns`` to ``settles``; and how it was set down here:
    ``toned`` of the way from its own pitch to ``pitch`` (radians), which is gone by the frame ``flat``; ``ahead`` and
    ``up`` are the metres that its ankle is farther then, for the same footprint;
    ``down`` tells whether that's below an edge.
    """

    foot: int
    frames: tuple[int, int]
    own: float
    aside: float
    yaw: float
    at: float = 0.0
    level: float = 0.0
    share: float = 1.0
    lean: float = 0.0
    leaves: float = 0.0
    arrives: float = 1.0
    turns: float = 0.0
    settles: float = 1.0
    toned: float = 0.0
    pitch: float = 0.0
    flat: float = 0.0
    ahead: float = 0.0
    up: float = 0.0
    down: bool = False

    @property
    def middle(self) -> float:
        """The frame in the middle of the stance."""
        return 0.5 * (self.frames[0] + self.frames[1])

    @property
    def goes_down(self) -> bool:
        """Whether it's set down, by the forefoot, below an edge."""
        return self.toned > 0.0 and self.down


def paced(
    steps: Sequence[Step], route: Route, ground: Ground, rig: Rig, *, stride: tuple[float, float]
) -> tuple[Step, ...]:
    """Return the steps, in order of time, moved along the route to where they stand well.

    ``stride`` is the least and the most that a step may be of its own length.
    """
    shares = np.append(np.linspace(*stride, CHOICES), 1.0)
    if ground.is_even:
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
        x, z, heading = route.beside(tried, step.aside)
        feet = np.full(len(tried), step.foot)
        seats = seats_of(ground, rig, np.array([x, z]), heading + step.yaw, feet, movable=False)
        cost = np.abs(tried - tried[-1]) / abs(own if abs(own) > 1e-9 else 1.0) + (1.0 - seats.share)
        cost += 10.0 * (seats.share < FITS) + 10.0 * (seats.share < STANDS)
        if found:
            cost += 5.0 * (np.abs(seats.level - found[-1].level) > HIGHEST * rig.leg)
        best = int(cost.argmin())
        found.append(
            replace(
                step,
                at=float(tried[best]),
                level=float(seats.level[best]),
                share=float(seats.share[best]),
                lean=float(seats.along[best] * np.cos(step.yaw) + seats.across[best] * np.sin(step.yaw)),
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class OwnWay:
    """How far each foot's ankle has got along the cycle's own way at any frame.

    ``along`` ``(2, frames)`` are metres at the whole frames of the loop from ``first`` on, ``far`` those of a loop.
    """

    first: int
    along: Array
    far: float

    def at(self, foot: int, frame: ArrayLike) -> Array:
        """Return metres along the way: a smooth curve through the whole frames, loop after loop."""
        row, count = self.along[foot], self.along.shape[1]
        time = np.asarray(frame, dtype=np.float64) - self.first
        whole = np.floor(time)
        lap, at = np.divmod(whole.astype(np.intp)[..., None] + np.arange(-1, 3), count)
        before, here, there, after = np.moveaxis(row[at] + lap * self.far, -1, 0)
        u = time - whole
        into, out = 0.5 * (there - before), 0.5 * (after - here)
        rest = 1.0 - u
        bent = rest * rest * u * into - u * u * rest * out
        return np.asarray(here * rest * rest * (1.0 + 2.0 * u) + there * u * u * (3.0 - 2.0 * u) + bent)

    def swung(self, foot: int, begin: Array, end: Array, share: Array) -> tuple[Array, Array]:
        """Return the part of its way that a swinging foot has behind it at shares of its time, and that way, metres.

        A foot that goes nowhere by itself is led on evenly eased.
        """
        start = self.at(foot, begin)
        way = self.at(foot, end) - start
        goes = np.abs(way) > LEAST_WAY
        part = (self.at(foot, begin + share * (end - begin)) - start) / np.where(goes, way, 1.0)
        return np.where(goes, part, eased(share)), way


def eased(share: Array) -> Array:
    """Return a share that sets out and arrives at rest; 0 before and 1 after."""
    part = np.clip(share, 0.0, 1.0)
    return part * part * (3.0 - 2.0 * part)


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """How far hips and feet have got along the route, and how high the ground is for them, at any frame."""

    steps: tuple[Step, ...]
    way: OwnWay

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
        rows = np.array([
            (*step.frames, step.own, step.at, step.level, step.leaves, step.arrives, step.turns, step.settles)
            for step in mine
        ]).T  # fmt: skip
        k = np.clip(np.searchsorted(rows[0], asked, "right") - 1, 0, len(mine) - 1)
        after = np.minimum(k + 1, len(mine) - 1)
        _, begin, own, at, level, leaves, arrives, turns, settles = rows[:, k]
        end, next_own, next_at, next_level = rows[[0, 2, 3, 4]][:, after]
        end = np.maximum(end, begin + 1e-9)
        share = np.clip((asked - begin) / (end - begin), 0.0, 1.0)
        part, way = self.way.swung(foot, begin, end, share)
        late, _ = self.way.swung(foot, begin, end, np.clip((share - leaves) / (arrives - leaves), 0.0, 1.0))
        longer = (next_at - at) - (next_own - own)
        own = own + (next_own - own) * part
        new = own + at - rows[2, k] + longer * part + (way + longer) * (late - part)
        rising = (share - turns) / (settles - turns)
        quick = np.clip(rising, 0.0, 1.0)
        risen = eased(rising) + (1.0 - settles) * (quick * (2.0 - quick) - eased(rising))
        height = level + (next_level - level) * risen
        _, _, ahead, up = self.toned(foot, asked)
        return np.array([own, new + ahead, height + up])

    def toned(self, foot: int, frame: ArrayLike) -> Array:
        """Return how a foot's landings are toned at each frame, ``(4, ...)``.

        By how much its pitch goes over to another, 0 to 1; that pitch, radians; how much farther ahead and up its
        ankle is for that, metres.
        """
        asked = np.asarray(frame, dtype=np.float64)
        found = np.zeros((4, *asked.shape))
        mine = [step for step in self.steps if step.foot == foot]
        rows = np.array([
            (before.frames[1], step.frames[0], step.flat, step.toned, step.pitch, step.ahead, step.up)
            for before, step in pairwise(mine) if step.toned
        ]).T  # fmt: skip
        if not rows.size:
            return found
        k = np.searchsorted(rows[0], asked) - 1  # the last landing whose swing has begun
        on = (k >= 0) & (asked < rows[2, k])
        time, (begin, end, flat, toned, pitch, ahead, up) = asked[on], rows[:, k[on]]
        part = np.where(time <= end, eased((time - begin) / (end - begin)), eased((flat - time) / (flat - end)))
        found[:, on] = [toned * part, pitch, ahead * part, up * part]
        return found

    def turns(self, foot: int | None, first: int, last: int) -> Array:
        """Return the whole frames at which the hips' (None) or a foot's way changes, the clip's own ends included.

        Keys there, with the slopes that the way has, follow it: it's a cubic between two of them.
        """
        mine = [step for step in self.steps if foot is None or step.foot == foot]
        times = [step.middle for step in mine] if foot is None else [time for step in mine for time in step.frames]
        inside = np.clip(np.round(times), first, last)
        return np.unique(np.append(inside, (first, last)))

    def inside(self, foot: int) -> Array:
        """Return the whole frames of swings whose time is changed, their ends and landings included."""
        times: list[float] = []
        mine = [step for step in self.steps if step.foot == foot]
        for before, step in pairwise(mine):
            if step.toned or before.leaves > 0.0 or before.arrives < 1.0:
                times += range(before.frames[1], step.frames[0] + 1)
            if step.toned:
                times.append(step.flat)
        return np.unique(np.round(times))

    def stances(self, first: int, last: int) -> tuple[Stance, ...]:
        """Return the stances within a range of frames, cut off at its ends; of single frames none."""
        found = []
        for step in self.steps:
            begin, end = max(step.frames[0], first), min(step.frames[1], last)
            if end > begin:
                found.append(Stance("right" if step.foot else "left", begin, end))
        return tuple(sorted(found, key=lambda s: (s.foot, s.first)))
