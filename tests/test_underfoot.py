"""Ground inside a sole and ground beneath it, against dense sampling of the sole that shares no code with it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Clip, Curve, Flat, Ground, Plane, Profile, Rig, Stance, check
from surefoot.ground_grid import Grid
from surefoot.sole import Soles
from surefoot.underfoot import poke_depth, rise_inside, support_of
from tests.walks import make_rig

SOLE = -0.085
STAIRS = Profile.stairs(riser=0.178, tread=0.279, count=8)
LEVEL = np.radians(4.0)


def posed(rig: Rig, ankle: tuple[float, float, float], pitch: float, yaw: float, cant: float, bend: float) -> tuple:
    """Return both feet at one pose, one sample."""
    full = np.tile(np.array(ankle)[:, None, None], (1, 2, 1))
    angles = np.tile(np.array([pitch, yaw, cant])[:, None, None], (1, 2, 1))
    return rig, Soles.of(rig), full, angles, np.full((2, 1), bend)


def pieces(rig: Rig, pose: tuple, step: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return points of the left sole's two pieces every ``step`` metres, world ``(n, 3)``, and each piece's normal."""
    _, _, ankle, angles, bend = pose
    pitch, yaw, cant = angles[:, 0, 0]
    foot = rig.legs[0].foot
    turn = Rotation.from_euler("YXZ", [yaw, pitch, cant])
    tips = Rotation.from_rotvec([-float(bend[0, 0]), 0.0, 0.0])
    (low, back), (high, front) = foot.outline.min(axis=0), foot.outline.max(axis=0)
    x, z = np.meshgrid(np.arange(low, high + step, step), np.arange(back, front + step, step))
    x, z = x.ravel(), z.ravel()
    inside = np.ones(len(x), dtype=bool)
    for one, two in zip(foot.outline, np.roll(foot.outline, -1, axis=0), strict=True):
        middle = foot.outline.mean(axis=0)
        side = [(two[0] - one[0]) * (v - one[1]) - (two[1] - one[1]) * (u - one[0]) for u, v in ((x, z), middle)]
        inside &= side[0] * np.sign(side[1]) >= -1e-12
    points = np.column_stack([x, np.full_like(x, foot.sole), z])[inside]
    hind = points[:, 2] <= foot.ball[2]
    toes = tips.apply(points[~hind] - foot.ball) + foot.ball
    up = np.array([0.0, 1.0, 0.0])
    place = ankle[:, 0, 0]
    return [
        (turn.apply(points[hind]) + place, turn.apply(up)), (turn.apply(toes) + place, turn.apply(tips.apply(up))),
    ]  # fmt: skip


def random_pose(rig: Rig, random: np.random.Generator, ground: Ground) -> tuple:
    z, yaw = random.uniform(0.0, 2.0), random.uniform(-0.6, 0.6)
    pitch, cant, bend = random.uniform(-0.5, 0.6), random.uniform(-0.2, 0.2), random.uniform(0.0, 0.6)
    y = float(ground.height(0.0, z)) - SOLE + random.uniform(-0.05, 0.15)
    return posed(rig, (random.uniform(-0.1, 0.1), y, z), pitch, yaw, cant, bend)


def test_ground_inside_a_sole_is_what_dense_sampling_finds_on_200_poses() -> None:
    """A nosing is sampled as ground a hair's breadth behind its edge; the sole every 2 mm (and its corners)."""
    rig, random, met = make_rig(), np.random.default_rng(2), 0
    for _ in range(200):
        pose = random_pose(rig, random, STAIRS)
        rig_, soles, ankle, angles, bend = pose
        found = float(rise_inside(STAIRS, rig_, soles, ankle, angles, bend)[0, 0])
        deep = float(poke_depth(STAIRS, rig_, soles, ankle, angles, bend)[0, 0])
        # every place of the sole, moved to the nearest nosing ahead of or behind it within the step
        most, depth = 0.0, 0.0
        parts = pieces(rig, pose, 0.002)
        ends = np.array([[points[:, 2].min(), points[:, 2].max()] for points, _ in parts])
        if np.abs(ends.ravel()[:, None] - STAIRS.distance).min() < 0.004:  # too near to an edge for samples to tell
            continue
        for points, up in parts:
            for edge, top in zip(STAIRS.distance[::2], STAIRS.elevation[1::2], strict=True):
                near = np.abs(points[:, 2] - edge) < 0.003
                if not near.any() or not (points[:, 2].min() < edge < points[:, 2].max()):
                    continue
                # the sole's height right at the edge, out of its plane
                on_edge = points[near].copy()
                shift = edge - on_edge[:, 2]
                on_edge[:, 1] -= shift * up[2] / up[1]
                high = top - on_edge[:, 1].min()
                most, depth = max(most, high), max(depth, min(high * up[1], edge - ends.min(), ends.max() - edge))
        met += most > 0.0
        assert found == pytest.approx(most, abs=4e-3)
        assert deep == pytest.approx(depth, abs=4e-3)
    assert met > 60


