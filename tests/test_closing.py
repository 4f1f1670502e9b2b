"""Closing a loop: every channel's two ends meet in value and slope, and no key is left outside the round."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Clip, Curve, InputError, Outside, Shape, apply_proposals, check, close_loop, demo, propose
from surefoot.curves import Pack
from tests import measure
from tests.test_key_edits import random_curve

FINE = np.linspace(1.0, 25.0, 241)


def at(clip: Clip, name: str, frames: np.ndarray = FINE) -> np.ndarray:
    return Pack.from_curves([clip.channels[name]]).evaluate(frames)[0]


def test_a_closed_loop_keeps_every_channel_but_those_with_keys_beyond_it() -> None:
    clip, rig = demo("lamplighter")
    done = close_loop(clip, rig)
    late = {name for name, curve in clip.channels.items() if curve.frames[-1] > 25.0}
    assert late == {"chest.yaw", "chest.roll", "left_arm.swing", "right_arm.swing"}
    for name, curve in clip.channels.items():
        assert (done.channels[name] is curve) == (name not in late)
        assert np.abs(at(done, name) - at(clip, name)).max() < 1e-12
        assert (done.channels[name].frames[0], done.channels[name].frames[-1]) == (1.0, 25.0)


@pytest.mark.parametrize("rule", list(Outside))
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("seed", range(12))
def test_any_channel_is_closed_in_value_and_slope(seed: int, share: float, rule: Outside) -> None:
    clip, rig = demo("lamplighter")
    shapes = [shape for shape in Shape if shape != Shape.STEP]
    broken = random_curve(seed, shapes=shapes, rule=Outside.HOLD)
    broken = replace(broken, before=rule, after=rule)
    done = close_loop(clip.with_channels({"head.pitch": broken}), rig, share=share)
    curve = done.channels["head.pitch"]
    into, out = measure.slopes(curve)
    rise = curve.values[-1] - curve.values[0]
    assert rise == (0.0 if rule != Outside.ADVANCE else pytest.approx(broken.values[-1] - broken.values[0]))
    assert (curve.frames[0], curve.frames[-1]) == (1.0, 25.0)
    assert (into[-1], out[-1]) == (into[0], out[0])
    assert check(done, rig).most("seam") is None


def test_closing_again_changes_nothing() -> None:
    clip, rig = demo("lamplighter")
    broken = clip.with_channels({"head.pitch": Curve.through([1, 12, 25], [0.0, 9.0, 4.0])})
    once = close_loop(broken, rig)
    assert close_loop(once, rig) is once


def test_the_gap_is_shared_as_asked() -> None:
    clip, rig = demo("lamplighter")
    broken = clip.with_channels({"head.pitch": Curve.through([1, 12, 25], [0.0, 9.0, 4.0])})
    for share, wanted in ((0.0, 0.0), (0.5, 2.0), (1.0, 4.0)):
        curve = close_loop(broken, rig, share=share).channels["head.pitch"]
        assert curve.values[0] == curve.values[-1] == pytest.approx(wanted)
        assert curve.values[1] == 9.0


def test_keys_of_a_held_channel_beyond_the_round_come_in() -> None:
    clip, rig = demo("lamplighter")
    late = Curve.shaped([3, 9, 20, 27, 30], [1.0, 4.0, 0.0, 1.0, 2.0], shape=Shape.LEVEL)
    curve = close_loop(clip.with_channels({"head.pitch": late}), rig).channels["head.pitch"]
    assert curve.frames.tolist() == [1.0, 3.0, 6.0, 9.0, 20.0, 25.0]
    assert curve.values[2] == 2.0


def test_what_a_check_proposes_for_a_seam_wraps_keys_in_too() -> None:
    clip, rig = demo("lamplighter")
    late = Curve.through([1, 9, 20, 25, 30], [1.0, 40.0, 0.0, 15.0, 22.0])
    broken = clip.with_channels({"head.pitch": late})
    finding = check(broken, rig).most("seam")
    assert finding is not None
    ways = [way for way in propose(broken, rig) if way.finding.part == "head.pitch"]
    assert ways
    for way in ways:
        mended = apply_proposals(broken, rig, [way])
        assert check(mended, rig).most("seam") is None
        curve = mended.channels["head.pitch"]
        assert curve.frames.tolist() == [1.0, 6.0, 9.0, 20.0, 25.0]
        assert curve.values[1] == 22.0


def test_a_stepped_channel_steps_still() -> None:
    clip, rig = demo("lamplighter")
    stepped = Curve.shaped([1, 9, 25], [0.0, 1.0, 3.0], shape=Shape.STEP)
    done = close_loop(clip.with_channels({"prop.hold": stepped}), rig)
    assert at(done, "prop.hold", np.array([1.0, 8.9, 9.0, 24.9, 25.0])).tolist() == [0.0, 0.0, 1.0, 1.0, 0.0]


def test_what_cannot_be_closed_is_told() -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(InputError, match="it's no loop"):
        close_loop(replace(clip, loop=False), rig)
    with pytest.raises(InputError, match="wanted a share from 0 to 1"):
        close_loop(clip, rig, share=2.0)
    broken = clip.with_channels({"head.pitch": Curve.through([1, 12, 25], [0.0, 9.0, 4.0])})
    with pytest.raises(InputError, match=r"close head\.pitch: it doesn't close, and it's locked"):
        close_loop(replace(broken, locked=frozenset({"head.pitch"})), rig)
