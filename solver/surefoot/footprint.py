"""Footprints: where each stance puts its sole, and the frames laid out so that no stance is cut.

For a loop each foot's frames are rolled so that the seam falls inside its longest
stance; frames after the wrap are moved on by one loop. What follows is then an
ordinary problem along a line, and `Tracks.unroll` leads back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, Self

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Stance
from surefoot.contact import runs
from surefoot.errors import InputError
from surefoot.ground import Ground
from surefoot.lean import leaning, planar_lean, seated_lean
from surefoot.rig import FEET
from surefoot.rotations import angles_of, apply, compose, matrix
from surefoot.scene import Scene
from surefoot.seat import seats_of
from surefoot.sole import FLAT, Turns
from surefoot.underfoot import BENEATH

__all__ = ["Anchor", "Prints", "Tracks", "fit_prints"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

Anchor = Literal["flat", "contact", "fit"]


@dataclass(frozen=True, slots=True, eq=False)
class Tracks:
    """Both feet's frames, rolled, in ground space.

    Parameters
    ----------
    index : ndarray of int, shape (2, n)
        Which frame of the clip each place holds.
    laps : ndarray of int, shape (2, n)
        1 where the frame was moved on by one loop, else 0.
    print_of : ndarray of int, shape (2, n)
        The footprint under the foot, or -1 in swing.
    left_alone : ndarray of bool, shape (2, n)
        Stance frames that are neither mended nor judged.
    hip, ankle, angles : ndarray, shape (3, 2, n)
    bend : ndarray, shape (2, n)
    """

    index: Indices
    laps: Indices
    print_of: Indices
    left_alone: Flags
    hip: Array
    ankle: Array
    angles: Array
    bend: Array
    source: Indices  # (prints,) a print that is another one a loop earlier names it, else itself
    foot_of: Indices  # (prints,)
    back: Indices  # (2, n) where each frame of the clip lies in the flattened tracks

    @classmethod
    def of(cls, scene: Scene, stances: Sequence[Stance], *, like: Tracks | None = None) -> Self:
        """Lay out the scene's frames and number the footprints of its stances; ``like`` another, frame for frame."""
        count, first = scene.count, int(scene.frames[0])
        loop = scene.drift is not None
        starts = [0, 0]
        print_of = np.full((2, count), -1, dtype=np.intp)
        alone = np.zeros((2, count), dtype=bool)
        source: list[int] = []
        foot_of: list[int] = []
        for foot, name in enumerate(FEET):
            mine = [(s.first - first, s.last - s.first + 1, s.left_alone) for s in stances if s.foot == name]
            start = 0 if like is None else int(like.index[foot, 0])
            if like is None and loop and mine:
                s, n, _ = max(mine, key=lambda m: m[1])
                start = (s + _stillest(scene.angles[0, foot], s, n)) % count if n < count else s % count
            starts[foot] = start
            for s, n, leave in mine:
                at = (s - start) % count if loop else s
                end = at + min(n, count)
                print_of[foot, at : min(end, count)] = len(source)
                alone[foot, at : min(end, count)] = leave
                source.append(len(source))
                foot_of.append(foot)
                if end > count:  # the tail goes on at the head, one loop earlier
                    print_of[foot, : end - count] = len(source)
                    alone[foot, : end - count] = leave
                    source.append(len(source) - 1)
                    foot_of.append(foot)
        here, turned, rows = np.arange(count), np.array(starts)[:, None], np.array([[0], [count]])
        index = (here + turned) % count
        flat = index + rows
        hip, ankle, angles = (part.reshape(3, -1).take(flat, axis=1) for part in (scene.hip, scene.ankle, scene.angles))
        laps = (here >= count - turned).astype(np.intp)
        if scene.drift is not None and any(starts):
            hip = np.where(laps, scene.drift.apply(hip), hip)
            ankle = np.where(laps, scene.drift.apply(ankle), ankle)
            angles[1] += laps * scene.drift.turn
        sources, feet = np.array([source, foot_of], dtype=np.intp)
        back = (here - turned) % count + rows
        bend = scene.pose.bend.take(flat)
        return cls(index, laps, print_of, alone, hip, ankle, angles, bend, sources, feet, back)

    @property
    def planted(self) -> Flags:
        """Which frames are stance and to be mended, ``(2, n)``."""
        return (self.print_of >= 0) & ~self.left_alone

    def unroll(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return ``values`` (..., 2, n) in the clip's own order of frames; points need `unroll_points`."""
        flat = values.reshape(*values.shape[:-2], -1)
        return flat.take(self.back, axis=-1)

    def unroll_points(self, scene: Scene, points: Array) -> Array:
        """Return ground-space points ``(3, 2, n)`` in the clip's order, moved back by their laps."""
        if scene.drift is not None and np.count_nonzero(self.laps):
            points = np.where(self.laps, scene.drift.apply(points, times=-1), points)
        return self.unroll(points)

    def unroll_yaw(self, scene: Scene, yaw: Array) -> Array:
        """Return ground-space yaw ``(2, n)`` in the clip's order, turned back by its laps."""
        if scene.drift is not None and scene.drift.turn != 0.0:
            yaw = yaw - self.laps * scene.drift.turn
        return self.unroll(yaw)


def _stillest(pitch: Array, start: int, length: int) -> int:
    """Return how far into a stance the middle of its longest flat spell lies, in frames.

    A track may begin and end there: nothing about these frames is free.
    """
    own = pitch.take(np.arange(start, start + length), mode="wrap")
    first, many = runs(np.abs(own - np.sort(own)[length // 2]) < FLAT, loop=False)
    longest = many.argmax()
    return int(first[longest] + many[longest] // 2)


@dataclass(frozen=True, slots=True, eq=False)
class Prints:
    """The footprints.

    Parameters
    ----------
    origin : ndarray, shape (3, prints)
        On the ground under the flat foot's ankle, ground space, metres.
    yaw : ndarray, shape (prints,)
        Heading, radians.
    tilt : ndarray, shape (3, 3, prints), or None
        The turn that leans +Y onto the ground's normal; None on level ground.
    """

    origin: Array
    yaw: Array
    tilt: Array | None

    def into(self, which: Indices, vector: Array) -> Array:
        """Return world vectors ``(3, ...)`` in the spaces of the footprints ``which``."""
        if self.tilt is not None:
            vector = apply(np.swapaxes(self.tilt[:, :, which], 0, 1), vector)
        s, c = np.sin(self.yaw)[which], np.cos(self.yaw)[which]
        return np.array([c * vector[0] - s * vector[2], vector[1], s * vector[0] + c * vector[2]])

    def outof(self, which: Indices, vector: Array) -> Array:
        """Return footprint-space vectors ``(3, ...)`` in ground space."""
        s, c = np.sin(self.yaw)[which], np.cos(self.yaw)[which]
        turned = np.array([c * vector[0] + s * vector[2], vector[1], c * vector[2] - s * vector[0]])
        return turned if self.tilt is None else apply(self.tilt[:, :, which], turned)

    def local_turns(self, which: Indices, angles: Array) -> Array:
        """Return pitch, swivel and cant ``(3, ...)`` of feet at ground-space ``angles`` in their footprints."""
        if self.tilt is None:
            return np.array([angles[0], angles[1] - self.yaw[which], angles[2]])
        turn = compose(np.swapaxes(self.tilt[:, :, which], 0, 1), matrix(*angles))
        pitch, yaw, cant = angles_of(turn, near=(angles[0], angles[1], angles[2]))
        return np.array([pitch, yaw - self.yaw[which], cant])

    def authored_turns(self, which: Indices, angles: Array, down: Flags, source: Indices) -> Array:
        """Return pitch, swivel and cant ``(3, ...)`` as they were meant: on leaning ground, or on level.

        A stance (a footprint and its images by ``source``) that's flat on level ground in some sample that is
        ``down``, but in none on its own leaning footprint, was meant level: its flat foot is to lie on the slope.
        """
        local = self.local_turns(which, angles)
        if self.tilt is None:
            return local
        level = np.array([angles[0], angles[1] - self.yaw[which], angles[2]])
        flattest = np.full((2, len(self.yaw)), np.inf)
        for nearest, turns in zip(flattest, (local, level), strict=True):
            np.minimum.at(nearest, source[which[down]], np.maximum(np.abs(turns[0]), np.abs(turns[2]))[down])
        meant_level = (flattest[0] > FLAT) & (flattest[1] < FLAT)
        return np.where(meant_level[source[which]], level, local)

    def world_turns(self, which: Indices, local: Array, near: Array) -> Array:
        """Return ground-space pitch, yaw and cant of feet at ``local`` pitch, swivel and cant."""
        if self.tilt is None:
            return np.array([local[0], local[1] + self.yaw[which], local[2]])
        turn = compose(self.tilt[:, :, which], matrix(local[0], local[1] + self.yaw[which], local[2]))
        return np.array(angles_of(turn, near=(near[0], near[1], near[2])))

    def moved(self, shift: Array, tracks: Tracks, scene: Scene) -> Prints:
        """Return the footprints moved across the ground by ``shift`` ``(2, prints)``, x and z."""
        x, z = self.origin[0] + shift[0], self.origin[2] + shift[1]
        if scene.ground.is_even:
            origin = np.array([x, scene.ground.height(x, z), z])
            return _imaged(replace(self, origin=origin), tracks, scene)
        # not off the tread that a footprint lies on
        new = seats_of(scene.ground, scene.binding.rig, np.array([x, z]), self.yaw, tracks.foot_of, movable=False)
        old = seats_of(scene.ground, scene.binding.rig, self.origin[::2], self.yaw, tracks.foot_of, movable=False)
        stays = (np.abs(new.level - self.origin[1]) < 2.0 * BENEATH) & (new.share > old.share - 0.1)
        moved = self.origin + np.where(stays, np.array([shift[0], new.level - self.origin[1], shift[1]]), 0.0)
        return _imaged(replace(self, origin=moved), tracks, scene)


def fit_prints(scene: Scene, tracks: Tracks, *, anchor: Anchor | int = "flat", keyed: Flags | None = None) -> Prints:
    """Return the footprints that depart least from the authored feet.

    Parameters
    ----------
    anchor : str or int
        ``flat``: the first flat frame on which the foot's place is keyed, where
        there is one and not every flat frame is keyed, else the fit; ``contact``: the stance's first
        frame; ``fit``: the weighted least-squares fit, flat frames weighing most;
        a number: that frame, for the stance that has it, else the fit.
    keyed : ndarray of bool, shape (2, frames), or None
        On which frames of the clip a foot's place has a key.
    """
    count = len(tracks.source)
    if count == 0:
        return Prints(np.zeros((3, 0)), np.zeros(0), None)
    held = tracks.print_of >= 0
    foot = held.nonzero()[0]
    which = tracks.print_of[held]
    owner = tracks.source[which]  # frames of an image count for its source
    ankle, angles, bend = tracks.ankle[:, held], tracks.angles[:, held], tracks.bend[held]
    forward = owner != which
    if np.count_nonzero(forward) and scene.drift is not None:
        ankle = np.where(forward, scene.drift.apply(ankle), ankle)
        angles[1] += forward * scene.drift.turn
    soles = scene.soles.gathered(foot)
    level = scene.ground.is_level
    prints = Prints(np.zeros((3, count)), np.zeros(count), None)
    if not level:
        prints = _level_fit(count, owner, ankle, angles, scene.ground)
    lean = planar_lean if scene.ground.is_even else seated_lean
    for _ in range(1 if level else 3):
        tilt = None if level else lean(prints.origin, prints.yaw, tracks.foot_of, scene)
        if tilt is not None and prints.tilt is not None and np.abs(tilt - prints.tilt).max() < 1e-12:
            break  # nothing leans otherwise than before
        prints = Prints(prints.origin, prints.yaw, tilt)
        local = prints.authored_turns(owner, angles, owner >= 0, tracks.source)
        flat = np.abs(local[0]) < FLAT
        weight = _weights(local[0], flat, owner, count, tracks, held, anchor, keyed, scene)
        yaw = _circular_mean(local[1] + prints.yaw[owner], weight, owner, count)
        prints = Prints(prints.origin, yaw, tilt)
        pitch, swivel, cant = prints.authored_turns(owner, angles, owner >= 0, tracks.source)[:, None]
        turns = Turns(pitch, cant, swivel, soles.planted_bend(pitch, cant, bend[None]))
        place = ankle - prints.outof(owner, soles.planted(turns)[:, 0])
        total = np.bincount(owner, weight, count)
        total[total == 0.0] = 1.0
        x, z = (np.bincount(owner, weight * place[i], count) / total for i in (0, 2))
        prints = Prints(np.array([x, scene.ground.height(x, z), z]), yaw, tilt)
    if not scene.ground.is_even:
        prints = _moved_to_treads(prints, tracks.foot_of, scene)
    return _imaged(prints, tracks, scene)


def _imaged(prints: Prints, tracks: Tracks, scene: Scene) -> Prints:
    """Fill in the footprints that are others a loop earlier."""
    image = tracks.source != np.arange(len(tracks.source))
    if not np.count_nonzero(image) or scene.drift is None:
        return prints
    origin, yaw = prints.origin.copy(), prints.yaw.copy()
    of = tracks.source[image]
    origin[:, image] = scene.drift.apply(origin[:, of], times=-1)
    yaw[image] = yaw[of] - scene.drift.turn
    tilt = prints.tilt
    if tilt is not None:
        tilt = tilt.copy()
        tilt[:, :, image] = tilt[:, :, of]
    return Prints(origin, yaw, tilt)


def _level_fit(count: int, owner: Indices, ankle: Array, angles: Array, ground: Ground) -> Prints:
    size = np.maximum(np.bincount(owner, minlength=count), 1)
    x, z = (np.bincount(owner, ankle[i], count) / size for i in (0, 2))
    yaw = _circular_mean(angles[1], np.ones(len(owner)), owner, count)
    return Prints(np.array([x, ground.height(x, z), z]), yaw, None)


def _moved_to_treads(prints: Prints, foot_of: Indices, scene: Scene) -> Prints:
    """Move each footprint, along its heading, to where enough of its sole has ground beneath it, and seat it."""
    place = prints.origin[::2]
    seats = seats_of(scene.ground, scene.binding.rig, place, prints.yaw, foot_of, movable=True)
    x, z = place + seats.shift * np.array([np.sin(prints.yaw), np.cos(prints.yaw)])
    return Prints(np.array([x, seats.level, z]), prints.yaw, leaning(prints.yaw, seats.along, seats.across))


def _weights(
    pitch: Array, flat: Flags, owner: Indices, count: int, tracks: Tracks, held: Flags,
    anchor: Anchor | int, keyed: Flags | None, scene: Scene,
) -> Array:  # fmt: skip
    """Return each held frame's weight in its footprint's fit.

    Flat frames alone count where a stance has any, since only they stay on their footprint
    when a foot cants or swivels as it rolls; else the flattest frame does.
    """
    flattest = np.full(count, np.inf)
    np.minimum.at(flattest, owner, np.abs(pitch))
    fit = np.where(flat | (np.abs(pitch) <= flattest[owner]), np.exp(-((pitch / 0.25) ** 2)), 0.0)
    if anchor == "fit":
        return fit
    chosen = np.zeros(len(owner), dtype=bool)
    order = tracks.index[held] + tracks.laps[held] * scene.count
    order = order + (owner != tracks.print_of[held]) * scene.count
    if anchor == "contact":
        chosen = order == _least(order, np.ones_like(flat), owner, count)[owner]
    elif anchor == "flat":
        if keyed is not None:
            on_key = keyed[held.nonzero()[0], tracks.index[held]] & flat
            some = np.bincount(owner, on_key, count) < np.bincount(owner, flat, count)
            chosen = (order == _least(order, on_key, owner, count)[owner]) & on_key & some[owner]
    elif isinstance(anchor, int):
        chosen = tracks.index[held] == anchor - int(scene.frames[0])
    else:
        raise InputError(f"wanted flat, contact, fit or a frame number, got {anchor!r}", place="anchor")
    has = np.bincount(owner, chosen, count) > 0
    return np.where(has[owner], chosen.astype(np.float64), fit)


def _least(order: Indices, flag: Flags, owner: Indices, count: int) -> Indices:
    least = np.full(count, np.iinfo(np.intp).max)
    np.minimum.at(least, owner[flag], order[flag])
    return least


def _circular_mean(angle: Array, weight: Array, owner: Indices, count: int) -> Array:
    s = np.bincount(owner, weight * np.sin(angle), count)
    c = np.bincount(owner, weight * np.cos(angle), count)
    mean = np.arctan2(s, c)
    # on the turn that the frames themselves are on
    size = np.maximum(np.bincount(owner, minlength=count), 1)
    level = np.bincount(owner, angle, count) / size
    return np.asarray(mean + 2.0 * np.pi * np.round((level - mean) / (2.0 * np.pi)))
