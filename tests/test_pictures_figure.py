"""The posed figure: what it hands to whoever draws it is what the library worked out, in the layout it states."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon

import surefoot
from surefoot.clip import Clip
from surefoot.pictures.figure import JOINTS, VIEWS, figure_of, footings_of, looked_at, scene_at
from surefoot.pictures.subject import Subject, key_poses, worst_frames
from surefoot.rig import Rig

DEMOS = ("lamplighter", "treadmill")


@pytest.fixture(scope="module", params=DEMOS)
def planted(request: pytest.FixtureRequest) -> tuple[Subject, surefoot.Planted]:
    clip, rig = surefoot.demo(request.param)
    done = surefoot.plant(clip, rig)
    return Subject.of(done.clip, rig), done


def test_its_arrays_have_the_shapes_that_the_module_states(planted: tuple[Subject, surefoot.Planted]) -> None:
    subject, _ = planted
    figure, n = subject.figure, subject.clip.frames
    assert figure.frames.tolist() == list(range(subject.clip.first, subject.clip.last + 1))
    assert figure.joints.shape == (n, 2, len(JOINTS), 3)
    assert figure.hind.shape[:2] == figure.toes.shape[:2] == (n, 2)
    assert figure.hind.shape[3] == figure.toes.shape[3] == 3
    assert figure.hips.shape == figure.up.shape == figure.forward.shape == (n, 3)
    assert figure.standing.shape == (n, 2)
    assert figure.standing.dtype == bool
    assert figure.anchors.shape == (n, 2, 3, 3)
    assert figure.world_from_ground.shape == (n, 4, 4)
    assert np.array_equal(np.isfinite(figure.anchors).all(axis=(2, 3)), figure.standing)


def test_the_bones_are_as_long_as_the_rig_says(planted: tuple[Subject, surefoot.Planted]) -> None:
    subject, _ = planted
    hip, knee, ankle, _, hinge, ball, toe = np.moveaxis(subject.figure.joints, 2, 0)
    for foot, leg in enumerate(subject.rig.legs):
        assert np.allclose(np.linalg.norm(knee - hip, axis=-1)[:, foot], leg.thigh, atol=1e-12)
        reached = np.linalg.norm(ankle - hip, axis=-1)[:, foot] < leg.length
        assert np.allclose(np.linalg.norm(ankle - knee, axis=-1)[reached, foot], leg.shank, atol=1e-9)
        assert np.allclose(np.linalg.norm(hinge - ankle, axis=-1)[:, foot], np.linalg.norm(leg.foot.ball), atol=1e-12)
        ahead = np.linalg.norm(toe - ball, axis=-1)[:, foot]
        assert np.allclose(ahead, ahead[0], atol=1e-12)


def test_the_matrices_lead_back_to_the_world(planted: tuple[Subject, surefoot.Planted]) -> None:
    subject, _ = planted
    figure, pose = subject.figure, subject.scene.pose
    for row, wanted in ((0, pose.hip), (2, pose.ankle)):
        point = np.concatenate([figure.joints[:, :, row], np.ones((*figure.standing.shape, 1))], axis=-1)
        world = np.einsum("nij,nfj->nfi", figure.world_from_ground, point)[..., :3]
        assert np.allclose(world, wanted.transpose(2, 1, 0), atol=1e-12)
    turn = figure.world_from_ground[:, :3, :3]
    assert np.allclose(np.einsum("nij,nj->ni", turn, figure.up), pose.hips_turn[:, 1].T, atol=1e-12)
    assert np.allclose(np.einsum("nij,nj->ni", turn, figure.forward), pose.hips_turn[:, 2].T, atol=1e-12)


def test_a_belt_that_turns_has_matrices_that_turn_with_it() -> None:
    clip, rig = surefoot.demo("lamplighter")
    scene = Subject.of(clip, rig, belt=surefoot.Belt([0.3, 0.0, -1.0], 0.4)).scene
    figure = figure_of(scene, ())
    point = np.concatenate([figure.joints[:, :, 2], np.ones((scene.count, 2, 1))], axis=-1)
    world = np.einsum("nij,nfj->nfi", figure.world_from_ground, point)[..., :3]
    assert np.allclose(world, scene.pose.ankle.transpose(2, 1, 0), atol=1e-12)


def test_a_planted_foot_stands_on_its_anchors(planted: tuple[Subject, surefoot.Planted]) -> None:
    """While the sole is flat to a millimetre, its points lie on what the footprint holds."""
    subject, done = planted
    figure = subject.figure
    flat = figure.standing & (np.ptp(figure.joints[:, :, (3, 5, 6), 1], axis=2) < 1e-3)
    assert flat.sum() > 8
    off = np.linalg.norm(figure.joints[:, :, (3, 5, 6)] - figure.anchors, axis=-1)[flat]
    assert off.max() < 2e-3
    shift = np.zeros(3) if subject.scene.drift is None else np.array(subject.scene.drift.shift)
    for footing, step in zip(subject.footings, done.footprints, strict=True):
        assert footing.stance == step.stance
        off_print = min(np.linalg.norm(footing.place + lap * shift - step.place) for lap in (-1, 0, 1))
        assert off_print < 1e-3


def test_a_loops_footprint_lies_where_the_foot_is_in_its_frames(planted: tuple[Subject, surefoot.Planted]) -> None:
    subject, _ = planted
    for footing in subject.footings:
        ankle = subject.figure.joints[footing.stance.first - subject.clip.first, footing.foot, 2]
        assert np.hypot(*(ankle - footing.place)[::2]) < 0.3


def test_the_soles_rings_run_round_without_crossing(planted: tuple[Subject, surefoot.Planted]) -> None:
    subject, _ = planted
    for foot, leg in enumerate(subject.rig.legs):
        areas = []
        for ring in (subject.figure.hind, subject.figure.toes):
            flat = subject.footings[-1] if foot == 1 else subject.footings[0]
            shape = Polygon((flat.hind if ring is subject.figure.hind else flat.toes)[:, ::2])
            assert shape.is_valid
            areas.append(shape.area)
        assert sum(areas) == pytest.approx(Polygon(leg.foot.outline).area, rel=1e-9)


def test_rings_hold_the_same_points_that_the_check_looks_at() -> None:
    clip, rig = surefoot.demo("treadmill")
    subject = Subject.of(clip, rig)
    looked = subject.seen.touch.points[:, :-3, :, ::5].transpose(3, 2, 1, 0)
    drawn = np.concatenate([subject.figure.hind, subject.figure.toes], axis=2)
    for axis in range(3):
        assert np.allclose(np.sort(drawn[..., axis], axis=2), np.sort(looked[..., axis], axis=2), atol=1e-12)


def test_frames_of_a_loop_are_taken_back_into_it() -> None:
    clip, rig = surefoot.demo("lamplighter")
    scene = Subject.of(clip, rig).scene
    here, there = scene_at(scene, [3.0, 24.4]), scene_at(scene, [27.0, 0.4])
    assert np.allclose(here.pose.ankle, there.pose.ankle, atol=1e-12)
    assert np.array_equal(scene_at(scene, scene.frames).pose.ankle, scene.pose.ankle)


@pytest.mark.parametrize("heading", [0.0, 0.5, np.pi])
def test_the_grounds_line_keeps_every_corner_of_a_stair(heading: float) -> None:
    stairs = surefoot.Profile.stairs(riser=0.15, tread=0.3, count=3, start=0.2, heading=heading)
    line = stairs.section([0.0, 0.0, 0.0], heading, -1.0, 3.0)
    seen = looked_at(line, "side", heading)
    wanted = [(-1.0, 0.0), (0.2, 0.0), (0.2, 0.15), (0.5, 0.15), (0.5, 0.3), (0.8, 0.3), (0.8, 0.45), (3.0, 0.45)]
    assert np.allclose(seen, wanted, atol=1e-12)
    back = stairs.section([0.0, 0.0, 0.0], heading + np.pi, -3.0, 1.0)
    assert np.allclose(back[::-1], line, atol=1e-12)


def test_the_grounds_line_across_a_stair_is_level() -> None:
    stairs = surefoot.Profile.stairs(riser=0.15, tread=0.3, count=3, start=0.2)
    line = stairs.section([0.0, 0.0, 0.6], np.pi / 2, -1.0, 1.0)
    assert np.allclose(line[:, 1], 0.3)


def test_the_grounds_line_of_a_slope_is_on_it() -> None:
    slope = surefoot.Plane.slope(0.1)
    line = slope.section([0.0, 5.0, 1.0], 0.3, -1.0, 2.0)
    assert np.allclose(slope.depth(*line.T), 0.0, atol=1e-12)


def test_views_are_what_their_names_say() -> None:
    """One metre ahead, up and to the left of the character, looked at from each side."""
    assert VIEWS == ("side", "front", "above")
    ahead, up, left = [0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]
    assert looked_at([ahead, up, left], "side").tolist() == [[1, 0], [0, 1], [0, 0]]
    assert looked_at([ahead, up, left], "front").tolist() == [[0, 0], [0, 1], [1, 0]]
    assert looked_at([ahead, up, left], "above").tolist() == [[1, 0], [0, 0], [0, 1]]
    assert np.allclose(looked_at([1.0, 0.0, 0.0], "side", np.pi / 2), [1.0, 0.0])
    with pytest.raises(surefoot.UnknownName, match="no view is called 'back'"):
        looked_at(ahead, "back")  # type: ignore[arg-type]


def test_the_poses_of_the_lamplighter_are_where_she_was_keyed() -> None:
    clip, rig = surefoot.demo("lamplighter")
    subject = Subject.of(surefoot.plant(clip, rig).clip, rig)
    named = [(chosen.frame, *chosen.words) for chosen in key_poses(subject)]
    assert named == [
        (1.0, "contact left"), (4.0, "down"), (7.0, "passing"), (10.0, "up"),
        (13.0, "contact right"), (16.0, "down"), (19.0, "passing"), (22.0, "up"),
    ]  # fmt: skip


def one_frame(clip: Clip, rig: Rig) -> Clip:
    assert rig
    return replace(clip, last=clip.first, loop=False, stances=None)


def test_a_single_frame_has_a_figure_and_frames_to_draw() -> None:
    clip, rig = surefoot.demo("lamplighter")
    subject = Subject.of(one_frame(clip, rig), rig)
    assert subject.figure.joints.shape[0] == 1
    assert [chosen.frame for chosen in key_poses(subject)] == [1.0]


def test_without_stances_there_are_no_footprints() -> None:
    clip, rig = surefoot.demo("lamplighter")
    subject = Subject.of(clip, rig, stances=())
    assert footings_of(subject.scene, ()) == ()
    assert not subject.figure.standing.any()
    assert np.isnan(subject.figure.anchors).all()
    assert len(key_poses(subject)) == 8


def test_every_finding_is_in_one_of_the_worst_frames() -> None:
    clip, rig = surefoot.demo("lamplighter")
    report = surefoot.check(clip, rig)
    chosen = worst_frames([("", report)], clip)
    assert sum(len(one.findings) for one in chosen) == len(report.findings)
    for one in chosen:
        assert all((f.worst - one.frame) % clip.frames == pytest.approx(0.0, abs=1e-3) for _, f in one.findings)
