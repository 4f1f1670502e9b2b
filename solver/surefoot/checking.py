"""Check: every finding of a clip, at its frames and at four places between two."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from types import FunctionType

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.contact import ContactLimits, find_stances
from surefoot.errors import UnknownName
from surefoot.findings import LEVELS, Finding, in_order
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.locks import Lock, locks_of
from surefoot.planting import scene_of
from surefoot.rig import Rig
from surefoot.seen import Seen
from surefoot.swivel import most_swivel
from surefoot.tabled import held_by
from surefoot.tolerances import KINDS, tolerances_for, when_asked

__all__ = ["Report", "check"]

Triple = tuple[float, float, float]

LANDING = 0.04
"""Seconds at the start of a captured stance in which a slip is real (McGorry et al. 2008, verified: ~40 ms)."""


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """What `check` gives back: the findings, and the stances and belt that it saw."""

    findings: tuple[Finding, ...]
    stances: tuple[Stance, ...]
    belt: Belt
    tolerances: Mapping[str, Triple]
    _seen: Seen | None = field(default=None, repr=False)

    def __repr__(self) -> str:
        many = {level: sum(f.level == level for f in self.findings) for level in reversed(LEVELS)}
        told = ", ".join(f"{count} {level}{'s' * (count > 1)}" for level, count in many.items() if count)
        return f"<Report: {told or 'clean'}; {len(self.stances)} stances, belt {self.belt.speed:.3f} m/s>"

    @property
    def worst(self) -> str:
        """``error``, ``warning``, ``note`` or ``clean``."""
        levels = [LEVELS.index(f.level) for f in self.findings]
        return LEVELS[max(levels)] if levels else "clean"

    @property
    def is_clean(self) -> bool:
        """True when nothing is beyond a note."""
        return self.worst in ("clean", "note")

    def seen_of(self, clip: Clip, rig: Rig, ground: Ground | None) -> Seen | None:
        """Return what was seen of these very objects and this report's belt and stances; None where that's not at hand.

        It saves working it out again; a report that has been put together elsewhere has none.
        """
        seen = self._seen
        same = seen is not None and seen.scene.belt is self.belt and seen.stances is self.stances
        return seen if same and seen is not None and seen.is_of(clip, rig, ground) else None

    def locks(self) -> tuple[Lock, ...]:
        """Return how each stance holds; nothing for a report that was put together elsewhere."""
        return () if self._seen is None else locks_of(self._seen)

    @property
    def swivel(self) -> float:
        """How far a planted foot turns on its ball at most in one stance, radians; 0 for a report from elsewhere."""
        return 0.0 if self._seen is None else most_swivel(self._seen.touch, self.stances)

    def most(self, kind: str) -> Finding | None:
        """Return the largest finding of a kind, None where there is none; raise UnknownName for an unknown kind."""
        if kind not in KINDS:
            raise UnknownName("kind of finding", str(kind), KINDS, place="kind")
        mine = [f for f in self.findings if f.kind == kind]
        return max(mine, key=lambda f: round(f.amount, 9)) if mine else None  # of two alike the first


@checked(limits=ContactLimits)
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
    still: bool | None = None,
    also: Iterable[str] = (),
) -> Report:
    """Return what is wrong with the feet of a clip.

    Every frame is looked at and four places between two; nothing is changed.

    Parameters
    ----------
    clip, rig : Clip, Rig
    ground, belt, stances, limits : as for `plant`
    tolerances : mapping of str to triple, optional
        Note, warning and error by kind, metres and radians; over the rig's own.
    landing : float, optional
        Seconds at the start of each stance in which the foot may slip. Left out it's
        0.04 for a clip that says it was captured (``"captured": true`` in its extra
        fields), since real heels do, and 0 for an authored one.
    still : bool, optional
        Whether the pose is declared still, so that its centre of mass must lie over its support. Left
        out it's so for a clip that says so (``"still": true`` in its extra fields).
    also : iterable of str
        Kinds to look for that are left out otherwise: ``mismatch``, ``oppose``.

    Returns
    -------
    Report

    Raises
    ------
    InputError
        If the clip, rig and ground don't belong together, or an argument isn't what it should be; says how.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> report = surefoot.check(clip, rig)
    >>> report.worst, round(report.most("slide").shown), report.most("slide").unit
    ('error', 107, 'mm')
    """
    asked = _asked(also)
    stated = clip if stances is None else clip.with_stances(stances)
    scene = scene_of(stated, rig, ground, belt)
    found = find_stances(scene, limits)
    if landing is None:
        landing = LANDING if clip.extra.get("captured") is True else 0.0
    if still is None:
        still = clip.extra.get("still") is True
    bounds = tolerances_for(rig.leg, {**rig.tolerances, **(tolerances or {})})
    seen = Seen.of(clip, ground, scene, found, landing=landing, still=still)
    waiting = when_asked()
    looked = {kind: bounds[kind] for kind in KINDS if kind in asked or kind not in waiting}
    looks = _looks(tuple((name, KINDS[name].module or name) for name in looked))
    findings = [finding for kind, look in looks.items() for finding in look(seen, bounds[kind])]
    return Report(in_order(findings), found, scene.belt, looked, seen)


@cache
def _looks(modules: tuple[tuple[str, str], ...]) -> dict[str, Callable[[Seen, Triple], list[Finding]]]:
    """Return by kind the function that looks for it."""
    held = held_by("surefoot.faults", [module for _, module in modules], "look", FunctionType)
    return {kind: held[module] for kind, module in modules}


def _asked(also: Iterable[str]) -> set[str]:
    asked, known = set(also), when_asked()
    for kind in sorted(asked):
        if kind not in known:
            raise UnknownName("kind of finding that is looked for when asked", kind, known, place="also")
    return asked
