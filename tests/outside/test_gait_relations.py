"""Gait against published relations and a real walk. For animation, not for clinical or ergonomic use."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot import Capture, capture_clip, fit_rig, gait_of
from surefoot.gait_relations import (
    WALK_RATIO,
    alexander_speed,
    froude_number,
    froude_speed,
    step_speed,
    walk_ratio,
)
from surefoot.planting import scene_of
from tests.data.treadmill import treadmill


def test_a_leg_of_ninety_centimetres_begins_to_run_at_two_point_one_metres_a_second() -> None:
    """Kram, Domingo and Ferris 1997, J. Exp. Biol. 200: 821 (verified): near a Froude number of 0.5."""
    assert froude_speed(0.5, 0.90) == pytest.approx(2.10, abs=0.005)
    assert froude_speed(1.0, 0.90) == pytest.approx(2.97, abs=0.005)
    assert froude_number(froude_speed(0.37, 0.81), 0.81) == pytest.approx(0.37)


def test_alexanders_relation() -> None:
    """Alexander 1976, Nature 261: 129 (secondary): a stride of 1.4 m at a hip height of 0.9 m is 1.553 m/s.

    The form stride / height = 2.3 Froude**0.3 (from memory) comes to the same within half a per cent.
    """
    speed = alexander_speed(1.4, 0.9)
    assert speed == pytest.approx(1.553, abs=0.001)
    assert 2.3 * froude_number(speed, 0.9) ** 0.3 == pytest.approx(1.4 / 0.9, rel=0.005)


@pytest.mark.parametrize(("step", "speed"), [(0.79, 1.54), (0.66, 1.31)])
def test_speed_is_step_times_cadence(step: float, speed: float) -> None:
    """Murray 1964 and 1970 (secondary): men 79 cm, women 66 cm at 117 steps a minute; 1.54 and 1.31 m/s, within 2 %."""
    assert step_speed(step, 117.0) == pytest.approx(speed, rel=0.02)


def test_the_walk_ratio_of_free_walking_lies_in_its_band() -> None:
    """Murakami and Otaka 2017 (verified): 0.0055 to 0.0072; Sekiya 1996 (from memory): 0.0064 to 0.0065.

    Murray's men and women give 0.00675 and 0.00564 m for a step a minute (computed).
    """
    assert walk_ratio(0.79, 117.0) == pytest.approx(0.00675, abs=5e-6)
    assert walk_ratio(0.66, 117.0) == pytest.approx(0.00564, abs=5e-6)
    for ratio in (walk_ratio(0.79, 117.0), walk_ratio(0.66, 117.0), 0.0064, 0.0065):
        assert WALK_RATIO[0] <= ratio <= WALK_RATIO[1]


def test_the_treadmill_walk_is_measured_within_two_per_cent_of_its_labelled_events() -> None:
    """The capture's strikes are labelled by its authors, and the treadmill ran at 1.10 m/s (see its provenance)."""
    walk = treadmill()
    points = walk.points.copy()
    points[:, :, 2] = (walk.ankle_inner + walk.ankle_outer) / 2.0
    capture = Capture(points, walk.rate, walk.hips, walk.hips_rotation, walk.ball_inner, walk.ball_outer)
    capture = capture.with_rigid_ankles()
    rig = fit_rig(capture, name="treadmill walker")
    gait = gait_of(scene_of(capture_clip(capture, rig), rig))
    strides = np.concatenate([np.diff(walk.strikes_left), np.diff(walk.strikes_right)]) / walk.rate
    seconds = float(strides.mean())
    assert gait.cadence == pytest.approx(120.0 / seconds, rel=0.02)
    assert gait.speed == pytest.approx(1.10, rel=0.02)
    assert gait.stride == pytest.approx(1.10 * seconds, rel=0.02)
