"""`--aboard`: a deck's motion from a file, and feet checked and planted on it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Belt, Clip, Curve, Deck, Flat, Rig, Shape, Stance, check, demo, lay, load_clip, load_deck, plant
from surefoot.cli import main
from surefoot.clip_file import save_clip
from surefoot.curves import Outside
from surefoot.deck import aboard, plant_aboard
from surefoot.demos import deck_path, demo_path
from surefoot.errors import InputError
from surefoot.formats.deck_file import parse_deck
from tests import measure

SLIDE = 1e-4
LIFT = """
surefoot = "deck/1"
unit = "cm"
angle = "deg"
[channels]
y = { keys = [[1, 0, "level"], [25, 30, "level"]], after = "hold" }
yaw = { keys = [[1, 0, "linear"], [49, 24, "linear"]] }
"""


def on_deck(clip: Clip, rig: Rig, motion: np.ndarray, stance: Stance) -> measure.Steps:
    """Return a stance's foot in the deck's space, at its frames."""
    frames = measure.instants(stance.first, stance.last)
    rows = (frames - clip.first).astype(int)
    steps = measure.foot_steps(clip, rig, ("left", "right").index(stance.foot), frames)
    back = Rotation.from_matrix(motion[rows, :3, :3]).inv()
    points = np.stack([back.apply(steps.points[:, k] - motion[rows, :3, 3]) for k in range(steps.points.shape[1])], 1)
    return replace(steps, points=points, height=points[..., 1])


def ferry_by_hand(clip: Clip) -> np.ndarray:
    """Return the ferry's motion read by the other measure's own cubic and scipy's turns."""
    deck = load_deck(deck_path("ferry") or "")
    times = np.arange(clip.frames) / float(clip.rate)
    value = {axis: measure.evaluate(curve, times) for axis, curve in deck.curves.items()}
    made = np.tile(np.eye(4), (clip.frames, 1, 1))
    made[:, :3, 3] = np.stack([value[axis] for axis in "xyz"], axis=1)
    turns = np.stack([value[axis] for axis in ("yaw", "pitch", "roll")], axis=1)
    made[:, :3, :3] = Rotation.from_euler("YXZ", turns).as_matrix()
    return made


