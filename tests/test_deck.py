"""Feet planted on a lift and on a rolling deck: they hold there, and the channels stay in the world."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from surefoot import Belt, Clip, Curve, Deck, Flat, Outside, Rig, check, demo, plant
from surefoot.deck import aboard, plant_aboard
from surefoot.errors import InputError, ShapeError
from surefoot.laying import lay
from tests import measure

FEET = ("left", "right")


def deck(count: int, *, rolls: bool) -> np.ndarray:
    """Return a deck that rises, and that pitches, turns and rolls like a boat's where asked."""
    at = np.arange(count) / count
    made = np.tile(np.eye(4), (count, 1, 1))
    made[:, 1, 3] = 0.3 * at
    made[:, 0, 3] = 0.2 * np.sin(2 * np.pi * at)
    if rolls:
        angles = np.column_stack([8 * at, 5 * np.sin(2 * np.pi * at), 6 * np.sin(2 * np.pi * at + 1)])
        made[:, :3, :3] = Rotation.from_euler("YXZ", angles, degrees=True).as_matrix()
    return made


def walk() -> tuple[Clip, Rig]:
    """Return two strides on still, level ground."""
    clip, rig = demo("lamplighter")
    return lay(clip, rig, ground=Flat(0.0), loops=2).clip, rig


def carried(clip: Clip, rig: Rig, motion: np.ndarray) -> Clip:
    """Return the clip moved along with a deck: what an animator has who parented the figure to it, baked."""
    from surefoot import Curve

    frames = np.arange(clip.first, clip.last + 1.0)
    made = {}
    for name in ("hips", "left_foot", "right_foot"):
        control = rig.controls[name]
        place = np.stack([measure.number(clip, control, key, frames) for key in "xyz"], axis=1)
        angles = np.stack([measure.number(clip, control, key, frames) for key in ("yaw", "pitch", "roll")], axis=1)
        turn = Rotation.from_matrix(motion[:, :3, :3])
        place = turn.apply(place + control.rest) + motion[:, :3, 3] - control.rest
        yaw, pitch, roll = (turn * Rotation.from_euler("YXZ", angles)).as_euler("YXZ").T
        for key, values in zip(("x", "y", "z", "pitch", "yaw", "roll"), (*place.T, pitch, yaw, roll), strict=True):
            axis = control.axes[key]
            made[axis.channel] = Curve.through(frames, values / axis.scale + axis.zero)
    return clip.with_channels(made)


@pytest.mark.parametrize("rolls", [False, True])
def test_feet_hold_on_the_deck_and_hips_are_untouched(rolls: bool) -> None:
    clip, rig = walk()
    motion = deck(clip.frames, rolls=rolls)
    moved = carried(clip, rig, motion)
    done = plant_aboard(moved, rig, motion)
    for name, curve in moved.channels.items():
        if "foot" not in name:
            assert done.clip.channels[name] is curve
    assert "aboard" not in done.clip.spaces
    turn = Rotation.from_matrix(motion[:, :3, :3])
    for stance in done.stances:
        frames = measure.instants(stance.first, stance.last)
        rows = (frames - clip.first).astype(int)
        steps = measure.foot_steps(done.clip, rig, FEET.index(stance.foot), frames)
        points = np.stack(
            [turn[rows].inv().apply(steps.points[:, k] - motion[rows, :3, 3]) for k in range(steps.points.shape[1])],
            axis=1,
        )
        on_deck = replace(steps, points=points, height=points[..., 1])
        assert measure.slide(on_deck) <= 1e-4, stance
        assert measure.sink(on_deck) <= 1e-4, stance


def test_a_still_deck_is_the_ground() -> None:
    clip, rig = walk()
    still = np.tile(np.eye(4), (clip.frames, 1, 1))
    report = check(*aboard(clip, rig, still))
    plain = check(clip, rig)
    assert [(f.kind, f.foot, f.first) for f in report.findings] == [(f.kind, f.foot, f.first) for f in plain.findings]


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda m: m[:-1], "a matrix a frame"),
        (lambda m: m * 2.0, "frame 1: expected a turn and a shift"),
        (lambda m: np.where(np.arange(len(m))[:, None, None] == 3, np.nan, m), "finite"),
    ],
)
def test_what_is_no_rigid_motion_is_refused(spoil, says: str) -> None:  # type: ignore[no-untyped-def]
    clip, rig = walk()
    with pytest.raises((InputError, ShapeError), match=says):
        aboard(clip, rig, spoil(deck(clip.frames, rolls=False)))


@pytest.mark.parametrize("phase", [0, 6, 12, 18])
def test_a_loops_feet_hold_over_its_seam_on_a_deck_that_heaves_and_closes(phase: int) -> None:
    """A tenth of a metre up and down in a second, 25 mm a frame; between frames a deck is blended: 3 mm."""
    clip, rig = demo("lamplighter")
    clip = plant(clip, rig, belt=Belt([0.0, 0.0, -1.35])).clip
    frames = np.arange(1.0, 26.0)
    up = 0.1 * np.sin(2.0 * np.pi * (frames - 1.0 + phase) / 24.0)
    round_ = {"before": Outside.REPEAT, "after": Outside.REPEAT}
    rides = {name: Curve.through(frames, clip.channels[name].at(frames) + 100.0 * up, **round_)
             for name in ("hips.y", "left_foot.y", "right_foot.y")}  # fmt: skip
    motion = Deck({"y": Curve.through(frames, up, **round_)})
    done = plant_aboard(clip.with_channels(rides), rig, motion)
    report = check(*aboard(done.clip, rig, motion))
    for kind in ("sink", "hover"):
        most = report.most(kind)
        assert most is None or most.shown < 3.0


def test_a_space_of_that_name_is_refused() -> None:
    clip, rig = walk()
    seen, riding = aboard(clip, rig, deck(clip.frames, rolls=False))
    with pytest.raises(InputError, match="aboard: the clip has a space"):
        aboard(seen, riding, deck(clip.frames, rolls=False))
