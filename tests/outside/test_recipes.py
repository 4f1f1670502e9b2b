"""The first walk, run and climb that a recipe gives, beside what gait science publishes of each figure.

The bands are written anew here. For animation, not for clinical or ergonomic use.
"""

from __future__ import annotations

from functools import cache

import surefoot
from surefoot.gait_measures import gait_figures
from tests.outside.table import within


@cache
def figures(name: str) -> dict[str, float]:
    """Return the figures of a planted recipe, metres, seconds and radians."""
    rig = surefoot.load_rig("lamplighter")
    made = surefoot.block(surefoot.load_recipe(name), rig)
    return dict(gait_figures(surefoot.plant(made.clip, rig, ground=made.ground).clip, rig, ground=made.ground))


def test_the_walk_stands_and_swings_as_people_do() -> None:
    """Shares of a cycle; 3 per cent either way is judgement.

    Source: Perry 1992, 60 per cent of stance, 10 per cent of double support each (verified).
    """
    within("walk: stance, per cent", 100.0 * figures("walk")["stance"], 57.0, 63.0)
    within("walk: double support each, per cent", 100.0 * figures("walk")["double support, each"], 8.0, 12.0)


def test_the_walk_has_a_preferred_pace() -> None:
    """Speed, and step over cadence.

    Source: Bohannon 1997, adults' preferred speed (verified).
    Source: Murakami and Otaka 2017, edges are judgement (verified).
    """
    within("walk: speed, m/s", figures("walk")["speed"], 1.2, 1.5, by="Bohannon")
    within("walk: walk ratio, m min", figures("walk")["walk ratio"], 0.0055, 0.0072, by="Otaka")


def test_the_walk_lands_heel_first() -> None:
    """Degrees from the ground, negative toes up; edges are judgement.

    Source: Iraqi and others 2018, 22 degrees (verified).
    """
    within("walk: foot pitch at contact, degrees", 57.29578 * figures("walk")["foot pitch at contact"], -25.0, -15.0)


def test_the_walks_hips_move_as_little_as_peoples() -> None:
    """Centimetres.

    Source: Orendurff and others 2004, 2.7 cm at 0.7 m/s to 4.8 at 1.6 (from memory).
    Source: Saunders and others 1953, about 4 from side to side (secondary).
    """
    within("walk: hips up and down, cm", 100.0 * figures("walk")["hips up and down"], 2.0, 6.0, by="Orendurff")
    within("walk: hips side to side, cm", 100.0 * figures("walk")["hips side to side"], 2.0, 7.0, by="Saunders")


def test_a_walk_has_twelve_frames_a_step() -> None:
    """At 24 frames a second, so two steps in a second.

    Source: animators' common walk on twelves (common practice).
    """
    within("walk: cadence, steps a minute", figures("walk")["cadence"], 119.0, 121.0)


def test_the_run_flies() -> None:
    """A stance of less than half the cycle is a flight.

    Source: Novacheck 1998, toe-off at about 39 per cent (from memory).
    """
    within("run: stance, per cent", 100.0 * figures("run")["stance"], 35.0, 40.0)


def test_the_climb_stands_longer_and_lands_on_the_forefoot() -> None:
    """Stance as a share of the cycle; pitch positive toes down.

    Source: Beaulieu and others 2008, ascent 66 per cent in a review (secondary).
    Source: Riener, Rabuffetti and Frigo 2002, the forefoot strikes first (verified).
    """
    within("climb: stance, per cent", 100.0 * figures("climb")["stance"], 60.0, 70.0, by="Beaulieu")
    pitch = 57.29578 * figures("climb")["foot pitch at contact"]
    within("climb: foot pitch at contact, degrees", pitch, 0.0, 90.0, by="Riener")
