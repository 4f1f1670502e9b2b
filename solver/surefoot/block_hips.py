"""The hips and the upper body of a blocked cycle: each layer of the recipe as keys at its extremes.

Offsets count from the left contact. Sideways layers change sign half a cycle later, the others repeat.
Signs are the house's: yaw positive to the character's left, roll positive left side up.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from surefoot.curves import Shape
from surefoot.cycle import Cycle
from surefoot.recipe import Recipe

__all__ = ["body_cycles", "hip_cycles"]

LEVEL = Shape.LEVEL


def _both(recipe: Recipe, keys: list[tuple[float, float]], *, sideways: bool) -> Cycle:
    """Return level keys ``(offset, value)`` and the same half a cycle later, negated if ``sideways``."""
    half = recipe.pace.half
    found = {round(offset, 9) % recipe.pace.frames: value for offset, value in keys}
    for offset, value in keys:
        found.setdefault(round(offset + half, 9) % recipe.pace.frames, -value if sideways else value)
    return Cycle.of(recipe.pace.frames, [(offset, value, LEVEL) for offset, value in found.items()])


def hip_cycles(recipe: Recipe) -> dict[str, Cycle]:
    """Return the hips' x, y, pitch, yaw and roll, metres and radians; y is the bob about 0."""
    passing, half = recipe.pace.passing, recipe.pace.half
    bob, pitch, yaw, roll, shift = recipe.bob, recipe.pitch, recipe.yaw, recipe.roll, recipe.shift
    up, lean, swing = bob.amount * bob.size / 2.0, pitch.amount * pitch.lean, pitch.amount * pitch.swing
    down_at = recipe.bob_low + pitch.after
    tilt = roll.amount * (roll.size if roll.swing_side == "down" else -roll.size)
    turn, over = yaw.amount * yaw.size, shift.amount * shift.size
    return {
        "x": _both(recipe, [(passing, over)], sideways=True),
        "y": _both(recipe, [(recipe.bob_low, -up), (recipe.bob_high, up)], sideways=False),
        "pitch": _both(recipe, [(down_at, lean + swing), (down_at + half // 2, lean - swing)], sideways=False),
        "yaw": _both(recipe, [(0, -turn)], sideways=True),
        "roll": _both(recipe, [(passing, tilt)], sideways=True),
    }


def body_cycles(recipe: Recipe, hips: Mapping[str, Cycle]) -> dict[str, Cycle]:
    """Return the channels of spine, chest, head and arms by name, radians.

    Each part turns relative to the one below it: hips, spine, chest, head; and upper arm, elbow, wrist.
    """
    frames, half = recipe.pace.frames, recipe.pace.half
    spine, chest = recipe.spine, recipe.chest
    lean, follow = spine.amount * spine.lean, spine.amount * spine.follow
    mean = recipe.pitch.amount * recipe.pitch.lean
    found = {
        "spine.pitch": hips["pitch"].raised(-mean).scaled(follow).raised(lean).shifted(spine.drag),
        "chest.yaw": _both(recipe, [(chest.drag, chest.amount * chest.yaw)], sideways=True),
        "chest.roll": _both(recipe, [(recipe.pace.passing + chest.drag, _counter(recipe))], sideways=True),
    }
    level = -recipe.head.amount * recipe.head.level
    for turn, parts in (
        ("pitch", (hips["pitch"], found["spine.pitch"])),
        ("yaw", (hips["yaw"], found["chest.yaw"])),
        ("roll", (hips["roll"], found["chest.roll"])),
    ):
        at = np.unique(np.concatenate([part.offset for part in parts]))
        total = level * sum(part.at(at) for part in parts)
        slope = level * sum(part.slopes(at)[1] for part in parts)
        found[f"head.{turn}"] = Cycle.given(frames, at, total, slope, slope)
    arms, drag = recipe.arms, recipe.arms.drag
    for side, late in (("left", 0), ("right", half)):
        # the arm is back when its own side's leg is ahead
        for part, rest, size, lag in (
            ("arm.swing", arms.rest, arms.swing, 0),
            ("elbow.bend", arms.elbow, arms.flex, drag),
            ("wrist.bend", 0.0, arms.wrist, 2 * drag),
        ):
            low, high = arms.amount * (rest - size), arms.amount * (rest + size)
            cycle = Cycle.of(frames, [(lag, low, LEVEL), (lag + half, high, LEVEL)])
            found[f"{side}_{part}"] = cycle.shifted(late)
    return found


def _counter(recipe: Recipe) -> float:
    """Return the chest's roll at the left foot's passing, against that of the hips."""
    chest = recipe.chest
    return chest.amount * (-chest.roll if recipe.roll.swing_side == "down" else chest.roll)
