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
PIVOT = 1e-13
"""Share of a system's largest element above which elimination trusts a pivot."""
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
    low, high : ndarray, shape (hinges,) or (hinges, frames)
        Radians; alike where a joint stays as it is.
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
    low, high = (np.broadcast_to(end.reshape(len(start), -1), (len(start), frames)) for end in (low, high))
    job = _Job(wanted, chain, np.sqrt(weights), low, high, turn, origin)
    start = np.clip(start, low, high)
    if guess and frames > 2 * EVERY:
        start = _led(job, start, np.arange(frames))
    angles, cost, rounds = _descend(job, start)
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
    turn: Array | None
    origin: Array | None

    def at(self, at: NDArray[np.intp]) -> _Job:
        """Return the job of some frames."""
        turn = None if self.turn is None else self.turn[..., at]
        origin = None if self.origin is None else self.origin[:, at]
        return _Job(self.wanted[..., at], self.chain, self.weight, self.low[:, at], self.high[:, at], turn, origin)

    def seen(self, angles: Array) -> tuple[Array, Array, Array]:
        """Return weighted gaps ``(3, points, frames)``, their Jacobian, and the hinges' axes."""
        points, jacobian, axes = hinge_points(angles, self.chain, turn=self.turn, origin=self.origin)
        used = self.weight > 0.0
        if not used.all():
            points, jacobian = points[:, used], jacobian[:, used]
        gap = points - (self.wanted if used.all() else self.wanted[:, used])
        if np.any(self.weight[used] != 1.0):
            scale = self.weight[used][:, None]
            gap, jacobian = gap * scale, jacobian * scale[:, None]
        return gap, jacobian, axes


