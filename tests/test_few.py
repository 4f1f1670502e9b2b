"""Few keys, handed over: as few as an animator would set, and the feet hold with them."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot import Flat, check, demo, plant
from surefoot.curves import Pack
from surefoot.layer import layer_between
from surefoot.rig import FEET
from tests import measure

CHANNELS = 14  # seven a foot


@pytest.mark.parametrize(("name", "share"), [("lamplighter", 0.40), ("treadmill", 0.36)])
def test_few_keys_do_and_leave_nothing_beyond_a_note(name: str, share: float) -> None:
    """The lamplighter: all foot channels, kept ones too; the capture (keyed on every frame): those that changed."""
    clip, rig = demo(name)
    done = plant(clip, rig, keys="few")
    assert check(done.clip, rig).is_clean
    if name == "lamplighter":
        feet = [axis.channel for foot in rig.feet for axis in foot.axes.values()]
        keys = sum(len(done.clip.channels[channel].frames) for channel in feet)
        assert keys <= share * CHANNELS * 25
    else:
        assert sum(k.after for k in done.keys) <= share * sum(k.every_frame for k in done.keys)


def test_few_keys_hold_the_feet_on_the_frames_and_between_them() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig, keys="few")
    for stance in done.stances:
        for between, bound in ((1, 1.0e-4), (17, 1.0e-3)):
            frames = np.arange((stance.last - stance.first) * between + 1) / between + stance.first
            steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames, belt=done.belt.velocity)
            assert measure.slide(steps) <= bound


def test_the_animators_own_keys_stay_and_untouched_channels_are_the_same() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig, keys="few")
    for name, curve in clip.channels.items():
        if name in done.changed:
            assert set(curve.frames) <= set(done.clip.channels[name].frames)
        else:
            assert done.clip.channels[name] is curve


def test_planting_the_demos_twice_with_few_keys_changes_nothing_more() -> None:
    for name in ("lamplighter", "treadmill"):
        clip, rig = demo(name)
        once = plant(clip, rig, keys="few")
        assert plant(once.clip, rig, keys="few").changed == ()


def test_few_keys_depart_no_further_from_the_authored_motion_than_a_key_on_every_frame() -> None:
    """By at most a tenth, root mean square of each foot channel's change over the frames and between them."""
    clip, rig = demo("lamplighter")
    few, every = (plant(clip, rig, keys=keys) for keys in ("few", "every"))  # type: ignore[arg-type]
    at = np.arange(1.0, 25.0, 0.2)
    for name in every.changed:
        old, one, two = Pack.from_curves([c.channels[name] for c in (clip, few.clip, every.clip)]).evaluate(at)
        assert np.sqrt(((one - old) ** 2).mean()) <= 1.1 * np.sqrt(((two - old) ** 2).mean())


def test_the_layer_of_few_keys_added_to_the_input_gives_the_output() -> None:
    clip, rig = demo("lamplighter")
    done = plant(clip, rig, keys="few", ground=Flat(0.0))
    layer = layer_between(clip, done.clip)
    at = np.random.default_rng(3).uniform(1.0, 25.0, 400)
    for name in done.changed:
        old, add, new = (Pack.from_curves([c.channels[name]]).evaluate(at)[0] for c in (clip, layer, done.clip))
        assert np.abs(old + add - new).max() < 1e-9
