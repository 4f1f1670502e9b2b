"""Oppose: what of the upper body should counter the hips and legs and doesn't, and whether what drags comes late.

Parts are found by the rig's controls, else by name: ``hips``, ``spine``, ``chest``, ``neck``, ``head``, and on each
side ``arm``, ``elbow``, ``wrist``. A part turns relative to the one below it; small turns are added up. A channel
called ``swing`` is positive forward; a ``pitch`` is positive forward at the top, so that a hanging arm goes back.
All of it is common practice (no source); for loops only.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Pack
from surefoot.findings import Finding, level_of
from surefoot.given import checked
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.units import ANGLES

__all__ = ["Drag", "drags", "oppose_findings"]

Array = NDArray[np.float64]

BODY = ("hips", "spine", "chest", "neck", "head")
ARM = ("arm", "elbow", "wrist")
ARM_WORDS = ("swing", "bend", "pitch")
PER_FRAME = 10
STILL = float(np.radians(0.05))
"""Radians: what turns by less is taken to stand still."""
EARLY = 0.25
"""Frames: a part that leads by less than this isn't said to lead."""


class Drag(NamedTuple):
    """By how many frames a part's peaks come after those of the part above it in the chain (negative: before)."""

    channel: str
    after: str
    lag: float


class _Turn(NamedTuple):
    """One channel's turn over a loop at fine samples, radians, its mean taken off."""

    channel: str
    angle: Array


class _Body:
    """The turns of a clip's parts at fine samples of its loop."""

    def __init__(self, clip: Clip, rig: Rig) -> None:
        self.clip, self.rig, self.axes = clip, rig, rig.channels()
        self.frames = clip.first + np.arange(clip.frames * PER_FRAME) / PER_FRAME
        self.known: dict[tuple[str, str], _Turn | None] = {}

    def turn(self, part: str, word: str) -> _Turn | None:
        """Return a part's turn, such as ``chest`` and ``yaw``; None where there's no such channel."""
        if (part, word) not in self.known:
            self.known[part, word] = self._read(part, word)
        return self.known[part, word]

    def _read(self, part: str, word: str) -> _Turn | None:
        control = self.rig.controls.get(part)
        axis = None if control is None else control.axes.get(word)
        if axis is not None:
            name, size = axis.channel, axis.scale
        else:
            name, size = f"{part}.{word}", ANGLES["deg"]
            if name in self.axes:
                size = self.axes[name].scale
        if name not in self.clip.channels:
            return None
        angle = size * Pack.from_curves([self.clip.channels[name]]).evaluate(self.frames)[0]
        return _Turn(name, angle - angle.mean())

    def upto(self, part: str, word: str) -> Array | None:
        """Return how far a part turns in the world: the sum from the hips up to it; None where it has no channel."""
        if self.turn(part, word) is None:
            return None
        turns = [self.turn(one, word) for one in BODY[: BODY.index(part) + 1]]
        return np.asarray(np.sum([one.angle for one in turns if one is not None], axis=0))

    def arm(self, side: str, part: str) -> _Turn | None:
        """Return how far an arm's part swings forward."""
        for word in ARM_WORDS:
            found = self.turn(f"{side}_{part}", word)
            if found is not None:
                return found if word != "pitch" else _Turn(found.channel, -found.angle)
        return None


def oppose_findings(scene: Scene, limits: tuple[float, float, float]) -> list[Finding]:
    """Return the findings of one loop: chest with the hips in yaw, arm with its own side's leg, a head that isn't
    level, and parts that lead where they should drag.

    The amount is the part of the swing that goes the wrong way, radians (half of its range).
    """
    clip = scene.binding.clip
    if not clip.loop or scene.drift is None:
        return []
    body = _Body(clip, scene.binding.rig)
    found: list[Finding] = []
    for part, amount, frame in (*_chest(body), *_arms(body, scene), *_head(body), *_early(body)):
        told = level_of(amount, limits)
        if told is not None:
            found.append(Finding("oppose", "", clip.first, clip.last, frame, amount, told[1], told[0], part))
    return found


def _swing(angle: Array) -> float:
    """Return half of the range of a turn, radians."""
    return float(np.ptp(angle)) / 2.0


def _together(angle: Array, other: Array) -> float:
    """Return how much of one turn goes along with another, in radians at that one's extremes; negative: against."""
    size = float(other @ other)
    return float(angle @ other) / size * _swing(other) if size > 0.0 else 0.0


