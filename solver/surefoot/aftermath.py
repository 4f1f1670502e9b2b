"""Aftermath: what a draft leaves of its finding and what it makes worse, all drafts judged in one go.

Only the samples that a draft touches are posed again, and only the foot that it moves is measured (both legs, where
it moves the hips). Those of all drafts are laid end to end, so the kinematics runs once. The measures are those of
`check`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.joints import KNEE, joints_of_one, limits_of, whip
from surefoot.rig import FEET
from surefoot.scene import Scene
from surefoot.slide import widest
from surefoot.slip import least_steps
from surefoot.tally import TRIFLE, Judged, Tally, Worse
from surefoot.touch import PER_FRAME, Touch
from surefoot.trial import Spans, Trial, change_at_samples

__all__ = ["judge"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

UNMOVED, BOTH = -1, -2
"""Of a draft's foot: no sole moves, or both do."""


def judge(bench: Bench, drafts: Sequence[Draft]) -> list[Judged]:
    """Return, for each draft, what it leaves and what it makes worse."""
    posed = [(i, draft) for i, draft in enumerate(drafts) if draft.rows]
    tally = Tally(bench, drafts)
    entries = [(i, d, f) for f in (0, 1) for i, d in posed if d.foot in (f, BOTH)]
    if entries:
        _count_soles(bench, Trial.of(bench, entries, fine=True), tally)
    lowered = [(i, d, f) for i, d in posed if d.foot == UNMOVED for f in (0, 1)]
    if lowered:
        _count_lowered(bench, lowered, tally)
    if posed:
        plain = bench.scene.binding.plain  # else a foot may carry the other
        legs = [(i, d, f) for f in (0, 1) for i, d in posed if d.foot in (f, UNMOVED, BOTH) or not plain]
        _count_joints(bench, Trial.of(bench, legs, fine=False), tally)
    return [
        Judged(float(draft.leaves or 0.0) if draft.curves else max(tally.leaves[i], 0.0), tuple(tally.worse[i]))
        for i, draft in enumerate(drafts)
    ]


def _count_soles(bench: Bench, trial: Trial, tally: Tally) -> None:
    """Count what is below the ground, above it, out of reach, sliding or cut through."""
    scene = trial.scene(bench.fine)
    foot, at, all_of = trial.foot, trial.at, np.arange(len(trial.at))
    inside = np.concatenate([[False], *(bench.spell(d.finding, d.window) for _, d, _ in trial.entries)])
    way = scene.ankle[:, foot, all_of] - scene.hip[:, foot, all_of]
    over = np.sqrt((way * way).sum(axis=0)) - bench.legs[foot, 0]
    tally.count("stretch", trial, bench.over[foot, at], over, inside)
    touch, known = _touch(trial, scene), bench.touch
    depth, gap, down = known.depth[foot, at], known.gap[foot, at], bench.down[foot, at]
    tally.count("sink", trial, depth, touch.depth[0], inside)
    tally.count("hover", trial, np.where(down, gap, -1.0), np.where(down, touch.gap[0], -1.0), inside)
    cross = bench.overlap[at]
    tally.count("cross", trial, cross, _overlap(bench, trial, scene, cross), inside, "both")
    _count_slides(bench, trial, _steps(bench, trial, touch), tally)


def _count_lowered(bench: Bench, entries: list[tuple[int, Draft, int]], tally: Tally) -> None:
    """Count what hips that move straight up or down put out of reach: no sole moves, so nothing need be posed."""
    parts, begin = [], 1
    before, after, inside = [np.zeros(1)], [np.zeros(1)], [np.zeros(1, dtype=bool)]
    for _, draft, foot in entries:
        at = bench.samples_of(draft.window)
        parts.append(slice(begin, begin + len(at)))
        begin += len(at)
        x, y, z = bench.fine.hip[:, foot, at] - bench.fine.ankle[:, foot, at]
        y = y + change_at_samples(draft)[0]
        before.append(bench.over[foot, at])
        after.append(np.sqrt(x * x + y * y + z * z) - bench.legs[foot, 0])
        inside.append(bench.spell(draft.finding, draft.window))
    spans = Spans(entries, parts, np.array([part.start for part in parts]))
    tally.count("stretch", spans, np.concatenate(before), np.concatenate(after), np.concatenate(inside))


