"""Relations of gait: Froude number, walk ratio, Alexander's speed, and the bands of published gaits.

Figures are for animation, not for clinical or ergonomic use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = [
    "BANDS",
    "GRAVITY",
    "RUNS_ABOVE",
    "WALKS_BELOW",
    "WALK_RATIO",
    "Band",
    "alexander_speed",
    "froude_number",
    "froude_speed",
    "step_speed",
    "walk_ratio",
]

GRAVITY = 9.81
"""Metres a second squared."""
RUNS_ABOVE = 0.5
"""Froude number near which walkers begin to run (Kram, Domingo and Ferris 1997, verified)."""
WALKS_BELOW = 1.0
"""Froude number above which no stiff leg can walk: gravity no longer keeps the foot down (geometry)."""
WALK_RATIO = (0.0055, 0.0072)
"""Metres for a step a minute: step length over cadence in free walking (Murakami and Otaka 2017, verified)."""


@dataclass(frozen=True, slots=True)
class Band:
    """The duty factors of a gait: the share of a cycle for which one foot is down."""

    least: float
    most: float
    source: str


BANDS = {
    "walk": Band(0.57, 0.66, "Franz and Kram 2012, computed from their table 1 (0.57 to 0.61); Perry: 60 %"),
    "run": Band(0.20, 0.50, "Novacheck 1998 (from memory): 22 % in sprinters to 39 %; below a half there is flight"),
    "stairs": Band(0.60, 0.70, "Beaulieu et al. 2008 (verified): descent 65 to 70 %, ascent 66 %"),
    "climb": Band(0.60, 0.70, "Beaulieu et al. 2008 (verified): ascent 66 %"),
    "sneak": Band(0.55, 0.85, "common practice, no source"),
    "trudge": Band(0.58, 0.75, "common practice, no source"),
    "shuffle": Band(0.60, 0.85, "common practice, no source"),
}
"""Bands of duty factor by gait."""


def froude_number(speed: float, leg: float, *, gravity: float = GRAVITY) -> float:
    """Return speed squared over gravity times leg length (metres a second, metres)."""
    return speed * speed / (gravity * leg)


def froude_speed(froude: float, leg: float, *, gravity: float = GRAVITY) -> float:
    """Return the speed, metres a second, at which a leg of so many metres has that Froude number."""
    return float(np.sqrt(froude * gravity * leg))


def walk_ratio(step: float, cadence: float) -> float:
    """Return step length over cadence, metres for a step a minute."""
    return step / cadence


def step_speed(step: float, cadence: float) -> float:
    """Return metres a second for steps of so many metres at so many steps a minute."""
    return step * cadence / 60.0


def alexander_speed(stride: float, hip_height: float, *, gravity: float = GRAVITY) -> float:
    """Return the speed at which a creature with that hip height takes such strides, metres a second.

    Source: R. McN. Alexander, "Estimates of speeds of dinosaurs", Nature 261, 1976 (seen in secondary sources).
    """
    return float(0.25 * np.sqrt(gravity) * stride**1.67 * hip_height**-1.17)
