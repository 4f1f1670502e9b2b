"""Choosing what is mended: none changes nothing, all is the plain plant, a part is that part."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from surefoot import Clip, InputError, Rig, check, demo, plant
from surefoot.choice import MENDED, Choice, Rejected
from surefoot.curves import Pack

MENDED_BUT_HOVER = frozenset(MENDED) - {"hover"}


def lamplighter() -> tuple[Clip, Rig]:
    return demo("lamplighter")


def difference(one: Clip, two: Clip, channel: str) -> NDArray[np.float64]:
    at = np.arange(1.0, 25.0)
    packs = (Pack.from_curves([clip.channels[channel]]).evaluate(at)[0] for clip in (one, two))
    first, second = packs
    return np.abs(second - first)


@pytest.mark.parametrize("keys", ["every", "few"])
def test_accepting_nothing_changes_nothing(keys: str) -> None:
    clip, rig = lamplighter()
    done = plant(clip, rig, keys=keys, choice=Choice(kinds=frozenset()))  # type: ignore[arg-type]
    assert done.changed == ()
    assert all(done.clip.channels[name] is curve for name, curve in clip.channels.items())


@pytest.mark.parametrize("keys", ["every", "few"])
def test_accepting_every_kind_is_the_plain_plant(keys: str) -> None:
    clip, rig = lamplighter()
    plain = plant(clip, rig, keys=keys)  # type: ignore[arg-type]
    chosen = plant(clip, rig, keys=keys, choice=Choice(kinds=frozenset(MENDED)))  # type: ignore[arg-type]
    assert plain.changed == chosen.changed
    for name in plain.changed:
        assert np.array_equal(plain.clip.channels[name].values, chosen.clip.channels[name].values)


def test_one_foot_alone_is_planted_and_the_other_stays() -> None:
    clip, rig = lamplighter()
    done = plant(clip, rig, choice=Choice(feet=("left",)))
    assert done.changed
    assert all(name.startswith("left_foot") for name in done.changed)
    left = [f for f in check(done.clip, rig).findings if f.foot == "left" and f.level != "note"]
    assert left == []


def test_without_stretch_no_rocker_gives_way() -> None:
    clip, rig = lamplighter()
    assert any(name.endswith("pitch") for name in plant(clip, rig).changed)
    done = plant(clip, rig, choice=Choice(kinds=frozenset({"slide", "sink", "hover"})))
    assert done.changed
    assert not any(name.endswith("pitch") for name in done.changed)


def test_only_sink_lifts_and_never_lowers_or_shifts() -> None:
    clip, rig = lamplighter()
    done = plant(clip, rig, choice=Choice(kinds=frozenset({"sink"})))
    assert not any(name.endswith((".x", ".z", ".yaw", ".pitch")) for name in done.changed)
    assert done.ankle_change[..., 1].min() >= -1e-12
    before, after = (check(c, rig, stances=done.stances) for c in (clip, done.clip))
    worst = [report.most("sink") for report in (before, after)]
    assert worst[0] is not None
    assert worst[0].level == "error"
    assert worst[1] is None or worst[1].level == "note"


def test_a_span_of_frames_is_mended_and_frames_far_from_it_stay() -> None:
    clip, rig = lamplighter()
    done = plant(clip, rig, choice=Choice(feet=("left",), frames=(9, 15)))
    moved = difference(clip, done.clip, "left_foot.z")
    full = difference(clip, plant(clip, rig).clip, "left_foot.z")
    inside, outside = slice(8, 15), [2, 3, 4, 17, 18, 19, 20, 21, 22, 23]
    assert np.abs(moved[inside] - full[inside]).max() < 1e-9
    assert moved[outside].max() < 1e-9


def test_a_span_may_go_over_the_seam() -> None:
    clip, rig = lamplighter()
    done = plant(clip, rig, choice=Choice(feet=("right",), frames=(20, 27)))
    moved = difference(clip, done.clip, "right_foot.z")
    full = difference(clip, plant(clip, rig).clip, "right_foot.z")
    assert np.abs(moved[[0, 1, 2]] - full[[0, 1, 2]]).max() < 1e-9
    assert moved[8:15].max() < 1e-9


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"feet": ("middle",)}, "no foot is called 'middle'"),
        ({"kinds": frozenset({"slid"})}, "did you mean 'slide'"),
        ({"frames": (9, 3)}, "run backwards"),
    ],
)
def test_a_wrong_choice_is_told(wrong: dict[str, object], told: str) -> None:
    with pytest.raises(InputError, match=told):
        Choice(**wrong)  # type: ignore[arg-type]


def test_a_rejected_finding_stays_and_the_others_are_mended() -> None:
    clip, rig = lamplighter()
    sinks = [f for f in check(clip, rig).findings if f.kind == "sink" and f.foot == "left"]
    one = next(f for f in sinks if (f.first, f.last) == (9, 12))
    choice = Choice(rejected=(Rejected("sink", "left", one.first, one.last),))
    done = plant(clip, rig, choice=choice)
    left = [f for f in check(done.clip, rig).findings if f.kind == "sink" and f.level == "error"]
    assert [(f.foot, f.first) for f in left] == [("left", 9)]
    plain = plant(clip, rig)
    for name in ("right_foot.y", "left_foot.z"):
        assert difference(done.clip, plain.clip, name).max() == 0.0
    assert difference(done.clip, plain.clip, "left_foot.y")[8:12].max() > 1e-3


def test_rejecting_every_finding_of_a_kind_is_leaving_out_the_kind() -> None:
    clip, rig = lamplighter()
    spans = tuple(Rejected("hover", foot, 1, 24) for foot in ("left", "right"))
    one, two = plant(clip, rig, choice=Choice(rejected=spans)), plant(clip, rig, choice=Choice(kinds=MENDED_BUT_HOVER))
    for name in clip.channels:
        assert difference(one.clip, two.clip, name).max() == 0.0


@pytest.mark.parametrize(
    ("one", "told"),
    [
        (Rejected("snap", "left", 1, 2), "kind that planting mends"),
        (Rejected("sink", "middle", 1, 2), "foot"),
        (Rejected("sink", "left", 4, 2), "run backwards"),
    ],
)
def test_a_rejection_that_names_nothing_is_told(one: Rejected, told: str) -> None:
    with pytest.raises(InputError, match=told):
        Choice(rejected=(one,))
