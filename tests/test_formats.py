"""One clip through every format: what comes back, and what a format can't carry comes back from the mapping."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

import surefoot
from surefoot import Clip, Curve, Rig
from surefoot.curves import Pack, Shape
from surefoot.errors import FileError, InputError, UnknownName
from surefoot.formats.bodies import body_capture, body_clip
from surefoot.formats.bvh import parse_bvh, read_bvh
from surefoot.formats.c3d import read_c3d
from surefoot.formats.carry import Track, clip_of_nodes, node_mapping, node_tracks
from surefoot.formats.gltf_read import parse_gltf
from surefoot.formats.gltf_write import gltf_bytes
from surefoot.formats.guess import propose_mapping
from surefoot.formats.mapping import Mapping, load_mapping, mapping_path, mapping_text, parse_mapping
from surefoot.formats.motion import Motion, near_rate
from surefoot.formats.opening import clip_files, known_formats, open_clip, open_motion
from surefoot.formats.samples_csv import csv_bytes, parse_csv
from surefoot.rig_file import parse_rig
from surefoot.rig_save import rig_text
from surefoot.spaces import Binding
from tests.captures import write_jump_bvh, write_treadmill_c3d
from tests.data.jump import METRES_PER_UNIT, jump_points
from tests.data.treadmill import treadmill

PRECISION = {
    ".csv": (0.0, 0.0),
    ".glb": (2e-6, 2e-6),
    ".gltf": (2e-6, 2e-6),
    ".usda": (1e-12, 1e-12),
    ".usdc": (1e-12, 1e-12),
}
"""Metres and radians of the planted feet, by format: single floats carry 24 bits, and planting at most adds them up."""
SUFFIXES = tuple(PRECISION)


def save(clip: Clip, rig: Rig, path: Path) -> Path:
    for data, name in clip_files(clip, rig, path):
        Path(name).write_bytes(data)
    return path


def demo(name: str) -> tuple[Clip, Rig]:
    clip, rig = surefoot.demo(name)
    return replace(clip, rig=name), rig


def told(report: surefoot.Report) -> list[tuple[str, str, int, int, str]]:
    return [(f.kind, f.foot, f.first, f.last, f.level) for f in report.findings]


@pytest.mark.parametrize("name", ["lamplighter", "treadmill"])
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_clip_through_a_format_gives_the_same_findings_and_the_same_planted_feet(
    name: str, suffix: str, tmp_path: Path
) -> None:
    clip, rig = demo(name)
    back = open_clip(save(clip, rig, tmp_path / f"walk{suffix}")).clip
    assert (back.rate, back.first, back.last, back.loop) == (clip.rate, clip.first, clip.last, clip.loop)
    assert back.belt is not None
    assert clip.belt is not None
    np.testing.assert_allclose(back.belt.velocity, clip.belt.velocity, atol=1e-12)
    for channel, curve in clip.channels.items():
        there = back.channels[channel]
        np.testing.assert_array_equal(there.frames, curve.frames)
        np.testing.assert_array_equal(there.shapes, curve.shapes)
        assert (there.before, there.after) == (curve.before, curve.after)
    before, after = surefoot.check(clip, rig), surefoot.check(back, rig)
    assert told(before) == told(after)
    one, two = surefoot.plant(clip, rig), surefoot.plant(back, rig)
    assert one.stances == two.stances
    frames = np.arange(clip.first, clip.last + 1.0)
    poses = [(b := Binding(rig, p.clip)).pose(b.values(frames), frames) for p in (one, two)]
    places, turns = PRECISION[suffix]
    assert np.abs(poses[0].ankle - poses[1].ankle).max() <= places
    assert np.abs(poses[0].angles - poses[1].angles).max() <= turns


def test_the_native_format_of_a_foreign_clip_is_exact(tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    back = open_clip(save(clip, rig, tmp_path / "walk.json")).clip
    for name, curve in clip.channels.items():
        np.testing.assert_array_equal(back.channels[name].values, curve.values)


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize(
    "rate", [Fraction(24000, 1001), Fraction(24), Fraction(30000, 1001), Fraction(25), Fraction(120)]
)
def test_a_broadcast_rate_comes_back_exact(suffix: str, rate: Fraction, tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    path = save(replace(clip, rate=rate), rig, tmp_path / f"walk{suffix}")
    assert open_clip(path).clip.rate == rate
    said = load_mapping(mapping_path(path))
    head = {key: value for key, value in said.clip.items() if key != "rate"}
    Path(mapping_path(path)).write_text(mapping_text(replace(said, clip=head)))
    assert open_clip(path).clip.rate == rate, "and from the file alone"


def test_values_changed_elsewhere_win_over_keys_that_no_longer_fit(tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    path = save(clip, rig, tmp_path / "walk.csv")
    rows = [row.split(",") for row in path.read_text().splitlines()]
    at = rows[0].index("hips.y [cm]")
    rows[3][at] = "95.5"  # frame 3 lies between the keys of frames 1 and 4
    path.write_text("\n".join(",".join(row) for row in rows))
    back = open_clip(path).clip
    assert Pack.from_curves([back.channels["hips.y"]]).evaluate([3.0])[0, 0] == 95.5
    assert len(back.channels["hips.y"].frames) == 25
    np.testing.assert_array_equal(back.channels["hips.x"].frames, clip.channels["hips.x"].frames)


def test_turns_beyond_half_a_turn_and_more_come_back(tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    yaw = clip.channels["hips.yaw"]
    names = ("hips.yaw", "left_foot.yaw", "right_foot.yaw")
    turned = {n: replace(clip.channels[n], values=clip.channels[n].values + 720.0) for n in names}
    for suffix in (".glb", ".usda"):
        back = open_clip(save(clip.with_channels(turned), rig, tmp_path / f"walk{suffix}")).clip
        np.testing.assert_allclose(back.channels["hips.yaw"].values, yaw.values + 720.0, atol=1e-4)


def test_controls_under_a_moving_root_in_another_order_come_back(tmp_path: Path) -> None:
    clip, _ = demo("lamplighter")
    text = (
        (Path(__file__).parents[1] / "rigs" / "lamplighter.toml").read_text()
        + """
