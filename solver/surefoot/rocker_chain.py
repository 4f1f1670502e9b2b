"""A foot posed by rockers: turns about heel, ball and toe in a stated order, and how to find them from a pose.

A foot control of this style has a root, placed and headed; with every rocker at zero the ankle sits at
the root. Each rocker is a turn about an axis of the foot through its own pivot, carried by those
before it in the order. Heel, ball and toe turn about +X (positive lifts the heel), cant about +Z, the three yaws
about +Y. The cant's pivot is the edge of the sole that it tips onto. The ball's turn bends
the toes as much, so that the toe segment stays where the turns before it have put it; ``bend`` comes on top.

One foot-roll channel, ``rocker``, stands for three by a piecewise law with the toe rocker's onset ``o``::

    heel = min(r, 0)    ball = min(max(r, 0), o)    toe = max(r - o, 0)

and back by their sum. It's the law of the planted foot (see `sole`): heel rocker, forefoot rocker with the toes
flat, toe rocker with the bend held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.foot import Foot
from surefoot.rotations import apply, compose, turn

__all__ = ["RockerChain", "joined_rocker", "law_of_rocker", "rocker_share"]

Array = NDArray[np.float64]
Amounts = Mapping[str, Array]

ABOUT = {"heel": 0, "ball": 0, "toe": 0, "cant": 2, "yaw_heel": 1, "yaw_ball": 1, "yaw_toe": 1}
"""The axis of the foot that each rocker turns about: 0 x, 1 y, 2 z."""
ROLLING = ("heel", "ball", "toe")
ROUNDS = 40
EXACT = 1e-15
"""Radians of orientation left at which the search for the rockers stops."""


def law_of_rocker(amount: Array, onset: float) -> tuple[Array, Array, Array]:
    """Return heel, ball and toe rocker of one foot-roll amount, radians: the law above."""
    heel = np.minimum(amount, 0.0)
    ball = np.minimum(amount - heel, onset)
    return heel, ball, amount - heel - ball


def joined_rocker(heel: Array, ball: Array, toe: Array) -> Array:
    """Return the one foot-roll amount of three rockers, radians: their sum. The inverse of `law_of_rocker`."""
    return heel + ball + toe


def rocker_share(amount: Array, onset: float) -> dict[str, Array]:
    """Return by how much each rocker moves with the foot-roll amount: 1 for the one that's at work, else 0."""
    early, late = amount < 0.0, amount >= onset
    return {name: np.asarray(on, dtype=np.float64) for name, on in zip(ROLLING, (early, ~early & ~late, late & ~early),
                                                                        strict=True)}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class RockerChain:
    """One foot's pivots, ``(3,)`` metres in foot space, the order of its turns, and its onset in radians."""

    order: tuple[str, ...]
    pivots: Mapping[str, Array]
    edges: tuple[float, float]
    onset: float

    @staticmethod
    def of(foot: Foot, order: Sequence[str]) -> RockerChain:
        """Return the chain of a foot; a foot whose toes don't bend has its onset at zero."""
        back, tip = float(foot.outline[:, 1].min()), float(foot.outline[:, 1].max())
        ball = float(foot.ball[2])
        heel, under, toe = (np.array([sum(foot.edge(z)) / 2.0, foot.sole, z]) for z in (back, ball, tip))
        pivots = {"heel": heel, "ball": foot.ball, "toe": toe, "cant": under,
                  "yaw_heel": heel, "yaw_ball": under, "yaw_toe": toe}  # fmt: skip
        return RockerChain(tuple(order), pivots, foot.edge(ball), foot.onset if foot.hinged else 0.0)

    def posed(self, amounts: Amounts) -> tuple[Array, Array]:
        """Return root from foot: turn ``(3, 3, n)`` and the ankle's place ``(3, n)`` in metres.

        ``amounts`` holds the turns, ``(n,)`` radians each; those left out are zero. The combined
        ``rocker`` is no turn of its own: spread it by `law_of_rocker` first.
        """
        count = len(next(iter(amounts.values())))
        whole = np.broadcast_to(np.eye(3)[:, :, None], (3, 3, count))
        place = np.zeros((3, count))
        for name in self.order:
            amount = amounts.get(name)
            if amount is None or not np.count_nonzero(amount):
                continue
            own = turn("xyz"[ABOUT[name]], amount)
            pivot = self._pivot(name, amount)
            # about its pivot: p - R p, carried by what stands before it
            place = place + apply(whole, pivot - apply(own, pivot))
            whole = compose(whole, own)
        return whole, place

    def _pivot(self, name: str, amount: Array) -> Array:
        pivot = np.repeat(self.pivots[name][:, None], len(amount), axis=1)
        if name == "cant":  # positive cant lifts the left side (+x): the right edge stays down
            low, high = self.edges
            pivot[0] = np.where(amount > 0.0, low, high)
        return pivot


def turned_to(
    wanted: Array, steps: Sequence[tuple[int, Array, Mapping[str, Array]]], free: Sequence[str]
) -> dict[str, Array]:
    """Return by how much some free amounts must change for a product of turns to be ``wanted``.

    Parameters
    ----------
    wanted : ndarray, shape (3, 3, n)
        The turn to be met.
    steps : sequence of (axis, amount, shares)
        The turns from left to right: axis 0, 1 or 2, the amount ``(n,)``, and by how much it changes with each free
        amount ``(n,)``.
    free : sequence of str
        Names of the free amounts, three at most.

    Returns
    -------
    dict of str to ndarray, shape (n,)
        One Newton step, radians; what no free amount can do is left, in the least-squares sense.
    """
    count = wanted.shape[-1]
    whole = np.broadcast_to(np.eye(3)[:, :, None], (3, 3, count))
    jacobian = np.zeros((3, len(free), count))
    for axis, amount, shares in steps:
        for name, share in shares.items():
            jacobian[:, free.index(name)] += whole[:, axis] * share
        whole = compose(whole, turn("xyz"[axis], amount))
    gap = _rotation_vector(compose(wanted, np.swapaxes(whole, 0, 1)))
    j = jacobian.transpose(2, 0, 1)
    if len(free) == 3:
        safe = np.abs(np.linalg.det(j)) > 1e-9
        change = np.zeros((count, 3))
        change[safe] = np.linalg.solve(j[safe], gap.T[safe, :, None])[..., 0]
        if not safe.all():
            change[~safe] = (np.linalg.pinv(j[~safe], rcond=1e-7) @ gap.T[~safe, :, None])[..., 0]
    else:
        change = (np.linalg.pinv(j, rcond=1e-7) @ gap.T[..., None])[..., 0]
    return {name: change[:, k] for k, name in enumerate(free)}


def _rotation_vector(m: Array) -> Array:
    """Return the turn ``m`` (3, 3, n) as axis times angle, ``(3, n)``; good to rounding for small turns."""
    skew = 0.5 * np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
    sine = np.sqrt((skew**2).sum(axis=0))
    cosine = 0.5 * (m[0, 0] + m[1, 1] + m[2, 2] - 1.0)
    angle = np.arctan2(sine, cosine)
    return np.asarray(skew * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-300), 1.0))
