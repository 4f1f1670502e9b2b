"""A cycle laid over stairs, ramps, a kerb and a bend, then planted; measured apart from the solver."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from surefoot import (
    Belt,
    Clip,
    Curve,
    Flat,
    Ground,
    Mesh,
    Planted,
    Profile,
    block,
    check,
    demo,
    load_recipe,
    load_rig,
    plant,
    preset_ground,
)
from surefoot.curves import Outside, Pack, Shape
from surefoot.errors import InputError, UnknownName
from surefoot.ground_grid import Grid
from surefoot.key_edits import affine
from surefoot.laying import Laid, lay
from surefoot.route import Route
from tests import measure

LOOPS = 6
UP = Profile.stairs(riser=0.178, tread=0.279, count=40, start=1.0, name="up")
DOWN = Profile.stairs(riser=-0.178, tread=0.279, count=40, start=1.0, name="down")
FEET = ("left", "right")


def cobbles() -> Grid:
    """Return rounded stones of our own, 160 mm apart and 8 mm high, smooth between nodes 20 mm apart."""
    z, x = np.meshgrid(np.arange(700) * 0.02 - 2.0, np.arange(150) * 0.02 - 1.5, indexing="ij")
    stones = 0.004 * np.cos(2 * np.pi * x / 0.16) * np.cos(2 * np.pi * z / 0.16)
    return Grid(stones, 0.02, origin=np.array([-1.5, 0.0, -2.0]), smooth=True, name="cobbles")


def waves() -> Mesh:
    """Return triangles 0.1 m wide over waves of our own, 12 mm from trough to crest."""
    z, x = np.meshgrid(np.arange(140) * 0.1 - 2.0, np.arange(31) * 0.1 - 1.5, indexing="ij")
    corners = np.column_stack([x.ravel(), 0.006 * (np.sin(3.0 * x) * np.cos(2.5 * z)).ravel(), z.ravel()])
    at = (np.arange(139)[:, None] * 31 + np.arange(30)).ravel()
    faces = [np.column_stack([at, at + 31, at + 1]), np.column_stack([at + 1, at + 31, at + 32])]
    return Mesh(corners, np.concatenate(faces), name="waves")


GROUNDS: dict[str, Ground] = {
    "up": UP, "down": DOWN, "cobbles": cobbles(), "waves": waves(),
    **{name: preset_ground(name) for name in ("ramp-1-12", "ramp-1-15", "ramp-1-20", "kerb")},
}  # fmt: skip


@cache
def laid_on(name: str, let: bool = True) -> tuple[Laid, Planted]:
    clip, rig = demo("lamplighter")
    laid = lay(clip, rig, ground=GROUNDS[name], loops=LOOPS, let=("hips.y",) if let else ())
    return laid, plant(laid.clip, rig, ground=GROUNDS[name], clearance=0.01)


def steps_on(clip: Clip, foot: int, at: np.ndarray, ground: Ground) -> measure.Steps:
    """Return a foot's points with their heights above the true ground."""
    steps = measure.foot_steps(clip, demo("lamplighter")[1], foot, at)
    points = steps.points
    return replace(steps, height=points[..., 1] - ground.height(points[..., 0], points[..., 2]))


@pytest.mark.parametrize("name", GROUNDS)
def test_planted_feet_neither_slide_nor_sink_on_their_frames(name: str) -> None:
    """A tenth of a millimetre on profiles; on a grid and a mesh half a millimetre of slide."""
    _, done = laid_on(name)
    limit = 5e-4 if name in ("cobbles", "waves") else 1e-4
    for stance in done.stances:
        steps = steps_on(done.clip, FEET.index(stance.foot), measure.instants(stance.first, stance.last), GROUNDS[name])
        assert measure.slide(steps) <= limit, stance
        assert measure.sink(steps) <= 1e-4, stance


@pytest.mark.parametrize("name", GROUNDS)
def test_the_whole_laid_clip_keeps_out_of_the_ground_within_reach_and_on_its_treads(name: str) -> None:
    _, rig = demo("lamplighter")
    laid, done = laid_on(name)
    report = check(done.clip, rig, ground=GROUNDS[name])
    sink, stretch, slide = (report.most(kind) for kind in ("sink", "stretch", "slide"))
    assert sink is None or sink.level == "note"
    assert stretch is None or stretch.level == "note"
    assert slide is None or slide.level == "note"
    assert min(step.share for step in laid.steps) >= 0.6 or report.most("overhang") is not None


