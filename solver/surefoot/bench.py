"""The bench: one clip with its findings, laid out so that many ways to mend can be tried at little cost.

A *draft* is a way to mend one finding: which channels change by how much in each frame of a window. The
modules that find ways hand drafts over; `surefoot.aftermath` judges all of them in one go.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from surefoot.checking import Report
from surefoot.clip import Clip
from surefoot.curves import Curve, Shape
from surefoot.easing import Window
from surefoot.findings import Finding
from surefoot.foot_styles import FootWorld
from surefoot.ground import Flat, Ground
from surefoot.lean import lean_of
from surefoot.rig import LENGTHWISE, Rig
from surefoot.rotations import matrix
from surefoot.scene import Scene
from surefoot.seen import Seen
from surefoot.slip import least_steps
from surefoot.tolerances import REFERENCE_LEG
from surefoot.touch import PER_FRAME

__all__ = ["AXES", "Bench", "Draft"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

LEVEL = Flat(0.0)
AXES = ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee")
"""Of a foot's world pose: what a change may name."""
NOTHING = 1e-9
"""Metres and radians: a channel that would change by less isn't in a draft."""


@dataclass(frozen=True, slots=True, eq=False)
class Draft:
    """One way to mend a finding.

    Parameters
    ----------
    rows : tuple of int
        The bound channels that change, as `Binding` numbers them.
    amounts : ndarray, shape (rows, window.count)
        Metres and radians.
    foot : int
        The one whose sole moves: 0 left, 1 right, -1 none, -2 both.
    asks : str
        The channel that must be let first, or nothing.
    curves : mapping of str to Curve
        Where whole channels are put in place of the old ones: those; ``rows`` is empty then.
    between : ndarray, shape (rows, window samples), or None
        What those do at every sample, where it isn't the cubic through the amounts.
    leaves : float or None
        What it leaves of its finding, where its maker knows already.
    """

    finding: Finding
    way: str
    window: Window
    rows: tuple[int, ...]
    amounts: Array
    foot: int = -1
    asks: str = ""
    curves: Mapping[str, Curve] = field(default_factory=dict)
    between: Array | None = None
    leaves: float | None = None


