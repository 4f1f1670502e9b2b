"""Captures become rigs and clips: known walks come back, real ones fit, bad ones are told."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from demos.make_treadmill import CLIP_FILE, RIG_FILE, capture, make
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot.belt import Belt
from surefoot.capture import BALL_SHARE, Capture, calibrate, capture_clip, fit_rig
from surefoot.clip import Clip
from surefoot.clip_file import load_clip
from surefoot.errors import InputError, ShapeError, UnitError
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, parse_rig
from surefoot.spaces import Binding, Pose
from tests.data.jump import jump_points
from tests.data.treadmill import treadmill

Array = NDArray[Any]

THIGH, SHANK = 0.42, 0.41
HIP = np.array([[0.09, -0.01, 0.02], [-0.085, -0.012, 0.018]])
HEEL = np.array([[0.01, -0.08, -0.06], [-0.012, -0.08, -0.055]])
BALL = np.array([[0.01, -0.05, 0.12], [-0.012, -0.055, 0.125]])
TOE = np.array([[0.015, -0.08, 0.19], [-0.01, -0.08, 0.2]])
INNER = BALL + np.array([[-0.04, 0.005, 0.01], [0.042, 0.004, 0.012]])
OUTER = BALL + np.array([[0.05, -0.01, -0.012], [-0.045, -0.008, -0.01]])
SPEED = 1.2
RATE = 100.0


def turned(pitch: Array, yaw: Array, roll: Array) -> Array:
    """Return (frames, 3, 3): Ry Rx Rz by scipy."""
    return Rotation.from_euler("YXZ", np.stack([yaw, pitch, roll], axis=-1)).as_matrix()


def about(axis: str, angle: Array) -> Array:
    """Return (frames, 3, 3): turns about one axis by scipy."""
    return Rotation.from_euler(axis, np.reshape(angle, (-1, 1))).as_matrix()


def knee_between(hip: Array, ankle: Array) -> Array:
    """Return a knee that is THIGH from the hip and SHANK from the ankle, in front."""
    line = ankle - hip
    far = np.linalg.norm(line, axis=-1, keepdims=True)
    along = (far**2 + THIGH**2 - SHANK**2) / (2 * far)
    front = np.array([0.0, 0.0, 1.0]) - line * line[..., 2:] / far**2
    front /= np.linalg.norm(front, axis=-1, keepdims=True)
    knee: Array = hip + line / far * along + front * np.sqrt(THIGH**2 - along**2)
    return knee


def walk_channels(frames: int = 240) -> dict[str, Array]:
    """Return what a made-up walk in place does: radians and metres, by channel; two strides of 1.2 s."""
    t = np.arange(frames) / RATE
    phase = 2 * np.pi * t / 1.2
    values = {
        "hips.x": 0.02 * np.sin(phase),
        "hips.y": 0.78 + 0.02 * np.cos(2 * phase),
        "hips.z": 0.01 * np.sin(2 * phase),
        "hips.pitch": 0.05 + 0.03 * np.sin(2 * phase),
        "hips.yaw": 0.1 * np.cos(phase),
        "hips.roll": 0.06 * np.sin(phase),
    }
    for side, late, way in (("left", 0.1, 1.0), ("right", 0.6, -1.0)):
        share = (t / 1.2 + late) % 1.0
        swing = np.clip((share - 0.5) / 0.5, 0.0, 1.0)
        up = np.sin(np.pi * swing) ** 2
        span = SPEED * 0.6
        stance_z = span / 2 - SPEED * 1.2 * share
        swing_z = -span / 2 + span * swing**2 * (3 - 2 * swing)
        foot = {
            "x": way * 0.1 + 0.0 * t,
            "y": 0.08 + 0.12 * up,
            "z": np.where(share < 0.5, stance_z, swing_z),
            "pitch": 0.7 * np.sin(2 * np.pi * swing) * up,
            "yaw": way * (0.12 + 0.1 * up),
            "cant": way * 0.2 * up,
            "bend": 0.3 * up,
        }
        values |= {f"{side}_foot.{axis}": track for axis, track in foot.items()}
    return values


def made_capture(values: dict[str, Array], *, drop: tuple[str, ...] = (), sides: bool = True) -> Capture:
    """Return the capture that channels give by forward kinematics written here, apart from the solver's."""
    hips = np.stack([values[f"hips.{axis}"] for axis in "xyz"], axis=-1)
    world_from_hips = turned(*(values[f"hips.{axis}"] for axis in ("pitch", "yaw", "roll")))
    points = np.empty((len(hips), 2, 6, 3))
    ball_sides = np.empty((2, len(hips), 2, 3))
    for foot, side in enumerate(("left_foot", "right_foot")):
        hip = hips + world_from_hips @ HIP[foot]
        ankle = np.stack([values[f"{side}.{axis}"] for axis in "xyz"], axis=-1)
        turn = turned(*(values[f"{side}.{axis}"] for axis in ("pitch", "yaw", "cant")))
        lift = about("X", -values[f"{side}.bend"])
        toe = BALL[foot] + lift @ (TOE[foot] - BALL[foot])
        ball = ankle + turn @ BALL[foot]
        points[:, foot] = np.stack(
            [
                hip,
                knee_between(hip, ankle),
                ankle,
                ankle + turn @ HEEL[foot],
                ball,
                ankle + np.einsum("fij,fj->fi", turn, toe),
            ],
            axis=1,
        )
        ball_sides[0, :, foot], ball_sides[1, :, foot] = (
            ankle + turn @ INNER[foot],
            ankle + turn @ OUTER[foot],
        )
    for name in drop:
        points[:, :, ("heel", "toe").index(name) * 2 + 3] = np.nan
    inner, outer = ball_sides if sides else (None, None)
    return Capture(points, RATE, hips, world_from_hips, inner, outer)


