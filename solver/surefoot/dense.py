"""The hand-over with a key on every frame: settled feet written back as channels.

Channels that needed no change are the very objects that came in. In a changed one each key has its own slopes, so that
the curve between whole frames is what was meant: the authored curve plus the correction in swing, and in stance the
cubic that lies nearest to the planted path at four places between two frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.as_written import is_stepped, stepped
from surefoot.curves import Curve, Outside
from surefoot.floors import in_the_way
from surefoot.heeding import heed
from surefoot.key_range import put_within
from surefoot.rig import Axis
from surefoot.scene import Scene
from surefoot.settle import Settled
from surefoot.slip import NOTHING, slip_steps
from surefoot.sole import LEVEL, Turns
from surefoot.spaces import Pose

__all__ = [
    "AXES", "BASIS", "PHASES", "Segments", "dense_curves", "dense_segments",
    "writable", "write_channels",
]  # fmt: skip

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Segments = NDArray[np.float64]
"""Channels of both feet from frame to frame, ``(4, 7, 2, segments)``; see `dense_segments`."""

AXES = ("x", "y", "z", "pitch", "yaw", "roll", "bend")
PHASES = np.array([0.2, 0.4, 0.6, 0.8])
BETWEEN = 5e-4
"""Metres by which a curve may leave the planted path between two frames."""
LEVER = 0.2
"""Metres: a change of angle matters as much as this lever moves."""

_P = PHASES[None, :]
BASIS = np.concatenate(
    [
        2 * _P**3 - 3 * _P**2 + 1,  # value at the left key
        _P**3 - 2 * _P**2 + _P,  # slope there
        3 * _P**2 - 2 * _P**3,  # value at the right key
        _P**3 - _P**2,  # slope there
    ]
)
_LEFT, _OUT, _RIGHT, _INTO = range(4)
_FIT = np.linalg.pinv(BASIS[[_OUT, _INTO]])  # (4, 2): leftover at the phases -> the two slopes


def _at_phases(parts: Array, basis: Array) -> Array:
    """Return the sum of parts ``(k, ...)`` times rows of a basis ``(k, phases)``, ``(..., phases)``."""
    return np.asarray((parts.reshape(len(parts), -1).T @ basis).reshape(*parts.shape[1:], -1))


def write_channels(scene: Scene, settled: Settled, *, ankle: Array, leave_below: float = 1e-6) -> dict[str, Curve]:
    """Return the changed channels by name, with a key on every frame; the parameters are `dense_segments`'s."""
    segments, changed = dense_segments(scene, settled, ankle=ankle, leave_below=leave_below)
    return dense_curves(scene, segments, wanted) if (wanted := writable(scene, changed)) else {}


def dense_segments(
    scene: Scene, settled: Settled, *, ankle: Array, leave_below: float, turns: Segments | None = None
) -> tuple[Segments, Flags]:
    """Return the planted feet's channels from frame to frame, and which of them changed.

    Parameters
    ----------
    ankle : ndarray, shape (3, 2, frames)
        The settled ankles in the world and in the clip's order.
    leave_below : float
        Metres: a channel that changes by less than this in every frame is left as it is
        (angles: times 1/0.2 m, in radians), unless its curve leaves the planted path by
        more than half a millimetre between two.
    turns : ndarray, shape (4, 4, 2, segments), optional
        Pitch, yaw, roll and bend to be taken as they stand instead of the settled ones.

    Returns
    -------
    segments : ndarray, shape (4, 7, 2, segments)
        x, y, z, pitch, yaw, roll and bend of both feet: the value at the left frame, the slope
        there, the value at the right frame, the slope there; metres, radians, a frame.
    changed : ndarray of bool, shape (7, 2)
    """
    binding = scene.binding
    _, angles, bend = settled.in_world(scene)
    new = binding.write(ankle, angles, bend, scene.values, scene.frames)
    change = new - binding.feet(scene.values)
    most = np.abs(change).max(axis=-1)
    most[3:] *= LEVER
    changed = most > leave_below
    segments = _segments(scene, settled, new, change)
    if turns is not None:
        segments[:, 3:] = turns
    slopes = segments[[_OUT, _INTO], :3]
    _fit_stances(scene, settled, segments)
    if not changed[:3].all():
        bent = _at_phases(segments[[_OUT, _INTO], :3] - slopes, BASIS[[_OUT, _INTO]])
        changed[:3] |= np.abs(bent).max(axis=(-2, -1), initial=0.0) > max(BETWEEN, leave_below)
    return segments, changed