def test_a_heel_just_inside_a_riser_is_in_it_by_that_much_though_its_toes_lie_over_the_next_edge() -> None:
    """The two edges are far from each other: neither lends its distance to the other's height."""
    rig = make_rig()
    foot = rig.legs[0].foot
    reach = float(foot.outline[:, 1].max() - foot.outline[:, 1].min())
    stairs = Profile.stairs(riser=-0.178, tread=reach - 0.02, count=8)
    back, into = float(foot.outline[:, 1].min()), 0.0007
    pose = posed(rig, (0.0, -0.013 - SOLE, -into - back), 0.0, 0.0, 0.0, 0.0)
    assert float(poke_depth(stairs, *pose)[0, 0]) == pytest.approx(into, abs=1e-9)


def test_a_nosing_under_the_arch_is_found_while_heel_and_ball_are_above_ground() -> None:
    rig = make_rig()
    # heel over the lower tread, ball over the upper one; the edge of the third step stands in the arch
    edge = 2 * 0.279
    height = 3 * 0.178 + 0.085
    pitch = np.radians(-12.0)
    pose = posed(rig, (0.0, height + 0.012 - 0.02, edge - 0.03), pitch, 0.0, 0.0, 0.0)
    _, soles, ankle, angles, bend = pose
    line = soles.centre_line(angles, bend) + ankle[:, None]
    above = line[1] - STAIRS.height(line[0], line[2])
    assert above.min() > 0.0  # a test of heel, ball and toe heights sees nothing
    assert float(poke_depth(STAIRS, *pose)[0, 0]) > 0.002


def standing(place: tuple[float, float, float], yaw: float = 0.0) -> Clip:
    """Return a still clip of a foot that stands at ``place`` (the left), the other one beside it in the air."""
    values = {f"hips.{key}": 0.0 for key in ("x", "y", "z", "pitch", "yaw", "roll")}
    values["hips.y"], values["hips.z"] = place[1] + 0.8, place[2]
    for side, dx, lift in (("left", 0.09, 0.0), ("right", -0.09, 0.1)):
        for key, value in zip("xyz", place, strict=True):
            values[f"{side}_foot.{key}"] = value
        values[f"{side}_foot.x"] += dx
        values[f"{side}_foot.y"] += lift
        values |= {f"{side}_foot.{key}": 0.0 for key in ("pitch", "yaw", "roll", "bend")}
        values[f"{side}_foot.yaw"] = yaw
    channels = {name: Curve.through([1.0, 10.0], [value, value]) for name, value in values.items()}
    return Clip(channels, Fraction(24), 1, 10, stances=(Stance("left", 1, 10),))


def test_a_nosing_under_the_arch_is_a_sink() -> None:
    rig = make_rig()
    clip = standing((0.0, 3 * 0.178 + 0.085 - 0.008, 2 * 0.279 - 0.03))
    tilted = Curve.through([1.0, 10.0], [np.radians(-12.0)] * 2)
    found = check(clip.with_channels({"left_foot.pitch": tilted}), rig, ground=STAIRS).most("sink")
    assert found is not None
    assert found.level in ("warning", "error")


@pytest.mark.parametrize("yaw", [0.0, np.pi / 2])
def test_toes_or_an_outer_edge_beyond_a_tread_are_an_overhang_that_heights_of_heel_and_ball_miss(yaw: float) -> None:
    rig = make_rig()
    ground = Profile.kerb(height=-0.2, at=1.0)
    ahead = 1.0 - 0.15 if yaw == 0.0 else 1.0 - 0.01  # past the ball; or along the kerb, an edge beyond it
    clip = standing((0.0, 0.085, ahead), yaw)
    foot = rig.legs[0].foot
    turn = Rotation.from_euler("y", yaw)
    for point in (np.array(foot.heel), np.array([0.0, foot.sole, foot.ball[2]])):
        x, _, z = turn.apply(point) + np.array([0.09, 0.085, ahead])
        assert float(ground.height(x, z)) == pytest.approx(0.0)  # both stand
    found = check(clip, rig, ground=ground).most("overhang")
    assert found is not None
    assert found.foot == "left"
    assert found.unit == "%"
    assert 15.0 < found.shown < 45.0
    safe = standing((0.0, 0.085, 0.7), yaw)
    assert check(safe, rig, ground=ground).most("overhang") is None


