"""Proposals: for each finding the ways to mend it, cheapest first, with what each costs, leaves and harms."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.aftermath import judge
from surefoot.belt import Belt
from surefoot.bench import Bench, Draft
from surefoot.checking import LANDING, Report, Triple, check
from surefoot.clip import Clip, Stance
from surefoot.contact import ContactLimits
from surefoot.curves import Curve
from surefoot.easing import Window
from surefoot.errors import InputError
from surefoot.findings import Finding
from surefoot.given import checked, many_of
from surefoot.ground import Ground
from surefoot.mend_cross import cross_drafts
from surefoot.mend_height import Needs, hover_drafts, sink_drafts
from surefoot.mend_limit import limit_drafts
from surefoot.mend_reach import Legs, stretch_drafts
from surefoot.mend_seam import seam_drafts
from surefoot.mend_slide import slide_drafts
from surefoot.mend_snap import snap_drafts
from surefoot.overlay import overlaid
from surefoot.rig import Axis, Rig
from surefoot.tally import Judged, Worse
from surefoot.tolerances import KINDS
from surefoot.units import ANGLES

__all__ = ["Proposal", "Worse", "apply_proposals", "propose"]

Array = NDArray[np.float64]

LENGTH_COST = 0.01
"""Metres, for a leg of 0.9 m, that cost 1."""
ANGLE_COST = float(np.radians(10.0))
"""Radians that cost 1."""
ALIKE = 0.05
"""What two ways leave is alike if it differs by less than this share."""
WORTH = 0.95
"""A way that leaves more than this share of its finding isn't one."""


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """One way to mend one finding.

    Parameters
    ----------
    finding : Finding
    way : str
        Its name, such as ``toes up``.
    channels : tuple of str
    angles : tuple of bool
        Which of the channels are turns.
    frames : ndarray of int, shape (frames,)
        The animator's; those beyond a loop's last are the next round's.
    amounts : ndarray, shape (channels, frames)
        By how much each channel changes, metres and radians. Outside the frames nothing changes; between two
        the change is the cubic that runs from neighbour to neighbour, level at the ends.
    cost : float
        How far it departs from the authored motion: 1 cm for a leg of 0.9 m counts 1, and so do 10 degrees;
        the root of the sum of squares over all its frames, for each frame of the finding.
    leaves : float
        What is left of the finding, in its unit inside (metres, radians).
    worse : tuple of Worse
        What it makes worse that is then beyond a note's limit.
    asks : str
        The channel that must be let before this may be applied, or nothing.
    default : bool
        Whether it's the one that is taken unless another is chosen.
    curves : mapping of str to Curve
        For a seam: the channels that are put in place of the old ones.

    Raises
    ------
    InputError
        If there isn't an amount for each channel and frame.
    """

    finding: Finding
    way: str
    channels: tuple[str, ...]
    angles: tuple[bool, ...]
    frames: NDArray[np.int64]
    amounts: Array
    cost: float
    leaves: float
    worse: tuple[Worse, ...] = ()
    asks: str = ""
    default: bool = False
    curves: Mapping[str, Curve] = field(default_factory=dict)

    def __post_init__(self) -> None:
        frames, amounts = np.array(self.frames, dtype=np.int64), np.array(self.amounts, dtype=np.float64)
        if amounts.shape != (len(self.channels), len(frames)) or len(self.angles) != len(self.channels):
            raise InputError("wanted an amount for each channel and frame", place=f"proposal {self.way}")
        for array in (frames, amounts):
            array.flags.writeable = False
        object.__setattr__(self, "frames", frames)
        object.__setattr__(self, "amounts", amounts)

    def window_in(self, clip: Clip) -> tuple[Window, Array]:
        """Return the window in a clip in which it changes something, and the amounts at all of the window's frames."""
        start, count = int(self.frames[0]) - clip.first, len(self.frames)
        if clip.loop and count == clip.frames:
            window = Window(start, count + 1, (False, False), closed=True)
            return window, np.concatenate([self.amounts, self.amounts[:, :1]], axis=1)
        level = (clip.loop or start > 0, clip.loop or start + count < clip.frames)
        return Window(start, count, level), self.amounts

    @property
    def shown(self) -> Array:
        """The amounts in millimetres and degrees, ``(channels, frames)``."""
        scale = np.where(self.angles, KINDS["limit"].scale, KINDS["slide"].scale)
        return np.asarray(self.amounts / scale[:, None])

    @property
    def shown_left(self) -> float:
        """What it leaves, in the unit in which the finding shows its amount."""
        return self.leaves / KINDS[self.finding.kind].scale


