"""What gait science says of each figure of a gait, and where a clip leaves it.

Each band names its source and how the number came to us: *verified* (read in the source), *secondary* (read in a
text that quotes it), *from memory*, *computed*, or *judgement*. Leaving a band is no fault: a stylisation is told
by its name, and the animator decides. For animation, not for clinical or ergonomic use.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, pi
from typing import Literal

from surefoot.clip import Clip
from surefoot.errors import UnknownName
from surefoot.gait_measures import gait_figures
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.rig import Rig

__all__ = ["BANDS", "Band", "Beside", "beside_science"]

Flag = Literal["verified", "secondary", "from memory", "computed", "judgement"]
UNITS: Mapping[str, float] = {
    "m/s": 1.0, "cm": 0.01, "mm": 0.001, "deg": pi / 180.0, "%": 0.01, "": 1.0, "steps/min": 1.0,
    "mm/(steps/min)": 0.001, "legs": 1.0,
}  # fmt: skip
NEAR = 1e-6
"""Share of a band's edge by which rounding may miss it."""


@dataclass(frozen=True, slots=True)
class Band:
    """One figure's published range, from ``low`` to ``high`` in ``unit``; an open end is infinite.

    ``outside`` says in a few words what a clip that leaves the band does.
    """

    figure: str
    unit: str
    low: float
    high: float
    source: str
    flag: Flag
    outside: str = ""


@dataclass(frozen=True, slots=True)
class Beside:
    """A clip's figure beside its band; without a band, ``band`` is None. ``value`` is in ``unit``."""

    figure: str
    value: float
    unit: str
    band: Band | None

    @property
    def place(self) -> Literal["within", "below", "above", "no band"]:
        """Where the figure lies."""
        if self.band is None:
            return "no band"
        if self.value < self.band.low - NEAR * abs(self.band.low) - 1e-9:
            return "below"
        return "above" if self.value > self.band.high + NEAR * abs(self.band.high) + 1e-9 else "within"

    @property
    def leaves(self) -> bool:
        """Whether the figure is outside its band."""
        return self.place in ("below", "above")


