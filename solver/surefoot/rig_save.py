"""Rigs written as TOML: what `rig_file` reads is what was written, to the last digit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from surefoot.errors import InputError
from surefoot.given import checked
from surefoot.plain_toml import toml_word
from surefoot.rig import FEET, LENGTHWISE, ROCKERS, Axis, Control, Foot, Leg, Limits, Rig
from surefoot.rig_file import FORMAT
from surefoot.save import save_all
from surefoot.units import ANGLES, LENGTHS

__all__ = ["rig_text", "save_rig"]


@checked()
def save_rig(rig: Rig, path: str | Path) -> None:
    """Write a rig to a TOML file; all of it, or nothing.

    Parameters
    ----------
    path : str or path
        Where it goes; an older file is replaced.

    Raises
    ------
    FileError
        If it can't be written; an older file is then untouched.
    InputError
        If a channel has a scale that no unit of the format has.
    """
    save_all([(rig_text(rig).encode("utf-8"), str(path))])


def rig_text(rig: Rig) -> str:
    """Return a rig as TOML, lengths in metres and angles in radians, but for channels: they keep their unit."""
    lines = [f'surefoot = "{FORMAT}"', f"name = {toml_word(rig.name)}", 'unit = "m"', 'angle = "rad"']
    lines += [f"style = {toml_word(rig.style)}", f"source = {toml_word(rig.source)}", f"reach = {rig.reach!r}"]
    lines += [f"soften = {rig.soften!r}"] * (rig.soften < 1.0)
    lines += ["planar = true"] * rig.planar + ["any_size = true"] * rig.any_size
    lines += [f"drawn = [{', '.join(map(toml_word, rig.drawn))}]"] * rig.planar
    left, right = rig.legs
    for name, leg in (("leg", left), ("right_leg", right)):
        lines += ["", *_leg(leg, name)]
    for control in rig.controls.values():
        lines += ["", *_control(control, rig)]
    if rig.mirror:
        lines += ["", "[mirror]"]
        lines += [
            f"{toml_word(k)} = {{to = {toml_word(t)}, factor = {f!r}, offset = {o!r}}}"
            for k, (t, f, o) in rig.mirror.items()
        ]
    if rig.tolerances:
        from surefoot.tolerances import KINDS

        lines += ["", "[tolerances]"]
        lines += [f"{k} = {_numbers(np.array(v) / KINDS[k].scale)}" for k, v in rig.tolerances.items()]
    return "\n".join(lines) + "\n"


def _leg(leg: Leg, name: str) -> list[str]:
    lines = [f"[{name}]", f"hip = {_numbers(leg.hip)}", f"thigh = {leg.thigh!r}", f"shank = {leg.shank!r}"]
    lines += [f"hock = {leg.hock!r}"] * (leg.hock > 0.0) + ["backward = true"] * leg.backward
    ranges = [f"{k} = {_numbers(getattr(leg.limits, k))}" for k in Limits.ALL]
    return [*lines, "", f"[{name}.limits]", *ranges, "", *_foot(leg.foot, f"{name}.foot")]


def _foot(foot: Foot, name: str) -> list[str]:
    corners = ", ".join(_numbers(corner) for corner in foot.outline)
    points = [f"{part} = {_numbers(getattr(foot, part))}" for part in ("heel", "ball", "toe")]
    return [
        f"[{name}]", *points, f"outline = [{corners}]", f"hinged = {str(foot.hinged).lower()}",
        f"onset = {float(foot.onset)!r}",
    ]  # fmt: skip


def _control(control: Control, rig: Rig) -> list[str]:
    lines = [f"[controls.{toml_word(control.name)}]", f"parent = {toml_word(control.parent)}"]
    lines += [f"rest = {_numbers(control.rest)}", f"order = {toml_word(control.order)}"]
    if control.rockers != ROCKERS:
        lines.append(f"rockers = [{', '.join(map(toml_word, control.rockers))}]")
    for key, axis in control.axes.items():
        canted = key == "roll" and control.name in FEET_OF and Rig.STYLES[rig.style].called.get(key) == "cant"
        shown = "cant" if canted else key
        lines.append(f"{shown} = {_axis(axis, key)}")
    return lines


FEET_OF = tuple(f"{side}_foot" for side in FEET)


def _axis(axis: Axis, key: str) -> str:
    """Return a channel's table; a scale that is no unit's can't be written."""
    units = LENGTHS if key in LENGTHWISE else ANGLES
    unit = next((name for name, size in units.items() if abs(abs(axis.scale) / size - 1.0) < 1e-12), None)
    if unit is None:
        raise InputError(f"a scale of {axis.scale!r} is none of {', '.join(units)}", place=f"axis {axis.channel}")
    more = [f"sign = {1 if axis.scale > 0 else -1}"] if axis.scale < 0 else []
    more += [f"zero = {axis.zero!r}"] * (axis.zero != 0.0) + ["optional = true"] * axis.optional
    return "{" + ", ".join([f"channel = {toml_word(axis.channel)}", f"unit = {toml_word(unit)}", *more]) + "}"


def _numbers(values: Any) -> str:
    return "[" + ", ".join(repr(float(value)) for value in values) + "]"
