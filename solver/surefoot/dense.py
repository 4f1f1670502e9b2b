"""The hand-over with a key on every frame: settled feet written back as channels.

Channels that needed no change are the very objects that came in. In a changed one
each key has its own slopes, so that the curve between whole frames is what was
meant: the authored curve plus the correction in swing, and in stance the cubic
that lies nearest to the planted path at four places between two frames.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve, Outside, Shape, resolve_slopes
from surefoot.rig import Axis
from surefoot.scene import Scene
from surefoot.settle import Settled
from surefoot.slip import NOTHING, slip_steps
from surefoot.sole import LEVEL, Turns
from surefoot.spaces import Pose

__all__ = ["write_channels"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

AXES = ("x", "y", "z", "pitch", "yaw", "roll", "bend")
PHASES = np.array([0.2, 0.4, 0.6, 0.8])
BETWEEN = 5e-4
"""Metres by which a curve may leave the planted path between two frames."""
LEVER = 0.2
"""Metres: a change of angle matters as much as this lever moves."""

_P = PHASES[None, :]
_BASIS = np.concatenate(
    [
        2 * _P**3 - 3 * _P**2 + 1,  # value at the left key
        _P**3 - 2 * _P**2 + _P,  # slope there
        3 * _P**2 - 2 * _P**3,  # value at the right key
        _P**3 - _P**2,  # slope there
    ]
)
_FIT = np.linalg.pinv(_BASIS[[1, 3]])  # (4, 2): leftover at the phases -> the two slopes


@dataclass(frozen=True, slots=True, eq=False)
class _Segments:
    """Seven channels of two feet from frame to frame: ``(7, 2, segments)`` each, metres, radians, a frame."""

    left: Array
    right: Array
    out: Array
    into: Array

    def between(self, rows: slice, foot: NDArray[np.intp], at: NDArray[np.intp]) -> Array:
        """Return values at the phases of some segments, ``(rows, ..., phases)``."""
        parts = np.stack([part[rows, foot, at] for part in (self.left, self.out, self.right, self.into)], axis=-1)
        return np.asarray(parts @ _BASIS)


def write_channels(scene: Scene, settled: Settled, *, leave_below: float = 1e-6) -> dict[str, Curve]:
    """Return the changed channels by name.

    Parameters
    ----------
    leave_below : float
        Metres: a channel that changes by less than this in every frame is left as it is
        (angles: times 1/0.2 m, in radians), unless its curve leaves the planted path by
        more than half a millimetre between two.
    """
    binding, tracks = scene.binding, settled.tracks
    ankle = scene.to_world(tracks.unroll_points(scene, settled.ankle))
    angles = tracks.unroll(settled.angles)
    angles[1] = scene.yaw_to_world(tracks.unroll_yaw(scene, settled.angles[1]))
    bend = tracks.unroll(settled.bend)
    new = binding.write(ankle, angles, bend, scene.values, scene.frames)
    padded = np.concatenate([scene.values, np.zeros((1, scene.count))])
    old = padded[binding.foot_rows]
    change = new - old
    most = np.abs(change).max(axis=-1)
    most[3:] *= LEVER
    changed = most > leave_below
    segments = _segments(scene, settled, new, change)
    before = segments.out[:3].copy(), segments.into[:3].copy()
    _fit_stances(scene, settled, segments)
    bent = np.stack([segments.out[:3] - before[0], segments.into[:3] - before[1]], axis=-1) @ _BASIS[[1, 3]]
    changed[:3] |= np.abs(bent).max(axis=(-2, -1), initial=0.0) > max(BETWEEN, leave_below)
    wanted = _writable(scene, changed)
    return _curves(scene, segments, wanted) if wanted else {}


def _writable(scene: Scene, changed: Flags) -> list[tuple[int, int, Axis]]:
    rig, clip = scene.binding.rig, scene.binding.clip
    found = []
    for row, foot in np.argwhere(changed).tolist():
        axis = rig.feet[foot].axes.get(AXES[row])
        if axis is not None and axis.channel not in clip.locked:
            found.append((row, foot, axis))
    return found


def _segments(scene: Scene, settled: Settled, new: Array, change: Array) -> _Segments:
    """Return the new curves frame by frame: authored slopes plus those of the correction."""
    binding, tracks = scene.binding, settled.tracks
    loop = scene.drift is not None
    rows = binding.foot_rows
    scale = np.concatenate([binding.scale[:, 0], [0.0]])[rows][..., None]

    def slopes(at: Array, side: str) -> Array:
        raw = binding.pack.slopes(at, side="left" if side == "left" else "right")
        return np.asarray(np.concatenate([raw, np.zeros((1, len(at)))])[rows] * scale)

    count = scene.count if loop else scene.count - 1
    out = slopes(scene.frames[:count], "right")
    into = slopes(scene.frames[:count] + 1.0, "left")
    if loop:
        end = np.concatenate([binding.end_values(scene.values), np.zeros((1, 1))])[rows]
        start = np.concatenate([scene.values[:, :1], np.zeros((1, 1))])[rows]
        after = new[..., :1] + (end - start)
        left, right = new, np.concatenate([new[..., 1:], after], axis=-1)
        step = np.roll(change, -1, axis=-1) - change
    else:
        left, right = new[..., :-1], new[..., 1:]
        step = np.diff(change, axis=-1)
    planted = tracks.unroll(tracks.planted)
    held = tracks.unroll(settled.held)
    rolling = planted & (tracks.unroll(settled.angles[0]) >= -LEVEL)
    regime = np.empty((7, 2, count), dtype=bool)
    for where, known in ((slice(0, 3), planted), (slice(3, 4), planted & False), (slice(4, 5), held),
                         (slice(5, 6), planted & False), (slice(6, 7), rolling)):  # fmt: skip
        regime[where] = _both_ends(known, loop)
    first, last = _correction_slopes(step, regime, loop)
    out, into = out + first, into + last
    still = regime[4]
    chord = right[4] - left[4]
    out[4], into[4] = np.where(still, chord, out[4]), np.where(still, chord, into[4])
    flexed = regime[6]
    out[6], into[6] = np.where(flexed, out[3], out[6]), np.where(flexed, into[3], into[6])
    return _Segments(left, right, out, into)


def _both_ends(known: Flags, loop: bool) -> Flags:
    return known & np.roll(known, -1, axis=-1) if loop else known[:, :-1] & known[:, 1:]


def _correction_slopes(step: Array, regime: Flags, loop: bool) -> tuple[Array, Array]:
    """Return the correction's slope at both ends of each segment; it breaks where the regime does."""
    after, before = np.roll(step, -1, axis=-1), np.roll(step, 1, axis=-1)
    same_after = regime == np.roll(regime, -1, axis=-1)
    same_before = regime == np.roll(regime, 1, axis=-1)
    if not loop:
        same_after[..., -1] = same_before[..., 0] = False
    # one-sided ends take the parabola through the next segment where there is one
    out = np.where(same_before, 0.5 * (before + step), np.where(same_after, 1.5 * step - 0.5 * after, step))
    into = np.where(same_after, 0.5 * (step + after), np.where(same_before, 1.5 * step - 0.5 * before, step))
    return out, into


