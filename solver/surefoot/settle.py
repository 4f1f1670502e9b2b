"""Settling the feet: from a scene and its stances to the planted pose of every frame.

Angles come first: the heading is held while the sole is flat (unless it's a turn on the ball), the rocker gives
way where the leg can't reach, the toes lie flat under a rolling foot. The planted
ankle then follows in closed form, and the swing is carried between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.clip import Stance
from surefoot.floors import at_rest_on_ground, floor_under, held_back, swept_floor
from surefoot.footprint import Anchor, Prints, Tracks, fit_prints
from surefoot.on_ball import turn_on_ball
from surefoot.reach import TEARING, Stand, allowed_length, lift_within_reach, nearer_prints
from surefoot.rotations import length
from surefoot.scene import Scene
from surefoot.slip import without_slip
from surefoot.sole import FLAT, Turns
from surefoot.swing import carry

__all__ = ["Settled", "floor_under", "settle", "stand_again", "stand_with", "swing_again"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOVED = 1e-5
"""Metres across the ground by which a swinging foot must have moved for the ground under it to be asked for again."""
LAPS = 13
"""How many loops stand for a foot that never lands in its loop: enough that the ends don't matter (1e-4)."""


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """The planted feet, rolled as `tracks` has them, in ground space.

    ``ankle`` and ``angles`` are ``(3, 2, n)``, ``bend`` is ``(2, n)``; ``held`` marks the
    frames in which the sole lies flat on its footprint. ``turns`` and ``stood`` are the planted
    feet's angles and ankle ``(3, 2, n)`` in footprint space; they mean nothing elsewhere.
    """

    tracks: Tracks
    prints: Prints
    ankle: Array
    angles: Array
    bend: Array
    held: Flags
    turns: Turns
    stood: Array

    def in_world(self, scene: Scene) -> tuple[Array, Array, Array]:
        """Return ankle, angles ``(3, 2, frames)`` and bend ``(2, frames)`` in world space and the clip's order."""
        tracks = self.tracks
        angles = tracks.unroll(self.angles)
        angles[1] = scene.yaw_to_world(tracks.unroll_yaw(scene, self.angles[1]))
        return scene.to_world(tracks.unroll_points(scene, self.ankle)), angles, tracks.unroll(self.bend)


def settle(
    scene: Scene,
    stances: Sequence[Stance],
    *,
    anchor: Anchor | int = "flat",
    keyed: Flags | None = None,
    clearance: float = 0.0,
    prints: Prints | None = None,
    mend_reach: bool = True,
) -> Settled:
    """Return the planted feet of a scene.

    Parameters
    ----------
    stances : sequence of Stance
    anchor, keyed : see `fit_prints`
    clearance : float
        Metres between sole and ground that the middle of each swing keeps.
    prints : Prints or None
        Footprints from elsewhere (the clip before an edit), numbered as these stances are.
    mend_reach : bool
        Whether rockers, footprints and swings give way where the leg is too short.
    """
    tracks = Tracks.of(scene, stances)
    if prints is None:
        prints = fit_prints(scene, tracks, anchor=anchor, keyed=keyed)
    planted, limit = tracks.planted, _longest(scene, tracks, mend_reach)
    if not len(tracks.source):
        ankle = _swing(scene, tracks, tracks.ankle, tracks.angles, tracks.bend, limit, clearance)
        still, nowhere = np.zeros_like(tracks.bend), np.zeros_like(ankle)
        turns = Turns(still, still, still, still)
        return Settled(tracks, prints, ankle, tracks.angles, tracks.bend, planted, turns, nowhere)
    which = tracks.print_of
    local = np.where(planted, prints.authored_turns(which, tracks.angles, planted, tracks.source), tracks.angles)
    pitch, cant = local[0], local[2]
    held = _held(pitch, planted, tracks)
    on_ball = turn_on_ball(scene, tracks, pitch, local[1])
    if on_ball is not None:  # a foot whose heel is down a trifle would turn about that
        pitch = np.where(on_ball & (np.abs(pitch) < FLAT), np.maximum(pitch, 0.0), pitch)
        held &= ~on_ball
    turn = _swivel_change(local[1], held, planted, tracks)
    swivel = np.where(planted, local[1] + turn, 0.0)
    hip = prints.into(which, tracks.hip - prints.origin[:, which])
    stand = Stand(scene.soles, cant, swivel, tracks.bend, hip, limit)
    pitch, missing = lift_within_reach(pitch, stand, tracks, rate=TEARING * scene.binding.step)
    shift = nearer_prints(pitch, missing, stand, prints, tracks, scene.binding.rig.leg)
    if np.count_nonzero(shift):
        prints = prints.moved(shift, tracks, scene)
    bend = _bend(scene, tracks, pitch, cant, planted)
    if prints.tilt is None:
        angles = np.array([pitch, tracks.angles[1] + turn, cant])
    else:
        angles = _tilted_angles(prints, tracks, np.array([pitch, swivel, cant]), planted)
    turns = Turns(pitch, cant, swivel, bend)
    off = scene.soles.planted(turns)
    off = without_slip(scene.soles, turns, off, np.where(planted, which, -1), tracks.source, held)
    stood = prints.origin[:, which] + prints.outof(which, off)
    if not scene.ground.is_level:
        stood = at_rest_on_ground(scene, prints, tracks, stood, angles, bend, held, pitch)
        off = prints.into(which, stood - prints.origin[:, which])
    ankle = _swing(scene, tracks, stood, angles, bend, limit, clearance)
    return Settled(tracks, prints, ankle, angles, bend, held, turns, off)


