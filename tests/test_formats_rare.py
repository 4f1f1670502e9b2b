"""What is rare in a format's file: gaps, scales, turned nodes, moving spaces, names twice, and what is wrong."""

from __future__ import annotations

from collections.abc import Mapping as Table
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import surefoot
from surefoot import Clip, FileError, InputError, UnknownName
from surefoot.curves import Pack
from surefoot.formats import c3d
from surefoot.formats.bodies import body_capture, body_clip
from surefoot.formats.bvh import parse_bvh
from surefoot.formats.c3d import read_c3d
from surefoot.formats.carry import clip_of_nodes, node_mapping, node_tracks
from surefoot.formats.gltf_read import parse_gltf
from surefoot.formats.gltf_write import gltf_bytes
from surefoot.formats.guess import propose_mapping
from surefoot.formats.mapping import Mapping, Node, mapping_text, parse_mapping
from surefoot.formats.motion import Motion
from surefoot.formats.opening import clip_files, open_clip, open_motion
from surefoot.formats.samples_csv import csv_bytes, csv_mapping, parse_csv
from surefoot.formats.usd_layer import correction_layer
from surefoot.formats.usd_read import open_stage, read_usd
from surefoot.formats.usd_write import usd_bytes
from surefoot.rig_save import rig_text
from tests.captures import write_treadmill_c3d

CLIP, RIG = surefoot.demo("lamplighter")
MOTION = parse_gltf(gltf_bytes(node_tracks(CLIP, RIG), CLIP.rate))
SAID = node_mapping(CLIP, RIG)
BVH = """HIERARCHY
ROOT Hips
{
OFFSET 0 0 0
CHANNELS 1 Yposition
JOINT Hand
{
OFFSET 0 1 0
End Site
{
OFFSET 0 1 0
}
}
JOINT Hand
{
OFFSET 0 2 0
}
JOINT Foot
{
OFFSET 0 3 0
JOINT Hand
{
OFFSET 0 1 0
}
}
}
MOTION
Frames: 2
Frame Time: 0.04
0
1
"""


def at_frames(clip: Clip, name: str) -> np.ndarray[Any, Any]:
    return np.asarray(Pack.from_curves([clip.channels[name]]).evaluate(np.arange(clip.first, clip.last + 1.0))[0])


def same(one: Clip, other: Clip, atol: float = 1e-4) -> None:
    for name in one.channels:
        np.testing.assert_allclose(at_frames(one, name), at_frames(other, name), atol=atol, err_msg=name)


def test_nodes_that_sit_turned_on_their_controls_are_turned_back() -> None:
    turn = Rotation.from_euler("xyz", [90.0, 20.0, -35.0], degrees=True)
    name = next(iter(SAID.nodes))
    row = MOTION.row(SAID.nodes[name].node)
    world = MOTION.world.copy()
    world[row, :, :3, :3] = world[row, :, :3, :3] @ turn.as_matrix().T
    x, y, z, w = (2.0 * turn.as_quat()).tolist()  # of any length
    nodes = dict(SAID.nodes) | {
        name: Node(SAID.nodes[name].node, SAID.nodes[name].toes, (x, y, z, w), SAID.nodes[name].start)
    }
    same(CLIP, clip_of_nodes(replace(MOTION, world=world), replace(SAID, nodes=nodes), RIG))


@pytest.mark.parametrize("suffix", [".glb", ".usda"])
@pytest.mark.parametrize("size", [1.0, 2.0])
def test_a_control_in_a_moving_and_scaled_space_comes_back(size: float, suffix: str, tmp_path: Path) -> None:
    rows = np.tile(np.eye(4), (CLIP.frames, 1, 1))
    rows[:, :3, :3] *= size
    rows[:, 0, 3] = 0.1 * np.sin(np.arange(CLIP.frames) / CLIP.frames * 2.0 * np.pi)
    clip = replace(CLIP, spaces={"deck": rows})
    controls = {name: replace(c, parent="deck") if c.parent == "world" else c for name, c in RIG.controls.items()}
    rig = replace(RIG, controls=controls)
    for data, path in clip_files(replace(clip, rig=""), rig, tmp_path / f"walk{suffix}"):
        Path(path).write_bytes(data)
    back = open_clip(tmp_path / f"walk{suffix}", rig=rig).clip
    same(clip, back)
    np.testing.assert_allclose(back.spaces["deck"], rows, atol=1e-6)


