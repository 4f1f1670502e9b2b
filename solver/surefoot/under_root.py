"""Under a root: a cycle whose hips and feet sit in a root that stands still, seen from that root.

Its channels are then those of a cycle in the world, so that it can be laid out with every key kept; ground, way and
belt are seen from the root too. A root that travels evenly is brought in place first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.clip import Clip
from surefoot.errors import InputError
from surefoot.ground import Ground
from surefoot.key_edits import advance_of
from surefoot.rig import Control, Rig
from surefoot.route import Route
from surefoot.spaces import Binding
from surefoot.travel import in_place, root_of

__all__ = ["FromRoot", "seen_from_root"]

Array = NDArray[np.float64]

STILL = 1e-6
"""Metres, and parts of a turn's matrix, by which a root that stands still may move."""


@dataclass(frozen=True, slots=True, eq=False)
class FromRoot:
    """A cycle and its rig as seen from the root, and where that is in the world: its heading, its place on the plan."""

    clip: Clip
    rig: Rig
    yaw: float = 0.0
    place: tuple[float, float] = (0.0, 0.0)

    @property
    def is_world(self) -> bool:
        """Whether the root lies on the world."""
        return self.yaw == 0.0 and self.place == (0.0, 0.0)

    def ground(self, ground: Ground) -> Ground:
        """Return the ground as seen from the root."""
        return ground if self.is_world else ground.moved([-self.place[0], 0.0, -self.place[1]]).turned(-self.yaw)

    def belt(self, belt: Belt | None) -> Belt | None:
        """Return the belt as seen from the root."""
        if belt is None or self.is_world:
            return belt
        s, c = float(np.sin(self.yaw)), float(np.cos(self.yaw))
        x, y, z = belt.velocity
        return Belt(np.array([c * x - s * z, y, s * x + c * z]), belt.turn)

    def route(self, route: Route | None) -> Route | None:
        """Return a way as seen from the root."""
        if route is None or self.is_world:
            return route
        s, c = float(np.sin(self.yaw)), float(np.cos(self.yaw))
        x, z = route.x - self.place[0], route.z - self.place[1]
        return Route(route.distance, c * x - s * z, s * x + c * z, route.heading - self.yaw)


def seen_from_root(clip: Clip, rig: Rig) -> FromRoot:
    """Return a cycle as seen from the root that its hips and feet sit in; as it is where they sit in the world.

    Raises
    ------
    InputError
        If one of them sits elsewhere than the others, or in what moves by itself, leans, is scaled or isn't at
        height 0.
    """
    parts = [rig.controls["hips"], *rig.feet]
    odd = next((part for part in parts if part.parent != parts[0].parent), None)
    if odd is not None:
        raise _refused(odd, f"and {parts[0].name} in {parts[0].parent}")
    if parts[0].parent == "world":
        return FromRoot(clip, rig)
    root = root_of(rig)
    if root is not None and any(
        abs(advance_of(clip.channels[axis.channel])) > 0.0
        for axis in root.axes.values()
        if axis.channel in clip.channels
    ):
        clip = in_place(clip, rig)
    yaw, place = _standing(clip, rig, parts[0])
    controls = {
        name: replace(control, parent="world") if control.parent == parts[0].parent else control
        for name, control in rig.controls.items()
    }
    seen = FromRoot(clip, replace(rig, controls=controls), yaw, place)
    return replace(seen, clip=replace(clip, belt=seen.belt(clip.belt)))


def _standing(clip: Clip, rig: Rig, part: Control) -> tuple[float, tuple[float, float]]:
    """Return heading and place on the plan of the space that a part sits in; 0 exactly where it's as good as that."""
    binding = Binding(rig, clip)
    frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    turn, place, size = binding.space(part.parent, frames)
    place = np.zeros((3, 1)) if place is None else place
    turn = np.eye(3)[:, :, None] if turn is None else turn
    if max(float(np.ptp(turn, axis=-1).max()), float(np.ptp(place, axis=-1).max())) > STILL:
        raise _refused(part, "which moves by itself")
    if size is not None or turn[1, 1, 0] < 1.0 - STILL or abs(float(place[1, 0])) > STILL:
        raise _refused(part, "which leans, is scaled or isn't at height 0")
    x, _, z = place[:, 0].tolist()
    yaw = float(np.arctan2(turn[0, 2, 0], turn[2, 2, 0]))
    return (yaw if abs(yaw) > STILL else 0.0), (x if abs(x) > STILL else 0.0, z if abs(z) > STILL else 0.0)


def _refused(part: Control, why: str) -> InputError:
    told = f"it sits in {part.parent}, {why}; laying out is for hips and feet that sit in the world or a root at rest"
    return InputError(told, place=f"control {part.name}")
