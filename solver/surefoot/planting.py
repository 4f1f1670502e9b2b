"""Plant: from a clip with broken feet to one whose feet hold, hips untouched."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.as_written import as_written
from surefoot.belt import STILL, Belt
from surefoot.choice import Choice, keep_chosen
from surefoot.clip import Clip, Stance
from surefoot.contact import ContactLimits, estimate_belt, find_stances
from surefoot.dense import write_channels
from surefoot.errors import InputError, UnknownName, whole_number
from surefoot.few import KeyCount, write_few
from surefoot.footprint import Anchor, Prints, Tracks, fit_prints
from surefoot.given import checked, frames_in
from surefoot.ground import Flat, Ground
from surefoot.passing import passed_over
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene
from surefoot.settle import settle
from surefoot.still import write_still
from surefoot.styled import write_styled

__all__ = ["Footprint", "Planted", "plant", "scene_of"]

Array = NDArray[np.float64]

LEVEL = Flat(0.0)
ALL = Choice()
ANCHORS = ("flat", "contact", "fit")
"""What a footprint may be taken from, beside a frame."""


@dataclass(frozen=True, slots=True)
class Footprint:
    """Where one stance's sole lies.

    ``place`` is the ground under the flat foot's ankle, metres, in ground space
    (the space that rides on the belt and lies on the world at the first frame);
    ``yaw`` is its heading in radians.
    """

    stance: Stance
    place: tuple[float, float, float]
    yaw: float


@dataclass(frozen=True, slots=True, eq=False)
class Planted:
    """What `plant` gives back.

    Parameters
    ----------
    clip : Clip
        The mended clip, with its stances and belt stated. Channels that needed no change are
        the same objects as before.
    changed : tuple of str
        The channels that were written.
    stances : tuple of Stance
        As stated or found.
    belt : Belt
        As stated or estimated.
    footprints : tuple of Footprint
    ankle_change : ndarray, shape (frames, 2, 3)
        How far each ankle was moved, metres, world space.
    keys : tuple of KeyCount
        For each channel written with few keys, how many it had, has, and would have on every frame.
    """

    clip: Clip
    changed: tuple[str, ...]
    stances: tuple[Stance, ...]
    belt: Belt
    footprints: tuple[Footprint, ...]
    ankle_change: Array
    keys: tuple[KeyCount, ...] = ()

    def __repr__(self) -> str:
        most = 1e3 * float(np.linalg.norm(self.ankle_change, axis=-1).max(initial=0.0))
        told = f"{len(self.changed)} channels changed, {len(self.stances)} stances"
        return f"<Planted: {told}, ankles moved {most:.1f} mm at most, belt {self.belt.speed:.3f} m/s>"


@checked()
def scene_of(clip: Clip, rig: Rig, ground: Ground | None = None, belt: Belt | None = None) -> Scene:
    """Return the clip on its ground and belt: the one given, else the clip's, else the estimate."""
    if belt is None and clip.belt is None:
        scene = Scene.of(clip, rig, ground or LEVEL, belt=STILL)
        found = estimate_belt(scene)
        return scene if found.is_still else scene.with_belt(found)
    return Scene.of(clip, rig, ground or LEVEL, belt=belt)


@checked(choice=Choice, limits=ContactLimits)
def plant(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    before: Clip | None = None,
    anchor: Anchor | int = "flat",
    clearance: float = 0.0,
    leave_below: float = 1e-6,
    limits: ContactLimits | None = None,
    keys: Literal["every", "few"] = "every",
    keys_at: Iterable[int] | None = None,
    choice: Choice = ALL,
) -> Planted:
    """Return the clip with every stance planted, soles out of the ground and legs within reach.

    The hips and every channel that isn't a foot's come back as the same objects.

    Parameters
    ----------
    clip, rig : Clip, Rig
    ground : Ground, optional
        Level ground at height 0 if left out.
    belt : Belt, optional
        Motion of the ground; else the clip's own, else estimated from its low feet.
    stances : iterable of Stance, optional
        Else the clip's own, else those of ``before``, else found by height and speed.
    before : Clip, optional
        The clip before the hip edit: stances and footprints are taken from it.
    anchor : {"flat", "contact", "fit"} or int
        What a footprint is taken from: the keyed flat frame where there is one (else
        the fit), the first frame of contact, the least-squares fit, or a given frame.
    clearance : float
        Metres between sole and ground that the middle of each swing keeps.
    leave_below : float
        Metres: channels that would change by less stay as they are.
    limits : ContactLimits, optional
        Heights and speeds at which a foot counts as down, for a leg of 0.9 m.
    keys : {"every", "few"}
        A key on every frame of a changed channel, exactly as planted; or few keys where an animator
        would put them, within a tenth of a millimetre on the frames of a stance (see `KeyTolerance`).
    keys_at : iterable of int, optional
        Frames on which new keys may be put, with ``few``; what is then left is told in ``Planted.keys``.
    choice : Choice
        Which feet, frames and kinds of finding may be mended; all of them if left out.

    Returns
    -------
    Planted

    Raises
    ------
    InputError
        If the clip, rig and ground don't belong together; says how.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> done = surefoot.plant(clip, rig)
    >>> done.clip.channels["hips.y"] is clip.channels["hips.y"]
    True
    """
    allowed = _check_options(clip, anchor, keys, keys_at, choice)
    if stances is not None:
        clip = clip.with_stances(stances)
    scene = scene_of(clip, rig, ground, belt)
    prints = None
    if before is not None:
        earlier = scene_of(before, rig, ground, scene.belt)
        if (before.first, before.last, before.loop) != (clip.first, clip.last, clip.loop):
            raise InputError("it has another frame range or loop than the clip", place="before")
        found = clip.stances if clip.stances is not None else find_stances(earlier, limits)
        tracks = Tracks.of(earlier, found, like=Tracks.of(scene, found))
        prints = fit_prints(earlier, tracks, anchor=anchor, keyed=_keyed(earlier))
    else:
        found = find_stances(scene, limits)
    mend_reach = "stretch" in choice.kinds
    settled = settle(
        scene, found, anchor=anchor, keyed=_keyed(scene), clearance=clearance, prints=prints, mend_reach=mend_reach
    )
    settled = as_written(scene, settled, clearance=clearance, mend_reach=mend_reach)
    settled = passed_over(scene, settled)
    stance = settled.tracks.unroll(settled.tracks.planted)
    if choice != ALL:
        settled = keep_chosen(scene, settled, choice)
    ankle, _, _ = settled.in_world(scene)
    counts: tuple[KeyCount, ...] = ()
    at = None if allowed is None else np.isin(scene.frames, np.array(sorted(allowed), dtype=np.float64))
    if scene.binding.style is not None:
        channels, counts = write_styled(
            scene, settled, ankle=ankle, leave_below=leave_below, few=keys == "few", keys_at=at, stance=stance
        )
    elif scene.count == 1 and scene.drift is None:
        channels = write_still(scene, settled, ankle=ankle, leave_below=leave_below)
    elif keys == "few":
        channels, counts = write_few(scene, settled, ankle=ankle, leave_below=leave_below, keys_at=at, stance=stance)
    else:
        channels = write_channels(scene, settled, ankle=ankle, leave_below=leave_below)
    if choice != ALL:
        theirs = _of_others(rig, choice)
        channels = {name: curve for name, curve in channels.items() if name not in theirs}
    return Planted(
        clip=replace(clip, channels={**clip.channels, **channels}, stances=found, belt=scene.belt),
        changed=tuple(channels),
        stances=found,
        belt=scene.belt,
        footprints=_footprints(scene, found, settled.prints, settled.tracks),
        ankle_change=(ankle - scene.pose.ankle).transpose(2, 1, 0),
        keys=tuple(count for count in counts if count.channel in channels),
    )