def changed_mapping(**clip: Any) -> Mapping:
    return replace(SAID, clip={**SAID.clip, **clip})


FOOT = SAID.nodes["left_foot"]


def moved(act: Any) -> Motion:
    world = MOTION.world.copy()
    act(world[MOTION.row(FOOT.node)])
    return replace(MOTION, world=world)


@pytest.mark.parametrize(
    ("motion", "mapping", "match"),
    [
        (MOTION, replace(SAID, nodes={**SAID.nodes, "tail": FOOT}), "nodes: no control is called 'tail'"),
        (MOTION, replace(SAID, nodes={"hips": SAID.nodes["hips"]}), "it names no node for the control"),
        (moved(lambda m: m.__setitem__((3, 0, 3), np.nan)), SAID, "place or turn isn't finite"),
        (moved(lambda m: m.__imul__(np.diag([-1.0, 1, 1, 1]))), SAID, "scale is zero|mirrors"),
        (moved(lambda m: m.__setitem__((slice(None), slice(3), 0), -m[:, :3, 0])), SAID, "it mirrors left and right"),
        (MOTION, changed_mapping(spaces={"deck": [[1.0, 2.0]]}), r'spaces\["deck"\]: wanted 4 by 4 matrices'),
        (MOTION, changed_mapping(range={"first": 1, "last": 200}), "range is frames 1 to 200 of a loop"),
        (MOTION, replace(SAID, take=(1, 99)), "take: the file has 25 samples, not 99"),
        (MOTION, changed_mapping(channels={"hips.y": {"keys": [[99, "*"]]}}), "no sample at frame 99"),
        (MOTION, changed_mapping(channels={"hips.y": {"keys": [[1.5, "*"]]}}), "no sample at frame 1.5"),
        (MOTION, changed_mapping(channels={"glow": {"keys": [[1, "*"]]}}), "nothing there drives it"),
        (MOTION, changed_mapping(channels={"glow": 3}), "glow"),
    ],
)
def test_what_nodes_and_mapping_lack_is_told(motion: Motion, mapping: Mapping, match: str) -> None:
    with pytest.raises(InputError, match=match):
        clip_of_nodes(motion, mapping, RIG)


def test_a_channel_that_does_not_close_in_the_file_goes_on_rising() -> None:
    world = MOTION.world.copy()
    world[:, :, 2, 3] += 0.05 * np.arange(MOTION.samples)
    head = {key: value for key, value in SAID.clip.items() if key != "channels"}
    clip = clip_of_nodes(replace(MOTION, world=world), replace(SAID, clip=head), RIG)
    one, two, three = (float(clip.channels["hips.z"].at([f])[0]) for f in (1.0, 25.0, 49.0))
    assert three - two == pytest.approx(two - one, abs=1e-6)
    assert abs(two - one) * RIG.channels()["hips.z"].scale == pytest.approx(0.05 * 24, abs=1e-4)


def test_a_name_that_fits_two_paths_is_asked_about() -> None:
    motion = Motion(("a/foot", "b/foot", "c"), np.tile(np.eye(4), (3, 2, 1, 1)), Fraction(24))
    assert motion.row("b/foot") == 1
    with pytest.raises(InputError, match="2 nodes are called 'foot'; give the whole path"):
        motion.row("foot")


def test_joints_of_one_name_are_told_apart() -> None:
    motion = parse_bvh(BVH)
    assert motion.names == ("Hips", "Hips/Hand", "Hand End", "Hips/Hand#2", "Foot", "Foot/Hand")
    np.testing.assert_allclose(motion.world[:, 1, 1, 3], [1, 2, 3, 3, 4, 5])


