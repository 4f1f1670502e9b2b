"""Trials: the samples that drafts touch, posed again with their changes put on, all drafts' laid end to end."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, interpolate
from surefoot.scene import Scene
from surefoot.spaces import Pose

__all__ = ["Spans", "Trial", "change_at_samples"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Where the samples of each entry (number of draft, draft, foot that is measured) lie, after one of nobody's."""

    entries: list[tuple[int, Draft, int]]
    parts: list[slice]
    starts: Indices


@dataclass(frozen=True, slots=True, eq=False)
class Trial(Spans):
    """Samples (or whole frames) of drafts, their changes put on, laid end to end after one that nobody touched.

    ``foot`` is the one that is measured at each sample; entries come with the left foot's first.
    """

    pose: Pose
    values: Array
    index: Indices  # (samples,) which of the bench's samples each is, counted on over the seam
    at: Indices  # the same, within the first round
    foot: Indices

    @classmethod
    def of(cls, bench: Bench, entries: list[tuple[int, Draft, int]], *, fine: bool) -> Trial:
        """Pose the samples of every entry."""
        base = bench.fine if fine else bench.scene
        indices = [draft.window.samples if fine else _with_neighbours(bench, draft.window) for _, draft, _ in entries]
        index = np.concatenate([np.zeros(1, dtype=np.intp), *indices])
        at = index % len(base.frames) if bench.loop else index
        values = base.values[:, at]
        sizes = [1, *map(len, indices)]
        past = np.cumsum(sizes)
        parts = [slice(first, last) for first, last in pairwise(past.tolist())]
        known: tuple[Draft | None, Array] = None, np.zeros(0)
        for (_, draft, _), part, own in zip(entries, parts, indices, strict=True):
            if known[0] is not draft:
                known = draft, change_at_samples(draft) if fine else _at_frames(bench, draft, own)
            for row, change in zip(draft.rows, known[1], strict=True):
                values[row, part] += change
        pose = base.binding.pose(values, base.frames[at])
        foot = np.repeat([0, *(f for _, _, f in entries)], sizes)
        return cls(entries, parts, past[:-1], pose, values, index, at, foot)

    def scene(self, base: Scene) -> Scene:
        """Return its samples in ground space, for the scene that they're taken from."""
        return Scene.riding(base.binding, base.ground, base.belt, base.frames[self.at], self.values, self.pose)


def _with_neighbours(bench: Bench, window: Window) -> Indices:
    """Return a window's frames and one on either side."""
    if bench.loop:
        shift = bench.clip.frames if window.start == 0 else 0
        return np.arange(window.start - 1 + shift, window.start + window.count + 1 + shift)
    return np.arange(max(window.start - 1, 0), min(window.start + window.count + 1, bench.clip.frames))


def change_at_samples(draft: Draft) -> Array:
    """Return a draft's change at every sample of its window, ``(rows, samples)``."""
    return interpolate(draft.amounts, draft.window) if draft.between is None else draft.between


def _at_frames(bench: Bench, draft: Draft, own: Indices) -> Array:
    """Return a draft's change at its frames with neighbours, ``(rows, frames)``."""
    if draft.window.closed:  # the frames on either side are its own
        return np.concatenate([draft.amounts[:, -2:-1], draft.amounts, draft.amounts[:, 1:2]], axis=-1)
    lead = 1 if bench.loop else draft.window.start - int(own[0])
    out = np.zeros((len(draft.amounts), len(own)))
    out[:, lead : lead + draft.window.count] = draft.amounts
    return out
