"""Ways to mend feet that cut through each other: a foot swings or steps further out.

Two convex feet are apart once they are along one direction. A foot that moves by ``s`` along the way out parts from
the other by ``s`` times the cosine between that way and the direction, so the least ``s`` is closed form.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, least_change
from surefoot.findings import Finding
from surefoot.mend_slide import shifted_stance
from surefoot.rig import FEET
from surefoot.touch import PER_FRAME, outline_normals

__all__ = ["cross_drafts", "way_apart"]

Array = NDArray[np.float64]

BENDING = 0.08
"""Seconds over which a swing likes to bend."""
LEAST_COSINE = 0.05


def way_apart(hulls: Array, way: Array, axes: Array, *, foot: int) -> Array:
    """Return how far one foot must move along ``way`` for two convex hulls to be apart, ``(samples,)`` metres.

    Parameters
    ----------
    hulls : ndarray, shape (3, points, 2, samples)
        Left and right.
    way : ndarray, shape (3, samples)
        Of unit length.
    axes : ndarray, shape (axes, 3, samples)
        Unit directions along which they may part; one of them is ``way`` itself.
    foot : int
        The one that moves: 0 left, 1 right.
    """
    along = np.einsum("aks,kpfs->apfs", axes, hulls)
    first, last = along.min(axis=1), along.max(axis=1)
    cosine = np.einsum("aks,ks->as", axes, way)
    onward = last[:, 1 - foot] - first[:, foot]  # the foot gets past the other's far side
    back = last[:, foot] - first[:, 1 - foot]
    least = np.where(cosine > 0.0, onward, back) / np.maximum(np.abs(cosine), LEAST_COSINE)
    least = np.where(np.abs(cosine) > LEAST_COSINE, least, np.inf)
    return np.asarray(np.maximum(least.min(axis=0), 0.0))


def cross_drafts(bench: Bench, finding: Finding) -> list[Draft | None]:
    """Return, for each foot, the swing or step that keeps clear of the other foot."""
    size = len(bench.fine.frames)
    begin = (finding.first - bench.clip.first) * PER_FRAME
    span = np.arange(begin, (finding.last - bench.clip.first) * PER_FRAME + 1)
    span = bench.wrapped(span) if bench.loop else span[span < size]
    lateral = bench.lateral[:, 0, span] + bench.lateral[:, 1, span]
    out = lateral / np.maximum(np.sqrt((lateral**2).sum(axis=0)), 1e-9)
    hulls = np.concatenate([bench.touch.points, bench.fine.ankle[:, None]], axis=1)[..., span]
    axes = np.concatenate([out[None], *outline_normals(bench.rig, bench.fine.angles[1][:, span])])
    crossed = bench.overlap[span] > 0.0
    found = []
    for foot, sign in enumerate((1.0, -1.0)):
        need = np.where(crossed, way_apart(hulls, sign * out, axes, foot=foot), 0.0)
        found.append(_out(bench, finding, foot, span, need, sign * out))
    return found


def _out(bench: Bench, finding: Finding, foot: int, span: NDArray[np.intp], need: Array, way: Array) -> Draft | None:
    down = bench.down[foot, span] & (need > 0.0)
    most = int(need.argmax())
    if down.any():
        return _stepped(bench, finding, foot, need[most] * way[::2, most])
    window = _swing(bench, foot, int(span[most]) // PER_FRAME)
    low = np.zeros(len(window.samples))
    place = np.full(len(bench.fine.frames), -1)
    place[bench.samples_of(window)] = np.arange(len(low))
    seen = place[span] >= 0
    low[place[span][seen]] = need[seen]
    amount = least_change(window, low, ease=BENDING * bench.rate)
    x, _, z = bench.to_world(np.repeat(way[:, [most]], window.count, axis=1) * amount, window.frames)
    return bench.foot_draft(finding, "swing out", foot, window, {"x": x, "z": z})


def _swing(bench: Bench, foot: int, frame: int) -> Window:
    """Return the window of the swing that a frame lies in, from the last planted frame to the next."""
    planted = bench.down[foot, ::PER_FRAME]
    count, loop = bench.clip.frames, bench.loop
    reach = range(1, count)
    back = next((k for k in reach if (frame - k < 0 and not loop) or planted[(frame - k) % count]), None)
    ahead = next((k for k in reach if (frame + k >= count and not loop) or planted[(frame + k) % count]), None)
    if back is None or ahead is None or back + ahead >= count:
        return Window.around(0, count, margin=0, frames=count, loop=loop)
    return Window.around(frame - back, frame + ahead, margin=0, frames=count, loop=loop)


def _stepped(bench: Bench, finding: Finding, foot: int, shift: Array) -> Draft | None:
    """Return the stance that meets the finding moved out as a whole."""
    rounds = (-bench.clip.frames, 0, bench.clip.frames) if bench.loop else (0,)
    for stance in bench.report.stances:
        meets = any(finding.first + r <= stance.last and finding.last + r >= stance.first for r in rounds)
        if stance.foot == FEET[foot] and meets and not stance.left_alone:
            count = stance.last - stance.first + 1
            ways = {"step wider": np.repeat(shift[:, None], count, axis=1)}
            return shifted_stance(bench, finding, stance, ways)[0]
    return None