def test_stairs_are_taken_one_tread_a_step_in_the_middle_of_each() -> None:
    for name, riser in (("up", 0.178), ("down", -0.178)):
        laid, _ = laid_on(name)
        on = [step for step in laid.steps if step.at > 1.0]
        assert len(on) >= 10
        levels = np.array([step.level for step in on])
        np.testing.assert_allclose(np.diff(levels), riser, atol=1e-9)
        assert min(step.share for step in on) > 0.95
        assert [step.foot for step in on] == [(on[0].foot + k) % 2 for k in range(len(on))]


def test_hips_come_back_bit_for_bit_unless_let_and_what_cannot_reach_is_told_with_a_proposal() -> None:
    clip, rig = demo("lamplighter")
    laid, done = laid_on("up", let=False)
    own, new = clip.channels["hips.y"], done.clip.channels["hips.y"]
    assert new is laid.clip.channels["hips.y"]
    count = len(own.frames) - 1
    for lap in range(LOOPS):
        at = np.searchsorted(new.frames, own.frames[0] + lap * clip.frames)
        assert new.values[at : at + count].tobytes() == own.values[:-1].tobytes()
    found = check(done.clip, rig, ground=UP).most("stretch")
    assert found is not None
    assert not laid.applied
    assert float(laid.raised[-1]) > 1.0  # the proposal climbs with the stairs
    assert np.abs(np.diff(laid.raised, n=2)).max() < 0.02


def test_let_hips_climb_as_proposed() -> None:
    (laid, _), (kept, _) = laid_on("up"), laid_on("up", let=False)
    assert laid.applied
    frames = np.arange(laid.clip.first, laid.clip.last + 1.0)
    values = [measure.evaluate(one.clip.channels["hips.y"], frames) * 0.01 for one in (laid, kept)]
    assert np.abs(values[0] - values[1] - laid.raised).max() < 0.02  # keys are the animator's, some frames apart


def test_level_ground_is_walked_at_the_cycles_own_stride() -> None:
    clip, rig = demo("lamplighter")
    laid = lay(clip, rig, ground=Flat(0.0), loops=3)
    steps = np.diff([step.at for step in laid.steps])
    assert np.abs(steps.reshape(-1)[1::2] + steps[::2][: len(steps[1::2])] - 1.35).max() < 1e-6
    assert np.abs(laid.raised).max() < 3e-3  # what her own hips ride too high for her legs
    done = plant(laid.clip, rig)
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        steps_ = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames)
        assert measure.slide(steps_) <= 1e-4
        assert measure.sink(steps_) <= 1e-4


@pytest.mark.parametrize("rounds", [2, 1])
def test_hips_that_advance_by_the_half_cycle_are_written_out_as_they_go(rounds: int) -> None:
    """Keyed over twelve frames of 24 they keep their keys; over twenty they go on from round to round."""
    clip, rig = demo("lamplighter")
    clip = plant(clip, rig, belt=Belt([0.0, 0.0, -1.35])).clip
    step, made = 135.0 / 24.0, {}
    for name in ("left_foot.z", "right_foot.z"):
        made[name] = affine(clip.channels[name], rate=step, at=1.0)
    end = 13 if rounds == 2 else 21
    made["hips.z"] = Curve.shaped(
        [1, end], [0.0, (end - 1) * step], shape=Shape.LINEAR, before=Outside.ADVANCE, after=Outside.ADVANCE
    )
    walks = replace(clip.with_channels(made), belt=Belt([0.0, 0.0, 0.0]))
    curve = lay(walks, rig, ground=Flat(0.0), loops=3).clip.channels["hips.z"]
    assert np.abs(np.diff(curve.at(range(1, 73))) - step).max() < 1e-9
    assert (len(curve.frames) < 20) == (rounds == 2)


def test_a_channel_keyed_rounds_later_is_written_out_whole() -> None:
    clip, rig = demo("lamplighter")
    own = clip.channels["hips.y"]
    late = clip.with_channels({"hips.y": replace(own, frames=own.frames + 72.0)})
    one, two = (lay(each, rig, ground=Flat(0.0), loops=2).clip.channels["hips.y"] for each in (clip, late))
    assert np.abs(one.at(range(1, 49)) - two.at(range(1, 49))).max() < 1e-9


