"""Overlay: a change in each frame of a window put on top of a channel, the animator's keys kept around it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.easing import Window, slopes_of

__all__ = ["overlaid"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def overlaid(old: Curve, amounts: Array, window: Window, clip: Clip) -> Curve:
    """Return a curve with a change ``(window.count,)``, in the curve's own unit, put on top.

    There's a key on every frame of the window, with slopes that give the sum of both curves; keys outside it
    and away from its edges stay as they are. Between ``bezier`` keys inside the window the sum is met at the frames.
    """
    frames = window.frames.astype(np.float64) + clip.first
    loop, span = clip.loop, float(clip.frames)
    change = Curve.given(frames, amounts, slopes_of(amounts, window), slopes_of(amounts, window))
    base = _base(old, clip)
    if loop:
        own = _round_of(old, base, span)
        spread = base + np.remainder(frames - base, span)
        times = np.unique(np.concatenate([own, spread, [base, base + span]]))
        asked = frames[0] + np.remainder(times - frames[0], span)
        rule = (Outside.ADVANCE if old.after == Outside.ADVANCE else Outside.REPEAT,) * 2
    else:
        held = old.before == old.after == Outside.HOLD
        rounds = not held and (old.frames[0] > frames[0] or old.frames[-1] < frames[-1])
        every = np.arange(clip.first, clip.last + 1, dtype=np.float64) if rounds else frames
        own = old.frames if not rounds else old.frames[(old.frames >= clip.first) & (old.frames <= clip.last)]
        times = np.union1d(own, every)
        asked = times
        rule = (Outside.HOLD, Outside.HOLD) if rounds else (old.before, old.after)
    pack, top = Pack.from_curves([old]), Pack.from_curves([change])
    inside = (asked >= frames[0]) & (asked <= frames[-1])
    asked = np.clip(asked, frames[0], frames[-1])
    extra = np.where(inside, top.evaluate(asked)[0], 0.0)
    tilt = np.where(inside, _tilt(top, change, asked), 0.0)
    value = pack.evaluate(times)[0] + extra
    sides = [pack.slopes(times, side="left")[0], pack.slopes(times, side="right")[0]]
    kept = _kept(old, times, (extra != 0.0) | (tilt != 0.0), loop)
    shapes = np.full(len(times), Shape.GIVEN, dtype=np.int8)
    handles = np.zeros((len(times), 4)) if old.handles is not None else None
    mine = np.searchsorted(old.frames, times)
    mine = np.minimum(mine, len(old.frames) - 1)
    on_key = old.frames[mine] == times
    own_slopes = resolve_slopes(old)
    for side, own_side in zip(sides, own_slopes, strict=True):
        side[on_key] = own_side[mine[on_key]]
        side += tilt
        side[kept] = own_side[mine[kept]]
    shapes[kept] = old.shapes[mine[kept]]
    value[kept] = old.values[mine[kept]]
    if handles is not None and old.handles is not None:
        handles[kept] = old.handles[mine[kept]]
    return Curve(times, value, shapes, sides[0], sides[1], handles, *rule)


def _tilt(top: Pack, change: Curve, asked: Array) -> Array:
    """Return the change's slope: the same from both sides."""
    slope: Array = top.slopes(asked, side="right")[0]
    last = asked == change.frames[-1]
    slope[last] = change.slope_in[-1]
    return slope


def _base(old: Curve, clip: Clip) -> float:
    """Return the frame at which a loop's round of keys begins: the curve's own, where it keeps one round."""
    rounds = old.after in (Outside.REPEAT, Outside.ADVANCE) and old.before == old.after
    whole = len(old.frames) > 1 and old.frames[-1] - old.frames[0] == clip.frames
    return float(old.frames[0]) if rounds and whole else float(clip.first)


def _round_of(old: Curve, base: float, span: float) -> Array:
    return old.frames[(old.frames >= base) & (old.frames <= base + span)]


def _kept(old: Curve, times: Array, moved: Flags, loop: bool) -> Flags:
    """Return which of the new keys are old ones that stay as they are, with both neighbours."""
    own = np.isin(times, old.frames)
    still = own & ~moved
    before, after = np.roll(still, 1), np.roll(still, -1)
    if loop:  # the last key is the first again
        before[0], after[-1] = still[-2], still[1]
    else:
        before[0] = after[-1] = True
    outside = (times[0] != old.frames[0]) or (times[-1] != old.frames[-1])
    kept: Flags = still & before & after
    if outside:
        kept[[0, -1]] = False
    return kept