def _descend(job: _Job, start: Array, at: NDArray[np.intp] | None = None) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return angles, cost and rounds of frames ``at`` (all others are left out), from a start inside the ranges."""
    here = job if at is None else job.at(at)
    angles, count = start.copy(), start.shape[1]
    rounds = np.zeros(count, dtype=np.intp)
    gap, jacobian, axes = here.seen(angles)
    cost = 0.5 * (gap**2).sum(axis=(0, 1))
    # what follows is held for the frames that go on only
    going, q, best, damping = np.arange(count), angles, cost, np.full(count, 1e-4)
    bent = np.zeros(count)  # 1 where the curvature of the distances counts too: not far from the answer
    for _ in range(ROUNDS):
        slope, curve = _model(gap, jacobian, axes, bent)
        blocked = ((q <= here.low) & (slope > 0.0)) | ((q >= here.high) & (slope < 0.0))
        slope[blocked] = 0.0
        unsolved = (np.abs(slope).max(axis=0) > LEAST_GRADIENT) & (damping < 1e9) & (best > THERE)
        if not unsolved.all():
            angles[:, going], cost[going] = q, best
            keep = np.flatnonzero(unsolved)
            going, here = going[keep], here.at(keep)
            slope, curve, blocked = slope[:, keep], curve[..., keep], blocked[:, keep]
            q, best, damping, bent = q[:, keep], best[keep], damping[keep], bent[keep]
            gap, jacobian, axes = gap[..., keep], jacobian[..., keep], axes[..., keep]
        if not len(going):
            break
        step = _step(slope, curve, blocked, damping)
        trial = _kept_inside(q, step, here)
        new_gap, new_jacobian, new_axes = here.seen(trial)
        new_cost = 0.5 * (new_gap**2).sum(axis=(0, 1))
        rounds[going] += 1
        better = new_cost < best
        # what rounding leaves of the step's promise isn't worth more steps
        promised = -(step * slope).sum(axis=0)
        damping = np.where(promised < IDLE * (best + THERE), 1e12, damping)
        damping = np.where(better, np.maximum(damping * 0.1, 1e-14), damping * 8.0)
        bent = np.where(better, new_cost > SLOW * best, bent)
        if better.all():
            q, best, gap, jacobian, axes = trial, new_cost, new_gap, new_jacobian, new_axes
        else:
            q, best = np.where(better, trial, q), np.where(better, new_cost, best)
            gap, axes = np.where(better, new_gap, gap), np.where(better, new_axes, axes)
            jacobian = np.where(better, new_jacobian, jacobian)
    angles[:, going], cost[going] = q, best
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
    """Return the damped step of the free joints, ``(hinges, n)``; blocked ones stay. ``curve`` is used up."""
    diagonal = np.einsum("hhn->hn", curve)
    size = np.abs(diagonal).max(axis=0) + 1e-9
    if blocked.any():
        curve *= ~(blocked[:, None] | blocked)
        diagonal += np.where(blocked, size, damping * size)
    else:
        diagonal += damping * size
    step = -_quotient(curve, slope, size)
    # a saddle's step leads upwards: there the slope itself leads down
    uphill = (step * slope).sum(axis=0) > 0.0
    if uphill.any():
        step = np.where(uphill, -slope / (size * (1.0 + damping)), step)
    return np.minimum(np.maximum(step, -0.5), 0.5)


def _quotient(system: Array, right: Array, size: Array) -> Array:
    """Return the solutions ``(hinges, n)`` of symmetric systems ``(hinges, hinges, n)``, all frames at once.

    Elimination without a change of rows serves positive definite ones; the others, which show a pivot that isn't
    well above nothing, are left to LAPACK, frame by frame.
    """
    whole, left, count = system.copy(), right.copy(), len(system)
    good = np.ones(right.shape[1], dtype=bool)
    for k in range(count):
        good &= whole[k, k] > PIVOT * size
        whole[k, k] = np.where(good, whole[k, k], 1.0)
        share = whole[k + 1 :, k] / whole[k, k]
        whole[k + 1 :, k + 1 :] -= share[:, None] * whole[k, k + 1 :]
        left[k + 1 :] -= share * left[k]
    for k in range(count - 1, -1, -1):
        left[k] -= (whole[k, k + 1 :] * left[k + 1 :]).sum(axis=0)
        left[k] /= whole[k, k]
    bad = np.flatnonzero(~good)
    if len(bad):
        left[:, bad] = np.linalg.solve(system[..., bad].transpose(2, 0, 1), right[:, bad].T[..., None])[..., 0].T
    return left


def _led(job: _Job, start: Array, frames: NDArray[np.intp]) -> Array:
    """Return starts that run from one solved frame to the next, a few frames apart."""
    at = np.unique(np.append(frames[::EVERY], frames[-1]))
    found, cost, rounds = _descend(job, start[:, at], at)
    _smoothed(job.at(at), found, cost, rounds)
    return np.array([np.interp(frames, at, row) for row in found])


def _other_starts(job: _Job, angles: Array, cost: Array, rounds: NDArray[np.intp]) -> None:
    """Solve frames that miss their places again from other starts, and keep the best."""
    middle, reach = (job.low + job.high) / 2.0, (job.high - job.low) / 2.0
    for draw in STARTS:
        at = np.flatnonzero(cost > MISSED)
        if not len(at):
            return
        pattern = np.resize(np.array(draw), len(middle))[:, None]
        found, again, took = _descend(job, middle[:, at] + pattern * reach[:, at], at)
        good = again < cost[at]
        angles[:, at[good]], cost[at[good]] = found[:, good], again[good]
        rounds[at] += took


def _smoothed(job: _Job, angles: Array, cost: Array, rounds: NDArray[np.intp]) -> None:
    """Solve frames that jump again from between their neighbours, and take what is as good and jumps less."""
    count = angles.shape[1]
    if count < 3:
        return
    new = np.ones(count, dtype=bool)  # frames that have a neighbour which moved since they were tried
    for sweep in range(SWEEPS):
        touched = new.copy()
        touched[[0, -1]] = False
        off = angles[:, 1:-1] - (angles[:, :-2] + angles[:, 2:]) / 2.0
        touched[1:-1] &= np.abs(off).max(axis=0) > JUMP
        if not touched.any():
            return
        # every other frame at a time, so that a frame's neighbours stay as they are
        at = np.flatnonzero(touched & (np.arange(count) % 2 == sweep % 2))
        if not len(at):
            continue
        new[at] = False
        before, after = angles[:, at - 1], angles[:, at + 1]
        found, again, took = _descend(job, np.clip((before + after) / 2.0, job.low[:, at], job.high[:, at]), at)
        smoother = _roughness(before, found, after) < _roughness(before, angles[:, at], after)
        good = (again < cost[at] - AS_GOOD) | ((again <= cost[at] + AS_GOOD) & smoother)
        angles[:, at[good]], cost[at[good]] = found[:, good], again[good]
        new[at[good] - 1] = new[at[good] + 1] = True
        rounds[at] += took


def _roughness(before: Array, own: Array, after: Array) -> Array:
    """Return how far angles lie from both neighbours, ``(n,)``."""
    return np.asarray(((own - before) ** 2 + (after - own) ** 2).sum(axis=0))
