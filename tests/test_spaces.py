"""Where each control is: spaces, signs, units and rotation orders, checked against chains of 4 by 4 matrices."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Shape
from surefoot.errors import InputError, UnitError, UnknownName
from surefoot.rig import Axis, Control, Foot, Leg, Rig
from surefoot.rotations import ORDERS
from surefoot.spaces import Binding, Pose, check_scale, unwind_along

FRAMES = np.arange(1.0, 9.0)
TURNS = ("pitch", "yaw", "roll")
PLACE = {"pitch": 0, "yaw": 1, "roll": 2}


def foot() -> Foot:
    outline = np.array([[-0.03, -0.06], [0.03, -0.06], [0.03, 0.20], [-0.03, 0.20]])
    return Foot(np.array([0, -0.08, -0.06]), np.array([0, -0.06, 0.13]), np.array([0, -0.08, 0.20]), outline)


LEG = Leg(np.array([0.09, -0.05, 0.01]), 0.45, 0.43, foot())
SIGNS = {"x": -0.01, "y": 0.01, "z": 0.0254, "pitch": np.radians(1), "yaw": -np.radians(1), "roll": 1.0}


def control(name: str, parent: str = "world", order: str = "yxz", rest: tuple[float, ...] = (0, 0, 0)) -> Control:
    axes = {key: Axis(f"{name}.{key}", scale, 0.5 if key == "x" else 0.0) for key, scale in SIGNS.items()}
    if name.endswith("foot"):
        axes["bend"] = Axis(f"{name}.bend", -1.0)
    return Control(name, axes, parent, np.array(rest), order)


def rig(*extra: Control, **parents: str) -> Rig:
    made = [
        control("hips", parents.get("hips", "world"), parents.get("order", "yxz"), (0.01, 0.9, 0.02)),
        control("left_foot", parents.get("left_foot", "world"), parents.get("order", "yxz"), (0.1, 0.08, 0.0)),
        control("right_foot", parents.get("right_foot", "world"), parents.get("order", "yxz"), (-0.1, 0.08, 0.0)),
    ]
    return Rig("r", (LEG, LEG.mirrored()), {c.name: c for c in (*made, *extra)})


def clip(rig_: Rig, seed: int = 0, *, turns: float = 0.6, **changed: Any) -> Clip:
    """Return a clip of random small motions, in the file's own units."""
    rng = np.random.default_rng(seed)
    channels = {}
    for part in rig_.controls.values():
        for key, axis in part.axes.items():
            size = 0.1 if key in "xyz" else turns
            values = rng.uniform(-size, size, len(FRAMES)) / axis.scale + axis.zero
            channels[axis.channel] = Curve.through(FRAMES, values)
    return Clip(**({"channels": channels, "rate": Fraction(24), "first": 1, "last": 8} | changed))


def box(turn: np.ndarray, place: np.ndarray) -> np.ndarray:
    made = np.eye(4)
    made[:3, :3], made[:3, 3] = turn, place
    return made


def world_of(rig_: Rig, made: Clip, name: str, at: int) -> np.ndarray:
    """Return the witness: world from control as a product of 4 by 4 matrices, one frame, by scipy's rotations."""
    if name == "world":
        return np.eye(4)
    if name in made.spaces:
        return np.array(made.spaces[name][at])
    part = rig_.controls[name]
    number = {key: (made.channels[axis.channel].values[at] - axis.zero) * axis.scale for key, axis in part.axes.items()}
    angle = {"x": number["pitch"], "y": number["yaw"], "z": number["roll"]}
    turn = Rotation.from_euler(part.order.upper(), [angle[letter] for letter in part.order]).as_matrix()
    own = box(turn, part.rest + np.array([number["x"], number["y"], number["z"]]))
    return world_of(rig_, made, part.parent, at) @ own


def pose(rig_: Rig, made: Clip) -> tuple[Binding, np.ndarray, Pose]:
    binding = Binding(rig_, made)
    values = binding.values(FRAMES)
    return binding, values, binding.pose(values, FRAMES)


ROOT = Control("root", {key: Axis(f"root.{key}", s) for key, s in SIGNS.items()}, rest=np.array([0.3, 0, -0.2]))
LAYOUTS = [
    {},
    {"left_foot": "hips"},
    {"hips": "root", "left_foot": "root", "right_foot": "root"},
    {"hips": "root", "left_foot": "hips", "right_foot": "world"},
    {"hips": "root", "left_foot": "right_foot"},
    {"hips": "ride", "left_foot": "ride", "right_foot": "ride"},
]


