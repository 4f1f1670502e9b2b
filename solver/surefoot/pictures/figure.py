"""The posed figure: a clip's joints, soles and footprints at each frame, as plain arrays that anything can draw.

**Layout.** Every array runs frame first, float64, metres, in *ground space* (right-handed, +Y up; the space
that rides on the belt and lies on the world at the first frame). Feet are ordered left, right. Let n be the
number of frames:

==================  =================  ==========================================================================
field               shape              holds
==================  =================  ==========================================================================
frames              (n,)               the animator's frame numbers; may lie between whole ones
joints              (n, 2, 7, 3)       for each foot the points named by `JOINTS`: hip, knee, ankle, heel,
                                       hinge, ball, toe; heel, ball and toe lie on the sole's centre line
hind                (n, 2, h, 3)       the hindfoot's sole, a ring in drawing order (not closed; corners may repeat)
toes                (n, 2, t, 3)       the toe segment's sole, likewise
hips                (n, 3)             the hips control
up, forward         (n, 3)             unit vectors of the hips
standing            (n, 2) bool        whether the foot is in a stance
anchors             (n, 2, 3, 3)       where the footprint holds heel, ball and toe; NaN in swing
world_from_ground   (n, 4, 4)          multiply a ground-space point (x, y, z, 1) to have it in world space
line                (p, 3)             the ground's line under the figure along ``heading``, corners and risers included
heading             float              the way it goes, radians about +Y: 0 along +Z, positive towards +X
==================  =================  ==========================================================================

`looked_at` turns points into a view from the side, from the front or from above.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.clip import Stance
from surefoot.errors import UnknownName
from surefoot.footprint import Tracks, fit_prints
from surefoot.leg import knee_forward, knee_point
from surefoot.planting import Footprint
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.sole import Points, Soles, Turns

__all__ = [
    "JOINTS",
    "VIEWS",
    "Figure",
    "Footing",
    "figure_of",
    "footings_at",
    "footings_of",
    "looked_at",
    "scene_at",
    "way_of",
]

Array = NDArray[np.float64]
View = Literal["side", "front", "above"]

JOINTS = ("hip", "knee", "ankle", "heel", "hinge", "ball", "toe")
"""What `Figure.joints` holds, in its order."""
VIEWS: tuple[View, ...] = ("side", "front", "above")
STILL_TRAVEL = 0.1
"""Of the leg's length: a clip that goes less far has the heading of its hips."""
BEYOND = 1.5
"""Of the leg's length: how far the ground's line reaches beyond the hips, before and behind."""
"""Metres between two points of a ground that is neither a plane nor a profile."""


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """One character posed at each frame; the module's text has the layout."""

    frames: Array
    joints: Array
    hind: Array
    toes: Array
    hips: Array
    up: Array
    forward: Array
    standing: NDArray[np.bool_]
    anchors: Array
    world_from_ground: Array
    line: Array
    heading: float


@dataclass(frozen=True, slots=True, eq=False)
class Footing:
    """One stance's footprint: the flat sole on the ground, in ground space, metres.

    Parameters
    ----------
    stance : Stance
    foot : int
        0 left, 1 right.
    place : ndarray, shape (3,)
        On the ground under the flat foot's ankle.
    hind, toes : ndarray, shape (corners, 3)
        The sole's two rings, in drawing order.
    anchors : ndarray, shape (3, 3)
        Heel, ball and toe, one a row.
    """

    stance: Stance
    foot: int
    place: Array
    hind: Array
    toes: Array
    anchors: Array


def footings_of(scene: Scene, stances: Sequence[Stance]) -> tuple[Footing, ...]:
    """Return the footprints that depart least from the feet, left foot's first; ``scene`` is the whole clip's."""
    tracks = Tracks.of(scene, stances)
    prints = fit_prints(scene, tracks)
    own = np.flatnonzero(tracks.source == np.arange(len(tracks.source))).tolist()
    ordered = [stance for foot in FEET for stance in stances if stance.foot == foot]
    found = []
    for stance, number in zip(ordered, own, strict=True):
        foot = FEET.index(stance.foot)
        flat = _flat(scene.binding.rig)[:, :, foot]
        held = prints.outof(np.full(flat.shape[1], number), flat) + prints.origin[:, number, None]
        held = np.concatenate([held, prints.origin[:, number, None]], axis=1)
        held = _under_foot(scene, held, stance)
        found.append(_footing(scene.binding.rig, stance, held[:, -1].copy(), held[:, :-1]))
    return tuple(found)


