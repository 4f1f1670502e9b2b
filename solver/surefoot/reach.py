"""Reach: the least change of rocker that brings a planted ankle back within the leg's length.

For one rocker the squared distance from hip to ankle is ``A + B cos + C sin`` of the
pitch, so where it crosses the leg's length is closed form. The nearer crossing is
taken, up or down: a trailing leg gains by lifting the heel, a leading one doesn't.
Flat frames stay flat, but for the two before heel-off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.bounds import keep_between, step_each
from surefoot.footprint import Prints, Tracks
from surefoot.rotations import length
from surefoot.sole import Soles, Turns

__all__ = ["Stand", "allowed_length", "lift_within_reach", "nearer_prints"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STAYS_FLAT = float(np.radians(0.5))
EARLIER = 2
MOST_CHANGE = float(np.radians(25.0))
STEEPEST = float(np.radians(40.0))
NEARER = 0.02
"""A footprint is pulled nearer by at most this share of the leg."""
PASSES = 4
SOFT_TO_STIFF = (10.0, 1e3, 1e5)
TEARING = float(np.radians(120.0))
"""Radians a second: a frame isn't turned away faster than this from a neighbour that had to keep its rocker."""
THIRDS = np.array([[-1.0], [0.0], [1.0]])
BOTH_WAYS = np.array([[-1.0], [1.0]])
CLOSE = 1e-7
"""Metres: what is missing by less counts as reached."""


def allowed_length(authored: Array, leg: Array, reach: float) -> Array:
    """Return how long the leg may be made, metres: ``reach`` of it, or a bit more where the animator had more.

    An authored length between ``reach`` and the middle between it and 1 is let be;
    above that the allowance falls back to ``reach`` at full length, without a jump.
    """
    share = authored / leg
    middle = 0.5 * (reach + 1.0)
    top = np.where(share <= middle, share, np.maximum(2.0 * middle - share, reach))
    return np.asarray(leg * np.maximum(reach, top))


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """Feet on their footprints: everything that fixes the planted ankle but the pitch.

    Arrays run ``(2, n)``; in swing frames the numbers mean nothing.
    """

    soles: Soles
    cant: Array
    swivel: Array
    bend: Array
    hip: Array  # (3, 2, n) in footprint space
    limit: Array

    def offset(self, pitch: Array) -> Array:
        """Return the planted ankle in footprint space, ``(3, 2, n)`` metres, for a pitch."""
        cant, swivel, bend = self.cant, self.swivel, self.bend
        if pitch.ndim > cant.ndim:  # several pitches for each
            shape = (*cant.shape, *(1,) * (pitch.ndim - cant.ndim))
            cant, swivel, bend = cant.reshape(shape), swivel.reshape(shape), bend.reshape(shape)
        bend = self.soles.planted_bend(pitch, cant, bend)
        return self.soles.planted(Turns(pitch, cant, swivel, bend))

    def distance(self, pitch: Array) -> Array:
        """Return hip to planted ankle, metres."""
        extra = (1,) * (pitch.ndim - self.cant.ndim)
        return length(self.offset(pitch) - self.hip.reshape(*self.hip.shape, *extra))

    def part(self, at: Flags) -> Stand:
        """Return the flat list of samples where ``at`` ``(2, n)`` is true, as ``(1, samples)``."""
        foot = at.nonzero()[0]
        return Stand(self.soles.gathered(foot), self.cant[at][None], self.swivel[at][None], self.bend[at][None],
                     self.hip[:, at][:, None], self.limit[at][None])  # fmt: skip


