"""Aftermath: what a draft leaves of its finding and what it makes worse, all drafts judged in one go.

Only the samples that a draft touches are posed again, and only the foot that it moves is measured (both legs, where
it moves the hips). Those of all drafts are laid end to end, so the kinematics runs once. The measures are those of
`check`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.joints import KNEE, beyond_ends, joints_of_one, limits_of, whip
from surefoot.lean import lean_of
from surefoot.rig import FEET, Limits
from surefoot.rotations import length
from surefoot.scene import Scene
from surefoot.slip import least_steps, widest
from surefoot.tally import TRIFLE, Judged, Tally, Worse
from surefoot.touch import PER_FRAME, Touch
from surefoot.trial import NOBODY, Spans, Trial, changes_at_samples

__all__ = ["judge"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

NONE = np.zeros(1, dtype=bool)
UNMOVED, BOTH = -1, -2
"""Of a draft's foot: no sole moves, or both do."""


def judge(bench: Bench, drafts: Sequence[Draft]) -> list[Judged]:
    """Return, for each draft, what it leaves and what it makes worse."""
    posed = [(i, draft) for i, draft in enumerate(drafts) if draft.rows]
    tally = Tally(bench, drafts)
    changes = changes_at_samples(drafts)
    entries = [(i, d, f) for f in (0, 1) for i, d in posed if d.foot in (f, BOTH)]
    if entries:
        _count_soles(bench, Trial.of(bench, entries, changes), tally)
    lowered = [(i, d, f) for i, d in posed if d.foot == UNMOVED for f in (0, 1)]
    if lowered:
        _count_lowered(bench, lowered, changes, tally)
    if posed:
        plain = bench.scene.binding.plain  # else a foot may carry the other
        legs = [(i, d, f) for f in (0, 1) for i, d in posed if d.foot in (f, UNMOVED, BOTH) or not plain]
        _count_joints(bench, Trial.of(bench, legs), tally)
    return [
        Judged(float(draft.leaves or 0.0) if draft.curves else max(tally.leaves[i], 0.0), tuple(tally.worse[i]))
        for i, draft in enumerate(drafts)
    ]


def _count_soles(bench: Bench, trial: Trial, tally: Tally) -> None:
    """Count what is below the ground, above it, out of reach, sliding or cut through."""
    scene, known = trial.scene(bench.fine), bench.touch
    inside = np.concatenate([NONE, *(bench.spell(d.finding, d.window) for _, d, _ in trial.entries)])
    ankle, down = trial.own(scene.ankle), trial.known(bench.down)
    over = length(ankle - trial.own(scene.hip)) - bench.legs.ravel().take(trial.foot)
    soles = _Soles.of(bench, trial, scene)
    cross = bench.overlap.take(trial.at)
    before = trial.known(bench.over), trial.known(known.depth), np.where(down, trial.known(known.gap), -1.0), cross
    after = over, soles.depth, np.where(down, soles.gap, -1.0), _overlap(bench, trial, scene, ankle, cross)
    tally.count(("stretch", "sink", "hover", "cross"), trial, before, after, inside)
    _count_slides(bench, trial, soles.steps, tally)


def _count_lowered(bench: Bench, entries: list[tuple[int, Draft, int]], changes: Sequence[Array], tally: Tally) -> None:
    """Count what hips that move straight up or down put out of reach: no sole moves, so nothing need be posed."""
    whose = [bench.samples_of(draft.window) for _, draft, _ in entries]
    sizes = [1, *map(len, whose)]
    past = list(accumulate(sizes))
    parts = [slice(first, last) for first, last in pairwise(past)]
    spans = Spans(entries, parts, np.array(past[:-1]), sizes)
    foot = np.repeat([0, *(f for _, _, f in entries)], sizes)
    flat = foot * len(bench.fine.frames) + np.concatenate([NOBODY, *whose])
    x, y, z = (bench.fine.hip - bench.fine.ankle).reshape(3, -1).take(flat, axis=1)
    y = y + np.concatenate([np.zeros(1), *(changes[i][0] for i, _, _ in entries)])
    after = np.sqrt(x * x + y * y + z * z) - bench.legs.ravel().take(foot)
    inside = np.concatenate([NONE, *(bench.spell(draft.finding, draft.window) for _, draft, _ in entries)])
    tally.count(("stretch",), spans, [bench.over.ravel().take(flat)], [after], inside)


@dataclass(frozen=True, slots=True, eq=False)
class _Soles:
    """Of the foot that is measured at each sample: depth and gap ``(samples,)``, steps ``(2, samples)``, metres.

    Steps are the pivots', x and z, to each sample from the one before it.
    """

    depth: Array
    gap: Array
    steps: Array

    @classmethod
    def of(cls, bench: Bench, trial: Trial, scene: Scene) -> Self:
        """Work the soles out foot by foot."""
        late, drift = trial.index >= len(bench.fine.frames), bench.scene.drift
        moves_on = drift is not None and bool(late.any())
        depth, gap, steps = np.empty(len(late)), np.empty(len(late)), np.zeros((2, len(late)))
        for foot, part in enumerate(trial.halves):
            if part.stop == part.start:
                continue
            own = slice(foot, foot + 1)
            pose = replace(scene.pose, bend=scene.pose.bend[own, part])
            soles = scene.soles.gathered(np.array([foot]))
            touch = Touch.of(
                replace(
                    scene, soles=soles, ankle=scene.ankle[:, own, part], angles=scene.angles[:, own, part], pose=pose
                )
            )
            depth[part], gap[part] = touch.depth[0], touch.gap[0]
            points = touch.points
            if drift is not None and moves_on:
                points[..., late[part]] = drift.apply(points[..., late[part]])
            steps[:, part.start + 1 : part.stop] = least_steps(points, touch.height, lean_of(scene.ground))[:, 0]
        return cls(depth, gap, _turned(bench, steps, late, -1.0))