def moved_world(one: Capture, yaw: float, shift: Array) -> Capture:
    """Return the capture turned about +Y and shifted."""
    turn = Rotation.from_euler("Y", yaw).as_matrix()

    def move(points: Array | None) -> Array | None:
        return None if points is None else points @ turn.T + shift

    return Capture(
        points=move(one.points),  # type: ignore[arg-type]
        rate=one.rate,
        hips=move(one.hips),
        hips_rotation=turn @ one.hips_rotation,
        ball_inner=move(one.ball_inner),
        ball_outer=move(one.ball_outer),
    )


def pose_of(rig: Rig, clip: Clip) -> Pose:
    """Return the pose at every frame, as the solver reads it."""
    binding = Binding(rig, clip)
    frames = np.arange(clip.first, clip.last + 1.0)
    return binding.pose(binding.values(frames), frames)


def read(rig: Rig, clip: Clip, channel: str) -> Array:
    """Return a channel's keys in metres or radians, from the control's parent's origin."""
    control = next(c for c in rig.controls.values() if channel.startswith(c.name))
    key = channel.split(".")[1].replace("cant", "roll")
    axis = control.axes[key]
    rest = control.rest["xyz".index(key)] if key in "xyz" else 0.0
    return np.asarray(clip.channels[channel].values * axis.scale + rest)


@pytest.fixture(scope="module")
def known() -> Capture:
    return made_capture(walk_channels())


@pytest.fixture(scope="module")
def walked() -> Capture:
    return capture()


def jump() -> Capture:
    trial = jump_points()
    points = np.full((len(trial.points), 2, 6, 3), np.nan)
    points[:, :, [0, 1, 2, 4, 5]] = trial.points
    return Capture(points, trial.rate, trial.hips, trial.hips_rotation)


def test_the_rig_of_a_known_walk_has_its_lengths(known: Capture) -> None:
    """Bones, hip offsets, and the foot's points and sides come back."""
    rig = fit_rig(known, name="known")
    for foot, leg in enumerate(rig.legs):
        assert leg.thigh == pytest.approx(THIGH, abs=1e-9)
        assert leg.shank == pytest.approx(SHANK, abs=1e-9)
        np.testing.assert_allclose(leg.hip, HIP[foot], atol=1e-9)
        np.testing.assert_allclose(leg.foot.heel, HEEL[foot], atol=1e-9)
        np.testing.assert_allclose(leg.foot.ball, BALL[foot], atol=1e-9)
        np.testing.assert_allclose(leg.foot.toe, TOE[foot], atol=1e-9)
        for corner in (INNER[foot], OUTER[foot]):
            assert np.abs(leg.foot.outline - corner[[0, 2]]).max(axis=1).min() < 1e-9