[controls.root]
x = "root.x"
z = "root.z"
yaw = "root.yaw"
[controls.hips]
parent = "root"
order = "zxy"
x = "hips.x"
y = "hips.y"
z = "hips.z"
pitch = {channel = "hips.pitch", sign = -1}
yaw = "hips.yaw"
roll = "hips.roll"
[controls.left_foot]
parent = "root"
order = "xyz"
rest = [8.8, 8.5, 0.0]
x = "left_foot.x"
y = "left_foot.y"
z = "left_foot.z"
pitch = "left_foot.pitch"
yaw = "left_foot.yaw"
cant = "left_foot.cant"
bend = "left_foot.bend"
[controls.right_foot]
parent = "root"
rest = [-8.8, 8.5, 0.0]
x = "right_foot.x"
y = "right_foot.y"
z = "right_foot.z"
pitch = "right_foot.pitch"
yaw = "right_foot.yaw"
cant = "right_foot.cant"
bend = "right_foot.bend"
"""
    )
    (tmp_path / "moved.rig.toml").write_text(text)
    body = parse_rig(text)
    root = {"root.x": [0.0, 4.0], "root.z": [0.0, 90.0], "root.yaw": [0.0, 35.0]}
    moved = replace(
        clip.with_channels({n: Curve.shaped([1, 25], v, shape=Shape.LINEAR) for n, v in root.items()}),
        loop=False, rig="moved.rig.toml",
    )  # fmt: skip
    frames = np.arange(1.0, 25.0)
    want = Binding(body, moved)
    pose = want.pose(want.values(frames), frames)
    for suffix in (".glb", ".usda"):
        back = open_clip(save(moved, body, tmp_path / f"walk{suffix}")).clip
        got = Binding(body, back)
        there = got.pose(got.values(frames), frames)
        np.testing.assert_allclose(there.ankle, pose.ankle, atol=2e-6)
        np.testing.assert_allclose(there.hips_turn, pose.hips_turn, atol=2e-6)


def test_a_stage_in_centimetres_and_z_up_is_read_by_its_mapping(tmp_path: Path) -> None:
    """The same motion turned over and scaled by a second hand: `world` matrices, no formula shared."""
    clip, rig = demo("lamplighter")
    motion = open_motion(save(clip, rig, tmp_path / "walk.usda"))
    over = np.array([[1.0, 0, 0, 0], [0, 0, -1.0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]])  # y up to z up
    world = over @ motion.world @ over.T
    world[..., :3, 3] *= 100.0
    said = load_mapping(mapping_path(tmp_path / "walk.usda"))
    there = clip_of_nodes(
        replace(motion, world=world), replace(said, unit=0.01, axes=("x", "z", "-y")), rig
    )  # fmt: skip
    for name, curve in clip.channels.items():
        np.testing.assert_allclose(there.channels[name].values, curve.values, atol=1e-9)


def test_gltf_is_read_as_its_appendix_has_it() -> None:
    """Cubic splines against SciPy's Hermite, linear turns against its slerp; between the keys, at twice the rate."""
    rng = np.random.default_rng(5)
    count, frames = 9, np.arange(9.0)
    place, slope = rng.normal(size=(count, 3)), rng.normal(size=(2, count, 3))
    angles = np.cumsum(rng.normal(scale=0.3, size=(count, 3)), axis=0)
    track = Track("a", "", place, angles, "yxz", slope, np.zeros_like(slope))
    motion = parse_gltf(gltf_bytes([track], Fraction(24)), rate=48)
    half = np.arange(17) / 2.0
    for axis in range(3):
        spline = np.empty(17)
        for k, t in enumerate(half):
            i = min(int(t), count - 2)
            pair = CubicHermiteSpline(
                frames[i : i + 2], place[i : i + 2, axis], [slope[1, i, axis], slope[0, i + 1, axis]]
            )
            spline[k] = pair(t)
        np.testing.assert_allclose(motion.world[0, :, axis, 3], spline, atol=2e-6)
    straight = parse_gltf(gltf_bytes([track], Fraction(24), spline=False), rate=48)
    turns = Rotation.from_euler("YXZ", angles[:, [1, 0, 2]])
    np.testing.assert_allclose(straight.world[0, :, :3, :3], Slerp(frames, turns)(half).as_matrix(), atol=2e-6)
    np.testing.assert_allclose(straight.world[0, 1::2, :3, 3], (place[1:] + place[:-1]) / 2.0, atol=2e-6)
    assert straight.linear
    assert not motion.linear


