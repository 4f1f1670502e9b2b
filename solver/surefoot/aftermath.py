"""Aftermath: what a draft leaves of its finding and what it makes worse, all drafts judged in one go.

Only the samples that a draft touches are posed again, and only the foot that it moves is measured (both legs, where
it moves the hips). Those of all drafts are laid end to end, so the kinematics runs once. The measures are those of
`check`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import PER_FRAME, Window, interpolate
from surefoot.joints import KNEE, NEARLY_STRAIGHT, joints_of
from surefoot.rig import FEET, Limits
from surefoot.scene import Scene
from surefoot.slip import least_steps
from surefoot.tolerances import KINDS
from surefoot.touch import Touch

__all__ = ["Judged", "Worse", "judge"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

UNMOVED = -1
"""Of a draft's foot: no sole moves."""
TRIFLE = 0.01
"""Of a note's limit: what grows by less isn't made worse."""


@dataclass(frozen=True, slots=True)
class Worse:
    """A fault that a change makes worse: its kind, foot, amount before and after (metres, radians)."""

    kind: str
    foot: str
    before: float
    after: float

    @property
    def unit(self) -> str:
        """The unit of `shown`."""
        return KINDS[self.kind].unit

    @property
    def shown_before(self) -> float:
        """The amount before the change, in `unit`."""
        return self.before / KINDS[self.kind].scale

    @property
    def shown(self) -> float:
        """The amount after the change, in `unit`."""
        return self.after / KINDS[self.kind].scale


@dataclass(frozen=True, slots=True)
class Judged:
    """What a draft leaves of its finding (metres, radians), and what it makes worse."""

    leaves: float
    worse: tuple[Worse, ...]


def judge(bench: Bench, drafts: Sequence[Draft]) -> list[Judged]:
    """Return, for each draft, what it leaves and what it makes worse."""
    posed = [(i, draft) for i, draft in enumerate(drafts) if draft.rows]
    tally = _Tally(bench, drafts)
    entries = [(i, d, f) for i, d in posed if d.foot != UNMOVED for f in ((0, 1) if d.foot < 0 else (d.foot,))]
    if entries:
        _count_soles(bench, _Trial.of(bench, entries, fine=True), tally)
    if len(entries) < len(posed):
        _count_lowered(bench, [(i, d, f) for i, d in posed if d.foot == UNMOVED for f in (0, 1)], tally)
    if posed:
        _count_joints(bench, [(i, draft, -1) for i, draft in posed], tally)
    return [
        Judged(float(draft.leaves or 0.0) if draft.curves else max(tally.leaves[i], 0.0), tuple(tally.worse[i]))
        for i, draft in enumerate(drafts)
    ]


@dataclass(frozen=True, slots=True, eq=False)
class _Spans:
    """Where the samples of each entry (number of draft, draft, foot that is measured) lie, after one of nobody's."""

    entries: list[tuple[int, Draft, int]]
    parts: list[slice]
    starts: Indices


@dataclass(frozen=True, slots=True, eq=False)
class _Trial(_Spans):
    """Samples (or whole frames) of drafts, their changes put on, laid end to end after one that nobody touched.

    ``foot`` is the one that is measured at each sample.
    """

    scene: Scene
    index: Indices  # (samples,) which of the bench's samples each is, counted on over the seam
    at: Indices  # the same, within the first round
    foot: Indices

    @classmethod
    def of(cls, bench: Bench, entries: list[tuple[int, Draft, int]], *, fine: bool) -> _Trial:
        """Pose the samples of every entry."""
        base = bench.fine if fine else bench.scene
        indices = [draft.window.samples if fine else _with_neighbours(bench, draft.window) for _, draft, _ in entries]
        index = np.concatenate([np.zeros(1, dtype=np.intp), *indices])
        at = index % len(base.frames) if bench.loop else index
        values = base.values[:, at]
        sizes = [1, *map(len, indices)]
        starts = np.cumsum(sizes[:-1])
        parts = [slice(int(s), int(s) + n) for s, n in zip(starts, sizes[1:], strict=True)]
        known: tuple[Draft | None, Array] = None, np.zeros(0)
        for (_, draft, _), part, own in zip(entries, parts, indices, strict=True):
            if known[0] is not draft:
                known = draft, _at_samples(draft) if fine else _at_frames(bench, draft, own)
            for row, change in zip(draft.rows, known[1], strict=True):
                values[row, part] += change
        frames, binding = base.frames[at], base.binding
        scene = Scene.riding(binding, base.ground, base.belt, frames, values, binding.pose(values, frames))
        foot = np.repeat([0, *(max(f, 0) for _, _, f in entries)], sizes)
        return cls(entries, parts, starts, scene, index, at, foot)


