"""Tables of a blocked cycle for a terminal: its moments, and its figures beside gait science."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isinf

from surefoot.blocking import Blocked
from surefoot.cautions import FOR_ANIMATION
from surefoot.clip import Clip
from surefoot.gait_bands import Band, Beside
from surefoot.printed import wrapped
from surefoot.tables import print_table

__all__ = ["beside_json", "print_beside", "print_blocked", "shown_band"]

HEAD = ("figure", "amount", "gait science", "here")


def print_blocked(blocked: Blocked, clip: Clip) -> None:
    """Print what was blocked: the moments of both steps, the belt, and how many keys it has."""
    pace, rig = blocked.recipe.pace, clip.rig
    head = f"{blocked.recipe.name} for {rig}: frames {clip.first} to {clip.last} at {float(clip.rate):g} a second"
    print(
        wrapped(f"{head}, leg {blocked.recipe.leg:.3f} m, hips {1e2 * blocked.lowered:.1f} cm below two straight legs")
    )
    moments = sorted(blocked.frames.items(), key=lambda item: item[1])
    told = ", ".join(f"{name} {frame}" for name, frame in moments)
    print(wrapped(f"left foot: {told}; the right foot {pace.half} frames later"))
    if pace.half % 2:
        print(f"passing lies half a frame later than told: a step has {pace.half} frames")
    if blocked.widened > 0.0:
        print(f"the feet are {1e2 * blocked.widened:.1f} cm wider apart than asked, so that they pass each other")
    count = sum(len(curve.frames) for curve in clip.channels.values())
    print(f"{count} keys on {len(clip.channels)} channels")


def print_beside(rows: Sequence[Beside]) -> None:
    """Print every figure beside its band, name those that leave it, and say where the bands come from."""
    print(f"\nbeside gait science ({FOR_ANIMATION}):")
    table = [(row.figure, _figure(row.value, row.unit), shown_band(row.band), row.place) for row in rows]
    print_table(HEAD, table)
    left = [row for row in rows if row.leaves]
    if left:
        names = (row.figure + (f" ({row.band.outside})" if row.band and row.band.outside else "") for row in left)
        print(wrapped(f"leaves gait science in {len(left)}: {'; '.join(names)}"))
    else:
        print("within every band")
    print("\nwhere the bands come from:")
    for row in rows:
        if row.band is not None:
            print(wrapped(f"{row.figure}: {row.band.source} ({row.band.flag})"))


def shown_band(band: Band | None) -> str:
    """Return a band as text."""
    if band is None:
        return "-"
    if isinf(band.high):
        return f"from {band.low:g}"
    return f"{band.low:g} to {band.high:g}"


def _figure(value: float, unit: str) -> str:
    return f"{value:.3g} {unit}".rstrip()


def beside_json(rows: Sequence[Beside]) -> list[Mapping[str, object]]:
    """Return the figures for JSON, in the unit shown; an open end of a band is null."""
    return [
        {
            "figure": row.figure,
            "value": row.value,
            "unit": row.unit,
            "place": row.place,
            "band": None
            if row.band is None
            else {
                "low": row.band.low,
                "high": None if isinf(row.band.high) else row.band.high,
                "source": row.band.source,
                "flag": row.band.flag,
                "outside": row.band.outside,
            },
        }
        for row in rows
    ]