def test_the_slopes_of_turns_in_gltf_are_those_of_the_clip() -> None:
    """Between frames the spline follows the animator's curve to a thousandth of a degree's kin, linear doesn't."""
    clip, rig = demo("lamplighter")
    between = np.arange(1.0, 25.0, 0.5)
    binding = Binding(rig, clip)
    truth = np.moveaxis(binding.pose(binding.values(between), between).hips_turn, -1, 0)
    off = {}
    for spline in (True, False):
        motion = parse_gltf(gltf_bytes(node_tracks(clip, rig), clip.rate, spline=spline), rate=48)
        off[spline] = np.abs(motion.world[0, : len(between), :3, :3] - truth).max()
    assert off[True] < 1e-4
    assert off[False] > 5 * off[True]


def test_a_bvh_puts_every_joint_where_another_reader_does(tmp_path: Path) -> None:
    motion = read_bvh(write_jump_bvh(tmp_path / "jump.bvh"))
    truth = jump_points()
    assert motion.samples == 2752
    assert motion.rate == 120
    for foot, side in enumerate(("Left", "Right")):
        for k, joint in enumerate(("UpLeg", "Leg", "Foot", "ToeBase", "ToeBase End")):
            there = motion.world[motion.row(side + joint), 1:, :3, 3] * METRES_PER_UNIT
            np.testing.assert_allclose(there, truth.points[:, foot, k], atol=1e-12)


