"""What a script gets told when it asks for what can't be: one sentence each, with its place."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import surefoot
from surefoot import Axis, Belt, Clip, Control, Curve, Deck, Grid, InputError, Mesh, Outside, Rig, Stance
from surefoot.capture_points import Capture
from surefoot.edit_text import read_edit, read_weight
from surefoot.key_edits import as_cycle
from surefoot.options import read_amount, read_frames, read_places
from surefoot.pack import Pack
from surefoot.recipe_file import parse_recipe
from surefoot.route import Route

CLIP, RIG = surefoot.demo("lamplighter")
ROOTED = CLIP.with_channels({f"main.{key}": Curve.constant(0.0) for key in ("x", "z", "yaw")})
POINTS = np.random.default_rng(1).uniform(0.0, 1.0, (5, 2, 6, 3))
UPRIGHT = POINTS.copy()
UPRIGHT[:, :, 0] = [[0.0, 1.0, 0.0], [0.0, 0.8, 0.0]]
ON_ITS_HEEL = POINTS.copy()
ON_ITS_HEEL[2, 1, 4] = ON_ITS_HEEL[2, 1, 3]
TURN = np.broadcast_to(np.eye(3), (5, 3, 3))


def lined_up() -> Capture:
    """Return a capture whose left ball's two sides lie one behind the other along the foot."""
    points = POINTS.copy()
    points[:, :, 3], points[:, :, 4] = [0.0, 0.0, 0.0], [0.0, 0.0, 0.2]
    inner, outer = np.zeros((2, 5, 2, 3))
    inner[..., 0], outer[..., 0] = [-0.04, 0.04], [0.04, -0.04]
    inner[3, 0], outer[3, 0] = [0.0, 0.0, 0.1], [0.0, 0.0, 0.3]
    return Capture(points, 100.0, ball_inner=inner, ball_outer=outer)


def rooted(**changed: Any) -> Rig:
    """Return the lamplighter's rig under a root of its own."""
    root = Control("main", {key: Axis(f"main.{key}", 0.01) for key in ("x", "z", "yaw")}, **changed)
    controls = {name: replace(one, parent="main") for name, one in RIG.controls.items() if one.parent == "world"}
    return replace(RIG, controls={**RIG.controls, **controls, "main": root})


def without(part: str, key: str) -> Rig:
    control = RIG.controls[part]
    axes = {name: axis for name, axis in control.axes.items() if name != key}
    return replace(RIG, controls={**RIG.controls, part: replace(control, axes=axes)})


