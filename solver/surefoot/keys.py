"""Few keys: the fewest keys on whole frames whose curves stay within tolerance of wanted ones.

Many channels are fitted at once. Keys hold the wanted value; their slopes are the
least-squares fit to all samples between, one slope a key, or two where the curve may
break (where a foot lands or lifts off). A key goes in where the curve is farthest off,
on a frame that means something where one lies near, until every sample is within its
tolerance; then keys that turn out not to be needed go out again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dptsv

__all__ = ["KeyFit", "Wanted", "fit_keys"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ROUNDS = 60
TURNS = 18
LONG = 12
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
    count = wanted.samples.shape[1]
    keyed = own.copy()
    keyed[:, 0] = True
    if not wanted.loop:
        keyed[:, -1] = True
    broken = may_break.copy()
    broken[:, 0] = True  # a loop's chain is cut there: the two slopes are found apart
    fit = _fitted(wanted, keyed, broken)
    for _ in range(ROUNDS):
        add, split = _needed(wanted, fit, meaning, allowed)
        if not (add.any() or split.any()):
            break
        fit = _fitted(wanted, fit.keyed | add, fit.broken | split)
    fixed = own.copy()
    fixed[:, 0] = True
    if not wanted.loop:
        fixed[:, -1] = True
    return _thinned(wanted, fit, fixed) if count > 2 else fit


@dataclass(frozen=True, slots=True, eq=False)
class _Spans:
    """For each sample the keys on both sides: positions in the list of keys, and the share of the way."""

    left: Indices  # (channels, frames)
    width: Array  # (keys,) frames from each key to the next of its channel; 1 where there's none
    key_channel: Indices
    key_frame: Indices
    following: Indices  # (keys,) the next key of the channel, a loop's last going to its first
    wraps: Flags  # (keys,)


def _spans(keyed: Flags, loop: bool) -> _Spans:
    channel, frame = np.nonzero(keyed)
    count = keyed.shape[1]
    left = np.cumsum(keyed.ravel()).reshape(keyed.shape) - 1
    following = np.arange(1, len(channel) + 1)
    last = np.append(channel[1:] != channel[:-1], True)
    first = np.flatnonzero(np.append(True, last[:-1]))
    following[last] = first
    width = frame[following] - frame
    steps = np.where(last, width + count if loop else 1, width).astype(np.float64)
    return _Spans(left, steps, channel, frame, following, last)


def _fitted(wanted: Wanted, keyed: Flags, broken: Flags) -> KeyFit:
    """Solve for the slopes of given keys, all channels in one tridiagonal system, and measure the worst departure."""
    spans = _spans(keyed, wanted.loop)
    rest, b_left, b_right, weight, _ = _residual(wanted, spans)
    size = len(spans.width)
    span = np.repeat(spans.left.ravel(), len(wanted.phases))

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(span, values.ravel(), size), dtype=np.float64)

    w2 = weight**2
    ll, rr, lr = total(w2 * b_left**2), total(w2 * b_right**2), total(w2 * b_left * b_right)
    fl, fr = total(w2 * b_left * rest), total(w2 * b_right * rest)
    # unknowns in order along each channel: a key's slope in, then its slope out, one for both where it's smooth;
    # the first key's slope in closes a loop's chain at its end
    first = np.append(True, spans.wraps[:-1])
    cut = broken[spans.key_channel, spans.key_frame]
    each = np.where(first, 1, 1 + cut)
    begin = np.cumsum(each) - each + (np.cumsum(first) - 1) * wanted.loop
    place_out = begin + each - 1
    place_in = begin.copy()
    if wanted.loop:
        place_in[first] = (begin + each)[spans.wraps]
    after = place_in[spans.following]
    unknowns = int(max(place_out.max(), place_in.max())) + 1
    spanned = ~spans.wraps | wanted.loop
    main, side, hold = np.zeros(unknowns), np.zeros(unknowns), np.zeros(unknowns)
    for place, own, pull in ((place_out, ll, fl), (after, rr, fr)):
        main += np.bincount(place[spanned], own[spanned], unknowns)
        side += np.bincount(place[spanned], pull[spanned], unknowns)
    hold = ANCHOR * (1.0 + main)
    near = np.zeros(unknowns)
    near[place_out] = wanted.slope_out[spans.key_channel, spans.key_frame]
    near[place_in] = wanted.slope_in[spans.key_channel, spans.key_frame]
    main += hold
    side += hold * near
    off = np.zeros(max(unknowns - 1, 0))
    off[place_out[spanned]] = lr[spanned]
    solution = dptsv(main, off, side)[2]
    slope_in, slope_out = np.zeros(keyed.shape), np.zeros(keyed.shape)
    slope_in[spans.key_channel, spans.key_frame] = solution[place_in]
    slope_out[spans.key_channel, spans.key_frame] = solution[place_out]
    if not wanted.loop:  # the open ends are the wanted ones
        slope_in[:, 0], slope_out[:, -1] = wanted.slope_in[:, 0], wanted.slope_out[:, -1]
    fit = KeyFit(keyed, broken, slope_in, slope_out, np.zeros(len(keyed)))
    return replace(fit, worst=_departure(wanted, fit).max(axis=(1, 2)))


def _residual(wanted: Wanted, spans: _Spans) -> tuple[Array, Array, Array, Array, Array]:
    """Return what slopes must make up for, their two basis functions, and the weights, each like the samples."""
    channel = np.arange(len(wanted.samples))[:, None]
    at = np.arange(wanted.samples.shape[1])[None, :, None] + wanted.phases
    left = spans.left
    width = spans.width[left][..., None]
    u = (at - spans.key_frame[left][..., None]) / width
    following = spans.following[left]
    values = wanted.samples[..., 0]
    v_left = values[channel, spans.key_frame[left]][..., None]
    v_right = values[channel, spans.key_frame[following]] + spans.wraps[left] * wanted.loop * wanted.advance[:, None]
    v_right = v_right[..., None]
    bump = u * (1.0 - u)
    h01 = u * u * (3.0 - 2.0 * u)
    rest = wanted.samples - v_left - h01 * (v_right - v_left)
    b_left, b_right = width * bump * (1.0 - u), -width * bump * u
    weight = np.where(np.isfinite(wanted.tolerance), 1.0 / wanted.tolerance, 0.0)
    return rest, b_left, b_right, weight, u


def _departure(wanted: Wanted, fit: KeyFit) -> Array:
    """Return each sample's departure as a share of its tolerance, ``(channels, frames, phases)``."""
    spans = _spans(fit.keyed, wanted.loop)
    rest, b_left, b_right, weight, _ = _residual(wanted, spans)
    channel = np.arange(len(wanted.samples))[:, None]
    following = spans.key_frame[spans.following[spans.left]]
    m_left = fit.slope_out[channel, spans.key_frame[spans.left]][..., None]
    m_right = fit.slope_in[channel, following][..., None]
    return np.abs(rest - b_left * m_left - b_right * m_right) * weight