def test_the_clip_of_a_known_walk_has_its_channels(known: Capture) -> None:
    """Every channel that made the capture comes back out of it."""
    rig = fit_rig(known, name="known")
    clip = capture_clip(known, rig, first=11, belt=Belt([0, 0, -SPEED]), name="again")
    assert (clip.first, clip.last, clip.rate, clip.unit, clip.angle) == (11, 250, 100, "m", "deg")
    for channel, values in walk_channels().items():
        np.testing.assert_allclose(read(rig, clip, channel), values, atol=1e-9, err_msg=channel)
        np.testing.assert_array_equal(clip.channels[channel].frames, np.arange(11, 251))


def test_the_ground_under_a_walk_in_place_is_found(known: Capture) -> None:
    """Only flat frames are taken, and the low feet's velocity is the belt's."""
    flat = calibrate(known)
    values = walk_channels()
    np.testing.assert_allclose(flat.ground_velocity, [0, 0, -SPEED], atol=1e-9)
    for foot, side in enumerate(("left_foot", "right_foot")):
        assert flat.flat[:, foot].sum() >= 10
        assert np.abs(values[f"{side}.pitch"][flat.flat[:, foot]]).max() == 0.0


def test_turning_and_moving_the_capture_turns_and_moves_the_clip(known: Capture) -> None:
    """The rig stays; places turn with the world and yaw grows by the turn."""
    yaw, shift = 2.5, np.array([3.0, 0.25, -7.0])
    rig = fit_rig(known, name="known")
    there = moved_world(known, yaw, shift)
    again = fit_rig(there, name="known", ground=0.25)
    for one, two in zip(rig.legs, again.legs, strict=True):
        assert (one.thigh, one.shank) == pytest.approx((two.thigh, two.shank), abs=1e-12)
        np.testing.assert_allclose(one.foot.outline, two.foot.outline, atol=1e-9)
        np.testing.assert_allclose(one.hip, two.hip, atol=1e-12)
    here, gone = pose_of(rig, capture_clip(known, rig)), pose_of(again, capture_clip(there, again))
    turn = Rotation.from_euler("Y", yaw).as_matrix()
    moved = np.einsum("ij,jsf->isf", turn, here.ankle) + shift[:, None, None]
    np.testing.assert_allclose(gone.ankle, moved, atol=1e-9)
    np.testing.assert_allclose(gone.hips, turn @ here.hips + shift[:, None], atol=1e-9)
    np.testing.assert_allclose(gone.angles - here.angles, [[[0.0]], [[yaw]], [[0.0]]] + 0 * here.angles, atol=1e-9)


def test_without_the_sides_of_the_ball_cant_is_zero_and_the_sole_has_measured_proportions() -> None:
    """ANSUR II (Gordon and others, 2014, computed from the raw data): breadth 0.376, heel 0.268 of length."""
    one = made_capture(walk_channels(), sides=False)
    rig = fit_rig(one, name="known")
    pose = pose_of(rig, capture_clip(one, rig))
    np.testing.assert_allclose(pose.angles[2], 0.0, atol=1e-12)
    for foot in (leg.foot for leg in rig.legs):
        length = foot.toe[2] - foot.heel[2]
        assert np.diff(foot.edge(foot.ball[2]))[0] == pytest.approx(0.376 * length, abs=1e-9)
        assert np.diff(foot.edge(foot.heel[2]))[0] == pytest.approx(0.268 * length, abs=1e-9)


@pytest.mark.parametrize("missing", ["heel", "toe"])
def test_a_missing_end_of_the_foot_is_placed_by_proportion(missing: str) -> None:
    """The ball lies at 0.741 of the length from the heel, and the sole still lies on the ground."""
    one = made_capture(walk_channels(), drop=(missing,))
    rig = fit_rig(one, name="known")
    clip = capture_clip(one, rig)
    for leg in rig.legs:
        foot = leg.foot
        share = (foot.ball[2] - foot.heel[2]) / (foot.toe[2] - foot.heel[2])
        assert share == pytest.approx(BALL_SHARE, abs=1e-12)
        assert foot.sole == pytest.approx(-0.08, abs=1e-9)
    bend = clip.channels["left_foot.bend"].values
    assert (np.abs(bend).max() > 10.0) == (missing == "heel")