def test_a_jump_is_mapped_by_names_and_geometry(tmp_path: Path) -> None:
    motion = read_bvh(write_jump_bvh(tmp_path / "jump.bvh"))
    said = propose_mapping(motion, file="jump.bvh")
    assert said.kind == "joints"
    assert said.points["left_knee"] == ("LeftLeg",)
    assert said.points["right_toe"] == ("RightToeBase End",)
    assert said.take == (2, 2752)
    assert said.unit == pytest.approx(METRES_PER_UNIT)
    assert said.surety["axes"].startswith("sure")
    assert said.surety["ground"].startswith("a guess")
    clip, rig = body_clip(motion, said, name="jump")
    assert clip.frames == 2751
    assert rig.leg == pytest.approx(0.8434, abs=2e-3)


def test_swapped_names_are_doubted(tmp_path: Path) -> None:
    motion = read_bvh(write_jump_bvh(tmp_path / "jump.bvh", last=200))
    names = tuple({"LeftFoot": "LeftLeg", "LeftLeg": "LeftFoot"}.get(name, name) for name in motion.names)
    said = propose_mapping(replace(motion, names=names))
    assert said.surety["points"].startswith("a guess: the left hip, knee and ankle")


def test_names_that_say_nothing_are_asked_about(tmp_path: Path) -> None:
    motion = read_bvh(write_jump_bvh(tmp_path / "jump.bvh", last=60))
    names = tuple(f"bone {k}" for k in range(len(motion.names)))
    with pytest.raises(InputError, match="left_hip, left_knee, left_ankle"):
        propose_mapping(replace(motion, names=names))


def test_a_treadmill_c3d_gives_the_points_of_the_capture(tmp_path: Path) -> None:
    motion = read_c3d(write_treadmill_c3d(tmp_path / "walk.c3d"))
    said = propose_mapping(motion)
    assert (said.kind, said.axes, said.unit) == ("markers", ("x", "z", "-y"), 0.001)
    capture = body_capture(motion, said)
    walk = treadmill()
    np.testing.assert_allclose(capture.points[:, :, 3], walk.points[:, :, 3], atol=1e-6)  # heels, single floats
    np.testing.assert_allclose(capture.ball_outer, walk.ball_outer, atol=1e-6)
    np.testing.assert_allclose(capture.hips_rotation, walk.hips_rotation, atol=1e-5)


def test_a_fitted_rig_reads_back_the_same(tmp_path: Path) -> None:
    motion = read_c3d(write_treadmill_c3d(tmp_path / "walk.c3d"))
    clip, rig = body_clip(motion, propose_mapping(motion), name="walk")
    again = parse_rig(rig_text(rig))
    for one, two in zip(rig.legs, again.legs, strict=True):
        np.testing.assert_allclose(two.foot.outline, one.foot.outline, atol=1e-12)
        assert (two.thigh, two.shank) == (one.thigh, one.shank)
    for control, other in zip(rig.controls.values(), again.controls.values(), strict=True):
        np.testing.assert_allclose(other.rest, control.rest, atol=1e-12)
    assert told(surefoot.check(clip, rig)) == told(surefoot.check(clip, again))