TOLD: dict[str, tuple[Callable[[], object], str]] = {
    "a share of a gap": (
        lambda: surefoot.close_loop(CLIP, RIG, share=1.5),
        "share: wanted a share from 0 to 1, got 1.5",
    ),
    "a radius": (lambda: Route.through([[0, 0], [0, 4]], radius=0.0), "path: expected a radius above zero, got 0.0 m"),
    "an axis of a deck": (
        lambda: Deck({"heave": Curve.constant(0.0)}),
        "deck: no axis of a deck is called 'heave'; known are",
    ),
    "what a scale is about": (
        lambda: surefoot.Edit("scale", "hips.y", 0.5, about=None),  # type: ignore[arg-type]
        "scale hips.y: about: wanted a finite number, got nothing",
    ),
    "a stance beyond the clip, of a gait": (
        lambda: surefoot.gait_of(CLIP, RIG, stances=[Stance("left", 100, 110)]),
        "stance of the left foot: frames 100 to 110 lie outside 1 to 24",
    ),
    "a stance before the clip, of phases": (
        lambda: surefoot.phases_of(CLIP, RIG, stances=[Stance("left", -30, -20)]),
        "stance of the left foot: frames -30 to -20 lie outside 1 to 24",
    ),
    "another range before the edit": (
        lambda: surefoot.plant(CLIP, RIG, before=replace(CLIP, last=23)),
        "before: it has another frame range or loop than the clip",
    ),
    "a stance longer than its loop": (
        lambda: CLIP.with_stances([Stance("left", 1, 25)]),
        "frames 1 to 25 last longer than the loop; a foot that never",
    ),
    "a hock": (lambda: replace(RIG.legs[0], hock=-0.1), "leg.hock: wanted a length of 0 or more, got -0.1 m"),
    "an easing": (lambda: replace(RIG, soften=0.3), "rig.soften: soften must lie from 0.5 to 1, got 0.3"),
    "contact limits": (lambda: surefoot.ContactLimits(-0.01), "wanted 0 or more, got -0.01"),
    "frames in words": (
        lambda: Pack.from_curves([Curve.constant(1.0)]).evaluate(["one"]),
        "frames to evaluate are numbers",
    ),
    "too fine a grid": (
        lambda: Grid(np.broadcast_to(np.zeros(1), (20_000, 20_000)), 0.1),
        "heights: expected at most 100000000 nodes",
    ),
    "a normal over a hole": (
        lambda: Grid([[0.0, 0.0, 0.0], [0.0, 0.0, np.nan], [0.0, 0.0, 0.0]], 1.0).normal(1.5, 1.2),
        "hole at",
    ),
    "a mesh without a level face": (
        lambda: Mesh([[0, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 1, 2]]),
        "mesh: expected triangles that face up",
    ),
    "a gap in the hips": (
        lambda: Capture(POINTS, 100.0, hips=np.where(np.arange(5)[:, None] == 3, np.nan, 1.0) * np.ones(3)),
        "hips: not finite, first at frame 4",
    ),
    "hips upright": (
        lambda: Capture(UPRIGHT, 100.0),
        "points: the hip joints lie one above the other; state hips_rotation",
    ),
    "a ball on its heel": (
        lambda: Capture(ON_ITS_HEEL, 100.0).foot_lines(),
        "points: the right ball lies on its heel or ankle at frame 3",
    ),
    "sides along the foot": (
        lambda: lined_up().foot_lines(),
        "the sides of the left ball lie along the foot at frame 4",
    ),
    "points in words": (lambda: Capture("points", 100.0), "points: wanted an array of numbers"),  # type: ignore[arg-type]
    "a capture for half a control": (
        lambda: surefoot.capture_clip(
            Capture(lined_up().points, 100.0, hips=np.ones((5, 3)), hips_rotation=TURN), without("left_foot", "yaw")
        ),
        "control left_foot: the axis yaw is missing; a capture needs it",
    ),
    "an arc under a root of its own": (
        lambda: surefoot.travelling(replace(ROOTED, belt=Belt([0, 0, -1.35], 0.2)), rooted()),
        "control main: a rig's own root can't be made to travel along an arc; take the turn off first",
    ),
    "a root on a lift": (
        lambda: surefoot.travelling(
            replace(ROOTED, belt=Belt([0, 0, -1.35]), spaces={"lift": np.tile(np.eye(4), (24, 1, 1))}),
            rooted(parent="lift"),
        ),
        "control main: it sits under lift, which may move too; travel needs it in the world",
    ),
    "a belt sideways of a root": (
        lambda: surefoot.travelling(replace(ROOTED, belt=Belt([0, 0.1, -1.35])), rooted()),
        "control main: it has no channel for y, along which the ground moves",
    ),
    "a locked root": (
        lambda: surefoot.travelling(replace(ROOTED, belt=Belt([0, 0, -1.35]), locked=frozenset(["main.z"])), rooted()),
        "main.z: the channel is locked",
    ),
    "a root that stands": (
        lambda: surefoot.in_place(ROOTED, rooted()),
        "travel: main doesn't travel",
    ),
    "a speed along no channel": (
        lambda: surefoot.at_speed(CLIP, without("left_foot", "z"), 1.5, by="stride"),
        "left_foot has no channel for z, along which it walks",
    ),
    "a turn without a yaw": (
        lambda: surefoot.lay(
            CLIP, without("hips", "yaw"), ground=surefoot.Flat(), loops=3, route=Route.through([[0, 0], [0, 4], [4, 8]])
        ),
        "control hips: laying along a bending route needs its x, z and yaw",
    ),
    "a twin that doesn't close": (
        lambda: surefoot.twin(CLIP.with_channels({"left_foot.y": Curve.through([1, 9, 20], [0.0, 4.0, 2.0])}), RIG),
        "twin right_foot.y: left_foot.y doesn't close over the loop; close the loop first",
    ),
    "a middle that doesn't close": (
        lambda: surefoot.twin(
            CLIP.with_channels({"hips.y": Curve.through([1, 9, 20], [89.0, 94.0, 92.0])}), RIG, centre=True
        ),
        "twin hips.y: it doesn't close over the loop; close the loop first",
    ),
    "stairs without a tread": (
        lambda: surefoot.Recipe("up", surefoot.load_recipe("climb").pace, stairs=recipe_stairs()),
        "stairs.tread: it must be given",
    ),
    "a gait": (lambda: replace(surefoot.load_recipe("walk"), gait="skip"), "gait: wanted walk, "),
    "half a frame": (
        lambda: replace(surefoot.load_recipe("walk").pace, frames=24.5),
        "pace.frames: wanted a whole number of frames, got 24.5",
    ),
    "an angle unit": (lambda: parse_recipe(short(angle="gon")), "angle: no angle unit is called 'gon'"),
    "a rate in a list": (lambda: parse_recipe(short(rate=[24])), "pace.rate: wanted frames per second, got '[24]'"),
    "a tolerance in another unit": (
        lambda: read_amount("overhang=3deg"),
        "wanted an amount in %, such as 25%, got '3deg'",
    ),
    "a tolerance of two points": (lambda: read_amount("slide=1.2.3mm"), "wanted a number with its unit, such as 2mm"),
    "too many frames": (
        lambda: read_frames("1-200000", place="--keys-at"),
        "--keys-at: wanted frames such as 1,4,9-12, got '1-200000'",
    ),
    "a path in words": (lambda: read_places("0,0:here", place="--path"), "'0,0:here'"),
    "an edit of two points": (lambda: read_edit("scale", "hips.y=1.2.3"), "--scale: wanted a number, got '1.2.3'"),
    "a share in words": (lambda: read_weight("other.json=half"), "--mix: wanted a clip and its share"),
}


