"""The styles in which feet are posed: from their channels to ankle and foot in the world, and back.

A style reads rows of channels ``(rows, 2, n)`` and writes them; where a control sits (`Setting`) is given to it.
The style ``ankle`` has no class here: `spaces` reads it straight off.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from surefoot.leg import eased_reach, knee_forward, knee_point
from surefoot.leg_chain import LegChain
from surefoot.leg_joints import signed_joint_angles
from surefoot.leg_pose import Bones, foot_led_angles, leg_pose, twist_of
from surefoot.poses import Space
from surefoot.rig import JOINTS, Control, Rig
from surefoot.rocker_chain import ABOUT, RockerChain, law_of_rocker, rocker_share, turned_to
from surefoot.rotations import angles_of, apply, compose, length, matrix, unwind
from surefoot.tabled import held_by

__all__ = [
    "FootStyle", "FootWorld", "JointLegs", "RockerFeet", "Setting", "along", "into_parent", "into_world", "style_of",
]  # fmt: skip

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
ROUNDS = 40
CLOSE = 1e-8
"""Radians of a Newton step after which nothing but rounding is left: the next would be its square."""


class FootWorld(NamedTuple):
    """Both feet in world space: ankle, pitch, yaw and cant ``(3, 2, n)``, toe bend and knee turn ``(2, n)``."""

    ankle: Array
    angles: Array
    bend: Array
    knee: Array


class Setting(NamedTuple):
    """What the feet hang on: each control's parent, and the hips."""

    parents: tuple[Space, Space]
    hips_turn: Array
    hip: Array


class FootStyle(Protocol):
    """One way to pose feet."""

    @property
    def keys(self) -> tuple[str, ...]:
        """The axes that its rows hold."""

    @property
    def places(self) -> int:
        """How many rows, from the first, are lengths."""

    def read(self, rows: Array, setting: Setting) -> FootWorld:
        """Return the feet's world pose."""

    def write(self, feet: FootWorld, near: Array, given: Flags, setting: Setting) -> Array:
        """Return the rows that give a world pose, as near as may be to the rows ``near``.

        ``given`` ``(rows, 2)`` tells which rows have a channel; the others come back as zero.
        """


def style_of(rig: Rig) -> FootStyle | None:
    """Return the style of a rig, None for ``ankle``."""
    posed_by = Rig.STYLES[rig.style].posed_by
    if not posed_by:
        return None
    made: FootStyle = _class_of(posed_by)(rig)
    return made


@cache
def _class_of(name: str) -> type:
    module, _, own = name.rpartition(".")
    return held_by("surefoot", [module], own, type)[module]


def along(m: Array, near: tuple[Array, Array, Array]) -> Array:
    """Return pitch, yaw and roll of matrices ``(3, 3, n)`` near given ones and without jumps along frames."""
    pitch, yaw, roll = angles_of(m, near=near)
    if yaw.shape[-1] > 1 and np.abs(np.diff(yaw)).max() > np.pi:
        yaw = np.unwrap(yaw, axis=-1)
    return np.array([pitch, yaw, roll])


@dataclass(frozen=True, slots=True, eq=False)
class _Foot:
    """One foot's chain, control and rows of channels."""

    chain: RockerChain
    control: Control
    hinged: bool


