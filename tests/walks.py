"""Random walks for property tests, authored from a true belt, footprints and roll; no solver code.

A walk is plain arrays, one row a frame, metres and radians; `Walk.clip` keys every frame of it for a rig.
Feet run left, right; angles are pitch, yaw and roll of order yxz (roll is the foot's cant).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot import Axis, Belt, Clip, Control, Curve, Foot, Leg, Outside, Rig, Stance

Array = NDArray[np.float64]
FEET = ("left", "right")
KEYS = ("x", "y", "z", "pitch", "yaw", "roll")
SOLE, HEEL, BALL, TOE = -0.085, -0.06, 0.13, 0.21
ONSET = float(np.radians(40.0))


def make_rig(*, hinge: float = 0.015, controls: Mapping[str, Control] | None = None) -> Rig:
    """Return a rig of two straight feet whose ball hinge sits ``hinge`` metres above the sole."""
    outline = [(side * half, z) for z, half in ((HEEL, 0.033), (BALL, 0.049), (TOE, 0.032)) for side in (-1, 1)]
    foot = Foot(
        np.array([0.0, SOLE, HEEL]), np.array([0.0, SOLE + hinge, BALL]), np.array([0.0, SOLE, TOE]),
        np.array(outline), onset=ONSET,
    )  # fmt: skip
    left = Leg(np.array([0.09, 0.0, 0.0]), 0.44, 0.43, foot)
    return Rig("walker", (left, left.mirrored()), plain_controls() if controls is None else controls)


def plain_controls() -> dict[str, Control]:
    """Return hips and feet in the world, in metres and radians."""
    found = {"hips": Control("hips", {key: Axis(f"hips.{key}") for key in KEYS})}
    for side in FEET:
        axes = {key: Axis(f"{side}_foot.{key}") for key in (*KEYS, "bend")}
        found[f"{side}_foot"] = Control(f"{side}_foot", axes)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """A motion as arrays: hips ``(n, 6)``, feet ``(2, n, 7)`` as x, y, z, pitch, yaw, roll, bend, world space.

    A loop has a last row that is the first again (moved on by ``travel`` where it travels), so ``n`` is one
    more than its frames.
    """

    hips: Array
    feet: Array
    rate: int
    belt: Array
    stances: tuple[Stance, ...]
    loop: bool = True

    @property
    def frames(self) -> int:
        return len(self.hips) - self.loop

    def clip(self, *, stated: bool = True, belt: bool = True, **more: Any) -> Clip:
        """Return the walk as a clip for `plain_controls`, a key on every frame."""
        named = {f"hips.{key}": self.hips[:, k] for k, key in enumerate(KEYS)}
        for foot, side in enumerate(FEET):
            named |= {f"{side}_foot.{key}": self.feet[foot, :, k] for k, key in enumerate((*KEYS, "bend"))}
        return clip_of(named, self, stated=stated, belt=belt, **more)

    def changed(self, move: Callable[[Array], Array], turn: Rotation, belt: Array | None = None) -> Walk:
        """Return the walk with places moved and every part turned, world space."""
        hips, feet = self.hips.copy(), self.feet.copy()
        for part in (hips, feet[0], feet[1]):
            part[:, :3] = move(part[:, :3])
            part[:, 3:6] = turned(part[:, 3:6], turn)
        return replace(self, hips=hips, feet=feet, belt=self.belt if belt is None else belt)

    def travelling(self) -> Walk:
        """Return the same walk over still ground."""
        shift = -np.outer(np.arange(len(self.hips)) / self.rate, self.belt)
        hips, feet = self.hips.copy(), self.feet.copy()
        hips[:, :3] += shift
        feet[:, :, :3] += shift
        return replace(self, hips=hips, feet=feet, belt=np.zeros(3))

    def mirrored(self) -> Walk:
        """Return the walk in a mirror: left is right, sideways is the other way."""
        flip = np.array([-1.0, 1.0, 1.0, 1.0, -1.0, -1.0])
        feet = self.feet[::-1] * np.append(flip, 1.0)
        stances = tuple(replace(s, foot=FEET[1 - FEET.index(s.foot)]) for s in self.stances)
        belt = self.belt * [-1.0, 1.0, 1.0]
        return replace(self, hips=self.hips * flip, feet=feet, stances=stances, belt=belt)


def turned(angles: Array, turn: Rotation) -> Array:
    """Return pitch, yaw, roll ``(n, 3)`` of parts that are turned in the world, without jumps."""
    yxz = (turn * Rotation.from_euler("YXZ", angles[:, [1, 0, 2]])).as_euler("YXZ")
    return np.unwrap(yxz[:, [1, 0, 2]], axis=0)


def clip_of(named: Mapping[str, Array], walk: Walk, *, stated: bool = True, belt: bool = True, **more: Any) -> Clip:
    """Return channels, a number a frame, as a clip with a walk's rate, stances and belt."""
    channels = {}
    for name, values in named.items():
        frames = np.arange(1.0, len(values) + 1.0)
        advance = walk.loop and abs(values[-1] - values[0]) > 1e-9
        rule = Outside.ADVANCE if advance else Outside.REPEAT if walk.loop else Outside.HOLD
        channels[name] = Curve.through(frames, values, before=rule, after=rule)
    return Clip(
        channels=channels, rate=Fraction(walk.rate), first=1, last=walk.frames, loop=walk.loop,
        belt=Belt(walk.belt) if belt else None, stances=walk.stances if stated else None, **more,
    )  # fmt: skip


def eased(u: Array) -> Array:
    return u * u * (3.0 - 2.0 * u)