def footings_at(scene: Scene, footprints: Sequence[Footprint]) -> tuple[Footing, ...]:
    """Return the footprints that a plant tells, on level ground, left foot's first; quicker than to fit them anew."""
    found = []
    for step in footprints:
        s, c = np.sin(step.yaw), np.cos(step.yaw)
        turn, place = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]), np.array(step.place)
        held = turn @ _flat(scene.binding.rig)[:, :, FEET.index(step.stance.foot)] + place[:, None]
        found.append(_footing(scene.binding.rig, step.stance, place, held))
    return tuple(found)


def _footing(rig: Rig, stance: Stance, place: Array, held: Array) -> Footing:
    """Return a footing from its sole's points ``(3, n)``, in the order of `_drawn`."""
    hind, points = _drawn(rig).hind, held.T
    return Footing(stance, FEET.index(stance.foot), place, points[:hind], points[hind:-4], points[-4:-1])


def _under_foot(scene: Scene, held: Array, stance: Stance) -> Array:
    """Return a loop's footprint (its place last) moved by whole rounds to where the foot is when the stance begins."""
    if scene.drift is None or scene.drift.is_still:
        return held
    clip, foot = scene.binding.clip, FEET.index(stance.foot)
    ankle = scene.ankle[:, foot, stance.first - clip.first]
    moved = [held if not lap else scene.drift.apply(held, times=lap) for lap in (0, -1, 1)]
    return min(moved, key=lambda one: float(np.hypot(*(one[::2, -1] - ankle[::2]))))


def scene_at(scene: Scene, frames: ArrayLike) -> Scene:
    """Return the scene at frames of one's own choice, ``(n,)``, between whole ones too.

    A loop's frames are taken back into its range; others must lie in it.
    """
    clip = scene.binding.clip
    at = np.asarray(frames, dtype=np.float64)
    at = clip.first + (at - clip.first) % clip.frames if clip.loop else np.clip(at, clip.first, clip.last)
    values = scene.binding.values(at)
    return Scene.riding(scene.binding, scene.ground, scene.belt, at, values, scene.binding.pose(values, at))


def figure_of(scene: Scene, stances: Sequence[Stance], footings: Sequence[Footing] = ()) -> Figure:
    """Return the figure at every frame of a scene.

    Parameters
    ----------
    scene : Scene
        As `surefoot.planting.scene_of` or `scene_at` gives it.
    stances : sequence of Stance
    footings : sequence of Footing
        From `footings_of` for the whole clip; without them ``anchors`` are all NaN.
    """
    rig = scene.binding.rig
    heading = way_of(scene)
    points = scene.soles.placed(_drawn(rig), scene.angles, scene.pose.bend) + scene.ankle[:, None]
    hind, toes = np.split(points[:, :-4], [_drawn(rig).hind], axis=1)
    axes, place = scene.pose.hips_turn, scene.pose.hips
    knee = _knee(scene)
    own = np.concatenate([np.stack([place, place + axes[:, 1], place + axes[:, 2]], axis=1), knee], axis=1)
    own = scene.belt.to_ground(own, scene.time)
    hips = own[:, 0]
    middle, reach = hips.mean(axis=1), BEYOND * rig.leg
    along = _along(hips - middle[:, None], heading)
    heel, ball, toe, hinge = points[:, -4:].swapaxes(0, 1)
    return Figure(
        frames=scene.frames.copy(),
        joints=np.stack([scene.hip, own[:, 3:], scene.ankle, heel, hinge, ball, toe]).transpose(3, 2, 0, 1),
        hind=hind.transpose(3, 2, 1, 0),
        toes=toes.transpose(3, 2, 1, 0),
        hips=hips.T.copy(),
        up=(own[:, 1] - hips).T,
        forward=(own[:, 2] - hips).T,
        standing=_standing(scene, stances).T,
        anchors=_anchors(scene, footings),
        world_from_ground=_world_from_ground(scene),
        line=scene.ground.section(middle, heading, float(along.min()) - reach, float(along.max()) + reach),
        heading=heading,
    )


def _world_from_ground(scene: Scene) -> Array:
    """Return a matrix ``(4, 4)`` for each frame, ``(frames, 4, 4)``."""
    ends = np.repeat(np.eye(3, 4)[:, :, None], scene.count, axis=2)  # the axes' ends, and the origin
    ends = scene.to_world(ends)
    frame = np.tile(np.eye(4), (scene.count, 1, 1))
    frame[:, :3, :3], frame[:, :3, 3] = (ends[:, :3] - ends[:, 3:]).transpose(2, 0, 1), ends[:, 3].T
    return frame