def writable(scene: Scene, changed: Flags) -> list[tuple[int, int, Axis]]:
    """Return row, foot and axis of each changed channel that the rig has and the clip doesn't lock."""
    feet, keys, clip = scene.binding.rig.feet, scene.binding.foot_keys, scene.binding.clip
    found = []
    rows, sides = changed.nonzero()
    for row, foot in zip(rows.tolist(), sides.tolist(), strict=True):
        axis = feet[foot].axes.get(keys[row])
        if axis is not None and axis.channel not in clip.locked:
            found.append((row, foot, axis))
    return found


def _segments(scene: Scene, settled: Settled, new: Array, change: Array) -> Array:
    """Return the new curves from frame to frame: authored slopes plus those of the correction.

    Seven channels of two feet, ``(4, 7, 2, segments)``: value at the left frame, slope there, value at the
    right frame, slope there; metres, radians, a frame.
    """
    binding, tracks = scene.binding, settled.tracks
    loop = scene.drift is not None
    count = scene.count if loop else scene.count - 1
    scale = binding.feet(binding.scale)
    segments = np.empty((4, 7, 2, count))
    left, out, right, into = segments
    left[:], right[..., : scene.count - 1] = new[..., :count], new[..., 1:]
    if loop:
        right[..., -1:] = new[..., :1] + binding.feet(binding.end_values(scene.values) - scene.values[:, :1])
    out[:] = binding.feet(binding.pack.slopes(scene.frames[:count], side="right")) * scale
    into[:] = binding.feet(binding.pack.slopes(scene.frames[:count] + 1.0, side="left")) * scale
    planted, held = tracks.unroll(tracks.planted), tracks.unroll(settled.held)
    rolling = planted & (tracks.unroll(settled.angles[0]) >= -LEVEL) & scene.soles.hinged  # toes stay flat
    known = np.array([planted, held, rolling])
    still, turned, flexed = known[..., :count] & _next(known)[..., :count]
    never = np.zeros_like(still)
    regime = np.array([still, still, still, never, turned, never, flexed])
    first, last = _correction_slopes(_next(change)[..., :count] - change[..., :count], regime, loop)
    out += first
    into += last
    chord = right[4] - left[4]
    for slope in (out, into):
        np.copyto(slope[4], chord, where=turned)
        np.copyto(slope[6], slope[3], where=flexed)
    return segments


def _next(values: NDArray[Any]) -> NDArray[Any]:
    """Return what follows each value along the last axis; the first follows the last."""
    return np.concatenate([values[..., 1:], values[..., :1]], axis=-1)


def _correction_slopes(step: Array, regime: Flags, loop: bool) -> tuple[Array, Array]:
    """Return the correction's slope at both ends of each segment; it breaks where the regime does."""
    after, before = _next(step), np.concatenate([step[..., -1:], step[..., :-1]], axis=-1)
    same_after = regime == _next(regime)
    if not loop:
        same_after[..., -1] = False
    same_before = np.concatenate([same_after[..., -1:], same_after[..., :-1]], axis=-1)
    # one-sided ends take the parabola through the next segment where there is one
    out = np.where(same_before, 0.5 * (before + step), np.where(same_after, 1.5 * step - 0.5 * after, step))
    into = np.where(same_after, 0.5 * (step + after), np.where(same_before, 1.5 * step - 0.5 * before, step))
    return out, into


