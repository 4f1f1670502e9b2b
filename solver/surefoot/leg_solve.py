"""Legs solved by their joints: closed form first, then, where a range is left, the nearest pose inside it.

Everything is batched over frames. A leg that can't reach is straight, or as near as its ranges let it come; the
answer says for each frame what is left, which joints lie on their limits and how many steps it took, and never NaN.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.bounded import solve_bounded
from surefoot.foot_styles import FootWorld, JointLegs, Setting
from surefoot.given import checked
from surefoot.hinge_chain import leg_hinges
from surefoot.rig import FEET, Limits, Rig
from surefoot.rotations import apply, matrix

__all__ = ["SolvedLegs", "all_inside", "solve_legs"]

Array = NDArray[np.float64]

LATITUDE = 1e-9
"""Radians by which a range may be left before a frame is solved again."""
FOOT_YAW = float(np.radians(25.0))
"""How far a foot turns about the bone above it, either way, where a rig has a channel for that (judgement)."""


@dataclass(frozen=True, slots=True, eq=False)
class SolvedLegs:
    """Joint angles of both legs, and how they were found.

    Parameters
    ----------
    rows : ndarray, shape (9, 2, frames)
        The rows of `JointLegs.keys`, radians.
    residual : ndarray, shape (2, frames)
        The largest distance left at ankle, heel or ball, metres.
    at_limit : ndarray of bool, shape (9, 2, frames)
        Joints that the solve has left on a limit.
    rounds : ndarray of int, shape (2, frames)
        Steps of the bounded solve; 0 where the closed form served.
    """

    rows: Array
    residual: Array
    at_limit: NDArray[np.bool_]
    rounds: NDArray[np.intp]


@checked(feet=FootWorld, setting=Setting)
def solve_legs(
    rig: Rig,
    feet: FootWorld,
    setting: Setting,
    *,
    foot_yaw: bool = True,
    near: Array | None = None,
    rows: Array | None = None,
    stay: NDArray[np.bool_] | None = None,
) -> SolvedLegs:
    """Return joint angles inside the rig's ranges that bring both feet to a world pose, or as near as can be.

    Parameters
    ----------
    rig : Rig
        In the style ``joints``.
    feet : FootWorld
        Ankles, angles, toe bend, and the knees' turn.
    setting : Setting
        The hips.
    foot_yaw : bool
        Whether the foot may turn about the bone above it: then the knee keeps its direction.
    near : ndarray, shape (9, 2, frames), optional
        Angles on whose whole turns the answer lies; else zeros.
    rows : ndarray, shape (9, 2, frames), optional
        The closed form, where it's known already.
    stay : ndarray of bool, shape (9, 2), optional
        Joints that keep their angles in ``near``, whatever the ranges.

    Raises
    ------
    InputError
        If the rig isn't in the style ``joints``, or what is handed in is of another kind.
    """
    style = JointLegs(rig)
    count = feet.ankle.shape[-1]
    near = np.zeros((len(style.keys), 2, count)) if near is None else near
    given = np.ones((len(style.keys), 2), dtype=bool)
    given[7] = foot_yaw
    rows = style.write(feet, near, given, setting) if rows is None else rows.copy()
    rounds, held = np.zeros((2, count), dtype=np.intp), np.zeros(rows.shape, dtype=bool)
    targets = _targets(rig, feet)
    for side in range(2):
        leg = rig.legs[side]
        if leg.hock > 0.0 and not style.free_hock[side, 0]:
            continue  # the third bone goes with the thigh: there's the closed form and no other pose
        low, high = (np.repeat(end[:, None], count, axis=1) for end in _ranges(leg.limits, foot_yaw=foot_yaw))
        if stay is not None:
            for end in (low, high):
                end[stay[:, side]] = near[stay[:, side], side]
        over = (rows[:, side] < low - LATITUDE) | (rows[:, side] > high + LATITUDE)
        if leg.hock == 0.0:
            over[8] = False
        at = np.flatnonzero(over.any(axis=0))
        if not len(at):
            continue
        chain = leg_hinges(leg, side=FEET[side], foot_yaw=foot_yaw)
        pick = [style.keys.index("bend" if name == "toe_bend" else name) for name in chain.names]
        solved = solve_bounded(
            _placed(chain.points, targets[:, :, side, at]), chain, weights=_weights(chain.points),
            low=low[pick][:, at], high=high[pick][:, at], start=rows[pick, side][:, at],
            turn=setting.hips_turn[..., at], origin=setting.hip[:, side, at], smooth=_in_a_row(at),
        )  # fmt: skip
        rows[np.array(pick)[:, None], side, at] = solved.angles
        held[np.array(pick)[:, None], side, at] = solved.at_limit
        rounds[side, at] = solved.rounds
    left = _targets(rig, style.read(rows, setting)) - targets
    return SolvedLegs(rows, np.sqrt((left**2).sum(axis=0)).max(axis=0), held, rounds)


def all_inside(rig: Rig, rows: Array, *, foot_yaw: bool) -> bool:
    """Return whether every joint of both legs is inside its range in every frame; ``rows`` as `SolvedLegs` has them."""
    for side, leg in enumerate(rig.legs):
        low, high = _ranges(leg.limits, foot_yaw=foot_yaw)
        last = 9 if leg.hock > 0.0 else 8
        own = rows[:last, side]
        if np.any(own.min(axis=1) < low[:last] - LATITUDE) or np.any(own.max(axis=1) > high[:last] + LATITUDE):
            return False
    return True


def _targets(rig: Rig, feet: FootWorld) -> Array:
    """Return ankle, heel and ball of both feet in the world, ``(3, 3, 2, frames)``."""
    foot = matrix(*feet.angles)
    parts = [feet.ankle]
    for name in ("heel", "ball"):
        own = np.array([getattr(leg.foot, name) for leg in rig.legs]).T[:, :, None]
        parts.append(feet.ankle + apply(foot, own))
    return np.stack(parts, axis=1)


def _placed(points: tuple[tuple[str, int, tuple[float, float, float]], ...], targets: Array) -> Array:
    wanted = np.zeros((3, len(points), targets.shape[-1]))
    for p, (name, _, _) in enumerate(points):
        if name in ("ankle", "heel", "ball"):
            wanted[:, p] = targets[:, ("ankle", "heel", "ball").index(name)]
    return wanted


def _weights(points: tuple[tuple[str, int, tuple[float, float, float]], ...]) -> Array:
    return np.array([1.0 if name in ("ankle", "heel", "ball") else 0.0 for name, _, _ in points])


def _ranges(limits: Limits, *, foot_yaw: bool) -> tuple[Array, Array]:
    """Return the ends of every row's range, ``(9,)`` each, radians."""
    names = (*Limits.NAMES, "", "hock_flexion")
    yaw = FOOT_YAW if foot_yaw else 0.0
    both = np.array([getattr(limits, name) if name else (-yaw, yaw) for name in names])
    return both[:, 0], both[:, 1]


def _in_a_row(at: NDArray[np.intp]) -> bool:
    return len(at) > 1 and bool(np.any(np.diff(at) == 1))
