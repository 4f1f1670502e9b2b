"""Phases of a gait cycle, by its events, in per cent; and the animator's frames of each step.

Phases are told by what happens, not by fixed per cents, so that they hold at any speed. The names and the events are
gait science's (Perry 1992 and later, as quoted in secondary sources).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.gait import Landing, landings, walked
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.rig import FEET, Rig
from surefoot.rotations import length
from surefoot.scene import Scene

__all__ = ["Phase", "StepFrames", "phases_in", "phases_of", "step_frames", "steps_in"]

Array = NDArray[np.float64]


class Phase(NamedTuple):
    """One phase of one foot: from and to in per cent of its cycle, counted from its landing."""

    foot: str
    name: str
    start: float
    end: float


class StepFrames(NamedTuple):
    """The animator's frames of one step: which foot lands, and the frames; None where there's none.

    ``down`` has the lowest hips after the contact, ``passing`` is the frame in which the swing foot passes, ``up``
    has the highest hips before the next contact. Frames beyond a loop's last are the next round's.
    """

    foot: str
    contact: int
    down: int | None
    passing: int | None
    up: int | None


class _Way(NamedTuple):
    """A scene read along its way at any frame of the clip and, in a loop, of the next rounds."""

    scene: Scene
    along: Array  # (2,) x and z of the way's direction

    def row(self, frame: int) -> int:
        at = frame - int(self.scene.frames[0])
        return at % self.scene.count if self.scene.drift is not None else min(at, self.scene.count - 1)

    def on(self, point: Array) -> Array:
        """Return how far world points ``(3, ...)`` lie along the way, metres."""
        return np.asarray(self.along[0] * point[0] + self.along[1] * point[2])


def _way(scene: Scene, found: list[Landing]) -> _Way:
    if scene.drift is not None:
        x, _, z = scene.drift.shift
    else:
        x, _, z = scene.hip[:, :, -1].mean(axis=1) - scene.hip[:, :, 0].mean(axis=1) if found else (0.0, 0.0, 1.0)
    size = float(np.hypot(x, z))
    return _Way(scene, np.array([x / size, z / size]) if size > 1e-9 else np.array([0.0, 1.0]))


@checked()
def phases_of(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
) -> list[Phase]:
    """Return the phases of each foot's first whole stride, in order of foot and time; none without a stride.

    With double support: loading response (until the other foot lifts off), mid stance (until the hips are over the
    foot), terminal stance (until the other foot lands), pre-swing (until this foot lifts off). Without: stance, parted
    where the hips are over the foot. Then initial swing (until the knee is bent most), mid swing (until the shank is
    upright) and terminal swing; spells with no foot down aren't told apart here (`Gait.flight` counts them).

    Parameters
    ----------
    ground, belt, stances : as for `surefoot.plant`

    Raises
    ------
    InputError
        If the clip, rig and ground don't belong together.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> for phase in surefoot.phases_of(clip, rig)[:2]:
    ...     print(phase.foot, phase.name, round(phase.start), round(phase.end))
    left loading response 0 8
    left mid stance 8 24
    """
    return phases_in(*walked(clip, rig, ground, belt, stances))


def phases_in(scene: Scene, stances: tuple[Stance, ...]) -> list[Phase]:
    """Return the phases of a scene, as `phases_of` does."""
    found = landings(scene, stances)
    way = _way(scene, found)
    told: list[Phase] = []
    for foot in range(2):
        stride = _stride(scene, found, foot)
        if stride is not None:
            told += _phases(way, found, *stride)
    return told


def _stride(scene: Scene, found: list[Landing], foot: int) -> tuple[Landing, int] | None:
    """Return a foot's first landing that has a next one, and the frame of that."""
    mine = [landing for landing in found if landing.foot == foot and landing.landed]
    if not mine:
        return None
    if len(mine) > 1:
        return mine[0], mine[1].at
    return (mine[0], mine[0].at + scene.count) if scene.drift is not None else None


def _phases(way: _Way, found: list[Landing], own: Landing, end: int) -> list[Phase]:
    scene, span, name = way.scene, end - own.at, FEET[own.foot]
    rounds = (-1, 0, 1) if scene.drift is not None else (0,)
    others = [
        (one.at + k * scene.count, one.off + k * scene.count)
        for one in found if one.foot != own.foot for k in rounds
    ]  # fmt: skip
    other_off = [off for at, off in others if at < own.at < off < own.off]
    other_on = [at for at, off in others if own.at < at < own.off < off]
    over = _over(way, own)
    marks: list[tuple[str, float]] = []
    if other_off:
        marks.append(("loading response", float(other_off[-1])))
    marks.append(("mid stance", over))
    if other_on:
        marks += [("terminal stance", float(other_on[0])), ("pre-swing", float(own.off))]
    else:
        marks.append(("terminal stance", float(own.off)))
    bent, upright = _swing(way, own, end)
    marks += [("initial swing", bent), ("mid swing", upright), ("terminal swing", float(end))]
    told, start = [], float(own.at)
    for phase, until in marks:
        until = min(max(until, start), float(end))
        told.append(Phase(name, phase, 100.0 * (start - own.at) / span, 100.0 * (until - own.at) / span))
        start = until
    return told


