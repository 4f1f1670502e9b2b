"""A captured walk as points: what a motion capture gives, checked, and how its feet are turned.

A foot's *line* runs from heel to ball (from ankle to ball where no heel was
captured). Line space has +Z along it and +X to the left: along the line from
inner to outer ball where both were captured, else level.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, ShapeError
from surefoot.rig import FEET
from surefoot.rotations import matrix, unwind

__all__ = ["POINTS", "Capture", "steady"]

Array = NDArray[np.float64]

POINTS = ("hip", "knee", "ankle", "heel", "ball", "toe")
HIP, KNEE, ANKLE, HEEL, BALL, TOE = range(6)


@dataclass(frozen=True, slots=True, eq=False)
class Capture:
    """Captured legs: joint centres and foot points in the world, metres, +Y up, any heading.

    Parameters
    ----------
    points : ndarray, shape (frames, 2, 6, 3)
        Feet left, right; hip, knee, ankle, heel, ball, toe. Markers may ride above the sole. A heel or a
        toe that wasn't captured is NaN in every frame.
    rate : float
        Frames per second.
    hips : ndarray, shape (frames, 3), or None
        Where the hips are; None takes the middle of the two hip joints.
    hips_rotation : ndarray, shape (frames, 3, 3), or None
        World from hips; the columns are the body's left, up and forward. None takes the line of the hip
        joints and no pitch, which two joints can't tell.
    ball_inner, ball_outer : ndarray, shape (frames, 2, 3), or None
        The two sides of each ball, towards the body's middle and away from it; both or neither. They give the
        foot's cant and the width of its sole.

    Raises
    ------
    ShapeError
        If an array has another shape, or there are fewer than two frames.
    InputError
        If a point has a gap (names it, the foot and the first frame, counted from 1), a rotation isn't one,
        the rate isn't positive, or only one side of the ball is given.
    """

    points: Array
    rate: float
    hips: Array | None = None
    hips_rotation: Array | None = None
    ball_inner: Array | None = None
    ball_outer: Array | None = None

    MAY_MISS: ClassVar[tuple[int, int]] = (HEEL, TOE)

    def __post_init__(self) -> None:
        points = _array(self.points, "points")
        if points.ndim != 4 or points.shape[1:] != (2, 6, 3):
            raise ShapeError(f"wanted shape (frames, 2, 6, 3), got {points.shape}", place="points")
        if len(points) < 2:
            raise ShapeError(f"wanted at least two frames, got {len(points)}", place="points")
        try:
            good = np.isfinite(self.rate) and self.rate > 0
        except TypeError:
            good = False
        if not good:
            raise InputError(f"wanted frames per second above 0, got {self.rate!r}", place="rate")
        for foot, side in enumerate(FEET):
            for k, point in enumerate(POINTS):
                _check_gap(points[:, foot, k], point, side, may_miss=k in self.MAY_MISS)
        put = object.__setattr__
        put(self, "points", _shut(points))
        put(self, "rate", float(self.rate))
        if (self.ball_inner is None) != (self.ball_outer is None):
            raise InputError("give both sides of the ball or neither", place="ball_inner, ball_outer")
        shapes = {"hips": (3,), "hips_rotation": (3, 3), "ball_inner": (2, 3), "ball_outer": (2, 3)}
        for name, tail in shapes.items():
            if getattr(self, name) is not None:
                put(self, name, _shut(self._checked(name, tail)))
        self._fill_hips()

    def _checked(self, name: str, tail: tuple[int, ...]) -> Array:
        values = _array(getattr(self, name), name)
        wanted = (len(self.points), *tail)
        if values.shape != wanted:
            raise ShapeError(f"wanted shape {wanted}, got {values.shape}", place=name)
        if name.startswith("ball"):
            for foot, side in enumerate(FEET):
                _check_gap(values[:, foot], name.replace("_", " "), side, place=name, may_miss=False)
        elif not np.isfinite(values).all():
            row = int(np.argmin(np.isfinite(values).reshape(len(values), -1).all(axis=1)))
            raise InputError(f"not finite, first at frame {row + 1}", place=name)
        if name == "hips_rotation":
            off = np.abs(np.einsum("fki,fkj->fij", values, values) - np.eye(3)).max(axis=(1, 2))
            bad = (off > 1e-6) | (np.linalg.det(values) < 0)
            if bad.any():
                row = int(np.argmax(bad))
                raise InputError(f"no rotation at frame {row + 1}: it scales, shears or mirrors", place=name)
        return values

    def _fill_hips(self) -> None:
        left, right = self.points[:, 0, HIP], self.points[:, 1, HIP]
        if self.hips is None:
            object.__setattr__(self, "hips", _shut((left + right) / 2.0))
        if self.hips_rotation is None:
            across = left - right
            if (np.hypot(across[:, 0], across[:, 2]) < 1e-6).any():
                raise InputError("the hip joints lie one above the other; state hips_rotation", place="points")
            forward = np.cross(across, [0.0, 1.0, 0.0])
            axes = np.stack([across, np.cross(forward, across), forward], axis=-1)
            object.__setattr__(self, "hips_rotation", _shut(axes / np.linalg.norm(axes, axis=-2, keepdims=True)))

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return len(self.points)

    def has(self, point: str) -> tuple[bool, bool]:
        """Return whether the left and the right foot's ``point`` was captured."""
        there = np.isfinite(self.points[0, :, POINTS.index(point), 0])
        return bool(there[0]), bool(there[1])

    def part(self, first: int, last: int, *, every: int = 1) -> Capture:
        """Return frames ``first`` to ``last`` (counted from 1, both included), or every few of them."""
        if not (1 <= first < last <= self.frames and every >= 1):
            raise InputError(
                f"wanted two frames in order within 1 to {self.frames}, got {first} to {last} by {every}",
                place="part",
            )
        rows = slice(first - 1, last, every)
        cut: dict[str, Any] = {
            name: None if (whole := getattr(self, name)) is None else whole[rows]
            for name in ("points", "hips", "hips_rotation", "ball_inner", "ball_outer")
        }
        return Capture(rate=self.rate / every, **cut)

    def with_rigid_ankles(self) -> Capture:
        """Return the capture with each ankle made rigid with heel and ball.

        A skin marker at the ankle, or a joint centre from a body model, wanders by millimetres against the
        foot. Here the ankle is one fixed point of the foot: the median, in line space, of where it was.

        Raises InputError where the heel wasn't captured: then nothing says how the foot was turned but
        the ankle itself.
        """
        for side, there in zip(FEET, self.has("heel"), strict=True):
            if not there:
                raise InputError("a rigid ankle needs a captured heel", place=f"{side} foot")
        world_from_line = self.foot_lines()
        middle = (self.points[:, :, HEEL] + self.points[:, :, BALL]) / 2.0
        in_line = np.einsum("jifk,fkj->fki", np.swapaxes(world_from_line, 2, 3), self.points[:, :, ANKLE] - middle)
        fixed = np.median(in_line, axis=0)
        points = self.points.copy()
        points[:, :, ANKLE] = middle + np.einsum("ijkf,kj->fki", world_from_line, fixed)
        return replace(self, points=points)

    def foot_lines(self) -> Array:
        """Return world from line space of both feet, ``(3, 3, 2, frames)``, component-major."""
        there = np.array(self.has("heel"))[None, :, None]
        start = np.where(there, self.points[:, :, HEEL], self.points[:, :, ANKLE])
        forward = np.moveaxis(self.points[:, :, BALL] - start, (0, 1, 2), (2, 1, 0))  # (3, 2, frames)
        length = np.linalg.norm(forward, axis=0)
        if (length < 1e-6).any():
            foot, row = np.argwhere(length < 1e-6)[0].tolist()
            raise InputError(f"the {FEET[foot]} ball lies on its heel or ankle at frame {row + 1}", place="points")
        forward = forward / length
        if self.ball_inner is None or self.ball_outer is None:
            yaw = np.arctan2(forward[0], forward[2])
            pitch = -np.arctan2(forward[1], np.hypot(forward[0], forward[2]))
            level = np.zeros_like(yaw)
            # past the vertical a foot pitches on rather than turning about by half a turn
            turns = steady(np.array([pitch, yaw, level]), np.array([np.pi - pitch, yaw + np.pi, level]))
            return matrix(turns[0], turns[1], level)
        outward = np.moveaxis(self.ball_outer - self.ball_inner, (0, 1, 2), (2, 1, 0))
        up = np.cross(forward, outward * np.array([1.0, -1.0])[:, None], axis=0)
        size = np.linalg.norm(up, axis=0)
        if (size < 1e-6).any():
            foot, row = np.argwhere(size < 1e-6)[0].tolist()
            raise InputError(
                f"the sides of the {FEET[foot]} ball lie along the foot at frame {row + 1}",
                place="ball_inner",
            )
        up = up / size
        return np.stack([np.cross(up, forward, axis=0), up, forward], axis=1)