def test_a_joint_may_have_the_word_of_the_motion_in_its_name() -> None:
    motion = parse_bvh(BVH.replace("Hips", "MOTION Hips").replace("\n", "\r\n"))
    assert motion.names[:2] == ("MOTION Hips", "MOTION Hips/Hand")
    assert motion.samples == 2


def c3d_of(path: Path, count: int) -> Path:
    """Write so many points over three frames, each at its own number."""
    import ezc3d

    file = ezc3d.c3d()
    held = np.ones((4, count, 3)) * np.arange(count)[:, None]
    file["parameters"]["POINT"]["RATE"]["value"] = [100.0]
    file["parameters"]["POINT"]["LABELS"]["value"] = tuple(f"m{k}" for k in range(count))
    file["data"]["points"] = held
    file.write(str(path))
    return path


def test_points_beyond_the_255_that_one_parameter_names_are_read(tmp_path: Path) -> None:
    motion = read_c3d(c3d_of(tmp_path / "many.c3d", 600))
    assert motion.names == tuple(f"m{k}" for k in range(600))
    np.testing.assert_allclose(motion.world[:, 0, 0, 3], np.arange(600))


def test_a_point_that_was_not_seen_is_a_gap_beside_points_without_a_name_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = c3d_of(tmp_path / "few.c3d", 6)
    held = c3d.hold_c3d(path)
    residuals = np.zeros((1, 6, 3))
    residuals[0, 2, 1] = -1.0
    parameters = {"POINT": {"LABELS": {"value": ["a", "b", "c", "d"]}, "RATE": {"value": [100.0]}}}
    data = {"points": held["data"]["points"], "meta_points": {"residuals": residuals}}
    monkeypatch.setattr(c3d, "hold_c3d", lambda _: {"parameters": parameters, "data": data})
    gaps = np.argwhere(np.isnan(read_c3d(path).world[:, :, 0, 3]))
    assert gaps.tolist() == [[2, 1]]


def test_a_range_that_a_capture_does_not_have_is_refused(tmp_path: Path) -> None:
    motion = open_motion(write_treadmill_c3d(tmp_path / "walk.c3d", frames=60))
    said = propose_mapping(motion)
    body_clip(motion, replace(said, clip={**said.clip, "range": {"first": 5, "last": 64}}), name="walk")
    with pytest.raises(InputError, match=r"clip\.range: the samples make frames 5 to 64, not to 30; choose .* take"):
        body_clip(motion, replace(said, clip={**said.clip, "range": {"first": 5, "last": 30}}), name="walk")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (BVH.replace("Frames: 2\n", ""), "wanted 'Frames:', 'Frame Time:'"),
        (BVH.replace("CHANNELS 1 Yposition", "CHANNELS 1 Yposition\nCHANNELS 1 Xposition"), "has its channels twice"),
        (BVH.replace("\n0\n1\n", "\n0\n1e300\n"), "frame 2: a number isn't finite or is too large"),
        (BVH.replace("\n0\n1\n", "\n0\nnan\n"), "frame 2: a number isn't finite or is too large"),
        (BVH.replace("}\nMOTION", "}\n" + "ROOT a\n" * 10_001 + "MOTION"), "more than 10000 joints"),
        (BVH.replace("}\nMOTION", "}\n" + "ROOT a\n" * 9_000 + "MOTION").replace("Frames: 2", "Frames: 3000")
         .replace("\n0\n1\n", "\n" + "0\n" * 3000), "9006 joints over 3000 frames are more than is taken"),
    ],
)  # fmt: skip
def test_a_wrong_bvh_is_told(text: str, match: str) -> None:
    with pytest.raises(FileError, match=match):
        parse_bvh(text)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("frame,time [s]\n1,0\n2,0.04\n", "it has no channels"),
        ("frame,a" + ",b" * 10_000 + "\n" + "1," * 10_001 + "1\n", "10002 columns are more than is taken"),
        ('frame,a\n1,"' + "1" * 140_000 + '"\n', "not CSV: field larger than field limit"),
    ],
)
def test_a_wrong_csv_is_told(text: str, match: str) -> None:
    with pytest.raises(FileError, match=match):
        parse_csv(text)


