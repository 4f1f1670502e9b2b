"""The subject of a picture: a clip with what the library has worked out about it, and the frames worth drawing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.checking import Report, Triple, check
from surefoot.clip import Clip, Stance
from surefoot.contact import ContactLimits
from surefoot.errors import InputError
from surefoot.findings import LEVELS, Finding
from surefoot.ground import Ground
from surefoot.pictures.figure import Figure, Footing, figure_of, footings_of
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.seen import Seen
from surefoot.units import measured, rounded

__all__ = ["Chosen", "Subject", "key_poses", "told_amount", "told_number", "without_repeats", "worst_frames"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """A clip on its ground, checked, with its footprints and its figure at every frame."""

    clip: Clip
    rig: Rig
    report: Report
    seen: Seen
    footings: tuple[Footing, ...]
    landing: float | None
    figure: Figure

    @classmethod
    def of(
        cls,
        clip: Clip,
        rig: Rig,
        *,
        ground: Ground | None = None,
        belt: Belt | None = None,
        stances: Iterable[Stance] | None = None,
        tolerances: Mapping[str, Triple] | None = None,
        landing: float | None = None,
        limits: ContactLimits | None = None,
    ) -> Self:
        """Work out what is drawn of a clip; all options are those of `surefoot.check`."""
        if stances is not None:
            clip = clip.with_stances(stances)
        report = check(clip, rig, ground=ground, belt=belt, tolerances=tolerances, landing=landing, limits=limits)
        seen = report.seen_of(clip, rig, ground)
        if seen is None:
            raise InputError("the report tells of another clip", place="report")
        footings = footings_of(seen.scene, report.stances)
        return cls(clip, rig, report, seen, footings, landing, figure_of(seen.scene, report.stances, footings))

    @property
    def scene(self) -> Scene:
        """The clip at its frames."""
        return self.seen.scene

    @property
    def name(self) -> str:
        """What pictures call it."""
        return self.clip.name or "clip"

    @property
    def setting(self) -> str:
        """One line on range, rate, ground and belt."""
        clip, speed = self.clip, self.report.belt.speed
        loop = ", a loop" if clip.loop else ""
        belt = f", which moves at {speed:.3f} m/s" if speed else ""
        rate = f"{float(clip.rate):.5g}"
        return f"frames {clip.first} to {clip.last} at {rate} a second{loop}; ground: {self.scene.ground.name}{belt}"


class Chosen(NamedTuple):
    """A frame that is drawn, and why.

    ``findings`` are those that are worst in it; ``more`` says of each how many more like it aren't drawn.
    """

    frame: float
    words: tuple[str, ...]
    findings: tuple[tuple[str, Finding], ...] = ()
    more: tuple[int, ...] = ()


def key_poses(subject: Subject) -> tuple[Chosen, ...]:
    """Return contact, down, passing and up of one cycle, left foot's contact first where there is one.

    Contact is a stance's first frame. Passing is the frame in which the other ankle is nearest to being beside
    the standing one, on its way forward; down is the lowest frame of the hips up to there, up the highest from
    there to the other foot's contact. Without two contacts in a row there are eight frames, evenly apart.
    """
    clip, figure = subject.clip, subject.figure
    starts = sorted((s.first, FEET.index(s.foot)) for s in subject.report.stances)
    if clip.loop:
        starts += [(first + clip.frames, foot) for first, foot in starts]
    found: list[Chosen] = []
    pairs = [(a, b) for a, b in pairwise(starts) if a[1] != b[1] and b[0] - a[0] >= 4]
    left_first = [i for i, (a, _) in enumerate(pairs) if a[1] == 0] or [0]
    for (start, foot), (end, _) in pairs[left_first[0] : left_first[0] + 2]:
        at = np.arange(start, end + 1)
        rows = (at - clip.first) % clip.frames if clip.loop else at - clip.first
        ankle = figure.joints[rows, :, 2]
        ahead = np.sin(figure.heading) * ankle[..., 0] + np.cos(figure.heading) * ankle[..., 2]
        lead = ahead[:, 1 - foot] - ahead[:, foot]
        inner = np.arange(1, len(at) - 1)
        crossing = inner[(lead[inner - 1] < 0.0) & (lead[inner + 1] >= 0.0)]
        among = crossing if len(crossing) else inner
        passing = int(among[np.abs(lead[among]).argmin()])
        height = figure.hips[rows, 1]
        down = int(height[: passing + 1].argmin())
        up = passing + int(height[passing : len(at) - 1].argmax())
        named: dict[int, list[str]] = {}
        for row, word in ((0, f"contact {FEET[foot]}"), (down, "down"), (passing, "passing"), (up, "up")):
            named.setdefault(row, []).append(word)
        found += [Chosen(float(clip.first + rows[row]), tuple(words)) for row, words in sorted(named.items())]
    if found:
        return tuple(found)
    even = np.unique(np.linspace(clip.first, clip.last, 8).round())
    return tuple(Chosen(float(frame), ()) for frame in even)


def worst_frames(reports: Iterable[tuple[str, Report]], clip: Clip) -> tuple[Chosen, ...]:
    """Return the worst frame of every finding, those in one frame together, in order of frames.

    ``reports`` come with a word for each, such as ``before``; a loop's frames beyond its last are taken back.
    """
    found: dict[float, list[tuple[str, Finding]]] = {}
    for word, report in reports:
        for finding in report.findings:
            at = finding.worst
            at = clip.first + (at - clip.first) % clip.frames if clip.loop else at
            found.setdefault(round(at, 3), []).append((word, finding))
    return tuple(
        Chosen(frame, (), tuple(sorted(told, key=lambda pair: -LEVELS.index(pair[1].level))))
        for frame, told in sorted(found.items())
    )


def without_repeats(every: tuple[Chosen, ...], most: int) -> tuple[Chosen, ...]:
    """Return the frames that are left when a kind of finding that comes more than ``most`` times is drawn once.

    Alike are those of one kind, foot and part; the gravest is kept, and says how many more there are.
    """
    alike: dict[tuple[str, str, str, str], list[Finding]] = {}
    for chosen in every:
        for when, finding in chosen.findings:
            alike.setdefault((when, finding.kind, finding.foot, finding.part), []).append(finding)
    more: dict[tuple[str, int], int] = {}
    for (when, *_), same in alike.items():
        shown = same if len(same) <= most else [max(same, key=_gravity)]
        more |= {(when, id(finding)): len(same) - len(shown) for finding in shown}
    kept = []
    for chosen in every:
        own = tuple(pair for pair in chosen.findings if (pair[0], id(pair[1])) in more)
        if own:
            kept.append(chosen._replace(findings=own, more=tuple(more[when, id(finding)] for when, finding in own)))
    return tuple(kept)


def _gravity(finding: Finding) -> tuple[int, float]:
    return LEVELS.index(finding.level), finding.amount


def told_amount(finding: Finding) -> str:
    """Return a finding's amount with its unit."""
    return told_number(finding.shown, finding.unit)


def told_number(amount: float, unit: str) -> str:
    """Return an amount in one of the findings' units, as the tables have it."""
    return measured(rounded(amount), unit)
