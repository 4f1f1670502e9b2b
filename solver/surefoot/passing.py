"""Passing: swings over edges that stand between two frames.

A swing clears the ground on its frames; between two of them its curve may still cut a nosing. The swing's frames on
both sides are lifted, smoothly and by no more than it takes, until the curve that the keys give passes over; where
that would be much, as with a heel beside a riser, they go a few millimetres farther on or back instead.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.dense import BASIS, PHASES, dense_segments
from surefoot.floors import floor_beneath
from surefoot.scene import Scene
from surefoot.settle import Settled
from surefoot.swing import carry

__all__ = ["passed_over"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 5
CLEAR = 1e-4
"""Metres that a sole may cut between two frames."""
MOST = 0.03
"""Metres by which a frame may be lifted for it."""
STEEP = 0.003
"""Metres: where more than this would have to be lifted, the frame is first tried a little farther on or back."""
ASIDE = (0.001, 0.002, 0.003, -0.001, -0.002, -0.003)
"""Metres along the foot's own way."""
HELD = np.maximum(BASIS[2] + 1.5 * BASIS[1] + 0.5 * BASIS[3], 0.25)
"""What is left at each phase of a lift of the one frame beside a stance, whose own frame stays."""


def passed_over(scene: Scene, settled: Settled) -> Settled:
    """Return feet whose swings pass over edges between frames too, where they're written out on ground that stays.

    A loop's swings, and those of feet by rockers or joints, are left as they are.
    """
    if scene.ground.is_even or scene.drift is not None or not scene.belt.is_still or scene.binding.style is not None:
        return settled
    known = settled.tracks.planted | settled.tracks.left_alone
    if scene.count < 2 or known.all():
        return settled
    band, begin = Band.of(known.ravel(), np.array([0, scene.count])), settled
    settled = replace(settled, ankle=settled.ankle.copy())
    for _ in range(ROUNDS):
        lift, shift = _wanted(scene, settled, known)
        up = np.minimum(settled.ankle[1] + lift, begin.ankle[1] + MOST)
        if not (np.count_nonzero(up - settled.ankle[1] > 0.0) or np.count_nonzero(shift)):
            break
        settled.ankle[::2] += shift
        still = np.zeros((3, known.size))
        ankle = settled.ankle.reshape(3, -1)
        change = carry(
            still, band=band, authored=ankle, floor=np.where(known, -np.inf, up).ravel(), hip=ankle,
            limit=np.full(known.size, np.inf),
        )  # fmt: skip
        settled = replace(settled, ankle=(ankle + change).reshape(settled.ankle.shape))
    return settled


def _wanted(scene: Scene, settled: Settled, known: Flags) -> tuple[Array, Array]:
    """Return what each swing frame is to be moved by for its curve to pass on either side, metres.

    By how much it should be higher, ``(2, frames)``, and across the ground in x and z, ``(2, 2, frames)``.
    """
    segments, _ = dense_segments(scene, settled, ankle=scene.to_world(settled.ankle), leave_below=0.0)
    foot, at = (~(known[:, 1:] & known[:, :-1])).nonzero()
    between = _in_world(scene, np.einsum("kcn,kp->cnp", segments[:, :, foot, at], BASIS), foot, at)
    first, last = known[foot, at], known[foot, at + 1]
    held = np.where(last[:, None], HELD[::-1], np.where(first[:, None], HELD, 1.0))
    over = _cut(scene, foot, between)
    need, shift = (over / held).max(axis=1), np.zeros((2, *known.shape))
    (steep,) = (need > STEEP).nonzero()
    if len(steep):
        way = (settled.ankle[::2, foot, at + 1] - settled.ankle[::2, foot, at])[:, steep]
        way /= np.maximum(np.hypot(*way), 1e-9)
        for by in ASIDE:
            tried = between[:, steep].copy()
            tried[:3:2] += by * way[..., None] * held[steep]
            clears = (_cut(scene, foot[steep], tried) == 0.0).all(axis=1) & (need[steep] > 0.0)
            one, moved = steep[clears], by * way[:, clears]
            need[one] = 0.0
            for side, stays in ((0, first[one]), (1, last[one])):
                shift[:, foot[one], at[one] + side] = np.where(stays, shift[:, foot[one], at[one] + side], moved)
    lift = np.zeros(known.shape)
    np.maximum.at(lift, (foot, at), need)
    np.maximum.at(lift, (foot, at + 1), need)
    return np.where(known, 0.0, lift), np.where(known, 0.0, shift)


def _in_world(scene: Scene, own: Array, foot: NDArray[np.intp], at: NDArray[np.intp]) -> Array:
    """Return ankle, angles and bend ``(7, n, phases)``, world space, of feet as their controls have them."""
    binding, count = scene.binding, own.shape[2]
    if binding.plain:
        return np.concatenate([own[:3] + binding.rests[:, foot], own[3:]])
    times = (scene.frames[at][:, None] + PHASES).ravel()
    values, foot, flat = binding.values(times), foot.repeat(count), np.arange(len(times))
    for row, part in zip(binding.foot_rows[:, foot], own.reshape(7, -1), strict=True):
        values[row[row >= 0], flat[row >= 0]] = part[row >= 0]
    pose = binding.pose(values, times)
    placed = np.concatenate([pose.ankle[:, foot, flat], pose.angles[:, foot, flat], pose.bend[None, foot, flat]])
    return np.asarray(placed.reshape(own.shape))


def _cut(scene: Scene, foot: NDArray[np.intp], between: Array) -> Array:
    """Return how high the ground stands above soles between frames, ``(n, phases)`` metres; 0 for next to nothing."""
    over = floor_beneath(scene, foot, between[:3], between[3:6], between[6]) - between[1]
    return np.where(over > CLEAR, over, 0.0)