def _fit_stances(scene: Scene, settled: Settled, segments: _Segments) -> None:
    """Replace the slopes of x, y and z in stance by those that follow the planted path between frames."""
    binding, tracks, prints = scene.binding, settled.tracks, settled.prints
    count = segments.left.shape[-1]
    if not len(tracks.source):
        return
    print_of, laps = tracks.unroll(tracks.print_of), tracks.unroll(tracks.laps)
    # a stance goes on over the seam, and its far part is a footprint's image a loop later: one source
    source = np.where(tracks.unroll(tracks.planted), tracks.source[print_of], -1)
    same = (source == np.roll(source, -1, axis=-1)) & (source >= 0)
    if scene.drift is not None and not scene.drift.is_still:  # a foot that never lifts can't follow the ground's drift
        lap_ends = tracks.back % scene.count == scene.count - 1
        same &= ~lap_ends | (print_of != np.roll(print_of, -1, axis=-1))
    same = same[:, :count]
    foot, at = np.nonzero(same)
    if not len(foot):
        return
    which, lap = print_of[foot, at], laps[foot, at]
    wide = np.broadcast_to(which[:, None], (len(which), len(PHASES)))
    time = (scene.frames[at, None] + PHASES - binding.clip.first) * binding.clip.step
    between = _Between.of(scene, segments, foot, at)
    angles = between.angles.copy()
    angles[1] -= scene.belt.heading(time)
    if scene.drift is not None:
        angles[1] += (lap * scene.drift.turn)[:, None]
    local = prints.local_turns(wide, angles)
    turns = Turns(local[0][None], local[2][None], local[1][None], between.bend[None])
    off = _path(scene, settled, turns, foot, at)
    ground = prints.origin[:, wide] + prints.outof(wide, off)
    if scene.drift is not None and lap.any():
        ground = np.where(lap[:, None], scene.drift.apply(ground, times=-1), ground)
    world = scene.belt.to_world(ground.reshape(3, -1), time.ravel()).reshape(ground.shape)
    place = between.write(world)
    ends = np.stack([segments.left[:3, foot, at], segments.right[:3, foot, at]], axis=-1) @ _BASIS[[0, 2]]
    slopes = (place - ends) @ _FIT
    segments.out[:3, foot, at] = slopes[..., 0]
    segments.into[:3, foot, at] = slopes[..., 1]


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
    def of(cls, scene: Scene, segments: _Segments, foot: NDArray[np.intp], at: NDArray[np.intp]) -> _Between:
        binding = scene.binding
        if binding.plain:
            turns = segments.between(slice(3, 7), foot, at)
            return cls(scene, foot, at, turns[:3], turns[3], None)
        # the feet's parents move: everything is read again at the places between, with the new feet put in
        count = segments.left.shape[-1]
        frames = (scene.frames[:count, None] + PHASES).ravel()
        values = binding.values(frames)
        every = np.broadcast_to(np.arange(count), (2, count))
        new = segments.between(slice(0, 7), np.arange(2)[:, None], every).reshape(7, 2, -1)
        for row, side in np.argwhere(binding.foot_rows >= 0).tolist():
            values[binding.foot_rows[row, side]] = new[row, side]
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


