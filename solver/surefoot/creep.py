"""Creep: which stances few keys don't hold, as a check would see them.

Each channel is fitted within its own tolerance, and what they leave adds up at the sole: where one corner takes over
from another the touching point gives way in one direction and is held in the other. So what was fitted is looked at,
on the frames and between them, and stances that creep are fitted anew with less to spare.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.dense import BASIS, PHASES, Segments
from surefoot.footprint import Tracks
from surefoot.lean import lean_of
from surefoot.scene import Scene
from surefoot.slip import least_steps, widest
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["creeping"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

PER_FRAME = len(PHASES) + 1
MOST = (9e-5, 9e-4)
"""Metres at a leg of 0.9 m that a stance may creep on its frames, and between them."""


def creeping(scene: Scene, segments: Segments, tracks: Tracks) -> Flags:
    """Return the frames ``(2, frames)``, in the clip's order, of stances that creep by more than few keys may.

    ``segments`` are the fitted channels of both feet, as `dense_segments` has them.
    """
    points, height = _soles(scene, segments)
    size, lean = scene.binding.rig.leg / REFERENCE_LEG, lean_of(scene.ground)
    count, found = tracks.print_of.shape[1], np.zeros(tracks.print_of.shape, dtype=bool)
    for foot in range(2):
        at = (tracks.index[foot, :, None] * PER_FRAME + np.arange(PER_FRAME)).ravel()
        at = at[at < points.shape[-1]]  # the last frame of an open clip has none after it
        own, above = points[:, :, foot, at], height[:, foot, at]
        if scene.drift is not None:  # once more a loop later, since a stance may go on over the track's ends
            own = np.where(np.repeat(tracks.laps[foot], PER_FRAME) > 0, scene.drift.apply(own), own)
            own, above = np.concatenate([own, scene.drift.apply(own)], axis=-1), np.concatenate([above, above], axis=-1)
        which = np.where(tracks.planted[foot], tracks.print_of[foot], -1)
        for print_at in np.unique(tracks.source[which[which >= 0]]).tolist():
            (frames,) = np.nonzero((which >= 0) & (tracks.source[which] == print_at))
            mine, image = frames[which[frames] == print_at], frames[which[frames] != print_at]
            last = int(image[-1]) + count if len(image) else int(mine[-1])
            span = slice(int(mine[0]) * PER_FRAME, last * PER_FRAME + 1)
            for every, most in zip((PER_FRAME, 1), MOST, strict=True):
                steps = least_steps(own[:, :, span][..., ::every], above[:, span][..., ::every], lean)
                found[foot, frames] |= widest(steps.cumsum(axis=-1, dtype=np.float64)[None])[0][0] > most * size
    return np.asarray(tracks.unroll(found))


def _soles(scene: Scene, segments: Segments) -> tuple[Array, Array]:
    """Return the soles' points ``(3, points, 2, samples)`` in ground space and their heights, five samples a frame."""
    binding, count = scene.binding, segments.shape[-1]
    frames = (scene.frames[:count, None] + np.append(0.0, PHASES)).ravel()
    inner = np.einsum("kcfs,kp->cfsp", segments, BASIS)
    rows = np.concatenate([segments[0][..., None], inner], axis=-1).reshape(*segments.shape[1:3], -1)
    if scene.drift is None:
        frames, rows = np.append(frames, scene.frames[-1]), np.append(rows, segments[2, ..., -1:], axis=-1)
    values = binding.values(frames)
    binding.put_feet(values, rows)
    fine = Scene.riding(binding, scene.ground, scene.belt, frames, values, binding.pose(values, frames))
    points = scene.soles.points(fine.angles, fine.pose.bend) + fine.ankle[:, None]
    return points, points[1] - scene.ground.height(points[0], points[2])