PELVIS = (
    Band("hips yaw", "deg", 0, 10, "Saunders, Inman and Eberhart 1953: 4 to either side; a warning above 10",
         "secondary", "stylised hip swing"),
    Band("hips drop of the swing side", "deg", 0, 10,
         "Saunders, Inman and Eberhart 1953: 5 down on the swing side; a warning above 10", "secondary",
         "the swing side goes up, or far down"),
)  # fmt: skip
WALK = (
    Band("speed", "m/s", 1.2, 1.5, "Bohannon 1997: preferred speed of adults", "verified"),
    Band("stance", "%", 57, 63, "Perry 1992: 60 % stance, 40 % swing; 3 either way is judgement", "verified"),
    Band("double support, each", "%", 8, 12, "Perry 1992: 10 % each; Perry and Burnfield 12 %; edges are judgement",
         "verified"),
    Band("Froude number", "", 0, 0.5, "Kram, Domingo and Ferris 1997: people run above about 0.5", "verified"),
    Band("walk ratio", "mm/(steps/min)", 5.5, 7.2,
         "Murakami and Otaka 2017: the ratio keeps still from about 98 steps/min; edges are judgement", "verified"),
    Band("step width", "legs", 0.08, 0.15,
         "Donelan, Kram and Kuo 2001: costs least near 0.12 leg lengths; edges are judgement", "verified"),
    Band("toe-out", "deg", 5, 10, "Morton 1932: 5 to 10 is commonest", "verified"),
    Band("hips up and down", "cm", 2, 6, "Orendurff and others 2004: 2.7 cm at 0.7 m/s to 4.8 at 1.6", "from memory"),
    Band("hips highest", "%", 25, 35, "Orendurff and others 2004: highest near 30 and 80 %; 5 either way is judgement",
         "verified", "a stylisation: gait science has the hips highest over the support leg"),
    Band("hips side to side", "cm", 2, 7, "Saunders and others 1953 (about 4); Orendurff and others 2004 (from memory)",
         "secondary"),
    *PELVIS,
    Band("hips pitch", "deg", 2, 4, "lecture notes on pelvic tilt", "secondary"),
    Band("foot pitch at contact", "deg", -25, -15, "Iraqi and others 2018: 22 toes up; edges are judgement", "verified",
         "not heel first as in gait science"),
    Band("heel-off", "%", 30, 42, "Perry 1992 (31 %); lecture notes (40 %)", "secondary"),
    Band("toe bend", "deg", 30, 65, "30 at the end of single support; clinical texts 60 to 65", "secondary"),
    Band("clearance", "mm", 10, 25, "Winter 1992: 12.9 mm; Moosabhoy and Gard 2006: 19; edges are judgement",
         "verified"),
    Band("knee in swing", "deg", 52, 70, "course notes: 60 to 70; edges are judgement", "secondary"),
)  # fmt: skip
RUN = (
    Band("stance", "%", 35, 40, "Novacheck 1998: toe-off at about 39 %", "from memory"),
    Band("flight, each", "%", 0, inf, "a duty factor below one half is a flight", "computed"),
    *PELVIS,
)
CLIMB = (
    Band("stance", "%", 60, 70, "Beaulieu and others 2008; ascent 66:34 in a review", "secondary"),
    Band("foot pitch at contact", "deg", 0, inf, "Riener, Rabuffetti and Frigo 2002: the forefoot strikes first",
         "verified", "not forefoot first as in gait science"),
    Band("clearance", "mm", 5, inf, "Hamel and others 2005: a warning below 5", "verified"),
    Band("knee in swing", "deg", 0, 94, "Protopapadaki and others 2007: at most about 94", "from memory"),
)  # fmt: skip
BANDS: Mapping[str, tuple[Band, ...]] = {"walk": WALK, "run": RUN, "climb": CLIMB}
"""The bands by gait."""
SHOWN: Mapping[str, str] = {
    "speed": "m/s", "step length": "cm", "cadence": "steps/min", "stance": "%",
    "double support, each": "%", "flight, each": "%",
    "Froude number": "", "walk ratio": "mm/(steps/min)", "step width": "cm", "toe-out": "deg",
    "hips up and down": "cm", "hips highest": "%", "hips side to side": "cm",
    "hips towards the support foot": "cm", "hips yaw": "deg", "hips drop of the swing side": "deg",
    "hips pitch": "deg", "foot pitch at contact": "deg", "heel-off": "%", "foot pitch at toe-off": "deg",
    "toe bend": "deg", "clearance": "mm", "knee under load": "deg", "knee in swing": "deg",
}  # fmt: skip
"""Every figure in the order and unit in which it's shown where no band has another."""


@checked()
def beside_science(clip: Clip, rig: Rig, gait: str, *, ground: Ground | None = None) -> tuple[Beside, ...]:
    """Return a loop's figures, each beside what gait science says of it.

    Parameters
    ----------
    gait : {"walk", "run", "climb"}
        Which bands count.
    ground : Ground, optional
        Level ground at height 0 if left out.

    Raises
    ------
    InputError
        If the gait isn't known or the clip is no loop of one stance a foot.
    """
    if gait not in BANDS:
        raise UnknownName("gait", gait, BANDS, place="gait")
    figures, bands = gait_figures(clip, rig, ground=ground), {band.figure: band for band in BANDS[gait]}
    rows = []
    for figure, shown in SHOWN.items():
        if figure in figures:
            band = bands.get(figure)
            unit = shown if band is None else band.unit
            scale = rig.leg if unit == "legs" else UNITS[unit]
            rows.append(Beside(figure, figures[figure] / scale, unit, band))
    return tuple(rows)
