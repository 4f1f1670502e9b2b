"""Letting the hips: they come down by what was asked, in few keys, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

import surefoot
from surefoot import Clip, Curve, Planted, Rig, UnknownName, check, let_down, plant
from surefoot.curves import Pack
from surefoot.letting import SLACKS
from tests.walks import make_rig, random_walk

NOTE = 1e-4
"""Metres: a stretch up to that isn't even noted."""


def few(clip: Clip, rig: Rig) -> Planted:
    return plant(clip, rig, keys="few")


def too_high() -> tuple[Clip, Rig]:
    """Return the lamplighter with his hips 3 cm too high; they're keyed on every third frame, in centimetres."""
    clip, rig = surefoot.demo("lamplighter")
    old = clip.channels["hips.y"]
    return clip.with_channels({"hips.y": replace(old, values=old.values + 3.0)}), rig


def high_once() -> tuple[Clip, Rig]:
    """Return a walk that is no loop; its hips, keyed on every fourth frame, are too high about the middle."""
    walk = random_walk(4, loop=False)
    clip, rig = walk.clip(), make_rig()
    frames = np.append(np.arange(clip.first, clip.last - 3, 4.0), float(clip.last))
    values = walk.hips[frames.astype(int) - 1, 1] - 0.015
    values[len(frames) // 2] += 0.15  # feet on tiptoe reach it no more
    return clip.with_channels({"hips.y": Curve.through(frames, values)}), rig


def stretch(clip: Clip, rig: Rig) -> float:
    found = check(few(clip, rig).clip, rig).most("stretch")
    return 0.0 if found is None else found.amount


def finely(clip: Clip) -> surefoot.curves.Floats:
    at = np.arange(clip.first, clip.last + 0.5 * clip.loop + 1e-9, 1.0 / 17.0)
    return np.asarray(Pack.from_curves([clip.channels["hips.y"]]).evaluate(at)[0])


@pytest.mark.parametrize("made", [too_high, high_once])
def test_hips_come_down_on_the_keys_that_were_there_and_few_more(made: object) -> None:
    assert callable(made)
    clip, rig = made()
    assert stretch(clip, rig) > NOTE
    done, changes = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig))
    every, _ = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig), keys="every")
    assert changes
    assert stretch(done, rig) <= max(stretch(every, rig), NOTE)
    own, new = (set(c.channels["hips.y"].frames.tolist()) for c in (clip, done))
    assert own <= new
    assert len(new - own) <= 2
    assert len(new) < 0.6 * len(every.channels["hips.y"].frames)
    scale = rig.channels()["hips.y"].scale
    below = (finely(every) - finely(done)) * scale
    assert below.min() > -0.06 * SLACKS[0]
    assert below.max() <= SLACKS[0]
    assert all(done.channels[name] is curve for name, curve in clip.channels.items() if name != "hips.y")


def test_where_the_hips_are_not_lowered_they_stay() -> None:
    clip, rig = high_once()
    done, _ = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig))
    every, _ = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig), keys="every")
    before, lowered, after = finely(clip), finely(every), finely(done)
    same = np.abs(lowered - before) < 1e-12
    assert 0.2 < same.mean() < 0.9
    assert np.abs(after - before)[same].max() < 1e-8
    assert (before - after)[~same].max() > 0.005


def test_a_key_on_every_frame_is_had_by_asking() -> None:
    clip, rig = too_high()
    done, _ = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig), keys="every")
    assert len(done.channels["hips.y"].frames) == clip.frames + 1


def test_new_keys_go_only_where_they_may() -> None:
    clip, rig = too_high()
    done, _ = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig), keys_at=[3, 12])
    new = set(done.channels["hips.y"].frames.tolist()) - set(clip.channels["hips.y"].frames.tolist())
    assert new <= {3.0, 12.0}


def test_captured_hips_keep_a_key_on_every_frame() -> None:
    walk = random_walk(4)
    hips = walk.hips.copy()
    hips[:, 1] += 0.12
    clip, rig = replace(walk, hips=hips).clip(), make_rig()
    done, changes = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig))
    assert changes
    assert done.channels["hips.y"].frames.tolist() == clip.channels["hips.y"].frames.tolist()


def test_hips_within_reach_stay_as_they_are() -> None:
    clip, rig = surefoot.demo("lamplighter")
    done, changes = let_down(clip, rig, ["hips.y"], plant=partial(few, rig=rig))
    assert not changes
    assert done is clip


def test_a_channel_that_is_not_there_is_told() -> None:
    clip, rig = surefoot.demo("lamplighter")
    with pytest.raises(UnknownName, match=r"let: .*did you mean 'hips.y'"):
        let_down(clip, rig, ["hip.y"], plant=partial(few, rig=rig))
