"""The hand-over with few keys: where an animator would put them, within tolerance everywhere.

Angles first: where a foot's angles changed they are fitted, and the planted ankles are
worked out anew from the fitted angles, so that what the keys give is what is planted. Then
the ankle's place is fitted: to a tenth of a millimetre on the frames of a stance and less
than half a millimetre between them, more loosely in the air.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.as_written import is_stepped, stepped
from surefoot.creep import creeping
from surefoot.curves import Curve, Outside, Pack, resolve_slopes
from surefoot.dense import BASIS, PHASES, Segments, dense_segments, writable
from surefoot.errors import InputError, finite_number
from surefoot.key_range import put_within
from surefoot.key_slopes import Wanted
from surefoot.keys import KeyFit, fit_keys
from surefoot.rig import Axis
from surefoot.scene import Scene
from surefoot.settle import Settled, floor_under, stand_again
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["Fields", "KeyCount", "KeyTolerance", "fit_few", "out_of_the_ground", "write_few"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
DEGREE = float(np.radians(1.0))
GOOD = (2.5e-4, 1e-3)
"""Metres in a stance's frames, and elsewhere: a foot nearer to the planted one everywhere is left as it is.

Few keys can't tell the two apart; so planting twice is planting once.
"""
ARMS = (1.0, 1.0, 1.0, 0.2, 0.2, 0.2, 0.07)
"""Metres that a radian of each channel moves the sole, about; 1 for the channels in metres."""
TIGHTER = 3
"""How often places are fitted anew, each time to half the tolerance, where a stance creeps all the same."""
MOSTLY_KEYED = 0.6
"""A channel with keys on more of its frames than this is captured or baked: its keys aren't an animator's."""


@dataclass(frozen=True, slots=True)
class KeyTolerance:
    """How far curves may leave what was planted, metres at a leg of 0.9 m, radians.

    ``on_frames`` holds for x and z on the frames of a stance, ``height`` for y there; ``between``
    at places between them, ``in_air`` in the swing; near the ground (``low``) the swing counts as
    between, but may not sink by more than ``height``. ``turn`` is for the angles of a stance, and of
    a swing near the ground; in the air it's ``turn_in_air``. The heading of a sole that lies flat
    keeps to ``heading_flat``, since the sole's ends are far from its middle; rolling, it turns about
    one point, and ``heading_rolling`` does. Toes keep to ``turn`` on a stance's frames, three times that elsewhere.

    Raises
    ------
    InputError
        If one of them isn't a finite number of 0 or more.
    """

    on_frames: float = 1e-5
    height: float = 7.5e-5
    between: float = 4e-4
    in_air: float = 2e-3
    low: float = 0.015
    turn: float = 0.04 * DEGREE
    turn_in_air: float = 0.5 * DEGREE
    heading_flat: float = 0.02 * DEGREE
    heading_rolling: float = 0.07 * DEGREE

    def __post_init__(self) -> None:
        for one in fields(self):
            if finite_number(getattr(self, one.name), place=one.name) < 0.0:
                raise InputError(f"wanted 0 or more, got {getattr(self, one.name)!r}", place=one.name)


@dataclass(frozen=True, slots=True)
class KeyCount:
    """How many keys a changed channel had, has, and would have with one on every frame."""

    channel: str
    before: int
    after: int
    every_frame: int
    worst: float
    """Largest departure from what was planted, as a share of the tolerance."""


def write_few(
    scene: Scene,
    settled: Settled,
    *,
    ankle: Array,
    leave_below: float = 1e-6,
    tolerance: KeyTolerance | None = None,
    keys_at: Flags | None = None,
    stance: Flags | None = None,
) -> tuple[dict[str, Curve], tuple[KeyCount, ...]]:
    """Return the changed channels with few keys, and how many.

    Parameters
    ----------
    ankle, leave_below : as for `write_channels`
    tolerance : KeyTolerance, optional
    keys_at : ndarray of bool, shape (frames,), optional
        Frames on which new keys may be put; the rest is then told in ``worst``.
    stance : ndarray of bool, shape (2, frames), optional
        Where the feet stand, where the settled feet don't say it.
    """
    limits = tolerance or KeyTolerance()
    segments, changed = dense_segments(scene, settled, ankle=ankle, leave_below=leave_below)
    changed &= ~_as_good(scene, settled, segments)
    wanted = writable(scene, changed)
    plain = [one for one in wanted if not is_stepped(scene.binding.clip.channels.get(one[2].channel))]
    fields = Fields.of(scene, settled, limits, stance)
    made: dict[str, Curve] = {}
    counts: list[KeyCount] = []
    angles = [one for one in plain if one[0] >= 3]
    if angles:
        curves, segments, told = fit_few(scene, segments, angles, fields, keys_at)
        made, counts = made | curves, counts + told
        turns = segments[:, 3:]
        on_frames = turns[0] if scene.drift is not None else np.append(turns[0], turns[2, ..., -1:], axis=-1)
        settled = out_of_the_ground(scene, stand_again(scene, settled, on_frames))
        place, _ = dense_segments(
            scene, settled, ankle=settled.in_world(scene)[0], leave_below=leave_below, turns=turns
        )
        segments[:, :3] = place[:, :3]
    places = [one for one in plain if one[0] < 3]
    if places:
        curves, fitted, told = fit_few(scene, segments, places, fields, keys_at)
        for _ in range(TIGHTER):
            creeps = creeping(scene, fitted, settled.tracks)
            if keys_at is not None or not np.count_nonzero(creeps):
                break
            fields = fields.tighter(creeps)
            curves, fitted, told = fit_few(scene, segments, places, fields, keys_at)
        made, counts = made | curves, counts + told
    frames = np.arange(scene.count + (scene.drift is not None)) + scene.frames[0]
    for row, foot, axis in wanted:
        if axis.channel not in made:
            values = np.append(segments[0, row, foot], segments[2, row, foot, -1:]) / axis.scale + axis.zero
            made[axis.channel] = stepped(scene.binding.clip.channels[axis.channel], frames, values)
    return made, tuple(counts)


def _as_good(scene: Scene, settled: Settled, segments: Segments) -> Flags:
    """Return which feet are already as near to the planted ones as few keys get, ``(2,)``."""
    binding, planted = scene.binding, settled.tracks.unroll(settled.tracks.planted)
    count = segments.shape[-1]
    arms = np.array(ARMS)[:, None, None]
    gap = np.abs(segments[0] - binding.feet(scene.values)[..., :count]) * arms
    near = (gap <= np.where(planted[:, :count], GOOD[0], GOOD[1])).all(axis=(0, 2))
    scale = binding.feet(binding.scale)
    out = binding.feet(binding.pack.slopes(scene.frames[:count], side="right")) * scale
    into = binding.feet(binding.pack.slopes(scene.frames[:count] + 1.0, side="left")) * scale
    gaps = np.array(
        [
            segments[0] - binding.feet(scene.values)[..., :count],
            segments[1] - out,
            np.zeros_like(out),
            segments[3] - into,
        ]
    )
    gaps[2, ..., :-1] = gaps[0, ..., 1:]
    between = np.abs(np.einsum("kcfs,kp->cfsp", gaps, BASIS)) * arms[..., None]
    return np.asarray(near & (between <= GOOD[1]).all(axis=(0, 2, 3)))


def out_of_the_ground(scene: Scene, settled: Settled) -> Settled:
    """Return the feet with swings raised where their fitted angles would let the sole sink."""
    ankle = settled.ankle.copy()
    floor = floor_under(scene, ankle[0], ankle[2], settled.angles, settled.bend)
    ankle[1] = np.where(settled.tracks.planted, ankle[1], np.maximum(ankle[1], floor))
    return replace(settled, ankle=ankle)


@dataclass(frozen=True, slots=True, eq=False)
class Fields:
    """Tolerances ``(7, 2, frames, phases)``, and by foot and frame: what means something, how much y aims higher.

    A low swing may rise but hardly sink: its band of heights is moved up by ``above`` ``(2, frames)``.
    """

    tolerance: Array
    meaning: Flags
    above: Array

    @classmethod
    def of(cls, scene: Scene, settled: Settled, limits: KeyTolerance, stance: Flags | None) -> Fields:
        """Return those of a settled clip, tighter where a foot stands."""
        tracks, size = settled.tracks, scene.binding.rig.leg / REFERENCE_LEG
        planted = tracks.unroll(tracks.planted) if stance is None else stance
        held = tracks.unroll(settled.held)
        ankle = tracks.unroll_points(scene, settled.ankle)
        angles, bend = tracks.unroll(settled.angles), tracks.unroll(settled.bend)
        gap = ankle[1] - floor_under(scene, ankle[0], ankle[2], angles, bend)
        low = gap < limits.low * size
        after = _next(planted, scene)
        standing, lying = planted | after, held | _next(held, scene)
        near = (low & _next(low, scene)) | standing
        on_frames, height, between, in_air = (
            size * limit for limit in (limits.on_frames, limits.height, limits.between, limits.in_air)
        )
        up = np.where(low, between, in_air)
        down = np.minimum(up, np.maximum(gap, height))
        turn = np.where(near, limits.turn, limits.turn_in_air)
        yaw = np.where(lying, limits.heading_flat, np.where(standing, limits.heading_rolling, turn))
        sideways = _spread(np.where(planted, on_frames, in_air), np.where(planted & after, between, in_air))
        place = _spread(np.where(planted, height, (up + down) / 2.0), np.where(near, between, in_air))
        if not scene.ground.is_even:
            beside = _beside_an_edge(scene, ankle, angles, bend, in_air) & ~planted
            sideways[..., 0] = np.where(beside, height, sideways[..., 0])
            beside |= _next(beside, scene)
            for each in (sideways, place):
                each[..., 1:] = np.where(beside[..., None], np.minimum(each[..., 1:], between), each[..., 1:])
        pitch, toes = _spread(turn, turn), _spread(np.where(planted, turn, 3.0 * turn), 3.0 * turn)
        tolerance = np.array([sideways, place, sideways, pitch, _spread(yaw, yaw), pitch, toes])
        if scene.drift is None:
            tolerance[..., -1, 1:] = np.inf
        edge = planted & ~(_before(planted, scene) & after)
        flat = held & ~(_before(held, scene) & _next(held, scene))
        return cls(tolerance, edge | flat, np.where(planted, 0.0, (up - down) / 2.0))

    def tighter(self, where: Flags) -> Fields:
        """Return them with half the tolerance for places on frames ``where`` ``(2, frames)`` and after them."""
        share = np.where(where, 0.5, 1.0)[..., None]
        return replace(self, tolerance=np.concatenate([self.tolerance[:3] * share, self.tolerance[3:]]))


def _beside_an_edge(scene: Scene, ankle: Array, angles: Array, bend: Array, reach: float) -> Flags:
    """Return where a sole that went ``reach`` metres any way across the ground would cut into it, ``(2, frames)``."""
    highest = np.full(bend.shape, -np.inf)
    for x, z in ((reach, 0.0), (-reach, 0.0), (0.0, reach), (0.0, -reach)):
        highest = np.maximum(highest, floor_under(scene, ankle[0] + x, ankle[2] + z, angles, bend))
    return np.asarray(highest > ankle[1] + 1e-6)


def _spread(on_frames: Array, between: Array) -> Array:
    """Return tolerances by phase, ``(2, frames, phases)``."""
    return np.concatenate([on_frames[..., None], np.repeat(between[..., None], len(PHASES), axis=-1)], axis=-1)


def _next(flag: Flags, scene: Scene) -> Flags:
    last = flag[:, :1] if scene.drift is not None else flag[:, -1:]
    return np.concatenate([flag[:, 1:], last], axis=1)


def _before(flag: Flags, scene: Scene) -> Flags:
    first = flag[:, -1:] if scene.drift is not None else flag[:, :1]
    return np.concatenate([first, flag[:, :-1]], axis=1)


def fit_few(
    scene: Scene, segments: Segments, which: list[tuple[int, int, Axis]], fields: Fields, keys_at: Flags | None
) -> tuple[dict[str, Curve], Segments, list[KeyCount]]:
    """Fit some channels; return their curves, the segments that those give, and the counts."""
    row, foot = (np.array([one[k] for one in which]) for k in range(2))
    loop, count = scene.drift is not None, scene.count
    left, out, right, into = segments[:, row, foot]
    inner = np.einsum("kcs,kp->csp", segments[:, row, foot], BASIS)
    samples = np.concatenate([left[..., None], inner], axis=-1)
    slope_out, slope_in = out, np.concatenate([into[:, -1:] if loop else out[:, :1], into], axis=1)[:, : left.shape[1]]
    if not loop:  # a row for the last frame
        samples = np.concatenate([samples, np.repeat(right[:, -1:, None], samples.shape[-1], axis=-1)], axis=1)
        slope_out, slope_in = np.append(out, into[:, -1:], axis=1), np.append(slope_in, into[:, -1:], axis=1)
    samples[..., 0] += np.where((row == 1)[:, None], fields.above[foot], 0.0)
    wanted = Wanted(
        samples, slope_in, slope_out, fields.tolerance[row, foot], np.append(0.0, PHASES), loop,
        right[:, -1] - left[:, 0] if loop else np.zeros(len(which)),
    )  # fmt: skip
    own, bent = (np.array(flags) for flags in zip(*[_own_keys(scene, axis) for *_, axis in which], strict=True))
    allowed = None if keys_at is None else np.broadcast_to(keys_at, own.shape)
    breaks = bent | (fields.meaning[foot] & (row < 3)[:, None])
    fit = fit_keys(wanted, own, breaks, fields.meaning[foot], allowed)
    frames = scene.frames[0] + np.arange(count + loop)
    made, counts, smooth = {}, [], []
    for c, (_, _, axis) in enumerate(which):
        curve = _curve(wanted, fit, c, scene)
        smooth.append(curve)
        made[axis.channel] = _in_file_units(scene, curve, axis)
        old = scene.binding.clip.channels.get(axis.channel)
        before = 0 if old is None else int(((old.frames >= frames[0]) & (old.frames <= frames[-1])).sum())
        counts.append(KeyCount(axis.channel, before, int(fit.keyed[c].sum()) + loop, count + loop, float(fit.worst[c])))
    pack = Pack.from_curves(smooth)
    values = pack.evaluate(frames)
    new = segments.copy()
    new[0, row, foot], new[2, row, foot] = values[:, :-1], values[:, 1:]
    new[1, row, foot] = pack.slopes(frames[:-1], side="right")
    new[3, row, foot] = pack.slopes(frames[1:], side="left")
    return made, new, counts


def _own_keys(scene: Scene, axis: Axis) -> tuple[Flags, Flags]:
    """Return on which frames the animator has keys, and which of them break; none where nearly every frame has one."""
    own, bent = np.zeros((2, scene.count), dtype=bool)
    old = scene.binding.clip.channels.get(axis.channel)
    if old is None:
        return own, bent
    at = old.frames - scene.frames[0]
    inside = (at >= 0) & (at < scene.count) & (at == np.round(at))
    if np.count_nonzero(inside) <= MOSTLY_KEYED * scene.count:
        into, out = resolve_slopes(old)
        frames = at[inside].astype(int)
        own[frames] = True
        bent[frames] = (np.abs(into - out) > 1e-9 * (1.0 + np.abs(into)))[inside]
    return own, bent


def _curve(wanted: Wanted, fit: KeyFit, channel: int, scene: Scene) -> Curve:
    """Return one fitted channel in metres or radians on the animator's frames."""
    at = np.flatnonzero(fit.keyed[channel])
    frames, values = scene.frames[0] + at.astype(np.float64), wanted.samples[channel, at, 0]
    into, out = fit.slope_in[channel, at], fit.slope_out[channel, at]
    rule = Outside.HOLD
    if wanted.loop:
        frames = np.append(frames, scene.frames[0] + scene.count)
        values = np.append(values, values[0] + wanted.advance[channel])
        into, out = np.append(into, into[0]), np.append(out, out[0])
        rule = Outside.REPEAT if abs(wanted.advance[channel]) < 1e-12 else Outside.ADVANCE
    return Curve.trusted(frames, values, into, out, before=rule, after=rule)


def _in_file_units(scene: Scene, curve: Curve, axis: Axis) -> Curve:
    values, into, out = curve.values / axis.scale + axis.zero, curve.slope_in / axis.scale, curve.slope_out / axis.scale
    old = scene.binding.clip.channels.get(axis.channel)
    if scene.drift is None and old is not None:
        return put_within(old, curve.frames.copy(), values, into, out)
    rule = curve.after
    if old is not None and scene.drift is not None:
        rule = Outside.ADVANCE if old.after == Outside.ADVANCE else Outside.REPEAT
    return replace(Curve.trusted(curve.frames.copy(), values, into, out, before=rule, after=rule))