def ride() -> np.ndarray:
    """Return a sampled parent that turns, moves and is scaled alike on every axis."""
    turns = Rotation.from_rotvec(np.linspace(0, 1, 8)[:, None] * [0.2, 1.0, -0.1]).as_matrix() * 1.3
    places = np.random.default_rng(8).normal(size=(8, 3))
    return np.array([box(turn, place) for turn, place in zip(turns, places, strict=True)])


def scene(layout: dict[str, str], order: str, seed: int = 0) -> tuple[Rig, Clip]:
    rig_ = rig(ROOT, order=order, **layout)
    spaces = {"ride": ride()} if "ride" in layout.values() else {}
    return rig_, clip(rig_, seed, spaces=spaces)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("layout", LAYOUTS, ids=str)
def test_every_control_is_where_its_chain_of_spaces_puts_it(layout: dict[str, str], order: str) -> None:
    rig_, made = scene(layout, order)
    _, _, found = pose(rig_, made)
    for at in range(8):
        hips = world_of(rig_, made, "hips", at)
        np.testing.assert_allclose(found.hips[:, at], hips[:3, 3], atol=1e-13)
        scale = np.cbrt(np.linalg.det(hips[:3, :3]))
        np.testing.assert_allclose(found.hips_turn[:, :, at], hips[:3, :3] / scale, atol=1e-13)
        for side, name in enumerate(("left_foot", "right_foot")):
            world = world_of(rig_, made, name, at)
            np.testing.assert_allclose(found.ankle[:, side, at], world[:3, 3], atol=1e-13)
            turn = Rotation.from_euler("YXZ", found.angles[[1, 0, 2], side, at]).as_matrix()
            np.testing.assert_allclose(turn, world[:3, :3] / np.cbrt(np.linalg.det(world[:3, :3])), atol=1e-12)
            joint = found.hips[:, at] + found.hips_turn[:, :, at] @ rig_.legs[side].hip
            np.testing.assert_allclose(found.hip[:, side, at], joint, atol=1e-13)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(LAYOUTS), st.sampled_from(ORDERS), st.integers(0, 2**31))
def test_writing_a_pose_back_gives_the_authored_channels(layout: dict[str, str], order: str, seed: int) -> None:
    """Angles come out on the authored branch, in the foot's own order and space."""
    rig_, made = scene(layout, order, seed)
    if "left_foot" in layout and layout["left_foot"] == "right_foot":
        return  # the left foot is then written against the right one as authored, which is the same thing
    binding, values, found = pose(rig_, made)
    out = binding.write(found.ankle, found.angles, found.bend, values, FRAMES)
    for side, name in enumerate(("left_foot", "right_foot")):
        for row, key in enumerate(("x", "y", "z", *TURNS, "bend")):
            authored = values[binding.rows[name, key]]
            np.testing.assert_allclose(out[row, side], authored, atol=1e-10, err_msg=f"{name}.{key}")


def on_rockers(rig_: Rig) -> Rig:
    """Return the rig with its feet's controls given rockers on top of their place and turns."""
    turns = {key: Axis("", 1.0) for key in ("heel", "ball", "toe", "cant")}
    controls = dict(rig_.controls)
    for name in ("left_foot", "right_foot"):
        own = {key: replace(axis, channel=f"{name}.{key}") for key, axis in turns.items()}
        controls[name] = replace(controls[name], axes={**controls[name].axes, **own})
    return replace(rig_, style="rockers", controls=controls)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("layout", [one for one in LAYOUTS if "right_foot" not in one.values()], ids=str)
