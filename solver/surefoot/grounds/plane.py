"""A plane in a file: a point, and a normal or a slope along a heading."""

from __future__ import annotations

from math import radians

import numpy as np

from surefoot.errors import InputError
from surefoot.ground import Plane
from surefoot.grounds.kind import GroundKind, GroundTable, Three, Told, the_one, to_heading

__all__ = ["KIND"]


class _Plane(GroundTable, forbid_unknown_fields=True):
    point: Three = (0.0, 0.0, 0.0)
    normal: Three | None = None
    slope_percent: float | None = None
    slope_deg: float | None = None
    heading_deg: float | None = None


def _plane(told: Told[_Plane]) -> Plane:
    plane, metres = told.table, told.metres
    given = the_one(plane, ("normal", "slope_percent", "slope_deg"))
    point, name = np.array(plane.point) * metres, plane.name or "plane"
    if plane.normal is not None:
        if plane.heading_deg is not None:
            raise InputError("expected a heading only beside a slope; a normal has its own", place="heading_deg")
        return Plane(point, np.array(plane.normal), name)
    heading = to_heading(plane.heading_deg or 0.0)
    try:
        if plane.slope_deg is not None:
            return Plane.slope(angle=radians(plane.slope_deg), heading=heading, point=point, name=name)
        ratio = (plane.slope_percent or 0.0) / 100.0
        return Plane.slope(ratio, heading=heading, point=point, name=name)
    except InputError as error:
        if error.place not in ("angle", "rise_over_run", "normal"):
            raise
        message = f"expected a finite slope below 89 degrees, got {getattr(plane, given):g}"
        raise InputError(message, place=given) from None


KIND = GroundKind("plane", _Plane, _plane)