def test_the_supported_share_is_that_of_a_dense_count() -> None:
    rig, random = make_rig(), np.random.default_rng(4)
    for _ in range(40):
        edge = random.uniform(0.9, 1.3)
        ground = Profile([0.0, edge, edge, 3.0], [0.0, 0.0, -0.3, -0.3])
        pose = posed(rig, (0.0, 0.085, 1.0), 0.0, random.uniform(-1.0, 1.0), 0.0, 0.0)
        _, soles, ankle, angles, bend = pose
        share = float(support_of(ground, rig, soles, ankle, angles, bend, level=LEVEL).share[0, 0])
        points = np.concatenate([points for points, _ in pieces(rig, pose, 0.001)])
        on = float((ground.height(points[:, 0], points[:, 2]) > -0.01).mean())
        if on == 0.0:  # nothing beneath it at all: it stands on the lower level as far as it can tell
            continue
        assert share == pytest.approx(on, abs=0.02)


def test_even_ground_has_nothing_inside_a_sole_and_asks_nothing() -> None:
    rig = make_rig()
    pose = posed(rig, (0.0, 0.0, 0.0), 0.3, 0.2, 0.1, 0.2)
    for ground in (Flat(0.0), Plane.slope(0.3)):
        assert float(np.abs(poke_depth(ground, *pose)).max()) == 0.0


def test_a_bump_of_a_grid_inside_the_sole_is_found() -> None:
    heights = np.zeros((41, 41))
    heights[20, 20] = 0.02  # one cobble 40 mm wide, at the origin
    rig, grid = make_rig(), Grid(heights, 0.02, origin=np.array([-0.4, 0.0, -0.4]))
    pose = posed(rig, (0.0, 0.085, -0.06), 0.0, 0.0, 0.0, 0.0)
    _, soles, ankle, angles, bend = pose
    corners = soles.corners(angles, bend) + ankle[:, None]
    assert float((corners[1] - grid.height(corners[0], corners[2])).min()) == pytest.approx(0.0, abs=1e-12)
    assert float(rise_inside(grid, rig, soles, ankle, angles, bend)[0, 0]) > 0.01


def test_turning_ground_and_foot_together_changes_nothing() -> None:
    rig, random = make_rig(), np.random.default_rng(8)
    for _ in range(20):
        pose = random_pose(rig, random, STAIRS)
        _, soles, ankle, angles, bend = pose
        yaw = random.uniform(-3, 3)
        turned = np.einsum("ij,jkl->ikl", Rotation.from_euler("y", yaw).as_matrix(), ankle)
        other = angles + np.array([0.0, yaw, 0.0])[:, None, None]
        ground = STAIRS.turned(yaw)
        np.testing.assert_allclose(
            poke_depth(ground, rig, soles, turned, other, bend), poke_depth(STAIRS, *pose), atol=1e-12
        )


def test_a_planar_depth_of_plain_lines_stays_what_it_was() -> None:
    """A sole that stands square to a profile is a line in its plane: the corner's distance to it."""
    rig = make_rig()
    pose = posed(rig, (0.0, 0.178 * 3 + 0.06, 0.56), 0.1, 0.0, 0.0, 0.0)
    _, soles, ankle, angles, bend = pose
    heel, ball, toe = (soles.centre_line(angles, bend) + ankle[:, None]).swapaxes(0, 1)
    lines = np.maximum(STAIRS.corners_between(heel, ball), STAIRS.corners_between(ball, toe))
    np.testing.assert_allclose(poke_depth(STAIRS, *pose), lines, atol=1e-12)


def test_a_still_stance_may_be_left_alone() -> None:
    rig, ground = make_rig(), Profile.kerb(height=-0.2, at=1.0)
    clip = standing((0.0, 0.085, 0.85))
    alone = replace(clip, stances=(Stance("left", 1, 10, left_alone=True),))
    assert check(alone, rig, ground=ground).most("overhang") is None


@pytest.mark.parametrize("pitch", [-8.0, 8.0], ids=["on the heel", "heel up"])
def test_toes_along_the_ground_are_judged_under_a_raised_heel_and_not_in_the_air(pitch: float) -> None:
    rig, ground = make_rig(), Flat(0.0)
    angles, bend = np.zeros((3, 2, 1)), np.full((2, 1), np.radians(pitch))
    angles[0] = np.radians(pitch)
    ankle = np.zeros((3, 2, 1))
    ankle[1] = -Soles.of(rig).lowest(angles[0], angles[2], bend)
    share = support_of(ground, rig, Soles.of(rig), ankle, angles, bend, level=LEVEL).share
    assert np.isnan(share).all() if pitch < 0.0 else (share > 0.99).all()