def _fit_stances(scene: Scene, settled: Settled, segments: Array) -> None:
    """Replace the slopes of x, y and z in stance by those that follow the planted path between frames."""
    heed()
    binding, tracks, prints = scene.binding, settled.tracks, settled.prints
    count = segments.shape[-1]
    if not len(tracks.source):
        return
    print_of, laps = tracks.unroll(tracks.print_of), tracks.unroll(tracks.laps)
    # a stance goes on over the seam, and its far part is a footprint's image a loop later: one source
    source = np.where(tracks.unroll(tracks.planted), tracks.source[print_of], -1)
    same = (source == _next(source)) & (source >= 0)
    if scene.drift is not None and not scene.drift.is_still:  # a foot that never lifts can't follow the ground's drift
        lap_ends = tracks.back % scene.count == scene.count - 1
        same &= ~lap_ends | (print_of != _next(print_of))
    same = same[:, :count]
    foot, at = same.nonzero()
    if not len(foot):
        return
    wide, lap = print_of[foot, at][:, None], laps[foot, at]
    time = (at[:, None] + PHASES) * binding.step
    between = _Between.of(scene, segments, foot, at)
    angles = between.angles
    if scene.belt.turn != 0.0:
        angles[1] -= scene.belt.heading(time)
    if scene.drift is not None and scene.drift.turn != 0.0:
        angles[1] += (lap * scene.drift.turn)[:, None]
    pitch, swivel, cant = prints.local_turns(wide, angles)
    off = _path(scene, settled, np.array([pitch, cant, swivel, between.bend]), foot, at)
    ground = prints.origin[:, wide] + prints.outof(wide, off)
    if not scene.ground.is_even:
        ground[1] += in_the_way(scene, foot, ground, angles, between.bend)
    if scene.drift is not None and np.count_nonzero(moved_on := lap > 0):
        ground[:, moved_on] = scene.drift.apply(ground[:, moved_on], times=-1)
    world = scene.belt.to_world(ground.reshape(3, -1), time.ravel()).reshape(ground.shape)
    ends = _at_phases(segments[::2, :3, foot, at], BASIS[::2])
    slopes = (between.write(world) - ends) @ _FIT
    segments[_OUT, :3, foot, at] = slopes[..., 0].T
    segments[_INTO, :3, foot, at] = slopes[..., 1].T


@dataclass(frozen=True, slots=True, eq=False)
class _Between:
    """A flat list of segments at the phases: world angles ``(3, n, phases)``, bend, and how to write an ankle."""

    scene: Scene
    foot: NDArray[np.intp]
    at: NDArray[np.intp]
    angles: Array
    bend: Array
    whole: tuple[Pose, Array, Array, int] | None

    @classmethod
    def of(cls, scene: Scene, segments: Array, foot: NDArray[np.intp], at: NDArray[np.intp]) -> _Between:
        binding = scene.binding
        if binding.plain:
            turns = _at_phases(segments[:, 3:, foot, at], BASIS)
            return cls(scene, foot, at, turns[:3], turns[3], None)
        # the feet's parents move: everything is read again at the places between, with the new feet put in
        count = segments.shape[-1]
        frames = (scene.frames[:count, None] + PHASES).ravel()
        values = binding.values(frames)
        binding.put_feet(values, _at_phases(segments, BASIS).reshape(7, 2, -1))
        pose = binding.pose(values, frames)
        angles = pose.angles.reshape(3, 2, count, -1)[:, foot, at]
        return cls(scene, foot, at, angles, pose.bend.reshape(2, count, -1)[foot, at], (pose, values, frames, count))

    def write(self, ankle: Array) -> Array:
        """Return x, y and z of the controls ``(3, n, phases)`` for world ankles of that shape."""
        binding = self.scene.binding
        if self.whole is None:
            return np.asarray(ankle - binding.rests[:, self.foot])
        pose, values, frames, count = self.whole
        full = pose.ankle.reshape(3, 2, count, -1).copy()
        full[:, self.foot, self.at] = ankle
        written = binding.write(full.reshape(3, 2, -1), pose.angles, pose.bend, values, frames)[:3]
        return np.asarray(written.reshape(3, 2, count, -1)[:, self.foot, self.at])


