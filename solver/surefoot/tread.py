"""Tread: how a foot is swung over the edges of steps, and set down on them.

Going up, the toes stand close before the next riser: the foot rises first and goes ahead later. Going down, the heel
comes to lie close before the riser that it leaves: the foot goes ahead first, over the nosing, and comes down later.
Both only as far as the edges that are really there ask for it, so on level ground, ramps and hills nothing changes.
On stairs the forefoot lands first in both directions (Riener, Rabuffetti and Frigo 2002; verified); by how many
degrees is judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from surefoot.ground import Ground
from surefoot.pace import OwnWay, Step
from surefoot.rig import Rig
from surefoot.route import Route
from surefoot.sole import FLAT, Soles, Turns
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["over_edges"]

Array = NDArray[np.float64]

PLACES = 65
"""Places along a swing's way at which the ground is asked for."""
EDGE = 0.02
"""Metres at a leg of 0.9 m: ground that is so much above a footprint's own plane is an edge for it."""
SPARE = 0.01
"""Metres that toes keep before a riser, and a heel after a nosing."""
LEAD = 0.3
"""Share of a swing that a full riser takes, up before the foot goes ahead or down after it."""
SHORT = (1.35, 0.62, 0.75)
"""How that share falls with the way of the swing in legs, and the least of it: a long step can't wait for the hips."""
WAITS = 0.4
"""Share of a swing for which a foot keeps its height before it comes down a full riser, or after it has gone up."""
FULL = 0.17
"""Height of a full riser, as a share of the leg."""
UP, DOWN = float(np.radians(7.0)), float(np.radians(18.0))
"""Pitch at which the forefoot lands on a step above and on one below."""
LOADING = 0.08
"""Least seconds from forefoot contact to the flat foot."""


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Edges on the way of each swing, ``(swings,)`` each.

    ``first`` is the part of its way that a foot can go before its toes meet an edge above it, ``last`` the part
    after which its heel is past the last edge above where it lands; ``above`` and ``below`` how high these stand.
    """

    first: Array
    above: Array
    last: Array
    below: Array


def over_edges(
    steps: Sequence[Step],
    route: Route,
    ground: Ground,
    rig: Rig,
    *,
    way: OwnWay,
    pitch: Array,
    moved: Array,
    rate: float,
) -> tuple[Step, ...]:
    """Return the steps with what each swing's time and each landing's pitch become.

    Parameters
    ----------
    steps : sequence of Step
        In order of time, with their places.
    way : OwnWay
    pitch : ndarray, shape (2, frames)
        Each foot's own pitch in the cycle on level ground, radians.
    moved : ndarray, shape (2, 2, frames)
        By how much planting on level ground moves each foot's ankle ahead and up, metres: (part, foot, frame).
    rate : float
        Frames a second.
    """
    if ground.is_even:
        return tuple(steps)
    made = list(steps)
    for foot in (0, 1):
        mine = [k for k, step in enumerate(made) if step.foot == foot]
        if len(mine) < 2:
            continue
        before, after = [made[k] for k in mine[:-1]], [made[k] for k in mine[1:]]
        edges = _edges(before, after, route, ground, rig)
        leaves, arrives = _timed(before, after, edges, way, rig.leg)
        above, below = (np.clip(height / (FULL * rig.leg), 0.0, 1.0).tolist() for height in (edges.above, edges.below))
        for j, ((k, after_k), late, early) in enumerate(
            zip(pairwise(mine), leaves.tolist(), arrives.tolist(), strict=True)
        ):
            rise, fall = late / LEAD, (1.0 - early) / LEAD
            made[k] = replace(made[k], leaves=late, arrives=early, turns=WAITS * fall, settles=1.0 - WAITS * rise)
            up, down = above[j], below[j]
            made[after_k] = _set_down(made[after_k], up, down, way.first, pitch[foot], moved[:, foot], rate, rig)
    return tuple(made)


def _set_down(
    step: Step, up: float, down: float, first: int, pitch: Array, moved: Array, rate: float, rig: Rig
) -> Step:
    """Return a step that's come to by its forefoot, the more so the higher the edges on its way are."""
    toned, target = max(up, down), UP if up > down else DOWN
    own = pitch[np.arange(step.frames[0] - first, step.frames[1] - first + 1) % len(pitch)]
    flat = np.flatnonzero(np.abs(own) < FLAT)
    if toned == 0.0 or not len(flat) or own[0] >= target:
        return step
    both = np.array([[own[0], own[0] + toned * (target - own[0])]])
    level = np.zeros_like(both)
    foot = Soles.of(rig).gathered(np.array([step.foot]))
    bend = foot.planted_bend(both, level, level)
    _, up_to, on_to = np.diff(foot.planted(Turns(both, level, level, bend)), axis=-1)[:, 0, 0].tolist()
    ahead, raised = moved[:, (step.frames[0] - first) % len(pitch)].tolist()
    least = step.frames[0] + max(2, round(LOADING * rate))
    return replace(
        step, toned=toned, pitch=target, flat=float(max(step.frames[0] + flat[0], least)),
        ahead=on_to * float(np.cos(step.yaw)) + toned * ahead, up=up_to + toned * raised, down=down >= up,
    )  # fmt: skip