def lift_within_reach(pitch: Array, stand: Stand, tracks: Tracks, *, rate: float = 1e9) -> tuple[Array, Array]:
    """Return the pitch changed as little and as smoothly as reach allows, and what is still missing.

    Both are ``(2, n)``: radians, and metres by which the leg is too short (negative: slack). Frames
    that no rocker within 25 degrees of the authored one brings into reach keep theirs; so does a frame
    whose change would tear away by more than ``rate``, radians a frame, from any that keep theirs for
    one of these two reasons; so do flat frames, but for the last two before heel-off.
    """
    planted = tracks.planted
    movable = planted & _movable(pitch, tracks)
    missing = stand.distance(pitch) - stand.limit
    at = movable & (missing > CLOSE)
    if not np.count_nonzero(at):
        return pitch, missing
    count = pitch.shape[1]
    starts = np.array([0, count])
    known = planted & ~movable
    band = Band.of(known.ravel(), starts)
    low, high = np.full((2, 2, count), [[[-MOST_CHANGE]], [[MOST_CHANGE]]])
    change = np.zeros((2, count))
    for _ in range(PASSES):
        wanted = _nearest_pitch(pitch[at], stand.part(at)) - pitch[at]
        hopeless = np.isnan(wanted)
        if np.count_nonzero(hopeless):
            # they keep theirs, and so does what would tear away from them, and from those in turn
            lost, far = np.zeros((2, count), dtype=bool), np.zeros((2, count))
            lost[at] = hopeless
            far[at] = np.where(hopeless, 0.0, np.abs(wanted))
            torn = lost
            while np.count_nonzero(torn):
                torn = at & ~lost & (far > rate * _steps_from(lost, tracks.print_of))
                lost |= torn
            movable &= ~lost
            known |= lost
            band = Band.of(known.ravel(), starts)
            wanted = wanted[movable[at]]
            at = at & movable
        now = change[at]
        low[at] = np.where(wanted > now, np.maximum(low[at], wanted), low[at])
        high[at] = np.where(wanted < now, np.minimum(high[at], wanted), high[at])
        crossed = low > high
        if np.count_nonzero(crossed):
            low[crossed] = high[crossed] = np.clip(0.0, high[crossed], low[crossed])
        zero = np.zeros(len(band.free))
        change = np.zeros((2, count))
        change.reshape(-1)[band.free] = keep_between(zero, zero, low.take(band.free), high.take(band.free), band)
        found = pitch + change
        missing = stand.distance(found) - stand.limit
        at = movable & (missing > CLOSE)
        if not np.count_nonzero(at):
            return found, missing
    wanted = _nearest_pitch(pitch[at], stand.part(at))
    found[at] = np.where(np.isnan(wanted), pitch[at], wanted)
    return found, stand.distance(found) - stand.limit


def _steps_from(flag: Flags, print_of: NDArray[np.intp]) -> Array:
    """Return how many frames away the nearest flagged frame of the same stance is, ``(2, n)``; inf for none."""
    count = flag.shape[1]
    at, rows = np.arange(count), np.arange(2)[:, None]
    before = np.maximum.accumulate(np.where(flag, at, -1), axis=1)
    after = np.minimum.accumulate(np.where(flag, at, count)[:, ::-1], axis=1)[:, ::-1]
    near = np.full(flag.shape, np.inf)
    for other in (before, after):
        inside = (other >= 0) & (other < count)
        same = inside & (print_of[rows, np.clip(other, 0, count - 1)] == print_of)
        near = np.where(same, np.minimum(near, np.abs(at - other)), near)
    return near


def _movable(pitch: Array, tracks: Tracks) -> Flags:
    """Return the frames whose rocker may change: those not flat, and two before each heel-off."""
    tilted = np.abs(pitch) > STAYS_FLAT
    movable = tilted.copy()
    up = pitch > STAYS_FLAT
    for ahead in range(1, EARLIER + 1):
        same = tracks.print_of[:, ahead:] == tracks.print_of[:, :-ahead]
        movable[:, :-ahead] |= up[:, ahead:] & same
    return movable


