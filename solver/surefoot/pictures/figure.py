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
from surefoot.rotations import apply, matrix
from surefoot.scene import Scene
from surefoot.sole import Turns

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
        zero = np.zeros((2, 1))
        sole = scene.soles.points(np.zeros((3, 2, 1)), zero)[:, :, foot, 0]
        ankle = scene.soles.planted(Turns(zero, zero, zero, zero))[:, foot, 0]
        held = prints.outof(np.full(sole.shape[1], number), sole + ankle[:, None]) + prints.origin[:, number, None]
        hind, toes = scene.soles.hind, sole.shape[1] - 3 - scene.soles.hind
        back = _orders(scene.binding.rig, "hind_corners", hind)[foot]
        front = _orders(scene.binding.rig, "toe_corners", toes)[foot]
        held = np.concatenate([held, prints.origin[:, number, None]], axis=1)
        held = _under_foot(scene, held, stance)
        rings = held[:, back].T, held[:, hind + front].T
        found.append(Footing(stance, foot, held[:, -1].copy(), *rings, held[:, -4:-1].T))
    return tuple(found)


def footings_at(scene: Scene, footprints: Sequence[Footprint]) -> tuple[Footing, ...]:
    """Return the footprints that a plant tells, on level ground, left foot's first; quicker than to fit them anew."""
    zero = np.zeros((2, 1))
    flat = scene.soles.points(np.zeros((3, 2, 1)), zero) + scene.soles.planted(Turns(zero, zero, zero, zero))[:, None]
    hind = scene.soles.hind
    found = []
    for step in footprints:
        foot = FEET.index(step.stance.foot)
        s, c = np.sin(step.yaw), np.cos(step.yaw)
        turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
        held = turn @ flat[:, :, foot, 0] + np.array(step.place)[:, None]
        back = _orders(scene.binding.rig, "hind_corners", hind)[foot]
        front = _orders(scene.binding.rig, "toe_corners", held.shape[1] - 3 - hind)[foot]
        rings = held[:, back].T, held[:, hind + front].T
        found.append(Footing(step.stance, foot, np.array(step.place), *rings, held[:, -3:].T))
    return tuple(found)


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
    hind, toes = _rings(scene)
    heading = way_of(scene)
    to_world = [scene.to_world(_steady(axis, scene.count)) for axis in np.vstack([np.eye(3), np.zeros(3)])]
    turn = (np.array(to_world[:3]) - to_world[3]).transpose(2, 1, 0)
    frame = np.tile(np.eye(4), (scene.count, 1, 1))
    frame[:, :3, :3], frame[:, :3, 3] = turn, to_world[3].T
    hips = scene.belt.to_ground(scene.pose.hips, scene.time)
    own = np.swapaxes(turn, 1, 2)  # ground from world
    axes = scene.pose.hips_turn
    middle, reach = hips.mean(axis=1), BEYOND * rig.leg
    along = _along(hips - middle[:, None], heading)
    return Figure(
        frames=scene.frames.copy(),
        joints=_joints(scene).transpose(3, 2, 1, 0),
        hind=hind.transpose(3, 2, 1, 0),
        toes=toes.transpose(3, 2, 1, 0),
        hips=hips.T.copy(),
        up=np.einsum("nij,jn->ni", own, axes[:, 1]),
        forward=np.einsum("nij,jn->ni", own, axes[:, 2]),
        standing=_standing(scene, stances).T,
        anchors=_anchors(scene, footings),
        world_from_ground=frame,
        line=scene.ground.section(middle, heading, float(along.min()) - reach, float(along.max()) + reach),
        heading=heading,
    )


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


def _joints(scene: Scene) -> Array:
    """Return hip, knee, ankle, heel, hinge, ball and toe, ``(3, 7, 2, frames)``."""
    pose, rig = scene.pose, scene.binding.rig
    thigh, shank = (np.array([[getattr(leg, bone)] for leg in rig.legs]) for bone in ("thigh", "shank"))
    forward = knee_forward(pose.hips_turn, pose.angles, pose.knee, hip=pose.hip, ankle=pose.ankle)
    knee = scene.belt.to_ground(knee_point(pose.hip, pose.ankle, forward, thigh, shank), scene.time)
    line = scene.soles.centre_line(scene.angles, pose.bend) + scene.ankle[:, None]
    own = np.array([leg.foot.ball for leg in rig.legs]).T[..., None]
    hinge = apply(matrix(*scene.angles), np.broadcast_to(own, scene.ankle.shape)) + scene.ankle
    return np.concatenate([np.stack([scene.hip, knee, scene.ankle, line[:, 0], hinge], axis=1), line[:, 1:]], axis=1)


def _rings(scene: Scene) -> tuple[Array, Array]:
    """Return the soles of hindfoot and toes, corners in drawing order, ``(3, corners, 2, frames)``."""
    corners = scene.soles.corners(scene.angles, scene.pose.bend) + scene.ankle[:, None]
    parts = corners[:, : scene.soles.hind], corners[:, scene.soles.hind :]
    made = []
    for part, name in zip(parts, ("hind_corners", "toe_corners"), strict=True):
        ring = np.empty_like(part)
        for foot, order in enumerate(_orders(scene.binding.rig, name, part.shape[1])):
            ring[:, :, foot] = part[:, order, foot]
        made.append(ring)
    return made[0], made[1]


@lru_cache(maxsize=64)
def _orders(rig: Rig, name: str, most: int) -> list[NDArray[np.intp]]:
    """Return for each foot in which order its corners go round; a shorter list's last corner repeats."""
    found = []
    for leg in rig.legs:
        own = getattr(leg.foot, name)[:, ::2]
        x, z = (own - own.mean(axis=0)).T
        order = np.arctan2(x, z).argsort(kind="stable")
        last = int(np.flatnonzero(order == len(own) - 1)[0])
        again = np.arange(len(own), most)
        found.append(np.concatenate([order[: last + 1], again, order[last + 1 :]]))
    return found


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


def _steady(point: Array, count: int) -> Array:
    return np.repeat(np.asarray(point, dtype=np.float64)[:, None], count, axis=1)
