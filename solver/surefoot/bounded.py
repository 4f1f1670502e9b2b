"""Inverse kinematics with limits: the angles of a chain whose points come nearest to wanted places.

All frames are solved at once by damped least squares: Newton's step on half the squared distances with the
analytic Jacobian and curvature, damped until it lowers the cost, projected onto the joints' ranges, and a joint that
presses against its limit left out of the step. Each frame has its own damping and stops by itself.

Frames start from what they're given (the closed form, where there is one) and then, where the answer jumps, from
between their neighbours' answers: a pose that is smoother in time is taken where it's as good.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.hinge_chain import HingeChain, hinge_points

__all__ = ["Solved", "solve_bounded"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 80
LEAST_GRADIENT = 1e-11
"""Metres squared a radian (at a metre's scale) at which a frame is solved."""
THERE = 1e-20
"""Half metres squared at which a frame is solved: a tenth of a nanometre."""
SLOW = 0.3
"""A step that leaves more of the cost than this shows that the target is out of reach: the curvature then counts."""
NEARBY = 0.02
"""Radians from a limit at which a step may end on it."""
IDLE = 1e-14
"""A step that promises less than this share of the cost ends the search."""
JUMP = float(np.radians(3.0))
"""A joint that lies farther than this from the middle of its neighbouring frames is tried again from there, radians."""
SWEEPS = 8
EVERY = 6
"""Frames from one that is solved first to the next, where the start is a guess."""
MISSED = 1e-14
"""Half metres squared above which a frame counts as not reached."""
STARTS = ((0.0,), (0.5, -0.5, 0.5), (-0.5, 0.5, 0.5), (0.3, 0.3, -0.6, -0.2), (-0.4, -0.2, 0.6))
"""Shares of each joint's range, over and over along the chain, from which frames that miss are tried again."""
AS_GOOD = 1e-10
"""Metres squared by which a smoother pose may be worse."""


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """What `solve_bounded` found, frame by frame.

    Parameters
    ----------
    angles : ndarray, shape (hinges, frames)
        Radians, inside the ranges.
    cost : ndarray, shape (frames,)
        Half the weighted sum of squared distances, metres squared.
    residual : ndarray, shape (frames,)
        The largest distance that's left between a point and its wanted place, metres.
    at_limit : ndarray of bool, shape (hinges, frames)
        Joints that lie on an end of their range.
    rounds : ndarray of int, shape (frames,)
        Steps taken.
    """

    angles: Array
    cost: Array
    residual: Array
    at_limit: Flags
    rounds: NDArray[np.intp]


def solve_bounded(
    wanted: Array,
    chain: HingeChain,
    *,
    weights: Array,
    low: Array,
    high: Array,
    start: Array,
    turn: Array | None = None,
    origin: Array | None = None,
    smooth: bool = True,
    thorough: bool = False,
    guess: bool = False,
) -> Solved:
    """Return the angles inside their ranges that bring a chain's points nearest to wanted places.

    Parameters
    ----------
    wanted : ndarray, shape (3, points, frames)
        Metres; a point without weight counts for nothing.
    weights : ndarray, shape (points,)
    low, high : ndarray, shape (hinges,)
        Radians.
    start : ndarray, shape (hinges, frames)
        Where each frame begins; clipped to the ranges.
    turn, origin : as for `hinge_points`
    smooth : bool
        Whether frames follow one another in time.
    thorough : bool
        Whether frames that don't reach are tried again from other starts, and the best is taken: ranges make valleys,
        and which one is the deepest can't be known. Not for frames in time: neighbours could take different ones.
    guess : bool
        Whether the start is no more than a guess: some frames are then solved first, and the others start from
        between those.
    """
    frames = wanted.shape[-1]
    turn = np.broadcast_to(np.eye(3)[..., None], (3, 3, frames)) if turn is None else turn
    origin = np.zeros((3, frames)) if origin is None else origin
    job = _Job(wanted, chain, np.sqrt(weights), low[:, None], high[:, None], turn, origin)
    everything = np.arange(frames)
    start = np.clip(start, low[:, None], high[:, None])
    if guess and frames > 2 * EVERY:
        start = _led(job, start, everything)
    angles, cost, rounds = _descend(job, start, everything)
    if thorough:
        _other_starts(job, angles, cost, rounds)
    if smooth:
        _smoothed(job, angles, cost, rounds)
    gap = hinge_points(angles, chain, turn=turn, origin=origin)[0] - wanted
    counted = np.sqrt((gap**2).sum(axis=0))[weights > 0.0]
    edge = (angles <= job.low + 1e-12) | (angles >= job.high - 1e-12)
    return Solved(angles, cost, counted.max(axis=0), edge, rounds)


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    wanted: Array
    chain: HingeChain
    weight: Array
    low: Array
    high: Array
    turn: Array
    origin: Array

    def seen(self, angles: Array, at: NDArray[np.intp]) -> tuple[Array, Array, Array]:
        """Return weighted gaps ``(3, points, n)``, their Jacobian, and the hinges' axes at some frames."""
        points, jacobian, axes = hinge_points(
            angles, self.chain, turn=self.turn[..., at], origin=self.origin[:, at]
        )  # fmt: skip
        used = self.weight > 0.0
        scale = self.weight[used][:, None]
        gap = (points[:, used] - self.wanted[:, used][..., at]) * scale
        return gap, jacobian[:, used] * scale[:, None], axes


def _descend(job: _Job, start: Array, at: NDArray[np.intp]) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return angles, cost and rounds of frames ``at`` (all others are left out), from a start inside the ranges."""
    angles, count = start.copy(), len(at)
    rounds = np.zeros(count, dtype=np.intp)
    damping = np.full(count, 1e-4)
    gap, jacobian, axes = job.seen(angles, at)
    cost = 0.5 * (gap**2).sum(axis=(0, 1))
    going = np.arange(count)
    bent = np.zeros(count)  # 1 where the curvature of the distances counts too: not far from the answer
    for _ in range(ROUNDS):
        slope, curve = _model(gap, jacobian, axes, bent[going])
        q = angles[:, going]
        blocked = ((q <= job.low) & (slope > 0.0)) | ((q >= job.high) & (slope < 0.0))
        slope = np.where(blocked, 0.0, slope)
        unsolved = (np.abs(slope).max(axis=0) > LEAST_GRADIENT) & (damping[going] < 1e9) & (cost[going] > THERE)
        if not unsolved.all():
            going, slope, curve = going[unsolved], slope[:, unsolved], curve[..., unsolved]
            blocked = blocked[:, unsolved]
            gap, jacobian, axes = gap[..., unsolved], jacobian[..., unsolved], axes[..., unsolved]
        if not len(going):
            break
        step = _step(slope, curve, blocked, damping[going])
        trial = _kept_inside(angles[:, going], step, job)
        new_gap, new_jacobian, new_axes = job.seen(trial, at[going])
        new_cost = 0.5 * (new_gap**2).sum(axis=(0, 1))
        rounds[going] += 1
        better = new_cost < cost[going]
        # what rounding leaves of the step's promise isn't worth more steps
        promised = -(step * slope).sum(axis=0)
        damping[going] = np.where(promised < IDLE * (cost[going] + THERE), 1e12, damping[going])
        damping[going] = np.where(better, np.maximum(damping[going] * 0.1, 1e-14), damping[going] * 8.0)
        bent[going] = np.where(better, new_cost > SLOW * cost[going], bent[going])
        angles[:, going[better]], cost[going[better]] = trial[:, better], new_cost[better]
        gap[..., better], jacobian[..., better], axes[..., better] = (
            new_gap[..., better], new_jacobian[..., better], new_axes[..., better],
        )  # fmt: skip
    return angles, cost, rounds


def _kept_inside(q: Array, step: Array, job: _Job) -> Array:
    """Return the angles after a step; one that would pass a limit goes most of the way, and onto it from nearby.

    So a knee isn't thrown straight by one long step: straight is a saddle, from which no slope leads back.
    """
    new = q + step
    for end, beyond in ((job.low, new < job.low), (job.high, new > job.high)):
        if beyond.any():
            far = np.abs(end - q) > NEARBY
            new = np.where(beyond, np.where(far, q + 0.9 * (end - q), end), new)
    return np.asarray(new)


def _model(gap: Array, jacobian: Array, axes: Array, bent: Array) -> tuple[Array, Array]:
    """Return the cost's slope ``(hinges, n)`` and its second derivatives ``(hinges, hinges, n)``.

    Where ``bent`` (n,) is 0 they're Gauss and Newton's, which lack what the points' own curvature adds.
    """
    slope = np.einsum("ipn,iphn->hn", gap, jacobian)
    curve = np.einsum("iphn,ipkn->hkn", jacobian, jacobian)
    if not bent.any():
        return slope, curve
    # a point's second derivative by hinges i before j is axis i crossed with its derivative by j
    gap, moved = gap[:, :, None], jacobian
    pull = np.array(
        [(gap[i] * moved[j] - gap[j] * moved[i]).sum(axis=0) for i, j in ((1, 2), (2, 0), (0, 1))]
    )  # fmt: skip
    # gap . (axis x J) = axis . (J x gap) = -axis . (gap x J)
    bend = -np.einsum("ihn,ikn->hkn", axes, pull)
    upper = np.triu(np.ones(bend.shape[:2]))[..., None]
    bend = bend * upper
    diagonal = np.einsum("hhn->hn", bend)
    whole = bend + bend.swapaxes(0, 1)
    np.einsum("hhn->hn", whole)[...] = diagonal
    return slope, curve + whole * bent


def _step(slope: Array, curve: Array, blocked: Flags, damping: Array) -> Array:
    """Return the damped step of the free joints, ``(hinges, n)``; blocked ones stay."""
    system = curve.transpose(2, 0, 1).copy()
    size = np.abs(np.einsum("nhh->nh", system)).max(axis=1) + 1e-9
    free = ~blocked.T
    system *= free[:, :, None] & free[:, None, :]
    diagonal = np.einsum("nhh->nh", system)
    diagonal[...] += np.where(free, (damping * size)[:, None], size[:, None])
    step = np.linalg.solve(system, -slope.T[..., None])[..., 0]
    # a saddle's step leads upwards: there the slope itself leads down
    uphill = (step * slope.T).sum(axis=1) > 0.0
    step = np.where(uphill[:, None], -slope.T / (size * (1.0 + damping))[:, None], step)
    return np.asarray(np.clip(step, -0.5, 0.5).T)


def _led(job: _Job, start: Array, frames: NDArray[np.intp]) -> Array:
    """Return starts that run from one solved frame to the next, a few frames apart."""
    at = np.unique(np.append(frames[::EVERY], frames[-1]))
    found, cost, rounds = _descend(job, start[:, at], at)
    where = _Job(job.wanted[..., at], job.chain, job.weight, job.low, job.high, job.turn[..., at], job.origin[:, at])
    _smoothed(where, found, cost, rounds)
    return np.array([np.interp(frames, at, row) for row in found])


def _other_starts(job: _Job, angles: Array, cost: Array, rounds: NDArray[np.intp]) -> None:
    """Solve frames that miss their places again from other starts, and keep the best."""
    middle, reach = (job.low + job.high) / 2.0, (job.high - job.low) / 2.0
    for draw in STARTS:
        at = np.flatnonzero(cost > MISSED)
        if not len(at):
            return
        pattern = np.resize(np.array(draw), len(middle))[:, None]
        found, again, took = _descend(job, np.repeat(middle + pattern * reach, len(at), axis=1), at)
        good = again < cost[at]
        angles[:, at[good]], cost[at[good]] = found[:, good], again[good]
        rounds[at] += took


def _smoothed(job: _Job, angles: Array, cost: Array, rounds: NDArray[np.intp]) -> None:
    """Solve frames that jump again from between their neighbours, and take what is as good and jumps less."""
    count = angles.shape[1]
    if count < 3:
        return
    for sweep in range(SWEEPS):
        touched = np.zeros(count, dtype=bool)
        off = angles[:, 1:-1] - (angles[:, :-2] + angles[:, 2:]) / 2.0
        touched[1:-1] = np.abs(off).max(axis=0) > JUMP
        if not touched.any():
            return
        # every other frame at a time, so that a frame's neighbours stay as they are
        at = np.flatnonzero(touched & (np.arange(count) % 2 == sweep % 2))
        if not len(at):
            continue
        before, after = angles[:, np.maximum(at - 1, 0)], angles[:, np.minimum(at + 1, count - 1)]
        found, again, took = _descend(job, np.clip((before + after) / 2.0, job.low, job.high), at)
        smoother = _roughness(before, found, after) < _roughness(before, angles[:, at], after)
        good = (again < cost[at] - AS_GOOD) | ((again <= cost[at] + AS_GOOD) & smoother)
        angles[:, at[good]], cost[at[good]] = found[:, good], again[good]
        rounds[at] += took


def _roughness(before: Array, own: Array, after: Array) -> Array:
    """Return how far angles lie from both neighbours, ``(n,)``."""
    return np.asarray(((own - before) ** 2 + (after - own) ** 2).sum(axis=0))