def _path(scene: Scene, settled: Settled, turns: Turns, foot: NDArray[np.intp], at: NDArray[np.intp]) -> Array:
    """Return the planted ankles between frames, ``(3, n, phases)`` in footprint space.

    They start and end at the frames' own ankles and don't slip on the way, but for
    what the two ways of counting (frame by frame, place by place) differ by.
    """
    soles = scene.soles.gathered(foot)
    rolls = ((turns.cant != 0.0) | (np.abs(turns.swivel) > NOTHING))[0].any(axis=-1)
    if not rolls.any():
        return soles.planted(turns)[:, 0]
    tracks, prints = settled.tracks, settled.prints
    which, right = tracks.print_of, (at + 1) % tracks.print_of.shape[1]
    local = tracks.unroll(prints.local_turns(which, settled.angles))
    stood = tracks.unroll(prints.into(which, settled.ankle - prints.origin[:, which]))
    frames = (local[0], local[2], local[1], tracks.unroll(settled.bend))
    whole = Turns(
        *(
            np.concatenate([ends[foot, at][None, :, None], between, ends[foot, right][None, :, None]], axis=-1)
            for ends, between in zip(frames, turns, strict=True)
        )
    )
    path = soles.planted(whole)[:, 0]
    if not rolls.all():
        whole, soles = Turns(*(value[:, rolls] for value in whole)), scene.soles.gathered(foot[rolls])
    slip = np.cumsum(slip_steps(soles, whole, path[:, None, rolls]), axis=-1)[:, 0]
    path[::2, rolls, 1:] -= slip
    first, last = stood[:, foot, at] - path[..., 0], stood[:, foot, right] - path[..., -1]
    path += first[..., None] + (last - first)[..., None] * np.concatenate([[0.0], PHASES, [1.0]])
    return np.asarray(path[..., 1:-1])