def _overlap(bench: Bench, trial: Trial, scene: Scene, ankle: Array, before: Array) -> Array:
    """Return the feet's overlap, measured again only where a foot has moved and the other is near."""
    shift = length(ankle - trial.known(bench.fine.ankle))
    turned = np.abs(trial.own(scene.angles) - trial.known(bench.fine.angles))
    bent = np.abs(trial.own(scene.pose.bend) - trial.known(bench.fine.pose.bend))
    whole, toes = bench.levers
    moved = shift + whole * (turned[0] + turned[1] + turned[2]) + toes * bent
    # a foot that moves by so much gets no deeper into the other than by as much; what stays below a note isn't told
    own = [d.finding.kind == "cross" for _, d, _ in trial.entries]
    told = np.repeat([np.inf, *(0.0 if is_own else bench.bounds["cross"][0] for is_own in own)], trial.sizes)
    (near,) = ((moved > 1e-9) & (before + moved > told)).nonzero()
    if not len(near):
        return before
    after, pose = before.copy(), scene.pose
    some = replace(scene, ankle=scene.ankle[..., near], angles=scene.angles[..., near],
                   pose=replace(pose, bend=pose.bend[..., near]))  # fmt: skip
    after[near] = Touch.of(some).overlap()
    return after


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
    owned = owner[trial.foot, trial.at]
    owned[trial.starts] = owned[0] = -1  # the step to an entry's first sample is another's
    entry = np.repeat(np.arange(-1, len(trial.entries)), trial.sizes)
    for k, (stance, own) in enumerate(zip(stances, owns, strict=True)):
        (mine,) = (owned == k).nonzero()
        if not len(mine):
            continue
        foot = FEET.index(stance.foot)
        met, row = np.unique(entry[mine], return_inverse=True)
        rings = np.repeat(bench.steps[None, :, foot, own], len(met) + 1, axis=0)  # the last is as authored
        rings[row, :, place[foot, trial.at[mine]]] = steps[:, mine].T
        late = np.arange(len(own)) + (stance.first - first) * PER_FRAME + 1 >= size
        rings = _turned(bench, rings, late & bench.loop, 1.0)
        paths = np.zeros((*rings.shape[:-1], len(own) + 1))
        rings.cumsum(axis=-1, out=paths[..., 1:])
        drift: list[float] = widest(paths[..., bench.skip :])[0].tolist()
        for e, after in zip(met.tolist(), drift, strict=False):
            i, draft, _ = trial.entries[e]
            finding = draft.finding
            if finding.kind == "slide" and finding.foot == stance.foot and finding.first == stance.first:
                tally.leaves[i] = after
            elif after > note and after > drift[-1] + TRIFLE * note:
                tally.worse[i].append(Worse("slide", stance.foot, drift[-1], after))


def _count_joints(bench: Bench, trial: Trial, tally: Tally) -> None:
    """Count what joints are beyond their range, and knees' whips, at whole frames."""
    foot = trial.foot
    after = joints_of_one(bench.rig, trial.pose, foot)[:, 0]
    spells = [(0, -1), *((d.finding.first, d.finding.last) for _, d, _ in trial.entries)]
    first, last = np.repeat(np.array(spells).T - bench.clip.first, trial.sizes, axis=1)
    inside = (trial.index >= first) & (trial.index <= last)
    if bench.loop:
        again = trial.index - bench.clip.frames
        inside |= (again >= first) & (again <= last)
    edges = np.array([[part.start, part.stop - 1] for part in trial.parts]).ravel()
    known = trial.known(bench.joints)
    knees = np.abs(np.array([known[KNEE], after[KNEE]]))
    whips = np.zeros(knees.shape)
    whips[:, 1:-1] = whip(knees, bench.clip.step)
    whips[:, edges] = 0.0  # their neighbours are another draft's
    low, high = limits_of(bench.rig).take(foot, axis=2)
    beyond = [beyond_ends(angles, low, high) for angles in (known, after)]
    most = [joints.max(axis=0) for joints in beyond]
    for (i, draft, measured), part in zip(trial.entries, trial.parts, strict=True):
        if draft.finding.kind != "limit" or draft.finding.foot != FEET[measured]:
            continue
        own, spell = Limits.NAMES.index(draft.finding.part.replace(" ", "_")), inside[part]
        tally.leaves[i] = float(np.where(spell, beyond[1][own, part], 0.0).max())
        for amount, joints in zip(most, beyond, strict=True):  # in its own frames only the other joints can be harmed
            amount[part] = np.where(spell, np.delete(joints[:, part], own, axis=0).max(axis=0), amount[part])
    tally.count(("snap", "limit"), trial, (whips[0], most[0]), (whips[1], most[1]), inside)
