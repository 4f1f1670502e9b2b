"""Oppose: chest against hips, arm against its own leg, a level head, and what drags comes later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Axis, Clip, Control, Curve, Edit, Outside, Rig, check, demo, drags, remix
from surefoot.curves import Pack
from surefoot.key_edits import affine


def parts(clip: Clip, rig: Rig) -> dict[str, float]:
    return {f.part: f.shown for f in check(clip, rig, also=("oppose",)).findings if f.kind == "oppose"}


def wave(size: float, late: float = 0.0, *, beats: int = 1) -> Curve:
    """Return a wave with that swing, its first peak ``late`` frames after frame 1, ``beats`` to a loop of 24."""
    frames = np.arange(0.0, 24.0 + 0.5) + 1.0
    phase = 2.0 * np.pi * beats * (frames - 1.0 - late) / 24.0
    slope = -size * np.sin(phase) * 2.0 * np.pi * beats / 24.0
    return Curve.given(frames, size * np.cos(phase), slope, slope, before=Outside.REPEAT, after=Outside.REPEAT)


def still(clip: Clip) -> Clip:
    """Return the clip without what its upper body does."""
    upper = [
        name for name in clip.channels if name.split(".")[0] in ("spine", "chest", "head", "left_arm", "right_arm")
    ]
    flat = {name: Curve.constant(0.0) for name in (*upper, "hips.pitch", "hips.roll")}
    return clip.with_channels(flat)


NODS = "head.pitch not level"
"""The lamplighter's head takes back most of what hips and spine pitch, not all: worth a note."""


def test_the_lamplighter_counters_as_she_should_but_for_a_nod() -> None:
    clip, rig = demo("lamplighter")
    pack = Pack.from_curves([clip.channels[name] for name in ("hips.pitch", "spine.pitch", "head.pitch")])
    nod = np.ptp(pack.evaluate(np.linspace(1.0, 25.0, 2401)).sum(axis=0)) / 2.0
    assert 2.0 < nod < 5.0
    assert parts(clip, rig) == {NODS: pytest.approx(nod, abs=0.01)}
    assert check(clip, rig).most("oppose") is None


def test_a_chest_that_turns_with_the_hips_is_found_with_its_amount() -> None:
    clip, rig = demo("lamplighter")
    clip = still(clip).with_channels({"hips.yaw": wave(6.0), "chest.yaw": wave(4.0)})
    assert parts(clip, rig)["chest.yaw"] == pytest.approx(10.0, abs=1e-6)
    countering = clip.with_channels({"chest.yaw": wave(-7.0)})
    assert "chest.yaw" not in parts(countering, rig)
    idle = clip.with_channels({"chest.yaw": Curve.constant(0.0)})
    assert parts(idle, rig)["chest.yaw"] == pytest.approx(6.0, abs=1e-6)


def test_an_arm_that_goes_with_its_own_leg_is_found() -> None:
    clip, rig = demo("lamplighter")
    wrong = clip.with_channels({"left_arm.swing": affine(clip.channels["left_arm.swing"], factor=-1.0)})
    found = parts(wrong, rig)
    assert set(found) == {"left_arm.swing", NODS}
    assert found["left_arm.swing"] > 15.0


def test_a_pitch_is_the_other_way_round_than_a_swing() -> None:
    """A hanging arm pitched forward at its top goes back; here it's a control of the rig, in radians."""
    clip, rig = demo("lamplighter")
    arm = affine(clip.channels["left_arm.swing"], factor=-np.pi / 180.0)
    controls = {**rig.controls, "left_arm": Control("left_arm", {"pitch": Axis("L:upper")}, parent="hips")}
    rig = replace(rig, controls=controls)
    channels = {name: curve for name, curve in clip.channels.items() if name != "left_arm.swing"}
    good = replace(clip, channels={**channels, "L:upper": arm})
    assert set(parts(good, rig)) == {NODS}
    bad = good.with_channels({"L:upper": affine(arm, factor=-1.0)})
    assert set(parts(bad, rig)) == {"L:upper", NODS}


def test_a_head_that_nods_with_the_hips_is_not_level() -> None:
    clip, rig = demo("lamplighter")
    clip = still(clip).with_channels({"hips.pitch": wave(6.0, beats=2), "chest.yaw": wave(-7.0, 7.0)})
    assert parts(clip, rig)["head.pitch not level"] == pytest.approx(6.0, abs=1e-6)
    level = clip.with_channels({"head.pitch": wave(-6.0, beats=2)})
    assert "head.pitch not level" not in parts(level, rig)


@pytest.mark.parametrize("beats", [1, 2])
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("late", [0.0, 1.0, 2.0, 2.5, -1.5])
def test_the_lag_is_the_one_that_was_put_in(late: float, sign: float, beats: int) -> None:
    clip, rig = demo("lamplighter")
    clip = still(clip).with_channels(
        {"hips.pitch": wave(5.0, beats=beats), "spine.pitch": wave(sign * 4.0, late, beats=beats)}
    )
    lag = {(drag.channel, drag.after): drag.lag for drag in drags(clip, rig)}
    assert lag["spine.pitch", "hips.pitch"] == pytest.approx(late, abs=0.02)


def test_what_leads_where_it_should_drag_is_found() -> None:
    clip, rig = demo("lamplighter")
    lag = {drag.channel: drag.lag for drag in drags(clip, rig)}
    assert 0.5 < lag["spine.pitch"] < 1.5
    assert 0.5 < lag["chest.yaw"] < 1.5
    early = remix(clip, rig, [Edit("shift", "chest", -5.0)])
    assert {drag.channel: drag.lag for drag in drags(early, rig)}["chest.yaw"] == pytest.approx(lag["chest.yaw"] - 5.0)
    assert "chest.yaw leads hips.yaw" in parts(early, rig)


def test_an_arm_drags_down_to_the_wrist() -> None:
    clip, rig = demo("lamplighter")
    swing = clip.channels["left_arm.swing"]
    limp = clip.with_channels({"left_elbow.bend": swing, "left_wrist.bend": swing})
    limp = remix(limp, rig, [Edit("shift", "left_elbow", 2.0), Edit("shift", "left_wrist", 5.0)])
    lag = {drag.channel: (drag.after, drag.lag) for drag in drags(limp, rig)}
    assert lag["left_elbow.bend"] == ("left_arm.swing", pytest.approx(2.0, abs=0.01))
    assert lag["left_wrist.bend"] == ("left_elbow.bend", pytest.approx(3.0, abs=0.01))


def test_a_clip_that_is_no_loop_has_none_of_it() -> None:
    clip, rig = demo("treadmill")
    assert drags(clip, rig) == ()
    assert check(clip, rig, also=("oppose", "mismatch")).most("oppose") is None