def test_a_foot_on_rockers_hangs_in_its_parents_space_and_is_written_back_into_it(
    layout: dict[str, str], order: str
) -> None:
    """Witness: with its rockers at rest a foot stands where the chain of 4 by 4 matrices puts it."""
    plain, made = scene(layout, order)
    rest = {
        f"{n}.{k}": Curve.constant(0.0) for n in ("left_foot", "right_foot") for k in ("heel", "ball", "toe", "cant")
    }
    made = made.with_channels(rest)
    binding, values, found = pose(on_rockers(plain), made)
    for at in range(8):
        for side, name in enumerate(("left_foot", "right_foot")):
            world = world_of(plain, made, name, at)
            np.testing.assert_allclose(found.ankle[:, side, at], world[:3, 3], atol=1e-13)
            turn = Rotation.from_euler("YXZ", found.angles[[1, 0, 2], side, at]).as_matrix()
            np.testing.assert_allclose(turn, world[:3, :3] / np.cbrt(np.linalg.det(world[:3, :3])), atol=1e-12)
    rng = np.random.default_rng(3)
    moved = found.ankle + rng.uniform(-0.05, 0.05, found.ankle.shape)
    rolled = found.angles + rng.uniform(-0.3, 0.3, found.angles.shape)
    rows = binding.write(moved, rolled, found.bend, values, FRAMES)
    again = values.copy()
    binding.put_feet(again, rows)
    back = binding.pose(again, FRAMES)
    np.testing.assert_allclose(back.ankle, moved, atol=1e-9)
    ours, asked = (Rotation.from_euler("YXZ", a[[1, 0, 2]].reshape(3, -1).T) for a in (back.angles, rolled))
    assert (ours * asked.inv()).magnitude().max() <= 1e-9


def test_numbers_become_metres_and_radians_by_scale_sign_and_zero() -> None:
    rig_ = rig()
    made = clip(rig_)
    binding = Binding(rig_, made)
    values = binding.values(FRAMES)
    row = binding.rows["hips", "x"]
    np.testing.assert_allclose(values[row], (made.channels["hips.x"].values - 0.5) * -0.01, atol=1e-15)


def test_an_optional_channel_may_be_missing_and_then_is_nothing() -> None:
    rig_ = rig()
    axes = dict(rig_.controls["left_foot"].axes) | {"bend": Axis("left_foot.bend", optional=True)}
    left = Control("left_foot", axes, rest=rig_.controls["left_foot"].rest)
    rig_ = Rig("r", rig_.legs, {**rig_.controls, "left_foot": left})
    made = clip(rig_)
    less = Clip({n: c for n, c in made.channels.items() if n != "left_foot.bend"}, made.rate, 1, 8)
    _, _, found = pose(rig_, less)
    assert np.all(found.bend[0] == 0.0)
    assert np.any(found.bend[1] != 0.0)


def test_a_missing_channel_and_an_unknown_parent_are_told_by_their_control() -> None:
    rig_ = rig()
    made = clip(rig_)
    less = Clip({n: c for n, c in made.channels.items() if n != "left_foot.pitch"}, made.rate, 1, 8)
    with pytest.raises(UnknownName, match=r"no channel is called 'left_foot\.pitch'; did you mean") as told:
        Binding(rig_, less)
    assert told.value.place == "control left_foot, pitch"
    lost = rig(hips="roof")
    with pytest.raises(UnknownName, match="no parent is called 'roof'") as told:
        Binding(lost, clip(lost))
    assert told.value.place == "control hips"


def test_between_frames_a_sampled_space_stays_square() -> None:
    rig_, made = scene(LAYOUTS[-1], "yxz")
    binding = Binding(rig_, made)
    frames = np.array([1.0, 1.5, 3.25, 7.9, 8.0])
    found = binding.pose(binding.values(frames), frames)
    gram = np.einsum("ikf,jkf->fij", found.hips_turn, found.hips_turn)
    np.testing.assert_allclose(gram, np.tile(np.eye(3), (5, 1, 1)), atol=1e-12)


def test_what_advances_is_carried_on_at_the_loops_end() -> None:
    rig_ = rig()
    made = clip(rig_)
    frames = np.array([1.0, 5.0, 9.0])
    walking = Curve.through(frames, [0.0, 1.0, 4.0], before=Outside.ADVANCE, after=Outside.ADVANCE)
    loop = Clip({**made.channels, "hips.z": walking}, made.rate, 1, 8, loop=True)
    binding = Binding(rig_, loop)
    values = binding.values(FRAMES)
    end = binding.end_values(values)[:, 0]
    row = binding.rows["hips", "z"]
    assert end[row] - values[row, 0] == pytest.approx(4.0 * 0.0254)
    others = np.arange(len(end)) != row
    np.testing.assert_array_equal(end[others], values[others, 0])


def test_a_run_of_angles_is_unwound_frame_by_frame() -> None:
    smooth = np.linspace(-9.0, 11.0, 80)
    wrapped = np.angle(np.exp(1j * smooth))
    np.testing.assert_allclose(unwind_along(wrapped) - wrapped[0], smooth - smooth[0], atol=1e-12)
    np.testing.assert_allclose(unwind_along(np.array([[0.1, 0.2], [3.1, -3.1]]))[1], [3.1, 2 * np.pi - 3.1])


