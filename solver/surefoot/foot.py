"""The foot: heel, ball hinge, toe tip and the sole's outline.

Foot space has its origin at the ankle joint, +Y up and +Z forward while the foot
stands flat. The right foot's outline is its own, not the left one's reflection.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError, came

__all__ = ["Foot", "finite_point"]

Array = NDArray[np.float64]


def finite_point(value: object, place: str) -> Array:
    """Return a read-only copy of three finite numbers, or raise InputError."""
    try:
        point = np.array(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"wanted three finite numbers, got {came(value)}", place=place) from None
    if point.shape != (3,) or not np.all(np.isfinite(point)):
        raise InputError(f"wanted three finite numbers, got {point.tolist()!r}", place=place)
    point.flags.writeable = False
    return point


@dataclass(frozen=True, slots=True, eq=False)
class Foot:
    """A hindfoot with heel and ball hinge, and a toe segment, in foot space (metres).

    Parameters
    ----------
    heel, ball, toe : ndarray, shape (3,)
        The heel's centre on the sole, the ball hinge (it may sit above the
        sole) and the toe tip on the sole. ``heel`` and ``toe`` share one height.
    outline : ndarray, shape (corners, 2)
        The sole's convex edge seen from above as x and z, any direction round.
    hinged : bool
        False for a foot whose toes don't bend: it turns about its toe edge.
    onset : float
        Pitch in radians at which the toe rocker takes over from the forefoot rocker.

    Raises
    ------
    InputError
        If the points don't follow one another forward on one sole below the ankle, or the outline doesn't reach
        from heel to toe.
    """

    heel: Array
    ball: Array
    toe: Array
    outline: Array
    hinged: bool = True
    onset: float = np.radians(45.0)
    hind_corners: Array = field(init=False)
    toe_corners: Array = field(init=False)

    def __post_init__(self) -> None:
        for name in ("heel", "ball", "toe"):
            object.__setattr__(self, name, finite_point(getattr(self, name), f"foot.{name}"))
        sole = float(self.heel[1])
        if sole >= 0:
            raise InputError("the heel must lie below the ankle (negative y)", place="foot.heel")
        if abs(self.toe[1] - sole) > 1e-6:
            raise InputError("heel and toe must share one height, that of the sole", place="foot.toe")
        if not sole - 1e-9 <= self.ball[1] < 0:
            raise InputError("the ball hinge must lie on the sole or above it, below the ankle", place="foot.ball")
        if not self.heel[2] < self.ball[2] < self.toe[2]:
            raise InputError("heel, ball and toe must follow one another forward (z)", place="foot")
        if not 0.0 < self.onset < np.radians(85.0):
            raise InputError("the toe rocker's onset must lie between 0 and 85 degrees", place="foot.onset")
        outline = np.array(self.outline, dtype=np.float64)
        if outline.ndim != 2 or outline.shape[1:] != (2,) or len(outline) < 3 or not np.all(np.isfinite(outline)):
            raise InputError("wanted at least three corners of two finite numbers", place="foot.outline")
        if outline[:, 1].min() > self.heel[2] + 1e-9 or outline[:, 1].max() < self.toe[2] - 1e-9:
            raise InputError("the outline must reach from the heel to the toe tip", place="foot.outline")
        outline = _convex(outline)
        outline.flags.writeable = False
        object.__setattr__(self, "outline", outline)
        hind, toes = _split(outline, float(self.ball[2]))
        for name, part in (("hind_corners", hind), ("toe_corners", toes)):
            corners = np.column_stack([part[:, 0], np.full(len(part), sole), part[:, 1]])
            corners.flags.writeable = False
            object.__setattr__(self, name, corners)

    @property
    def sole(self) -> float:
        """Height of the flat sole in foot space, metres (negative: below the ankle)."""
        return float(self.heel[1])

    @property
    def length(self) -> float:
        """Heel edge to toe edge, metres."""
        return float(np.ptp(self.outline[:, 1]))

    def edge(self, z: float) -> tuple[float, float]:
        """Return the smallest and largest x of the outline on the line across at ``z``."""
        x = _crossings(self.outline, z)
        return float(x.min()), float(x.max())

    def mirrored(self) -> Foot:
        """Return the other side's foot."""
        flip = np.array([-1.0, 1.0, 1.0])
        outline = self.outline * [-1.0, 1.0]
        return Foot(self.heel * flip, self.ball * flip, self.toe * flip, outline, self.hinged, self.onset)


def _convex(outline: Array) -> Array:
    """Return the outline's convex hull, counter-clockwise, or raise when it has no area."""
    from shapely import MultiPoint, get_coordinates

    hull = MultiPoint(outline).convex_hull
    if hull.geom_type != "Polygon" or hull.area < 1e-8:
        raise InputError("the outline encloses no area", place="foot.outline")
    return np.array(get_coordinates(hull)[:-1], dtype=np.float64)


def _crossings(outline: Array, z: float) -> Array:
    a, b = outline, np.roll(outline, -1, axis=0)
    low, high = np.minimum(a[:, 1], b[:, 1]) - 1e-9, np.maximum(a[:, 1], b[:, 1]) + 1e-9
    hit = (low <= z) & (z <= high)
    span = b[hit, 1] - a[hit, 1]
    level = np.abs(span) < 1e-9
    part = np.clip(np.where(level, 0.0, (z - a[hit, 1]) / np.where(level, 1.0, span)), 0.0, 1.0)
    x = a[hit, 0] + part * (b[hit, 0] - a[hit, 0])
    return np.concatenate([x, b[hit, 0][level]])


def _split(outline: Array, z: float) -> tuple[Array, Array]:
    """Cut the outline across at ``z``: the hindfoot's corners and the toe segment's."""
    x = _crossings(outline, z)
    cut = np.array([[x.min(), z], [x.max(), z]])
    hind = np.concatenate([outline[outline[:, 1] < z - 1e-9], cut])
    toes = np.concatenate([cut, outline[outline[:, 1] > z + 1e-9]])
    return hind, toes
