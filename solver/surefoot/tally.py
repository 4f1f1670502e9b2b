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

    def count(
        self, kinds: tuple[str, ...], trial: Spans, before: Sequence[Array], after: Sequence[Array], inside: Flags
    ) -> None:
        """Count amounts ``(samples,)`` of some kinds; ``inside`` ``(samples,)`` is each finding's own frames.

        What is left of a ``limit`` is of one joint: who counts the joints tells that.
        """
        beyond = np.full((len(kinds), len(inside)), -np.inf)
        told = False
        for k, kind in enumerate(kinds):
            note = self.bench.bounds[kind][0]
            grown = (after[k] > note) & (after[k] > before[k] + TRIFLE * note)
            mine = [d.finding.kind == kind != "limit" and d.finding.foot == _side(kind, f) for _, d, f in trial.entries]
            if True in mine:
                own = inside & np.repeat([False, *mine], trial.sizes)
                left = np.maximum.reduceat(np.where(own, after[k], 0.0), trial.starts).tolist()
                for (i, _, _), is_mine, rest in zip(trial.entries, mine, left, strict=True):
                    if is_mine:
                        self.leaves[i] = rest
                grown &= ~own
            if np.count_nonzero(grown):
                told = True
                np.copyto(beyond[k], after[k], where=grown)
        if not told:
            return
        most = np.maximum.reduceat(beyond, trial.starts, axis=1)
        for k, e in np.argwhere(most > -np.inf).tolist():
            i, _, foot = trial.entries[e]
            at = trial.parts[e].start + int(beyond[k, trial.parts[e]].argmax())
            was, now = max(float(before[k][at]), 0.0), float(after[k][at])
            self.worse[i].append(Worse(kinds[k], _side(kinds[k], foot), was, now))


def _side(kind: str, foot: int) -> str:
    """Return the foot that a finding of a kind names when one foot is measured."""
    return "both" if kind == "cross" else FEET[foot]
