"""A cycle laid over edges: its knees and ankles, and how its feet are set down."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from surefoot import Profile, check, demo, plant, preset_ground
from surefoot.findings import Finding
from surefoot.ground_presets import STAIRS
from surefoot.laying import Laid, lay


@cache
def walked(riser: float, tread: float) -> tuple[Laid, tuple[Finding, ...]]:
    """Return the lamplighter's six rounds over stairs, and what the joints are warned of."""
    clip, rig = demo("lamplighter")
    ground = Profile.stairs(riser=riser, tread=tread, count=40, start=1.0, name="stairs")
    laid = lay(clip, rig, ground=ground, loops=6, let=("hips.y",))
    report = check(plant(laid.clip, rig, ground=ground, keys="few").clip, rig, ground=ground)
    return laid, tuple(f for f in report.findings if f.kind in ("limit", "snap") and f.level != "note")


@pytest.mark.parametrize("name", ["accessible", "private", "utility", "general"])
def test_no_joint_is_warned_of_on_the_way_up(name: str) -> None:
    """A heel that lands first, the toes up, took ankles 5 to 11 degrees beyond their range."""
    assert walked(STAIRS[name].riser, STAIRS[name].tread)[1] == ()


@pytest.mark.parametrize("name", ["accessible", "private", "utility", "general"])
def test_no_joint_is_warned_of_on_the_way_down_once_on_the_stairs(name: str) -> None:
    """Knees whipped at every landing, 22 700 to 43 000 deg/s2; the first landing, from a full stride, still may."""
    laid, warned = walked(-STAIRS[name].riser, STAIRS[name].tread)
    first = next(step for step in laid.steps if step.toned)
    assert [f for f in warned if f.kind == "limit" or f.first > first.frames[0]] == []


def test_a_foot_has_gone_ahead_by_some_seventy_per_cent_of_a_swing_down_and_after_some_thirty_up() -> None:
    for riser, ends in ((0.178, "leaves"), (-0.178, "arrives")):
        laid, _ = walked(riser, 0.279)
        on = [getattr(step, ends) for step in laid.steps if step.at > 1.3][1:-2]
        assert len(on) >= 6
        np.testing.assert_allclose(on, 0.3 if riser > 0.0 else 0.7, atol=0.05)


def test_ramps_and_level_ground_keep_the_cycles_own_time_and_landings() -> None:
    clip, rig = demo("lamplighter")
    for name in ("ramp-1-12", "ramp-1-15", "ramp-1-20"):
        ground = preset_ground(name)
        steps = lay(clip, rig, ground=ground, loops=3).steps
        assert {(step.leaves, step.arrives, step.turns, step.settles) for step in steps[:2]} == {(0.0, 1.0, 0.0, 1.0)}
        assert not any(step.toned for step in steps[:2])