def _nearest_pitch(authored: Array, stand: Stand) -> Array:
    """Return, for a flat list of samples, the pitch nearest to ``authored`` that is within reach.

    NaN where there is none within 25 degrees.
    """
    onset = stand.soles.onset[0]
    edges = np.zeros((len(authored), 4))
    edges[:, 0], edges[:, 2], edges[:, 3] = -STEEPEST, onset, onset + STEEPEST
    past, first = edges[:, None, 1:], edges[:, None, :-1]  # (samples, 1, rockers)
    middle = (past + first) / 2.0
    half = np.maximum((past - first) / 2.0, 1e-6)
    inner = half / 2.0  # at the very edges the next rocker, with another anchor, would be measured
    squared = stand.distance((middle + THIRDS * inner)[None])[0] ** 2  # (samples, 3, rockers)
    least, mid, most = squared[:, :1], squared[:, 1:2], squared[:, 2:]
    c = (most - least) / (2.0 * np.sin(inner))
    b = (mid - (least + most) / 2.0) / (1.0 - np.cos(inner))
    wanted = (stand.limit[0, :, None, None] - 1e-9) ** 2
    share = (wanted - mid + b) / np.maximum(np.hypot(b, c), 1e-12)
    spread = np.arccos(np.minimum(np.maximum(share, -1.0), 1.0))
    away = np.remainder(np.arctan2(c, b) + BOTH_WAYS * spread + np.pi, 2.0 * np.pi) - np.pi  # both crossings
    slope = c * np.cos(away) - b * np.sin(away)
    slope[np.abs(slope) <= 1e-6] = np.inf
    root = middle + away
    # one step of Newton's: the lowest corner and the edge's blend bend the wave a little
    root -= (stand.distance(root[None])[0] ** 2 - wanted) / slope
    inside = (np.abs(share) <= 1.0) & (np.abs(root - middle) <= half + 1e-9)
    count = len(authored)
    # a rocker's end may be the nearest that serves
    found = np.concatenate([root.reshape(count, -1), edges[:, 1:3]], axis=1)
    far = np.abs(found - authored[:, None])
    good = (far <= MOST_CHANGE) & (stand.distance(found[None])[0] <= stand.limit[0, :, None] + 1e-6)
    good[:, :-2] &= inside.reshape(count, -1)
    far[~good] = np.inf
    best = (np.arange(count), far.argmin(axis=1))
    return np.where(np.isfinite(far[best]), found[best], np.nan)


def nearer_prints(pitch: Array, missing: Array, stand: Stand, prints: Prints, tracks: Tracks, leg: float) -> Array:
    """Return the shifts ``(2, prints)``, x and z, that bring feet into reach which no rocker could.

    A footprint moves only if that mends all frames of its stance, by at most
    2 % of the leg; else it stays and what remains is told as ``stretch``.
    """
    count = len(tracks.source)
    shift = np.zeros((2, count))
    planted = tracks.planted
    if not np.count_nonzero(missing[planted] > 10.0 * CLOSE):
        return shift
    which = tracks.print_of[planted]
    owner = tracks.source[which]
    # arms from hip to ankle, out of each footprint's own space
    arm = prints.outof(which, (stand.offset(pitch) - stand.hip)[:, planted])
    limit = stand.limit[planted]
    each = np.arange(count)

    def excess(shift: Array) -> tuple[Array, Array]:
        line = arm.copy()
        line[0] += shift[0][owner]
        line[2] += shift[1][owner]
        length = np.sqrt((line**2).sum(axis=0))
        return np.maximum(length - limit + CLOSE, 0.0), line / length

    for stiff in SOFT_TO_STIFF:

        def energy(shift: Array, stiff: float = stiff) -> Array:
            over, _ = excess(shift)
            return np.asarray((shift**2).sum(axis=0) + np.bincount(owner, stiff * over**2, count))

        now = energy(shift)
        for _ in range(25):
            over, unit = excess(shift)
            ux, _, uz = unit
            load = stiff * over
            bend = load / (over + limit)  # the sphere's own curvature
            on = stiff * (over > 0.0) - bend
            gx = shift[0] + np.bincount(owner, load * ux, count)
            gz = shift[1] + np.bincount(owner, load * uz, count)
            hxx = 1.0 + np.bincount(owner, on * ux * ux + bend, count)
            hzz = 1.0 + np.bincount(owner, on * uz * uz + bend, count)
            hxz = np.bincount(owner, on * ux * uz, count)
            step = -np.array([hzz * gx - hxz * gz, hxx * gz - hxz * gx]) / (hxx * hzz - hxz**2)
            if np.abs(step).max() < 1e-11:
                break
            shift, now = step_each(shift, step, energy, now, each)
    length = excess(shift)[0] + limit - CLOSE
    left = np.zeros(count)
    np.maximum.at(left, owner, length - limit)
    good = (left < 2e-4) & (np.hypot(*shift) <= NEARER * leg)
    return np.asarray(shift * good)