def test_a_mapping_reads_back_as_it_was_written() -> None:
    clip, rig = demo("lamplighter")
    said = node_mapping(clip, rig, file='odd "name"\n.glb')
    again = parse_mapping(mapping_text(said))
    assert mapping_text(again) == mapping_text(said)
    assert again.file == said.file
    assert again.clip == said.clip


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", 'wanted surefoot = "map/1"'),
        ('surefoot = "map/1"\nkind = "bones"', "kind: 'bones' is no word"),
        ('surefoot = "map/1"\nkind = "joints"\naxes = ["x", "y", "-z"]', "no right-handed set"),
        ('surefoot = "map/1"\nkind = "joints"\naxes = ["x", "y", "w"]', "no axis is called 'w'"),
        ('surefoot = "map/1"\nkind = "joints"\nunit = "ell"', "no length unit is called 'ell'"),
        ('surefoot = "map/1"\nkind = "joints"\nunit = -1.0', "wanted the metres in one unit"),
        ('surefoot = "map/1"\nkind = "joints"\ntake = [3, 1]', "wanted two samples in order"),
        ('surefoot = "map/1"\nkind = "joints"\n[points]\nleft_knees = "a"', "did you mean 'left_knee'"),
        ('surefoot = "map/1"\nkind = "joints"\n[clip]\nrate = "fast"', "clip.rate"),
        ("surefoot = [", "not TOML"),
    ],
)
def test_a_wrong_mapping_is_told_by_its_place(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_mapping(text, place="walk.map.toml")


def test_a_node_that_is_missing_is_told_with_the_nearest() -> None:
    clip, rig = demo("lamplighter")
    motion = parse_gltf(gltf_bytes(node_tracks(clip, rig), clip.rate))
    said = node_mapping(clip, rig)
    nodes = dict(said.nodes)
    nodes["hips"] = type(nodes["hips"])("hip")
    with pytest.raises(
        UnknownName, match=r"nodes\.hips: no node, joint or marker is called 'hip'; did you mean 'hips'"
    ):
        clip_of_nodes(motion, replace(said, nodes=nodes), rig)


def test_a_file_without_a_mapping_is_asked_about(tmp_path: Path) -> None:
    write_jump_bvh(tmp_path / "jump.bvh", last=30)
    with pytest.raises(InputError, match=r"surefoot map jump\.bvh proposes one"):
        open_clip(tmp_path / "jump.bvh")


def test_what_is_read_only_is_not_written() -> None:
    clip, rig = demo("lamplighter")
    for form in known_formats():
        if not form.written:
            with pytest.raises(InputError, match="read only"):
                clip_files(clip, rig, f"walk{form.suffixes[0]}")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("frame,hips.x\n1,0\n2,x\n", "could not convert"),
        ("frame,hips.x\n1,0\n2\n", "row 3: wanted 2 values, got 1"),
        ("frame,hips.x\n1,0\n3,0\n", "one after the other"),
        ("frame,hips.x\n1,0\n2,nan\n", "row 3: a number isn't finite"),
        ("hips.x\n1\n2\n", "no column is called frame"),
        ("frame,hips.x [ell]\n1,0\n2,0\n", "no unit is called 'ell'"),
        ("frame,hips.x,hips.x\n1,0,0\n2,0,0\n", "two columns have one name"),
        ("frame,hips.x\n1,0\n2,0\n", "state the rate"),
        ("", "no header"),
    ],
)
def test_a_wrong_table_is_told_by_its_row(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_csv(text)


def test_a_table_in_another_unit_is_converted_to_the_rigs() -> None:
    clip, rig = demo("lamplighter")
    text = csv_bytes(clip, rig).decode()
    rows = [row.split(",") for row in text.splitlines()]
    at = rows[0].index("hips.y [cm]")
    rows[0][at] = "hips.y [mm]"
    for row in rows[1:]:
        row[at] = repr(float(row[at]) * 10.0)
    back = parse_csv("\n".join(",".join(row) for row in rows), rig=rig)
    here = Pack.from_curves([clip.channels["hips.y"]]).evaluate(np.arange(1.0, 25.0))
    there = Pack.from_curves([back.channels["hips.y"]]).evaluate(np.arange(1.0, 25.0))
    np.testing.assert_allclose(there, here, rtol=1e-14)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (("Frames: 3", "Frames: 4"), "wanted 4 frames"),
        (("Frames: 3", "Frames: 1e9"), "wanted 1e\\+09 frames"),
        (("0.0083333", "0"), "Frame Time: wanted a step of time above 0"),
        (("CHANNELS 3", "CHANNELS 4"), "can't stand here"),
        (("JOINT LeftLeg", "JIONT LeftLeg"), "can't stand here"),
        (("MOTION", "NOTION"), "no HIERARCHY with a MOTION"),
        (("ROOT Hips\n{", "ROOT Hips\n"), "can't stand here"),
    ],
)
def test_a_wrong_bvh_is_told_by_its_line(change: tuple[str, str], match: str, tmp_path: Path) -> None:
    text = write_jump_bvh(tmp_path / "jump.bvh", last=3).read_text()
    assert change[0] in text
    with pytest.raises(InputError, match=match):
        parse_bvh(text.replace(*change, 1))


