"""The slopes of given keys: the least-squares fit to wanted curves, many channels in one tridiagonal system.

Keys hold the wanted value. A key has one slope, or two where its curve may break; each slope is known
to the samples of the two spans that it touches only, so all of them are found in one pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dptsv

from surefoot.heeding import heed

__all__ = ["Fit", "Spans", "Task", "Wanted", "solved"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ANCHOR = 1e-9
"""Weight that holds a slope near the wanted one where the samples don't say."""


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """Curves to be met: cubics from frame to frame, sampled.

    Parameters
    ----------
    samples : ndarray, shape (channels, frames, phases)
        Values at the phases after each frame; the first phase is the frame itself. The last
        frame's row holds its own value, then whatever (its tolerance is infinite) unless the curve loops.
    slope_in, slope_out : ndarray, shape (channels, frames)
        The wanted slopes at each frame, a frame.
    tolerance : ndarray, shape (channels, frames, phases)
        Largest departure allowed, in the channel's unit; inf for none.
    loop : bool
        Whether the frame after the last is the first again, up to ``advance`` ``(channels,)``.
    """

    samples: Array
    slope_in: Array
    slope_out: Array
    tolerance: Array
    phases: Array
    loop: bool
    advance: Array


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What is wanted, the samples' weights (one over the tolerance, 0 for none) and their frames."""

    wanted: Wanted
    weight: Array
    at: Array

    def rows(self, channel: Indices) -> Task:
        """Return the task with those channels, which may come more than once."""
        old = self.wanted
        slopes, advance = (old.slope_in[channel], old.slope_out[channel]), old.advance[channel]
        wanted = Wanted(old.samples[channel], *slopes, old.tolerance[channel], old.phases, old.loop, advance)
        return Task(wanted, self.weight[channel], self.at[channel])


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Keys in a list, channel after channel, each with the span that follows it."""

    own: Indices  # (channels, frames) the key whose span a frame lies in
    width: Array  # (keys,) frames from each key to the next of its channel; 1 where there's none
    channel: Indices
    frame: Indices
    following: Indices  # (keys,) the next key of the channel, a loop's last going to its first
    wraps: Flags  # (keys,)
    begin: Indices  # (keys,) each key's place among all channels' frames


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Keys with their slopes, and what they leave: departures as shares of their tolerances.

    ``share`` is the largest at and after each frame, ``(channels, frames)``; ``span_worst`` is ``(keys,)``.
    """

    keyed: Flags
    broken: Flags
    slope_in: Array
    slope_out: Array
    share: Array
    worst: Array
    spans: Spans
    span_worst: Array


def _spans_of(keyed: Flags, loop: bool) -> Spans:
    count = keyed.shape[1]
    begin = np.flatnonzero(keyed)
    channel, frame = np.divmod(begin, count)
    own = keyed.cumsum().reshape(keyed.shape) - 1
    following = np.arange(1, len(begin) + 1)
    last = np.empty(len(begin), dtype=bool)
    last[-1], last[:-1] = True, channel[1:] != channel[:-1]
    following[last] = np.flatnonzero(np.roll(last, 1))
    width = frame[following] - frame
    width[last] += count if loop else 1 - width[last]
    return Spans(own, width.astype(np.float64), channel, frame, following, last, begin)


def solved(task: Task, keyed: Flags, broken: Flags) -> Fit:
    """Solve for the slopes of given keys, all channels in one tridiagonal system, and measure what they leave."""
    heed()
    wanted, spans = task.wanted, _spans_of(keyed, task.wanted.loop)
    rest, left, right = _weighted(task, spans)
    parts = np.array([left * left, right * right, left * right, left * rest, right * rest])
    ll, rr, lr, fl, fr = np.add.reduceat(parts.reshape(5, -1), spans.begin * len(wanted.phases), axis=1)
    place_out, place_in = _unknowns(spans, broken, wanted.loop)
    after = place_in[spans.following]
    unknowns = int(max(place_out.max(), place_in.max())) + 1
    main, side, off, near = np.zeros((4, unknowns))
    spanned = slice(None) if wanted.loop else ~spans.wraps
    # keys' slopes out are unknowns of their own, and so are their slopes in: no place comes twice in either list
    main[place_out[spanned]] = ll[spanned]
    side[place_out[spanned]] = fl[spanned]
    main[after[spanned]] += rr[spanned]
    side[after[spanned]] += fr[spanned]
    off[place_out[spanned]] = lr[spanned]
    near[place_out] = wanted.slope_out.ravel()[spans.begin]
    near[place_in] = wanted.slope_in.ravel()[spans.begin]
    hold = ANCHOR * (1.0 + main)
    solution = dptsv(main + hold, off[:-1], side + hold * near)[2]
    slope_in, slope_out = np.zeros((2, *keyed.shape))
    slope_in.ravel()[spans.begin] = solution[place_in]
    slope_out.ravel()[spans.begin] = solution[place_out]
    if not wanted.loop:  # the open ends are the wanted ones
        slope_in[:, 0], slope_out[:, -1] = wanted.slope_in[:, 0], wanted.slope_out[:, -1]
    own = spans.own
    gap = rest - left * solution[place_out][own][..., None] - right * solution[after][own][..., None]
    share = np.abs(gap).max(axis=-1)
    span_worst = np.maximum.reduceat(share.ravel(), spans.begin)
    return Fit(keyed, broken, slope_in, slope_out, share, share.max(axis=1), spans, span_worst)


def _unknowns(spans: Spans, broken: Flags, loop: bool) -> tuple[Indices, Indices]:
    """Return where each key's slope out and slope in stand among the unknowns, ``(keys,)`` each.

    They stand in order along each channel: a key's slope in, then its slope out, one for both where it's
    smooth. The first key's slope in closes a loop's chain at its end.
    """
    first = np.roll(spans.wraps, 1)
    each = np.where(first, 1, 1 + broken.ravel()[spans.begin])
    begin = np.cumsum(each) - each
    if loop:
        begin += np.cumsum(first) - 1
    place_in = begin.copy()
    if loop:
        place_in[first] = (begin + each)[spans.wraps]
    return begin + each - 1, place_in


def _weighted(task: Task, spans: Spans) -> tuple[Array, Array, Array]:
    """Return what slopes must make up for and their two basis functions, weighted, each like the samples."""
    wanted, own = task.wanted, spans.own
    width = spans.width[own][..., None]
    u = (task.at - spans.frame[own][..., None]) / width
    values = wanted.samples[..., 0].ravel()[spans.begin]
    rise = values[spans.following] - values
    if wanted.loop:
        rise += spans.wraps * wanted.advance[spans.channel]
    rest = wanted.samples - values[own][..., None] - u * u * (3.0 - 2.0 * u) * rise[own][..., None]
    bump = task.weight * width * u * (1.0 - u)
    right = -bump * u
    return rest * task.weight, bump + right, right
