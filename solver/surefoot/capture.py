"""From a captured walk to a rig and a clip.

The flat foot is found first (`calibrate`): the frames in which a foot is low and
moves with the ground. What the markers do there is zero pitch and cant; how
high the ankle is there is the height of the sole.
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Real

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.capture_hinge import turning_point
from surefoot.capture_points import ANKLE, BALL, HEEL, HIP, TOE, Capture, steady
from surefoot.clip import Clip
from surefoot.curves import Curve, Outside
from surefoot.errors import InputError, UnitError
from surefoot.given import checked
from surefoot.rig import FEET, Axis, Control, Foot, Leg, Rig
from surefoot.rotations import angles_of, compose, matrix
from surefoot.units import ANGLES, LENGTHS, read_rate

__all__ = ["Calibration", "Capture", "calibrate", "capture_clip", "fit_rig"]

Array = NDArray[np.float64]

BALL_SHARE = 0.741
"""Heel to ball over foot length. ANSUR II, men, computed from the raw data (Gordon and others, 2014)."""
BALL_BREADTH = 0.376
"""Foot breadth over foot length, same source."""
HEEL_BREADTH = 0.268
"""Heel breadth over foot length, same source; the toe edge is made as wide (judgement, no source)."""
HIGHEST_HINGE = 0.1
"""Of the foot's length: a measured hinge is put no higher above the sole (judgement)."""
ONSET = float(np.radians(30.0))
"""Where the toe rocker begins on a foot whose hinge was measured: 30 degrees of toe extension at the end of
terminal stance (seen in a secondary source); fits this capture's turning point, which reaches the toe tip there."""
LOW_SHARE = 0.25
"""The share of frames, lowest first, among which a foot is looked for flat (judgement)."""
STILL_SHARE = 0.4
"""The share of those, stillest first, that are taken for flat: a tenth of all frames (judgement)."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What the flat feet look like in a capture: zero pitch and cant, and where the markers are.

    Parameters
    ----------
    pitch, cant : ndarray, shape (2,)
        Radians, of the line from heel to ball (and of the line across the ball) while the foot is flat.
    height : ndarray, shape (2,)
        The ankle's height in the world while the foot is flat, metres.
    points : ndarray, shape (2, 6, 3)
        The captured points in foot space (origin ankle), metres; hip and knee are of no use there.
    sides : ndarray, shape (2, 2, 3), or None
        Inner and outer ball of each foot in foot space.
    flat : ndarray of bool, shape (frames, 2)
        The frames that were taken.
    ground_velocity : ndarray, shape (3,)
        Of the ground under the low feet, metres per second: the median.
    """

    pitch: Array
    cant: Array
    height: Array
    points: Array
    sides: Array | None
    flat: NDArray[np.bool_]
    ground_velocity: Array

    def __post_init__(self) -> None:
        for name in ("pitch", "cant", "height", "points", "sides", "flat", "ground_velocity"):
            value = getattr(self, name)
            if value is not None:
                copied = np.array(value)
                copied.flags.writeable = False
                object.__setattr__(self, name, copied)


def calibrate(capture: Capture) -> Calibration:
    """Return what the flat feet look like, from the frames in which each is low and moves with the ground.

    Among the lowest quarter of a foot's frames (by the higher of heel and ball, each above its own low), the
    four tenths that are stillest relative to the ground are taken. The ground's velocity is the median of
    the low points' own, so a walk in place on a belt needs nothing stated.
    """
    low, speed_of = [], []
    velocity = np.gradient(capture.points, 1.0 / capture.rate, axis=0)
    heels = capture.has("heel")
    for foot in range(2):
        used = [HEEL if heels[foot] else ANKLE, BALL]
        height = capture.points[:, foot, used, 1]
        excess = (height - np.quantile(height, 0.05, axis=0)).max(axis=1)
        low.append(_least(excess, LOW_SHARE, np.ones(capture.frames, dtype=bool)))
        speed_of.append(velocity[:, foot, used])
    moving = np.concatenate([speed_of[foot][low[foot]].reshape(-1, 3) for foot in range(2)])
    ground = np.median(moving, axis=0)
    flat = np.empty((capture.frames, 2), dtype=bool)
    for foot in range(2):
        speed = np.linalg.norm(speed_of[foot] - ground, axis=-1).max(axis=1)
        flat[:, foot] = _least(speed, STILL_SHARE, low[foot])
    return _measured(capture, flat, ground)


