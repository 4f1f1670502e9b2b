"""The feet of a blocked cycle: planted while they're down, carried through the swing in an arc.

World space of an in-place cycle, whose belt carries the planted feet back. Offsets count from the foot's own
contact. A foot's path on the ground is the closed form of its rockers; its keys lie where an animator sets
them: contact, flat, heel-off, the other foot's contact, toe-off, hanging behind, passing, toes up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.curves import Shape
from surefoot.cycle import Cycle
from surefoot.ground import Ground
from surefoot.recipe import Recipe
from surefoot.rig import Rig
from surefoot.sole import Soles, Turns
from surefoot.tolerances import REFERENCE_LEG

__all__ = ["FOOT_KEYS", "FootPlan", "foot_plan", "least_width", "own_stairs"]

Array = NDArray[np.float64]

FOOT_KEYS = ("x", "y", "z", "pitch", "yaw", "roll", "bend")
SLIVER = 1e-4
"""Frames: over so little a path's slope is taken."""
HELD = {"walk": 0.25, "run": 0.25, "climb": 1.0}
"""How much a hanging foot is held back, by gait: 1 keeps it over its print until it stops hanging (judgement)."""
LANDING = 0.45
"""The forward speed in the world of a foot about to land, as a share of the belt's (judgement)."""
ROUNDS = 24
TOUCHES = 2e-4
"""Metres at a leg of 0.9 m that a swinging sole may cut into the ground between keys; planting takes them away."""
WORTH = 0.97
"""A round of raising the swing's keys that leaves more than this share of the worst cut was the last one."""
MIDDLE = (0.25, 0.8)
"""Share of the swing that keeps clear of the ground."""
KEPT = 0.65
"""Share of the asked height that it keeps there."""
BRUSH = 0.005
"""Metres at a leg of 0.9 m that passing soles may overlap: so much an outline may be off."""
EDGE = 0.01
"""Metres kept between a foot and the edges of its tread, where there is room."""


@dataclass(frozen=True, slots=True, eq=False)
class FootPlan:
    """Both feet's cycles in the world, by `FOOT_KEYS`, left then right, each from the left contact on.

    ``moments`` are offsets from a foot's own contact: flat, heel-off, toe-off, hang, middle of the swing, toes up.
    """

    feet: tuple[dict[str, Cycle], dict[str, Cycle]]
    moments: dict[str, int]