def _span_worst(share: Array, spans: _Spans, count: int) -> Array:
    """Return the largest share of each key's span, ``(keys,)``; the first frame is always keyed, so spans are runs."""
    begin = spans.key_channel * count + spans.key_frame
    return np.asarray(np.maximum.reduceat(share.max(axis=-1).ravel(), begin))


def _first_least(cost: Array, begin: Indices, spans: _Spans) -> Indices:
    """Return, for each span, the flat index of its least cost, -1 where all are infinite."""
    least = np.minimum.reduceat(cost, begin)
    at = np.flatnonzero(cost == least[spans.left.ravel()])
    found = np.full(len(begin), -1)
    found[spans.left.ravel()[at[::-1]]] = at[::-1]  # the first of each span is written last
    return np.where(np.isfinite(least), found, -1)


def _needed(wanted: Wanted, fit: KeyFit, meaning: Flags, allowed: Flags | None) -> tuple[Flags, Flags]:
    """Return where keys must go in, and which keys must break since their spans are one frame."""
    share = _departure(wanted, fit)
    spans = _spans(fit.keyed, wanted.loop)
    count = wanted.samples.shape[1]
    add, split = np.zeros_like(fit.keyed), np.zeros_like(fit.keyed)
    failing = _span_worst(share, spans, count) > 1.0
    if not failing.any():
        return add, split
    begin = spans.key_channel * count + spans.key_frame
    frame = np.tile(np.arange(count), len(fit.keyed)).astype(np.float64)
    own = spans.left.ravel()
    worst_at = frame[_first_least(-share.max(axis=-1).ravel(), begin, spans)] + 0.5
    middle = spans.key_frame + spans.width / 2.0
    free = (~fit.keyed if allowed is None else ~fit.keyed & allowed).ravel()
    unmeant = np.where(meaning.ravel(), 0.0, 1e6)
    for target, extra, where in ((worst_at, unmeant, failing), (middle, 0.0, failing & (spans.width > LONG))):
        cost = np.where(free, np.abs(frame - target[own]) + extra, np.inf)
        at = _first_least(cost, begin, spans)
        chosen = at[where & (at >= 0)]
        add.ravel()[chosen] = True
        if where is failing:  # no frame is left inside: the keys at its ends get two slopes each
            stuck = np.flatnonzero(failing & (at < 0))
            for key in (stuck, spans.following[stuck]):
                split[spans.key_channel[key], spans.key_frame[key]] = True
    split &= fit.keyed & ~fit.broken
    return add, split


def _thinned(wanted: Wanted, fit: KeyFit, fixed: Flags) -> KeyFit:
    """Take out keys that aren't needed: every third free key at a time, and those that fail go back in."""
    count, idle = fit.keyed.shape[1], 0
    for turn in range(TURNS):
        spare = fit.keyed & ~fixed
        rank = np.cumsum(fit.keyed, axis=1)
        trial = spare & (rank % 3 == turn % 3)
        kept = fit.keyed & ~trial
        for _ in range(4):
            attempt = _fitted(wanted, kept, fit.broken)
            spans = _spans(kept, wanted.loop)
            bad = _span_worst(_departure(wanted, attempt), spans, count) > 1.0
            back = trial & ~kept & bad[spans.left]
            if not back.any():
                break
            kept = kept | back
        better = attempt.worst.max() <= max(1.0, fit.worst.max()) and (attempt.keyed != fit.keyed).any()
        fit, idle = (attempt, 0) if better else (fit, idle + 1)
        if idle == 3:
            break
    return fit
