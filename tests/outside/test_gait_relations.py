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
from tests.data.treadmill import treadmill
from tests.outside.table import agrees, within


def test_a_leg_of_ninety_centimetres_begins_to_run_at_two_point_one_metres_a_second() -> None:
    """People change to a run near a Froude number of 0.5; a stiff leg can't walk beyond 1.

    Source: Kram, Domingo and Ferris 1997, J. Exp. Biol. 200: 821, for a leg of 0.90 m (computed).
    """
    agrees("speed at a Froude number of 0.5, m/s", froude_speed(0.5, 0.90), 2.10, bound=0.005)
    agrees("speed at a Froude number of 1, m/s", froude_speed(1.0, 0.90), 2.97, bound=0.005)
    agrees("Froude number at 2.10 m/s", froude_number(2.10, 0.90), 0.5, bound=0.003)


def test_alexanders_relation() -> None:
    """A stride of 1.4 m at a hip height of 0.9 m is 1.553 m/s; two forms of it agree within half a per cent.

    Source: Alexander 1976, Nature 261: 129 (secondary).
    Source: the form stride / height = 2.3 Froude**0.3 (from memory).
    """
    speed = alexander_speed(1.4, 0.9)
    agrees("speed of a stride of 1.4 m, m/s", speed, 1.553, bound=0.001, by="Nature")
    stride = 0.9 * 2.3 * (speed**2 / (9.81 * 0.9)) ** 0.3
    agrees("stride that has the speed, m", 1.4, stride, share=0.005, by="the form")


@pytest.mark.parametrize(("step", "speed"), [(0.79, 1.54), (0.66, 1.31)])
def test_speed_is_step_times_cadence(step: float, speed: float) -> None:
    """Men's and women's steps at 117 steps a minute, within 2 %.

    Source: Murray 1964 and 1970, steps of 79 and 66 cm (secondary).
    """
    agrees(f"speed of steps of {100 * step:.0f} cm, m/s", step_speed(step, 117.0), speed, share=0.02)


def test_the_walk_ratio_of_free_walking_lies_in_its_band() -> None:
    """Metres a step, for a step a minute; the band itself is the published one.

    Source: Murray 1964 and 1970, men's and women's step over cadence (computed).
    Source: Murakami and Otaka 2017, 0.0055 to 0.0072 (verified).
    Source: Sekiya 1996, 0.0064 to 0.0065 (from memory).
    """
    men, women = walk_ratio(0.79, 117.0), walk_ratio(0.66, 117.0)
    agrees("men's walk ratio, m min", men, 0.00675, bound=5e-6, by="Murray")
    agrees("women's walk ratio, m min", women, 0.00564, bound=5e-6, by="Murray")
    agrees("ends of the band of walk ratios, m min", WALK_RATIO, [0.0055, 0.0072], by="Otaka")
    within("men's and women's walk ratio, m min", [men, women], 0.0055, 0.0072, by="Otaka")
    within("middle of the band of walk ratios, m min", sum(WALK_RATIO) / 2.0, 0.0063, 0.0066, by="Sekiya")


def test_the_treadmill_walk_is_measured_within_two_per_cent_of_its_labelled_events() -> None:
    """The strikes are labelled by the capture's authors; the treadmill ran at 1.10 m/s, as the still sole tells.

    Source: captured treadmill walk of gaitalytics 0.2.2 (verified).
    """
    walk = treadmill()
    points = walk.points.copy()
    points[:, :, 2] = (walk.ankle_inner + walk.ankle_outer) / 2.0
    capture = Capture(points, walk.rate, walk.hips, walk.hips_rotation, walk.ball_inner, walk.ball_outer)
    capture = capture.with_rigid_ankles()
    rig = fit_rig(capture, name="treadmill walker")
    gait = gait_of(capture_clip(capture, rig), rig)
    strides = np.concatenate([np.diff(walk.strikes_left), np.diff(walk.strikes_right)]) / walk.rate
    seconds = float(strides.mean())
    agrees("cadence of the treadmill walk, steps a minute", gait.cadence, 120.0 / seconds, share=0.02)
    agrees("speed of the treadmill walk, m/s", gait.speed, 1.10, share=0.02)
    agrees("stride of the treadmill walk, m", gait.stride, 1.10 * seconds, share=0.02)
