"""Feet posed about the ankle, by rockers and by joints are one model: the same world points, exactly, both ways.

The witnesses are products of 4 by 4 matrices made here with scipy's rotations.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot import Clip, Curve, Edit, Rig, check, demo, load_rig, plant, preset_names, remix
from surefoot.errors import InputError
from surefoot.foot_styles import FootWorld, Setting, style_of
from surefoot.poses import Space
from surefoot.restyle import convert
from surefoot.rig import JOINTS, ROCKERS
from surefoot.rig_styles import rig_in_style
from surefoot.rocker_chain import joined_rocker, law_of_rocker
from surefoot.rotations import matrix
from surefoot.spaces import Binding
from tests.measure import most_apart, soles
from tests.walks import make_rig, random_walk

Array = NDArray[np.float64]
POSES = 1000
WORLD = Space(None, None)
STYLES: dict[str, dict[str, Any]] = {
    "rockers": {"style": "rockers"},
    "one foot-roll channel": {"style": "rockers", "single": True},
    "joints": {"style": "joints"},
}


def turned(axis: str, angle: float) -> Array:
    whole = np.eye(4)
    whole[:3, :3] = Rotation.from_euler(axis, angle).as_matrix()
    return whole


def moved(shift: Any) -> Array:
    whole = np.eye(4)
    whole[:3, 3] = shift
    return whole


def legs_of_two() -> list[str]:
    return [name for name in preset_names() if isinstance(load_rig(name), Rig)]


# ---- the foot-roll channel ----


@pytest.mark.parametrize("part", ["thigh", "shank"])
def test_a_rig_of_other_lengths_or_units_is_not_written_for(part: str) -> None:
    clip, rig = demo("lamplighter")
    left, right = rig.legs
    longer = replace(rig, legs=(left, replace(right, **{part: getattr(right, part) + 0.01})))
    with pytest.raises(InputError, match=f"to: the right {part} of lamplighter is .* same lengths"):
        convert(clip, rig, to=longer)
    hips = rig.controls["hips"]
    metres = replace(hips, axes={**hips.axes, "y": replace(hips.axes["y"], scale=1.0)})
    with pytest.raises(InputError, match="reads y of the hips by another channel, unit or zero"):
        convert(clip, rig, to=replace(rig, controls={**rig.controls, "hips": metres}))
    assert convert(clip, rig, to=replace(rig, name="twin")).on_frames < 1e-9


def test_a_foot_roll_is_spread_over_heel_ball_and_toe_and_joined_again() -> None:
    onset = np.radians(40.0)
    roll = np.linspace(-1.0, 2.0, 4001)
    heel, ball, toe = law_of_rocker(roll, onset)
    np.testing.assert_allclose(joined_rocker(heel, ball, toe), roll, atol=1e-15)
    np.testing.assert_array_equal(heel, np.where(roll < 0, roll, 0.0))
    assert ball.max() == onset
    assert np.all(ball[roll <= 0] == 0.0)
    np.testing.assert_allclose(toe[roll > onset], roll[roll > onset] - onset, atol=1e-15)


def test_one_foot_roll_channel_poses_as_three_rockers_do() -> None:
    rig = load_rig("adult")
    one, three = (style_of(rig_in_style(rig, "rockers", single=single)) for single in (True, False))
    assert one is not None
    assert three is not None
    roll = np.linspace(-0.6, 1.3, 39)
    rows = np.zeros((len(one.keys), 2, len(roll)))
    rows[one.keys.index("cant")] = 0.1
    split = rows.copy()
    rows[one.keys.index("rocker")] = roll
    for name, part in zip(("heel", "ball", "toe"), law_of_rocker(roll, rig.legs[0].foot.onset), strict=True):
        split[one.keys.index(name)] = part
    hips = np.broadcast_to(np.eye(3)[..., None], (3, 3, len(roll)))
    setting = Setting((WORLD, WORLD), hips, np.zeros((3, 2, len(roll))))
    for a, b in zip(one.read(rows, setting), three.read(split, setting), strict=True):
        np.testing.assert_allclose(a, b, atol=1e-14)


# ---- rockers as a product of matrices ----


@pytest.mark.parametrize("order", [ROCKERS, ("cant", "toe", "heel", "yaw_ball", "ball", "yaw_heel", "yaw_toe")])
def test_rockers_turn_about_their_pivots_in_the_stated_order(order: tuple[str, ...]) -> None:
    rig = rig_in_style(load_rig("lamplighter"), "rockers")
    controls = dict(rig.controls)
    for name in rig.limbs:
        controls[name] = replace(controls[name], rockers=order, order="zyx")
    style = style_of(replace(rig, controls=controls))
    assert style is not None
    rng = np.random.default_rng(4)
    rows = rng.uniform(-0.7, 0.7, (len(style.keys), 2, 1))
    rows[style.keys.index("rocker")] = 0.0
    hips = np.eye(3)[..., None]
    got = style.read(rows, Setting((WORLD, WORLD), hips, np.zeros((3, 2, 1))))
    for side in range(2):
        value = dict(zip(style.keys, rows[:, side, 0].tolist(), strict=True))
        foot = rig.legs[side].foot
        back, tip, ball = foot.outline[:, 1].min(), foot.outline[:, 1].max(), foot.ball[2]
        pivot: dict[str, Any] = {n: (np.mean(foot.edge(z)), foot.sole, z) for n, z in
                                 (("heel", back), ("toe", tip), ("cant", ball))}  # fmt: skip
        pivot["yaw_heel"], pivot["yaw_toe"], pivot["yaw_ball"] = pivot["heel"], pivot["toe"], pivot["cant"]
        pivot["ball"] = foot.ball
        low, high = foot.edge(ball)
        pivot["cant"] = (low if value["cant"] > 0 else high, foot.sole, ball)
        whole = moved([value[k] for k in "xyz"] + controls[rig.limbs[side]].rest)
        whole = whole @ turned("z", value["roll"]) @ turned("y", value["yaw"]) @ turned("x", value["pitch"])
        for name in order:
            axis = {"cant": "z"}.get(name, "y" if name.startswith("yaw") else "x")
            whole = whole @ moved(pivot[name]) @ turned(axis, value[name]) @ moved(-np.array(pivot[name]))
        np.testing.assert_allclose(got.ankle[:, side, 0], whole[:3, 3], atol=1e-14)
        np.testing.assert_allclose(matrix(*got.angles[:, side])[..., 0], whole[:3, :3], atol=1e-14)
        assert got.bend[side, 0] == pytest.approx(value["ball"] + value["bend"], abs=1e-15)


def test_a_planted_roll_leaves_the_root_still() -> None:
    """The planted foot's rockers are these: its root doesn't move while the foot rolls from heel to toe."""
    rig = load_rig("adult")
    style = style_of(rig_in_style(rig, "rockers"))
    assert style is not None
    from surefoot.sole import Soles, Turns

    pitch = np.tile(np.linspace(-0.4, 1.2, 33), (2, 1))
    still = np.zeros_like(pitch)
    soles_of = Soles.of(rig)
    bend = soles_of.planted_bend(pitch, still, still)
    ankle = soles_of.planted(Turns(pitch, still, still, bend))
    hips = np.broadcast_to(np.eye(3)[..., None], (3, 3, pitch.shape[1]))
    setting = Setting((WORLD, WORLD), hips, np.zeros((3, *pitch.shape)))
    given = np.ones((len(style.keys), 2), dtype=bool)
    given[style.keys.index("rocker")] = False
    near = np.zeros((len(style.keys), *pitch.shape))
    rows = style.write(FootWorld(ankle, np.array([pitch, still, still]), bend, still), near, given, setting)
    assert np.ptp(rows[:3], axis=-1).max() < 1e-12
    assert np.abs(rows[style.keys.index("bend")]).max() < 1e-12


# ---- joints as a product of matrices ----


def test_joint_angles_turn_one_after_the_other() -> None:
    rig = rig_in_style(load_rig("lamplighter"), "joints")
    style = style_of(rig)
    assert style is not None
    rng = np.random.default_rng(5)
    rows = rng.uniform(-0.6, 0.6, (len(style.keys), 2, 1))
    rows[3] = np.abs(rows[3])
    turn = Rotation.from_euler("YXZ", [0.3, -0.2, 0.1])
    hip = rng.normal(size=(3, 2, 1))
    got = style.read(rows, Setting((WORLD, WORLD), turn.as_matrix()[..., None], hip))
    for side, s in enumerate((1.0, -1.0)):
        flexion, abduction, rotation, knee, ankle, inversion, _, yaw = rows[:8, side, 0].tolist()
        leg = rig.legs[side]
        whole = np.eye(4)
        whole[:3, :3], whole[:3, 3] = turn.as_matrix(), hip[:, side, 0]
        whole = whole @ turned("x", -flexion) @ turned("z", s * abduction) @ turned("y", -s * rotation)
        whole = whole @ moved([0, -leg.thigh, 0]) @ turned("x", knee) @ moved([0, -leg.shank, 0])
        whole = whole @ turned("y", yaw) @ turned("x", -ankle) @ turned("z", -s * inversion)
        np.testing.assert_allclose(got.ankle[:, side, 0], whole[:3, 3], atol=1e-14)
        np.testing.assert_allclose(matrix(*got.angles[:, side])[..., 0], whole[:3, :3], atol=1e-14)


# ---- there and back ----


def random_pose(rig: Rig, rng: np.random.Generator) -> tuple[FootWorld, Setting]:
    """Legs within reach, half of the feet rolled as when planted, hips turned this way and that."""
    count = POSES
    turn = np.moveaxis(Rotation.from_euler("YXZ", rng.uniform(-0.4, 0.4, (count, 3))).as_matrix(), 0, -1)
    plane = [0.0 if rig.planar else 1.0]
    if rig.planar:
        turn = np.moveaxis(Rotation.from_euler("X", rng.uniform(-0.4, 0.4, (count, 1))).as_matrix(), 0, -1)
    hip = rng.normal(size=(3, 2, count))
    hip[0] *= plane[0]
    leg = np.array([[limb.length] for limb in rig.legs])
    way = rng.uniform(-0.5, 0.5, (3, 2, count))
    way[1] = -1.0
    way[0] *= plane[0]
    ankle = hip + way / np.sqrt((way**2).sum(axis=0)) * leg * rng.uniform(0.6, 0.98, (2, count))
    angles = np.array([rng.uniform(-0.5, 1.1, (2, count)), *rng.uniform(-0.35, 0.35, (2, 2, count)) * plane[0]])
    onset = np.array([[limb.foot.onset] for limb in rig.legs])
    planted = np.clip(angles[0], 0.0, onset)
    bend = np.where(rng.random((2, count)) < 0.5, planted, rng.uniform(-0.2, 0.9, (2, count)))
    hinged = np.array([[float(limb.foot.hinged)] for limb in rig.legs])
    knee = rng.uniform(-0.3, 0.3, (2, count)) * plane[0]
    return FootWorld(ankle, angles, bend * hinged, knee), Setting((WORLD, WORLD), turn, hip)


@pytest.mark.parametrize("name", STYLES)
@pytest.mark.parametrize("preset", legs_of_two())
def test_a_thousand_poses_go_to_each_style_and_back(preset: str, name: str) -> None:
    rig = load_rig(preset)
    target = rig_in_style(rig, **STYLES[name])
    style = style_of(target)
    assert style is not None
    feet, setting = random_pose(rig, np.random.default_rng(len(preset)))
    given = np.array([[key in control.axes for control in target.feet] for key in style.keys])
    for k in range(0, POSES, 250):  # each pose by itself: a leg isn't carried on from the one before
        part = slice(k, k + 250)
        own = FootWorld(*(values[..., part] for values in feet))
        where = Setting(setting.parents, setting.hips_turn[..., part], setting.hip[..., part])
        rows = style.write(own, np.zeros((len(style.keys), 2, 250)), given, where)
        back = style.read(rows, where)
        np.testing.assert_allclose(back.ankle, own.ankle, atol=1e-10)
        np.testing.assert_allclose(matrix(*back.angles), matrix(*own.angles), atol=1e-10)
        np.testing.assert_allclose(back.bend, own.bend, atol=1e-10)
        again = style.write(back, rows, given, where)
        np.testing.assert_allclose(style.read(again, where).ankle, own.ankle, atol=1e-10)


@pytest.mark.parametrize("name", ["rockers", "one foot-roll channel"])
def test_feet_on_rockers_go_along_with_a_space_that_turns_moves_and_is_scaled(name: str) -> None:
    """Witness: the poses without the space, multiplied by its 4 by 4 matrices."""
    style = style_of(rig_in_style(load_rig("lamplighter"), **STYLES[name]))
    assert style is not None
    rng = np.random.default_rng(11)
    rows = rng.uniform(-0.3, 0.3, (len(style.keys), 2, 50))
    given = np.ones((len(style.keys), 2), dtype=bool)
    if name == "rockers":
        rows[style.keys.index("rocker")], given[style.keys.index("rocker")] = 0.0, False
    turns, places, size = Rotation.random(50, rng).as_matrix(), rng.normal(size=(50, 3)), rng.uniform(0.5, 2.0, 50)
    ride = Space(np.moveaxis(turns, 0, -1), places.T.copy(), size)
    hips, hip = np.broadcast_to(np.eye(3)[..., None], (3, 3, 50)), np.zeros((3, 2, 50))
    plain, riding = (style.read(rows, Setting((space, space), hips, hip)) for space in (WORLD, ride))
    for at in range(50):
        whole = np.eye(4)
        whole[:3, :3], whole[:3, 3] = turns[at] * size[at], places[at]
        for side in range(2):
            ankle = whole @ [*plain.ankle[:, side, at], 1.0]
            np.testing.assert_allclose(riding.ankle[:, side, at], ankle[:3], atol=1e-13)
            own = turns[at] @ matrix(*plain.angles[:, side, at : at + 1])[..., 0]
            np.testing.assert_allclose(matrix(*riding.angles[:, side, at : at + 1])[..., 0], own, atol=1e-13)
    setting = Setting((ride, ride), hips, hip)
    back = style.read(style.write(riding, rows, given, setting), setting)
    np.testing.assert_allclose(back.ankle, riding.ankle, atol=1e-10)
    np.testing.assert_allclose(matrix(*back.angles), matrix(*riding.angles), atol=1e-10)


def test_toes_without_a_channel_of_their_own_are_bent_by_the_ball() -> None:
    rig = load_rig("adult")
    style = style_of(rig_in_style(rig, "rockers"))
    assert style is not None
    feet, setting = random_pose(rig, np.random.default_rng(5))
    given = np.array([[key not in ("bend", "rocker", "knee")] * 2 for key in style.keys])
    rows = style.write(feet, np.zeros((len(style.keys), 2, POSES)), given, setting)
    np.testing.assert_array_equal(rows[style.keys.index("ball")], feet.bend)
    assert np.all(rows[style.keys.index("bend")] == 0.0)
    back = style.read(rows, setting)
    np.testing.assert_allclose(back.ankle, feet.ankle, atol=1e-10)
    np.testing.assert_allclose(matrix(*back.angles), matrix(*feet.angles), atol=1e-10)
    np.testing.assert_allclose(back.bend, feet.bend, atol=1e-12)


def test_without_a_channel_for_the_foots_yaw_the_knee_gives_way() -> None:
    rig = rig_in_style(load_rig("adult"), "joints")
    style = style_of(rig)
    assert style is not None
    feet, setting = random_pose(rig, np.random.default_rng(3))
    given = np.ones((len(style.keys), 2), dtype=bool)
    given[style.keys.index("foot_yaw")] = False
    rows = style.write(feet, np.zeros((len(style.keys), 2, POSES)), given, setting)
    assert np.all(rows[style.keys.index("foot_yaw")] == 0.0)
    back = style.read(rows, setting)
    np.testing.assert_allclose(back.ankle, feet.ankle, atol=1e-10)
    np.testing.assert_allclose(matrix(*back.angles), matrix(*feet.angles), atol=1e-10)


# ---- whole clips ----


@pytest.mark.parametrize("name", STYLES)
@pytest.mark.parametrize("seed", range(3))
def test_a_clip_goes_to_each_style_and_back_with_the_same_feet(seed: int, name: str) -> None:
    walk, rig = random_walk(seed), make_rig()
    clip = walk.clip()
    made = convert(clip, rig, **STYLES[name])
    assert made.on_frames < 1e-10
    back = convert(made.clip, made.rig, to=rig)
    at = np.arange(clip.first, clip.last + 1.0)
    assert most_apart(soles(clip, rig, at), soles(back.clip, rig, at)) < 1e-9
    assert made.between < 2e-3
    hips = [channel for channel in clip.channels if channel.startswith("hips")]
    assert all(made.clip.channels[channel] is clip.channels[channel] for channel in hips)


@pytest.mark.parametrize("name", STYLES)
@pytest.mark.parametrize("seed", range(3))
def test_a_clip_of_each_style_is_planted_where_that_about_the_ankle_is(seed: int, name: str) -> None:
    walk, rig = random_walk(seed), make_rig()
    clip = walk.clip()
    made = convert(clip, rig, **STYLES[name])
    done = plant(made.clip, made.rig)
    ours = plant(convert(clip, rig, style="ankle", to=rig).clip, rig)
    at = np.arange(clip.first, clip.last + 1.0)
    theirs = convert(done.clip, made.rig, to=rig)
    assert most_apart(soles(ours.clip, rig, at), soles(theirs.clip, rig, at)) < 1e-6
    assert all(done.clip.channels[c] is made.clip.channels[c] for c in clip.channels if c.startswith("hips"))


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("name", STYLES)
def test_the_lamplighter_is_mended_in_each_style(name: str, keys: Any, lamplighter: tuple[Clip, Rig]) -> None:
    clip, rig = lamplighter
    made = convert(clip, rig, **STYLES[name])
    before = check(made.clip, made.rig)
    done = plant(made.clip, made.rig, keys=keys)
    after = check(done.clip, made.rig)
    assert before.worst == "error"
    assert after.is_clean, after.findings
    if keys == "few":
        assert sum(count.after for count in done.keys) < sum(count.every_frame for count in done.keys)
        assert max(count.worst for count in done.keys) <= 1.0


@pytest.mark.parametrize("name", STYLES)
def test_what_holds_already_is_left_alone_in_each_style(name: str, lamplighter: tuple[Clip, Rig]) -> None:
    clip, rig = lamplighter
    made = convert(clip, rig, **STYLES[name])
    once = plant(made.clip, made.rig)
    twice = plant(once.clip, made.rig)
    assert np.abs(twice.ankle_change).max() < 1e-6


def test_a_stepped_pose_stays_stepped_and_one_frame_is_one_key() -> None:
    walk, rig = random_walk(1), make_rig()
    clip = walk.clip()
    stepped = {n: replace(c, shapes=np.zeros_like(c.shapes)) for n, c in clip.channels.items()}
    made = convert(replace(clip, channels=stepped), rig, style="rockers")
    heel = made.clip.channels["left_foot.heel"]
    assert np.all(heel.shapes == 0)
    still = replace(clip, first=3, last=3, loop=False, stances=None, belt=None)
    one = convert(still, rig, style="rockers")
    assert len(one.clip.channels["left_foot.heel"].frames) == 1
    assert np.abs(plant(one.clip, one.rig).ankle_change).max() < 0.5


@pytest.mark.parametrize("style", ["rockers", "joints"])
def test_a_clip_of_one_frame_is_converted_as_the_same_frame_of_two(style: str) -> None:
    """A leg by joints that should be longer than it is is told so there too, and no channel is made for nothing."""
    clip, rig = demo("lamplighter")
    high = remix(clip, rig, [Edit("add", "hips.y", 20.0)])
    one, two = (replace(high, first=1, last=last, loop=False, stances=None) for last in (1, 2))
    one_made, two_made = convert(one, rig, style=style), convert(two, rig, style=style)
    assert set(one_made.clip.channels) == set(two_made.clip.channels)
    ankles = []
    for made in (one_made, two_made):
        binding = Binding(made.rig, made.clip)
        ankles.append(binding.pose(binding.values(np.ones(1)), np.ones(1)).ankle)
    assert np.abs(ankles[0] - ankles[1]).max() < 1e-9
    asked = Binding(rig, one)
    off = float(np.abs(ankles[0] - asked.pose(asked.values(np.ones(1)), np.ones(1)).ankle).max())
    assert off > 0.05 or style == "rockers"
    assert one_made.on_frames == pytest.approx(off, abs=1e-9)


# ---- what can't be ----


@pytest.mark.parametrize(
    ("axes", "style", "says"),
    [
        (("x", "y", "z", "heel", "ball"), "rockers", "the style rockers needs the axis 'toe'"),
        (JOINTS[:-1], "joints", "the style joints needs the axis 'ankle_inversion'"),
    ],
)
def test_a_control_that_lacks_what_its_style_needs_is_told(axes: tuple[str, ...], style: str, says: str) -> None:
    rig = rig_in_style(make_rig(), style)
    controls = dict(rig.controls)
    name = rig.limbs[0]
    controls[name] = replace(controls[name], axes={k: v for k, v in controls[name].axes.items() if k in axes})
    with pytest.raises(InputError, match=says):
        replace(rig, controls=controls)


@pytest.mark.parametrize(
    ("order", "says"),
    [
        (("heel", "ball", "toe", "roll"), "'roll' is no rocker"),
        ((*ROCKERS, "heel"), "'heel' stands twice"),
        (("heel", "ball"), "'toe' has a channel but no place in the order"),
    ],
)
def test_an_order_of_rockers_that_makes_no_sense_is_told(order: tuple[str, ...], says: str) -> None:
    rig = rig_in_style(make_rig(), "rockers")
    with pytest.raises(InputError, match=says):
        replace(rig.feet[0], rockers=order)


def test_an_unknown_style_is_told() -> None:
    with pytest.raises(InputError, match="the control style 'toes' isn't known; use ankle, rockers, joints"):
        convert(random_walk(0).clip(), make_rig(), style="toes")


@pytest.fixture(scope="module")
def lamplighter() -> tuple[Clip, Rig]:
    from surefoot import demo

    return demo("lamplighter")


def test_a_channel_in_another_unit_and_sign_reads_the_same() -> None:
    rig = rig_in_style(make_rig(), "rockers")
    clip = convert(random_walk(2).clip(), make_rig(), to=rig).clip
    foot = rig.feet[0]
    axis = foot.axes["heel"]
    other = replace(axis, scale=-float(np.radians(1.0)), zero=5.0)
    changed = replace(rig, controls={**rig.controls, foot.name: replace(foot, axes={**foot.axes, "heel": other})})
    curve = clip.channels[axis.channel]
    values = curve.values * axis.scale / other.scale + 5.0
    turned_over = {axis.channel: Curve.through(curve.frames, values, before=curve.before, after=curve.after)}
    frames = np.arange(1.0, 5.0)
    poses = []
    for r, c in ((rig, clip), (changed, clip.with_channels(turned_over))):
        binding = Binding(r, c)
        poses.append(binding.pose(binding.values(frames), frames))
    np.testing.assert_allclose(poses[0].ankle, poses[1].ankle, atol=1e-12)
