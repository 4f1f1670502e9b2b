"""Stairs and ramps that have a published source, by name.

For pictures, not for building: what may be built is decided by local codes and licensed practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import atan
from types import MappingProxyType

import numpy as np

from surefoot.errors import UnknownName
from surefoot.ground import Profile

__all__ = ["RAMPS", "STAIRS", "RampPreset", "StairPreset", "preset_ground", "preset_grounds"]

INCH = 0.0254
Range = tuple[float, float]
ABA = "ABA/ADA Standards, 504.2 and 504.5"
DOC_K = "Approved Document K (England) 2013, table 1.1"
ADA = "ADA Standards 2010, 405.2"
SCOTLAND = "Technical Standards (Scotland) 1999, S3.16"


@dataclass(frozen=True, slots=True)
class StairPreset:
    """A flight of stairs: riser, tread (from edge to edge), nosing, the ranges they may lie in (metres), the source."""

    riser: float
    tread: float
    risers: Range
    treads: Range
    source: str
    flag: str
    nosing: float = 0.0
    steepest: float = np.pi / 2.0

    @property
    def pitch(self) -> float:
        """The slope of the line over the edges, radians."""
        return atan(self.riser / self.tread)

    @property
    def pace(self) -> float:
        """Twice the riser plus the tread, metres."""
        return 2.0 * self.riser + self.tread


@dataclass(frozen=True, slots=True)
class RampPreset:
    """A ramp: rise over run, and how long (metres of run) it may be without a landing; None for no limit."""

    ratio: float
    longest: float | None
    source: str
    flag: str

    @property
    def slope(self) -> float:
        """Radians."""
        return atan(self.ratio)


STAIRS: Mapping[str, StairPreset] = MappingProxyType(
    {
        "accessible": StairPreset(
            0.178, 0.279, (4 * INCH, 7 * INCH + 0.0005), (11 * INCH - 0.0005, 1.0), ABA, "verified"
        ),
        "private": StairPreset(0.2, 0.25, (0.15, 0.22), (0.22, 0.3), DOC_K, "verified", steepest=np.radians(42.0)),
        "utility": StairPreset(0.18, 0.28, (0.15, 0.19), (0.25, 0.4), DOC_K, "verified"),
        "general": StairPreset(0.16, 0.3, (0.15, 0.17), (0.25, 0.4), DOC_K, "verified"),
        "laboratory": StairPreset(
            0.18, 0.285, (0.18, 0.18), (0.285, 0.285),
            "Protopapadaki et al. 2007, Clinical Biomechanics 22:203", "verified",
        ),
    }
)  # fmt: skip
"""Riser and tread are ours where the source gives a range."""

RAMPS: Mapping[str, RampPreset] = MappingProxyType(
    {
        "1:12": RampPreset(1 / 12, 5.0, f"{ADA}; 5 m: {SCOTLAND}", "verified"),
        "1:15": RampPreset(1 / 15, 10.0, SCOTLAND, "verified"),
        "1:20": RampPreset(1 / 20, None, SCOTLAND, "verified"),
    }
)

FLIGHT, APPROACH, RUN, KERB = 12, 1.0, 5.0, 0.12


def preset_grounds() -> tuple[str, ...]:
    """Return the names that `preset_ground` knows."""
    ramps = [f"ramp-{name.replace(':', '-')}" for name in RAMPS]
    return (*[f"{name}-stairs" for name in STAIRS], *ramps, "kerb")


def preset_ground(name: str) -> Profile:
    """Return a ground by name, along +Z from 1 m ahead: a flight of 12, a ramp of 5 m, or a kerb of 120 mm.

    Raises UnknownName for another name.
    """
    kind, _, ratio = str(name).partition("-")
    if (stairs := STAIRS.get(kind)) is not None and ratio == "stairs":
        return Profile.stairs(
            riser=stairs.riser, tread=stairs.tread, nosing=stairs.nosing, count=FLIGHT, start=APPROACH, name=name
        )
    if kind == "ramp" and (ramp := RAMPS.get(ratio.replace("-", ":"))) is not None:
        return Profile.ramp(rise=RUN * ramp.ratio, run=RUN, start=APPROACH, name=name)
    if name == "kerb":
        return Profile.kerb(height=KERB, at=APPROACH, name=name)
    raise UnknownName("ground", name, preset_grounds())
