"""Slide on a slope: a walk slides as it would if it and its ground were turned level."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Plane, apply_proposals, check, propose
from surefoot.lean import along_slope, lean_of
from surefoot.slip import least_steps
from tests import measure
from tests.anything import tilted
from tests.walks import FEET, Walk, make_rig, random_walk

STEEP = Plane.slope(angle=np.radians(24.0), heading=0.7)


def sliding_walk(seed: int = 3) -> Walk:
    """Return a loop whose belt is stated too fast, so that its feet slide by centimetres."""
    walk = random_walk(seed)
    return replace(walk, belt=walk.belt * 1.1)


@pytest.mark.parametrize("seed", [3, 5])
def test_a_walk_drifts_on_a_slope_as_far_and_the_way_it_does_on_level_ground(seed: int) -> None:
    rig, walk = make_rig(), sliding_walk(seed)
    level = check(walk.clip(), rig).locks()
    slope = check(tilted(walk, STEEP).clip(), rig, ground=STEEP).locks()
    assert max(max(lock.drift) for lock in level) > 0.03
    lean = lean_of(STEEP)
    for one, other in zip(level, slope, strict=True):
        # the heading is the foot's in plan, which leans with the ground: paths are compared whatever it is
        assert np.hypot(other.along, other.across) == pytest.approx(np.hypot(one.along, one.across), abs=2e-4)
        s, c = np.sin(one.heading), np.cos(one.heading)
        way = along_slope(s * one.along + c * one.across, c * one.along - s * one.across, lean)
        s, c = np.sin(other.heading), np.cos(other.heading)
        ahead = np.array([s, float(np.ravel(STEEP.height(s, c))[0]), c])
        ahead /= np.linalg.norm(ahead)
        assert other.along == pytest.approx(ahead @ way, abs=4e-4)


def test_the_check_tells_as_much_slide_on_a_slope_as_the_independent_measure() -> None:
    rig, walk = make_rig(), tilted(sliding_walk(), STEEP)
    plane = (tuple(STEEP.point), tuple(STEEP.normal_at_point))
    found = {(f.foot, f.first): f.amount for f in check(walk.clip(), rig, ground=STEEP).findings if f.kind == "slide"}
    assert found
    for stance in walk.stances:
        at = measure.instants(stance.first, stance.last, 5)
        steps = measure.foot_steps(walk.clip(), rig, FEET.index(stance.foot), at, belt=walk.belt, plane=plane)
        assert found[stance.foot, stance.first] == pytest.approx(measure.slide(steps), rel=1e-6)


def test_a_point_that_leaves_a_slope_squarely_does_not_slide() -> None:
    lean = lean_of(STEEP)
    assert lean is not None
    away = 4e-4 * STEEP.normal_at_point
    points = np.stack([np.zeros(3), away], axis=-1)[:, None]
    height = points[1] - STEEP.height(points[0], points[2])
    assert np.abs(least_steps(points, height, lean)).max() < 1e-15
    assert np.abs(least_steps(points, height)).max() > 1e-4  # in plan it moves


def test_ground_is_looked_at_in_plan_where_it_does_not_slope_alike() -> None:
    level = Plane.slope(0.0)
    assert lean_of(level) is None
    assert along_slope(np.array([1.0]), np.array([2.0]), None).ravel().tolist() == [1.0, 0.0, 2.0]
    lean = lean_of(STEEP)
    assert lean is not None
    turn, _ = Rotation.align_vectors([STEEP.normal_at_point], [[0.0, 1.0, 0.0]])
    assert np.abs(lean - turn.as_matrix()).max() < 1e-12
    assert np.abs(STEEP.normal_at_point @ along_slope(np.array([1.0, -2.0]), np.array([0.3, 4.0]), lean)).max() < 1e-12


@pytest.mark.parametrize("way", ["hold in place", "another footprint"])
def test_a_slide_on_a_slope_is_mended_along_it(way: str) -> None:
    """The foot neither rises nor sinks by more than it did, as it would if it were shifted level."""
    rig, walk = make_rig(), tilted(sliding_walk(), STEEP)
    clip = walk.clip()
    plane = (tuple(STEEP.point), tuple(STEEP.normal_at_point))
    report = check(clip, rig, ground=STEEP)
    made = [p for p in propose(clip, rig, ground=STEEP, report=report) if p.way == way and p.finding.kind == "slide"]
    assert made
    for proposal in made[:2]:
        assert proposal.leaves < 0.5 * proposal.finding.amount
        after, finding = apply_proposals(clip, rig, [proposal]), proposal.finding
        at = measure.instants(finding.first, finding.last)
        foot = FEET.index(finding.foot)
        before, now = (measure.foot_steps(c, rig, foot, at, belt=walk.belt, plane=plane) for c in (clip, after))
        assert measure.slide(now) < 0.5 * measure.slide(before)
        assert np.abs(now.height - before.height).max() < 1e-4