def edited_csv(unit: str, factor: float, frame: int, by: float) -> str:
    """Return the lamplighter's samples with her hips' height in another unit, on one frame by so much more."""
    rows = [line.split(",") for line in csv_bytes(CLIP, RIG).decode().splitlines()]
    at = rows[0].index("hips.y [cm]")
    rows[0][at] = f"hips.y [{unit}]"
    for row in rows[1:]:
        row[at] = repr(float(row[at]) * factor + (by if row[0] == str(frame) else 0.0))
    return "".join(",".join(row) + "\n" for row in rows)


def test_keys_are_kept_or_made_anew_alike_whatever_unit_the_samples_are_in() -> None:
    said = csv_mapping(CLIP)
    for unit, factor in (("cm", 1.0), ("mm", 10.0), ("m", 0.01), ("in", 1 / 2.54)):
        same = parse_csv(edited_csv(unit, factor, 2, 0.0), said, rig=RIG)
        assert len(same.channels["hips.y"].frames) == len(CLIP.channels["hips.y"].frames)
        moved = parse_csv(edited_csv(unit, factor, 2, 0.01 * factor), said, rig=RIG)  # a tenth of a millimetre
        assert len(moved.channels["hips.y"].frames) == CLIP.frames + 1
        np.testing.assert_allclose(at_frames(moved, "hips.y")[1] - at_frames(CLIP, "hips.y")[1], 0.01, atol=1e-9)


def test_a_heading_with_a_unit_of_the_other_kind_is_refused() -> None:
    text = csv_bytes(CLIP, RIG).decode()
    with pytest.raises(FileError, match=r"hips\.pitch: wanted one of rad, deg for it, got cm"):
        parse_csv(text.replace("hips.pitch [deg]", "hips.pitch [cm]"), rig=RIG)
    with pytest.raises(FileError, match=r"hips\.y: wanted one of m, cm, mm, in, ft for it, got deg"):
        parse_csv(text.replace("hips.y [cm]", "hips.y [deg]"), rig=RIG)


def test_a_range_that_begins_before_the_samples_is_refused() -> None:
    said = Mapping("channels", clip={"rate": 24, "range": {"first": 1, "last": 7}})
    with pytest.raises(InputError, match="range is frames 1 to 7, the file's samples are 5 to 7"):
        parse_csv("frame,a\n5,0\n6,1\n7,5\n", said)


@pytest.mark.parametrize("name", ["time", "frame", "x [cm]", "x [foo]", " lead", "a\rb"])
def test_a_channel_that_a_heading_cannot_tell_is_not_written(name: str) -> None:
    clip = CLIP.with_channels({name: CLIP.channels["hips.y"]})
    with pytest.raises(InputError, match="a CSV's heading can't tell a channel of that name"):
        csv_bytes(clip, RIG)


@pytest.mark.parametrize("name", ["a,b", 'a"b', "a\nb", "é", "#x", "a [b] c", "a]"])
def test_an_odd_name_comes_back_from_a_heading(name: str) -> None:
    clip = CLIP.with_channels({name: CLIP.channels["hips.y"]})
    back = parse_csv(csv_bytes(clip, RIG).decode(), parse_mapping(mapping_text(csv_mapping(clip))), rig=RIG)
    np.testing.assert_array_equal(back.channels[name].values, CLIP.channels["hips.y"].values)


def test_a_table_takes_its_rate_from_its_mapping_and_no_mapping_of_nodes() -> None:
    said = Mapping("channels", clip={"rate": "24000/1001"})
    clip = parse_csv("frame,a\n1,0\n2,1\n3,5\n", said)
    assert clip.rate == Fraction(24000, 1001)
    np.testing.assert_allclose(at_frames(clip, "a"), [0, 1, 5])
    with pytest.raises(InputError, match='needs a mapping of kind "channels"'):
        parse_csv("frame,a\n1,0\n2,1\n", SAID)