# --- what is asked about --------------------------------------------------------------------------


def jumping(by_deg: float, *, name: str = "left_foot.pitch", shape: Shape = Shape.THROUGH) -> Clip:
    made = clip(rig(), turns=0.01)
    values = np.array(made.channels[name].values)
    values[5:] += by_deg * (1.0 if "pitch" in name else np.pi / 180.0)
    return made.with_channels({name: Curve.shaped(FRAMES, values, shape=shape)})


@pytest.mark.parametrize("by", [360.0, -360.0, 310.0, 400.0, 720.0])
@pytest.mark.parametrize("name", ["left_foot.pitch", "hips.roll"])
def test_an_angle_that_jumps_by_a_turn_between_two_keys_is_asked_about(by: float, name: str) -> None:
    with pytest.raises(InputError, match=r"it jumps by \d+ degrees from frame 5 to 6, about a whole turn") as told:
        Binding(rig(), jumping(by, name=name))
    assert told.value.place == f"channel {name}"
    assert "set a key half-way if the turn is meant" in told.value.reason


@pytest.mark.parametrize("by", [0.0, 90.0, 180.0, 270.0, -290.0])
def test_a_turn_that_is_less_than_whole_is_taken(by: float) -> None:
    Binding(rig(), jumping(by))


def test_a_key_half_way_says_that_the_turn_is_meant() -> None:
    made = clip(rig(), turns=0.0)
    spin = Curve.through([1.0, 4.0, 8.0], [0.0, 180.0, 360.0])
    Binding(rig(), made.with_channels({"hips.pitch": spin}))


def test_lengths_may_jump_as_they_like_and_so_may_channels_that_the_rig_does_not_read() -> None:
    made = clip(rig())
    far = Curve.through([1.0, 2.0], [0.0, 360.0])
    Binding(rig(), made.with_channels({"hips.z": far, "prop.spin": far, "left_foot.y": far}))


def test_the_first_jump_is_told_whatever_stands_before_it() -> None:
    made = jumping(360.0, name="right_foot.pitch")
    with pytest.raises(InputError, match="from frame 5 to 6") as told:
        Binding(rig(), made)
    assert told.value.place == "channel right_foot.pitch"


def standing(*, leg: float = 0.85, left: float = 0.1, drop: tuple[float, float] = (0.0, 0.0)) -> Pose:
    """Return hips over two feet that stand ``leg`` below them; ``drop`` is a shift of both feet in y and z."""
    zero = np.zeros((3, 2, 4))
    hip, ankle = zero.copy(), zero.copy()
    hip[0], ankle[0] = [[0.1], [-0.1]], [[left], [-left]]
    hip[1] = leg
    ankle[1] += drop[0]
    ankle[2] += drop[1]
    turn = np.tile(np.eye(3)[:, :, None], (1, 1, 4))
    return Pose(np.zeros((3, 4)), turn, hip, ankle, zero, zero[0], zero[0])


def ask(pose_: Pose) -> None:
    rig_ = rig()
    check_scale(Binding(rig_, clip(rig_)), pose_)


@pytest.mark.parametrize("leg", [0.2, 0.5, 0.88, 1.2])
def test_a_likely_pose_is_taken(leg: float) -> None:
    ask(standing(leg=leg))


@pytest.mark.parametrize("leg", [85.0, 2.2, 0.0085, 0.1])
def test_a_pose_of_another_size_is_asked_about(leg: float) -> None:
    with pytest.raises(
        UnitError, match=r"are the clip's unit and the rig's the same, and the hips where they should be\?"
    ):
        ask(standing(leg=leg, left=0.1))


def test_feet_behind_the_hips_above_them_or_crossed_are_asked_about() -> None:
    with pytest.raises(UnitError, match=r"is the clip Z-up\? Surefoot reads \+Y up"):
        ask(standing(drop=(0.85, -0.85)))
    with pytest.raises(InputError, match="the feet are above the hips; is the up axis turned over"):
        ask(standing(drop=(1.7, 0.0)))
    with pytest.raises(InputError, match="are left and right swapped"):
        ask(standing(left=-0.1))
    ask(standing(left=-0.01))  # a narrow walk may cross its line a little