def recipe_stairs() -> Any:
    from surefoot.recipe import Stairs

    return Stairs(riser=0.17)


def short(**changed: Any) -> str:
    """Return a short recipe's text with some lines changed."""
    angle, rate = changed.get("angle", "deg"), changed.get("rate", 24)
    return (
        f'surefoot = "recipe/1"\nname = "short"\nunit = "cm"\nangle = "{angle}"\nleg = 90\n'
        f"[pace]\nframes = 24\ntoe_off = 15\nrate = {rate}\nstep = 60\n"
    )


@pytest.mark.parametrize("what", TOLD)
def test_what_cannot_be_is_told_in_one_sentence(what: str) -> None:
    ask, told = TOLD[what]
    with pytest.raises(InputError, match=re.escape(told)) as error:
        ask()
    assert "\n" not in str(error.value)


def test_a_curve_that_repeats_before_and_advances_after_is_no_cycle() -> None:
    curve = Curve.through([1.0, 9.0, 25.0], [0.0, 2.0, 1.0], before=Outside.REPEAT, after=Outside.ADVANCE)
    assert as_cycle(curve, 1.0, 24.0) is None


def test_amounts_in_percent_are_shares() -> None:
    assert read_amount("overhang=25%") == ("overhang", 0.25)


def test_at_the_speed_it_has_a_clip_stays_as_it_is() -> None:
    clip: Clip = replace(CLIP, belt=Belt([0.0, 0.0, -1.35]))
    for by in ("time", "stride"):
        same = surefoot.at_speed(clip, RIG, 1.35, by=by)  # type: ignore[arg-type]
        assert all(same.channels[name] is curve for name, curve in clip.channels.items())