def test_what_a_mapping_may_not_hold_is_told() -> None:
    text = mapping_text(SAID)
    for more, match in (
        ("ground = nan", "wanted a finite height"),
        ("when = 2026-13-45", "not TOML"),
    ):
        with pytest.raises(InputError, match=match):
            parse_mapping(text.replace("\nkind", f"\n{more}\nkind", 1))
    with pytest.raises(InputError, match=r"clip.range: wanted whole numbers first and last"):
        parse_mapping(mapping_text(changed_mapping(range={"first": 1.5})))
    with pytest.raises(InputError, match=r"clip.rate: wanted a number or a text"):
        parse_mapping(mapping_text(changed_mapping(rate=[24])))
    with pytest.raises(InputError, match="a mapping file can't hold"):
        mapping_text(changed_mapping(note=object()))


def test_what_cannot_be_opened_or_written_without_a_rig_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nodes need a rig to move"):
        clip_files(CLIP, None, tmp_path / "walk.glb")
    for data, path in clip_files(replace(CLIP, rig=""), RIG, tmp_path / "walk.glb"):
        Path(path).write_bytes(data)
    with pytest.raises(InputError, match=r"names no rig, under clip.rig"):
        open_clip(tmp_path / "walk.glb")
    same(CLIP, open_clip(tmp_path / "walk.glb", rig=RIG).clip)
    (tmp_path / "walk.glb.map.toml").write_text(mapping_text(Mapping("channels")))
    with pytest.raises(InputError, match='kind "channels" is for samples of channels, as in CSV'):
        open_clip(tmp_path / "walk.glb")


def test_a_rig_from_another_folder_goes_along(tmp_path: Path) -> None:
    rig_file = tmp_path / "rigs" / "mine.toml"
    rig_file.parent.mkdir()
    rig_file.write_text(rig_text(RIG))
    files = clip_files(CLIP, RIG, tmp_path / "walk.json", rig_file=rig_file)
    for data, path in files:
        Path(path).write_bytes(data)
    assert [Path(path).name for _, path in files] == ["walk.json", "mine.toml"]
    assert surefoot.load_clip(tmp_path / "walk.json").rig == "mine.toml"
    assert surefoot.load_rig(str(tmp_path / "mine.toml")).name == RIG.name


# what a capture's names and geometry suggest ------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "unit", "told"), [(0.01, 0.01, "likely: in cm"), (1e-6, 0.0, "a guess: no usual unit")]
)
def test_a_unit_is_guessed_from_the_leg(size: float, unit: float, told: str, tmp_path: Path) -> None:
    motion = open_motion(write_treadmill_c3d(tmp_path / "walk.c3d", frames=60))
    world = motion.world.copy()
    world[..., :3, 3] *= motion.unit / size  # millimetres into another unit that isn't stated
    said = propose_mapping(replace(motion, world=world, unit=0.0))
    assert said.surety["unit"].startswith(told)
    if unit:
        assert said.unit == unit


def test_a_stated_unit_that_makes_giants_is_doubted(tmp_path: Path) -> None:
    motion = open_motion(write_treadmill_c3d(tmp_path / "walk.c3d", frames=60))
    world = motion.world.copy()
    world[..., :3, 3] *= 5.0  # millimetres of someone over four metres tall
    said = propose_mapping(replace(motion, world=world))
    assert said.unit == motion.unit
    assert said.surety["unit"].startswith("a guess: the file's own, but the leg is")


def test_a_ball_with_one_marker_and_one_beside_it_takes_the_one(tmp_path: Path) -> None:
    motion = open_motion(write_treadmill_c3d(tmp_path / "walk.c3d", frames=60))
    names = tuple({"LMT5": "LMTP"}.get(name, name) for name in motion.names)
    said = propose_mapping(replace(motion, names=names))
    assert said.points["left_ball"] == ("LMTP",)
    assert "left_ball_inner" not in said.points
    assert "right_ball_inner" in said.points


