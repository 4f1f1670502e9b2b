"""Footprints: a planted foot's print is found again, anchors choose their frame, the seam changes nothing.

The planted feet are made by forward kinematics written anew (`tests.test_sole`), the tilts by scipy.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot import plant
from surefoot.clip import Stance
from surefoot.errors import InputError
from surefoot.footprint import Prints, Tracks, fit_prints
from surefoot.ground import Flat, Ground, Plane
from surefoot.lean import tilt_onto
from surefoot.rig import FEET
from surefoot.rig_file import load_rig
from surefoot.scene import Drift
from surefoot.sole import Soles
from tests import measure, walks

Array = NDArray[np.float64]

RIG = load_rig("lamplighter")
SOLES = Soles.of(RIG)
FOOT = RIG.legs[0].foot


def over_footprint(pitch: Array) -> Array:
    """Return the ankle ``(3, n)`` over a level footprint at the origin, by turning the foot about what touches."""
    ankle = np.empty((3, len(pitch)))
    for i, p in enumerate(pitch):
        bend = min(max(p, 0.0), FOOT.onset)
        back = Rotation.from_rotvec([-bend, 0.0, 0.0])
        z = FOOT.outline[:, 1].min() if p < 0.0 else FOOT.outline[:, 1].max() if p > FOOT.onset else FOOT.ball[2]
        point = np.array([0.0, FOOT.sole, z])
        own = point if p < 0.0 else back.apply(point - FOOT.ball) + FOOT.ball
        ankle[:, i] = [0.0, 0.0, z] - Rotation.from_rotvec([p, 0.0, 0.0]).apply(own)
    return ankle


def scene_of(
    place: list[list[tuple[int, int, tuple[float, float], float]]],
    *,
    count: int = 40,
    drift: Drift | None = None,
    ground: Ground | None = None,
    lean: Array | None = None,
    flat: float = 0.0,
) -> tuple[Any, list[Stance]]:
    """Return a scene of planted feet and its stances, each ``(first, last, (x, z), yaw)`` a foot.

    Every stance rolls from heel strike over flat to toe-off; ``lean`` turns the footprints, ``(3, 3)``.
    """
    ground = ground or Flat()
    tilt = np.eye(3) if lean is None else lean
    ankle, angles, bend = np.zeros((3, 2, count)), np.zeros((3, 2, count)), np.zeros((2, count))
    ankle[1] = 0.3
    stances = []
    for foot, spells in enumerate(place):
        for first, last, (x, z), yaw in spells:
            n = last - first + 1
            pitch = np.interp(np.linspace(0.0, 1.0, n), [0.0, 0.2, 0.6, 1.0], [-0.3, flat, flat, 0.9])
            at = np.arange(first - 1, last)
            local = Rotation.from_euler("YXZ", np.stack([np.full(n, yaw), pitch, np.zeros(n)], axis=-1))
            world = Rotation.from_matrix(tilt) * local
            origin = np.array([x, float(ground.height(np.array(x), np.array(z))), z])
            offset = tilt @ Rotation.from_rotvec([0.0, yaw, 0.0]).as_matrix() @ over_footprint(pitch)
            stood = origin[:, None] + offset
            triple = world.as_euler("YXZ").T[[1, 0, 2]]
            for j, frame in enumerate(at):
                lap = int(frame >= count)
                point, turn = stood[:, j], triple[:, j].copy()
                if lap:
                    assert drift is not None
                    point = drift.apply(point, times=-1)
                    turn[1] -= drift.turn
                ankle[:, foot, frame % count], angles[:, foot, frame % count] = point, turn
                bend[foot, frame % count] = np.clip(pitch[j], 0.0, FOOT.onset)
            stances.append(Stance(("left", "right")[foot], first, last))
    scene = SimpleNamespace(
        soles=SOLES, ground=ground, drift=drift, count=count, frames=np.arange(1.0, count + 1.0),
        hip=np.zeros((3, 2, count)), ankle=ankle, angles=angles, pose=SimpleNamespace(bend=bend),
    )  # fmt: skip
    return scene, stances


PLACES = [
    [(1, 14, (0.1, 0.0), 0.05), (22, 40, (0.12, 0.9), -0.1)],
    [(8, 28, (-0.1, 0.45), -0.4)],
]


@pytest.mark.parametrize("anchor", ["flat", "contact", "fit", 10])
def test_the_footprints_of_planted_feet_are_found_again_exactly(anchor: Any) -> None:
    scene, stances = scene_of(PLACES)
    prints = fit_prints(scene, Tracks.of(scene, stances), anchor=anchor)
    assert np.abs(prints.origin.T - [[0.1, 0.0, 0.0], [0.12, 0.0, 0.9], [-0.1, 0.0, 0.45]]).max() < 1e-12
    assert np.abs(prints.yaw - [0.05, -0.1, -0.4]).max() < 1e-12
    assert prints.tilt is None


def test_turning_and_moving_the_world_turns_and_moves_the_footprints() -> None:
    scene, stances = scene_of(PLACES)
    random = np.random.default_rng(1)
    scene.ankle += random.normal(0.0, 0.01, scene.ankle.shape)
    scene.angles[1] += random.normal(0.0, 0.05, scene.angles[1].shape)
    before = fit_prints(scene, Tracks.of(scene, stances), anchor="fit")
    motion = Drift(0.8, (2.0, 0.0, -1.0))
    scene.ankle = motion.apply(scene.ankle)
    scene.angles[1] += 0.8
    after = fit_prints(scene, Tracks.of(scene, stances), anchor="fit")
    assert np.abs(after.origin - motion.apply(before.origin)).max() < 1e-12
    assert np.abs(after.yaw - before.yaw - 0.8).max() < 1e-12


def slipping() -> tuple[Any, list[Stance], Tracks, Array]:
    """Return one stance whose foot slides 1 mm along x a frame, so that each frame has a print of its own."""
    scene, stances = scene_of([[(5, 24, (0.1, 0.3), 0.0)], []])
    slip = 0.001 * np.arange(40)
    scene.ankle[0, 0] += slip
    return scene, stances, Tracks.of(scene, stances), slip + 0.1


def test_the_contact_anchor_takes_the_stances_first_frame() -> None:
    scene, _, tracks, x = slipping()
    assert fit_prints(scene, tracks, anchor="contact").origin[0, 0] == pytest.approx(x[4], abs=1e-12)


def test_a_frame_number_takes_that_frame_and_the_fit_where_the_stance_has_it_not() -> None:
    scene, _, tracks, x = slipping()
    assert fit_prints(scene, tracks, anchor=13).origin[0, 0] == pytest.approx(x[12], abs=1e-12)
    elsewhere = fit_prints(scene, tracks, anchor=30).origin[0, 0]
    assert elsewhere == fit_prints(scene, tracks, anchor="fit").origin[0, 0]


def test_the_flat_anchor_takes_the_first_flat_frame_that_has_a_key() -> None:
    scene, _, tracks, x = slipping()
    flat = np.flatnonzero(np.abs(scene.angles[0, 0]) < np.radians(1.0))
    flat = flat[(flat >= 4) & (flat < 24)]
    keyed = np.zeros((2, 40), dtype=bool)
    keyed[0, [4, int(flat[2]), int(flat[4]), 23]] = True
    found = fit_prints(scene, tracks, anchor="flat", keyed=keyed).origin[0, 0]
    assert found == pytest.approx(x[flat[2]], abs=1e-12)


@pytest.mark.parametrize("which", ["no keys stated", "no flat frame keyed", "every flat frame keyed"])
def test_the_flat_anchor_falls_back_to_the_fit(which: str) -> None:
    scene, _, tracks, _ = slipping()
    keyed = None if which == "no keys stated" else np.full((2, 40), which == "every flat frame keyed")
    found = fit_prints(scene, tracks, anchor="flat", keyed=keyed).origin[0, 0]
    assert found == fit_prints(scene, tracks, anchor="fit").origin[0, 0]


def test_the_fit_is_a_weighted_mean_in_which_flat_frames_weigh_most() -> None:
    scene, _, tracks, x = slipping()
    found = fit_prints(scene, tracks, anchor="fit").origin[0, 0]
    flat = np.flatnonzero(np.abs(scene.angles[0, 0]) < np.radians(1.0))
    flat = flat[(flat >= 4) & (flat < 24)]
    assert x[4] < found < x[23]
    assert abs(found - x[flat].mean()) < abs(found - x[4:24].mean())


def test_an_unknown_anchor_is_refused_with_the_known_ones() -> None:
    scene, _, tracks, _ = slipping()
    with pytest.raises(InputError, match="anchor: wanted flat, contact, fit or a frame number, got 'heel'"):
        fit_prints(scene, tracks, anchor="heel")  # type: ignore[arg-type]


def test_without_stances_there_are_no_footprints() -> None:
    scene, _ = scene_of([[], []])
    tracks = Tracks.of(scene, [])
    assert fit_prints(scene, tracks).origin.shape == (3, 0)
    assert not tracks.planted.any()


@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_a_stance_over_the_seam_has_one_footprint_and_its_image_a_loop_earlier(turn: float) -> None:
    """The longest stance swallows the seam; another one over it is two prints, one loop apart."""
    drift = Drift(turn, (0.2, 0.0, 1.3))
    scene, stances = scene_of([[(30, 52, (0.1, 1.0), 0.1)], [(8, 28, (-0.1, 0.45), -0.2)]], drift=drift)
    tracks = Tracks.of(scene, stances)
    prints = fit_prints(scene, tracks, anchor="fit")
    assert len(tracks.source) >= 3
    expected = {0: ([0.1, 0.0, 1.0], 0.1), 1: ([-0.1, 0.0, 0.45], -0.2)}
    seen = set()
    for i, (source, foot) in enumerate(zip(tracks.source, tracks.foot_of, strict=True)):
        origin, yaw = expected[int(foot)]
        found = prints.origin[:, i]
        ways = [
            times
            for times in (-1, 0, 1)
            if np.abs(drift.apply(np.array(origin), times=times) - found).max() < 1e-12
            and abs(yaw + times * turn - prints.yaw[i]) < 1e-12
        ]
        assert len(ways) == 1
        seen.add((int(foot), ways[0]))
        if source != i:
            assert np.abs(drift.apply(prints.origin[:, i]) - prints.origin[:, source]).max() < 1e-12
    assert len(seen) == len(tracks.source)
    # every planted frame stands over its own print: nothing is cut at the seam
    held = tracks.planted
    gap = prints.into(tracks.print_of, tracks.ankle - prints.origin[:, tracks.print_of])[0][held]
    assert np.abs(gap).max() < 1e-12


def test_rolled_frames_come_back_in_the_clips_own_order() -> None:
    drift = Drift(0.3, (0.2, 0.0, 1.3))
    scene, stances = scene_of([[(30, 52, (0.1, 1.0), 0.1)], [(8, 28, (-0.1, 0.45), -0.2)]], drift=drift)
    tracks = Tracks.of(scene, stances)
    assert tracks.laps.any()
    assert np.abs(tracks.unroll_points(scene, tracks.ankle) - scene.ankle).max() < 1e-12
    assert np.abs(tracks.unroll_yaw(scene, tracks.angles[1]) - scene.angles[1]).max() < 1e-12
    assert np.array_equal(tracks.unroll(tracks.bend), scene.pose.bend)


def test_the_tilt_is_the_least_turn_that_carries_up_onto_the_normal() -> None:
    random = np.random.default_rng(2)
    normal = random.normal(size=(3, 300))
    normal[1] = np.abs(normal[1]) + 0.05
    normal /= np.sqrt((normal**2).sum(axis=0))
    found = np.moveaxis(tilt_onto(*normal), -1, 0)
    axis = np.cross([0.0, 1.0, 0.0], normal.T)
    sine = np.linalg.norm(axis, axis=1)
    angle = np.arctan2(sine, normal[1])
    witness = Rotation.from_rotvec(axis / sine[:, None] * angle[:, None]).as_matrix()
    assert np.abs(found - witness).max() < 1e-13
    assert np.abs(tilt_onto(np.array(0.0), np.array(1.0), np.array(0.0)) - np.eye(3)).max() == 0.0


@pytest.mark.parametrize("slope", [(0.1, 0.0), (0.0, 0.12), (-0.08, 0.15)])
def test_on_a_plane_the_footprints_lean_with_it_and_are_found_again(slope: tuple[float, float]) -> None:
    gx, gz = slope
    normal = np.array([-gx, 1.0, -gz]) / np.sqrt(1.0 + gx**2 + gz**2)
    ground = Plane(np.array([0.0, 0.3, 0.0]), normal)
    axis = np.cross([0.0, 1.0, 0.0], normal)
    angle = np.arctan2(np.linalg.norm(axis), normal[1])
    lean = Rotation.from_rotvec(axis / np.linalg.norm(axis) * angle).as_matrix()
    scene, stances = scene_of(PLACES, ground=ground, lean=lean)
    prints = fit_prints(scene, Tracks.of(scene, stances), anchor="fit")
    assert prints.tilt is not None
    assert np.abs(np.moveaxis(prints.tilt, -1, 0) - lean).max() < 1e-12
    assert np.abs(prints.origin[[0, 2]].T - [[0.1, 0.0], [0.12, 0.9], [-0.1, 0.45]]).max() < 1e-9
    assert np.abs(prints.origin[1] - ground.height(prints.origin[0], prints.origin[2])).max() < 1e-15
    assert np.abs(prints.yaw - [0.05, -0.1, -0.4]).max() < 1e-9


def test_into_a_footprint_and_out_again_is_the_identity_leaning_or_not() -> None:
    random = np.random.default_rng(3)
    normal = np.array([[0.1, -0.2], [0.9, 0.95], [0.3, 0.1]])
    normal /= np.sqrt((normal**2).sum(axis=0))
    vector, which = random.normal(size=(3, 2, 50)), random.integers(0, 2, (2, 50))
    angles = random.uniform(-0.6, 0.6, (3, 2, 50))
    for tilt in (None, tilt_onto(*normal)):
        prints = Prints(random.normal(size=(3, 2)), np.array([0.4, -2.9]), tilt)
        assert np.abs(prints.outof(which, prints.into(which, vector)) - vector).max() < 1e-14
        local = prints.local_turns(which, angles)
        assert np.abs(prints.world_turns(which, local, angles) - angles).max() < 1e-12
        yaw = np.moveaxis(Rotation.from_rotvec(np.outer(prints.yaw, [0, 1, 0])).as_matrix(), 0, -1)
        lean = np.eye(3)[:, :, None] if tilt is None else tilt
        space = np.einsum("ijp,jkp->ikp", np.broadcast_to(lean, (3, 3, 2)), yaw)
        assert (
            np.abs(prints.outof(which, vector) - np.einsum("ijfn,jfn->ifn", space[:, :, which], vector)).max() < 1e-14
        )


@pytest.mark.parametrize("seed", range(8))
def test_a_footprint_lies_under_its_foot_in_the_stances_own_round(seed: int) -> None:
    """Ground space lies on the world at the first frame, so a foot that stands then stands on its footprint."""
    walk = walks.random_walk(seed)
    clip, rig = walk.clip(), walks.make_rig()
    done = plant(clip, rig)
    for step in done.footprints:
        at = np.array([float(step.stance.first)])
        steps = measure.foot_steps(done.clip, rig, FEET.index(step.stance.foot), at, belt=done.belt.velocity)
        heel_and_ball = steps.centre[0, :2].mean(axis=0)
        away = heel_and_ball[[0, 2]] - np.array(step.place)[[0, 2]]
        assert np.hypot(*away) < 0.15, step