def _with_neighbours(bench: Bench, window: Window) -> Indices:
    """Return a window's frames and one on either side."""
    if bench.loop:
        shift = bench.clip.frames if window.start == 0 else 0
        return np.arange(window.start - 1 + shift, window.start + window.count + 1 + shift)
    return np.arange(max(window.start - 1, 0), min(window.start + window.count + 1, bench.clip.frames))


def _at_samples(draft: Draft) -> Array:
    return interpolate(draft.amounts, draft.window) if draft.between is None else draft.between


def _at_frames(bench: Bench, draft: Draft, own: Indices) -> Array:
    """Return a draft's change at its frames with neighbours, ``(rows, frames)``."""
    if draft.window.closed:  # the frames on either side are its own
        return np.concatenate([draft.amounts[:, -2:-1], draft.amounts, draft.amounts[:, 1:2]], axis=-1)
    lead = 1 if bench.loop else draft.window.start - int(own[0])
    out = np.zeros((len(draft.amounts), len(own)))
    out[:, lead : lead + draft.window.count] = draft.amounts
    return out


class _Tally:
    """What is left and what has grown, by draft."""

    def __init__(self, bench: Bench, drafts: Sequence[Draft]) -> None:
        self.bench = bench
        self.leaves = [0.0] * len(drafts)
        self.worse: list[list[Worse]] = [[] for _ in drafts]

    def count(self, kind: str, trial: _Spans, before: Array, after: Array, inside: Flags, side: str = "") -> None:
        """Count amounts ``(samples,)`` of one kind; ``side`` is the foot's name where it isn't the entry's own."""
        note = self.bench.bounds[kind][0]
        names = [side or FEET[foot] for _, _, foot in trial.entries]
        mine = [
            d.finding.kind == kind and d.finding.foot == n for (_, d, _), n in zip(trial.entries, names, strict=True)
        ]
        grown = (after > note) & (after > before + TRIFLE * note)
        if any(mine):
            sizes = [1, *(part.stop - part.start for part in trial.parts)]
            own = inside & np.repeat([False, *mine], sizes)
            left = np.maximum.reduceat(np.where(own, after, 0.0), trial.starts).tolist()
            for (i, _, _), is_mine, rest in zip(trial.entries, mine, left, strict=True):
                if is_mine:
                    self.leaves[i] = rest
            grown &= ~own
        if not grown.any():
            return
        beyond = np.where(grown, after, -np.inf)
        for k in np.flatnonzero(np.isfinite(np.maximum.reduceat(beyond, trial.starts))).tolist():
            at = trial.parts[k].start + int(beyond[trial.parts[k]].argmax())
            self.worse[trial.entries[k][0]].append(Worse(kind, names[k], max(float(before[at]), 0.0), float(after[at])))


def _count_soles(bench: Bench, trial: _Trial, tally: _Tally) -> None:
    """Count what is below the ground, above it, out of reach, sliding or cut through."""
    foot, at, all_of = trial.foot, trial.at, np.arange(len(trial.at))
    inside = np.concatenate([[False], *(bench.spell(d.finding, d.window) for _, d, _ in trial.entries)])
    way = trial.scene.ankle[:, foot, all_of] - trial.scene.hip[:, foot, all_of]
    over = np.sqrt((way * way).sum(axis=0)) - bench.legs[foot, 0]
    tally.count("stretch", trial, bench.over[foot, at], over, inside)
    touch, known = _touch(trial), bench.touch
    depth, gap, down = known.depth[foot, at], known.gap[foot, at], bench.down[foot, at]
    tally.count("sink", trial, depth, touch.depth[0], inside)
    tally.count("hover", trial, np.where(down, gap, -1.0), np.where(down, touch.gap[0], -1.0), inside)
    cross = bench.overlap[at]
    tally.count("cross", trial, cross, _overlap(bench, trial, cross), inside, "both")
    _count_slides(bench, trial, _steps(bench, trial, touch), tally)