def test_a_toe_drawn_out_along_the_foot_never_bends(walked: Capture) -> None:
    """Rounding isn't taken for a bend, and the channel is there to be keyed."""
    clip = capture_clip(walked, fit_rig(walked, name="treadmill"))
    assert not clip.channels["left_foot.bend"].values.any()
    assert len(clip.channels["right_foot.bend"].values) == walked.frames


def test_the_treadmill_rig_has_the_captured_lengths(walked: Capture) -> None:
    """Bones lie within one standard deviation of their captured means."""
    rig = fit_rig(walked, name="treadmill")
    trial = treadmill()
    malleoli = (trial.ankle_inner + trial.ankle_outer) / 2
    pairs = {
        "thigh": (trial.points[:, :, 0], trial.points[:, :, 1]),
        "shank": (trial.points[:, :, 1], malleoli),
    }
    for bone, (one, two) in pairs.items():
        lengths = np.sqrt(((one - two) ** 2).sum(axis=-1))
        for foot, leg in enumerate(rig.legs):
            assert abs(getattr(leg, bone) - lengths[:, foot].mean()) < lengths[:, foot].std()


def test_the_treadmill_feet_are_flat_where_gait_labels_have_midstance(walked: Capture) -> None:
    """The frames taken lie in 0.2 to 0.6 of the labelled stances, markers as high as measured there before.

    `tests/data/PROVENANCE.md`: heel 55 mm left and 59 mm right, ball 36 and 38 mm, above the belt.
    """
    trial, flat = treadmill(), calibrate(walked)
    labels = ((trial.strikes_left, trial.offs_left), (trial.strikes_right, trial.offs_right))
    for foot, (strikes, offs) in enumerate(labels):
        rows = np.flatnonzero(flat.flat[:, foot])
        rows = rows[(rows > strikes[0]) & (rows < offs[-1])]
        begun = strikes[np.searchsorted(strikes, rows, side="right") - 1]
        over = offs[np.searchsorted(offs, rows)]
        share = (rows - begun) / (over - begun)
        assert share.min() > 0.2
        assert share.max() < 0.6
    height = flat.points[:, 3:5, 1] + flat.height[:, None]
    np.testing.assert_allclose(height, [[0.055, 0.036], [0.059, 0.038]], atol=1.5e-3)
    np.testing.assert_allclose(flat.ground_velocity, [0, 0, -1.10], atol=0.01)


def test_the_treadmill_clip_puts_every_point_where_it_was(walked: Capture) -> None:
    """Hips and ankles exactly; heel and ball, made rigid, within 2 mm in the worst frame and 0.5 mm rms."""
    flat = calibrate(walked)
    rig = fit_rig(walked, name="treadmill", calibration=flat)
    pose = pose_of(rig, capture_clip(walked, rig, calibration=flat))
    assert walked.hips is not None
    np.testing.assert_allclose(np.moveaxis(pose.ankle, -1, 0), walked.points[:, :, 2].swapaxes(1, 2), atol=1e-9)
    np.testing.assert_allclose(pose.hips.T, walked.hips, atol=1e-9)
    np.testing.assert_allclose(np.moveaxis(pose.hips_turn, -1, 0), walked.hips_rotation, atol=1e-9)
    for foot in range(2):
        turn = turned(*pose.angles[:, foot])
        for k in (3, 4):
            away = pose.ankle[:, foot].T + turn @ flat.points[foot, k] - walked.points[:, foot, k]
            error = np.linalg.norm(away, axis=-1)
            assert error.max() < 0.002
            assert np.sqrt((error**2).mean()) < 0.0005


def test_a_capture_without_heels_fits_too() -> None:
    """The jump's left femur and tibia are 0.4040 m and 0.4228 m in its own skeleton file."""
    trial = jump()
    rig = fit_rig(trial, name="jumper")
    assert rig.legs[0].thigh == pytest.approx(0.4040, abs=5e-5)
    assert rig.legs[0].shank == pytest.approx(0.4228, abs=5e-5)
    clip = capture_clip(trial, rig)
    pose = pose_of(rig, clip)
    np.testing.assert_allclose(np.moveaxis(pose.ankle, -1, 0), trial.points[:, :, 2].swapaxes(1, 2), atol=1e-9)
    np.testing.assert_allclose(np.moveaxis(pose.hip, -1, 0), trial.points[:, :, 0].swapaxes(1, 2), atol=1e-9)
    flat = calibrate(trial)
    for foot in range(2):
        ball = pose.ankle[:, foot].T + turned(*pose.angles[:, foot]) @ flat.points[foot, 4]
        np.testing.assert_allclose(ball, trial.points[:, foot, 4], atol=1e-9)
    assert np.abs(np.diff(pose.angles, axis=-1)).max() < 0.5 * np.pi


