"""Forward jumps and a turn, captured: no belt, a free path, and frames in which both feet fly.

The trial: CMU graphics laboratory's motion capture, see `tests/data/PROVENANCE.md`. Slide is measured by
`tests/measure.py`, which shares no code with the solver.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from surefoot import Belt, Clip, Flat, Planted, Rig, plant
from surefoot.capture import Capture, capture_clip, fit_rig
from tests import measure
from tests.data.jump import jump_points
from tests.outside.table import agrees, alike

FEET = ("left", "right")
GROUND = 0.054
"""Metres: where the right toe tip is while the subject stands. The trial doesn't say where its floor is; the
left toe tip stands at 0.074 m, so a body model with one sole height a foot is a centimetre off for one."""
PLANE = ((0.0, GROUND, 0.0), (0.0, 1.0, 0.0))
AIR = (
    (231, 268), (432, 465), (598, 636), (787, 830), (1290, 1330),
    (1552, 1589), (1781, 1821), (2219, 2256), (2435, 2475), (2637, 2676),
)  # fmt: skip
"""Rows, from 0, in which both feet fly: both ankles are at 0.17 m or higher, standing they are at 0.107 m."""


@cache
def jump() -> tuple[Clip, Rig, Planted]:
    found = jump_points()
    points = np.full((len(found.points), 2, 6, 3), np.nan)  # no heel was captured
    points[:, :, [0, 1, 2, 4, 5]] = found.points
    whole = Capture(points, found.rate, found.hips, found.hips_rotation)
    rig = fit_rig(whole, name="jump", ground=GROUND)
    clip = capture_clip(whole, rig)
    return clip, rig, plant(clip, rig, ground=Flat(GROUND), belt=Belt())


def slides(clip: Clip) -> list[float]:
    _, rig, done = jump()
    found = []
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(clip, rig, FEET.index(stance.foot), frames, plane=PLANE)
        found.append(measure.slide(steps))
    return found


def test_the_captured_feet_slide_by_centimetres() -> None:
    """Control: what is planted slides before."""
    found = slides(jump()[0])
    assert np.median(found) > 0.02
    assert max(found) > 0.05


def test_the_planted_feet_slide_by_a_tenth_of_a_millimetre_at_most() -> None:
    """Source: captured jumps of CMU graphics laboratory (verified)."""
    _, _, done = jump()
    found = slides(done.clip)
    worst = int(np.argmax(found))
    agrees("slide of a planted stance, m", found[worst], 0.0, bound=1e-4)


@pytest.mark.parametrize("rows", AIR)
def test_no_foot_stands_while_both_fly(rows: tuple[int, int]) -> None:
    """Source: captured jumps of CMU graphics laboratory (verified)."""
    clip, _, done = jump()
    first, last = (row + clip.first for row in rows)
    alike("stances while both feet fly", [s for s in done.stances if s.first <= last and s.last >= first], [])


def test_there_is_a_stance_of_both_feet_between_any_two_flights() -> None:
    """Source: captured jumps of CMU graphics laboratory (verified)."""
    clip, _, done = jump()
    for (_, landing), (take_off, _) in pairwise(AIR):
        for foot in FEET:
            stands = any(
                s.foot == foot and s.last > landing + clip.first and s.first < take_off + clip.first
                for s in done.stances
            )
            alike("a stance between two flights", stands, True)


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_no_planted_sole_is_below_the_floor(foot: int) -> None:
    """Source: captured jumps of CMU graphics laboratory (verified)."""
    clip, rig, done = jump()
    frames = measure.instants(clip.first, clip.last)
    sunk = measure.sink(measure.foot_steps(done.clip, rig, foot, frames, plane=PLANE))
    agrees("depth of a planted sole below the floor, m", max(sunk, 0.0), 0.0, bound=1e-4)


def test_the_hips_come_back_as_the_very_same_objects() -> None:
    """Source: captured jumps of CMU graphics laboratory (verified)."""
    clip, _, done = jump()
    hips = [name for name in clip.channels if name.startswith("hips.")]
    changed = [name for name in hips if done.clip.channels[name] is not clip.channels[name]]
    alike("hip channels that are no longer the captured ones", changed, [])
    assert len(hips) == 6


@pytest.mark.parametrize("foot", [0, 1], ids=FEET)
def test_no_flight_is_moved_much_farther_than_the_stances_beside_it(foot: int) -> None:
    """At most twice as far as the ten frames on either side, and a centimetre (judgement): no overshoot.

    Source: captured jumps of CMU graphics laboratory (verified).
    """
    clip, _, done = jump()
    moved = np.linalg.norm(done.ankle_change[:, foot], axis=1)
    mine = sorted((s for s in done.stances if s.foot == FEET[foot]), key=lambda s: s.first)
    for one, two in pairwise(mine):
        start, stop = one.last - clip.first + 1, two.first - clip.first
        if start < stop:
            beside = max(moved[start - 10 : start].max(), moved[stop : stop + 10].max())
            agrees("ankle's change in flight, m", moved[start:stop].max(), 0.0, bound=2.0 * beside + 0.01)