def _over(way: _Way, own: Landing) -> float:
    """Return the frame, between two if need be, at which the hips are over a standing foot's ankle."""
    frames = np.arange(own.at, own.off + 1)
    rows = [way.row(int(frame)) for frame in frames]
    pose = way.scene.pose
    ahead = way.on(pose.hip.mean(axis=1))[rows] - way.on(pose.ankle[:, own.foot])[rows]
    return _crossing(frames, ahead, default=float(own.at + own.off) / 2.0)


def _swing(way: _Way, own: Landing, end: int) -> tuple[float, float]:
    """Return the frames at which the swinging knee is bent most, and after it the shank upright."""
    pose, leg = way.scene.pose, way.scene.binding.rig.legs[own.foot]
    frames = np.arange(own.off, end + 1)
    rows = [way.row(int(frame)) for frame in frames]
    line = pose.hip[:, own.foot][:, rows] - pose.ankle[:, own.foot][:, rows]
    reach = np.maximum(length(line), 1e-9)
    bent = int(reach[:-1].argmin()) if len(frames) > 1 else 0
    # how far the shank leans forward, from the triangle of the bones above it, shank and reach
    cosine = (leg.shank**2 + reach**2 - leg.upper**2) / (2.0 * leg.shank * reach)
    knee = np.arccos(np.clip(cosine, -1.0, 1.0)) * (-1.0 if leg.backward else 1.0)
    lean = np.arctan2(way.on(line), line[1]) + knee
    upright = _crossing(frames[bent:], -lean[bent:], default=float(frames[bent] + end) / 2.0)
    return float(frames[bent]), upright


def _crossing(frames: NDArray[np.int_], value: Array, *, default: float) -> float:
    """Return where ``value`` first rises through zero, between two frames by proportion."""
    up = np.flatnonzero((value[:-1] < 0.0) & (value[1:] >= 0.0))
    if not len(up):
        return default
    k = int(up[0])
    return float(frames[k] + value[k] / (value[k] - value[k + 1]))


@checked()
def step_frames(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
) -> list[StepFrames]:
    """Return contact, down, passing and up of each step, in order of time; none where no foot lands.

    Parameters
    ----------
    ground, belt, stances : as for `surefoot.plant`

    Raises
    ------
    InputError
        If the clip, rig and ground don't belong together.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> surefoot.step_frames(clip, rig)[0]
    StepFrames(foot='left', contact=1, down=4, passing=8, up=10)
    """
    return steps_in(*walked(clip, rig, ground, belt, stances))


def steps_in(scene: Scene, stances: tuple[Stance, ...]) -> list[StepFrames]:
    """Return the frames of each step of a scene, as `step_frames` does."""
    found = landings(scene, stances)
    real = [landing for landing in found if landing.landed]
    if not real:
        return []
    way = _way(scene, found)
    ends = [one.at for one in real[1:]]
    ends += [real[0].at + scene.count] if scene.drift is not None else []
    return [_frames(way, one, end) for one, end in zip(real, ends, strict=False) if end - one.at > 1]


def _frames(way: _Way, own: Landing, end: int) -> StepFrames:
    frames = np.arange(own.at, end + 1)
    rows = [way.row(int(frame)) for frame in frames]
    pose = way.scene.pose
    standing, swinging = (way.on(pose.ankle[:, foot])[rows] for foot in (own.foot, 1 - own.foot))
    ahead = swinging - standing
    crossed = np.flatnonzero((ahead[:-1] < 0.0) & (ahead[1:] >= 0.0))
    if not len(crossed):
        return StepFrames(FEET[own.foot], own.at, None, None, None)
    k = int(crossed[0])
    nearest = k + int(abs(ahead[k + 1]) <= abs(ahead[k]))
    high = pose.hips[1][rows]
    down = int(high[: nearest + 1].argmin())
    up = nearest + int(high[nearest:].argmax())
    return StepFrames(FEET[own.foot], *(int(frames[i]) for i in (0, down, nearest, up)))
