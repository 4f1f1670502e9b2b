"""The styles in which a character's feet are posed: what each is, and one table of them.

A style is a class that reads and writes feet (`foot_styles.FootStyle`) and one entry in `STYLES`; a style that has
none is read straight off, about the ankle.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

__all__ = ["JOINTS", "OUT_OF_PLANE", "STYLES", "ControlStyle"]

JOINTS = ("hip_flexion", "hip_abduction", "hip_rotation", "knee_flexion", "ankle_flexion", "ankle_inversion")
OUT_OF_PLANE = ("x", "yaw", "roll", "cant", "knee", "hip_abduction", "hip_rotation", "ankle_inversion", "foot_yaw")
"""Axes that a cut-out character hasn't."""


@dataclass(frozen=True, slots=True)
class ControlStyle:
    """One style: what it's in words, the axes of its controls, and the class that poses feet by them.

    Parameters
    ----------
    words : str
    axes, single : tuple of str
        The axes of one foot's control, and those where one foot-roll channel does for several.
    needs, instead : tuple of str, str
        The axes it can't do without, and the one that does in their place.
    part : {"foot", "leg"}
        What its controls are called after; legs hang on the hips.
    called : mapping of str to str
        What the channel of an axis is called where not as the axis.
    posed_by : str
        The class, written out, such as ``surefoot.foot_styles.RockerFeet``; empty where feet are read straight off.
    """

    words: str
    axes: tuple[str, ...]
    single: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    instead: str = ""
    part: str = "foot"
    called: Mapping[str, str] = field(default_factory=dict)
    posed_by: str = ""

    def missing(self, axes: Collection[str], *, planar: bool, hinged: bool) -> list[str]:
        """Return which axes a foot's control lacks that the style can't do without."""
        if self.instead in axes:
            return []
        return [name for name in self._kept(self.needs, planar=planar, hinged=hinged) if name not in axes]

    def axes_for(self, *, single: bool, planar: bool, hinged: bool, hocked: bool) -> tuple[str, ...]:
        """Return the axes that one foot's control has."""
        kept = self._kept(self.single if single and self.single else self.axes, planar=planar, hinged=hinged)
        return tuple(name for name in kept if hocked or name != "hock_flexion")

    def _kept(self, names: tuple[str, ...], *, planar: bool, hinged: bool) -> list[str]:
        left = OUT_OF_PLANE * planar + ("bend", "ball") * (not hinged)
        return [name for name in names if name not in left]


STYLES: Mapping[str, ControlStyle] = {
    "ankle": ControlStyle(
        "the feet turn about the ankle", ("x", "y", "z", "pitch", "yaw", "roll", "bend", "knee"),
        called={"roll": "cant"},
    ),
    "rockers": ControlStyle(
        "the feet turn about heel, ball and toe",
        ("x", "y", "z", "yaw", "heel", "ball", "toe", "cant", "bend", "knee"),
        single=("x", "y", "z", "yaw", "rocker", "cant", "bend", "knee"),
        needs=("heel", "ball", "toe"), instead="rocker", posed_by="surefoot.foot_styles.RockerFeet",
    ),
    "joints": ControlStyle(
        "the legs are posed by joint angles", (*JOINTS, "bend", "foot_yaw", "hock_flexion"), needs=JOINTS,
        part="leg", called={"bend": "toe_bend"}, posed_by="surefoot.foot_styles.JointLegs",
    ),
}  # fmt: skip
"""Every style by its name."""