def _path(scene: Scene, settled: Settled, turns: Array, foot: NDArray[np.intp], at: NDArray[np.intp]) -> Array:
    """Return the planted ankles between frames, ``(3, n, phases)`` in footprint space.

    They start and end at the frames' own ankles and don't slip on the way, but for
    what the two ways of counting (frame by frame, place by place) differ by.
    """
    _, cant, swivel, _ = turns
    rolls = ((cant != 0.0) | (np.abs(swivel) > NOTHING)).any(axis=-1)
    if not np.count_nonzero(rolls):
        return scene.soles.gathered(foot).planted(Turns(*turns[:, None]))[:, 0]
    back, stood = settled.tracks.back, settled.stood.reshape(3, -1)
    here, there = back[foot, at], back[foot, (at + 1) % back.shape[1]]
    ends = np.array(settled.turns).reshape(4, -1)
    whole = np.empty((4, len(foot), len(PHASES) + 2))
    whole[..., 0], whole[..., 1:-1], whole[..., -1] = ends.take(here, axis=1), turns, ends.take(there, axis=1)
    path = scene.soles.gathered(foot).planted(Turns(*whole[:, None]))[:, 0]
    if rolls.all():
        path[::2, :, 1:] -= _crept(scene, whole, path, foot)
    else:
        path[::2, rolls, 1:] -= _crept(scene, whole[:, rolls], path[:, rolls], foot[rolls])
    first, last = stood.take(here, axis=1) - path[..., 0], stood.take(there, axis=1) - path[..., -1]
    return np.asarray(path[..., 1:-1] + first[..., None] + (last - first)[..., None] * PHASES)


def _crept(scene: Scene, turns: Array, path: Array, foot: NDArray[np.intp]) -> Array:
    """Return how far the touching points of some segments have slipped since their left frame, x and z."""
    steps = slip_steps(scene.soles.gathered(foot), Turns(*turns[:, None]), path[:, None])
    return np.asarray(steps[:, 0].cumsum(axis=-1))


def dense_curves(scene: Scene, segments: Array, wanted: list[tuple[int, int, Axis]]) -> dict[str, Curve]:
    """Return the wanted channels with a key on every frame, in the file's own units."""
    clip, loop = scene.binding.clip, scene.drift is not None
    row, foot, axes = zip(*wanted, strict=True)
    scale, zero = (np.array([[getattr(axis, k)] for axis in axes]) for k in ("scale", "zero"))
    left, out, right, into = segments[:, row, foot] / scale
    values, slope_in, slope_out = keys = np.zeros((3, len(axes), left.shape[1] + 1))
    values[:, :-1], values[:, -1] = left, right[:, -1]
    values += zero
    slope_in[:, 1:], slope_out[:, :-1] = into, out
    if loop:
        slope_in[:, 0], slope_out[:, -1] = into[:, -1], out[:, 0]
    if not np.isfinite(keys).all():
        raise ArithmeticError("planting gave a number that is not finite")
    frames = np.arange(clip.first, clip.first + values.shape[1], dtype=np.float64)
    made = {}
    for i, (_, _, axis) in enumerate(wanted):
        old = clip.channels.get(axis.channel)
        new = (frames, values[i], slope_in[i], slope_out[i])
        if old is not None and is_stepped(old):
            made[axis.channel] = stepped(old, frames, values[i])
            continue
        if old is not None and not loop:
            made[axis.channel] = put_within(old, *new)
        else:
            rule = Outside.HOLD if not loop else Outside.REPEAT
            rule = Outside.ADVANCE if loop and old is not None and old.after == Outside.ADVANCE else rule
            made[axis.channel] = Curve.trusted(*new, before=rule, after=rule)
    return made
