"""Where a clip's soles are and how far they slide, measured without the solver.

Shares no code with the solver: keys are evaluated by a cubic Hermite form of its own, poses are made with
scipy's rotations, and the sole's corners are cut from the outline here. Of a clip, a rig and a ground only
the plain numbers are read. Arrays run frame first; metres, radians; *ground space* rides on the true belt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]
Velocity = Sequence[float] | Array

TOUCHING = 5e-4
"""A point of the sole this near to the lowest one touches too, metres."""
FLOOR: tuple[Velocity, Velocity] = ((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
"""Ground through the origin, its normal straight up."""
STEP, LINEAR, THROUGH, LEVEL, GIVEN = range(5)
HOLD, REPEAT, ADVANCE = range(3)


def evaluate(curve: Any, at: Array) -> Array:
    """Return a curve's values at frames ``at`` (m,), in the curve's own unit; Bezier keys are refused."""
    frames, values = np.asarray(curve.frames), np.asarray(curve.values)
    if len(frames) == 1:
        return np.full(len(at), values[0])
    period, rise = frames[-1] - frames[0], values[-1] - values[0]
    before, after = int(curve.before), int(curve.after)
    slope_in, slope_out = slopes(curve)
    early, late = at < frames[0], at > frames[-1]
    rounds = np.floor((at - frames[0]) / period)
    rounds = np.where((early & (before != HOLD)) | (late & (after != HOLD)), rounds, 0.0)
    advances = (early & (before == ADVANCE)) | (late & (after == ADVANCE))
    frame = np.clip(at - rounds * period, frames[0], frames[-1])
    k = np.clip(np.searchsorted(frames, frame, side="right") - 1, 0, len(frames) - 2)
    length = frames[k + 1] - frames[k]
    u = (frame - frames[k]) / length
    found = (
        values[k] * (1 + 2 * u) * (1 - u) ** 2
        + slope_out[k] * length * u * (1 - u) ** 2
        + values[k + 1] * u * u * (3 - 2 * u)
        + slope_in[k + 1] * length * u * u * (u - 1)
    )
    held = np.where(u < 1.0, values[k], values[k + 1])
    found = np.where(np.asarray(curve.shapes)[k] == STEP, held, found)
    return np.asarray(found + np.where(advances, rounds * rise, 0.0))


def slopes(curve: Any) -> tuple[Array, Array]:
    """Return the slopes per frame into and out of every key, each (n,)."""
    frames, values, shapes = np.asarray(curve.frames), np.asarray(curve.values), np.asarray(curve.shapes)
    count = len(frames)
    into, out = np.zeros(count), np.zeros(count)
    if np.any(shapes > GIVEN):
        raise ValueError("this measure reads no Bezier keys")
    round_about = int(curve.before) != HOLD or int(curve.after) != HOLD
    advance = ADVANCE in (int(curve.before), int(curve.after))
    period, rise = frames[-1] - frames[0], (values[-1] - values[0]) if advance else 0.0
    for k in range(count):
        earlier = (frames[k - 1], values[k - 1]) if k else None
        later = (frames[k + 1], values[k + 1]) if k < count - 1 else None
        if earlier is None and round_about:
            earlier = frames[-2] - period, values[-2] - rise
        if later is None and round_about:
            later = frames[1] + period, values[1] + rise
        here = frames[k], values[k]
        if shapes[k] == GIVEN:
            into[k], out[k] = curve.slope_in[k], curve.slope_out[k]
        elif shapes[k] == THROUGH:
            a, b = earlier or here, later or here
            into[k] = out[k] = (b[1] - a[1]) / (b[0] - a[0])
        elif shapes[k] == LINEAR:
            chords = [
                (b[1] - a[1]) / (b[0] - a[0]) if a is not None and b is not None else None
                for a, b in ((earlier, here), (here, later))
            ]
            into[k] = chords[0] if chords[0] is not None else chords[1]
            out[k] = chords[1] if chords[1] is not None else chords[0]
    return into, out


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """World from some control, frame by frame: rotations, places ``(n, 3)`` and a scale ``(n,)``."""

    turn: Rotation
    place: Array
    size: Array


def space_of(clip: Any, rig: Any, name: str, at: Array) -> Space:
    """Return world from a control, or from a space that the clip gives as matrices (at whole frames only)."""
    count = len(at)
    if name == "world":
        return Space(Rotation.identity(count), np.zeros((count, 3)), np.ones(count))
    if name in clip.spaces:
        rows = np.asarray(np.round(at - clip.first), dtype=int)
        if np.abs(rows + clip.first - at).max() > 1e-9:
            raise ValueError("a sampled space is known at whole frames only")
        matrices = np.asarray(clip.spaces[name])[rows % clip.frames]
        size = np.linalg.norm(matrices[:, :3, 0], axis=1)
        return Space(Rotation.from_matrix(matrices[:, :3, :3] / size[:, None, None]), matrices[:, :3, 3], size)
    control = rig.controls[name]
    parent = space_of(clip, rig, control.parent, at)
    shift = np.stack([number(clip, control, key, at) for key in "xyz"], axis=1) + control.rest
    about = {"x": "pitch", "y": "yaw", "z": "roll"}
    angles = np.stack([number(clip, control, about[axis], at) for axis in control.order], axis=1)
    turn = Rotation.from_euler(control.order.upper(), angles)
    return Space(parent.turn * turn, parent.turn.apply(shift * parent.size[:, None]) + parent.place, parent.size)


def number(clip: Any, control: Any, key: str, at: Array) -> Array:
    """Return one axis of a control in metres or radians, ``(n,)``; zero where it has no channel."""
    axis = control.axes.get(key)
    if axis is None or axis.channel not in clip.channels:
        return np.zeros(len(at))
    return np.asarray((evaluate(clip.channels[axis.channel], at) - axis.zero) * axis.scale)


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """One foot over some instants.

    ``points`` ``(n, k, 3)`` are the sole's corners and its centre line's heel, ball and toe, ground space;
    ``centre`` ``(n, 3, 3)`` are those last three; ``ankle`` ``(n, 3)`` is in world space; ``pitch``, ``yaw``
    and ``cant`` ``(n,)`` are the foot's, about the world's axes; ``height`` ``(n, k)`` is above the ground, whose
    ``normal`` ``(3,)`` it's square to.
    """

    at: Array
    points: Array
    centre: Array
    ankle: Array
    pitch: Array
    yaw: Array
    cant: Array
    bend: Array
    height: Array
    normal: Array = field(default_factory=lambda: np.array([0.0, 1.0, 0.0]))


def foot_steps(
    clip: Any, rig: Any, foot: int, at: Array, *, belt: Velocity = (0.0, 0.0, 0.0),
    plane: tuple[Velocity, Velocity] = FLOOR,
) -> Steps:  # fmt: skip
    """Return a foot (0 left, 1 right) at frames ``at``, on a belt of that velocity, over a plane (point, normal)."""
    at = np.asarray(at, dtype=np.float64)
    control, shape = rig.feet[foot], rig.legs[foot].foot
    space = space_of(clip, rig, control.name, at)
    bend = number(clip, control, "bend", at)
    hind, toes, line = sole_of(shape)
    ride = np.outer((at - clip.first) / float(clip.rate), belt)

    def placed(point: Array) -> Array:
        return np.asarray(space.turn.apply(point) + space.place - ride)

    def toe(point: Array) -> Array:
        tips_up = Rotation.from_rotvec(np.outer(-bend, [1.0, 0.0, 0.0]))
        return placed(tips_up.apply(np.tile(point - shape.ball, (len(at), 1))) + shape.ball)

    corners = [placed(np.tile(p, (len(at), 1))) for p in hind] + [toe(p) for p in toes]
    centre = [placed(np.tile(line[0], (len(at), 1))), toe(line[1]), toe(line[2])]
    points = np.stack(corners + centre, axis=1)
    yaw, pitch, cant = space.turn.as_euler("YXZ").T
    through, normal = (np.asarray(v, dtype=np.float64) for v in plane)
    normal = normal / np.linalg.norm(normal)
    height = (points - through) @ normal
    return Steps(at, points, np.stack(centre, axis=1), space.place, pitch, yaw, cant, bend, height, normal)


def sole_of(shape: Any) -> tuple[list[Array], list[Array], list[Array]]:
    """Return the hindfoot's corners, the toe segment's, and heel, ball and toe on the centre line, foot space."""
    outline = np.asarray(shape.outline)
    ball, sole = shape.ball, float(shape.heel[1])
    ring = np.concatenate([outline, outline[:1]])
    cut, heel_x, toe_x = [], [], []
    back, front = outline[:, 1].min(), outline[:, 1].max()
    for (x0, z0), (x1, z1) in pairwise(ring):
        if min(z0, z1) <= ball[2] <= max(z0, z1) and z0 != z1:
            cut.append(x0 + (ball[2] - z0) / (z1 - z0) * (x1 - x0))
        heel_x += [x0] if z0 - back < 1e-9 else []
        toe_x += [x0] if front - z0 < 1e-9 else []
    hinge = [np.array([x, sole, ball[2]]) for x in (min(cut), max(cut))]
    hind = [np.array([x, sole, z]) for x, z in outline if z < ball[2]] + hinge
    toes = [np.array([x, sole, z]) for x, z in outline if z > ball[2]] + hinge
    line = [np.array([(min(x) + max(x)) / 2.0, sole, z]) for x, z in ((heel_x, back), (cut, ball[2]), (toe_x, front))]
    return hind, toes, line


def instants(first: float, last: float, per_frame: int = 1) -> Array:
    """Return frames ``first`` to ``last``, both included, at so many instants a frame."""
    return np.asarray(first + np.arange(round((last - first) * per_frame) + 1) / per_frame)


def pivot_path(steps: Steps) -> Array:
    """Return how far the pivot has slid along the ground since the first instant, ``(n, 3)``, metres, ground space.

    From one instant to the next, of the points that touch at both (at either, where none does at both) the
    one that moves least stands for the pivot.
    """
    path = np.zeros((len(steps.at), 3))
    lowest = steps.height.min(axis=1)
    for i in range(1, len(steps.at)):
        now = steps.height[i] < lowest[i] + TOUCHING
        past = steps.height[i - 1] < lowest[i - 1] + TOUCHING
        usable = now & past if (now & past).any() else now | past
        moves = (steps.points[i] - steps.points[i - 1])[usable]
        moves -= np.outer(moves @ steps.normal, steps.normal)  # what leaves the ground squarely doesn't slide on it
        path[i] = moves[np.linalg.norm(moves, axis=1).argmin()]
    return np.cumsum(path, axis=0)


def slide(steps: Steps) -> float:
    """Return the largest distance across the ground between any two places of the pivot's path, metres."""
    path = pivot_path(steps)
    return float(np.linalg.norm(path[:, None] - path[None], axis=-1).max())


