"""When a fault is a note, a warning or an error, by kind of finding.

The defaults are for a leg of 0.9 m and scale with the leg where they are
lengths. They are judgement, not law; where they lean on a publication it's
named beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.errors import InputError, UnknownName, came

__all__ = ["KINDS", "REFERENCE_LEG", "Kind", "checked_tolerances", "tolerances_for", "when_asked"]

REFERENCE_LEG = 0.9
Triple = tuple[float, float, float]
MM, DEG = 1e-3, float(np.radians(1.0))


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of finding: its unit, default note, warning and error, why those, and what would mend it.

    ``when_asked`` kinds are looked for only when asked; ``seldom`` ones have a row beside others only where there is
    one. ``module`` is where it's looked for, if not in the module of its name in `faults`.
    """

    unit: Literal["mm", "deg", "deg/s2", "units", "%"]
    limits: Triple
    why: str
    advice: str
    when_asked: bool = False
    seldom: bool = False
    module: str = ""

    @property
    def scale(self) -> float:
        """Metres or radians in one ``unit``."""
        return {"mm": MM, "deg": DEG, "deg/s2": DEG, "units": 1.0, "%": 0.01}[self.unit]


KINDS: Mapping[str, Kind] = {
    # slides under 21 mm are already seen in most conditions: Prazak, Hoyet and O'Sullivan,
    # "Perceptual evaluation of footskate cleanup", SCA 2011 (verified); so 20 is the error
    "slide": Kind(
        "mm",
        (1.0, 5.0, 20.0),
        "Prazak, Hoyet and O'Sullivan 2011: under 21 mm is already seen",
        "Plant this stance, or state it as left alone if it should slide.",
    ),
    # a turn on the ball may well be meant, so an error is a whole turn only
    "swivel": Kind(
        "deg",
        (10.0, 20.0, 360.0),
        "common practice, no source",
        "Let the foot turn in its swing, or leave it: a turn on the ball may be meant.",
        seldom=True,
    ),
    "sink": Kind(
        "mm",
        (1.0, 2.0, 5.0),
        "common practice, no source",
        "Tip the toes up, lift the heel or raise the ankle here; planting does all three.",
    ),
    "hover": Kind(
        "mm",
        (2.0, 5.0, 10.0),
        "common practice, no source",
        "Lower the ankle or roll the foot onto the ground; planting does.",
    ),
    # limbs 3 % longer are seen with full attention: Harrison, Rensink and van de Panne 2004 (verified)
    "stretch": Kind(
        "mm",
        (0.1, 1.0, 18.0),
        "Harrison, Rensink and van de Panne 2004: 3 % is seen; error at 2 %",
        "Lift the heel, step nearer or lower the hips a little here.",
    ),
    "snap": Kind(
        "deg/s2",
        (9000.0, 14000.0, 28000.0),
        "common practice, no source",
        "Give the knee a little slack before it straightens: lower the hips or lift the heel.",
    ),
    "seam": Kind(
        "mm",
        (0.1, 1.0, 5.0),
        "common practice, no source",
        "Give the last key the first one's value and slopes.",
    ),
    "cross": Kind(
        "mm",
        (5.0, 12.0, 30.0),
        "judgement: an outline is good to about a centimetre",
        "Swing the foot further out here.",
    ),
    # which way and how far sideways is from MacKinnon and Winter 1993 and Hof 2008 (verified), the limits are judgement
    "balance": Kind(
        "mm",
        (5.0, 20.0, 60.0),
        "judgement: the rig says little of where the weight is",
        "Move the hips towards the support foot, or step wider or narrower under them.",
    ),
    # the share of the foot past an edge, as Muhaidat et al. 2011, Gait and Posture 33:504, define it (verified)
    "overhang": Kind(
        "%",
        (5.0, 25.0, 40.0),
        "judgement; overhang as Muhaidat et al. 2011 define it",
        "Move the footprint onto its tread, or let the heel stay up; planting moves it where a tread is near.",
        seldom=True,
    ),
    "limit": Kind(
        "deg",
        (0.5, 2.0, 10.0),
        "common practice, no source",
        "Ease this joint back into its range.",
    ),
    "oppose": Kind(
        "deg",
        (2.0, 5.0, 12.0),
        "common practice, no source",
        "Turn it the other way, give it less, or let it come later than what it follows.",
        when_asked=True,
    ),
    "mismatch": Kind(
        "mm",
        (1.0, 5.0, 20.0),
        "judgement: as much as a slide of that size shows",
        "Twin the other side, or leave it where the difference is meant.",
        when_asked=True,
    ),
}
"""Every kind of finding; each is looked for by the module of its name in `faults`."""


def when_asked() -> tuple[str, ...]:
    """Return the kinds that `check` looks for only when asked: what they tell may well be meant."""
    return tuple(name for name, kind in KINDS.items() if kind.when_asked)


def tolerances_for(leg: float, overrides: Mapping[str, Triple]) -> dict[str, Triple]:
    """Return note, warning and error by kind, in metres and radians, for a leg in metres.

    Defaults grow with the leg; overrides are taken as they stand.
    """
    found: dict[str, Triple] = {}
    for name, kind in KINDS.items():
        factor = kind.scale * (leg / REFERENCE_LEG if kind.unit == "mm" else 1.0)
        low, mid, high = (factor * limit for limit in kind.limits)
        found[name] = overrides.get(name, (low, mid, high))
    return found


def checked_tolerances(given: Mapping[str, Triple], place: str) -> Mapping[str, Triple]:
    """Return what was given, or raise InputError: for a kind that isn't known, or limits that aren't three, rising."""
    if not isinstance(given, Mapping):
        told = f"wanted three limits by kind, such as {{'slide': (0.001, 0.005, 0.02)}}, got {came(given)}"
        raise InputError(told, place=place)
    for kind, limits in given.items():
        if kind not in KINDS:
            raise UnknownName("kind of finding", str(kind), KINDS, place=place)
        try:
            low, mid, high = (float(limit) for limit in limits)
            rising = 0.0 <= low <= mid <= high < np.inf
        except (TypeError, ValueError):
            rising = False
        if not rising:
            unit = {"mm": "metres", "%": "shares", "units": "units"}.get(KINDS[kind].unit, "radians")
            told = (
                f"wanted a note's, a warning's and an error's limit, three rising numbers in {unit}, got {limits!r:.60}"
            )
            raise InputError(told, place=f"{place}: {kind}")
    return given
