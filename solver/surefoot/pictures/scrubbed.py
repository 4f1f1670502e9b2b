"""What the report's figure is drawn from: the posed figure as JSON, in the layout of `pictures.figure`.

Lengths are metres to a tenth of a millimetre, in ground space; the page turns nothing but its view. Each frame's
ground is the line under it, as far as the view reaches.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.figure import Figure, figure_of, looked_at, scene_at
from surefoot.pictures.subject import Subject

__all__ = ["figure_json", "figure_table"]

MOST_FRAMES = 600
REACH = 1.6
"""Of the leg's length: how far the ground is drawn behind and ahead of the hips."""


def figure_table(subject: Subject, before: Subject | None = None) -> dict[str, Any]:
    """Return frames, views and points of the figure now and before; a long clip has every second frame, or fewer."""
    clip = subject.clip
    step = -(-clip.frames // MOST_FRAMES)
    frames = [float(frame) for frame in range(clip.first, clip.last + 1, step)]
    now = _figure(subject, frames)
    table: dict[str, Any] = {
        "frames": [int(frame) for frame in frames],
        "seconds": clip.step * step,
        "leg": subject.rig.leg,
        "heading": now.heading,
        "now": _points(subject, now),
        "before": None if before is None else _points(before, _figure(before, frames)),
    }
    return table


def figure_json(subject: Subject, before: Subject | None = None) -> str:
    """Return the table as JSON that may stand inside a script element."""
    return json.dumps(figure_table(subject, before), separators=(",", ":")).replace("</", "<\\/")


def _figure(subject: Subject, frames: list[float]) -> Figure:
    return figure_of(scene_at(subject.scene, frames), subject.report.stances, subject.footings)


def _points(subject: Subject, figure: Figure) -> dict[str, Any]:
    reach = REACH * subject.rig.leg
    lines = [subject.scene.ground.section(hips, figure.heading, -reach, reach) for hips in figure.hips]
    heading = figure.heading
    return {
        "hips": _rounded(figure.hips),
        "up": _rounded(figure.up),
        "joints": _rounded(figure.joints),
        "hind": _rounded(figure.hind),
        "toes": _rounded(figure.toes),
        "standing": figure.standing.tolist(),
        "ground": [_rounded(looked_at(line, "side", heading)) for line in lines],
        "prints": [
            {"foot": own.foot, "first": own.stance.first, "last": own.stance.last,
             "hind": _rounded(own.hind), "toes": _rounded(own.toes)} for own in subject.footings
        ],
    }  # fmt: skip


def _rounded(values: NDArray[np.float64]) -> Any:
    return (np.round(values, 4) + 0.0).tolist()
