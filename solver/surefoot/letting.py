"""Letting the hips: the one case in which they change, and only when asked.

What planting leaves as ``stretch`` no foot can mend. Where the hips are let, the smallest smooth,
loop-closed lowering that brings the leg back into reach is put on them, and the feet are planted after.
The lowering is worked out for every frame and handed over as few keys, which stay at it or below it: so
what it gave back is still there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.checking import Triple, check
from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape, resolve_slopes
from surefoot.dense import PHASES
from surefoot.errors import InputError, UnknownName, came
from surefoot.few import MOSTLY_KEYED
from surefoot.given import checked, frames_in
from surefoot.ground import Ground
from surefoot.key_range import put_within
from surefoot.key_slopes import Wanted
from surefoot.keys import fit_keys
from surefoot.planting import Planted
from surefoot.proposals import Proposal, apply_proposals, propose
from surefoot.rig import Rig
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["let_down", "thinned_below"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 6
SLACKS = (1e-3, 5e-4, 2e-4)
"""Metres, for a leg of 0.9 m, by which few keys may lie below the lowering; tried in turn."""
LEAST_SLACK = 0.05
"""Of the slack: where hips come down by less than that, keys may lie so far above the lowering too."""
UNCHANGED = 1e-9


@checked()
def let_down(
    clip: Clip,
    rig: Rig,
    let: Iterable[str],
    *,
    plant: Callable[[Clip], Planted],
    ground: Ground | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    keys: Literal["every", "few"] = "few",
    keys_at: Iterable[int] | None = None,
) -> tuple[Clip, tuple[Proposal, ...]]:
    """Return the clip with its let channels changed until planting leaves no stretch, and the changes.

    The changes are proposals, one put on after the other, with an amount for each frame as `propose` gives them; what
    is handed over is the clip, where the same lowering stands in few keys.

    Parameters
    ----------
    let : iterable of str
        The channels that may be changed, such as ``hips.y``.
    plant : callable
        Plants a clip the way that it will be planted.
    ground, tolerances : as for `check`
    keys : {"few", "every"}
        The animator's keys, re-valued, and the fewest new ones that keep what the changes gave back; or a key on
        every frame that changes. Captured channels have one on every frame anyway.
    keys_at : iterable of int, optional
        Frames on which new keys may be put, with ``few``.

    Raises
    ------
    UnknownName
        If a let channel isn't the clip's.
    InputError
        If ``plant`` is no function, ``keys`` is neither few nor every, or a frame lies outside the clip.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> high = surefoot.remix(clip, rig, [surefoot.Edit("add", "hips.y", 5.0)])
    >>> let, changes = surefoot.let_down(high, rig, ["hips.y"], plant=lambda one: surefoot.plant(one, rig))
    >>> [change.way for change in changes]
    ['lower the hips']
    >>> surefoot.check(surefoot.plant(let, rig).clip, rig).most("stretch") is None
    True
    """
    if keys not in ("few", "every"):
        raise InputError(f"wanted few or every, got {keys!r}", place="keys")
    if keys_at is not None:
        if keys != "few":
            raise InputError("it's for few keys; say keys='few' as well", place="keys_at")
        keys_at = frames_in(keys_at, clip, "keys_at")
    if not callable(plant):
        told = "such as lambda clip: surefoot.plant(clip, rig)"
        raise InputError(f"wanted a function that plants a clip, {told}, got {came(plant)}", place="plant")
    let = tuple(let)
    for name in let:
        if name not in clip.channels:
            raise UnknownName("channel", name, clip.channels, place="let")
    done: list[Proposal] = []
    lowered = clip
    for _ in range(ROUNDS):
        planted = plant(lowered)
        ways = propose(planted.clip, rig, ground=ground, belt=planted.belt, tolerances=tolerances)
        asked = [way for way in ways if way.finding.kind == "stretch" and way.asks in let]
        if not asked:
            break
        worst = max(asked, key=lambda way: way.finding.amount)
        lowered = apply_proposals(lowered, rig, [worst], let=let)
        done.append(worst)
    if not done or keys == "every":
        return lowered, tuple(done)

    def most_stretch(planted: Planted) -> float:
        found = check(planted.clip, rig, ground=ground, belt=planted.belt, tolerances=tolerances).most("stretch")
        return 0.0 if found is None else found.amount

    most = most_stretch(plant(lowered))
    few = lowered
    for slack in SLACKS:
        few = _few(clip, lowered, rig, slack * rig.leg / REFERENCE_LEG, keys_at)
        if most_stretch(plant(few)) <= most:
            return few, tuple(done)
    return lowered if keys_at is None else few, tuple(done)


def _few(clip: Clip, lowered: Clip, rig: Rig, slack: float, keys_at: Iterable[int] | None) -> Clip:
    """Return the clip with few keys on those channels that differ between two."""
    axes = rig.channels()
    changed = {
        name: thinned_below(clip.channels[name], curve, clip, scale=axes[name].scale, slack=slack, keys_at=keys_at)
        for name, curve in lowered.channels.items()
        if curve is not clip.channels[name]
    }
    return clip.with_channels(changed)


def thinned_below(
    old: Curve, lowered: Curve, clip: Clip, *, scale: float, slack: float, keys_at: Iterable[int] | None = None
) -> Curve:
    """Return a lowered curve with few keys: the old one's, re-valued, and the fewest new ones.

    It lies at the lowered curve or below it by no more than ``slack`` metres, at every frame and at four places
    between two; where that is lowered by less than a twentieth of it, it may lie so little above. Spans of keys that
    aren't lowered stay as they are. One that no few keys can tell, or whose keys aren't an animator's, comes back
    as it is.

    Parameters
    ----------
    old, lowered : Curve
        The second has a key on every frame that changes.
    scale : float
        Metres in one unit of the curves.
    """
    loop, count = clip.loop, clip.frames
    frames = clip.first + np.arange(count, dtype=np.float64)
    at = old.frames - clip.first
    inside = (at >= 0) & (at < count)
    whole = inside & (at == np.round(at))
    if (
        np.count_nonzero(whole) > MOSTLY_KEYED * count
        or (whole != inside).any()
        or np.isin(old.shapes, (Shape.STEP, Shape.BEZIER)).any()
    ):
        return lowered
    phases = np.append(0.0, PHASES)
    times = frames[:, None] + phases
    if not loop:
        times = np.minimum(times, frames[-1])
    pair = Pack.from_curves([old, lowered])
    before, wanted = pair.evaluate(times.ravel()).reshape(2, *times.shape) * scale
    change = np.maximum(before - wanted, 0.0)
    moved = change > UNCHANGED
    room = np.where(moved, np.maximum(np.minimum(0.5 * slack, change), LEAST_SLACK * slack), UNCHANGED)
    target = wanted - np.where(moved & (change >= LEAST_SLACK * slack), room, 0.0)
    if not loop:
        room[-1, 1:] = np.inf
    own, bent, edges = np.zeros((3, 1, count), dtype=bool)
    keyed = at[whole].astype(int)
    own[0, keyed] = True
    into, out = resolve_slopes(old)
    bent[0, keyed] = (np.abs(into - out) > UNCHANGED * (1.0 + np.abs(into)))[whole]
    still = ~moved.any(axis=1)  # of the span that follows each frame
    edges[0] = still != np.roll(still, 1)
    if not loop:
        edges[0, 0] = False
    into, out = (pair.slopes(frames, side=side)[1:] * scale for side in ("left", "right"))
    advance = np.array([(lowered.values[-1] - lowered.values[0]) * scale if lowered.after == Outside.ADVANCE else 0.0])
    task = Wanted(target[None], into, out, room[None], phases, loop, advance)
    allowed = None if keys_at is None else np.isin(frames, np.array(sorted(keys_at), dtype=np.float64))[None]
    fit = fit_keys(task, own | edges, bent | edges, edges, allowed)
    if fit.worst[0] > 1.0 and keys_at is None:
        return lowered
    return _curve(
        old, lowered, fit.keyed[0], target[:, 0] / scale, fit.slope_in[0] / scale, fit.slope_out[0] / scale, clip
    )


def _curve(old: Curve, lowered: Curve, keyed: Flags, values: Array, into: Array, out: Array, clip: Clip) -> Curve:
    """Return the curve of keys on frames ``(frames,)``; a loop's first counts again as its last."""
    at = np.flatnonzero(keyed)
    frames = clip.first + at.astype(np.float64)
    values, into, out = values[at], into[at], out[at]
    if not clip.loop:
        return put_within(old, frames, values, into, out)
    advance = lowered.values[-1] - lowered.values[0] if lowered.after == Outside.ADVANCE else 0.0
    frames, values = np.append(frames, frames[0] + clip.frames), np.append(values, values[0] + advance)
    into, out = np.append(into, into[0]), np.append(out, out[0])
    return Curve.trusted(frames, values, into, out, before=lowered.before, after=lowered.after)
