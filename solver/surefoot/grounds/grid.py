"""A height grid in a file: its heights stand in an array or a table beside it."""

from __future__ import annotations

import numpy as np

from surefoot.ground_data_file import read_heights
from surefoot.ground_grid import Grid
from surefoot.grounds.kind import GroundKind, GroundTable, Three, Told, to_heading

__all__ = ["KIND"]


class _Grid(GroundTable, forbid_unknown_fields=True, kw_only=True):
    file: str
    spacing: float
    smooth: bool = False
    heading_deg: float = 0.0
    origin: Three = (0.0, 0.0, 0.0)


def _grid(told: Told[_Grid]) -> Grid:
    grid, metres = told.table, told.metres
    heights = read_heights(told.folder / grid.file) * metres
    origin, heading = np.array(grid.origin) * metres, to_heading(grid.heading_deg)
    return Grid(heights, grid.spacing * metres, heading, origin, grid.smooth, grid.name or "grid")


WANTED = {
    "file": 'the file of its heights beside this one, such as file = "cobbles.csv"',
    "spacing": "the distance from one height to the next in the file's unit, such as spacing = 0.05",
}

KIND = GroundKind("grid", _Grid, _grid, wanted=WANTED)