def _edges(before: Sequence[Step], after: Sequence[Step], route: Route, ground: Ground, rig: Rig) -> _Edges:
    here, there = (
        np.array([(step.at, step.level, step.lean, step.aside, step.yaw) for step in steps]).T
        for steps in (before, after)
    )
    outline = rig.legs[before[0].foot].foot.outline
    ends = []
    for yaw in (here[4], there[4]):
        along = outline[:, 1, None] * np.cos(yaw) + outline[:, 0, None] * np.sin(yaw)
        ends.append((along.min(axis=0), along.max(axis=0)))
    span = there[0] - here[0]
    share = np.linspace(0.0, 1.0, PLACES)[:, None]
    stands = EDGE * rig.leg / REFERENCE_LEG

    def high(start: Array, own: Array) -> Array:
        """Return how high the ground stands above a footprint's plane, ``(places, swings)``."""
        place = start + share * span
        x, z, _ = route.beside(place, here[3] + share * (there[3] - here[3]))
        return np.asarray(ground.height(x, z) - own[1] - own[2] * (place - own[0]))

    ahead, behind = high(here[0] + ends[0][1], here), high(here[0] + ends[1][0], there)
    size = np.maximum(np.abs(span), 1e-9)
    return _Edges(*_first(ahead, stands, share, size), *_last(behind, stands, share, size))


def _first(high: Array, stands: float, share: Array, size: Array) -> tuple[Array, Array]:
    edge = high > stands
    at = edge.argmax(axis=0)
    some = edge.any(axis=0)
    part = np.maximum(share[np.maximum(at - 1, 0), 0] - SPARE / size, 0.0)
    rows = np.arange(high.shape[1])
    return np.where(some, part, 1.0), np.where(some, high[at, rows], 0.0)


def _last(high: Array, stands: float, share: Array, size: Array) -> tuple[Array, Array]:
    part, height = _first(high[::-1], stands, share, size)
    return 1.0 - part, height


def _timed(
    before: Sequence[Step], after: Sequence[Step], edges: _Edges, way: OwnWay, leg: float
) -> tuple[Array, Array]:
    """Return the shares of each swing from which and by which the foot goes ahead."""
    foot = before[0].foot
    begin = np.array([step.frames[1] for step in before], dtype=np.float64)
    end = np.maximum(np.array([step.frames[0] for step in after], dtype=np.float64), begin + 1e-9)
    share = np.linspace(0.0, 1.0, PLACES)[:, None]
    part, _ = way.swung(foot, begin, end, share)
    far = np.array([there.at - here.at for here, there in zip(before, after, strict=True)])
    lead = LEAD * np.clip(SHORT[0] - SHORT[1] * np.abs(far) / leg, SHORT[2], 1.0)
    part = np.maximum.accumulate(part, axis=0)
    reached = (part <= edges.first).sum(axis=0) - 1
    clear = (part < edges.last).sum(axis=0)
    first, last = share[np.clip(reached, 0, PLACES - 1), 0], share[np.clip(clear, 0, PLACES - 1), 0]
    up, down = (lead * np.clip(height / (FULL * leg), 0.0, 1.0) for height in (edges.above, edges.below))
    leaves = np.where(first < up, (up - first) / np.maximum(1.0 - first, 1e-9), 0.0)
    arrives = np.where(last > 1.0 - down, (1.0 - down) / np.maximum(last, 1e-9), 1.0)
    return np.minimum(leaves, LEAD), np.maximum(arrives, 1.0 - LEAD)