class RockerFeet:
    """Feet posed by a root with rockers; see `rocker_chain`."""

    keys = ("x", "y", "z", "pitch", "yaw", "roll", *ABOUT, "rocker", "bend", "knee")
    places = 3

    def __init__(self, rig: Rig) -> None:
        self.feet = tuple(
            _Foot(RockerChain.of(leg.foot, control.rockers), control, leg.foot.hinged)
            for leg, control in zip(rig.legs, rig.feet, strict=True)
        )

    def read(self, rows: Array, setting: Setting) -> FootWorld:
        """Return the feet's world pose."""
        count = rows.shape[-1]
        ankle, angles, bend = np.empty((3, 2, count)), np.empty((3, 2, count)), np.empty((2, count))
        for side, foot in enumerate(self.feet):
            row = dict(zip(self.keys, rows[:, side], strict=True))
            turns = _turns(row, foot.chain.onset)
            own, place = foot.chain.posed(turns)
            root = matrix(row["pitch"], row["yaw"], row["roll"], order=foot.control.order)
            place = rows[:3, side] + foot.control.rest[:, None] + apply(root, place)
            whole = compose(root, own)
            space = setting.parents[side]
            ankle[:, side], whole = into_world(space, place, whole)
            near = (
                row["pitch"] + turns["heel"] + turns["ball"] + turns["toe"],
                row["yaw"] + turns["yaw_heel"] + turns["yaw_ball"] + turns["yaw_toe"],
                row["roll"] + turns["cant"],
            )
            angles[:, side] = along(whole, near)
            bend[side] = row["bend"] + (turns["ball"] if foot.hinged else 0.0)
        return FootWorld(ankle, angles, bend, rows[-1])

    def write(self, feet: FootWorld, near: Array, given: Flags, setting: Setting) -> Array:
        """Return the rows that give a world pose: heading, roll and cant are found, other turns stay as in ``near``."""
        out = np.zeros_like(near)
        for side, foot in enumerate(self.feet):
            place, turn = into_parent(setting.parents[side], feet.ankle[:, side], matrix(*feet.angles[:, side]))
            known = {key for key, has in zip(self.keys, given[:, side].tolist(), strict=True) if has}
            row = dict(zip(self.keys, near[:, side].copy(), strict=True))
            row["knee"] = feet.knee[side]
            row = _found(row, known, foot, turn, feet.bend[side])
            turns = _turns(row, foot.chain.onset)
            root = matrix(row["pitch"], row["yaw"], row["roll"], order=foot.control.order)
            shift = place - apply(root, foot.chain.posed(turns)[1]) - foot.control.rest[:, None]
            row["x"], row["y"], row["z"] = shift
            for k, key in enumerate(self.keys):
                if key in known:
                    out[k, side] = row[key]
        return out


def _turns(row: dict[str, Array], onset: float) -> dict[str, Array]:
    """Return the amounts of a chain's turns from its channels: the foot-roll channel spread by its law."""
    turns = {name: row[name] for name in ABOUT}
    if np.count_nonzero(row["rocker"]):
        for name, part in zip(("heel", "ball", "toe"), law_of_rocker(row["rocker"], onset), strict=True):
            turns[name] = turns[name] + part
    return turns


def _found(row: dict[str, Array], known: set[str], foot: _Foot, wanted: Array, bend: Array) -> dict[str, Array]:
    """Return the channels of one foot whose orientation is ``wanted`` (3, 3, n) in the parent's space."""
    chain = foot.chain
    heading = next((key for key in ("yaw", "yaw_ball", "yaw_heel", "yaw_toe") if key in known), None)
    tipping = next((key for key in ("cant", "roll") if key in known), None)
    single = "rocker" in known
    onset = chain.onset
    if not single and foot.hinged and "bend" not in known and "ball" in known:
        row["ball"], onset = bend, 0.0  # no other channel bends the toes
    base = {name: row[name] for name in ("heel", "ball", "toe")}
    # without a foot-roll channel the amount is that of the rockers together, and what it changes goes by the law
    amount = row["rocker"] if single else base["heel"] + base["toe"] + (base["ball"] if onset else 0.0)
    if not single:
        for name, part in zip(base, law_of_rocker(amount, onset), strict=True):
            base[name] = base[name] - part
    rolls = single or "heel" in known or "toe" in known
    free = [name for name, has in (("amount", rolls), ("heading", heading), ("tipping", tipping)) if has]
    if not free:
        return row
    root = [("xyz".index(axis), {"x": "pitch", "y": "yaw", "z": "roll"}[axis]) for axis in foot.control.order]
    one = np.ones_like(amount)
    for _ in range(ROUNDS):
        for name, part in zip(base, law_of_rocker(amount, onset), strict=True):
            row[name] = base[name] + part
        share = rocker_share(amount, onset)
        steps = []
        for axis, key in [*root, *((ABOUT[name], name) for name in chain.order)]:
            shares = {"heading": one} if key == heading else {"tipping": one} if key == tipping else {}
            if key in share and rolls:
                shares = {"amount": share[key]}
            steps.append((axis, row[key], shares))
        change = turned_to(wanted, steps, free)
        size = max(float(np.abs(part).max(initial=0.0)) for part in change.values())
        amount = amount + change.get("amount", 0.0)
        if heading:
            row[heading] = row[heading] + change["heading"]
        if tipping:
            row[tipping] = row[tipping] + change["tipping"]
        if size < CLOSE:
            break
    split = law_of_rocker(amount, onset)
    for name, part in zip(base, split, strict=True):
        row[name] = base[name] + part
    total_ball = row["ball"]
    if single:
        row["rocker"] = amount
        for name, part in zip(base, split, strict=True):
            row[name] = row[name] - part
    row["bend"] = bend - total_ball if foot.hinged else bend
    return row


