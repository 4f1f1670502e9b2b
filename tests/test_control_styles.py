"""Controls under a moving root, the hips or a sampled space, in other orders, units and signs: one world.

The same walk is written for each style of rig and must be planted in the same place. Walks come from
`tests/walks.py`, places are measured by `tests/measure.py`; neither shares code with the solver.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot import Axis, Control, plant
from tests import measure
from tests.measure import most_apart, soles, stance_steps
from tests.walks import FEET, KEYS, Walk, clip_of, make_rig, plain_controls, random_walk, turned

Array = NDArray[np.float64]
FEW = range(4)


def channels_of(walk: Walk) -> dict[str, Array]:
    named = {f"hips.{key}": walk.hips[:, k] for k, key in enumerate(KEYS)}
    for foot, side in enumerate(FEET):
        named |= {f"{side}_foot.{key}": walk.feet[foot, :, k] for k, key in enumerate((*KEYS, "bend"))}
    return named


def in_parent(places: Array, angles: Array, space_place: Array, space_turn: Rotation) -> tuple[Array, Array]:
    """Return places ``(n, 3)`` and pitch, yaw, roll ``(n, 3)`` as numbers in a parent's space."""
    back = space_turn.inv()
    return back.apply(places - space_place), turned(angles, back)


def under(walk: Walk, space: tuple[Array, Rotation], *, feet_only: bool) -> dict[str, Array]:
    named = channels_of(walk)
    parts = [(f"{side}_foot", walk.feet[foot]) for foot, side in enumerate(FEET)]
    if not feet_only:
        parts.append(("hips", walk.hips))
    for name, rows in parts:
        place, angles = in_parent(rows[:, :3], rows[:, 3:6], *space)
        for k, key in enumerate(KEYS):
            named[f"{name}.{key}"] = np.column_stack([place, angles])[:, k]
    return named


def reparented(parent: str, names: tuple[str, ...], **more: Control) -> dict[str, Control]:
    made = {n: replace(c, parent=parent) if n in names else c for n, c in plain_controls().items()}
    return made | more


def with_root(walk: Walk) -> tuple[dict[str, Control], dict[str, Array], dict[str, Any]]:
    """Hips and feet under a root that wanders and turns."""
    phase = 2.0 * np.pi * np.arange(len(walk.hips)) / walk.frames
    place = np.column_stack([0.2 * np.sin(phase), 0.0 * phase, 0.1 * np.cos(phase) + 1.0])
    yaw = 0.3 * np.sin(phase + 1.0)
    named = under(walk, (place, Rotation.from_euler("y", yaw[:, None])), feet_only=False)
    named |= {"root.x": place[:, 0], "root.z": place[:, 2], "root.yaw": yaw}
    root = Control("root", {key: Axis(f"root.{key}") for key in ("x", "z", "yaw")})
    return reparented("root", ("hips", "left_foot", "right_foot"), root=root), named, {}


def under_hips(walk: Walk) -> tuple[dict[str, Control], dict[str, Array], dict[str, Any]]:
    """Feet under the hips."""
    space = walk.hips[:, :3], Rotation.from_euler("YXZ", walk.hips[:, [4, 3, 5]])
    return reparented("hips", ("left_foot", "right_foot")), under(walk, space, feet_only=True), {}


def under_matrices(walk: Walk) -> tuple[dict[str, Control], dict[str, Array], dict[str, Any]]:
    """Feet under a space that the clip gives as matrices, twice as large as the world."""
    phase = 2.0 * np.pi * np.arange(len(walk.hips)) / walk.frames
    turn = Rotation.from_euler("YXZ", np.column_stack([0.4 * np.sin(phase), 0.2 * np.cos(phase), 0.1 * np.sin(phase)]))
    place = np.column_stack([np.cos(phase), 0.5 + 0.0 * phase, np.sin(phase)])
    named = under(walk, (place, turn), feet_only=True)
    for side in FEET:
        for key in "xyz":
            named[f"{side}_foot.{key}"] = named[f"{side}_foot.{key}"] / 2.0
    matrices = np.tile(np.eye(4), (walk.frames, 1, 1))
    matrices[:, :3, :3], matrices[:, :3, 3] = 2.0 * turn.as_matrix()[: walk.frames], place[: walk.frames]
    return reparented("platform", ("left_foot", "right_foot")), named, {"spaces": {"platform": matrices}}


def ordered(order: Any) -> Any:
    """Feet and hips whose turns come in another order."""

    def change(walk: Walk) -> tuple[dict[str, Control], dict[str, Array], dict[str, Any]]:
        named = channels_of(walk)
        about = {"x": "pitch", "y": "yaw", "z": "roll"}
        for name, rows in (("hips", walk.hips), ("left_foot", walk.feet[0]), ("right_foot", walk.feet[1])):
            angles = Rotation.from_euler("YXZ", rows[:, [4, 3, 5]]).as_euler(order.upper())
            for k, axis in enumerate(order):
                named[f"{name}.{about[axis]}"] = np.unwrap(angles[:, k])
        return {n: replace(c, order=order) for n, c in plain_controls().items()}, named, {}

    return change


def scaled(length: float, angle: float, mirrored: bool) -> Any:
    """Channels in another unit, the right foot's sideways axes turned over if asked, some with another zero."""

    def change(walk: Walk) -> tuple[dict[str, Control], dict[str, Array], dict[str, Any]]:
        named, controls = channels_of(walk), {}
        for name, control in plain_controls().items():
            axes = {}
            for key, axis in control.axes.items():
                size = length if key in "xyz" else angle
                sign = -1.0 if mirrored and name == "right_foot" and key in ("x", "yaw", "roll") else 1.0
                zero = 2.5 if key == "y" else 0.0
                axes[key] = Axis(axis.channel, sign * size, zero)
                named[axis.channel] = named[axis.channel] / (sign * size) + zero
            controls[name] = replace(control, axes=axes)
        return controls, named, {}

    return change


RIGS = {
    "a moving root": with_root,
    "feet under the hips": under_hips,
    "feet under a sampled space": under_matrices,
    "order xyz": ordered("xyz"),
    "order zxy": ordered("zxy"),
    "order zyx": ordered("zyx"),
    "centimetres and degrees": scaled(0.01, float(np.radians(1.0)), False),
    "inches, right side mirrored": scaled(0.0254, float(np.radians(1.0)), True),
}


@pytest.mark.parametrize("style", RIGS)
@pytest.mark.parametrize("seed", FEW)
def test_every_style_of_control_is_planted_in_the_same_place(seed: int, style: str) -> None:
    walk = random_walk(seed)
    plain = make_rig()
    controls, named, more = RIGS[style](walk)
    rig = make_rig(controls=controls)
    clip = clip_of(named, walk, **more)
    assert most_apart(soles(walk.clip(), plain), soles(clip, rig)) < 1e-9
    done = plant(clip, rig)
    assert most_apart(soles(plant(walk.clip(), plain).clip, plain), soles(done.clip, rig)) <= 1e-6
    untouched = [name for name in clip.channels if "foot" not in name]
    assert all(done.clip.channels[name] is clip.channels[name] for name in untouched)


@pytest.mark.parametrize("style", [style for style in RIGS if "sampled" not in style])
@pytest.mark.parametrize("seed", FEW)
def test_every_style_of_control_is_planted_between_frames_too(seed: int, style: str) -> None:
    walk = random_walk(seed)
    controls, named, more = RIGS[style](walk)
    rig = make_rig(controls=controls)
    done = plant(clip_of(named, walk, **more), rig)
    assert max(measure.slide(s) for s in stance_steps(done.clip, rig, walk, 5)) <= 1e-3
