"""Tallies: what drafts leave of their findings and what they make worse, counted kind by kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.bench import Bench, Draft
from surefoot.rig import FEET
from surefoot.tolerances import KINDS
from surefoot.trial import Spans

__all__ = ["TRIFLE", "Judged", "Tally", "Worse"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

TRIFLE = 0.01
"""Of a note's limit: what grows by less isn't made worse."""


@dataclass(frozen=True, slots=True)
class Worse:
    """A fault that a change makes worse: its kind, foot, amount before and after (metres, radians)."""

    kind: str
    foot: str
    before: float
    after: float

    @property
    def unit(self) -> str:
        """The unit of `shown`."""
        return KINDS[self.kind].unit

    @property
    def shown_before(self) -> float:
        """The amount before the change, in `unit`."""
        return self.before / KINDS[self.kind].scale

    @property
    def shown(self) -> float:
        """The amount after the change, in `unit`."""
        return self.after / KINDS[self.kind].scale


@dataclass(frozen=True, slots=True)
class Judged:
    """What a draft leaves of its finding (metres, radians), and what it makes worse."""

    leaves: float
    worse: tuple[Worse, ...]


class Tally:
    """What is left and what has grown, by draft."""

    def __init__(self, bench: Bench, drafts: Sequence[Draft]) -> None:
        self.bench = bench
        self.leaves = [0.0] * len(drafts)
        self.worse: list[list[Worse]] = [[] for _ in drafts]

    def count(self, kind: str, trial: Spans, before: Array, after: Array, inside: Flags, side: str = "") -> None:
        """Count amounts ``(samples,)`` of one kind; ``side`` is the foot's name where it isn't the entry's own."""
        note = self.bench.bounds[kind][0]
        names = [side or FEET[foot] for _, _, foot in trial.entries]
        mine = [
            d.finding.kind == kind and d.finding.foot == n for (_, d, _), n in zip(trial.entries, names, strict=True)
        ]
        grown = (after > note) & (after > before + TRIFLE * note)
        if any(mine):
            sizes = [1, *(part.stop - part.start for part in trial.parts)]
            own = inside & np.repeat([False, *mine], sizes)
            left = np.maximum.reduceat(np.where(own, after, 0.0), trial.starts).tolist()
            for (i, _, _), is_mine, rest in zip(trial.entries, mine, left, strict=True):
                if is_mine:
                    self.leaves[i] = rest
            grown &= ~own
        if not grown.any():
            return
        beyond = np.where(grown, after, -np.inf)
        for k in np.flatnonzero(np.isfinite(np.maximum.reduceat(beyond, trial.starts))).tolist():
            at = trial.parts[k].start + int(beyond[trial.parts[k]].argmax())
            self.worse[trial.entries[k][0]].append(Worse(kind, names[k], max(float(before[at]), 0.0), float(after[at])))
