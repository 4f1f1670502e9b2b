"""A cycle laid out whose hips and feet sit in a root: at rest, turned, offset, or travelling."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot import (
    Axis,
    Belt,
    Clip,
    Control,
    Curve,
    Flat,
    InputError,
    Profile,
    Rig,
    check,
    demo,
    load_clip,
    plant,
    rooted,
    save_clip,
    travelling,
)
from surefoot.cli import main
from surefoot.curves import Outside, Shape
from surefoot.laying import lay
from surefoot.planting import scene_of
from surefoot.route import Route

UP = Profile.stairs(riser=0.16, tread=0.30, count=12, start=1.0, name="up")
CORNER = Route.through([(0.0, 0.0), (0.0, 2.5), (2.5, 2.5)])
YAW, X, Z = 0.7, 1.3, -0.4


def under_own_root(yaw: float = YAW, x: float = X, z: float = Z, y: float = 0.0) -> tuple[Clip, Rig]:
    """Return the lamplighter under a root of the rig's own, at rest in that place (metres, radians)."""
    clip, rig = demo("lamplighter")
    axes = {key: Axis(f"mover.{key}", 0.01) for key in "xyz"} | {"yaw": Axis("mover.yaw", np.radians(1.0))}
    controls = {
        name: replace(one, parent="mover") if one.parent == "world" else one for name, one in rig.controls.items()
    }
    places = {"mover.x": 100 * x, "mover.y": 100 * y, "mover.z": 100 * z, "mover.yaw": float(np.degrees(yaw))}
    moved = {name: Curve.constant(value, frame=1.0) for name, value in places.items()}
    s, c = np.sin(yaw), np.cos(yaw)
    belt = Belt([-1.35 * s, 0.0, -1.35 * c])
    seen = replace(clip, channels={**clip.channels, **moved}, belt=belt)
    return seen, replace(rig, controls={"mover": Control("mover", axes), **controls})


def in_root(points: np.ndarray) -> np.ndarray:
    """Return world points ``(3, ...)`` as seen from that root."""
    s, c = np.sin(YAW), np.cos(YAW)
    x, y, z = points[0] - X, points[1], points[2] - Z
    return np.array([c * x - s * z, y, s * x + c * z])


@pytest.mark.parametrize("ground", [Flat(0.0), UP])
@pytest.mark.parametrize("bends", [False, True])
def test_under_a_turned_root_at_rest_it_is_laid_as_in_the_world_turned_with_it(
    ground: Flat | Profile, bends: bool
) -> None:
    """The root, the ground and the way are turned and moved together; feet end where the plain walk's do."""
    plain, rig = demo("lamplighter")
    clip, own = under_own_root()
    moved = ground.turned(YAW).moved([X, 0.0, Z])
    s, c = np.sin(YAW), np.cos(YAW)
    way = Route(CORNER.distance, c * CORNER.x + s * CORNER.z + X, c * CORNER.z - s * CORNER.x + Z, CORNER.heading + YAW)
    one = lay(plain, rig, ground=ground, loops=4, route=CORNER if bends else None, let=["hips.y"])
    two = lay(clip, own, ground=moved, loops=4, route=way if bends else None, let=["hips.y"])
    assert two.clip.stances == one.clip.stances
    for name in ("hips.x", "hips.z", "left_foot.x", "left_foot.y", "right_foot.z", "right_foot.yaw"):
        first, second = one.clip.channels[name], two.clip.channels[name]
        assert np.array_equal(first.frames, second.frames), name
        assert np.abs(first.values - second.values).max() < 1e-3, name  # centimetres and degrees
    scenes = [
        scene_of(plant(laid.clip, by, ground=on).clip, by, on)
        for laid, by, on in ((one, rig, ground), (two, own, moved))
    ]
    assert np.abs(in_root(scenes[1].ankle) - scenes[0].ankle).max() < 1e-4
    assert np.abs(in_root(scenes[1].hip) - scenes[0].hip).max() < 1e-4