def _of_others(rig: Rig, choice: Choice) -> set[str]:
    """Return the channels of the feet that aren't chosen."""
    feet = zip(FEET, rig.feet, strict=True)
    return {axis.channel for name, foot in feet if name not in choice.feet for axis in foot.axes.values()}


def _check_options(clip: Clip, anchor: object, keys: str, keys_at: object, choice: Choice) -> frozenset[int] | None:
    """Return the frames on which new keys may be put, None for all; raise InputError for what isn't an option."""
    if isinstance(anchor, str):
        if anchor not in ANCHORS:
            raise UnknownName("anchor", anchor, ANCHORS, place="anchor")
    else:
        frame = whole_number(anchor, place="anchor")
        if not clip.first <= frame <= clip.last:
            raise InputError(f"frame {frame} lies outside the clip's {clip.first} to {clip.last}", place="anchor")
    if choice.frames is not None:
        first, last = choice.frames
        if last < clip.first or first > clip.last + clip.frames * clip.loop:
            told = f"frames {first} to {last} lie outside the clip's {clip.first} to {clip.last}"
            raise InputError(told, place="choice: frames")
    if keys not in ("few", "every"):
        raise InputError(f"wanted few or every, got {keys!r}", place="keys")
    if keys_at is None:
        return None
    if keys != "few":
        raise InputError("it's for few keys; say keys='few' as well", place="keys_at")
    return frames_in(keys_at, clip, "keys_at")


def _keyed(scene: Scene) -> NDArray[np.bool_]:
    """Return on which whole frames of the range each foot's place has a key, ``(2, frames)``."""
    clip, rig = scene.binding.clip, scene.binding.rig
    keyed = np.zeros((2, scene.count), dtype=bool)
    for foot, control in enumerate(rig.feet):
        for key in ("x", "z", "hip_flexion"):
            axis = control.axes.get(key)
            if axis is None or axis.channel not in clip.channels:
                continue
            at = clip.channels[axis.channel].frames - clip.first
            whole = at.astype(np.intp)
            keyed[foot, whole[(whole == at) & (whole >= 0) & (whole < scene.count)]] = True
    return keyed


def _footprints(scene: Scene, stances: tuple[Stance, ...], prints: Prints, tracks: Tracks) -> tuple[Footprint, ...]:
    """Return the footprint of each stance, where it lies in the stance's own round of a loop."""
    origin, yaw = prints.origin, prints.yaw
    if scene.drift is not None and not scene.drift.is_still:
        laps = np.zeros(len(yaw), dtype=np.intp)
        for foot in (0, 1):  # backwards, so that each print's first frame has the last word
            on = tracks.print_of[foot] >= 0
            laps[tracks.print_of[foot, on][::-1]] = tracks.laps[foot, on][::-1]
        late = laps == 1
        origin, yaw = origin.copy(), np.where(late, yaw - scene.drift.turn, yaw)
        origin[:, late] = scene.drift.apply(origin[:, late], times=-1)
    own = tracks.source == np.arange(len(tracks.source))
    order = [stance for foot in FEET for stance in stances if stance.foot == foot]
    places = zip(order, *origin[:, own].tolist(), yaw[own].tolist(), strict=True)
    return tuple(Footprint(stance, (x, y, z), turn) for stance, x, y, z, turn in places)
