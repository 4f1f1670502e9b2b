"""Where each control is: from channel numbers to world space, and back.

A control sits in its parent's space (the world, another control, or a space
that the clip gives as matrices). `Binding` joins one rig to one clip and does
both ways; nothing else knows about parents, signs, units and rotation orders.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack
from surefoot.errors import Misfit, UnknownName
from surefoot.foot_styles import FootWorld, Setting, style_of
from surefoot.poses import Pose, Space, check_turns
from surefoot.rig import LENGTHWISE, Control, Rig
from surefoot.rotations import angles_of, apply, compose, length, matrix, unwind

__all__ = ["Binding", "Pose", "Space", "check_scale", "unwind_along"]

Array = NDArray[np.float64]
TURNS = ("pitch", "yaw", "roll")
FOOT_KEYS = ("x", "y", "z", *TURNS, "bend")


WORLD = Space(None, None)


class Binding:
    """One rig joined to one clip: reads poses from channels and writes feet back.

    Raises UnknownName when the clip lacks a channel of the rig, UnitError when
    the clip's stated unit isn't the one that the rig reads.
    """

    def __init__(self, rig: Rig, clip: Clip) -> None:
        self.rig, self.clip, self.step = rig, clip, clip.step
        self.rows: dict[tuple[str, str], int] = {}
        curves: list[Curve] = []
        scale: list[float] = []
        zero: list[float] = []
        names: list[str] = []
        for control in rig.controls.values():
            for key, axis in control.axes.items():
                if axis.channel not in clip.channels:
                    if axis.optional:
                        continue
                    raise UnknownName("channel", axis.channel, clip.channels, place=f"control {control.name}, {key}")
                self.rows[control.name, key] = len(curves)
                curves.append(clip.channels[axis.channel])
                names.append(axis.channel)
                scale.append(axis.scale)
                zero.append(axis.zero)
        for control in rig.controls.values():
            if control.parent not in ("world", *rig.controls, *clip.spaces):
                known = ["world", *rig.controls, *clip.spaces]
                raise UnknownName("parent", control.parent, known, place=f"control {control.name}")
        self.names = tuple(names)
        self.scale, self.zero = np.array(scale)[:, None], np.array(zero)[:, None]
        self.shifted = bool(self.zero.any())
        self.advances = np.array([curve.after == Outside.ADVANCE for curve in curves])
        turning = np.array([key not in LENGTHWISE for _, key in self.rows])
        check_turns(self.names, curves, np.abs(scale) * turning)
        self.pack = Pack.from_curves(curves)
        self.hip_offsets = np.array([leg.hip for leg in rig.legs]).T[:, :, None]  # (3, 2, 1)
        # the feet's channels can be read straight off when they sit unturned in the world
        feet = rig.feet
        self.style = style_of(rig)
        self.plain = self.style is None and all(foot.parent == "world" and foot.order == "yxz" for foot in feet)
        self.rests = np.array([foot.rest for foot in feet]).T[:, :, None]
        # -1 stands for an absent channel
        self.foot_keys = FOOT_KEYS if self.style is None else self.style.keys
        self.foot_rows = np.array([[self.rows.get((foot.name, key), -1) for foot in feet] for key in self.foot_keys])
        self.knee_rows = np.array([self.rows.get((foot.name, "knee"), -1) for foot in feet])

    def values(self, frames: Array) -> Array:
        """Return every bound channel at ``frames``, ``(channels, frames)``, metres and radians."""
        raw = self.pack.evaluate(frames)
        return np.asarray((raw - self.zero) * self.scale if self.shifted else raw * self.scale)

    def end_values(self, values: Array) -> Array:
        """Return the channels at the loop's end, ``(channels, 1)``: the first frame's plus what advances."""
        end = values[:, :1].copy()
        if np.count_nonzero(self.advances):
            at = np.array([float(self.clip.last + 1)])
            end[self.advances] = self.values(at)[self.advances]
        return end

    def pose(self, values: Array, frames: Array) -> Pose:
        """Return the pose that the channel ``values`` (from `values`) give at ``frames``."""
        count = values.shape[1]
        made: dict[str, Space] = {}
        hips = self._space("hips", values, frames, made)
        turn = np.broadcast_to(np.eye(3)[:, :, None], (3, 3, count)) if hips.turn is None else hips.turn
        place = np.zeros((3, count)) if hips.place is None else hips.place
        hip = apply(turn[:, :, None, :], self.hip_offsets) + place[:, None, :]
        local = self.feet(values)
        if self.style is not None:
            setting = Setting(self._parents(values, frames, made), turn, hip)
            return Pose(place, turn, hip, *self.style.read(local, setting))
        ankle, angles = local[:3] + self.rests, local[3:6]
        if not self.plain:
            ankle, angles = self._feet_in_world(ankle, angles, values, frames, made)
        return Pose(place, turn, hip, ankle, angles, local[6], _picked(values, self.knee_rows))

    def feet(self, values: Array) -> Array:
        """Return the feet's own channels out of all ``(channels, n)``, ``(7, 2, n)``; 0 where there is none.

        The rows are x, y, z, pitch, yaw, roll and bend; in other styles those of ``foot_keys``.
        """
        return _picked(values, self.foot_rows)

    def put_feet(self, values: Array, feet: Array) -> None:
        """Put the feet's own channels ``(7, 2, n)``, as `feet` has them, into all ``(channels, n)``, in place."""
        for row, side in np.argwhere(self.foot_rows >= 0).tolist():
            values[self.foot_rows[row, side]] = feet[row, side]

    def write(self, ankle: Array, angles: Array, bend: Array, values: Array, frames: Array) -> Array:
        """Return the feet's channels for a world pose of both feet.

        Parameters
        ----------
        ankle, angles : ndarray, shape (3, 2, frames)
            World space; pitch, yaw and cant in radians.
        bend : ndarray, shape (2, frames)
        values : ndarray, shape (channels, frames)
            The authored channels: parents are taken from them, and angles come
            out on the branch nearest to them.

        Returns
        -------
        ndarray, shape (7, 2, frames)
            x, y, z, pitch, yaw, cant, bend in the controls' own spaces, metres and radians.
        """
        if self.plain:
            return np.concatenate([ankle - self.rests, angles, bend[None]])
        if self.style is not None:
            pose = self.pose(values, frames)
            return self.write_styled(FootWorld(ankle, angles, bend, pose.knee), values, frames, pose)
        made: dict[str, Space] = {}
        authored = self.feet(values)
        out = np.empty((7, 2, values.shape[1]))
        out[6] = bend
        for side, foot in enumerate(self.rig.feet):
            parent = self._space(foot.parent, values, frames, made)
            point, turn = ankle[:, side], matrix(*angles[:, side])
            if parent.place is not None:
                point = point - parent.place
            if parent.turn is not None:
                back = np.swapaxes(parent.turn, 0, 1)
                point, turn = apply(back, point), compose(back, turn)
            if parent.size is not None:
                point = point / parent.size
            near = authored[3:6, side]
            out[:3, side] = point - foot.rest[:, None]
            out[3:6, side] = angles_of(turn, order=foot.order, near=(near[0], near[1], near[2]))
        return out

    def write_styled(self, feet: FootWorld, values: Array, frames: Array, pose: Pose) -> Array:
        """Return the feet's channels ``(rows of the style, 2, frames)`` for a world pose.

        ``pose`` is the one of ``values``: the hips are taken from it.
        """
        assert self.style is not None
        setting = Setting(self._parents(values, frames, {}), pose.hips_turn, pose.hip)
        return self.style.write(feet, self.feet(values), self.foot_rows >= 0, setting)

    def space(self, name: str, frames: Array) -> Space:
        """Return world from the control or sampled space ``name`` at ``frames``."""
        return self._space(name, self.values(frames), frames, {})

    def _parents(self, values: Array, frames: Array, made: dict[str, Space]) -> tuple[Space, Space]:
        left, right = (self._space(foot.parent, values, frames, made) for foot in self.rig.feet)
        return left, right

    def _space(self, name: str, values: Array, frames: Array, made: dict[str, Space]) -> Space:
        """Return world from the control or sampled space ``name``, each worked out once."""
        if name == "world":
            return WORLD
        if name not in made:
            control = self.rig.controls.get(name)
            made[name] = self._sampled(name, frames) if control is None else self._posed(control, values, frames, made)
        return made[name]

    def _posed(self, control: Control, values: Array, frames: Array, made: dict[str, Space]) -> Space:
        parent = self._space(control.parent, values, frames, made)
        zero = np.zeros(values.shape[1])
        part = {key: values[self.rows[control.name, key]] for key in control.axes if (control.name, key) in self.rows}
        shift = np.array([part.get(key, zero) for key in "xyz"]) + control.rest[:, None]
        turned = any(key in part for key in TURNS)
        turn = matrix(*(part.get(key, zero) for key in TURNS), order=control.order) if turned else None
        return _child(parent, shift, turn)

    def _sampled(self, name: str, frames: Array) -> Space:
        """Return a space given as matrices; between frames its axes are blended and squared up again.

        After a loop's last frame it goes on to its first, after another clip's it stays.
        """
        samples = self.clip.spaces[name]
        at = np.asarray(frames) - self.clip.first
        if self.clip.loop:
            at = np.mod(at, self.clip.frames)
        low = np.clip(np.floor(at).astype(int), 0, self.clip.frames - 1)
        high = (low + 1) % self.clip.frames if self.clip.loop else np.minimum(low + 1, self.clip.frames - 1)
        part = np.clip(at - low, 0.0, 1.0)[:, None, None]
        blend = samples[low] * (1.0 - part) + samples[high] * part
        axes = blend[:, :3, :3]
        size = np.cbrt(np.linalg.det(axes))
        if np.any(part > 0.0):
            u, _, vh = np.linalg.svd(axes)
            axes = u @ vh
        else:
            axes = axes / size[:, None, None]
        scale = None if np.abs(size - 1.0).max() < 1e-9 else size
        return Space(np.moveaxis(axes, 0, -1), blend[:, :3, 3].T, scale)

    def _feet_in_world(
        self, ankle: Array, angles: Array, values: Array, frames: Array, made: dict[str, Space]
    ) -> tuple[Array, Array]:
        places, turned = np.empty_like(ankle), np.empty_like(angles)
        for side, foot in enumerate(self.rig.feet):
            parent = self._space(foot.parent, values, frames, made)
            own = angles[:, side]
            space = _child(parent, ankle[:, side], matrix(*own, order=foot.order))
            places[:, side] = space.place
            assert space.turn is not None
            # a continuous triple: the first frame near its own numbers, the rest unwound along time
            near = (own[0], own[1], own[2])
            pitch, yaw, cant = angles_of(space.turn, near=near)
            turned[:, side] = pitch, unwind_along(yaw), cant
        return places, turned