def spells(steps: Steps, *, onset: float, level: float = np.radians(0.5)) -> Iterator[tuple[int, NDArray[np.intp]]]:
    """Yield which centre-line point (0 heel, 1 ball, 2 toe) the closed rocker turns about, and its instants."""
    pivot = np.where(steps.pitch < -1e-9, 0, np.where(steps.pitch <= onset + 1e-9, 1, 2))
    pivot[np.abs(steps.cant) > level] = -1
    edges = np.flatnonzero(np.diff(pivot)) + 1
    for rows in np.split(np.arange(len(pivot)), edges):
        if len(rows) and pivot[rows[0]] >= 0:
            yield int(pivot[rows[0]]), rows


def anchor_slide(steps: Steps, *, onset: float) -> float:
    """Return how far any centre-line pivot leaves its first place in its spell, metres across the ground."""
    most = 0.0
    for pivot, rows in spells(steps, onset=onset):
        place = steps.centre[rows, pivot][:, [0, 2]]
        most = max(most, float(np.hypot(*(place - place[0]).T).max()))
    return most


def sink(steps: Steps) -> float:
    """Return how deep the deepest point of the sole gets, metres (negative: it never touches)."""
    return float(-steps.height.min())


def hover(steps: Steps) -> float:
    """Return how high the sole's lowest point gets, metres."""
    return float(steps.height.min(axis=1).max())


def soles(clip: Any, rig: Any, at: Array | None = None) -> Array:
    """Return every point of both soles, ``(2, n, k, 3)`` world space, at frames ``at`` or at all of the clip's."""
    frames = instants(clip.first, clip.last) if at is None else at
    return np.array([foot_steps(clip, rig, foot, frames).points for foot in range(2)])


def most_apart(one: Array, other: Array) -> float:
    """Return the largest distance between like points ``(..., 3)``, metres."""
    return float(np.linalg.norm(one - other, axis=-1).max())


def stance_steps(
    clip: Any, rig: Any, walk: Any, per_frame: int, *, plane: tuple[Velocity, Velocity] = FLOOR
) -> list[Steps]:
    """Return the steps of each of a walk's stances, on its true belt, at so many instants a frame."""
    return [
        foot_steps(
            clip, rig, ("left", "right").index(stance.foot), instants(stance.first, stance.last, per_frame),
            belt=walk.belt, plane=plane,
        )
        for stance in walk.stances
    ]  # fmt: skip
