"""A clip that makes no sense can't be built, and says why in one sentence."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from surefoot.clip import Clip, Stance
from surefoot.curves import Curve
from surefoot.errors import InputError, UnknownName

CHANNELS = {"b": Curve.constant(1.0), "a": Curve.constant(2.0)}


def clip(**changed: Any) -> Clip:
    return Clip(**({"channels": CHANNELS, "rate": Fraction(24), "first": 1, "last": 24, "loop": True} | changed))


def stances(*spans: tuple[int, int], foot: str = "left") -> tuple[Stance, ...]:
    return tuple(Stance(foot, first, last) for first, last in spans)


def test_both_ends_of_the_range_are_counted() -> None:
    made = clip()
    assert made.frames == 24
    assert made.step == pytest.approx(1 / 24)
    assert clip(first=5, last=5, loop=False).frames == 1


def test_channels_keep_their_order_and_are_the_same_objects() -> None:
    made = clip()
    assert list(made.channels) == ["b", "a"]
    new = Curve.constant(3.0)
    changed = made.with_channels({"a": new, "c": new})
    assert list(changed.channels) == ["b", "a", "c"]
    assert changed.channels["b"] is CHANNELS["b"]
    assert changed.channels["a"] is new
    assert made.channels["a"] is CHANNELS["a"]


def test_a_clip_cannot_be_changed_from_outside() -> None:
    given = dict(CHANNELS)
    made = clip(channels=given)
    given.clear()
    assert len(made.channels) == 2
    with pytest.raises(TypeError):
        made.channels["z"] = CHANNELS["a"]  # type: ignore[index]


def test_a_channel_that_is_not_there_names_the_nearest() -> None:
    made = clip(channels={"left_foot.pitch": CHANNELS["a"], "hips.y": CHANNELS["b"]})
    assert made.curve("hips.y") is CHANNELS["b"]
    with pytest.raises(UnknownName, match=r"no channel is called 'left_foot\.pich'; did you mean 'left_foot\.pitch'\?"):
        made.curve("left_foot.pich")


@pytest.mark.parametrize(
    ("changed", "place", "says"),
    [
        ({"channels": {}}, "channels", "the clip is empty"),
        ({"first": 24, "last": 1}, "range", "runs backwards, from frame 24 to 1"),
        ({"last": 10**9}, "range", "1000000000 frames, from 1 to 1000000000; at most 5000000 are taken"),
        ({"last": 1}, "range", "a loop needs at least two frames"),
        ({"rate": Fraction(0)}, "rate", "above 0"),
        ({"rate": Fraction(-24)}, "rate", "above 0"),
        ({"rate": Fraction(10**6)}, "rate", "at most 100000"),
        ({"stances": stances((1, 15), (10, 20))}, "stances of the left foot", "frames 1 to 15 and 10 to 20 overlap"),
        ({"stances": stances((10, 20), (1, 15))}, "stances of the left foot", "overlap"),
        ({"stances": stances((0, 5))}, "stance of the left foot", "frames 0 to 5 lie outside 1 to 24"),
        ({"stances": stances((25, 27))}, "stance of the left foot", "outside 1 to 24"),
        ({"stances": stances((20, 26)), "loop": False}, "stance of the left foot", "outside 1 to 24"),
        ({"stances": stances((1, 10), (20, 25))}, "stances of the left foot", "overlaps the first across the seam"),
    ],
)
def test_a_clip_that_makes_no_sense_is_refused(changed: dict[str, Any], place: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as told:
        clip(**changed)
    assert told.value.place == place


def test_stances_may_touch_and_may_run_over_the_seam() -> None:
    assert clip(stances=stances((2, 10), (11, 12), (20, 25))).stances == stances((2, 10), (11, 12), (20, 25))
    both = (*stances((1, 15)), *stances((13, 27), foot="right"))
    assert clip().with_stances(both).stances == both
    assert clip(stances=both).with_stances(None).stances is None
    assert clip().with_stances(iter(both)).stances == both


def test_a_stance_that_runs_backwards_or_names_no_foot_is_refused() -> None:
    with pytest.raises(InputError, match="stance of the left foot: runs backwards, from frame 15 to 1"):
        Stance("left", 15, 1)
    with pytest.raises(UnknownName, match="no foot is called 'lef'; did you mean 'left'"):
        Stance("lef", 1, 2)
    assert Stance("right", 3, 3).first == 3


def boxes(count: int = 24) -> np.ndarray:
    return np.tile(np.eye(4), (count, 1, 1))


def test_a_space_is_one_matrix_a_frame_scaled_alike_on_every_axis() -> None:
    scaled = boxes()
    scaled[:, :3, :3] *= 2.5
    assert clip(spaces={"root": scaled}).spaces["root"].shape == (24, 4, 4)
    uneven, mirrored, flat, holed = boxes(), boxes(), boxes(), boxes()
    uneven[:, 0, 0] = 2.0
    mirrored[:, 0, 0] = -1.0
    flat[:, :3, :3] = 0.0
    holed[3, 1, 2] = np.nan
    for wrong, says in (
        (uneven, "uniform"),
        (mirrored, "mirrors left and right"),
        (flat, "not zero"),
        (holed, "finite"),
        (boxes(23), "wanted 24 finite 4 by 4 matrices"),
    ):
        with pytest.raises(InputError, match=says) as told:
            clip(spaces={"root": wrong})
        assert told.value.place == "space root"