def _least(score: Array, share: float, among: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which rows hold the least ``share`` of ``score`` among some rows; at least one is."""
    chosen: NDArray[np.bool_] = among & (score <= np.quantile(score[among], share))
    return chosen


def _measured(capture: Capture, flat: NDArray[np.bool_], ground: Array) -> Calibration:
    lines = capture.foot_lines()
    pitch, cant, height = np.empty(2), np.empty(2), np.empty(2)
    points = np.empty((2, 6, 3))
    sides = None if capture.ball_inner is None else np.empty((2, 2, 3))
    for foot in range(2):
        rows = flat[:, foot]
        line = lines[:, :, foot, rows]
        tip, yaw, roll = angles_of(line, near=(np.zeros(1), np.zeros(1), np.zeros(1)))
        pitch[foot], cant[foot] = np.median(tip), np.median(roll)
        world_from_foot = matrix(np.zeros_like(yaw), yaw, np.zeros_like(yaw))
        ankle = capture.points[rows, foot, ANKLE]
        height[foot] = np.median(ankle[:, 1])
        local = np.einsum("jif,fpj->fpi", world_from_foot, capture.points[rows, foot] - ankle[:, None])
        points[foot] = np.median(local, axis=0)
        if sides is not None and capture.ball_inner is not None and capture.ball_outer is not None:
            for k, side in enumerate((capture.ball_inner, capture.ball_outer)):
                sides[foot, k] = np.median(np.einsum("jif,fj->fi", world_from_foot, side[rows, foot] - ankle), axis=0)
    return Calibration(pitch, cant, height, points, sides, flat, ground)


@checked(capture=Capture, ground=Real)
def fit_rig(
    capture: Capture,
    *,
    name: str,
    ground: float = 0.0,
    calibration: Calibration | None = None,
    source: str = "fitted to a capture",
) -> Rig:
    """Return a rig with the captured lengths: medians over the frames, the feet as they are when flat.

    Heel and toe are brought down to the sole, which lies on the ground while the foot is flat. The ball
    hinge is put where the foot turns while its heel rises, and the toe rocker begins at 30 degrees; a capture
    that doesn't show this keeps the ball where it was captured, but on the sole or above it. A heel or a toe
    that wasn't captured is put where ANSUR II has it; so are the widths of heel, toe, and of a ball whose
    sides weren't captured.
    The controls sit in the world, in metres and degrees, named after part and axis (``left_foot.cant``).

    Parameters
    ----------
    name, source : str
        What the rig is called, and where its lengths come from.
    ground : float
        Height of the ground in the capture, metres.
    calibration : Calibration or None
        The flat feet, where they were calibrated in another capture; None calibrates in this one.

    Raises InputError if a foot has neither heel nor toe, or its ankle is not above the ground, UnitError if the legs'
    lengths look like another unit, or the up axis isn't +Y.
    """
    flat = calibrate(capture) if calibration is None else calibration
    assert capture.hips is not None
    assert capture.hips_rotation is not None
    bones = np.median(np.linalg.norm(np.diff(capture.points[:, :, :3], axis=2), axis=-1), axis=0)  # (2, 2)
    drop = np.median(capture.points[:, :, HIP, 1] - capture.points[:, :, ANKLE, 1])
    if drop < 0.3 * bones.sum(axis=1).max():
        raise UnitError("the ankles aren't well below the hips in most frames; is +Y up?", place="points")
    from_hips = capture.points[:, :, HIP] - capture.hips[:, None]
    offsets = np.median(np.einsum("fji,fkj->fki", capture.hips_rotation, from_hips), axis=0)
    turns = _foot_turns(capture, flat)
    legs = []
    for foot, side in enumerate(FEET):
        try:
            hinge = turning_point(
                capture,
                foot,
                turns[:, :, foot],
                ball_height=float(flat.height[foot] + flat.points[foot, BALL, 1]),
                ground_velocity=flat.ground_velocity,
            )
            sole = _foot(flat, foot, ground, hinge)
            legs.append(Leg(offsets[foot], float(bones[foot, 0]), float(bones[foot, 1]), sole))
        except InputError as error:
            raise error.within(f"{side} foot") from None
    return Rig(name, (legs[0], legs[1]), _controls(legs), source=source)


def _foot_turns(capture: Capture, flat: Calibration) -> Array:
    """Return world from foot, ``(3, 3, 2, frames)``, with the flat foot's pitch and cant as zero."""
    foot_from_line = matrix(flat.pitch, np.zeros(2), flat.cant)
    return compose(capture.foot_lines(), np.swapaxes(foot_from_line, 0, 1)[..., None])


def _foot(flat: Calibration, foot: int, ground: float, hinge: Array | None) -> Foot:
    sole = ground - float(flat.height[foot])
    if sole >= 0.0:
        raise InputError(
            f"the ankle of the flat foot is {sole:.3g} m below the ground; state the ground's height",
            place="ground",
        )
    heel, ball, toe = flat.points[foot, [HEEL, BALL, TOE]].copy()
    if np.isnan(heel[0]) and np.isnan(toe[0]):
        raise InputError("neither heel nor toe was captured; one is needed for the foot's length", place="points")
    if np.isnan(heel[0]):
        heel = np.array([ball[0], sole, ball[2] - (toe[2] - ball[2]) * BALL_SHARE / (1.0 - BALL_SHARE)])
    if np.isnan(toe[0]):
        toe = np.array([ball[0], sole, heel[2] + (ball[2] - heel[2]) / BALL_SHARE])
    heel[1] = toe[1] = sole
    ball[1] = max(float(ball[1]), sole)
    length = toe[2] - heel[2]
    rolls = hinge is not None and heel[2] + 0.5 * length < hinge[2] < toe[2] - 0.05 * length
    if hinge is not None and rolls:
        ball[1] = np.clip(hinge[1], sole, sole + HIGHEST_HINGE * length)
        ball[2] = hinge[2]
    if flat.sides is None:
        across = ball[0] + BALL_BREADTH * length * np.array([-0.5, 0.5])
        middle = [[across[0], ball[2]], [across[1], ball[2]]]
    else:
        middle = flat.sides[foot][:, [0, 2]].tolist()
    half = HEEL_BREADTH * length / 2.0
    ends = [[end[0] + way * half, end[2]] for end in (heel, toe) for way in (-1.0, 1.0)]
    outline = np.array(ends + middle)
    return Foot(heel, ball, toe, outline, onset=ONSET) if rolls else Foot(heel, ball, toe, outline)


def _controls(legs: list[Leg]) -> dict[str, Control]:
    degree = ANGLES["deg"]
    turns = ("pitch", "yaw", "roll")

    def axes(name: str, **called: str) -> dict[str, Axis]:
        shifts = {axis: Axis(f"{name}.{axis}") for axis in ("x", "y", "z")}
        return shifts | {axis: Axis(f"{name}.{called.get(axis, axis)}", degree) for axis in turns}

    controls = {"hips": Control("hips", axes("hips"))}
    for side, leg in zip(FEET, legs, strict=True):
        name = f"{side}_foot"
        moved = axes(name, roll="cant") | {"bend": Axis(f"{name}.bend", degree)}
        # zero is the foot standing flat under its hip joint, on ground of height zero
        controls[name] = Control(name, moved, rest=np.array([leg.hip[0], -leg.foot.sole, 0.0]))
    return controls


@checked(capture=Capture)
def capture_clip(
    capture: Capture,
    rig: Rig,
    *,
    first: int = 1,
    belt: Belt | None = None,
    loop: bool = False,
    name: str = "",
    calibration: Calibration | None = None,
) -> Clip:
    """Return the capture as a clip for ``rig``: hips and feet, a key on every frame.

    Hips and ankles are where they were captured. The foot is turned as heel and ball (and the ball's
    sides, else cant is zero) say, relative to the flat foot; the toe bend is the toe's own where it was
    captured, else zero. Angles run on without jumps of a turn. The knees aren't keyed: their place follows
    from hip and ankle.

    Parameters
    ----------
    rig : Rig
        Its three controls must sit in the world and have all of x, y, z, pitch, yaw and roll or cant.
    first : int
        The clip's frame of the capture's first.
    belt, name : Belt or None, str
        How the ground moved under the capture (None: to be estimated), and what the clip is called.
    loop : bool
        Whether the frame after the last is the first again; a key there says so, whole turns counted on.
    calibration : Calibration or None
        The flat feet, where they were calibrated in another capture; None calibrates in this one.

    Raises InputError if a control sits elsewhere or lacks an axis.
    """
    flat = calibrate(capture) if calibration is None else calibration
    assert capture.hips is not None
    assert capture.hips_rotation is not None
    world_from_foot = _foot_turns(capture, flat)
    tracks = _track(rig.controls["hips"], capture.hips.T, np.moveaxis(capture.hips_rotation, 0, -1), None)
    for foot, control in enumerate(rig.feet):
        bend = _bend(capture, flat, foot, world_from_foot[:, :, foot])
        tracks |= _track(control, capture.points[:, foot, ANKLE].T, world_from_foot[:, :, foot], bend)
    channels = {channel: _curve(first, *track, loop=loop) for channel, track in tracks.items()}
    last = first + capture.frames - 1
    return Clip(
        channels=channels, rate=read_rate(capture.rate), first=first, last=last, loop=loop, belt=belt, name=name,
        rig=rig.name, unit=_unit(rig.controls["hips"].axes["x"], LENGTHS),
        angle=_unit(rig.controls["hips"].axes["pitch"], ANGLES), extra={"captured": True},
    )  # fmt: skip


def _unit(axis: Axis, units: dict[str, float]) -> str:
    """Return the unit that an axis reads, or nothing where it is none of the known ones."""
    return next((name for name, size in units.items() if np.isclose(abs(axis.scale), size, rtol=1e-12)), "")


def _bend(capture: Capture, flat: Calibration, foot: int, world_from_foot: Array) -> Array:
    """Return the toe bend, radians, ``(frames,)``; zero where the toe is missing or never leaves its line."""
    if not capture.has("toe")[foot]:
        return np.zeros(capture.frames)
    toes = capture.points[:, foot, TOE] - capture.points[:, foot, BALL]
    local = np.einsum("jif,fj->if", world_from_foot, toes)
    rest = flat.points[foot, TOE] - flat.points[foot, BALL]
    bend = np.unwrap(np.arctan2(local[1], local[2]) - np.arctan2(rest[1], rest[2]))
    bend -= 2.0 * np.pi * np.round(np.median(bend) / (2.0 * np.pi))
    # a toe drawn out along the foot's line keeps its angle but for rounding: that's no bend
    return np.zeros(capture.frames) if np.ptp(bend) < 1e-6 else bend


def _track(control: Control, place: Array, turn: Array, bend: Array | None) -> dict[str, tuple[Array, float]]:
    """Return each of the control's channels as its numbers, and a whole turn in its unit (0 for a length)."""
    if control.parent != "world":
        raise InputError(f"wanted a control in the world, it sits in {control.parent}", place=f"control {control.name}")
    mid = "xyz".index(control.order[1])
    zero = np.zeros(1)
    one = np.array(angles_of(turn, order=control.order, near=(zero, zero, zero)))
    two = one + np.pi
    two[mid] = np.pi - one[mid]
    pitch, yaw, roll = steady(one, two)
    x, y, z = place - control.rest[:, None]
    parts = {"x": x, "y": y, "z": z, "pitch": pitch, "yaw": yaw, "roll": roll}
    tracks = {}
    for key, values in parts.items():
        if key not in control.axes:
            raise InputError(f"the axis {key} is missing; a capture needs it", place=f"control {control.name}")
        axis = control.axes[key]
        turned = 0.0 if key in "xyz" else 2.0 * np.pi / abs(axis.scale)
        tracks[axis.channel] = (values / axis.scale + axis.zero, turned)
    if bend is not None and "bend" in control.axes:
        axis = control.axes["bend"]
        tracks[axis.channel] = (bend / axis.scale + axis.zero, 2.0 * np.pi / abs(axis.scale))
    return tracks


def _curve(first: int, values: Array, turn: float, *, loop: bool) -> Curve:
    frames = np.arange(first, first + len(values) + loop, dtype=np.float64)
    if not loop:
        return Curve.through(frames, values)
    turns = np.round((values[-1] - values[0]) / turn) if turn else 0.0
    outside = Outside.ADVANCE if turns else Outside.REPEAT
    return Curve.through(frames, np.append(values, values[0] + turns * turn), before=outside, after=outside)