def test_on_the_ferry_feet_follow_the_deck_to_a_tenth_of_a_millimetre(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "on.json"
    assert main(["plant", "ferry", "--aboard", "ferry", "--every-frame", "-o", str(out)]) == 0
    done, rig = load_clip(out), demo("ferry")[1]
    before = demo("ferry")[0]
    motion = ferry_by_hand(done)
    assert done.stances is not None
    assert not done.spaces
    worst = max(measure.slide(on_deck(done, rig, motion, stance)) for stance in done.stances)
    assert worst <= SLIDE
    assert max(measure.sink(on_deck(done, rig, motion, stance)) for stance in done.stances) <= SLIDE
    assert max(measure.slide(on_deck(before, rig, motion, stance)) for stance in done.stances) > 0.02
    for name, curve in before.channels.items():
        if "foot" not in name:
            assert np.array_equal(done.channels[name].values, curve.values), name
    assert main(["check", str(out), "--aboard", "ferry"]) == 0
    assert "clean" in capsys.readouterr().out
    assert main(["check", str(out)]) == 1  # on still ground it's broken


def test_a_deck_that_does_not_move_plants_as_plain_ground_does() -> None:
    clip, rig = demo("lamplighter")
    deck = Deck({"y": Curve.constant(0.0)})
    plain, done = plant(clip, rig), plant_aboard(clip, rig, deck)
    assert done.belt.speed == pytest.approx(plain.belt.speed, abs=1e-12)
    assert done.stances == plain.stances
    for name, curve in plain.clip.channels.items():
        assert np.allclose(done.clip.channels[name].values, curve.values, rtol=0.0, atol=1e-12), name
        assert np.array_equal(done.clip.channels[name].frames, curve.frames)


def test_a_deck_in_even_motion_is_a_belt() -> None:
    cycle, rig = demo("lamplighter")
    walk = lay(cycle, rig, ground=Flat(0.0), loops=2).clip
    speed, step = 1.1, 1.0 / float(walk.rate)
    frames = np.array([walk.first, walk.last + 1.0])
    moved = {}
    for name in ("hips.z", "left_foot.z", "right_foot.z"):
        axis, old = rig.channels()[name], walk.channels[name]
        back = -speed * (old.frames - walk.first) * step / axis.scale
        rate = -speed * step / axis.scale * (old.shapes == Shape.GIVEN)
        moved[name] = Curve(
            old.frames, old.values + back, old.shapes, old.slope_in + rate, old.slope_out + rate, None
        )  # fmt: skip
    in_place = replace(walk.with_channels(moved), belt=None)
    belt = Belt([0.0, 0.0, -speed])
    deck = Deck({"z": Curve.shaped(frames, -speed * (frames - walk.first) * step, shape=Shape.LINEAR)})
    plain = plant(in_place, rig, belt=belt)
    done = plant_aboard(in_place, rig, deck, belt=Belt(), stances=plain.stances)
    assert np.abs(done.ankle_change - plain.ankle_change).max() < 1e-9
    assert [p.place for p in done.footprints] == [pytest.approx(p.place, abs=1e-9) for p in plain.footprints]
    theirs = check(plain.clip, rig, belt=belt)
    ours = check(*aboard(done.clip, rig, deck), belt=Belt())
    assert [(f.kind, f.foot, f.first) for f in ours.findings] == [(f.kind, f.foot, f.first) for f in theirs.findings]


def test_one_motion_reads_alike_from_keys_samples_and_a_clip(tmp_path: Path) -> None:
    clip, _ = demo("ferry")
    lift = parse_deck(LIFT)
    wanted = lift.motion(clip)
    frames = np.arange(1.0, 49.0)
    rise = 30.0 * np.where(frames < 25, 3 * ((frames - 1) / 24) ** 2 - 2 * ((frames - 1) / 24) ** 3, 1.0)
    assert wanted[:, 1, 3] == pytest.approx(rise / 100.0, abs=1e-12)
    assert wanted[:, 0, 2] == pytest.approx(np.sin(np.radians((frames - 1) / 2)), abs=1e-12)
    rows = "".join(f"{f:g},{y!r},{(f - 1) / 2!r}\n" for f, y in zip(frames.tolist(), rise.tolist(), strict=True))
    (tmp_path / "lift.csv").write_text("# order = yxz\nframe,y [cm],deck.yaw [deg]\n" + rows)
    assert np.abs(load_deck(tmp_path / "lift.csv").motion(clip) - wanted).max() < 1e-12
    seconds = "".join(
        f"{(f - 1) / 24!r},{y!r},{(f - 1) / 2!r}\n" for f, y in zip(frames.tolist(), rise.tolist(), strict=True)
    )
    (tmp_path / "timed.csv").write_text("time [s],y [cm],yaw [deg]\n" + seconds)
    assert np.abs(load_deck(tmp_path / "timed.csv").motion(clip) - wanted).max() < 1e-9
    channels = {"deck.y": Curve.through(frames, rise), "deck.yaw": Curve.through(frames, (frames - 1) / 2)}
    save_clip(Clip(channels, clip.rate, 1, 48, unit="cm", angle="deg", extra={"order": "yxz"}), tmp_path / "lift.json")
    assert np.abs(load_deck(tmp_path / "lift.json").motion(clip) - wanted).max() < 1e-12


def test_the_order_of_turns_is_kept() -> None:
    text = LIFT.replace('angle = "deg"', 'angle = "deg"\norder = "zyx"') + "roll = { keys = [[1, 30]] }\n"
    turned = parse_deck(text).motion(demo("ferry")[0])[40, :3, :3]
    assert turned == pytest.approx(Rotation.from_euler("ZYX", [30, 20, 0], degrees=True).as_matrix(), abs=1e-12)


def test_a_space_of_the_clip_may_be_the_deck(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip, _ = demo("ferry")
    save_clip(replace(clip, spaces={"boat": ferry_by_hand(clip)}), tmp_path / "own.json")
    told = []
    for which, deck in ((tmp_path / "own.json", "boat"), ("ferry", "ferry")):
        main(["check", str(which), "--aboard", deck, "--json"])
        told.append(json.loads(capsys.readouterr().out)["findings"])
    assert [f["kind"] for f in told[0]] == [f["kind"] for f in told[1]]
    assert [f["amount"] for f in told[0]] == pytest.approx([f["amount"] for f in told[1]], abs=1e-6)


def test_controls_that_sit_in_a_sampled_space_are_seen_from_the_deck_too() -> None:
    clip, rig = demo("ferry")
    motion = ferry_by_hand(clip)
    parked = replace(clip, spaces={"park": np.tile(np.eye(4), (clip.frames, 1, 1))})
    parked_rig = replace(
        rig, controls={name: replace(control, parent="park") for name, control in rig.controls.items()}
    )
    one, two = check(*aboard(clip, rig, motion)), check(*aboard(parked, parked_rig, motion))
    assert [(f.kind, f.first) for f in one.findings] == [(f.kind, f.first) for f in two.findings]


def test_the_layer_and_a_clip_before_the_edit_go_aboard_too(tmp_path: Path) -> None:
    layer = tmp_path / "layer.json"
    main(["plant", "ferry", "--aboard", "ferry", "--before", "ferry", "--layer", str(layer)])
    told = load_clip(layer)
    assert not told.spaces
    assert all("foot" in name for name in told.channels)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.toml", LIFT.replace("30,", "nan,"), "wanted a finite number"),
        ("a.toml", LIFT.replace('unit = "cm"', ""), "unit: wanted one of m, cm"),
        ("a.toml", LIFT.replace('unit = "cm"', 'unit = "deg"'), "deg"),
        ("a.toml", LIFT.replace('angle = "deg"', 'angle = "deg"\norder = "yxx"'), "rotation order 'yxx'"),
        ("a.toml", LIFT.replace("yaw =", "yow ="), "did you mean 'yaw'"),
        ("a.toml", LIFT.replace("unit", "units"), "did you mean 'unit'"),
        ("a.toml", LIFT.replace("[channels]", 'time = "hours"\n[channels]'), "frames, seconds"),
        ("a.toml", LIFT.replace("[channels]", "rate = 30\n[channels]"), "it counts 30 frames a second, the clip 24"),
        ("a.toml", 'surefoot = "ground/1"', 'wanted surefoot = "deck/1"'),
        ("a.csv", "frame,y [m]\n1,0\n20,1\n", "too few frames: it's known from frame 1 to 20"),
        ("a.csv", "time [s],y [m]\n0,0\n1,1\n", "too few frames: it's known from second 0 to 1"),
        ("a.csv", "frame,y [m]\n1,0\n48,nan\n", "isn't finite"),
        ("a.csv", "frame,y\n1,0\n48,1\n", "wanted y in one of m, cm"),
        ("a.csv", "frame,y [deg]\n1,0\n48,1\n", "got deg"),
        ("a.csv", "frame,pitch [m]\n1,0\n48,1\n", "wanted pitch in one of rad, deg"),
        ("a.csv", "frame,pich [deg]\n1,0\n48,1\n", "did you mean 'pitch'"),
        ("a.csv", "frame,y [m],y [m]\n1,0,0\n48,1,1\n", "two columns are called y"),
        ("a.csv", "y [m]\n1\n2\n", "no column is called frame or time [s]"),
        ("a.csv", "frame,y [m]\n1,0\n1,1\n48,2\n", "must rise"),
        ("a.csv", "frame\n1\n48\n", "a deck needs one of"),
        ("a.csv", "# order = up\nframe,y [m]\n1,0\n48,1\n", "rotation order 'up'"),
        ("a.glb", "", "suffix of a deck's file"),
    ],
)
def test_a_wrong_deck_is_told_in_one_sentence(
    name: str, text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / name
    path.write_text(text)
    assert main(["check", "ferry", "--aboard", str(path)]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "Traceback" not in told
    assert told.count("\n") == 1


@pytest.mark.parametrize(
    ("clip", "deck", "says"),
    [
        ("ferry", "fery", "--aboard: no deck's file or space of the clip is called 'fery'; did you mean 'ferry'?"),
        ("ferry", "boat", "--aboard: no deck's file or space of the clip is called 'boat'; known are ferry"),
        ("ferry", "nowhere.toml", "can't be read"),
        ("ferry", str(demo_path("trudge")), "it has no channel of a deck"),
        ("lamplighter", "ferry", "the clip is a loop"),
    ],
)
def test_a_deck_that_does_not_fit_is_refused(
    clip: str, deck: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plant", clip, "--aboard", deck]) == 2
    assert says in capsys.readouterr().err


def test_a_loop_may_ride_a_deck_that_closes() -> None:
    clip, rig = demo("lamplighter")
    deck = Deck(
        {"roll": Curve.shaped([1, 13, 25], [0.0, 0.05, 0.0], shape=Shape.LEVEL, after=Outside.REPEAT)}, name="buoy"
    )
    report = check(*aboard(clip, rig, deck))
    assert report.stances
    open_ended = Deck({"z": Curve.shaped([1, 25], [0.0, 2.0], shape=Shape.LINEAR)}, name="raft")
    with pytest.raises(InputError, match="deck raft: at frame 25 it's 2 m"):
        aboard(clip, rig, open_ended)


def test_loops_are_refused_aboard(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "still.toml").write_text('surefoot = "deck/1"\nunit = "m"\n[channels]\ny = { keys = [[1, 0]] }\n')
    assert main(["plant", "lamplighter", "--loops", "2", "--aboard", str(tmp_path / "still.toml")]) == 2
    assert "--loops: a walk aboard" in capsys.readouterr().err


def test_a_loop_on_a_deck_that_does_not_come_back_is_told_by_how_far_and_by_what_angle() -> None:
    """A deck that turns by 120 degrees and goes 3 m: no one element of its matrix tells the angle."""
    clip, _ = demo("lamplighter")
    ends = np.array([1.0, 25.0])
    deck = Deck({"x": Curve.through(ends, [0.0, 3.0]), "yaw": Curve.through(ends, [0.0, np.radians(120.0)])})
    with pytest.raises(InputError, match=r"at frame 25 it's 3 m and 120 degrees away from where it was at frame 1"):
        deck.motion(clip)