def stand_again(scene: Scene, settled: Settled, turns: Array) -> Settled:
    """Return the feet planted anew with other angles; swings keep their ankles.

    ``turns`` are the controls' pitch, yaw, roll and bend in every frame, ``(4, 2, frames)`` radians; in other styles
    the rows after the places.
    """
    binding, tracks = scene.binding, settled.tracks
    values = scene.values.copy()
    binding.put_feet(values, np.concatenate([binding.feet(values)[:3], turns]))
    pose = binding.pose(values, scene.frames)
    rolled = (np.arange(2)[:, None], tracks.index)
    angles, bend = pose.angles[:, *rolled], pose.bend[rolled]
    if scene.belt.turn != 0.0:
        angles[1] -= scene.belt.heading(scene.time)[tracks.index]
    if scene.drift is not None:
        angles[1] += tracks.laps * scene.drift.turn
    return stand_with(scene, settled, angles, bend)


def stand_with(scene: Scene, settled: Settled, angles: Array, bend: Array) -> Settled:
    """Return the feet planted anew with ``angles`` and ``bend`` as `Settled` has them; swings keep their ankles."""
    tracks, prints = settled.tracks, settled.prints
    planted, which = tracks.planted, tracks.print_of
    if not len(tracks.source):
        return replace(settled, angles=angles, bend=bend)
    pitch, swivel, cant = np.where(planted, prints.local_turns(which, angles), angles)
    local = Turns(pitch, cant, np.where(planted, swivel, 0.0), bend)
    never = np.zeros_like(planted)  # such angles no longer hold the sole quite flat, so no frame stays as it is
    off = without_slip(
        scene.soles, local, scene.soles.planted(local), np.where(planted, which, -1), tracks.source, never
    )
    stood = prints.origin[:, which] + prints.outof(which, off)
    if not scene.ground.is_level:
        stood = at_rest_on_ground(scene, prints, tracks, stood, angles, bend, never, pitch)
        off = prints.into(which, stood - prints.origin[:, which])
    ankle = np.where(planted, stood, settled.ankle)
    return replace(settled, ankle=ankle, angles=angles, bend=bend, turns=local, stood=off)


def swing_again(scene: Scene, settled: Settled, *, clearance: float, mend_reach: bool) -> Settled:
    """Return the feet with their swings carried anew between the frames that are planted; options as for `settle`."""
    tracks = settled.tracks
    limit = _longest(scene, tracks, mend_reach)
    ankle = _swing(scene, tracks, settled.ankle, settled.angles, settled.bend, limit, clearance)
    return replace(settled, ankle=ankle)