def looked_at(points: ArrayLike, view: View, heading: float = 0.0) -> Array:
    """Return points ``(..., 3)`` as seen from one side, ``(..., 2)`` metres: to the right, and up on the paper.

    ``side`` is from the character's right, so that it goes to the right; ``front`` is from
    ahead, its left to the right; ``above`` has the way it goes to the right, its left up.
    """
    p = np.asarray(points, dtype=np.float64)
    s, c = np.sin(heading), np.cos(heading)
    along, left = s * p[..., 0] + c * p[..., 2], c * p[..., 0] - s * p[..., 2]
    if view == "side":
        return np.stack([along, p[..., 1]], axis=-1)
    if view == "front":
        return np.stack([left, p[..., 1]], axis=-1)
    if view == "above":
        return np.stack([along, left], axis=-1)
    raise UnknownName("view", view, VIEWS)


def way_of(scene: Scene) -> float:
    """Return the way a clip goes over the ground, radians about +Y; one that stays goes where its hips point."""
    hips = scene.belt.to_ground(scene.pose.hips, scene.time)
    went = np.array(scene.drift.shift) if scene.drift is not None else hips[:, -1] - hips[:, 0]
    if np.hypot(went[0], went[2]) < STILL_TRAVEL * scene.binding.rig.leg:
        ahead = scene.pose.hips_turn[:, 2].mean(axis=-1)
        went = ahead if np.hypot(ahead[0], ahead[2]) > 1e-9 else np.array([0.0, 0.0, 1.0])
    return float(np.arctan2(went[0], went[2]))


def _knee(scene: Scene) -> Array:
    """Return both knees, world space, ``(3, 2, frames)``."""
    pose, legs = scene.pose, scene.binding.rig.legs
    thigh, shank = (np.array([[getattr(leg, bone)] for leg in legs]) for bone in ("thigh", "shank"))
    forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    return knee_point(pose.hip, pose.ankle, forward, thigh, shank)


@lru_cache(maxsize=64)
def _drawn(rig: Rig) -> Points:
    """Return what is drawn of a sole: the rings of hindfoot and toes in drawing order, heel, ball, toe and hinge."""
    soles = Soles.of(rig)
    table = np.array(soles.points_of)
    for part, name in ((slice(soles.hind), "hind_corners"), (slice(soles.hind, -3), "toe_corners")):
        ring = table[:, part]
        for foot, leg in enumerate(rig.legs):
            ring[:, :, foot] = ring[:, _order(getattr(leg.foot, name), ring.shape[1]), foot]
    hinge = np.zeros((7, 1, len(rig.legs)))
    hinge[:3, 0] = np.array([leg.foot.ball for leg in rig.legs]).T
    return Points(np.concatenate([table, hinge], axis=1), soles.hind)


def _order(corners: Array, most: int) -> NDArray[np.intp]:
    """Return in which order a foot's corners ``(n, 3)`` go round; where others have more, its last one repeats."""
    own = corners[:, ::2]
    x, z = (own - own.mean(axis=0)).T
    order = np.arctan2(x, z).argsort(kind="stable")
    last = int(np.flatnonzero(order == len(own) - 1)[0])
    return np.concatenate([order[: last + 1], np.arange(len(own), most), order[last + 1 :]])


@lru_cache(maxsize=64)
def _flat(rig: Rig) -> Array:
    """Return what is drawn of both flat soles, in footprint space, ``(3, n, feet)``."""
    soles, zero = Soles.of(rig), np.zeros((2, 1))
    flat = soles.placed(_drawn(rig), np.zeros((3, 2, 1)), zero)
    return np.asarray((flat + soles.planted(Turns(zero, zero, zero, zero))[:, None])[..., 0])


def _standing(scene: Scene, stances: Sequence[Stance]) -> NDArray[np.bool_]:
    clip = scene.binding.clip
    down = np.zeros((2, scene.count), dtype=bool)
    for stance in stances:
        after = scene.frames - stance.first
        after = after % clip.frames if clip.loop else after
        down[FEET.index(stance.foot)] |= (after >= 0.0) & (after <= stance.last - stance.first)
    return down


def _anchors(scene: Scene, footings: Sequence[Footing]) -> Array:
    """Return where the footprints hold heel, ball and toe, ``(frames, 2, 3, 3)``, NaN in swing."""
    out = np.full((scene.count, 2, 3, 3), np.nan)
    clip = scene.binding.clip
    for footing in footings:
        for lap in (0, 1) if clip.loop else (0,):
            later = scene.frames + lap * clip.frames
            at = (later >= footing.stance.first) & (later <= footing.stance.last)
            held = footing.anchors.T
            if lap and scene.drift is not None:
                held = scene.drift.apply(held, times=-lap)
            out[at, footing.foot] = held.T
    return out


def _along(points: Array, heading: float) -> Array:
    return np.asarray(np.sin(heading) * points[0] + np.cos(heading) * points[2])
