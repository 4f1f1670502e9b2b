"""Floors: how high an ankle must be for its sole to be out of the ground, corners of the ground included."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.footprint import Prints, Tracks
from surefoot.scene import Scene
from surefoot.slip import least_steps, taken_off
from surefoot.tolerances import REFERENCE_LEG
from surefoot.underfoot import BENEATH, rise_inside

__all__ = [
    "at_rest_on_ground", "floor_beneath", "floor_under", "held_back", "in_the_way", "onto_ground", "swept_floor",
]  # fmt: skip

Array = NDArray[np.float64]
EVENLY = np.array([[0.5, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.5]])
"""What each place between two frames has of what the two in the middle have, where it grows evenly from the frames."""
Flags = NDArray[np.bool_]

SAME = 1e-12
STILL = 1e-5
"""Metres that a standing sole may slip from one frame to the next."""
ROUNDS = 6
CUT = 1e-3
"""Metres that a sole may cut through ground between two frames before its way is changed."""
SHARES = (0.85, 0.7, 0.5, 0.3, 0.15, 0.0, -0.15, -0.3, -0.5, -0.75, -1.0)
ON_THE_WAY = (0.2, 0.4, 0.6, 0.8, 1.0)
SWEPT = (0.33, 0.67)
"""Where between two frames the ground under a swinging sole is asked for."""


def onto_ground(scene: Scene, stood: Array, angles: Array, bend: Array, planted: Flags) -> Array:
    """Lift planted feet, straight up, out of ground that their footprint's plane doesn't tell of.

    Where the ground gives way a little beneath that plane they follow it down.
    """
    raised = stood.copy()
    if scene.ground.is_even:
        floor = floor_under(scene, stood[0], stood[2], angles, bend)
        raised[1] = np.where(planted & (floor - stood[1] > 1e-9), floor, stood[1])
        return raised
    foot = planted.nonzero()[0]
    part = stood[:, planted], angles[:, planted], bend[planted]
    off = _floor_of(scene, foot, *part) - part[0][1]
    near = BENEATH * scene.binding.rig.leg / REFERENCE_LEG
    raised[1, planted] += np.where((off > 1e-9) | ((off < 0.0) & (off > -near)), off, 0.0)
    return raised


def at_rest_on_ground(
    scene: Scene, prints: Prints, tracks: Tracks, stood: Array, angles: Array, bend: Array, held: Flags, pitch: Array
) -> Array:
    """Return planted feet ``(3, 2, n)`` on the true ground, their touching points at rest on it.

    Where the ground isn't the footprint's plane (an edge under the toes, a cobble) another corner touches than the
    plane tells, so slips are looked for again with the heights that the corners really have.
    """
    raised = onto_ground(scene, stood, angles, bend, tracks.planted)
    if scene.ground.is_even:
        return raised
    which = np.where(tracks.planted, tracks.print_of, -1)
    same = (which[:, 1:] == which[:, :-1]) & (which[:, 1:] >= 0)
    yaw = prints.yaw[tracks.print_of]
    s, c = np.sin(yaw), np.cos(yaw)
    every = np.concatenate([raised, angles, bend[None]])
    moves = np.abs(every[..., 1:] - every[..., :-1]).max(axis=0) > SAME
    look = np.zeros(which.shape, dtype=bool)
    look[:, 1:] = moves
    step = np.zeros((2, *same.shape))
    for _ in range(ROUNDS):
        pair = same & (look[:, 1:] | look[:, :-1])
        foot, at = pair.nonzero()
        if not len(foot):
            break
        both = foot[:, None], at[:, None] + np.arange(2)
        points = scene.soles.gathered(foot).points(angles[:, *both][:, None], bend[both][None])
        points += raised[:, *both][:, None, None]
        moved = least_steps(points, points[1] - scene.ground.height(points[0], points[2]))[:, 0, :, 0]
        step[:, pair] = c[foot, at] * moved[0] - s[foot, at] * moved[1], s[foot, at] * moved[0] + c[foot, at] * moved[1]
        slips = pair & (np.hypot(*step) > STILL)
        if not np.count_nonzero(slips):
            break
        x, z = taken_off(np.where(pair, step, 0.0), which, tracks.source, held, pitch)
        look = np.hypot(x, z) > 0.1 * STILL
        raised[0] += c * x + s * z
        raised[2] += c * z - s * x
        raised[1, look] = stood[1, look]
        raised = onto_ground(scene, raised, angles, bend, tracks.planted & look)
    return raised


def _floor_of(
    scene: Scene, foot: NDArray[np.intp], ankle: Array, angles: Array, bend: Array, *, inside: bool = True
) -> Array:
    """Return the height of the ankle at which a sole touches, corners of the ground too, for samples ``(n,)``.

    Without the ``inside`` only the sole's own points are asked for. A sample whose sole lies as the one before it
    does, as in a flat spell, is worked out once.
    """
    every = np.concatenate([ankle[::2], angles, bend[None], foot[None]])
    fresh = np.ones(len(foot), dtype=bool)
    np.any(np.abs(every[:, 1:] - every[:, :-1]) > SAME, axis=0, out=fresh[1:])
    if not fresh.all():
        once = _floor_of(scene, foot[fresh], ankle[:, fresh], angles[:, fresh], bend[fresh], inside=inside)
        return np.asarray(once[fresh.cumsum() - 1])
    soles, ground = scene.soles.gathered(foot), scene.ground
    corner = soles.points(angles[:, None], bend[None])
    floor = (ground.height(ankle[0] + corner[0], ankle[2] + corner[2]) - corner[1]).max(axis=0)
    if not inside:
        return np.asarray(floor[0])
    at = np.array([ankle[0][None], floor, ankle[2][None]])
    return np.asarray((floor + rise_inside(ground, scene.binding.rig, soles, at, angles[:, None], bend[None]))[0])


def floor_beneath(
    scene: Scene, foot: NDArray[np.intp], ankle: Array, angles: Array, bend: Array, *, inside: bool = True
) -> Array:
    """Return what `floor_under` does for some feet at several places each, ``(n, places)`` metres.

    ``foot`` ``(n,)`` says whose they are; ``ankle`` and ``angles`` are ``(3, n, places)``, ``bend`` ``(n, places)``.
    Without the ``inside`` only the sole's own points are asked for, which is several times as quick.
    """
    shape = bend.shape
    flat = [each.reshape(*each.shape[:-2], -1) for each in (ankle, angles, bend)]
    return _floor_of(scene, np.repeat(foot, shape[1]), *flat, inside=inside).reshape(shape)


def in_the_way(scene: Scene, foot: NDArray[np.intp], ankle: Array, angles: Array, bend: Array) -> Array:
    """Return by how much soles are to be raised out of uneven ground at four places between frames, ``(n, 4)`` metres.

    Shapes are those of `floor_beneath`. The two places in the middle are asked for, on ground without edges of its own
    only under the sole's points, and what it rises by there grows evenly from the frames.
    """
    middle = ankle[..., 1:3], angles[..., 1:3], bend[:, 1:3]
    floor = floor_beneath(scene, foot, *middle, inside=scene.ground.edges_suffice)
    return np.asarray(np.maximum(floor - ankle[1, :, 1:3], 0.0) @ EVENLY)


def floor_under(scene: Scene, x: Array, z: Array, angles: Array, bend: Array) -> Array:
    """Return the height of the ankle at which the sole touches, corners of the ground too, ``(2, n)`` metres."""
    if scene.ground.is_level:
        level = float(scene.ground.height(np.zeros(1), np.zeros(1))[0])
        return np.asarray(level - scene.soles.lowest(angles[0], angles[2], bend))
    corner = scene.soles.corners(angles, bend)
    floor = (scene.ground.height(x + corner[0], z + corner[2]) - corner[1]).max(axis=0)
    if scene.ground.is_even:
        return np.asarray(floor)
    at = np.array([x, floor, z])
    return np.asarray(floor + rise_inside(scene.ground, scene.binding.rig, scene.soles, at, angles, bend))


def swept_floor(scene: Scene, known: Flags, ankle: Array, angles: Array, bend: Array) -> Array:
    """Return the lowest ankle of each swing frame, ``(2, n)``, at which the sole clears the ground it sweeps over.

    That's the ground under it at the frame and at places on the way to both neighbours; -inf in known frames.
    """
    free = ~known
    foot = free.nonzero()[0]
    floor = np.full(known.shape, -np.inf)
    floor[free] = _floor_of(scene, foot, ankle[:, free], angles[:, free], bend[free])
    ways = free[:, :-1] | free[:, 1:]
    foot, at = ways.nonzero()
    for share in SWEPT:
        part = [
            values[..., foot, at] * (1.0 - share) + values[..., foot, at + 1] * share
            for values in (ankle, angles, bend)
        ]
        between = np.full(ways.shape, -np.inf)
        between[ways] = _floor_of(scene, foot, *part)
        floor[:, :-1] = np.maximum(floor[:, :-1], between)
        floor[:, 1:] = np.maximum(floor[:, 1:], between)
    return np.where(known, -np.inf, floor)


def held_back(scene: Scene, known: Flags, ankle: Array, angles: Array, bend: Array) -> tuple[Flags, Array]:
    """Return swing frames next to a stance that an edge stands in the way of, and ankles that go round it.

    Between a stance's last frame and the first of the swing (or the other way about) a toe can be led through a
    riser, since the planted frame can't rise. That swing frame is held back towards the stance, across the
    ground, by the least of a few shares that clears the way.
    """
    held, out = np.zeros(known.shape, dtype=bool), ankle.copy()
    for stance, swing in ((slice(None, -1), slice(1, None)), (slice(1, None), slice(None, -1))):
        ends = known[:, stance] & ~known[:, swing]
        foot, at = ends.nonzero()
        if not len(foot):
            continue
        first, last = at + (stance.start or 0), at + (swing.start or 0)
        here, there = ankle[:, foot, first], ankle[:, foot, last]
        turns = np.array([angles[:, foot, first], angles[:, foot, last]])
        bends = np.array([bend[foot, first], bend[foot, last]])
        bad = _cut(scene, foot, here, there, turns, bends) > CUT
        if not np.count_nonzero(bad):
            continue
        foot, last, here, there = foot[bad], last[bad], here[:, bad], there[:, bad]
        turns, bends = turns[..., bad], bends[:, bad]
        best, least = there.copy(), np.full(len(foot), np.inf)
        for share in SHARES:
            tried = there.copy()
            tried[::2] = here[::2] + share * (there[::2] - here[::2])
            cut = _cut(scene, foot, here, tried, turns, bends)
            better = (least > CUT) & (cut < least - 1e-4)
            best, least = np.where(better, tried, best), np.where(better, cut, least)
        best[1] = np.maximum(best[1], _floor_of(scene, foot, best, turns[1], bends[1]))
        held[foot, last] = True
        out[:, foot, last] = best
    return held, out


def _cut(scene: Scene, foot: NDArray[np.intp], here: Array, there: Array, turns: Array, bends: Array) -> Array:
    """Return how deep soles get on the way between two ankles ``(3, n)``, metres straight up."""
    share = np.array(ON_THE_WAY)

    def on_way(first: Array, last: Array) -> Array:
        return np.asarray(first[..., None] + share * (last - first)[..., None])

    ankle = on_way(here, there)
    floor = floor_beneath(scene, foot, ankle, on_way(*turns), on_way(*bends))
    return np.asarray(np.maximum((floor - ankle[1]).max(axis=1), 0.0))