def test_angles_run_on_through_whole_turns_and_past_the_vertical() -> None:
    """Two whole turns of the body, and a foot that pitches to 150 degrees, come back unbroken."""
    values = walk_channels()
    spin = np.linspace(0.0, 4 * np.pi, 240)
    turn = about("Y", spin)
    for side in ("left_foot", "right_foot"):
        values[f"{side}.pitch"] = values[f"{side}.pitch"] + 2.6 * (values[f"{side}.y"] - 0.08) / 0.12
    still = made_capture(values)
    around = Capture(
        points=np.einsum("fij,fspj->fspi", turn, still.points),
        rate=RATE,
        hips=np.einsum("fij,fj->fi", turn, still.hips),
        hips_rotation=turn @ still.hips_rotation,
        ball_inner=np.einsum("fij,fsj->fsi", turn, still.ball_inner),
        ball_outer=np.einsum("fij,fsj->fsi", turn, still.ball_outer),
    )
    flat = calibrate(still)
    rig = fit_rig(still, name="known", calibration=flat)
    clip = capture_clip(around, rig, calibration=flat)
    for part in ("hips", "left_foot", "right_foot"):
        np.testing.assert_allclose(read(rig, clip, f"{part}.yaw"), values[f"{part}.yaw"] + spin, atol=1e-7)
        np.testing.assert_allclose(read(rig, clip, f"{part}.pitch"), values[f"{part}.pitch"], atol=1e-7)


def test_a_foot_without_sides_pitches_past_the_vertical_without_turning_round() -> None:
    """Heel above ball and beyond: pitch goes on growing, yaw stays, cant stays zero."""
    values = walk_channels()
    for side, way in (("left_foot", 1.0), ("right_foot", -1.0)):
        values[f"{side}.pitch"] = 2.6 * (values[f"{side}.y"] - 0.08) / 0.12
        values[f"{side}.yaw"] = np.full(240, way * 0.12)
        values[f"{side}.cant"] = np.zeros(240)
    one = made_capture(values, sides=False)
    rig = fit_rig(one, name="known")
    clip = capture_clip(one, rig)
    for channel in (
        "left_foot.pitch",
        "left_foot.yaw",
        "left_foot.cant",
        "right_foot.pitch",
        "right_foot.yaw",
    ):
        np.testing.assert_allclose(read(rig, clip, channel), values[channel], atol=1e-7, err_msg=channel)


def test_a_rigid_ankle_keeps_its_distances_and_a_rigid_foot_is_left_alone(known: Capture) -> None:
    """Noise at the ankle goes; where there is none nothing moves."""
    np.testing.assert_allclose(known.with_rigid_ankles().points, known.points, atol=1e-12)
    noisy = known.points.copy()
    noisy[:, :, 2] += np.random.default_rng(5).normal(0.0, 0.004, noisy[:, :, 2].shape)
    mended = replace(known, points=noisy).with_rigid_ankles()
    for k in (3, 4):
        assert np.linalg.norm(mended.points[:, :, 2] - mended.points[:, :, k], axis=-1).std(axis=0).max() < 1e-12
    assert np.abs(mended.points[:, :, 2] - known.points[:, :, 2]).max() < 0.002
    np.testing.assert_array_equal(mended.points[:, :, [0, 1, 3, 4, 5]], noisy[:, :, [0, 1, 3, 4, 5]])


def test_hips_left_out_come_from_the_hip_joints(known: Capture) -> None:
    """Their middle, left along their line, forward level."""
    bare = Capture(known.points, RATE)
    assert bare.hips is not None
    assert bare.hips_rotation is not None
    np.testing.assert_allclose(bare.hips, known.points[:, :, 0].mean(axis=1), atol=1e-15)
    across = known.points[:, 0, 0] - known.points[:, 1, 0]
    across /= np.linalg.norm(across, axis=-1, keepdims=True)
    np.testing.assert_allclose(bare.hips_rotation[:, :, 0], across, atol=1e-12)
    np.testing.assert_allclose(bare.hips_rotation[:, 1, 2], 0.0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.det(bare.hips_rotation), 1.0, atol=1e-12)
    assert bare.hips_rotation[:, 2, 2].min() > 0.9