class JointLegs:
    """Legs posed by joint angles; see `leg_pose`."""

    keys = (*JOINTS, "bend", "foot_yaw", "hock_flexion")
    places = 0

    def __init__(self, rig: Rig) -> None:
        self.chain, self.soften = LegChain.of(rig), rig.soften
        self.bones = Bones.of(rig)
        self.hocked = self.bones.hock > 0.0
        self.free_hock = np.array([["hock_flexion" in control.axes] for control in rig.feet])

    def read(self, rows: Array, setting: Setting) -> FootWorld:
        """Return the feet's world pose; the parents of joint-driven legs are the hips."""
        turned, hip = setting.hips_turn, setting.hip
        folded = np.where(self.free_hock, rows[8], rows[3])
        pose = leg_pose(
            rows[:7], rows[7], self.chain, hips_turn=turned, hip=hip, bones=self.bones, hock_flexion=folded
        )  # fmt: skip
        heading = np.arctan2(turned[0, 2], turned[2, 2])
        angles = np.empty_like(hip)
        for side in range(2):
            hock = folded[side] if self.hocked[side, 0] else 0.0
            near = (rows[3, side] - rows[0, side] - rows[4, side] - hock, heading, np.zeros_like(heading))
            angles[:, side] = along(pose.foot_turn[:, :, side], near)
        return FootWorld(pose.ankle, angles, rows[6], twist_of(pose, turned, hip, angles))

    def write(self, feet: FootWorld, near: Array, given: Flags, setting: Setting) -> Array:
        """Return the rows that give a world pose; with a channel for the foot's yaw the knee's direction stays too."""
        turned, hip = setting.hips_turn, setting.hip
        if self.soften < 1.0:
            way = feet.ankle - hip
            reach = np.maximum(length(way), 1e-12)
            whole = self.chain.thigh + self.bones.hock + self.chain.shank
            feet = feet._replace(ankle=hip + way * (eased_reach(reach, whole, self.soften) / reach))
        out = np.zeros_like(near)
        if given[7].all():
            forward = knee_forward(turned, feet.angles, feet.knee, hip=hip, ankle=feet.ankle)
            upper = self.chain.thigh + self.bones.hock
            knee = knee_point(hip, feet.ankle, self.bones.facing * forward, upper, self.chain.shank)
            out[:7], out[7] = signed_joint_angles(
                turned, hip, knee, feet.ankle, feet.angles, feet.bend, sign=self.chain.sign, forward=forward,
                hocked=self.hocked if self.hocked.any() else None,
            )  # fmt: skip
        else:
            out[:7] = foot_led_angles(turned, hip, feet.ankle, feet.angles, feet.bend, self.chain, self.bones)
        out[8] = out[3]
        # whole turns are the authored ones
        out[:6] += unwind(out[:6, :, :1], near[:6, :, :1]) - out[:6, :, :1]
        return np.where(given[..., None], out, 0.0)


def into_world(space: Space, place: Array, turn: Array) -> tuple[Array, Array]:
    """Return a place and a turn of a parent's space in the world."""
    if space.size is not None:
        place = place * space.size
    if space.turn is not None:
        place, turn = apply(space.turn, place), compose(space.turn, turn)
    return (place if space.place is None else place + space.place), turn


def into_parent(space: Space, place: Array, turn: Array) -> tuple[Array, Array]:
    """Return a place and a turn of the world in a parent's space."""
    if space.place is not None:
        place = place - space.place
    if space.turn is not None:
        back = np.swapaxes(space.turn, 0, 1)
        place, turn = apply(back, place), compose(back, turn)
    return (place if space.size is None else place / space.size), turn
