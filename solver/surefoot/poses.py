"""What a clip's channels are read into: spaces, and the pose of hips and feet in the world."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Curve
from surefoot.errors import InputError

__all__ = ["Pose", "Space", "check_turns"]

Array = NDArray[np.float64]


class Space(NamedTuple):
    """World from some space: ``turn`` (3, 3, frames), ``place`` (3, frames) metres, ``size``.

    ``turn`` None is no turn, ``place`` None is the world's origin.
    """

    turn: Array | None
    place: Array | None
    size: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """The hips and both feet in world space, component-major.

    Parameters
    ----------
    hips : ndarray, shape (3, frames)
        The hips control, metres.
    hips_turn : ndarray, shape (3, 3, frames)
        World from hips.
    hip : ndarray, shape (3, 2, frames)
        Hip joints, left and right.
    ankle : ndarray, shape (3, 2, frames)
        Ankle joints.
    angles : ndarray, shape (3, 2, frames)
        The feet's pitch, yaw and cant, radians, as turns of order yxz.
    bend : ndarray, shape (2, frames)
        Toe bend, radians, positive toes up.
    knee : ndarray, shape (2, frames)
        Turn of the knee's direction about the line from hip to ankle, radians.
    """

    hips: Array
    hips_turn: Array
    hip: Array
    ankle: Array
    angles: Array
    bend: Array
    knee: Array

    def at(self, frames: NDArray[np.intp]) -> Self:
        """Return the pose at some of its frames."""
        return type(self)(
            self.hips[:, frames], self.hips_turn[..., frames], self.hip[..., frames], self.ankle[..., frames],
            self.angles[..., frames], self.bend[..., frames], self.knee[..., frames],
        )  # fmt: skip


def check_turns(names: Sequence[str], curves: Sequence[Curve], scale: Array) -> None:
    """Ask, by raising InputError, when an angle jumps by about a whole turn from one key to the next.

    Channels interpolate as numbers, so such a jump spins the part round between the two keys.
    It's nearly always a fault in an exporter; a turn that is meant is told by a key half-way.

    Parameters
    ----------
    names, curves : sequence of str, sequence of Curve
    scale : ndarray, shape (channels,)
        Radians in one unit of each channel, 0 for those that are no angles.
    """
    size = np.array([len(curve.frames) for curve in curves])
    values = np.concatenate([curve.values for curve in curves])
    jump = (values[1:] - values[:-1]) * scale.repeat(size)[:-1]
    jump[size.cumsum()[:-1] - 1] = 0.0
    if np.abs(jump).max(initial=0.0) < 2.0 * np.pi * (5.0 / 6.0):
        return
    turns = np.round(jump / (2.0 * np.pi))
    bad = (turns != 0.0) & (np.abs(jump - turns * 2.0 * np.pi) < np.pi / 3.0)
    if np.count_nonzero(bad):
        at = int(np.argmax(bad))
        channel = int(np.searchsorted(np.cumsum(size), at, side="right"))
        first, last = curves[channel].frames[at - sum(size[:channel]) :][:2]
        raise InputError(
            f"it jumps by {np.degrees(abs(jump[at])):.0f} degrees from frame {first:g} to {last:g}, about a whole "
            "turn; take the turn off the later keys, or set a key half-way if the turn is meant",
            place=f"channel {names[channel]}",
        )
