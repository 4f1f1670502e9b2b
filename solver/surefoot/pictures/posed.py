"""Figures, feet, the ground and what a footprint holds, drawn in a window of the pose strip."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.figure import Figure, View, looked_at
from surefoot.pictures.svg import Pen
from surefoot.rig import FEET

__all__ = ["BODY", "Place", "draw_anchors", "draw_figure", "fill_earth", "leg_of"]

Array = NDArray[np.float64]

BODY = 0.22
"""Of the leg's length: how long a stroke shows where the hips point up."""


class Place:
    """Where the points of one window lie on the paper, seen from the side or from above."""

    def __init__(self, about: Array, origin: Array, scale: float, view: View = "side") -> None:
        self.about, self.origin, self.scale, self.view = about, origin, scale, view

    def __call__(self, points: Array, heading: float) -> Array:
        seen = (looked_at(points, self.view, heading) - self.about) * self.scale
        return np.asarray(self.origin + seen * [1.0, -1.0])

    def along(self, x: float) -> float:
        """Return how many metres ahead of ``about`` an x of the paper lies."""
        return float((x - self.origin[0]) / self.scale)


def leg_of(figure: Figure) -> float:
    """Return the leg's length, thigh and shank together, metres."""
    hip, knee, ankle = (figure.joints[:, :, i] for i in range(3))
    bones = np.linalg.norm(hip - knee, axis=-1) + np.linalg.norm(knee - ankle, axis=-1)
    return float(bones.max())


def fill_earth(pen: Pen, line: Array, bottom: float) -> None:
    """Draw a line of ground with hatched earth down to a y."""
    around = [*line.tolist(), [line[-1, 0], bottom], [line[0, 0], bottom]]
    for style in ("sf-earth", "sf-hatched"):
        pen.path(around, style, closed=True)
    pen.path(line, "sf-ink")


def draw_anchors(pen: Pen, figure: Figure, number: int, place: Place, size: float, *, only: int | None = None) -> None:
    """Draw a wedge under the ground at each place that the footprint holds."""
    for foot, name in enumerate(FEET):
        anchors = figure.anchors[number, foot]
        if only in (None, foot) and np.isfinite(anchors).all():
            for x, y in place(anchors, figure.heading).tolist():
                wedge = [(x, y + 1.0), (x - 0.6 * size, y + 1.0 + size), (x + 0.6 * size, y + 1.0 + size)]
                pen.path(wedge, f"sf-{name}-dot", closed=True)


def draw_figure(
    pen: Pen, figure: Figure, number: int, place: Place, *, bones: float = 3.4, only: int | None = None
) -> None:
    """Draw hips and both legs, or one foot alone."""
    heading = figure.heading
    if only is None:
        hips = figure.hips[number]
        up = np.stack([hips, hips + BODY * leg_of(figure) * figure.up[number]])
        pen.path(place(up, heading), "sf-ink sf-leg")
        pen.path(place(figure.joints[number, :, 0], heading), "sf-ink sf-leg")
    for foot, name in enumerate(FEET):
        if only is not None and foot != only:
            continue
        dash = " sf-dash" if foot == 1 else ""
        joints = place(figure.joints[number, foot], heading)
        hip, knee, ankle, heel, hinge, ball, toe = joints
        style = f"sf-{name}{dash}"
        if only is None:
            pen.path([hip, knee, ankle], f"{style} sf-bone")
        pen.path([ankle, heel, ball, hinge], f"sf-{name}-pale", closed=True)
        pen.path([hinge, ball, toe], f"sf-{name}-pale", closed=True)
        for part in (figure.hind, figure.toes):
            ring = place(part[number, foot], heading)
            pen.path([*ring, ring[0]], f"sf-{name} sf-thin")
        if only is None:
            for x, y in (hip, knee, ankle):
                pen.dot(x, y, bones, f"sf-{name}-dot")
