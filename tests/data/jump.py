"""Forward jumps and a turn, captured: hips and legs of one trial, from the Euler channels of its BVH file.

Where the numbers come from is in `PROVENANCE.md`. The forward kinematics here is the tests' own and shares no
code with the solver; `tests/outside/test_jump_formats.py` holds it to a second routine on a second file.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

FILE = Path(__file__).with_name("jump.npz")

METRES_PER_UNIT = 0.0254 / 0.45
"""The trial's length unit is 0.45, in inches."""

LEG_JOINTS = ("UpLeg", "Leg", "Foot", "ToeBase", "ToeBase End Site")


@dataclass(frozen=True, slots=True, eq=False)
class Jump:
    """The jump in metres, right-handed, +Y up; read-only.

    Attributes
    ----------
    points : ndarray, shape (2751, 2, 5, 3)
        World positions; feet left, right; hip, knee, ankle, ball, toe tip.
    hips : ndarray, shape (2751, 3)
        World position of the hips joint.
    hips_rotation : ndarray, shape (2751, 3, 3)
        World from hips; the columns are the body's left, up and forward.
    rate : float
        Frames a second.
    """

    points: Array
    hips: Array
    hips_rotation: Array
    rate: float

    def __post_init__(self) -> None:
        """Shut the arrays against writing."""
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False


def axis_rotation(axis: str, angle: Array) -> Array:
    """Return matrices of shape (..., 3, 3) that turn by an angle (...) in radians about X, Y or Z."""
    cosine, sine = np.cos(angle), np.sin(angle)
    matrix = np.zeros((*angle.shape, 3, 3))
    first, second = {"X": (1, 2), "Y": (2, 0), "Z": (0, 1)}[axis]
    third = 3 - first - second
    matrix[..., third, third] = 1.0
    matrix[..., first, first] = matrix[..., second, second] = cosine
    matrix[..., first, second], matrix[..., second, first] = -sine, sine
    return matrix


@cache
def jump_points() -> Jump:
    """Return hips and legs of the captured jump, without the T-pose that the file puts first."""
    with np.load(FILE) as held:
        names = [str(name) for name in held["bvh_channels"]]
        values = held["bvh_ten_thousandths"][:, 1:] / 1e4  # (channels, frames)
        offsets = dict(zip((str(name) for name in held["bvh_joints"]), held["bvh_offsets"], strict=True))
        rate = 1.0 / float(held["bvh_frame_time"])
    channels = dict(zip(names, values, strict=True))

    def rotation(joint: str) -> Array:
        turns = [name for name in names if name.startswith(f"{joint} ") and name.endswith("rotation")]
        matrix = np.broadcast_to(np.eye(3), (values.shape[1], 3, 3))
        for name in turns:
            matrix = matrix @ axis_rotation(name.split()[1][0], np.radians(channels[name]))
        return matrix

    hips = np.stack([channels[f"Hips {axis}position"] for axis in "XYZ"], axis=-1) + offsets["Hips"]
    hips_rotation = rotation("Hips")
    points = np.empty((len(hips), 2, len(LEG_JOINTS), 3))
    for foot, (hip_joint, side) in enumerate((("LHipJoint", "Left"), ("RHipJoint", "Right"))):
        place = hips + hips_rotation @ offsets[hip_joint]
        turned = hips_rotation @ rotation(hip_joint)
        for k, name in enumerate(LEG_JOINTS):
            place = place + turned @ offsets[side + name]
            points[:, foot, k] = place
            turned = turned @ rotation(side + name)
    return Jump(
        points=points * METRES_PER_UNIT,
        hips=hips * METRES_PER_UNIT,
        hips_rotation=hips_rotation,
        rate=float(round(rate)),
    )