def test_a_swing_clears_every_nosing_by_the_asked_margin_in_its_middle() -> None:
    _, done = laid_on("up")
    down = {(s.foot, f) for s in done.stances for f in range(s.first, s.last + 1)}
    for foot, name in enumerate(FEET):
        mine = sorted(f for s, f in down if s == name)
        free = [f for f in range(done.clip.first, done.clip.last + 1) if (name, f) not in down]
        middle = [f for f in free if min(abs(f - m) for m in mine) >= 3]
        assert middle
        steps = steps_on(done.clip, foot, np.array(middle, dtype=float), UP)
        assert float(steps.height.min()) >= 0.01 - 1e-4


class TestRoutes:
    def test_a_straight_route_is_the_plain_way(self) -> None:
        x, z, heading = Route.straight(0.5, (1.0, 2.0)).at([-1.0, 0.0, 3.0])
        np.testing.assert_allclose(x, 1.0 + np.sin(0.5) * np.array([-1.0, 0.0, 3.0]), atol=1e-12)
        np.testing.assert_allclose(z, 2.0 + np.cos(0.5) * np.array([-1.0, 0.0, 3.0]), atol=1e-12)
        assert heading.tolist() == [0.5] * 3

    def test_a_corner_is_an_arc_of_its_radius_and_length(self) -> None:
        route = Route.through([[0, 0], [0, 4], [4, 4]], radius=1.5)
        assert route.length == pytest.approx(2.5 + 1.5 * np.pi / 2 + 2.5, abs=1e-6)
        at = np.linspace(2.6, 2.4 + 1.5 * np.pi / 2, 40)
        x, z, _ = route.at(at)
        np.testing.assert_allclose(np.hypot(x - 1.5, z - 2.5), 1.5, atol=1e-3)

    def test_it_is_walked_at_its_own_speed_and_looks_where_it_goes(self) -> None:
        route = Route.through([[0, 0], [0, 4], [4, 6], [8, 6]], radius=1.0)
        at = np.linspace(-1.0, route.length + 1.0, 4_000)
        x, z, heading = route.at(at)
        speed = np.hypot(np.diff(x), np.diff(z)) / np.diff(at)
        assert np.abs(speed - 1.0).max() < 2e-3
        off = np.arctan2(np.diff(x), np.diff(z)) - 0.5 * (heading[1:] + heading[:-1])
        assert np.abs(off).max() < 0.05

    @pytest.mark.parametrize(
        ("points", "says"),
        [([[0, 0]], "two places"), ([[0, 0], [0, 0]], "two places"), ([[0, 0, 0], [1, 1, 1]], "two numbers"),
         ([[0, 0], [0, 2], [0, 0.1]], "at most 150 degrees"), ([[0, 0], [0, np.nan]], "finite")],
    )  # fmt: skip
    def test_what_is_no_route_is_refused(self, points: list[list[float]], says: str) -> None:
        with pytest.raises(InputError, match=says):
            Route.through(points)

    def test_feet_are_planted_while_the_body_turns(self) -> None:
        """The swivel of a sole while it's down stays within a degree or so of the authored one."""
        clip, rig = demo("lamplighter")
        route = Route.through([[0, 0], [0, 3], [3, 6]], radius=2.5)
        laid = lay(clip, rig, ground=Flat(0.0), loops=LOOPS, route=route)
        done = plant(laid.clip, rig)
        report = check(done.clip, rig)
        assert report.most("slide") is None or report.most("slide").level == "note"  # type: ignore[union-attr]
        ends = []
        for stance in done.stances:
            frames = measure.instants(stance.first, stance.last)
            steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames)
            assert measure.slide(steps) <= 1e-4, stance
            assert np.degrees(np.ptp(steps.yaw)) < 8.0, stance
            ends.append(float(steps.yaw.mean()))
        turned = [max(ends[k::2]) - min(ends[k::2]) for k in range(2)]
        assert max(turned) > np.radians(30.0)


class TestRefused:
    @pytest.mark.parametrize("loops", [0, -1, 100_000])
    def test_loops_out_of_range(self, loops: int) -> None:
        clip, rig = demo("lamplighter")
        with pytest.raises(InputError, match="loops: expected a number from 1"):
            lay(clip, rig, ground=Flat(0.0), loops=loops)

    def test_a_clip_that_is_no_loop(self) -> None:
        clip, rig = demo("lamplighter")
        with pytest.raises(InputError, match="no loop"):
            lay(replace(clip, loop=False), rig, ground=Flat(0.0), loops=2)

    def test_a_stride_that_is_no_range_about_one(self) -> None:
        clip, rig = demo("lamplighter")
        with pytest.raises(InputError, match="stride: expected shares about 1"):
            lay(clip, rig, ground=Flat(0.0), loops=2, stride=(1.2, 1.1))

    def test_an_unknown_channel_to_let(self) -> None:
        clip, rig = demo("lamplighter")
        with pytest.raises(UnknownName, match=r"hips\.why"):
            lay(clip, rig, ground=Flat(0.0), loops=2, let=("hips.why",))


