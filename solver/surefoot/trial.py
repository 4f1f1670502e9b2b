"""Trials: the samples that drafts touch, posed again with their changes put on, all drafts' laid end to end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.easing import Window, interpolate
from surefoot.scene import Scene
from surefoot.spaces import Pose

__all__ = ["NOBODY", "Spans", "Trial", "changes_at_samples"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

Kind = TypeVar("Kind", np.float64, np.bool_)

NOBODY = np.zeros(1, dtype=np.intp)


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Where the samples of each entry (number of draft, draft, foot that is measured) lie, after one of nobody's."""

    entries: list[tuple[int, Draft, int]]
    parts: list[slice]
    starts: Indices
    sizes: list[int]  # of nobody's sample and of each entry's


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
    def of(cls, bench: Bench, entries: list[tuple[int, Draft, int]], changes: Sequence[Array] | None = None) -> Trial:
        """Pose the samples of every entry: ``changes`` are those of all drafts; without them, whole frames."""
        base = bench.scene if changes is None else bench.fine
        if changes is None:
            indices = [_with_neighbours(bench, draft.window) for _, draft, _ in entries]
        else:
            indices = [bench.samples(draft.window) for _, draft, _ in entries]
        index = np.concatenate([NOBODY, *indices])
        at = index % len(base.frames) if bench.loop else index
        values = base.values.take(at, axis=1)
        sizes = [1, *map(len, indices)]
        past = list(accumulate(sizes))
        parts = [slice(first, last) for first, last in pairwise(past)]
        for (i, draft, _), part, own in zip(entries, parts, indices, strict=True):
            if changes is None:
                _add_at_frames(bench, draft, values[:, part], own)
                continue
            for row, amounts in zip(draft.rows, changes[i], strict=True):
                values[row, part] += amounts
        pose = base.binding.pose(values, base.frames.take(at))
        foot = np.repeat([0, *(f for _, _, f in entries)], sizes)
        return cls(entries, parts, np.array(past[:-1]), sizes, pose, values, index, at, foot)

    @property
    def halves(self) -> tuple[slice, slice]:
        """The samples at which the left foot is measured, and the right one."""
        cut = int(self.foot.searchsorted(1))
        return slice(0, cut), slice(cut, len(self.foot))

    def own(self, array: Array) -> Array:
        """Return what an array ``(..., 2, samples)`` of its own has for the measured foot, ``(..., samples)``."""
        left, right = self.halves
        return np.concatenate([array[..., 0, left], array[..., 1, right]], axis=-1)

    def known(self, array: NDArray[Kind]) -> NDArray[Kind]:
        """Return likewise what an array ``(..., 2, bench's samples)`` has."""
        size = array.shape[-1]
        flat = array.reshape(*array.shape[:-2], 2 * size)
        return np.asarray(flat.take(self.foot * size + self.at, axis=-1))

    def scene(self, base: Scene) -> Scene:
        """Return its samples in ground space, for the scene that they're taken from."""
        return Scene.riding(base.binding, base.ground, base.belt, base.frames[self.at], self.values, self.pose)


def _with_neighbours(bench: Bench, window: Window) -> Indices:
    """Return a window's frames and one on either side."""
    if bench.loop:
        shift = bench.clip.frames if window.start == 0 else 0
        return np.arange(window.start - 1 + shift, window.start + window.count + 1 + shift)
    return np.arange(max(window.start - 1, 0), min(window.start + window.count + 1, bench.clip.frames))


def changes_at_samples(drafts: Sequence[Draft]) -> list[Array]:
    """Return each draft's change at every sample of its window, ``(rows, samples)``."""
    found = [draft.amounts if draft.between is None else draft.between for draft in drafts]
    alike: dict[tuple[object, ...], list[int]] = {}
    for i, draft in enumerate(drafts):
        if draft.between is None and draft.rows:
            alike.setdefault(draft.window.shape, []).append(i)
    for which in alike.values():
        spread = interpolate(np.concatenate([found[i] for i in which]), drafts[which[0]].window)
        row = 0
        for i in which:
            row, before = row + len(found[i]), row
            found[i] = spread[before:row]
    return found


def _add_at_frames(bench: Bench, draft: Draft, values: Array, own: Indices) -> None:
    """Add a draft's change at its frames with neighbours to the bound channels there, ``(channels, frames)``."""
    window = draft.window
    lead = 1 if bench.loop else window.start - int(own[0])
    for row, amounts in zip(draft.rows, draft.amounts, strict=True):
        values[row, lead : lead + window.count] += amounts
        if window.closed:  # the frames on either side are its own
            values[row, [0, -1]] += amounts[[-2, 1]]
