"""Letting the hips: the one case in which they change, and only when asked.

What planting leaves as ``stretch`` no foot can mend. Where the hips are let, the smallest smooth,
loop-closed lowering that brings the leg back into reach is put on them, and the feet are planted after.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from surefoot.checking import Triple
from surefoot.clip import Clip
from surefoot.errors import UnknownName
from surefoot.ground import Ground
from surefoot.planting import Planted
from surefoot.proposals import Proposal, apply_proposals, propose
from surefoot.rig import Rig

__all__ = ["let_down"]

ROUNDS = 6


def let_down(
    clip: Clip,
    rig: Rig,
    let: Iterable[str],
    *,
    plant: Callable[[Clip], Planted],
    ground: Ground | None = None,
    tolerances: Mapping[str, Triple] | None = None,
) -> tuple[Clip, tuple[Proposal, ...]]:
    """Return the clip with its let channels changed until planting leaves no stretch, and the changes.

    Parameters
    ----------
    let : iterable of str
        The channels that may be changed, such as ``hips.y``.
    plant : callable
        Plants a clip the way that it will be planted.
    ground, tolerances : as for `check`

    Raises
    ------
    UnknownName
        If a let channel isn't the clip's.
    """
    let = tuple(let)
    for name in let:
        if name not in clip.channels:
            raise UnknownName("channel", name, clip.channels, place="let")
    done: list[Proposal] = []
    for _ in range(ROUNDS):
        planted = plant(clip)
        ways = propose(planted.clip, rig, ground=ground, belt=planted.belt, tolerances=tolerances)
        asked = [way for way in ways if way.finding.kind == "stretch" and way.asks in let]
        if not asked:
            break
        worst = max(asked, key=lambda way: way.finding.amount)
        clip = apply_proposals(clip, rig, [worst], let=let)
        done.append(worst)
    return clip, tuple(done)
