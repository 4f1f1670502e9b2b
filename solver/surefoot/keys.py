"""Few keys: the fewest keys on whole frames whose curves stay within tolerance of wanted ones.

Many channels are fitted at once. Keys hold the wanted value; their slopes are the
least-squares fit to all samples between, one slope a key, or two where the curve may
break (where a foot lands or lifts off). A key goes in where the curve is farthest off,
on a frame that means something where one lies near, until every sample is within its
tolerance; then keys that turn out not to be needed go out again, and one goes in for two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.key_slopes import Fit, Spans, Task, Wanted, solved

__all__ = ["KeyFit", "fit_keys"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ROUNDS = 60
TURNS = 24
UNDO = 4
"""How often moves that fail are taken back before a channel is left as it was."""
SMALL = 20_000
"""Up to so many frames, counted once for each key of their channel, moves are tried one by one at the end."""
LONG = 12


@dataclass(frozen=True, slots=True, eq=False)
class KeyFit:
    """Keys on frames, ``(channels, frames)``: where they are, where they break, and their slopes a frame.

    ``worst`` is each channel's largest departure as a share of its tolerance, ``(channels,)``.
    """

    keyed: Flags
    broken: Flags
    slope_in: Array
    slope_out: Array
    worst: Array


def fit_keys(wanted: Wanted, own: Flags, may_break: Flags, meaning: Flags, allowed: Flags | None = None) -> KeyFit:
    """Return the fewest keys that a greedy search finds.

    Parameters
    ----------
    own : ndarray of bool, shape (channels, frames)
        The animator's keys, which stay.
    may_break : ndarray of bool, shape (channels, frames)
        Frames at which a key's two slopes may differ.
    meaning : ndarray of bool, shape (channels, frames)
        Frames at which a new key is put where one lies in the span that needs it.
    allowed : ndarray of bool, shape (channels, frames), or None
        Frames on which new keys may be put; None is all.
    """
    fixed = own.copy()
    fixed[:, 0] = True
    if not wanted.loop:
        fixed[:, -1] = True
    broken = may_break.copy()
    broken[:, 0] = True  # a loop's chain is cut there: the two slopes are found apart
    weight = np.where(np.isfinite(wanted.tolerance), 1.0 / wanted.tolerance, 0.0)
    at = np.arange(fixed.shape[1])[:, None] + wanted.phases
    task = Task(wanted, weight, np.broadcast_to(at, weight.shape))
    fit = solved(task, fixed, broken)
    for _ in range(ROUNDS):
        add, split = _needed(fit, meaning, allowed)
        if not (add.any() or split.any()):
            break
        fit = solved(task, fit.keyed | add, fit.broken | split)
    fit = _thinned(task, fit, fixed, allowed)
    if np.count_nonzero(fit.keyed) * fixed.shape[1] <= SMALL:
        fit = _thinned_one_by_one(task, fit, fixed, allowed)
    return KeyFit(fit.keyed, fit.broken, fit.slope_in, fit.slope_out, fit.worst)


def _first_least(cost: Array, spans: Spans) -> Indices:
    """Return, for each span, the flat index of its least cost, -1 where all are infinite."""
    least = np.minimum.reduceat(cost, spans.begin)
    own = spans.own.ravel()
    at = np.flatnonzero(cost == least[own])[::-1]
    found = np.full(len(least), -1)
    found[own[at]] = at  # the first of each span is written last
    return np.where(np.isfinite(least), found, -1)


def _needed(fit: Fit, meaning: Flags, allowed: Flags | None) -> tuple[Flags, Flags]:
    """Return where keys must go in, and which keys must break since their spans are one frame."""
    spans, count = fit.spans, fit.keyed.shape[1]
    add, split = np.zeros((2, *fit.keyed.shape), dtype=bool)
    failing = fit.span_worst > 1.0
    if not failing.any():
        return add, split
    frame = np.tile(np.arange(count, dtype=np.float64), len(fit.keyed))
    own = spans.own.ravel()
    worst_at = frame[_first_least(-fit.share.ravel(), spans)] + 0.5
    middle = spans.frame + spans.width / 2.0
    free = (~fit.keyed if allowed is None else ~fit.keyed & allowed).ravel()
    unmeant = np.where(meaning.ravel(), 0.0, 1e6)
    for target, extra, where in ((worst_at, unmeant, failing), (middle, 0.0, failing & (spans.width > LONG))):
        cost = np.where(free, np.abs(frame - target[own]) + extra, np.inf)
        at = _first_least(cost, spans)
        add.ravel()[at[where & (at >= 0)]] = True
        if where is failing:  # no frame is left inside: the keys at its ends get two slopes each
            stuck = np.flatnonzero(failing & (at < 0))
            split.ravel()[spans.begin[stuck]] = True
            split.ravel()[spans.begin[spans.following[stuck]]] = True
    split &= fit.keyed & ~fit.broken
    return add, split


def _thinned(task: Task, fit: Fit, fixed: Flags, allowed: Flags | None) -> Fit:
    """Take out keys that aren't needed, and put one in place of two where one will do.

    Each turn tries a move on every third or fourth key at a time; those that fail are taken back.
    """
    idle = 0
    for turn in range(TURNS):
        kind = turn % 7
        trial = _without_one(fit, fixed, kind) if kind < 3 else _one_for_two(fit, fixed, allowed, kind - 3)
        better = _kept(task, fit, trial) if (trial != fit.keyed).any() else fit
        idle = 0 if (better.keyed != fit.keyed).any() else idle + 1
        fit = better
        if idle == 7:
            break
    return fit


def _without_one(fit: Fit, fixed: Flags, start: int) -> Flags:
    rank = np.cumsum(fit.keyed, axis=1)
    return np.asarray(fit.keyed & (fixed | (rank % 3 != start)))


def _one_for_two(fit: Fit, fixed: Flags, allowed: Flags | None, start: int) -> Flags:
    """Return the keys with every fourth and the one after it replaced by one on the frame in the middle."""
    first, middle = _pairs(fit, fixed, allowed)
    chosen = first % 4 == start
    trial, begin = fit.keyed.copy(), fit.spans.begin
    trial.ravel()[begin[first[chosen]]] = False
    trial.ravel()[begin[first[chosen] + 1]] = False
    trial.ravel()[middle[chosen]] = True
    return trial


def _pairs(fit: Fit, fixed: Flags, allowed: Flags | None) -> tuple[Indices, Indices]:
    """Return the first keys of pairs of free keys, and the frames (flat) in the middle of each pair."""
    spans = fit.spans
    spare = ~fixed.ravel()[spans.begin]
    first = np.flatnonzero(spare & spare[spans.following] & ~spans.wraps)
    middle = spans.begin[first] + (spans.width[first] / 2.0).astype(int)
    if allowed is None:
        return first, middle
    good = allowed.ravel()[middle]
    return first[good], middle[good]


def _kept(task: Task, fit: Fit, trial: Flags) -> Fit:
    """Return the fit with those moves of a trial that keep every span within tolerance, channel by channel."""
    limit = np.maximum(1.0, fit.worst)
    moved, keyed = trial != fit.keyed, trial
    attempt = solved(task, keyed, fit.broken)
    for turn in range(UNDO):
        spans = attempt.spans
        bad = attempt.span_worst > limit[spans.channel]
        if not bad.any():
            return attempt
        if turn:  # a span goes wrong through its neighbours' slopes too
            bad = bad | bad[spans.following]
            bad[spans.following] |= bad
        around = bad[spans.own]
        around[:, 1:] |= around[:, :-1] & attempt.keyed[:, 1:]  # and the key at a span's end
        keyed = np.where(around & moved, fit.keyed, keyed)
        attempt = solved(task, keyed, fit.broken)
    good = attempt.worst <= limit
    return attempt if good.all() else solved(task, np.where(good[:, None], attempt.keyed, fit.keyed), fit.broken)


def _thinned_one_by_one(task: Task, fit: Fit, fixed: Flags, allowed: Flags | None) -> Fit:
    """Make the best move of each channel, each move tried alone, until none is left."""
    while True:
        spans = fit.spans
        spare = np.flatnonzero(~fixed.ravel()[spans.begin])
        first, middle = _pairs(fit, fixed, allowed)
        gone, pairs = np.concatenate([spare, first]), slice(len(spare), None)
        if not len(gone):
            return fit
        channel, move = spans.channel[gone], np.arange(len(gone))
        trial = fit.keyed[channel]
        trial[move, spans.frame[gone]] = False
        trial[move[pairs], spans.frame[first + 1]] = False
        trial[move[pairs], middle % fixed.shape[1]] = True
        tried = solved(task.rows(channel), trial, fit.broken[channel])
        worst = np.where(tried.worst <= np.maximum(1.0, fit.worst[channel]), tried.worst, np.inf)
        order = np.lexsort((worst, channel))
        best = order[np.append(True, channel[order][1:] != channel[order][:-1])]
        best = best[np.isfinite(worst[best])]
        if not len(best):
            return fit
        keyed = fit.keyed.copy()
        keyed[channel[best]] = trial[best]
        fit = solved(task, keyed, fit.broken)