def test_a_loop_repeats_after_its_last_frame_and_counts_whole_turns_on(known: Capture) -> None:
    """The made walk closes after 240 frames; in a body that also spins once, yaw goes on."""
    rig = fit_rig(known, name="known")
    clip = capture_clip(known, rig, loop=True)
    binding = Binding(rig, clip)
    one, two = binding.values(np.array([5.0, 245.0])).T
    np.testing.assert_allclose(one, two, atol=1e-9)
    turn = about("Y", np.arange(240) * 2 * np.pi / 240)
    spun = replace(known, hips_rotation=turn @ known.hips_rotation)
    binding = Binding(rig, capture_clip(spun, rig, loop=True))
    yaw = binding.values(np.array([5.0, 245.0]))[binding.names.index("hips.yaw")]
    assert yaw[1] - yaw[0] == pytest.approx(2 * np.pi, abs=1e-9)


def test_a_part_counts_frames_from_one_and_slows_the_rate(known: Capture) -> None:
    """Both ends are in; every second frame halves the rate."""
    cut = known.part(3, 9, every=2)
    np.testing.assert_array_equal(cut.points, known.points[[2, 4, 6, 8]])
    assert cut.rate == 50.0
    with pytest.raises(InputError, match="within 1 to 240, got 9 to 3"):
        known.part(9, 3)


def test_a_capture_owns_its_numbers(known: Capture) -> None:
    """Changing what was handed in changes nothing, and nothing can be written."""
    points = known.points.copy()
    held = Capture(points, RATE)
    points[0, 0, 0, 0] = 99.0
    assert held.points[0, 0, 0, 0] != 99.0
    with pytest.raises(ValueError, match="read-only"):
        held.points[0, 0, 0, 0] = 1.0


def spoiled(known: Capture, where: tuple[Any, ...], value: float) -> Array:
    points = known.points.copy()
    points[where] = value
    return points


def test_a_gap_is_told_by_point_foot_and_first_frame(known: Capture) -> None:
    """Even in a heel, which may be missing as a whole only."""
    with pytest.raises(InputError, match="the left knee has a gap, first at frame 8; fill it first"):
        Capture(spoiled(known, (slice(7, 9), 0, 1), np.nan), RATE)
    with pytest.raises(InputError, match="the right heel has a gap, first at frame 3"):
        Capture(spoiled(known, (2, 1, 3, 1), np.nan), RATE)
    with pytest.raises(InputError, match="the right toe has a gap, first at frame 1"):
        Capture(spoiled(known, (0, 1, 5), np.inf), RATE)
    with pytest.raises(InputError, match="the left ankle is missing; only a heel or a toe may be"):
        Capture(spoiled(known, (slice(None), 0, 2), np.nan), RATE)
    assert known.ball_inner is not None
    inner = known.ball_inner.copy()
    inner[5, 1, 2] = np.nan
    with pytest.raises(InputError, match="ball_inner: the right ball inner has a gap, first at frame 6"):
        Capture(known.points, RATE, ball_inner=inner, ball_outer=known.ball_outer)


def test_wrong_shapes_and_rates_are_refused(known: Capture) -> None:
    """With what was wanted and what came."""
    with pytest.raises(ShapeError, match=r"points: wanted shape \(frames, 2, 6, 3\), got \(240, 2, 5, 3\)"):
        Capture(known.points[:, :, :5], RATE)
    with pytest.raises(ShapeError, match="at least two frames, got 1"):
        Capture(known.points[:1], RATE)
    with pytest.raises(ShapeError, match="at least two frames, got 0"):
        Capture(known.points[:0], RATE)
    for rate in (0.0, -24.0, float("nan"), "fast"):
        with pytest.raises(InputError, match="rate: wanted frames per second above 0"):
            Capture(known.points, rate)  # type: ignore[arg-type]
    assert known.hips is not None
    with pytest.raises(ShapeError, match=r"hips: wanted shape \(240, 3\), got \(239, 3\)"):
        Capture(known.points, RATE, known.hips[1:])
    with pytest.raises(InputError, match="give both sides of the ball or neither"):
        Capture(known.points, RATE, ball_inner=known.ball_inner)