@checked(limits=ContactLimits, report=Report)
def propose(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    landing: float | None = None,
    limits: ContactLimits | None = None,
    report: Report | None = None,
) -> tuple[Proposal, ...]:
    """Return the ways to mend each finding of a clip, in the order of the findings, cheapest first.

    Nothing is changed; `apply_proposals` does that.

    Parameters
    ----------
    ground, belt, stances, tolerances, landing, limits : as for `check`
    report : Report, optional
        What `check` gave back for the same clip, where it's at hand: it isn't worked out again.

    Raises
    ------
    InputError
        If the clip, rig and ground don't belong together, or an argument isn't what it should be.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> way = surefoot.propose(clip, rig)[0]
    >>> way.finding.kind, way.finding.foot, way.way, way.channels
    ('slide', 'left', 'another footprint', ('left_foot.x', 'left_foot.z'))
    """
    if report is None:
        report = check(
            clip, rig, ground=ground, belt=belt, stances=stances, tolerances=tolerances, landing=landing, limits=limits
        )
    if not report.findings:
        return ()
    if landing is None:
        landing = LANDING if clip.extra.get("captured") is True else 0.0
    bench = Bench(clip, rig, ground, report, landing=landing)
    drafts = _drafts(bench)
    ways: dict[int, list[_Way]] = {id(finding): [] for finding in report.findings}
    for draft, told in zip(drafts, judge(bench, drafts), strict=True):
        if told.leaves <= WORTH * draft.finding.amount:
            turning = _turning(bench, draft)
            ways[id(draft.finding)].append(_Way(draft, told, turning, _cost(bench, draft, turning)))
    found: list[Proposal] = []
    for finding in report.findings:
        mine = sorted(ways[id(finding)], key=lambda way: way.cost)
        best = _default(mine, bench.bounds[finding.kind][0])
        found += [_proposal(bench, way, way is best) for way in mine]
    return tuple(found)


@checked()
def apply_proposals(clip: Clip, rig: Rig, proposals: Iterable[Proposal], *, let: Iterable[str] = ()) -> Clip:
    """Return the clip with proposals put on: their channels gain keys in their frames, all others are the same objects.

    Whole channels that close a seam come first; then amounts that meet in a channel add up. What each proposal tells
    is of itself alone: of several that mend the same frames the sum may do too much.

    Parameters
    ----------
    proposals : iterable of Proposal
        Of `propose` for this clip.
    let : iterable of str
        Channels that may be changed though they're asked for, such as ``hips.y``.

    Raises
    ------
    InputError
        If a proposal asks for a channel that isn't let, a channel isn't there or is locked, or two proposals close
        the same channel.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> chosen = [way for way in surefoot.propose(clip, rig) if way.default and not way.asks]
    >>> mended = surefoot.apply_proposals(clip, rig, chosen)
    >>> len(surefoot.check(clip, rig).findings), len(surefoot.check(mended, rig).findings)
    (18, 9)
    """
    chosen, let = many_of(proposals, Proposal, "proposals"), set(let)
    closed: dict[str, Curve] = {}
    for proposal in chosen:
        _check(clip, proposal, let)
        for name, curve in proposal.curves.items():
            if name in closed:
                raise InputError(f"another one closes {name} already", place=f"proposal {proposal.way}")
            closed[name] = curve
    clip = clip.with_channels(closed) if closed else clip
    for proposal in chosen:
        if not proposal.curves:
            clip = _put_on(clip, rig, proposal)
    return clip