def moments_of(recipe: Recipe) -> dict[str, int]:
    """Return an animator's moments of one foot, frames after its contact, in order."""
    pace = recipe.pace
    hang = pace.toe_off + (max(1, recipe.hang.frames) if recipe.hang.amount else 1)
    lift = pace.frames - recipe.toes.before
    middle = min(max(hang + 1, (hang + lift + 1) // 2), lift - 1)
    return {
        "contact": 0, "flat": recipe.heel_to_toe.flat_after, "heel off": recipe.heel_off, "toe off": pace.toe_off,
        "hang": hang, "middle": middle, "toes up": lift,
    }  # fmt: skip


def angle_cycles(recipe: Recipe, onset: float) -> tuple[Cycle, Cycle]:
    """Return a foot's pitch and toe bend, radians; on the ground the toes lie flat."""
    pace, roll, toes, at = recipe.pace, recipe.heel_to_toe, recipe.toes, moments_of(recipe)
    size = roll.amount
    middle, off = size * roll.middle, size * roll.off
    drag, lift = toes.amount * toes.drag, toes.amount * toes.lift
    pitch = [
        (0, size * roll.contact, Shape.THROUGH),
        (at["flat"], middle, Shape.LEVEL),
        (at["heel off"], middle, Shape.LEVEL),
        (pace.toe_off, off, Shape.THROUGH),
        (at["hang"], size * roll.trail, Shape.LEVEL),
        (at["middle"], size * roll.pass_by + drag, Shape.THROUGH),
        (at["toes up"], size * roll.contact - 0.5 * lift, Shape.LEVEL),
    ]
    if roll.push is not None and at["heel off"] < pace.half < pace.toe_off:
        pitch.append((pace.half, size * roll.push, Shape.THROUGH))
    if at["flat"] == at["heel off"]:
        pitch.pop(2)

    def flat(angle: float) -> float:
        return min(max(angle, 0.0), onset)

    down = [(t, flat(v), Shape.THROUGH if v > 0 else Shape.LEVEL) for t, v, _ in pitch if 0 < t <= pace.toe_off]
    bend = [
        (0, flat(size * roll.contact) + 0.75 * lift, Shape.LEVEL), *down,
        (at["hang"], 0.4 * flat(off), Shape.THROUGH), (at["middle"], 0.0, Shape.LEVEL),
        (at["toes up"], lift, Shape.LEVEL),
    ]  # fmt: skip
    return Cycle.of(pace.frames, pitch), Cycle.of(pace.frames, bend)


def foot_plan(recipe: Recipe, rig: Rig, ground: Ground) -> FootPlan:
    """Return both feet's cycles; ``ground`` is that on which the recipe climbs or walks."""
    half, at = recipe.pace.half, moments_of(recipe)
    feet = []
    for side in range(2):
        pitch, bend = angle_cycles(recipe, rig.legs[side].foot.onset if rig.legs[side].foot.hinged else 0.0)
        path = _path(recipe, rig, ground, side, pitch, bend)
        yaw = Cycle.constant(recipe.pace.frames, _out(side) * recipe.pace.toe_out)
        flat = Cycle.constant(recipe.pace.frames, 0.0)
        cycles = dict(zip(FOOT_KEYS, (*path, pitch, yaw, flat, bend), strict=True))
        feet.append({key: cycle.shifted(side * half) for key, cycle in cycles.items()})
    return FootPlan((feet[0], feet[1]), at)


def _out(side: int) -> float:
    """Return the sign of outwards in x and yaw: the left foot's is positive."""
    return 1.0 if side == 0 else -1.0


def print_place(recipe: Recipe, side: int) -> tuple[float, float]:
    """Return where the flat ankle's footprint lies at the foot's contact, x and z in the world, metres."""
    return _out(side) * recipe.pace.width / 2.0, recipe.pace.lead * recipe.step


def belt_step(recipe: Recipe) -> tuple[float, float]:
    """Return how far the ground moves in a frame, y and z in the world, metres."""
    riser = 0.0 if recipe.stairs is None else recipe.stairs.riser
    return -riser / recipe.pace.half, -recipe.step / recipe.pace.half


def _planted(recipe: Recipe, soles: Soles, side: int, pitch: Cycle, bend: Cycle, at: Array) -> Array:
    """Return the planted ankle at offsets of the stance, world, ``(3, n)`` metres."""
    turn = np.broadcast_to(pitch.at(at), (2, len(at)))
    still = np.zeros_like(turn)
    toes = soles.planted_bend(turn, still, np.broadcast_to(bend.at(at), turn.shape))
    x, y, z = soles.planted(Turns(turn, still, still, toes))[:, side]
    yaw, (px, pz), (dy, dz) = _out(side) * recipe.pace.toe_out, print_place(recipe, side), belt_step(recipe)
    s, c = np.sin(yaw), np.cos(yaw)
    return np.array([px + c * x + s * z, y + dy * at, pz + c * z - s * x + dz * at])


def _path(recipe: Recipe, rig: Rig, ground: Ground, side: int, pitch: Cycle, bend: Cycle) -> list[Cycle]:
    """Return the ankle's x, y and z in the world."""
    pace, at, soles = recipe.pace, moments_of(recipe), Soles.of(rig)
    keys = {0, at["flat"], at["heel off"], pace.toe_off}
    keys |= {pace.half} if at["heel off"] < pace.half < pace.toe_off else set()
    down = np.array(sorted(keys), dtype=np.float64)
    here = _planted(recipe, soles, side, pitch, bend, down)
    after = _planted(recipe, soles, side, pitch, bend, np.minimum(down + SLIVER, pace.toe_off))
    before = _planted(recipe, soles, side, pitch, bend, np.maximum(down - SLIVER, 0.0))
    leaving, entering = (after - here) / SLIVER, (here - before) / SLIVER
    leaving[:, -1] = entering[:, -1]
    swing = np.array([at["hang"], at["middle"], at["toes up"]], dtype=np.float64)
    up = _swing(recipe, soles, ground, side, (here[:, -1], here[:, 0]), (pitch, bend), swing)
    free = np.full((3, 3), np.nan)
    offset = np.append(down, swing)

    def carried(height: Array) -> list[Cycle]:
        entering[0, 0] = 0.0
        entering[1, 0] = 1.2 * (here[1, 0] - height[-1]) / (pace.frames - swing[-1])
        entering[2, 0] = LANDING * belt_step(recipe)[1]
        lifted = np.array([up[0], height, up[2]])
        rows = (np.concatenate(pair, axis=1) for pair in ((here, lifted), (entering, free), (leaving, free)))
        return [Cycle.given(pace.frames, offset, *row) for row in zip(*rows, strict=True)]

    height, earlier = up[1], np.inf
    path = carried(height)
    for _ in range(ROUNDS):
        short = _sunk(recipe, soles, ground, side, path, (pitch, bend))
        most = float(short.max())
        if most < TOUCHES * rig.leg / REFERENCE_LEG or most > WORTH * earlier:
            break
        earlier = most
        height = height + _raise(recipe, short, swing)
        path = carried(height)
    return path


def _swing_samples(recipe: Recipe) -> Array:
    """Return offsets between toe-off and the next contact, ``(n,)``, a fifth of a frame apart."""
    span = recipe.pace.frames - recipe.pace.toe_off
    return recipe.pace.toe_off + np.arange(1, span * 5) / 5.0


def _sunk(
    recipe: Recipe, soles: Soles, ground: Ground, side: int, path: list[Cycle], angles: tuple[Cycle, Cycle]
) -> Array:
    """Return how far the sole is too low during the swing, metres, ``(n,)``.

    It may not touch the ground, and in the middle keeps most of the asked height.
    """
    at = _swing_samples(recipe)
    x, y, z = (cycle.at(at) for cycle in path)
    share = (at - recipe.pace.toe_off) / (recipe.pace.frames - recipe.pace.toe_off)
    middle = (share > MIDDLE[0]) & (share < MIDDLE[1])
    kept = np.where(middle, KEPT * recipe.lift.amount * recipe.lift.height, 0.0)
    return np.asarray((_over(recipe, soles, ground, side, (x, z), angles, at) - y).max(axis=0) + kept)


def _raise(recipe: Recipe, short: Array, keys: Array) -> Array:
    """Return by how much each of the swing's keys goes up for the deepest cut, ``(3,)`` metres."""
    at = float(_swing_samples(recipe)[short.argmax()])
    ends = np.concatenate([[recipe.pace.toe_off], keys, [recipe.pace.frames]])
    after = int(np.searchsorted(ends, at))
    part = (at - ends[after - 1]) / (ends[after] - ends[after - 1])
    weight = np.zeros(len(ends))
    weight[after - 1], weight[after] = 1.0 - part, part
    weight[[0, -1]] = 0.0
    return np.asarray(weight[1:-1] * float(short.max()) / max(float(weight @ weight), 0.1))


def _swing(
    recipe: Recipe, soles: Soles, ground: Ground, side: int, ends: tuple[Array, Array], angles: tuple[Cycle, Cycle],
    at: Array,
) -> Array:  # fmt: skip
    """Return the ankle at the swing's keys, world, ``(3, 3)``: hanging, in the middle, toes up."""
    (gone, lands), pace, lift = ends, recipe.pace, recipe.lift
    span = pace.frames - pace.toe_off
    u = (at - pace.toe_off) / span
    until = u[0] / (1.0 - u[0])
    part = np.clip((u - HELD[recipe.gait] * recipe.hang.amount * until * (1.0 - u)) / 0.85, 0.0, 1.0)
    part = part * part * (3.0 - 2.0 * part)
    left = np.repeat(gone[:, None], len(at), axis=1)
    if recipe.stairs is not None:  # straight up off the tread first: it stays over it while the belt moves on
        left[2] += belt_step(recipe)[1] * (at - pace.toe_off)
    x, _, z = left + (lands[:, None] - left) * part
    x = x + _out(side) * recipe.arc.amount * recipe.arc.out * np.array([0.4, 1.0, 0.3])
    clear = lift.amount * np.array([lift.behind, lift.height, lift.height])
    y = _over(recipe, soles, ground, side, (x, z), angles, at).max(axis=0) + clear
    return np.array([x, y, z])


def _over(
    recipe: Recipe, soles: Soles, ground: Ground, side: int, place: tuple[Array, Array], angles: tuple[Cycle, Cycle],
    at: Array,
) -> Array:  # fmt: skip
    """Return how high the ankle must be for each corner to clear the ground, world, ``(corners, n)`` metres."""
    x, z = place
    turned = np.array([angles[0].at(at), np.full(len(at), _out(side) * recipe.pace.toe_out), np.zeros(len(at))])
    corners = soles.corners(np.stack([turned, turned], axis=1), np.stack([angles[1].at(at)] * 2))[:, :, side]
    dy, dz = belt_step(recipe)
    # the ground lies on the world at the left contact; the right foot's own contact is half a cycle on
    late = at + side * recipe.pace.half
    under = ground.height(corners[0] + x, corners[2] + z - dz * late) + dy * late
    return np.asarray(under - corners[1])


def least_width(recipe: Recipe, rig: Rig) -> float:
    """Return how far apart the ankles must be for the soles to pass each other, metres; they may just brush."""
    turn, inner = recipe.pace.toe_out, 0.0
    for side, leg in enumerate(rig.legs):
        x, z = leg.foot.outline.T
        inner += float((-_out(side) * x * np.cos(turn) - z * np.sin(turn)).max())
    return inner - BRUSH * rig.leg / REFERENCE_LEG


def own_stairs(recipe: Recipe, rig: Rig) -> tuple[float, float]:
    """Return where the edge of the tread under the left foot's contact lies, z and the tread's height, metres.

    The foot stands in the middle of it where it's long enough, else the heel hangs over.
    """
    assert recipe.stairs is not None
    foot, yaw = rig.legs[0].foot, recipe.pace.toe_out
    along = foot.outline[:, 1] * np.cos(yaw) - foot.outline[:, 0] * np.sin(yaw)
    _, z = print_place(recipe, 0)
    room = recipe.stairs.tread - float(np.ptp(along))
    gap = room / 2.0 if room > 0.0 else min(EDGE, 0.05 * recipe.stairs.tread)
    return z + float(along.max()) + gap - recipe.stairs.tread, 0.0