def _longest(scene: Scene, tracks: Tracks, mend_reach: bool) -> Array:
    """Return how long each leg may be made in each frame, ``(2, n)`` metres."""
    if not mend_reach:
        return np.full_like(tracks.bend, np.inf)
    rig = scene.binding.rig
    leg = np.array([[limb.length] for limb in rig.legs])
    return allowed_length(length(tracks.ankle - tracks.hip), leg, rig.reach)


def _held(pitch: Array, planted: Flags, tracks: Tracks) -> Flags:
    """Return the frames in which the heading is held: flat ones, and the flatter one where the rocker changes."""
    held = planted & (np.abs(pitch) < FLAT)
    same = planted[:, 1:] & (tracks.print_of[:, 1:] == tracks.print_of[:, :-1])
    turns = same & (pitch[:, 1:] * pitch[:, :-1] < 0.0) & ~held[:, 1:] & ~held[:, :-1]
    if np.count_nonzero(turns):
        later = np.abs(pitch[:, 1:]) < np.abs(pitch[:, :-1])
        held[:, 1:] |= turns & later
        held[:, :-1] |= turns & ~later
    return held


def _swivel_change(swivel: Array, held: Flags, planted: Flags, tracks: Tracks) -> Array:
    """Return the change of heading: exact where held, none in a stance that is never held, smooth elsewhere."""
    given = np.where(held, -swivel, 0.0)
    if np.abs(given).max() < 1e-12:
        return given
    owner = tracks.source[tracks.print_of]
    ever = np.bincount(owner[held], minlength=len(tracks.source)) > 0
    known = held | (planted & ~ever[owner])
    return _faded(given, known)


def _faded(given: Array, known: Flags) -> Array:
    """Return corrections ``(..., 2, n)``: as given in the known frames ``(2, n)``, carried through the others."""
    band = Band.of(known.ravel(), np.array([0, known.shape[1]]))
    return band.fade(given.reshape(-1, known.size)).reshape(given.shape)


def _bend(scene: Scene, tracks: Tracks, pitch: Array, cant: Array, planted: Flags) -> Array:
    known = planted & (pitch > -FLAT) & scene.soles.hinged
    flat = scene.soles.planted_bend(pitch, cant, tracks.bend)
    given = np.where(known, flat - tracks.bend, 0.0)
    if np.abs(given).max() < 1e-12:
        return np.where(planted, flat, tracks.bend)
    faded = tracks.bend + _faded(given, known)
    return np.where(planted, scene.soles.planted_bend(pitch, cant, faded), faded)


def _tilted_angles(prints: Prints, tracks: Tracks, local: Array, planted: Flags) -> Array:
    """Return ground-space angles of feet on leaning footprints, their change carried through the swings."""
    world = prints.world_turns(tracks.print_of, local, tracks.angles)
    return tracks.angles + _faded(np.where(planted, world - tracks.angles, 0.0), planted)


def _swing(
    scene: Scene, tracks: Tracks, stood: Array, angles: Array, bend: Array, limit: Array, clearance: float
) -> Array:
    """Return the ankles, as they've ``stood`` in the planted frames, their corrections carried through the swings."""
    known = tracks.planted | tracks.left_alone
    given = np.where(tracks.planted, stood - tracks.ankle, 0.0)
    ankle = tracks.ankle + given
    limit = _eased_limit(limit, known, length(ankle - tracks.hip))
    rise = _rise(known, clearance) if clearance > 0.0 else 0.0
    even = scene.ground.is_even
    floor, asked = np.full(known.shape, -np.inf), np.full_like(ankle, np.inf)
    for tries in range(1 if even else 3):
        lap = _Lap.of(known, scene)
        for turn in range(1 if scene.ground.is_level else 3):
            if even:
                floor = np.where(known, -np.inf, floor_under(scene, ankle[0], ankle[2], angles, bend) + rise)
            elif turn:  # first carried as if there were no ground, so that it's asked for where the foot goes
                moved = ~known & (np.abs(ankle[::2] - asked[::2]).max(axis=0) > MOVED)
                if not np.count_nonzero(moved):
                    break
                moved[:, 1:], moved[:, :-1] = moved[:, 1:] | moved[:, :-1], moved[:, :-1] | moved[:, 1:]
                floor = np.where(moved, swept_floor(scene, known | ~moved, ankle, angles, bend) + rise, floor)
                floor, asked = np.where(known, -np.inf, floor), np.where(moved, ankle, asked)
            change = carry(
                lap.out(given),
                band=lap.band,
                authored=lap.out(tracks.ankle),
                floor=lap.out(floor),
                hip=lap.out(tracks.hip),
                limit=lap.out(np.where(known, np.inf, limit)),
            )
            ankle = tracks.ankle + lap.back(change)
        if even or tries == 2:
            break
        held, at = held_back(scene, known, ankle, angles, bend)
        if not np.count_nonzero(held):
            break
        given = np.where(held, at - tracks.ankle, given)
        known = known | held
    return ankle