def _check(clip: Clip, proposal: Proposal, let: set[str]) -> None:
    place = f"proposal {proposal.way}"
    if proposal.asks and proposal.asks not in let:
        raise InputError(f"it changes {proposal.asks}, which must be let first", place=place)
    for name in proposal.channels:
        clip.curve(name, place=place)
        if name in clip.locked:
            raise InputError(f"{name} is locked", place=place)


def _put_on(clip: Clip, rig: Rig, proposal: Proposal) -> Clip:
    window, amounts = proposal.window_in(clip)
    axes = rig.channels()
    changed = {
        name: overlaid(clip.channels[name], amount / axes[name].scale, window, clip)
        for name, amount in zip(proposal.channels, amounts, strict=True)
    }
    return clip.with_channels(changed)


def _drafts(bench: Bench) -> list[Draft]:
    """Return every way to mend every finding, whether it's worth it or not."""
    needs, legs = Needs(bench), Legs(bench)
    found: list[Draft | None] = []
    for finding in bench.report.findings:
        if finding.kind == "sink":
            found += sink_drafts(bench, finding, needs)
        elif finding.kind == "hover":
            found += hover_drafts(bench, finding, needs)
        elif finding.kind == "slide":
            found += slide_drafts(bench, finding)
        elif finding.kind == "stretch":
            found += stretch_drafts(bench, finding, legs)
        elif finding.kind == "snap":
            found += snap_drafts(bench, finding)
        elif finding.kind == "limit":
            found += limit_drafts(bench, finding)
        elif finding.kind == "cross":
            found += cross_drafts(bench, finding)
        elif finding.kind == "seam":
            found += seam_drafts(bench, finding, _scale(bench.rig.channels().get(finding.part)))
    return [draft for draft in found if draft is not None]


def _scale(axis: Axis | None) -> float:
    """Return metres or radians in one unit of a channel; one that the rig doesn't know is taken for degrees."""
    return ANGLES["deg"] if axis is None else axis.scale


class _Way(NamedTuple):
    draft: Draft
    judged: Judged
    turning: tuple[bool, ...]
    cost: float


def _proposal(bench: Bench, way: _Way, default: bool) -> Proposal:
    draft, judged = way.draft, way.judged
    names = bench.scene.binding.names
    channels = tuple(draft.curves) or tuple(names[row] for row in draft.rows)
    frames, amounts = draft.window.frames, draft.amounts
    if draft.window.closed:
        frames, amounts = frames[:-1], amounts[:, :-1]
    return Proposal(
        draft.finding, draft.way, channels, way.turning, frames + bench.clip.first, amounts, way.cost,
        judged.leaves, judged.worse, draft.asks, default, draft.curves,
    )  # fmt: skip


def _turning(bench: Bench, draft: Draft) -> tuple[bool, ...]:
    """Return which of a draft's channels turn something; one that the rig doesn't know is taken for a turn."""
    return tuple(bench.turning[row] for row in draft.rows) or (True,) * len(draft.curves)


def _cost(bench: Bench, draft: Draft, turning: tuple[bool, ...]) -> float:
    length = LENGTH_COST * bench.size
    amounts = draft.amounts[:, :-1] if draft.window.closed else draft.amounts
    total = 0.0
    for row, turns in zip(amounts, turning, strict=True):
        total += float(row @ row) / (ANGLE_COST if turns else length) ** 2
    return sqrt(total / max(1, min(draft.finding.last - draft.finding.first + 1, bench.clip.frames)))


def _default(ways: list[_Way], note: float) -> _Way | None:
    """Return the way that is taken unasked, of those that ask for nothing; ``ways`` are cheapest first.

    One that mends all and harms nothing, else one that mends all, else one that leaves least.
    """
    unasked = [way for way in ways if not way.draft.asks]
    if not unasked:
        return None
    enough = max(note, min(way.judged.leaves for way in unasked) * (1.0 + ALIKE))
    good = [way for way in unasked if way.judged.leaves <= enough]
    return next((way for way in good if not way.judged.worse), good[0])
