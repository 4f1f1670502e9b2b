"""A cycle on ground that turns: planted, measured, and written out along its arc."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
import pytest

from surefoot import Belt, InputError, Planted, Rig, check, demo, gait_of, in_place, plant, rooted, travelling
from tests.measure import foot_steps, instants, slide

SPEED, TURN = 1.35, 0.4


@cache
def planted(keys: Literal["every", "few"]) -> tuple[Planted, Rig]:
    clip, rig = demo("lamplighter")
    return plant(replace(clip, belt=Belt([0.0, 0.0, -SPEED], TURN)), rig, keys=keys), rig


@pytest.mark.parametrize("keys", ["every", "few"])
def test_feet_planted_on_turning_ground_stand_still_once_it_is_written_out(keys: Literal["every", "few"]) -> None:
    """Witness: the root carried along the arc, feet measured by `tests/measure.py` on ground that stays."""
    done, rig = planted(keys)
    assert not [
        one for one in check(done.clip, rig).findings if one.kind in ("slide", "sink", "hover") and one.level != "note"
    ]
    walking = travelling(done.clip, rig)
    under = rooted(rig, walking)
    for stance in done.stances:
        last = min(stance.last, done.clip.last + 1)  # no channel tells the arc's next round
        steps = foot_steps(walking, under, ("left", "right").index(stance.foot), instants(stance.first, last))
        assert slide(steps) <= 1e-4
        assert np.abs(steps.height.min(axis=1)).max() <= 1e-4


def test_strides_on_an_arc_are_as_long_as_the_arcs_under_their_feet() -> None:
    """By hand: a foot at ``r`` from the arc's middle goes ``r`` times the turn a stride; the hips' middle at v / w."""
    done, rig = planted("every")
    own = gait_of(done.clip, rig)
    period = done.clip.frames / float(done.clip.rate)
    middle = np.array([-SPEED / TURN, 0.0])  # where v + w x r is nothing: ground that turns left turns the walk right
    arcs = []
    for foot in range(2):
        place = next(p.place for p in done.footprints if p.stance.foot == ("left", "right")[foot])
        at = np.array([place[0], place[2]])
        arcs.append(float(np.hypot(*(at - middle))) * TURN * period)
    assert own.stride == pytest.approx(np.mean(arcs), rel=2e-3)


def test_an_arc_is_taken_off_again_and_one_that_was_edited_is_told() -> None:
    done, rig = planted("every")
    walking = travelling(done.clip, rig)
    back = in_place(walking, rooted(rig, walking))
    assert back.belt is not None
    assert back.belt.turn == pytest.approx(TURN, abs=1e-9)
    np.testing.assert_allclose(back.belt.velocity, [0.0, 0.0, -SPEED], atol=1e-9)
    x = walking.channels["root.x"]
    edited = walking.with_channels({"root.x": replace(x, values=x.values + np.sin(x.frames))})
    with pytest.raises(InputError, match=r"channel root\.x: it has been edited since, and no constant belt"):
        in_place(edited, rooted(rig, edited))