def random_walk(
    seed: int,
    *,
    loop: bool = True,
    canted: bool = True,
    exact: bool = False,
    hinge: float = 0.015,
    roll_share: float = 1.0,
) -> Walk:
    """Return a walk in place whose hips and feet are reachable.

    Parameters
    ----------
    canted : bool
        Whether feet cant and change their heading while they stand.
    exact : bool
        Whether stances are planted already, by closed form (needs uncanted feet); else each foot rolls about
        its ankle, as an animator's simple foot control does.
    hinge : float
        Metres from the sole up to the ball hinge; matters to an exact walk only.
    roll_share : float
        Of the roll, 12 to 25 degrees at landing and 30 to 55 at lift-off.
    """
    rng = np.random.default_rng(seed)
    count, rate = int(rng.integers(24, 49)), int(rng.choice([24, 30, 60]))
    step = rng.uniform(0.45, 0.62)  # metres a step; the stride is two
    speed = 2.0 * step * rate / count
    down = round(count * rng.uniform(0.58, 0.64))
    at = np.arange(count + 1.0)
    phase = 2.0 * np.pi * at / count
    hips = np.zeros((count + 1, 6))
    hips[:, 0] = rng.uniform(0.0, 0.03) * np.sin(phase)
    hips[:, 1] = rng.uniform(0.83, 0.86) + rng.uniform(0.005, 0.015) * np.sin(2.0 * phase + rng.uniform(0, 6))
    hips[:, 2] = rng.uniform(0.0, 0.01) * np.sin(2.0 * phase)
    for k, most in ((3, 4.0), (4, 6.0), (5, 4.0)):
        hips[:, k] = np.radians(rng.uniform(-most, most)) * np.sin(phase + rng.uniform(0, 6))
    first = int(rng.integers(0, count))
    width, heading = rng.uniform(0.06, 0.12), np.radians(rng.uniform(0.0, 10.0))
    feet, stances = np.zeros((2, count + 1, 7)), []
    for foot, sign in enumerate((1.0, -1.0)):
        roll = roll_share * np.radians([-rng.uniform(12, 25), rng.uniform(30, 55)])
        start = (first + foot * (count // 2)) % count
        ago = (at - start) % count  # frames since landing
        stance = ago < down
        u = np.clip(ago / (down - 1.0), 0.0, 1.0)
        pitch = roll[0] * (1 - eased(np.clip(u / 0.2, 0, 1))) + roll[1] * eased(np.clip((u - 0.55) / 0.45, 0, 1))
        s = np.clip((ago - down + 1.0) / (count - down + 1.0), 0.0, 1.0)
        pitch = np.where(stance, pitch, roll[1] + (roll[0] - roll[1]) * eased(s))
        yaw = np.full_like(at, sign * heading)
        cant = np.zeros_like(at)
        if canted:
            yaw += np.radians(rng.uniform(-4, 4)) * np.sin(2 * np.pi * ago / count)
            cant += np.radians(rng.uniform(-3, 3)) * np.sin(2 * np.pi * ago / count + rng.uniform(0, 6))
        bend = np.clip(pitch, 0.0, ONSET) if exact else np.zeros_like(at)
        bend = np.where(stance, bend, np.clip(bend, 0.0, ONSET))
        place = np.array([sign * width, 0.0, 0.3 * speed / rate * down + 0.12])
        off = planted_ankle(pitch, yaw, hinge) if exact else np.tile([0.0, -SOLE, 0.0], (count + 1, 1))
        ankle = place + off - np.outer(ago, [0.0, 0.0, speed / rate])
        ends = [ankle[stance][np.argsort(ago[stance])][i] for i in (-1, 0)]
        arc = ends[0] + (ends[1] - ends[0]) * eased(s)[:, None]
        arc[:, 1] += 0.06 * np.sin(np.pi * s) ** 2
        ankle = np.where(stance[:, None], ankle, arc)
        feet[foot] = np.column_stack([ankle, pitch, yaw, cant, bend])
        feet[foot, -1] = feet[foot, 0]
        stances.append(Stance(FEET[foot], start + 1, start + down))
    belt = np.array([0.0, 0.0, -speed])
    made = Walk(hips, feet, rate, belt, tuple(stances))
    return made if loop else unrolled(made, 3)


def planted_ankle(pitch: Array, yaw: Array, hinge: float) -> Array:
    """Return an uncanted planted foot's ankle over its footprint's origin, ``(n, 3)``, by turning about its pivots."""
    out = np.empty((len(pitch), 3))
    for i, (p, y) in enumerate(zip(pitch, yaw, strict=True)):
        head = Rotation.from_euler("y", y)
        foot = head * Rotation.from_euler("x", p)
        if p < 0.0:
            pivot = anchor = np.array([0.0, SOLE, HEEL])
        elif p <= ONSET:
            pivot = anchor = np.array([0.0, SOLE + hinge, BALL])
        else:  # the toe tip, its segment bent up by the onset about the hinge
            anchor, ball = np.array([0.0, SOLE, TOE]), np.array([0.0, SOLE + hinge, BALL])
            pivot = ball + Rotation.from_euler("x", -ONSET).apply(anchor - ball)
        out[i] = head.apply(anchor - [0.0, SOLE, 0.0]) - foot.apply(pivot)
    return out


def unrolled(walk: Walk, times: int) -> Walk:
    """Return a loop in place played so many times, as a walk that is no loop."""
    count = walk.frames
    rows = np.arange(times * count) % count
    stances = []
    for s in walk.stances:
        for k in range(-1, times):
            first, last = max(s.first + k * count, 1), min(s.last + k * count, times * count)
            if last > first:
                stances.append(Stance(s.foot, first, last))
    return Walk(walk.hips[rows], walk.feet[:, rows], walk.rate, walk.belt, tuple(stances), loop=False)