def _ends(known: Flags) -> tuple[NDArray[np.intp], NDArray[np.intp], Array, Array]:
    """Return, for each frame, the known frames before and after it (-1, n for none) and how far into the swing it is.

    The last two are the shares of the swing since lift-off and until landing; 1 where there is no such end.
    """
    count = known.shape[1]
    at = np.arange(count)
    before = np.maximum.accumulate(np.where(known, at, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, at, count)[:, ::-1], axis=1)[:, ::-1]
    whole = np.maximum(after - before, 1)
    since = np.where(before >= 0, (at - before) / whole, 1.0)
    until = np.where(after < count, (after - at) / whole, 1.0)
    return before, after, since, until


def _rise(known: Flags, clearance: float) -> Array:
    """Return the asked clearance for each swing frame, eased in and out over its first and last quarter."""
    _, _, since, until = _ends(known)
    part = np.clip(4.0 * np.minimum(since, until), 0.0, 1.0)
    return np.asarray(clearance * part * part * (3.0 - 2.0 * part))


def _eased_limit(limit: Array, known: Flags, reached: Array) -> Array:
    """Return the longest leg of each swing frame, eased over a quarter of the swing where its ends are out of reach.

    A stance that the leg can't reach is told as a stretch; the swing must not snap back from it at once.
    """
    over = np.where(known, np.maximum(reached / limit - 1.0, 0.0), 0.0)
    if not np.count_nonzero(over > 1e-9):
        return limit
    before, after, since, until = _ends(known)
    rows, last = np.arange(2)[:, None], known.shape[1] - 1
    extra = np.zeros_like(limit)
    for end, share, there in ((before, since, before >= 0), (after, until, after <= last)):
        left = np.clip(1.0 - 4.0 * share, 0.0, 1.0)
        stretch = np.where(there, over[rows, np.clip(end, 0, last)], 0.0)
        extra = np.maximum(extra, stretch * left * left * (3.0 - 2.0 * left))
    return np.asarray(limit * (1.0 + extra))


@dataclass(frozen=True, slots=True, eq=False)
class _Lap:
    """Two tracks laid end to end; a looping foot that never lands is repeated, and its middle loop taken."""

    band: Band
    shape: tuple[int, int]
    pick: NDArray[np.intp] | None = None  # None: every frame once
    middle: NDArray[np.intp] | None = None

    @classmethod
    def of(cls, known: Flags, scene: Scene) -> _Lap:
        count = known.shape[1]
        flies = np.logical_not(known.any(axis=1))
        if scene.drift is None or not np.count_nonzero(flies):
            return cls(Band.of(known.ravel(), np.array([0, count])), (2, count))
        pieces, middles, starts, at = [], [], [], 0
        for foot in range(2):
            own = np.arange(foot * count, (foot + 1) * count)
            times = LAPS if flies[foot] else 1
            pieces.append(np.tile(own, times))
            middles.append(at + (times // 2) * count + np.arange(count))
            starts.append(at)
            at += times * count
        pick = np.concatenate(pieces)
        return cls(Band.of(known.ravel()[pick], np.array(starts)), (2, count), pick, np.concatenate(middles))

    def out(self, values: Array) -> Array:
        flat = values.reshape(*values.shape[:-2], -1)
        return flat if self.pick is None else flat[..., self.pick]

    def back(self, values: Array) -> Array:
        flat = values if self.middle is None else values[..., self.middle]
        return flat.reshape(*values.shape[:-1], *self.shape)
