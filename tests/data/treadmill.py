"""A walk on a treadmill, captured in place, with labelled strikes and offs of both feet.

Where the numbers come from is in `PROVENANCE.md`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

FILE = Path(__file__).with_name("treadmill.npz")


@dataclass(frozen=True, slots=True, eq=False)
class Treadmill:
    """The walk in metres, +Y up, +Z the walking direction, +X left; read-only. The belt runs towards -Z.

    Hip, knee and ankle are joint centres that the capture's own body model computed; heel, ball and
    malleoli are skin markers (or midpoints of two), so they ride some centimetres above the sole. The toe
    is no measurement: no marker was on it. It lies on the line from heel through ball, `toe_length` beyond
    the ball, and so it never bends there. The pelvis is tilted as its four markers are: a steady pitch
    between front and back markers belongs to the body, not to the walk.

    Attributes
    ----------
    points : ndarray, shape (1206, 2, 6, 3)
        Feet left, right; hip, knee, ankle, heel, ball, toe.
    ball_inner, ball_outer : ndarray, shape (1206, 2, 3)
        Second and fifth metatarsal head; `ball` is their midpoint.
    ankle_inner, ankle_outer : ndarray, shape (1206, 2, 3)
        Medial and lateral malleolus.
    pelvis : ndarray, shape (1206, 4, 3)
        Front left, front right, back left, back right iliac spine.
    hips : ndarray, shape (1206, 3)
        Midpoint of the two hip centres.
    hips_rotation : ndarray, shape (1206, 3, 3)
        World from pelvis; the columns are its left, up and forward.
    toe_length : ndarray, shape (2,)
        Ball to toe: the length of the toe segment in the capture's own body model.
    strikes_left, strikes_right, offs_left, offs_right : ndarray of int
        Rows of `points`, counted from 0.
    rate : float
        Frames a second.
    """

    points: Array
    ball_inner: Array
    ball_outer: Array
    ankle_inner: Array
    ankle_outer: Array
    pelvis: Array
    hips: Array
    hips_rotation: Array
    toe_length: Array
    strikes_left: Array
    strikes_right: Array
    offs_left: Array
    offs_right: Array
    rate: float

    def __post_init__(self) -> None:
        """Shut the arrays against writing."""
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False


def pelvis_rotation(pelvis: Array) -> Array:
    """Return world from pelvis, (frames, 3, 3), of four iliac spines, (frames, 4, 3).

    Left runs from the right front spine to the left one; up is square to it and to the line from the
    middle of the back spines to the middle of the front ones. Source: Wu and others, 2002, Journal of
    Biomechanics 35:543-548 (title verified, the pelvis axes from memory), with the axes named anew.
    """
    front_left, front_right, back_left, back_right = np.moveaxis(pelvis, 1, 0)
    left = front_left - front_right
    up = np.cross(front_left + front_right - back_left - back_right, left)
    axes = np.stack([left, up, np.cross(left, up)], axis=-1)
    rotation: Array = axes / np.linalg.norm(axes, axis=-2, keepdims=True)
    return rotation


@cache
def treadmill() -> Treadmill:
    """Return the captured treadmill walk."""
    with np.load(FILE) as held:
        names = [str(name) for name in held["markers"]]
        legs = np.moveaxis(held["legs"].astype(np.float64), -1, 0)  # (frames, feet, markers, 3)
        pelvis = np.moveaxis(held["pelvis"].astype(np.float64), -1, 0)
        toe_length = held["toe_length"]
        events = {name: held[name] for name in ("strikes_left", "strikes_right", "offs_left", "offs_right")}
        rate = float(held["rate"])
    marker = {name: legs[:, :, k].copy() for k, name in enumerate(names)}
    heel, ball = marker["HEE"], (marker["MT2"] + marker["MT5"]) / 2.0
    along = (ball - heel) / np.linalg.norm(ball - heel, axis=-1, keepdims=True)
    toe = ball + along * toe_length[:, None]
    return Treadmill(
        points=np.stack([marker["FEP"], marker["FEO"], marker["TIO"], heel, ball, toe], axis=2),
        ball_inner=marker["MT2"],
        ball_outer=marker["MT5"],
        ankle_inner=marker["MM"],
        ankle_outer=marker["LM"],
        pelvis=pelvis,
        hips=marker["FEP"].mean(axis=1),
        hips_rotation=pelvis_rotation(pelvis),
        toe_length=toe_length,
        rate=rate,
        **events,
    )