def _touch(trial: Trial, scene: Scene) -> Touch:
    """Return the soles of those feet that are measured, one a sample: ``(..., 1, samples)``."""
    cut = int(trial.foot.searchsorted(1))
    found = []
    for foot, part in enumerate((slice(0, cut), slice(cut, len(trial.foot)))):
        if part.stop > part.start:
            alone = replace(
                scene,
                soles=scene.soles.gathered(np.array([foot])),
                ankle=scene.ankle[:, foot, None, part],
                angles=scene.angles[:, foot, None, part],
                pose=replace(scene.pose, bend=scene.pose.bend[foot, None, part]),
            )
            found.append(Touch.of(alone))
    if len(found) == 1:
        return found[0]
    names = ("points", "height", "gap", "depth")
    return Touch(scene, *(np.concatenate([getattr(one, name) for one in found], axis=-1) for name in names))


def _overlap(bench: Bench, trial: Trial, scene: Scene, before: Array) -> Array:
    """Return the feet's overlap, measured again only where a foot has moved and the other is near."""
    foot, at, all_of = trial.foot, trial.at, np.arange(len(trial.at))
    shift = np.abs(scene.ankle[:, foot, all_of] - bench.fine.ankle[:, foot, at]).sum(axis=0)
    turned = np.abs(scene.angles[:, foot, all_of] - bench.fine.angles[:, foot, at]).sum(axis=0)
    turned += np.abs(scene.pose.bend[foot, all_of] - bench.fine.pose.bend[foot, at])
    moved = shift + turned * max(leg.foot.length for leg in bench.rig.legs)
    # a foot that moves by so much gets no deeper into the other than by as much; what stays below a note isn't told
    own = [d.finding.kind == "cross" for _, d, _ in trial.entries]
    sizes = [part.stop - part.start for part in trial.parts]
    told = np.repeat([np.inf, *np.where(own, 0.0, bench.bounds["cross"][0])], [1, *sizes])
    near = (moved > 1e-9) & (before + moved > told)
    after = before.copy()
    if np.count_nonzero(near):
        pose = scene.pose
        some = replace(scene, ankle=scene.ankle[..., near], angles=scene.angles[..., near],
                       pose=replace(pose, bend=pose.bend[..., near]))  # fmt: skip
        after[near] = Touch.of(some).overlap()
    return after


def _steps(bench: Bench, trial: Trial, touch: Touch) -> Array:
    """Return the pivots' steps ``(2, samples)``, x and z, to each sample from the one before it.

    Points of a later round are moved on in place: nobody asks for them after this.
    """
    points = touch.points
    late = trial.index >= len(bench.fine.frames)
    if bench.scene.drift is not None and late.any():
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


def _count_slides(bench: Bench, trial: Trial, steps: Array, tally: Tally) -> None:
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
        paths = np.zeros((*rings.shape[:-1], len(own) + 1))
        rings.cumsum(axis=-1, out=paths[..., 1:])
        drift: list[float] = widest(paths[..., bench.skip :])[0].tolist()
        for e, after in zip(met[k], drift, strict=False):
            i, draft, _ = trial.entries[e]
            finding = draft.finding
            if finding.kind == "slide" and finding.foot == stance.foot and finding.first == stance.first:
                tally.leaves[i] = after
            elif after > note and after > drift[-1] + TRIFLE * note:
                tally.worse[i].append(Worse("slide", stance.foot, drift[-1], after))


def _count_joints(bench: Bench, trial: Trial, tally: Tally) -> None:
    """Count what joints are beyond their range, and knees' whips, at whole frames."""
    foot, at = trial.foot, trial.at
    after = joints_of_one(bench.rig, trial.pose, foot)
    spells = [(0, -1), *((d.finding.first, d.finding.last) for _, d, _ in trial.entries)]
    sizes = [1, *(part.stop - part.start for part in trial.parts)]
    first, last = np.repeat(spells, sizes, axis=0).T - bench.clip.first
    inside = (trial.index >= first) & (trial.index <= last)
    if bench.loop:
        again = trial.index - bench.clip.frames
        inside |= (again >= first) & (again <= last)
    edges = np.array([[part.start, part.stop - 1] for part in trial.parts]).ravel()
    knees = np.array([bench.joints[KNEE, foot, at], after[KNEE, 0]])
    whips = np.zeros(knees.shape)
    whips[:, 1:-1] = whip(knees, bench.clip.step)
    whips[:, edges] = 0.0  # their neighbours are another draft's
    tally.count("snap", trial, whips[0], whips[1], inside)
    low, high = limits_of(bench.rig)[:, :, foot]
    beyond = np.maximum(low - after[:, 0], after[:, 0] - high).max(axis=0)
    tally.count("limit", trial, bench.beyond[foot, at], beyond, inside)