def _picked(values: Array, rows: NDArray[np.intp]) -> Array:
    """Return the rows of ``values``, 0 for a row -1."""
    picked = values.take(rows, axis=0)
    absent = rows < 0
    if np.count_nonzero(absent):
        picked[absent] = 0.0
    return picked


def unwind_along(angle: Array) -> Array:
    """Return ``angle`` (..., frames) without jumps of a turn from frame to frame."""
    step = np.diff(angle, axis=-1)
    turns = np.cumsum(unwind(step, np.zeros_like(step)) - step, axis=-1)
    out = angle.copy()
    out[..., 1:] += turns
    return np.asarray(out)


def _child(parent: Space, shift: Array, turn: Array | None) -> Space:
    """Return world from a child that sits at ``shift`` and ``turn`` in ``parent``."""
    place, size = shift, parent.size
    if size is not None:
        place = place * size
    if parent.turn is not None:
        place = apply(parent.turn, place)
        turn = parent.turn if turn is None else compose(parent.turn, turn)
    if parent.place is not None:
        place = place + parent.place
    return Space(turn, place, size)


def check_scale(binding: Binding, pose: Pose) -> None:
    """Ask, by raising Misfit, when the clip looks like another unit or up axis than the rig's.

    A wrong unit or a Z-up clip would give a result that is nonsense in every
    frame, so it is better to stop than to guess.
    """
    leg = binding.rig.leg
    to_ankle = pose.ankle - pose.hip
    span = float(length(to_ankle).mean())
    if not 0.15 * leg < span < 2.0 * leg:
        raise Misfit(
            f"hip and ankle are {span:.3g} m apart on average, but the leg is {leg:.3g} m long",
            "are the clip's unit and the rig's the same, and the hips where they should be?",
            place="clip",
        )
    drop = to_ankle.reshape(3, -1).mean(axis=1)
    if not binding.rig.planar and abs(drop[1]) < 0.3 * leg and drop[2] < -0.6 * leg:
        raise Misfit("the feet lie behind the hips, not below", "is the clip Z-up? Surefoot reads +Y up", place="clip")
    if drop[1] > 0.3 * leg:
        raise Misfit("the feet are above the hips", "is the up axis turned over?", place="clip")
    if not binding.rig.planar:
        sideways = float((pose.hips_turn[:, 0] * (pose.ankle[:, 0] - pose.ankle[:, 1])).sum(axis=0).mean())
        if sideways < -0.05 * leg:
            raise Misfit("the left foot is on the right of the right foot", "are left and right swapped?", place="clip")
