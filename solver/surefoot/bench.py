"""The bench: one clip with its findings, laid out so that many ways to mend can be tried at little cost.

A *draft* is a way to mend one finding: which channels change by how much in each frame of a window. The
modules that find ways hand drafts over; `surefoot.aftermath` judges all of them in one go.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from surefoot.checking import Report, _between, _over_length, _stance_samples
from surefoot.clip import Clip
from surefoot.curves import Curve, Shape
from surefoot.easing import PER_FRAME, Window
from surefoot.findings import Finding
from surefoot.ground import Ground
from surefoot.joints import joints_of
from surefoot.rig import FEET, Rig
from surefoot.rotations import matrix
from surefoot.scene import Scene
from surefoot.slip import least_steps
from surefoot.touch import Touch

__all__ = ["AXES", "Bench", "Draft"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

AXES = ("x", "y", "z", "pitch", "yaw", "roll", "bend")
TURNS = ("pitch", "yaw", "roll", "bend", "knee")
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

    def __init__(self, clip: Clip, rig: Rig, ground: Ground, report: Report, *, landing: float = 0.0) -> None:
        self.clip, self.rig, self.report = clip, rig, report
        self.skip = round(landing / clip.step) * PER_FRAME
        """Samples at the start of each stance in which a slip isn't counted."""
        self.scene = Scene.of(clip, rig, ground, belt=report.belt)
        self.fine = _between(self.scene)
        self.bounds = report.tolerances
        self.loop = self.scene.drift is not None
        self.legs = np.array([[leg.length] for leg in rig.legs])

    @cached_property
    def turning(self) -> dict[int, bool]:
        """Which of the bound channels turn something, by row."""
        return {row: key in TURNS for (_, key), row in self.scene.binding.rows.items()}

    @cached_property
    def touch(self) -> Touch:
        """Both soles at every sample."""
        return Touch.of(self.fine)

    @cached_property
    def down(self) -> Flags:
        """Which samples lie in a stance that isn't left alone, ``(2, samples)``."""
        return _stance_samples(self.report.stances, self.scene)

    @cached_property
    def overlap(self) -> Array:
        """By how much the feet cut through each other, ``(samples,)`` metres."""
        return self.touch.overlap()

    @cached_property
    def over(self) -> Array:
        """By how much each leg is too short, ``(2, samples)`` metres; negative: slack."""
        return _over_length(self.fine)

    @cached_property
    def steps(self) -> Array:
        """The steps of the feet's pivots to each sample from the one before it, ``(2, 2, samples)``: x and z, foot."""
        points, height = self.touch.points, self.touch.height
        last = points[..., -1:]
        if self.scene.drift is not None:
            last = self.scene.drift.apply(last, times=-1)
        return least_steps(np.concatenate([last, points], axis=-1), np.concatenate([height[..., -1:], height], axis=-1))

    @cached_property
    def joints(self) -> Array:
        """The seven angles of both legs at every frame, ``(7, 2, frames)`` radians."""
        return joints_of(self.scene)

    @cached_property
    def hinge(self) -> Array:
        """The ball hinges, ``(3, 2, samples)`` metres, ground space."""
        turn = matrix(*self.fine.angles)
        ball = np.array([leg.foot.ball for leg in self.rig.legs]).T
        return np.asarray(np.einsum("ijfs,jf->ifs", turn, ball) + self.fine.ankle)

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
        margin = 1 + max(1, round(seconds * float(self.clip.rate)))
        first, last = finding.first - self.clip.first, finding.last - self.clip.first
        return Window.around(first, last, margin=margin, frames=self.clip.frames, loop=self.loop)

    def samples_of(self, window: Window) -> Indices:
        """Return which of the bench's samples the window's are."""
        return self.wrapped(window.samples)

    def wrapped(self, samples: Indices) -> Indices:
        """Return samples that count on over the seam as those of the first round."""
        return samples % len(self.fine.frames) if self.loop else samples

    def spell(self, finding: Finding, window: Window) -> Flags:
        """Return which samples of a window lie in the finding's frames."""
        first, last = ((f - self.clip.first) * PER_FRAME for f in (finding.first, finding.last))
        at = window.samples
        inside = (at >= first) & (at <= last)
        if self.loop:
            size = len(self.fine.frames)
            inside |= ((at - first) % size) <= min(last - first, size - 1)
        return inside

    def free(self, control: str, key: str) -> int | None:
        """Return the bound channel of a control's axis if it may be written smoothly, else None."""
        row = self.scene.binding.rows.get((control, key))
        if row is None:
            return None
        name = self.scene.binding.names[row]
        if name in self.clip.locked or Shape.STEP in self.clip.channels[name].shapes.tobytes():
            return None
        return row

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
            By axis (x, y, z, pitch, yaw, roll, bend): metres in world space, radians as turns of order yxz.
        """
        if not self.scene.binding.plain:
            change = self._in_channels(foot, window, change)
        control = f"{FEET[foot]}_foot"
        rows, amounts = [], []
        for key, amount in change.items():
            most = float(np.abs(amount).max())
            if most <= NOTHING:
                continue
            row = self.free(control, key)
            if not np.isfinite(most) or (row is None and (control, key) in self.scene.binding.rows):
                return None  # locked or stepped
            if row is not None:  # no such channel: what that costs is seen when the draft is judged
                rows.append(row)
                amounts.append(amount)
        return Draft(finding, way, window, tuple(rows), np.array(amounts), foot) if rows else None

    def _in_channels(self, foot: int, window: Window, change: Mapping[str, Array]) -> dict[str, Array]:
        wanted = np.array([change.get(key, np.zeros(window.count)) for key in AXES])
        scene, at = self.scene, window.frames % self.clip.frames
        pose, values = scene.pose, scene.values[:, at]
        ankle, angles, bend = pose.ankle[:, :, at].copy(), pose.angles[:, :, at].copy(), pose.bend[:, at].copy()
        ankle[:, foot] += wanted[:3]
        angles[:, foot] += wanted[3:6]
        bend[foot] += wanted[6]
        new = scene.binding.write(ankle, angles, bend, values, scene.frames[at])[:, foot]
        padded = np.concatenate([values, np.zeros((1, len(at)))])
        found = new - padded[scene.binding.foot_rows[:, foot]]
        return dict(zip(AXES, np.where(np.abs(found) < 1e-12, 0.0, found), strict=True))

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
