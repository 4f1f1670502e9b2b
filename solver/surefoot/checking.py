"""Check: every finding of a clip, at its frames and at four places between two."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.contact import ContactLimits, find_stances
from surefoot.findings import LEVELS, Finding, collect, in_order
from surefoot.ground import Ground
from surefoot.joints import joint_findings
from surefoot.planting import scene_of
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.seam import seam_findings
from surefoot.slide import slide_findings
from surefoot.tolerances import KINDS, tolerances_for
from surefoot.touch import Touch

__all__ = ["Report", "check"]

Array = NDArray[np.float64]
Triple = tuple[float, float, float]

BETWEEN = 5
"""Samples a frame: the frame itself and four between."""
LANDING = 0.04
"""Seconds at the start of a captured stance in which a slip is real (McGorry et al. 2008, verified: ~40 ms)."""


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """What `check` gives back: the findings, and the stances and belt that it saw."""

    findings: tuple[Finding, ...]
    stances: tuple[Stance, ...]
    belt: Belt
    tolerances: Mapping[str, Triple]

    @property
    def worst(self) -> str:
        """``error``, ``warning``, ``note`` or ``clean``."""
        levels = [LEVELS.index(f.level) for f in self.findings]
        return LEVELS[max(levels)] if levels else "clean"

    @property
    def is_clean(self) -> bool:
        """True when nothing is beyond a note."""
        return self.worst in ("clean", "note")

    def most(self, kind: str) -> Finding | None:
        """Return the largest finding of a kind."""
        mine = [f for f in self.findings if f.kind == kind]
        return max(mine, key=lambda f: f.amount) if mine else None


def check(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    landing: float | None = None,
    limits: ContactLimits | None = None,
) -> Report:
    """Return what is wrong with the feet of a clip.

    Parameters
    ----------
    ground, belt, stances, limits : as for `plant`
    tolerances : mapping of str to triple, optional
        Note, warning and error by kind, metres and radians; over the rig's own.
    landing : float, optional
        Seconds at the start of each stance in which the foot may slip. Left out it's
        0.04 for a clip that says it was captured (``"captured": true`` in its extra
        fields), since real heels do, and 0 for an authored one.
    """
    if stances is not None:
        clip = clip.with_stances(stances)
    scene = scene_of(clip, rig, ground, belt)
    found = find_stances(scene, limits)
    if landing is None:
        landing = LANDING if clip.extra.get("captured") is True else 0.0
    bounds = tolerances_for(rig.leg, {**rig.tolerances, **(tolerances or {})})
    fine = _between(scene)
    touch = Touch.of(fine)
    down = _stance_samples(found, scene)
    findings: list[Finding] = []
    findings += slide_findings(touch, found, bounds["slide"], landing=landing, per_frame=BETWEEN)
    findings += _by_foot("sink", touch.depth, fine.frames, bounds)
    findings += _by_foot("hover", np.where(down, touch.gap, -1.0), fine.frames, bounds)
    findings += _by_foot("stretch", _over_length(fine), fine.frames, bounds)
    findings += collect("cross", "both", touch.overlap(), fine.frames, bounds["cross"])
    findings += joint_findings(scene, bounds)
    findings += seam_findings(clip, rig, bounds["seam"])
    return Report(in_order(findings), found, scene.belt, {kind: bounds[kind] for kind in KINDS})


def _between(scene: Scene) -> Scene:
    """Return the scene sampled at every frame and four places after it (a loop's last frame included)."""
    binding = scene.binding
    count = scene.count * BETWEEN if scene.drift is not None else (scene.count - 1) * BETWEEN + 1
    frames = binding.clip.first + np.arange(count) / BETWEEN
    values = binding.values(frames)
    return Scene.riding(binding, scene.ground, scene.belt, frames, values, binding.pose(values, frames))


def _stance_samples(stances: Iterable[Stance], scene: Scene) -> NDArray[np.bool_]:
    """Return which samples lie in a stance that isn't left alone, ``(2, samples)``."""
    loop = scene.drift is not None
    count = scene.count * BETWEEN if loop else (scene.count - 1) * BETWEEN + 1
    down = np.zeros((2, count), dtype=bool)
    first = int(scene.frames[0])
    for stance in stances:
        if not stance.left_alone:
            at = np.arange((stance.first - first) * BETWEEN, (stance.last - first) * BETWEEN + 1)
            down[FEET.index(stance.foot), at % count if loop else at] = True
    return down


def _by_foot(kind: str, amount: Array, frames: Array, bounds: Mapping[str, Triple]) -> list[Finding]:
    found = [collect(kind, name, amount[foot], frames, bounds[kind]) for foot, name in enumerate(FEET)]
    return [finding for some in found for finding in some]


def _over_length(scene: Scene) -> Array:
    leg = np.array([[limb.length] for limb in scene.binding.rig.legs])
    return np.asarray(np.sqrt(((scene.ankle - scene.hip) ** 2).sum(axis=0)) - leg)
