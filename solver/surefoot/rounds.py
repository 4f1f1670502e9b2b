"""How curves that repeat or advance bring a frame outside their keys back among them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from surefoot.tangents import Keys, Outside

__all__ = ["Rounds", "rounds_of", "turned"]

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


class Rounds(NamedTuple):
    """How channels go round, with those of one period in one group. Before and after are 1 or 0."""

    group: Indices  # (channels,) the group of each channel
    first: Floats  # (groups, 1) frame of the first key
    last: Floats  # (groups, 1) frame of the last key
    period: Floats  # (groups, 1) frames, positive
    before: Floats  # (groups, 1) 1 where it goes round before the first key, else 0
    after: Floats  # (groups, 1) 1 where it goes round after the last key, else 0
    fall: Floats  # (channels, 1) what each round before adds per (negative) turn
    rise: Floats  # (channels, 1) what each round after adds per turn


def rounds_of(keys: Keys) -> Rounds | None:
    """Return how the curves go round, grouped by period, or None if none does."""
    wraps = keys.wraps
    if not np.count_nonzero(wraps):
        return None
    first, last = keys.frames[keys.first], keys.frames[keys.last]
    before, after = keys.before * wraps, keys.after * wraps
    known: dict[tuple[float, float, bool, bool], int] = {}
    group = []
    sides = zip(first.tolist(), last.tolist(), (before > 0).tolist(), (after > 0).tolist(), strict=True)
    for start, end, goes_before, goes_after in sides:
        turns = goes_before or goes_after
        period = (start, end, goes_before, goes_after) if turns else (0.0, 1.0, False, False)
        group.append(known.setdefault(period, len(known)))
    rows = np.array(list(known), dtype=np.float64).T[:, :, np.newaxis]  # (4, groups, 1)
    rise = keys.values[keys.last] - keys.values[keys.first]
    falling, rising = rise * (before == int(Outside.ADVANCE)), rise * (after == int(Outside.ADVANCE))
    return Rounds(
        group=np.array(group, dtype=np.intp),
        first=rows[0],
        last=rows[1],
        period=rows[1] - rows[0],
        before=rows[2],
        after=rows[3],
        fall=falling[:, np.newaxis],
        rise=rising[:, np.newaxis],
    )


def turned(frames: Floats, rounds: Rounds, side: str) -> tuple[Floats, Floats | None]:
    """Return the frames brought back among each group's keys, and the turns it took, each (groups, m).

    A seam belongs to the turn on the asked side, ``"left"`` or ``"right"``; for ``"key"``, to the turn nearer
    to the keys' own range. Where no frame needs turning, the frames come back as (1, m), and None.
    """
    up = np.ceil((frames - rounds.last) / rounds.period)
    down = np.floor((frames - rounds.first) / rounds.period)
    if side == "left":
        down = up
    elif side == "right":
        up = down
    turns = np.maximum(up, 0.0) * rounds.after + np.minimum(down, 0.0) * rounds.before
    if not np.count_nonzero(turns):
        return frames[np.newaxis], None
    lowest, highest = rounds.first, rounds.last
    if side == "left":
        lowest = np.nextafter(lowest, np.inf)
    elif side == "right":
        highest = np.nextafter(highest, -np.inf)
    back = np.minimum(np.maximum(frames - turns * rounds.period, lowest), highest)  # a rounding may pass the end
    return np.where(turns != 0.0, back, frames), turns