def test_hips_that_mirror_are_refused(known: Capture) -> None:
    """Swapped columns are no rotation."""
    assert known.hips_rotation is not None
    wrong = known.hips_rotation.copy()
    wrong[4] = wrong[4][:, [2, 1, 0]]
    with pytest.raises(InputError, match="hips_rotation: no rotation at frame 5"):
        Capture(known.points, RATE, hips_rotation=wrong)


def test_what_cannot_be_fitted_is_told(known: Capture) -> None:
    """No foot length, a ground above the ankles, millimetres, Z up, a control under the hips."""
    with pytest.raises(InputError, match="left foot: points: neither heel nor toe was captured"):
        fit_rig(made_capture(walk_channels(), drop=("heel", "toe")), name="known")
    with pytest.raises(InputError, match=r"left foot: ground: the ankle of the flat foot is 0\.42 m below the ground"):
        fit_rig(known, name="known", ground=0.5)
    with pytest.raises(UnitError, match="is the unit right"):
        fit_rig(Capture(known.points * 1000.0, RATE), name="known")
    with pytest.raises(UnitError, match=r"is \+Y up"):
        fit_rig(Capture(known.points[..., [1, 2, 0]] + [0, 0, 0.3], RATE), name="known")
    rig = fit_rig(known, name="known")
    under = replace(rig.controls["left_foot"], parent="hips")
    with pytest.raises(InputError, match="control left_foot: wanted a control in the world, it sits in hips"):
        capture_clip(known, replace(rig, controls={**rig.controls, "left_foot": under}))
    with pytest.raises(InputError, match="left foot: a rigid ankle needs a captured heel"):
        made_capture(walk_channels(), drop=("heel",)).with_rigid_ankles()


def test_the_demo_files_are_what_the_script_makes(walked: Capture) -> None:
    """To the last written decimal, for other machines round otherwise; and small enough to ship."""
    text, clip = make()
    shipped, rig, written = load_clip(CLIP_FILE), parse_rig(text), load_rig(RIG_FILE)
    assert CLIP_FILE.stat().st_size < 250_000
    assert shipped.channels.keys() == clip.channels.keys()
    for name, curve in clip.channels.items():
        np.testing.assert_allclose(shipped.channels[name].values, curve.values, atol=1.01e-4)
    assert (shipped.first, shipped.last, shipped.rate, shipped.unit) == (1, clip.last, 50, "m")
    assert shipped.belt is not None
    np.testing.assert_allclose(shipped.belt.velocity, [0, 0, -1.10])
    fitted = fit_rig(walked, name="treadmill")
    assert rig.channels() == written.channels() == fitted.channels()
    for one, two, three in zip(rig.legs, written.legs, fitted.legs, strict=True):
        np.testing.assert_allclose(one.foot.outline, two.foot.outline, atol=1.01e-4)
        np.testing.assert_allclose([two.thigh, two.shank], [three.thigh, three.shank], atol=1.01e-4)
    for name, control in fitted.controls.items():
        np.testing.assert_allclose(control.rest, written.controls[name].rest, atol=1.01e-4)
    pose = pose_of(written, shipped)
    was = np.moveaxis(walked.part(392, 737, every=2).points[:, :, 2], (0, 1, 2), (2, 1, 0))
    np.testing.assert_allclose(pose.ankle, was, atol=1.01e-4)


def test_the_rotations_of_the_captured_hips_are_rotations() -> None:
    """Columns are square to each other, of length one and right-handed."""
    rotation = jump_points().hips_rotation
    unit = np.broadcast_to(np.eye(3), rotation.shape)
    np.testing.assert_allclose(rotation.swapaxes(-1, -2) @ rotation, unit, atol=1e-12)
    np.testing.assert_allclose(np.linalg.det(rotation), 1.0, atol=1e-12)


def test_the_captured_jump_cannot_be_written_to() -> None:
    """The capture is shared between tests, so its arrays are shut."""
    with pytest.raises(ValueError, match="read-only"):
        jump_points().points[0] = 0.0