def _count_lowered(bench: Bench, entries: list[tuple[int, Draft, int]], tally: _Tally) -> None:
    """Count what hips that move straight up or down put out of reach: no sole moves, so nothing need be posed."""
    parts, begin = [], 1
    before, after, inside = [np.zeros(1)], [np.zeros(1)], [np.zeros(1, dtype=bool)]
    for _, draft, foot in entries:
        at = bench.samples_of(draft.window)
        parts.append(slice(begin, begin + len(at)))
        begin += len(at)
        x, y, z = bench.fine.hip[:, foot, at] - bench.fine.ankle[:, foot, at]
        y = y + _at_samples(draft)[0]
        before.append(bench.over[foot, at])
        after.append(np.sqrt(x * x + y * y + z * z) - bench.legs[foot, 0])
        inside.append(bench.spell(draft.finding, draft.window))
    spans = _Spans(entries, parts, np.array([part.start for part in parts]))
    tally.count("stretch", spans, np.concatenate(before), np.concatenate(after), np.concatenate(inside))


def _touch(trial: _Trial) -> Touch:
    """Return the soles of those feet that are measured, one a sample: ``(..., 1, samples)``."""
    scene, foot, all_of = trial.scene, trial.foot, np.arange(len(trial.at))
    gathered = replace(
        scene,
        soles=scene.soles.gathered(foot),
        ankle=scene.ankle[:, foot, all_of][:, None],
        angles=scene.angles[:, foot, all_of][:, None],
        pose=replace(scene.pose, bend=scene.pose.bend[foot, all_of][None]),
    )
    return Touch.of(gathered)


def _overlap(bench: Bench, trial: _Trial, before: Array) -> Array:
    """Return the feet's overlap, measured again only where a foot has moved and the other is near."""
    foot, at, all_of = trial.foot, trial.at, np.arange(len(trial.at))
    shift = np.abs(trial.scene.ankle[:, foot, all_of] - bench.fine.ankle[:, foot, at]).sum(axis=0)
    turned = np.abs(trial.scene.angles[:, foot, all_of] - bench.fine.angles[:, foot, at]).sum(axis=0)
    turned += np.abs(trial.scene.pose.bend[foot, all_of] - bench.fine.pose.bend[foot, at])
    moved = shift + turned * max(leg.foot.length for leg in bench.rig.legs)
    near = (moved > 1e-9) & (before + 2.0 * moved > 0.0)
    after = before.copy()
    if near.any():
        scene, pose = trial.scene, trial.scene.pose
        some = replace(scene, ankle=scene.ankle[..., near], angles=scene.angles[..., near],
                       pose=replace(pose, bend=pose.bend[..., near]))  # fmt: skip
        after[near] = Touch.of(some).overlap()
    return after


def _steps(bench: Bench, trial: _Trial, touch: Touch) -> Array:
    """Return the pivots' steps ``(2, samples)``, x and z, to each sample from the one before it."""
    points = touch.points
    late = trial.index >= len(bench.fine.frames)
    if bench.scene.drift is not None and late.any():
        points = points.copy()
        points[..., late] = bench.scene.drift.apply(points[..., late])
    steps = np.concatenate([np.zeros((2, 1)), least_steps(points, touch.height)[:, 0]], axis=-1)
    return _turned(bench, steps, late, -1.0)


def _turned(bench: Bench, steps: Array, late: Flags, rounds: float) -> Array:
    """Return steps ``(..., 2, samples)``, those of a later round turned by a loop's turn, which is mostly none."""
    drift = bench.scene.drift
    if drift is None or drift.turn == 0.0 or not late.any():
        return steps
    angle = np.where(late, rounds * drift.turn, 0.0)
    s, c = np.sin(angle), np.cos(angle)
    x, z = steps[..., 0, :], steps[..., 1, :]
    return np.stack([c * x + s * z, c * z - s * x], axis=-2)


