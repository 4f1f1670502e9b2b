"""Walks over stairs, ramps, a kerb, cobbles and waves, few keys and every frame, measured apart from the solver.

On profiles a sole is in the ground by the distance of its deepest place from the ground's line, or by that of an edge
from the sole; an edge counts no deeper than it lies within the sole's ends, which is the other way out.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from surefoot import Clip, Ground, Planted, Profile, check, demo, plant
from surefoot.ground_presets import STAIRS
from surefoot.laying import Laid, lay
from tests import measure
from tests.test_lay import FEET, GROUNDS, LOOPS, steps_on

Array = np.ndarray
PER_FRAME = 10
WALKED: dict[str, Ground] = {
    **GROUNDS,
    **{
        f"{name}-{way}": Profile.stairs(riser=sign * stair.riser, tread=stair.tread, count=40, start=1.0)
        for name, stair in STAIRS.items()
        if name != "accessible"
        for way, sign in (("up", 1.0), ("down", -1.0))
    },
}  # fmt: skip
KEYS = ("every", "few")


@cache
def laid_over(name: str) -> Laid:
    clip, rig = demo("lamplighter")
    return lay(clip, rig, ground=WALKED[name], loops=LOOPS, let=("hips.y",))


@cache
def planted_on(name: str, keys: str) -> Planted:
    return plant(laid_over(name).clip, demo("lamplighter")[1], ground=WALKED[name], keys=keys)  # type: ignore[arg-type]


def to_line(point: Array, line: Array) -> Array:
    """Return the distances of points ``(n, 2)`` from a polyline ``(m, 2)``."""
    way = np.diff(line, axis=0)
    size = (way**2).sum(axis=1)
    at = np.clip(((point[:, None] - line[:-1]) * way).sum(axis=2) / np.where(size > 0.0, size, 1.0), 0.0, 1.0)
    return np.asarray(np.sqrt(((point[:, None] - line[:-1] - at[..., None] * way) ** 2).sum(axis=2)).min(axis=1))


def pieces(points: Array, hind: int) -> Iterator[Array]:
    """Yield the two flat pieces of a sole ``(corners, 2)``: distance along +Z and height."""
    side = points[:, [2, 1]]
    yield side[:hind]
    yield side[hind:-3]


def depth_in(ground: Profile, points: Array, hind: int) -> float:
    """Return how deep one sole ``(points, 3)`` is in a profile along +Z, metres; 0 where it's out."""
    line = np.column_stack([ground.distance, ground.elevation])
    line = np.concatenate([line[:1] - [60.0, 0.0], line, line[-1:] - [-60.0, 0.0]])
    worst, every = 0.0, points[:, 2]
    for piece in pieces(points, hind):
        back, front = piece[piece[:, 0].argmin()], piece[piece[:, 0].argmax()]
        along = np.concatenate([back + np.linspace(0.0, 1.0, 60)[:, None] * (front - back), piece])
        inside = along[along[:, 1] < ground.height(np.zeros(len(along)), along[:, 0]) - 1e-9]
        if len(inside):
            worst = max(worst, float(to_line(inside, line).max()))
        for at, rise in line:
            if back[0] < at < front[0]:
                tilt = (front[1] - back[1]) / (front[0] - back[0])
                above = (rise - back[1] - tilt * (at - back[0])) / np.hypot(1.0, tilt)
                worst = max(worst, min(above, at - float(every.min()), float(every.max()) - at))
    return worst


def depths(clip: Clip, name: str, per_frame: int) -> Array:
    """Return how deep each sole gets, ``(2, instants)`` metres."""
    _, rig = demo("lamplighter")
    ground, at = WALKED[name], measure.instants(clip.first, clip.last, per_frame)
    found = []
    for foot in range(2):
        steps = steps_on(clip, foot, at, ground)
        if isinstance(ground, Profile):
            hind = len(measure.sole_of(rig.legs[foot].foot)[0])
            near = steps.height.min(axis=1) < 0.3
            found.append([depth_in(ground, p, hind) if n else 0.0 for p, n in zip(steps.points, near, strict=True)])
        else:
            found.append(np.maximum(-steps.height.min(axis=1), 0.0).tolist())
    return np.array(found)


def test_the_witness_finds_heels_in_risers_and_edges_under_soles() -> None:
    ground, hind = Profile.kerb(height=0.12, at=0.0), 4
    flat = [[x, 0.0, z] for z in (-0.1, 0.1) for x in (-0.04, 0.04)]
    toes = [[x, 0.0, z] for z in (0.1, 0.16) for x in (-0.04, 0.04)]
    sole = np.array(flat + toes + flat[:3])
    assert depth_in(ground, np.add(sole, (0.0, 0.117, 0.0)), hind) == pytest.approx(0.003)
    assert depth_in(ground, np.add(sole, (0.0, 0.05, -0.158)), hind) == pytest.approx(0.002)
    assert depth_in(ground, np.add(sole, (0.0, 0.12, 0.0)), hind) == 0.0
    tipped = sole.copy()
    tipped[:2, 1], tipped[2:, 1] = -0.1, 0.1
    assert depth_in(ground, np.add(tipped, (0.0, 0.12 - 0.003 * np.sqrt(2.0), 0.0)), hind) == pytest.approx(0.003)


@pytest.mark.parametrize("keys", KEYS)
@pytest.mark.parametrize("name", WALKED)
def test_soles_neither_slide_nor_sink_on_frames(name: str, keys: str) -> None:
    """A tenth of a millimetre, in the swings too; half a millimetre on a grid and a mesh."""
    limit = 5e-4 if name in ("cobbles", "waves") else 1e-4
    done = planted_on(name, keys)
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        assert measure.slide(steps_on(done.clip, FEET.index(stance.foot), frames, WALKED[name])) <= limit, stance
    assert depths(done.clip, name, 1).max() <= limit


@pytest.mark.parametrize("keys", KEYS)
@pytest.mark.parametrize("name", ["up", "down", "private-up", "private-down", "general-down", "kerb", "cobbles"])
def test_soles_pass_over_edges_between_frames_too(name: str, keys: str) -> None:
    """Half a millimetre at ten places a frame; a swing went 1.8 mm through nosings, 2.6 mm through the kerb."""
    assert depths(planted_on(name, keys).clip, name, PER_FRAME).max() <= 5e-4


@pytest.mark.parametrize("name", WALKED)
def test_soles_have_ground_beneath_them_or_it_is_told(name: str) -> None:
    _, rig = demo("lamplighter")
    told = check(planted_on(name, "few").clip, rig, ground=WALKED[name]).most("overhang")
    assert min(step.share for step in laid_over(name).steps) >= 0.6 or told is not None