def _curves(scene: Scene, segments: _Segments, wanted: list[tuple[int, int, Axis]]) -> dict[str, Curve]:
    """Return the wanted channels with a key on every frame, in the file's own units."""
    clip, loop = scene.binding.clip, scene.drift is not None
    row, foot = (np.array([which[k] for which in wanted]) for k in range(2))
    scale, zero = (np.array([[getattr(axis, k)] for *_, axis in wanted]) for k in ("scale", "zero"))
    left, right, out, into = (part[row, foot] for part in (segments.left, segments.right, segments.out, segments.into))
    values = np.concatenate([left, right[:, -1:]], axis=1) / scale + zero
    edge = np.zeros_like(scale)
    slope_in = np.concatenate([into[:, -1:] if loop else edge, into], axis=1) / scale
    slope_out = np.concatenate([out, out[:, :1] if loop else edge], axis=1) / scale
    if not (np.isfinite(values).all() and np.isfinite(slope_in).all() and np.isfinite(slope_out).all()):
        raise ArithmeticError("planting gave a number that is not finite")
    frames = np.arange(clip.first, clip.first + values.shape[1], dtype=np.float64)
    made = {}
    for i, (_, _, axis) in enumerate(wanted):
        old = clip.channels.get(axis.channel)
        keys = (frames, values[i], slope_in[i], slope_out[i])
        if old is not None and (old.shapes == Shape.STEP).all():
            made[axis.channel] = _stepped(old, frames, values[i])
            continue
        if old is not None and not loop:
            made[axis.channel] = _within(old, *keys)
        else:
            rule = Outside.HOLD if not loop else Outside.REPEAT
            rule = Outside.ADVANCE if loop and old is not None and old.after == Outside.ADVANCE else rule
            made[axis.channel] = Curve.trusted(*keys, before=rule, after=rule)
    return made


def _stepped(old: Curve, frames: Array, values: Array) -> Curve:
    """Return a stepped channel planted at its own keys only: it stays stepped, and gains no key."""
    at = old.frames - frames[0]
    mine = (at >= 0) & (at <= len(frames) - 1) & (at == np.round(at))
    new = old.values.copy()
    new[mine] = values[at[mine].astype(int)]
    return replace(old, values=new)


def _within(old: Curve, frames: Array, values: Array, slope_in: Array, slope_out: Array) -> Curve:
    """Put new keys in place of those of a range; keys outside it stay, with their slopes spelt out."""
    before, after = old.frames < frames[0], old.frames > frames[-1]
    if not (before.any() or after.any()):
        return Curve.trusted(frames, values, slope_in, slope_out, before=old.before, after=old.after)
    old_in, old_out = resolve_slopes(old)
    keep = np.array([Shape.STEP, Shape.BEZIER], dtype=np.int8)
    shapes = np.where(np.isin(old.shapes, keep), old.shapes, np.int8(Shape.GIVEN))
    new_shapes = np.full(len(frames), Shape.GIVEN, dtype=np.int8)

    def joined(mine: Array, theirs: Array) -> Array:
        return np.concatenate([theirs[before], mine, theirs[after]])

    handles = None
    if old.handles is not None:
        handles = np.concatenate([old.handles[before], np.zeros((len(frames), 4)), old.handles[after]])
    return Curve(
        joined(frames, old.frames), joined(values, old.values),
        np.concatenate([shapes[before], new_shapes, shapes[after]]),
        joined(slope_in, old_in), joined(slope_out, old_out), handles, old.before, old.after,
    )  # fmt: skip
