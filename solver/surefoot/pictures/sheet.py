"""Draw: one picture or a sheet of them for a clip."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from surefoot.belt import Belt
from surefoot.checking import Triple
from surefoot.clip import Clip, Stance
from surefoot.errors import InputError, UnknownName, finite_number
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.pictures.gait import gait_diagram
from surefoot.pictures.plan import track_plan
from surefoot.pictures.strip import pose_strip
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import Picture, stacked
from surefoot.pictures.traces import channel_curves, clearance, leg_curves
from surefoot.rig import Rig

__all__ = ["KINDS_OF_PICTURE", "draw", "pictures_of"]

Kind = Literal["strip", "plan", "gait", "channels", "clearance", "legs"]
KINDS_OF_PICTURE: tuple[Kind, ...] = ("strip", "plan", "gait", "channels", "clearance", "legs")


@checked()
def draw(
    clip: Clip,
    rig: Rig,
    *,
    kinds: Sequence[str] = KINDS_OF_PICTURE,
    before: Clip | None = None,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    channels: Sequence[str] | None = None,
    frames: Iterable[float] | None = None,
) -> Picture:
    """Return pictures of a clip, one below the other.

    Parameters
    ----------
    kinds : sequence of str
        Which, in their order: ``strip``, ``plan``, ``gait``, ``channels``, ``clearance``, ``legs``.
    before : Clip, optional
        The same clip before a change: drawn faint behind.
    ground, belt, stances, tolerances : as for `surefoot.check`
    channels : sequence of str, optional
        For ``channels``: which; else those that differ from ``before``.
    frames : iterable of float, optional
        For ``strip``: instead of contact, down, passing and up.

    Returns
    -------
    Picture
        Shows itself in a notebook; ``svg()`` gives the file's text.

    Raises
    ------
    InputError, UnknownName
        If the clip, rig and ground don't belong together, a kind of picture or a channel isn't known, or a frame
        is no number.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> surefoot.draw(clip, rig, kinds=["gait"]).svg().startswith("<svg")
    True
    """
    options = {"ground": ground, "tolerances": tolerances}
    now = Subject.of(clip, rig, belt=belt, stances=stances, ground=ground, tolerances=tolerances)
    then = None
    if before is not None:
        then = Subject.of(before, rig, belt=now.report.belt, stances=None, **options)  # type: ignore[arg-type]
    return pictures_of(now, before=then, kinds=kinds, channels=channels, frames=frames)


def pictures_of(
    subject: Subject,
    *,
    before: Subject | None = None,
    kinds: Sequence[str] = KINDS_OF_PICTURE,
    channels: Sequence[str] | None = None,
    frames: Iterable[float] | None = None,
) -> Picture:
    """Return pictures of what has been worked out already, one below the other."""
    frames = None if frames is None else [finite_number(frame, place="frames") for frame in frames]
    first, end = subject.clip.first, subject.clip.last + subject.clip.frames * subject.clip.loop
    for frame in frames or ():
        if not first <= frame <= end:
            told = f"frame {frame:g} lies outside the clip's {first} to {subject.clip.last}"
            raise InputError(told, place="frames")
    made = [_one(kind, subject, before, channels, frames) for kind in kinds]
    return made[0] if len(made) == 1 else stacked(made, f"Pictures of {subject.name}")


def _one(
    kind: str, subject: Subject, before: Subject | None, channels: Sequence[str] | None, frames: Iterable[float] | None
) -> Picture:
    if kind == "strip":
        return pose_strip(subject, before=before, frames=frames)
    if kind == "channels":
        return channel_curves(subject, before=before, channels=channels)
    plain = {"plan": track_plan, "gait": gait_diagram, "clearance": clearance, "legs": leg_curves}
    if kind not in plain:
        raise UnknownName("picture", kind, KINDS_OF_PICTURE)
    return plain[kind](subject, before=before)