class TestBlockedCycles:
    def test_a_channel_of_one_key_is_carried_along_as_if_it_had_a_key_on_every_frame(self) -> None:
        """A blocked walk holds hips.z by one key; the same walk with it keyed on every frame goes the same way."""
        rig = load_rig("lamplighter")
        one = plant(block(load_recipe("walk"), rig).clip, rig, keys="few").clip
        assert len(one.channels["hips.z"].frames) == 1
        frames = np.arange(one.first, one.last + 2, dtype=np.float64)
        still = np.full(len(frames), one.channels["hips.z"].values[0])
        turns = Curve.given(
            frames, still, 0.0 * still, 0.0 * still, before=Outside.REPEAT, after=Outside.REPEAT
        )  # fmt: skip
        dense = one.with_channels({"hips.z": turns})
        made, wanted = (lay(clip, rig, ground=UP, loops=3, let=("hips.y",)).clip for clip in (one, dense))
        at = np.arange(made.first, made.last + 1, dtype=np.float64)
        z = [Pack.from_curves([clip.channels["hips.z"]]).evaluate(at)[0] for clip in (made, wanted)]
        assert z[1][-1] - z[1][0] > 100.0  # centimetres
        assert np.abs(z[0] - z[1]).max() < 0.2
        assert set(made.channels["hips.z"].frames % 1.0) == {0.0}

    def test_one_that_climbs_by_itself_is_refused(self) -> None:
        rig = load_rig("lamplighter")
        climb = block(load_recipe("climb"), rig).clip
        with pytest.raises(InputError, match=r"loops: the cycle climbs \+0\.340 m a round by itself"):
            lay(climb, rig, ground=UP, loops=3)


@pytest.mark.parametrize("name", ["up", "cobbles", "waves"])
def test_turning_the_ground_and_the_way_together_turns_the_whole_plant(name: str) -> None:
    """The clip itself is turned: its hips and feet about the world's up, and its belt."""
    yaw, ground = 0.7, GROUNDS[name]
    clip, rig = demo("lamplighter")
    frames = np.arange(clip.first, clip.last + 2, dtype=np.float64)
    s, c = np.sin(yaw), np.cos(yaw)
    channels = {}
    for control in ("hips", "left_foot", "right_foot"):
        own = rig.controls[control]
        x, z = ((measure.number(clip, own, key, frames) + own.rest[k]) for key, k in (("x", 0), ("z", 2)))
        turned = {"x": c * x + s * z - own.rest[0], "z": c * z - s * x - own.rest[2]}
        turned["yaw"] = measure.number(clip, own, "yaw", frames) + yaw
        for key, values in turned.items():
            axis = own.axes[key]
            channels[axis.channel] = Curve.given(
                frames, values / axis.scale + axis.zero, 0.0 * values, 0.0 * values,
                before=Outside.REPEAT, after=Outside.REPEAT,
            )  # fmt: skip
    belt = plant(clip, rig).belt
    drive = np.array(belt.velocity)
    driven = np.array([c * drive[0] + s * drive[2], drive[1], c * drive[2] - s * drive[0]])
    other = replace(clip.with_channels(channels), belt=replace(belt, velocity=driven))
    planted = []
    for one, under in ((replace(clip, belt=belt), ground), (other, ground.turned(yaw))):
        laid = lay(one, rig, ground=under, loops=2, let=("hips.y",))
        planted.append(plant(laid.clip, rig, ground=under))
    for one_print, other_print in zip(planted[0].footprints, planted[1].footprints, strict=True):
        x, y, z = one_print.place
        np.testing.assert_allclose(other_print.place, [c * x + s * z, y, c * z - s * x], atol=1e-4)
        assert other_print.yaw - one_print.yaw == pytest.approx(yaw, abs=1e-4)
    turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    here, there = (measure.soles(done.clip, rig) for done in planted)
    assert measure.most_apart(here @ turn.T, there) < 5e-4
