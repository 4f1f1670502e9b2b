"""Swivel: feet that turn on their balls; what is found, what planting keeps, and cycles laid round a bend."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from surefoot import (
    Axis,
    Belt,
    Clip,
    Curve,
    Flat,
    Plane,
    Planted,
    Rig,
    Stance,
    check,
    demo,
    lay,
    plant,
    propose,
)
from surefoot.cli import main
from surefoot.curves import Outside
from surefoot.laying import Laid
from surefoot.route import Route
from surefoot.tolerances import KINDS
from tests import measure

FRAMES = 40
FEET = ("left", "right")
LIMIT = KINDS["swivel"].limits[1]
"""Degrees from which a turn on the ball is a warning."""


def set_axis(channels: dict[str, Curve], axis: Axis, values: np.ndarray, rest: float = 0.0) -> None:
    frames = np.arange(1.0, FRAMES + 1.0)
    channels[axis.channel] = Curve.through(frames, (values - rest) / axis.scale + axis.zero)


def standing(degrees: float, *, about: str = "ball", creep: float = 0.0) -> tuple[Clip, Rig]:
    """Return feet that stand flat, the left one turning from frame 10 to 30 about its ball, or its ankle.

    ``creep`` is how far its ball moves aside meanwhile, metres. Made here from the rig's numbers alone.
    """
    _, rig = demo("lamplighter")
    share = np.clip((np.arange(1, FRAMES + 1) - 10.0) / 20.0, 0.0, 1.0)
    eased = share * share * (3.0 - 2.0 * share)
    channels = {name: Curve.constant(0.0) for name in rig.channels()}
    for foot, (control, leg, x) in enumerate(zip(rig.feet, rig.legs, (0.1, -0.1), strict=True)):
        turn = np.radians(degrees) * eased * (foot == 0)
        arm = np.asarray(leg.foot.ball) if about == "ball" else np.zeros(3)
        s, c = np.sin(turn), np.cos(turn)
        place = {
            "x": x + arm[0] - (c * arm[0] + s * arm[2]) + creep * eased * (foot == 0),
            "y": np.full(FRAMES, -leg.foot.sole),
            "z": arm[2] - (c * arm[2] - s * arm[0]),
            "yaw": turn,
        }
        for k, key in enumerate(("x", "y", "z", "yaw")):
            set_axis(channels, control.axes[key], place[key], float(control.rest[k]) if k < 3 else 0.0)
    hips = rig.controls["hips"]
    set_axis(channels, hips.axes["y"], np.full(FRAMES, 0.84), float(hips.rest[1]))
    return Clip(channels, 24, 1, FRAMES, belt=Belt(), rig="lamplighter", unit="cm", angle="deg"), rig


def turned(clip: Clip, rig: Rig, stance: Stance) -> float:
    """Return how far a foot turns while its ball is down on level ground, degrees, measured apart from the solver."""
    frames = measure.instants(stance.first, stance.last, 5)
    steps = measure.foot_steps(clip, rig, FEET.index(stance.foot), frames, belt=belt_of(clip))
    onset = float(rig.legs[0].foot.onset)
    down = (steps.pitch >= -np.radians(1.0)) & (steps.pitch <= onset)
    return float(np.degrees(np.ptp(np.unwrap(steps.yaw)[down]))) if down.any() else 0.0


def belt_of(clip: Clip) -> tuple[float, float, float]:
    x, y, z = (np.zeros(3) if clip.belt is None else clip.belt.velocity).tolist()
    return x, y, z


# what is found --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "level"),
    [(0.0, None), (9.0, None), (15.0, "note"), (-15.0, "note"), (40.0, "warning"), (170.0, "warning")],
)
def test_a_turn_on_the_ball_is_told_and_never_an_error(degrees: float, level: str | None) -> None:
    clip, rig = standing(degrees)
    report = check(clip, rig)
    found = report.most("swivel")
    assert report.most("slide") is None
    if level is None:
        assert found is None
        return
    assert found is not None
    assert (found.level, found.foot, found.unit) == (level, "left", "deg")
    assert found.shown == pytest.approx(turned(clip, rig, report.stances[0]), abs=0.01)
    assert found.shown == pytest.approx(abs(degrees), abs=0.2)
    assert np.degrees(report.swivel) == pytest.approx(found.shown, abs=1e-9)
    assert found.worst >= 29.0


def test_a_turn_on_the_heel_or_on_the_toes_edge_is_none_on_the_ball() -> None:
    clip, rig = standing(0.0)
    frames = np.arange(1.0, FRAMES + 1.0)
    for pitch in (-12.0, 60.0):
        channels: dict[str, Curve] = {}
        turn = np.radians(30.0) * np.clip((frames - 20.0) / 10.0, 0.0, 1.0)
        set_axis(channels, rig.feet[0].axes["yaw"], turn)
        lifted = np.radians(pitch) * np.clip((frames - 15.0) / 4.0, 0.0, 1.0)
        set_axis(channels, rig.feet[0].axes["pitch"], lifted)
        made = replace(clip.with_channels(channels), stances=(Stance("left", 1, FRAMES),))
        assert check(made, rig).most("swivel") is None, pitch
        ball = channels | {rig.feet[0].axes["pitch"].channel: Curve.constant(20.0)}
        assert check(clip.with_channels(ball).with_stances(made.stances), rig).most("swivel") is not None


def test_a_stance_that_is_left_alone_is_not_looked_at_and_a_stated_limit_counts() -> None:
    clip, rig = standing(15.0)
    alone = clip.with_stances([Stance("left", 1, FRAMES, left_alone=True), Stance("right", 1, FRAMES)])
    assert check(alone, rig).most("swivel") is None
    lenient = check(clip, rig, tolerances={"swivel": (np.radians(30.0), np.radians(40.0), np.radians(50.0))})
    assert lenient.most("swivel") is None


def test_no_proposal_mends_a_turn_on_the_ball() -> None:
    clip, rig = standing(40.0)
    assert not [way for way in propose(clip, rig) if way.finding.kind == "swivel"]


@pytest.mark.parametrize("slope", [(0.0, 0.18), (0.18, 0.0), (-0.1, 0.15)])
def test_on_a_slope_it_is_counted_about_the_grounds_normal(slope: tuple[float, float]) -> None:
    """A foot that rolls over its ball across a slope, without a turn, changes its heading on the plan by degrees."""
    clip, rig = demo("lamplighter")
    normal = np.array([-slope[0], 1.0, -slope[1]]) / np.sqrt(1.0 + slope[0] ** 2 + slope[1] ** 2)
    ground = Plane([0.0, 0.0, 0.0], normal)
    done = plant(lay(clip, rig, ground=ground, loops=2, let=["hips.y"]).clip, rig, ground=ground)
    report = check(done.clip, rig, ground=ground)
    found, wanted, on_plan = report.swivel, 0.0, 0.0
    axis = np.cross(np.cross(normal, [0.0, 0.0, 1.0]), normal)
    axis /= np.linalg.norm(axis)
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last, 5)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames)
        ahead = np.array(
            [np.sin(steps.yaw) * np.cos(steps.pitch), -np.sin(steps.pitch), np.cos(steps.yaw) * np.cos(steps.pitch)]
        )
        lean = np.arcsin(-(normal @ ahead))
        down = (lean >= -np.radians(1.0)) & (lean <= float(rig.legs[0].foot.onset))
        own = np.arctan2(np.cross(normal, axis) @ ahead, axis @ ahead)
        wanted = max(wanted, float(np.ptp(own[down])))
        on_plan = max(on_plan, float(np.ptp(steps.yaw[down])))
    assert found == pytest.approx(wanted, abs=1e-6)
    assert found < on_plan
    whole = [lock.swivel for lock in report.locks() if lock.stance.last - lock.stance.first >= 12]
    assert np.degrees(max(whole)) < 0.5
    if slope[0]:
        assert np.degrees(on_plan) > 5.0


def test_the_demos_and_the_captured_walk_turn_on_no_ball() -> None:
    for name in ("lamplighter", "trudge", "run", "treadmill", "ferry"):
        clip, rig = demo(name)
        assert check(clip, rig).most("swivel") is None, name


def test_the_table_tells_it_only_where_there_is_one(capsys: pytest.CaptureFixture[str]) -> None:
    main(["plant", "lamplighter"])
    assert "swivel" not in capsys.readouterr().out
    main(["check", "lamplighter", "--tolerance", "swivel=0.1deg"])
    assert "swivel   left" in capsys.readouterr().out


# laid round a bend ----------------------------------------------------------------------------------------


@cache
def round_a_corner(name: str, radius: float) -> tuple[Laid, Planted, Rig]:
    clip, rig = demo(name)
    route = Route.through([(0.0, 0.0), (0.0, 3.5), (3.5, 3.5)], radius=radius)
    laid = lay(clip, rig, ground=Flat(0.0), loops=6, route=route, let=["hips.y"])
    return laid, plant(laid.clip, rig), rig


@pytest.mark.parametrize("name", ["lamplighter", "trudge", "run"])
@pytest.mark.parametrize("radius", [3.0, 1.5, 0.7])
def test_laid_round_a_right_angle_no_foot_turns_on_its_ball_more_than_in_the_cycle(name: str, radius: float) -> None:
    laid, done, rig = round_a_corner(name, radius)
    own = check(*demo(name)).swivel
    for clip in (laid.clip, done.clip):
        report = check(clip, rig)
        assert report.most("swivel") is None
        most = max(turned(clip, rig, stance) for stance in done.stances)
        assert most == pytest.approx(np.degrees(report.swivel), abs=0.02)
        assert most < np.degrees(own) + 1.0
        assert most < LIMIT
    for foot in FEET:
        headings = [step.yaw for step in done.footprints if step.stance.foot == foot]
        assert np.ptp(headings) == pytest.approx(np.pi / 2, abs=0.15)  # so the turn is in the swings


def test_round_a_bend_of_one_and_a_half_metres_planted_feet_stay_while_the_hips_turn() -> None:
    _, done, rig = round_a_corner("lamplighter", 1.5)
    report = check(done.clip, rig)
    assert report.worst in ("clean", "note")
    turning = 0.0
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames)
        assert measure.slide(steps) < 1e-4
        yaw = measure.number(done.clip, rig.controls["hips"], "yaw", frames)
        turning = max(turning, float(np.degrees(np.ptp(yaw))))
    assert turning > 25.0


def test_what_is_laid_tells_how_far_feet_turn(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["plant", "lamplighter", "--loops", "4", "--along", "0,0:0,3:3,3", "--let", "hips.y"]
    main(command)
    assert "planted feet turn on the ball by 0.8° at most (a warning beyond 20°)" in capsys.readouterr().out
    main([*command, "--json"])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)["laid"]["swivel"]
    assert told["unit"] == "rad"
    assert 0.0 < told["most"] < np.radians(1.0)
    assert told["limit"] == pytest.approx(np.radians(20.0))


def test_locks_tell_the_turn_frame_by_frame() -> None:
    clip, rig = standing(40.0)
    left, right = check(clip, rig).locks()
    assert np.degrees(left.swivel) == pytest.approx(40.0, abs=0.1)
    assert right.swivel == 0.0
    frames = np.arange(1.0, FRAMES + 1.0)
    yaw = measure.number(clip, rig.feet[0], "yaw", frames)
    assert np.abs(np.diff(left.turned) - np.diff(yaw)).max() < 1e-9


# what planting keeps --------------------------------------------------------------------------------------


@pytest.mark.parametrize("keys", ["every", "few"])
@pytest.mark.parametrize("degrees", [15.0, 40.0, -40.0, 120.0])
def test_a_clean_turn_on_the_ball_is_not_mended_unasked(degrees: float, keys: Any) -> None:
    clip, rig = standing(degrees)
    assert plant(clip, rig, keys=keys).changed == ()


@pytest.mark.parametrize("keys", ["every", "few"])
def test_where_the_ball_creeps_a_turn_is_kept_and_the_ball_held(keys: Any) -> None:
    clip, rig = standing(40.0, creep=0.012)
    stance = Stance("left", 1, FRAMES)
    frames = measure.instants(1, FRAMES)
    before = measure.foot_steps(clip, rig, 0, frames)
    done = plant(clip, rig, keys=keys)
    after = measure.foot_steps(done.clip, rig, 0, frames)
    assert measure.slide(before) > 0.01
    assert measure.slide(after) < 1e-4
    assert np.ptp(after.centre[:, 1], axis=0).max() < 1e-4
    assert turned(done.clip, rig, stance) == pytest.approx(turned(clip, rig, stance), abs=0.01)
    assert "left_foot.yaw" not in done.changed


@pytest.mark.parametrize("how", [{"about": "ankle"}, {"creep": 0.03}])
def test_a_flat_foot_that_turns_otherwise_is_held(how: dict[str, Any]) -> None:
    """About the ankle, or with its ball carried away: it turns with the body, and slides."""
    clip, rig = standing(25.0, **how)
    stances = (Stance("left", 1, FRAMES), Stance("right", 1, FRAMES))
    done = plant(clip.with_stances(stances), rig)
    assert turned(clip, rig, stances[0]) > 20.0
    assert turned(done.clip, rig, stances[0]) < 0.05
    assert measure.slide(measure.foot_steps(done.clip, rig, 0, measure.instants(1, FRAMES))) < 1e-4


def test_a_turn_over_the_seam_of_a_loop_is_kept_too() -> None:
    """The left foot turns to and fro, farthest at the seam, and never lifts."""
    clip, rig = standing(40.0)
    frames = np.arange(1.0, FRAMES + 2.0)
    share = 0.5 + 0.5 * np.cos(2.0 * np.pi * (frames - 1.0) / FRAMES)
    one, other = (plant(c, rig).clip for c in (clip, standing(0.0)[0]))
    at = 1.0 + 29.0 * np.arccos(1.0 - 2.0 * share) / np.pi
    channels = {
        name: Curve.through(frames, measure.evaluate(curve, at), before=Outside.REPEAT, after=Outside.REPEAT)
        for name, curve in one.channels.items()
        if curve is not other.channels[name] and len(curve.frames) > 1
    }
    loop = replace(one.with_channels(channels), loop=True, stances=None)
    loop = loop.with_stances([Stance("left", 10, 9 + FRAMES), Stance("right", 1, FRAMES)])
    before = turned(loop, rig, Stance("left", 1, FRAMES))
    done = plant(loop, rig)
    assert before > 35.0
    assert turned(done.clip, rig, Stance("left", 1, FRAMES)) == pytest.approx(before, abs=0.05)
    steps = measure.foot_steps(done.clip, rig, 0, measure.instants(10, 9 + FRAMES))
    assert measure.slide(steps) < 1e-4