def test_a_gltf_with_numbers_that_are_none_is_refused() -> None:
    clip, rig = demo("lamplighter")
    data = bytearray(gltf_bytes(node_tracks(clip, rig), clip.rate))
    data[-400:-396] = np.float32(np.nan).tobytes()
    with pytest.raises(FileError, match="isn't finite"):
        parse_gltf(bytes(data))


def test_a_gltf_may_not_reach_for_files_elsewhere(tmp_path: Path) -> None:
    clip, rig = demo("lamplighter")
    table = json.loads(gltf_bytes(node_tracks(clip, rig), clip.rate, binary=False))
    for uri in ("../secret.bin", "/etc/passwd", "http://example.org/a.bin"):
        table["buffers"][0]["uri"] = uri
        with pytest.raises(FileError, match="only files beside it are read"):
            parse_gltf(json.dumps(table).encode(), folder=tmp_path)


@pytest.mark.parametrize("rate", [Fraction(24000, 1001), Fraction(60000, 1001), Fraction(75, 2), Fraction(250)])
def test_a_rate_in_single_floats_comes_back_exact(rate: Fraction, tmp_path: Path) -> None:
    for told in (float(rate), round(float(rate), 2)):
        assert read_c3d(write_treadmill_c3d(tmp_path / "walk.c3d", frames=4, rate=told)).rate == rate


@pytest.mark.parametrize("rate", [0.0, -100.0, np.nan, np.inf])
def test_a_rate_that_is_none_is_told_in_a_sentence(rate: float, tmp_path: Path) -> None:
    path = write_treadmill_c3d(tmp_path / "walk.c3d", frames=4, rate=77.0)
    told = np.array(77.0, "<f4").tobytes()
    assert told in path.read_bytes()
    path.write_bytes(path.read_bytes().replace(told, np.array(rate, "<f4").tobytes()))
    with pytest.raises(
        InputError,
        match=r"walk\.c3d: (POINT:RATE: wanted a step of time above 0|.*must be damaged|ezc3d can't read it)",
    ):
        read_c3d(path)


def test_a_stage_with_a_byte_order_mark_is_as_the_library_takes_it(tmp_path: Path) -> None:
    from pxr import Sdf

    clip, rig = demo("lamplighter")
    path = save(clip, rig, tmp_path / "walk.usda")
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    try:
        takes = Sdf.Layer.FindOrOpen(str(path)) is not None
    except Exception:
        takes = False
    if takes:
        assert open_clip(path).clip.frames == clip.frames
    else:
        with pytest.raises(FileError, match="OpenUSD can't read it"):
            open_clip(path)


def test_near_rates_are_told_apart() -> None:
    assert near_rate(0.0416667, place="") == 24
    assert near_rate(0.0417083, place="") == Fraction(24000, 1001)
    assert near_rate(0.0083333, place="") == 120
    assert near_rate(1 / 37.5, place="") == Fraction(75, 2)
    assert near_rate(0.083333, place="") == 12
    assert near_rate(0.066667, place="") == 15
    assert near_rate(0.00100001, place="") == 1000
    assert near_rate(4.0, place="") == Fraction(1, 4)
    with pytest.raises(InputError):
        near_rate(0.0, place="")


def test_points_with_a_gap_are_asked_about(tmp_path: Path) -> None:
    motion = read_c3d(write_treadmill_c3d(tmp_path / "walk.c3d", frames=200))
    said = propose_mapping(motion)
    world = motion.world.copy()
    world[motion.row("LHEE"), 50:55, :3, 3] = np.nan
    with pytest.raises(InputError, match="the left heel has a gap, first at frame 51"):
        body_capture(replace(motion, world=world), said)


def test_a_motion_holds_something() -> None:
    with pytest.raises(InputError, match="nothing moves"):
        Motion((), np.empty((0, 3, 4, 4)), Fraction(24))
    assert Mapping("joints").world(np.eye(4)).tolist() == np.eye(4).tolist()