class Bench:
    """A checked clip: its scene at frames and at samples, its soles, and what may be changed."""

    def __init__(self, clip: Clip, rig: Rig, given: Ground | None, report: Report, *, landing: float = 0.0) -> None:
        self.clip, self.rig, self.report = clip, rig, report
        self.skip = round(landing / clip.step) * PER_FRAME
        """Samples at the start of each stance in which a slip isn't counted."""
        seen = report.seen_of(clip, rig, given)
        if seen is None:
            seen = Seen.of(clip, given, Scene.of(clip, rig, given or LEVEL, belt=report.belt), report.stances)
        self.scene, self.fine, self.touch = seen.scene, seen.fine, seen.touch
        self.down, self.over, self.overlap, self.joints = seen.down, seen.over, seen.overlap, seen.joints
        self.bounds = report.tolerances
        self._spells: dict[tuple[int, int, int, int], Flags] = {}
        self._samples: dict[tuple[int, int], tuple[Indices, Indices]] = {}
        self._free: dict[tuple[str, str], int | None] = {}
        self.loop = self.scene.drift is not None
        self.rate = float(clip.rate)
        self.feet = rig.limbs
        self.size = rig.leg / REFERENCE_LEG
        self.legs = np.array([[leg.length] for leg in rig.legs])

    @cached_property
    def turning(self) -> dict[int, bool]:
        """Which of the bound channels turn something, by row."""
        return {row: key not in LENGTHWISE for (_, key), row in self.scene.binding.rows.items()}

    @cached_property
    def levers(self) -> tuple[float, float]:
        """How far a point of a sole is at most from its ankle, and one of its toes from the ball hinge, metres."""
        feet = [leg.foot for leg in self.rig.legs]
        toes = [float(np.linalg.norm(foot.toe_corners - foot.ball, axis=1).max()) for foot in feet]
        hind = [float(np.linalg.norm(foot.hind_corners, axis=1).max()) for foot in feet]
        bent = [float(np.linalg.norm(foot.ball)) + toe for foot, toe in zip(feet, toes, strict=True)]
        return max(hind + bent), max(toes)

    @cached_property
    def steps(self) -> Array:
        """The steps of the feet's pivots to each sample from the one before it, ``(2, 2, samples)``: x and z, foot."""
        points, height = self.touch.points, self.touch.height
        last = points[..., -1:]
        if self.scene.drift is not None:
            last = self.scene.drift.apply(last, times=-1)
        every = np.concatenate([last, points], axis=-1), np.concatenate([height[..., -1:], height], axis=-1)
        return least_steps(*every, lean_of(self.scene.ground))

    @cached_property
    def turn(self) -> Array:
        """How the hindfeet are turned, ``(3, 3, 2, samples)``, ground space."""
        return matrix(*self.fine.angles)

    @cached_property
    def hinge(self) -> Array:
        """The ball hinges, ``(3, 2, samples)`` metres, ground space."""
        ball = np.array([leg.foot.ball for leg in self.rig.legs]).T
        return np.asarray(np.einsum("ijfs,jf->ifs", self.turn, ball) + self.fine.ankle)

    @cached_property
    def heel(self) -> Array:
        """The heels on the soles' centre lines, ``(3, 2, samples)`` metres, ground space."""
        return self.touch.points[:, -3]

    @cached_property
    def lateral(self) -> Array:
        """The axes, square to each foot's heading and level, about which pitch turns, ``(3, 2, samples)``."""
        yaw = self.fine.angles[1]
        return np.array([np.cos(yaw), np.zeros_like(yaw), -np.sin(yaw)])

    def window(self, finding: Finding, *, seconds: float) -> Window:
        """Return the window of a finding with so much time to ease in and out, at least two frames each."""
        margin = 1 + max(1, round(seconds * self.rate))
        first, last = finding.first - self.clip.first, finding.last - self.clip.first
        return Window.around(first, last, margin=margin, frames=self.clip.frames, loop=self.loop)

    def samples(self, window: Window) -> Indices:
        """Return the window's samples, counted on over the seam."""
        return self._both(window)[0]

    def samples_of(self, window: Window) -> Indices:
        """Return which of the bench's samples the window's are."""
        return self._both(window)[1]

    def _both(self, window: Window) -> tuple[Indices, Indices]:
        asked = window.start, window.count
        if asked not in self._samples:
            samples = window.samples
            self._samples[asked] = samples, self.wrapped(samples)
        return self._samples[asked]

    def wrapped(self, samples: Indices) -> Indices:
        """Return samples that count on over the seam as those of the first round."""
        return samples % len(self.fine.frames) if self.loop else samples

    def spell(self, finding: Finding, window: Window) -> Flags:
        """Return which samples of a window lie in the finding's frames."""
        asked = finding.first, finding.last, window.start, window.count
        if asked not in self._spells:
            self._spells[asked] = self._spell(finding, window)
        return self._spells[asked]

    def _spell(self, finding: Finding, window: Window) -> Flags:
        first, last = ((f - self.clip.first) * PER_FRAME for f in (finding.first, finding.last))
        at = self.samples(window)
        inside = (at >= first) & (at <= last)
        if self.loop:
            size = len(self.fine.frames)
            inside |= ((at - first) % size) <= min(last - first, size - 1)
        return inside

    def free(self, control: str, key: str) -> int | None:
        """Return the bound channel of a control's axis if it may be written smoothly, else None."""
        if (control, key) not in self._free:
            row = self.scene.binding.rows.get((control, key))
            name = "" if row is None else self.scene.binding.names[row]
            if name and (name in self.clip.locked or Shape.STEP in self.clip.channels[name].shapes.tobytes()):
                row = None
            self._free[control, key] = row
        return self._free[control, key]

    def to_world(self, vector: Array, frames: Indices) -> Array:
        """Return ground-space vectors ``(3, n)`` at frames, counted from the clip's first, in world space."""
        turn = self.scene.belt.turn
        if turn == 0.0:
            return vector
        time = (frames % self.clip.frames).astype(np.float64) * self.clip.step
        angle = self.scene.belt.heading(time)
        s, c = np.sin(angle), np.cos(angle)
        return np.array([c * vector[0] + s * vector[2], vector[1], c * vector[2] - s * vector[0]])

    def foot_draft(
        self, finding: Finding, way: str, foot: int, window: Window, change: Mapping[str, Array]
    ) -> Draft | None:
        """Return the draft that changes one foot's world pose, or None where its channels can't do that.

        Parameters
        ----------
        change : mapping of str to ndarray, shape (window.count,)
            By axis, of `AXES`: metres in world space, radians as turns of order yxz.
        """
        if not self.scene.binding.plain:
            change = self._in_channels(foot, window, change)
        control = self.feet[foot]
        amounts = np.array([*change.values()])
        rows, kept = [], []
        for k, (key, most) in enumerate(zip(change, np.maximum.reduce(np.abs(amounts), axis=1).tolist(), strict=True)):
            if most <= NOTHING:
                continue
            row = self.free(control, key)
            if not isfinite(most) or (row is None and (control, key) in self.scene.binding.rows):
                return None  # locked or stepped
            if row is not None:  # no such channel: what that costs is seen when the draft is judged
                rows.append(row)
                kept.append(k)
        if len(kept) < len(amounts):
            amounts = amounts[kept]
        return Draft(finding, way, window, tuple(rows), amounts, foot) if rows else None

    def _in_channels(self, foot: int, window: Window, change: Mapping[str, Array]) -> dict[str, Array]:
        scene, at = self.scene, window.frames % self.clip.frames
        binding, values, frames = scene.binding, scene.values[:, at], scene.frames[at]
        pose = scene.pose.at(at)
        ankle, angles, bend, knee = (part.copy() for part in (pose.ankle, pose.angles, pose.bend, pose.knee))
        parts = dict(zip(AXES, (*ankle[:, foot], *angles[:, foot], bend[foot], knee[foot]), strict=True))
        for key, by in change.items():
            parts[key] += by
        if binding.style is None:
            new = binding.write(ankle, angles, bend, values, frames)
        else:
            new = binding.write_styled(FootWorld(ankle, angles, bend, knee), values, frames, pose)
        found = new[:, foot] - binding.feet(values)[:, foot]
        made = dict(zip(binding.foot_keys, np.where(np.abs(found) < 1e-12, 0.0, found), strict=True))
        if binding.style is None and "knee" in change:
            made["knee"] = change["knee"]
        return made

    def about(self, pivot: Array, foot: int, window: Window, turn: Array) -> dict[str, Array]:
        """Return the world change of a foot whose hindfoot turns about a pivot by ``turn`` (radians, pitch).

        ``pivot`` is ``(3, 2, samples)``; the toes keep their bend.
        """
        at = self.samples_of(window)[::PER_FRAME]
        arm = self.fine.ankle[:, foot, at] - pivot[:, foot, at]
        ex, _, ez = self.lateral[:, foot, at]
        along = arm[0] * -ez + arm[2] * ex  # the heading is (-ez, 0, ex): square to the axis, level
        s, less = np.sin(turn), 1.0 - np.cos(turn)
        up = -arm[1] * less - along * s
        ahead = arm[1] * s - along * less
        x, y, z = self.to_world(np.array([ahead * -ez, up, ahead * ex]), window.frames)
        return {"x": x, "y": y, "z": z, "pitch": turn}
