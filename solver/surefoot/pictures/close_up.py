"""Close-ups of the pose strip: one foot on the ground, soles from above, or a joint of a leg."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.figure import Figure, looked_at
from surefoot.pictures.posed import Place, draw_anchors, draw_figure, fill_earth
from surefoot.pictures.slid import draw_slide
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import WIDTH, Pen
from surefoot.rig import FEET

__all__ = ["CELL", "CLOSE", "CLOSE_TALL", "KNEE_CLOSE", "above_close_up", "close_up", "joint_close_up"]

Array = NDArray[np.float64]

CELL = (WIDTH - 48.0) / 8.0
"""CSS pixels: how wide a cell of the strip is; eight stand in a row."""
CLOSE = 3.0
"""How many times larger a foot is close up."""
KNEE_CLOSE = 1.5
CLOSE_TALL = 96.0
CLOSE_EARTH = 32.0
"""CSS pixels: how tall a window close up is, and how much of that lies under the ground."""


def close_up(
    pen: Pen, subject: Subject, figures: Sequence[Figure], of: int, number: int, foot: int, x: float, y: float,
    scale: float, slid: tuple[Array, str] | None,
) -> None:  # fmt: skip
    """Draw one foot and the ground under it, larger; the middle of the figure ``of`` is that of the window.

    ``slid`` are the two places of a slide, and how far apart they are; both are seen.
    """
    wide, heading = CELL - 6.0, figures[of].heading
    points = figures[of].joints[number, foot, 3:]
    seen = looked_at(points, "side", heading)
    low, earth = float(seen[:, 1].min()), float(np.min(subject.scene.ground.height(points[:, 0], points[:, 2])))
    if 0.0 < low - earth < (CLOSE_TALL - CLOSE_EARTH - 24.0) / scale:
        low = earth
    middle = float(seen[:, 0].min() + seen[:, 0].max()) / 2.0
    if slid is not None:
        along = looked_at(slid[0], "side", heading)[:, 0]
        scale = min(scale, (wide - 24.0) / max(float(np.ptp(along)), 1e-9))
        room = (wide / 2.0 - 12.0) / scale
        middle = min(max(middle, float(along.max()) - room), float(along.min()) + room)
    place = Place(np.array([middle, low]), np.array([wide / 2.0, CLOSE_TALL - CLOSE_EARTH]), scale)
    under = _under(points, heading, middle)
    line = subject.scene.ground.section(under, heading, place.along(0.0), place.along(wide))
    inner = Pen()
    fill_earth(inner, place(line, heading), CLOSE_TALL)
    draw_anchors(inner, figures[of], number, place, 7.0, only=foot)
    for which in reversed(range(len(figures))):
        drawn = Pen()
        draw_figure(drawn, figures[which], number, place, only=foot)
        inner.group(drawn.body, "sf-faint" if which else "sf-now")
    if slid is not None:
        draw_slide(inner, place(slid[0], heading), slid[1], wide, CLOSE_TALL)
    pen.window(x, y, wide, CLOSE_TALL, inner.body)
    pen.rect(x, y, wide, CLOSE_TALL, "sf-hair")


def above_close_up(
    pen: Pen, figures: Sequence[Figure], of: int, number: int, feet: Sequence[int], x: float, y: float, scale: float
) -> None:
    """Draw soles from above, larger; of one foot alone also the line from heel to toe, now and in its footprint."""
    wide, heading = CELL - 6.0, figures[of].heading
    seen = looked_at(figures[of].joints[number, list(feet), 3:], "above", heading).reshape(-1, 2)
    middle = (seen.min(axis=0) + seen.max(axis=0)) / 2.0
    place = Place(middle, np.array([wide / 2.0, CLOSE_TALL / 2.0]), scale, "above")
    inner = Pen()
    for which in reversed(range(len(figures))):
        drawn = Pen()
        for foot in feet:
            for part in (figures[which].hind, figures[which].toes):
                drawn.path(place(part[number, foot], heading), f"sf-{FEET[foot]}-pale", closed=True)
        inner.group(drawn.body, "sf-faint" if which else "sf-now")
    if len(feet) == 1:
        joints = figures[of].joints[number, feet[0], 3:]
        inner.path(place(joints[[0, -1]], heading), "sf-ink")
        inner.path(place(figures[of].anchors[number, feet[0]][::2], heading), "sf-ink sf-dots")
    inner.text(4.0, 12.0, "from above", size=11.0, style="sf-note")
    pen.window(x, y, wide, CLOSE_TALL, inner.body)
    pen.rect(x, y, wide, CLOSE_TALL, "sf-hair")


def joint_close_up(
    pen: Pen, figures: Sequence[Figure], of: int, number: int, foot: int, joint: int, x: float, y: float, scale: float
) -> None:
    """Draw one leg about a joint, larger, with the straight line from hip to ankle."""
    wide, heading = CELL - 6.0, figures[of].heading
    middle = looked_at(figures[of].joints[number, foot, joint], "side", heading)
    place = Place(middle, np.array([wide / 2.0, CLOSE_TALL / 2.0]), scale)
    inner = Pen()
    name = FEET[foot]
    for which in reversed(range(len(figures))):
        joints = place(figures[which].joints[number, foot, :3], heading)
        drawn = Pen()
        drawn.path(joints[::2], "sf-ink sf-dots")
        drawn.path(joints, f"sf-{name} sf-bone" + (" sf-dash" if foot == 1 else ""))
        if joint == 2:
            draw_figure(drawn, figures[which], number, place, only=foot)
        drawn.dot(joints[joint, 0], joints[joint, 1], 4.4, f"sf-{name}-dot")
        inner.group(drawn.body, "sf-faint" if which else "sf-now")
    pen.window(x, y, wide, CLOSE_TALL, inner.body)
    pen.rect(x, y, wide, CLOSE_TALL, "sf-hair")


def _under(points: Array, heading: float, along: float) -> Array:
    """Return the point of a foot's middle that lies so far along the way."""
    middle = points.mean(axis=0)
    s, c = np.sin(heading), np.cos(heading)
    short = along - (s * middle[0] + c * middle[2])
    return np.asarray(middle + short * np.array([s, 0.0, c]))
