"""The whole job in a host: check its feet, or plant them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surefoot.belt import Belt
from surefoot.checking import Report
from surefoot.checking import check as check_clip
from surefoot.choice import Choice
from surefoot.clip import Clip, Stance
from surefoot.deck import Deck, ashore, motion_of
from surefoot.deck import aboard as seen_from
from surefoot.footprint import Anchor
from surefoot.given import checked, frames_in
from surefoot.ground import Ground
from surefoot.host.protocol import Host, Progress
from surefoot.host.reading import read, space_of, tell, telling
from surefoot.host.writing import write
from surefoot.letting import let_down
from surefoot.planting import Planted
from surefoot.planting import plant as plant_clip
from surefoot.rig import Rig

__all__ = ["Done", "check", "plant"]

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Done:
    """What planting in a host did.

    Parameters
    ----------
    planted : Planted
        As from `surefoot.plant`; its clip is what the host now evaluates to.
    before, after : Report
        The findings of both.
    layer : str
        The new layer, or nothing where keys were written or nothing had to be.
    written : tuple of str
        The channels that were written.
    """

    planted: Planted
    before: Report
    after: Report
    layer: str
    written: tuple[str, ...]


@checked()
def check(
    host: Host,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    aboard: Deck | str | ArrayLike | None = None,
    progress: Progress | None = None,
) -> Report:
    """Return what is wrong with the feet in the host; nothing is written.

    Parameters
    ----------
    ground, belt, stances, tolerances : as for `surefoot.check`
        A host states no belt and no stances: what isn't given is estimated and found.
    aboard : Deck, str or array_like of shape (frames, 4, 4), optional
        What the feet stand on where that moves: a deck (`surefoot.load_deck` reads one from a file), the name of a
        space of the host's, or world from deck at each frame, metres. Ground, belt and findings are then the deck's.
    progress : callable, optional
        Called as ``progress(share, what)`` at each stage and up to fifty times a second within it; False cancels.

    Raises
    ------
    InputError
        If the host's channels don't fit the rig; tells which.
    Cancelled
        If the callback answers False.
    """
    with telling(progress, 0.0, "reading the channels"):
        clip = read(host, rig)
        clip, rig, _ = _riding(host, clip, rig, aboard)
    with telling(progress, 0.5, "checking"):
        report = check_clip(clip, rig, ground=ground, belt=belt, stances=stances, tolerances=tolerances)
    tell(progress, 1.0, "done")
    return report


@checked(choice=Choice)
def plant(
    host: Host,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    before: Clip | None = None,
    anchor: Anchor | int = "flat",
    clearance: float = 0.0,
    keys: Literal["every", "few"] = "few",
    keys_at: Iterable[int] | None = None,
    choice: Choice | None = None,
    let: Iterable[str] = (),
    leave: Iterable[str] = (),
    into: Literal["layer", "keys"] = "layer",
    layer: str = "",
    tolerances: Mapping[str, Triple] | None = None,
    aboard: Deck | str | ArrayLike | None = None,
    progress: Progress | None = None,
) -> Done:
    """Plant the feet in the host, in one undo step, and return what was done.

    What can't be written is refused by name before the first write; whatever fails later is taken back.

    Parameters
    ----------
    ground, belt, stances, before, anchor, clearance, keys, keys_at, choice : as for `surefoot.plant`
        ``before`` may come from `surefoot.host.read`, called before the edit. Few keys are the default here.
    let : iterable of str
        Channels of the hips that may be lowered where no foot reaches, such as ``hips.y``.
    leave : iterable of str
        Channels that stay as they are though planting would change them; the rest makes do.
    into, layer : as for `surefoot.host.write`
        Left out, a new layer called ``planted feet``.
    aboard : as for `surefoot.host.check`
        Feet are planted on the deck, and so are footprints; what is written is in the host's world as before.
    progress : callable, optional
        Called as ``progress(share, what)`` at each stage, up to fifty times a second within it, and before each
        channel is written; False cancels, and the host is as it was.

    Raises
    ------
    InputError, Refused, Cancelled, NotRestored
        As `surefoot.host.read` and `surefoot.host.write` tell.

    Examples
    --------
    >>> import surefoot, surefoot.host
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> host = surefoot.host.MemoryHost(clip)
    >>> done = surefoot.host.plant(host, rig, belt=surefoot.Belt([0, 0, -1.35]))
    >>> host.layers(), host.steps
    (['planted feet'], ['Plant the feet'])
    """
    with telling(progress, 0.0, "reading the channels"):
        found = read(host, rig, leave=leave)
        seen, riding, deck = _riding(host, found, rig, aboard)
        if before is not None and deck is not None:
            before, _ = seen_from(before, rig, deck)
    stated = seen if stances is None else seen.with_stances(stances)
    chosen = Choice() if choice is None else choice
    keys_at = None if keys_at is None else frames_in(keys_at, found, "keys_at")

    def planted_of(clip: Clip) -> Planted:
        return plant_clip(
            clip, riding, ground=ground, belt=belt, before=before, anchor=anchor, clearance=clearance, keys=keys,
            keys_at=keys_at, choice=chosen,
        )  # fmt: skip

    lowered, let = stated, tuple(let)
    if let:
        with telling(progress, 0.1, "lowering the hips"):
            lowered, _ = let_down(
                stated, riding, let, plant=planted_of, ground=ground, tolerances=tolerances, keys=keys, keys_at=keys_at
            )
    with telling(progress, 0.3 if let else 0.1, "planting on the lowered hips" if let else "planting"):
        planted = planted_of(lowered)
    with telling(progress, 0.4, "checking"):
        judged = [
            check_clip(clip, riding, ground=ground, belt=planted.belt, tolerances=tolerances)
            for clip in (replace(seen, stances=planted.stances), planted.clip)
        ]
    planted = replace(planted, clip=ashore(planted.clip, found))
    name, written = write(host, found, planted.clip, rig, into=into, layer=layer, progress=progress)
    _finish(progress)
    return Done(planted, judged[0], judged[1], name, written)


def _riding(
    host: Host, clip: Clip, rig: Rig, motion: Deck | str | ArrayLike | None
) -> tuple[Clip, Rig, ArrayLike | None]:
    """Return clip and rig as seen from a deck, and world from deck; as they are, and None, without one."""
    if motion is None:
        return clip, rig, None
    if isinstance(motion, str):
        frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
        motion = space_of(host, motion, frames, clip.unit)
    deck = motion_of(clip, motion)
    return *seen_from(clip, rig, deck), deck


def _finish(progress: Progress | None) -> None:
    """Tell that all is done; it's too late to cancel."""
    if progress is not None:
        progress(1.0, "done")