def _peak(body: _Body, angle: Array) -> float:
    return float(body.frames[int(np.abs(angle).argmax())])


def _chest(body: _Body) -> Iterator[tuple[str, float, float]]:
    hips, chest = body.turn("hips", "yaw"), body.upto("chest", "yaw")
    own = body.turn("chest", "yaw")
    if hips is not None and chest is not None and own is not None and _swing(hips.angle) > STILL:
        yield own.channel, _together(chest, hips.angle), _peak(body, hips.angle)


def _arms(body: _Body, scene: Scene) -> Iterator[tuple[str, float, float]]:
    x, _, z = scene.drift.shift if scene.drift is not None else (0.0, 0.0, 1.0)
    size = float(np.hypot(x, z))
    along = (x / size, z / size) if size > 1e-9 else (0.0, 1.0)
    frames = np.append(scene.frames, scene.frames[0] + scene.count)
    for foot, side in enumerate(FEET):
        arm = body.arm(side, "arm")
        if arm is None:
            continue
        reach = scene.pose.ankle[:, foot] - scene.pose.hip.mean(axis=1)
        ahead = along[0] * reach[0] + along[1] * reach[2]
        leg = np.interp(body.frames, frames, np.append(ahead, ahead[0]))
        leg = np.arctan((leg - leg.mean()) / scene.binding.rig.leg)
        if _swing(leg) > STILL:
            yield arm.channel, _together(arm.angle, leg), _peak(body, leg)


def _head(body: _Body) -> Iterator[tuple[str, float, float]]:
    for word in ("pitch", "roll"):
        own, angle = body.turn("head", word), body.upto("head", word)
        if own is not None and angle is not None:
            yield f"{own.channel} not level", _swing(angle), _peak(body, angle)


def _early(body: _Body) -> Iterator[tuple[str, float, float]]:
    for drag, turn, period in _pairs(body):
        if drag.lag < -EARLY:
            wrong = _swing(turn.angle) * float(np.sin(min(2.0 * np.pi * -drag.lag / period, np.pi / 2.0)))
            yield f"{drag.channel} leads {drag.after}", wrong, _peak(body, turn.angle)


@checked()
def drags(clip: Clip, rig: Rig) -> tuple[Drag, ...]:
    """Return the lag in frames of each part behind the one above it in its chain.

    The chains are hips, spine, chest in pitch, yaw and roll, whether a part follows or counters, and on each side arm,
    elbow, wrist. A head is left out, as it is to stay level; so are parts that stand still, and clips that don't loop.

    Raises
    ------
    InputError
        If the clip doesn't fit the rig.
    """
    if not clip.loop:
        return ()
    return tuple(drag for drag, _, _ in _pairs(_Body(clip, rig)))


def _pairs(body: _Body) -> Iterator[tuple[Drag, _Turn, float]]:
    chains = [[body.turn(part, word) for part in BODY[:-1]] for word in ("pitch", "yaw", "roll")]
    chains += [[body.arm(side, part) for part in ARM] for side in FEET]
    for chain in chains:
        moving = [turn for turn in chain if turn is not None and _swing(turn.angle) > STILL]
        for above, turn in pairwise(moving):
            lag, period = _lag(turn.angle, above.angle)
            yield Drag(turn.channel, above.channel, lag), turn, period


def _lag(angle: Array, above: Array) -> tuple[float, float]:
    """Return by how many frames one turn comes after another, at most a quarter of its period, and that period.

    The lag is where the two turns, one of them moved round the loop, agree (or counter each other) most.
    """
    count = len(angle)
    own, other = np.fft.rfft(angle), np.fft.rfft(above)
    beat = int(np.abs(own[1:] * other[1:]).argmax()) + 1
    match = np.fft.irfft(own * other.conj(), n=count)
    reach = max(1, count // (4 * beat))
    at = np.arange(-reach, reach + 1)
    size = np.abs(match[at % count])
    k = int(size.argmax())
    lag = float(at[k])
    if 0 < k < len(at) - 1:
        low, top, high = size[k - 1 : k + 2]
        bend = low - 2.0 * top + high
        lag += float(0.5 * (low - high) / bend) if bend != 0.0 else 0.0
    return lag / PER_FRAME, count / PER_FRAME / beat