def steady(one: Array, two: Array) -> Array:
    """Return one of two equally good triples of angles, ``(3, ..., frames)``, without jumps along time.

    Starts on ``one`` and changes over wherever the other is nearer; whole turns are taken out too.
    ``two`` must be ``one`` with its angles mirrored or moved by half a turn, so that it moves just as fast.
    """
    zero = np.zeros(1)
    stay = (unwind(np.diff(one, axis=-1), zero) ** 2).sum(axis=0)
    swap = (unwind(two[..., 1:] - one[..., :-1], zero) ** 2).sum(axis=0)
    other = np.zeros(one.shape[1:], dtype=bool)
    other[..., 1:] = np.cumsum(swap < stay, axis=-1) % 2 == 1
    found: Array = np.unwrap(np.where(other, two, one), axis=-1)
    return found


def _array(value: object, place: str) -> Array:
    try:
        return np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ShapeError("wanted an array of numbers", place=place) from None


def _shut(values: Array) -> Array:
    values.flags.writeable = False
    return values


def _check_gap(values: Array, point: str, side: str, *, place: str = "points", may_miss: bool) -> None:
    good = np.isfinite(values).all(axis=-1)
    if good.all():
        return
    if not np.isnan(values).all():
        raise InputError(
            f"the {side} {point} has a gap, first at frame {int(np.argmin(good)) + 1}; fill it first",
            place=place,
        )
    if not may_miss:
        raise InputError(f"the {side} {point} is missing; only a heel or a toe may be", place=place)
