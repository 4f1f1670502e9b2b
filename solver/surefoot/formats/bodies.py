"""From a skeleton's joints or a capture's markers to a rig and a clip.

The floor that the mapping states is put at height 0.
"""

from __future__ import annotations

from itertools import permutations, product
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.capture import capture_clip, fit_rig
from surefoot.capture_points import POINTS, Capture
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, parse_clip
from surefoot.errors import InputError
from surefoot.formats.mapping import Mapping
from surefoot.formats.motion import Motion
from surefoot.rig import FEET, Rig
from surefoot.units import read_rate

__all__ = ["body_capture", "body_clip"]

Array = NDArray[np.float64]
HEAD = ("name", "loop", "belt", "stances", "extra")
SQUARE = np.cos(np.radians(25.0))
"""Hips' axes within 25 degrees of the body's are taken to be meant as the body's (judgement)."""


def body_capture(motion: Motion, mapping: Mapping) -> Capture:
    """Return the legs as captured points: metres, +Y up, the floor at height 0.

    Raises InputError when a point is missing that a leg needs, or has a gap.
    """
    motion = motion.taken(mapping.take)
    places = {name: _place(motion, mapping, name) for name in mapping.points if name != "pelvis"}
    points = np.full((motion.samples, 2, 6, 3), np.nan)
    sides: dict[str, Array] = {}
    for foot, side in enumerate(FEET):
        inner, outer = (places.get(f"{side}_ball_{which}") for which in ("inner", "outer"))
        if inner is not None and outer is not None:
            places.setdefault(f"{side}_ball", (inner + outer) / 2.0)
            sides |= {f"{side} inner": inner, f"{side} outer": outer}
        for k, part in enumerate(POINTS):
            found = places.get(f"{side}_{part}")
            if found is not None:
                points[:, foot, k] = found
            elif part not in ("heel", "toe"):
                raise InputError(f"it names no {side} {part}", place="points")
    rate = float(read_rate(mapping.clip["rate"]) if "rate" in mapping.clip else motion.rate)
    capture = Capture(
        points,
        rate,
        places.get("hips"),
        _hips_rotation(motion, mapping, points),
        *(
            np.stack([sides[f"{side} {w}"] for side in FEET], axis=1) if len(sides) == 4 else None
            for w in ("inner", "outer")
        ),
    )
    return capture.with_rigid_ankles() if mapping.kind == "markers" and all(capture.has("heel")) else capture


def _place(motion: Motion, mapping: Mapping, name: str) -> Array:
    rows = [motion.row(one, place=f"points.{name}") for one in mapping.points[name]]
    if not rows:
        raise InputError("names nothing", place=f"points.{name}")
    middle = motion.world[rows][..., :3, 3].mean(axis=0) * mapping.unit
    return np.asarray(middle @ mapping.ours_from_file().T - [0.0, mapping.ground, 0.0])


def _hips_rotation(motion: Motion, mapping: Mapping, points: Array) -> Array | None:
    """Return world from hips, of the pelvis' four markers or of the hips joint; None where neither is named."""
    four = mapping.points.get("pelvis")
    if four is not None:
        if len(four) != 4:
            raise InputError(
                "wanted four markers: front left, front right, back left, back right", place="points.pelvis"
            )
        corner = [motion.world[motion.row(one, place="points.pelvis"), :, :3, 3] for one in four]
        front_left, front_right, back_left, back_right = (c @ mapping.ours_from_file().T for c in corner)
        # Wu and others, 2002, Journal of Biomechanics 35:543-548 (the pelvis' axes from memory), named anew
        left = front_left - front_right
        up = np.cross(front_left + front_right - back_left - back_right, left)
        axes = np.stack([left, up, np.cross(left, up)], axis=-1)
        size = np.linalg.norm(axes, axis=-2, keepdims=True)
        if not np.isfinite(size).all() or (size < 1e-9).any():
            raise InputError("a marker has a gap, or they lie on a line", place="points.pelvis")
        return np.asarray(axes / size)
    if "hips" not in mapping.points or not motion.turns or len(mapping.points["hips"]) != 1:
        return None
    node = mapping.world(motion.world[motion.row(mapping.points["hips"][0], place="points.hips")])[:, :3, :3]
    node = node / np.cbrt(np.linalg.det(node))[:, None, None]
    across = points[:, 0, 0] - points[:, 1, 0]
    forward = np.cross(across, [0.0, 1.0, 0.0])
    body = np.stack([across, np.cross(forward, across), forward], axis=-1)
    body = body / np.maximum(np.linalg.norm(body, axis=-2, keepdims=True), 1e-12)
    u, _, vh = np.linalg.svd(np.einsum("fji,fjk->ik", node, body))
    mean = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vh)]) @ vh
    near = max(_right_angles(), key=lambda turn: float(np.trace(turn.T @ mean)))
    return np.asarray(node @ (near if (np.trace(near.T @ mean) - 1.0) / 2.0 > SQUARE else mean))


def _right_angles() -> list[Array]:
    """Return the 24 turns that take axes to axes."""
    found = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), order] = signs
            if np.linalg.det(turn) > 0.0:
                found.append(turn)
    return found


def body_clip(motion: Motion, mapping: Mapping, *, name: str, rig: Rig | None = None) -> tuple[Clip, Rig]:
    """Return the clip, and the rig that was given or else is fitted to the captured lengths."""
    capture = body_capture(motion, mapping)
    body = fit_rig(capture, name=name) if rig is None else rig
    clip = capture_clip(capture, body, first=mapping.first, name=name, loop=bool(mapping.clip.get("loop", False)))
    if (stated := (mapping.clip.get("range") or {}).get("last", clip.last)) != clip.last:
        told = f"the samples make frames {clip.first} to {clip.last}, not to {stated}; choose samples with take"
        raise InputError(told, place="clip.range")
    table: dict[str, Any] = msgspec.json.decode(clip_bytes(clip))
    exact = read_rate(mapping.clip["rate"]) if "rate" in mapping.clip else motion.rate
    table["rate"] = f"{exact.numerator}/{exact.denominator}"
    table |= {key: mapping.clip[key] for key in HEAD if key in mapping.clip}
    return parse_clip(msgspec.json.encode(table), place="mapping: clip"), body