def test_a_root_that_lies_on_the_world_changes_nothing_at_all() -> None:
    clip, rig = under_own_root(0.0, 0.0, 0.0)
    plain, plain_rig = demo("lamplighter")
    one, two = (lay(c, r, ground=UP, loops=3).clip for c, r in ((plain, plain_rig), (clip, rig)))
    for name, curve in one.channels.items():
        assert curve.values.tobytes() == two.channels[name].values.tobytes(), name
        assert curve.frames.tobytes() == two.channels[name].frames.tobytes(), name
    assert {len(two.channels[f"mover.{key}"].frames) for key in ("x", "y", "z", "yaw")} == {1}


@pytest.mark.parametrize("ground", [Flat(0.0), UP])
def test_a_travelling_root_is_brought_in_place_and_the_walk_laid_as_it_was(ground: Flat | Profile) -> None:
    clip, rig = demo("lamplighter")
    road = travelling(clip, rig)
    laid, plain = (
        lay(c, r, ground=ground, loops=3, let=["hips.y"]) for c, r in ((road, rooted(rig, road)), (clip, rig))
    )
    assert not [name for name in laid.clip.channels if name.startswith("root")]
    for name, curve in plain.clip.channels.items():
        assert np.abs(curve.values - laid.clip.channels[name].values).max() < 1e-6, name
    done = plant(laid.clip, rooted(rig, road), ground=ground)
    assert check(done.clip, rig, ground=ground).most("slide") is None


def test_a_rigs_own_root_that_travels_rests_afterwards() -> None:
    clip, rig = under_own_root()
    road = travelling(clip, rig)
    assert abs(float(np.ptp(road.channels["mover.z"].values))) > 50.0
    laid = lay(road, rig, ground=Flat(0.0), loops=3)
    assert max(float(np.ptp(laid.clip.channels[f"mover.{key}"].values)) for key in "xz") < 1e-9
    one, two = (scene_of(c, rig, Flat(0.0)) for c in (laid.clip, lay(clip, rig, ground=Flat(0.0), loops=3).clip))
    assert np.abs(one.ankle - two.ankle).max() < 1e-6


def test_a_sampled_space_at_rest_may_be_the_root() -> None:
    clip, rig = demo("lamplighter")
    turn = np.eye(4)
    turn[:3, 3] = [0.5, 0.0, 2.0]
    controls = {
        name: replace(one, parent="park") if one.parent == "world" else one for name, one in rig.controls.items()
    }
    parked = replace(rig, controls=controls)
    laid = lay(replace(clip, spaces={"park": np.tile(turn, (clip.frames, 1, 1))}), parked, ground=Flat(0.0), loops=3)
    plain = lay(clip, rig, ground=Flat(0.0), loops=3)
    one, two = scene_of(laid.clip, parked, None), scene_of(plain.clip, rig, None)
    assert np.abs(one.ankle - two.ankle - np.array([0.5, 0.0, 2.0])[:, None, None]).max() < 1e-9


def test_what_moves_leans_or_is_apart_is_refused_in_one_sentence() -> None:
    clip, rig = under_own_root()
    sway = Curve.shaped([1, 13, 25], [0.0, 5.0, 0.0], shape=Shape.LEVEL, before=Outside.REPEAT, after=Outside.REPEAT)
    with pytest.raises(InputError, match="control hips: it sits in mover, which moves by itself; laying out is for"):
        lay(clip.with_channels({"mover.x": sway}), rig, ground=Flat(0.0), loops=2)
    with pytest.raises(InputError, match="which leans, is scaled or isn't at height 0"):
        lay(*under_own_root(y=0.2), ground=Flat(0.0), loops=2)
    plain, plain_rig = demo("lamplighter")
    feet = {name: replace(one, parent="hips") for name, one in plain_rig.controls.items() if name.endswith("foot")}
    with pytest.raises(InputError, match="control left_foot: it sits in hips, and hips in world"):
        lay(plain, replace(plain_rig, controls={**plain_rig.controls, **feet}), ground=Flat(0.0), loops=2)


def test_the_command_lays_a_travelling_clip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip, rig = demo("lamplighter")
    save_clip(travelling(clip, rig), tmp_path / "road.json")
    out = tmp_path / "up.json"
    told = ["plant", str(tmp_path / "road.json"), "--loops", "3", "--let", "hips.y", "-o", str(out)]
    assert main(told) == 0
    assert "laid out: " in capsys.readouterr().out
    assert load_clip(out).frames == 72
    assert main(["check", str(out)]) == 0