@pytest.mark.parametrize(
    ("points", "match"),
    [
        ({"left_heel": ()}, "points.left_heel: names nothing"),
        ({"pelvis": ("LASIS", "RASIS", "LPSIS")}, "pelvis"),
        ({"pelvis": ("LASIS", "LASIS", "LASIS", "LASIS")}, "points.pelvis: a marker has a gap, or they lie on a line"),
        ({"left_ankle": None}, "it names no left ankle"),
    ],
)
def test_points_that_make_no_body_are_told(
    points: Table[str, tuple[str, ...] | None], match: str, tmp_path: Path
) -> None:
    motion = open_motion(write_treadmill_c3d(tmp_path / "walk.c3d", frames=60))
    said = propose_mapping(motion)
    named = {name: labels for name, labels in {**said.points, **points}.items() if labels is not None}
    with pytest.raises(InputError, match=match):
        body_capture(motion, replace(said, points=named))


# OpenUSD ------------------------------------------------------------------------------------------------

STAGE = """#usda 1.0
(
    {head}
)
def Xform "a"
{{
    double3 xformOp:translate{samples}
    uniform token[] xformOpOrder = ["xformOp:translate"]
}}
"""


def stage(path: Path, head: str, samples: str) -> Path:
    path.write_text(STAGE.format(head=head, samples=samples))
    return path


def test_a_stage_without_a_range_runs_over_its_samples(tmp_path: Path) -> None:
    samples = ".timeSamples = {5: (0, 0, 0), 8: (3, 0, 0)}"
    motion = read_usd(stage(tmp_path / "a.usda", "timeCodesPerSecond = 24", samples))
    np.testing.assert_allclose(motion.world[0, :, 0, 3], [0, 1, 2, 3])


@pytest.mark.parametrize(
    ("head", "samples", "match"),
    [
        ("", "", "nothing is animated in it"),
        ("startTimeCode = 1\nendTimeCode = 9000000", "", "9e\\+06 frames are more than is taken"),
        ("startTimeCode = 1\nendTimeCode = 4", "]", "OpenUSD can't read it"),
    ],
)
def test_a_stage_that_holds_no_motion_is_told(head: str, samples: str, match: str, tmp_path: Path) -> None:
    with pytest.raises(FileError, match=match):
        read_usd(stage(tmp_path / "a.usda", head, samples))


def test_a_stage_whose_time_stands_still_is_told(tmp_path: Path) -> None:
    samples = ".timeSamples = {5: (0, 0, 0), 8: (3, 0, 0)}"
    with pytest.raises(InputError, match="timeCodesPerSecond: wanted a step of time above 0"):
        read_usd(stage(tmp_path / "a.usda", "timeCodesPerSecond = 0", samples))


def test_a_stage_without_a_prim_or_with_too_many_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.usda"
    path.write_text("#usda 1.0\n(\nstartTimeCode = 1\nendTimeCode = 3\n)\n")
    with pytest.raises(FileError, match="no prim in it has a place"):
        read_usd(path)
    path.write_text("#usda 1.0\n(\nstartTimeCode = 1\nendTimeCode = 900000\n)\n" + "".join(
        f'def Xform "a{k}"\n{{\n}}\n' for k in range(30)))  # fmt: skip
    with pytest.raises(FileError, match="30 prims over 900000 frames are more than is taken"):
        read_usd(path)
    with pytest.raises(FileError, match="there is no such file"):
        open_stage(tmp_path / "none.usda")


def test_tracks_whose_names_become_one_stay_two() -> None:
    tracks = node_tracks(CLIP, RIG)
    two = [replace(tracks[0], name="a b"), replace(tracks[0], name="a.b")]
    _, paths = usd_bytes(two, CLIP.rate, first=1, name="walk")
    assert len(set(paths.values())) == 2


def test_a_layer_is_for_controls(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a prim for each control"):
        correction_layer(tmp_path / "a.usda", CLIP, mapping=Mapping("joints"), rig=RIG)


def test_a_control_whose_parent_is_nothing_here_is_told() -> None:
    controls = {name: replace(one, parent="deck") if name == "hips" else one for name, one in RIG.controls.items()}
    with pytest.raises(UnknownName, match="control hips: no parent is called 'deck'"):
        clip_of_nodes(MOTION, SAID, replace(RIG, controls=controls))