def _count_slides(bench: Bench, trial: _Trial, steps: Array, tally: _Tally) -> None:
    """Count each stance's drift before and after."""
    note = bench.bounds["slide"][0]
    first, size = bench.clip.first, len(bench.fine.frames)
    stances = [s for s in bench.report.stances if not s.left_alone]
    owner, place = np.full((2, size), -1), np.zeros((2, size), dtype=np.intp)
    owns = []
    for k, stance in enumerate(stances):
        own = np.arange((stance.first - first) * PER_FRAME + 1, (stance.last - first) * PER_FRAME + 1)
        own = bench.wrapped(own)
        foot = FEET.index(stance.foot)
        owner[foot, own], place[foot, own] = k, np.arange(len(own))
        owns.append(own)
    met: list[list[int]] = [[] for _ in stances]
    for e, (_, _, foot) in enumerate(trial.entries):
        whose = owner[foot, trial.at[trial.parts[e].start + 1 : trial.parts[e].stop]]
        for k in set(whose.tolist()) - {-1}:
            met[k].append(e)
    for k, (stance, own) in enumerate(zip(stances, owns, strict=True)):
        if not met[k]:
            continue
        foot = FEET.index(stance.foot)
        rings = np.repeat(bench.steps[None, :, foot, own], len(met[k]) + 1, axis=0)  # the last is as authored
        for row, e in enumerate(met[k]):
            part = slice(trial.parts[e].start + 1, trial.parts[e].stop)
            mine = owner[foot, trial.at[part]] == k
            rings[row][:, place[foot, trial.at[part][mine]]] = steps[:, part][:, mine]
        late = np.arange(len(own)) + (stance.first - first) * PER_FRAME + 1 >= size
        rings = _turned(bench, rings, late & bench.loop, 1.0)
        drift: list[float] = _drift(rings, bench.skip).tolist()
        for e, after in zip(met[k], drift, strict=False):
            i, draft, _ = trial.entries[e]
            finding = draft.finding
            if finding.kind == "slide" and finding.foot == stance.foot and finding.first == stance.first:
                tally.leaves[i] = after
            elif after > note and after > drift[-1] + TRIFLE * note:
                tally.worse[i].append(Worse("slide", stance.foot, drift[-1], after))


def _drift(steps: Array, skip: int) -> Array:
    """Return the largest distance between two places of each pivot's path, as `check` measures it, ``(n,)`` metres."""
    path = np.zeros((*steps.shape[:-1], steps.shape[-1] + 1))
    np.cumsum(steps, axis=-1, out=path[..., 1:])
    path = path[..., skip:]
    if path.shape[-1] < 2:
        return np.zeros(len(steps))
    away = ((path - path[..., :1]) ** 2).sum(axis=1)
    far = np.take_along_axis(path, away.argmax(axis=-1)[:, None, None], axis=-1)
    return np.asarray(np.sqrt(((path - far) ** 2).sum(axis=1)).max(axis=-1))


def _count_joints(bench: Bench, entries: list[tuple[int, Draft, int]], tally: _Tally) -> None:
    """Count what joints are beyond their range, and knees' whips, at whole frames."""
    trial = _Trial.of(bench, entries, fine=False)
    base, after = bench.joints[:, :, trial.at], joints_of(trial.scene)
    limits = [[getattr(leg.limits, name) for leg in bench.rig.legs] for name in Limits.NAMES]
    low, high = np.moveaxis(np.array(limits), -1, 0)[..., None]
    edges = np.array([[part.start, part.stop - 1] for part in trial.parts]).ravel()
    rounds = (0, bench.clip.frames) if bench.loop else (0,)
    inside = np.zeros(len(trial.index), dtype=bool)
    for (_, draft, _), part in zip(entries, trial.parts, strict=True):
        first, last = draft.finding.first - bench.clip.first, draft.finding.last - bench.clip.first
        for lap in rounds:
            inside[part] |= (trial.index[part] - lap >= first) & (trial.index[part] - lap <= last)
    whips = [_whip(a[KNEE], bench.clip.step) for a in (base, after)]
    beyond = [np.maximum(low - a, a - high).max(axis=0) for a in (base, after)]
    for whip in whips:
        whip[:, edges] = 0.0  # their neighbours are another draft's
    for foot, side in enumerate(FEET):
        tally.count("snap", trial, whips[0][foot], whips[1][foot], inside, side)
        tally.count("limit", trial, beyond[0][foot], beyond[1][foot], inside, side)


def _whip(flexion: Array, step: float) -> Array:
    """Return a knee's angular acceleration where it's nearly straight, as `joints` measures it."""
    before, after = np.roll(flexion, 1, axis=-1), np.roll(flexion, -1, axis=-1)
    straightest = np.minimum(flexion, np.minimum(before, after))
    whip = np.abs(before - 2.0 * flexion + after) / step**2
    return np.where(straightest < NEARLY_STRAIGHT, whip, 0.0)
