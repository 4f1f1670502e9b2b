"""Aboard: feet planted in a space that moves: a lift, a platform, a boat's deck.

Ground, belt, footprints and findings are then the deck's; channels stay what they were, in the world. It's done
by hanging hips and feet in the deck's motion turned round, so that what the solver calls the world is the deck.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Pack
from surefoot.errors import InputError, ShapeError, UnknownName, came
from surefoot.given import checked
from surefoot.planting import Planted, plant
from surefoot.rig import Rig
from surefoot.rotations import check_order, matrix

__all__ = ["AXES", "Deck", "aboard", "ashore", "motion_of", "name_of", "plant_aboard"]

Array = NDArray[np.float64]

DECK = "aboard"
"""The space in which the controls hang that hang in the world otherwise."""

SQUARE = 1e-6
CLOSED = 1e-4
"""Metres, and radians, by which a deck may miss its first place at the end of a loop."""
AXES = ("x", "y", "z", "pitch", "yaw", "roll")


@dataclass(frozen=True, slots=True, eq=False)
class Deck:
    """A deck's rigid motion, keyed: where its origin is in the world, and how it's turned.

    Parameters
    ----------
    curves : mapping of str to Curve
        By axis: ``x``, ``y``, ``z`` in metres, ``pitch``, ``yaw``, ``roll`` in radians; one that's left out is 0.
    order : str
        In which the turns are multiplied, as for a rig's control.
    in_seconds : bool
        Whether the keys' times are seconds since the clip's first frame; else they're the clip's frames.
    rate : Fraction or None
        Frames per second that frames are counted in, where the deck says so: the clip's must be the same.
    covers : tuple of two floats, or None
        The first and last time that is known; None for keys that say what's outside them.
    name : str

    Raises
    ------
    InputError
        If there's no curve, an axis or order is unknown, or what is covered runs backwards.
    """

    curves: Mapping[str, Curve]
    order: str = "yxz"
    in_seconds: bool = False
    rate: Fraction | None = None
    covers: tuple[float, float] | None = None
    name: str = field(default="")

    def __post_init__(self) -> None:
        if not self.curves:
            raise InputError(f"a deck needs one of {', '.join(AXES)} at least", place="deck")
        for axis in self.curves:
            if axis not in AXES:
                raise UnknownName("axis of a deck", str(axis), AXES, place="deck")
        object.__setattr__(self, "order", check_order(str(self.order), place="deck: order"))
        object.__setattr__(self, "curves", MappingProxyType(dict(self.curves)))

    def motion(self, clip: Clip) -> Array:
        """Return world from deck at each frame of a clip's range, ``(frames, 4, 4)``, metres.

        Raises InputError if the clip has another rate, isn't covered, or is a loop that the deck doesn't close.
        """
        if self.rate is not None and self.rate != clip.rate:
            raise InputError(
                f"it counts {float(self.rate):g} frames a second, the clip {float(clip.rate):g}; "
                "make the two agree, or give its times in seconds",
                place=self._place,
            )
        frames = np.arange(clip.first, clip.last + 1, dtype=np.float64)
        self._check_cover(clip)
        found = self._at(frames, clip)
        if clip.loop and self.covers is None:
            end = self._at(np.array([clip.last + 1.0]), clip)[0]
            if np.abs(end - found[0]).max() > CLOSED:
                over = np.clip((np.trace(end[:3, :3] @ found[0, :3, :3].T) - 1.0) / 2.0, -1.0, 1.0)
                far = np.linalg.norm(end[:3, 3] - found[0, :3, 3])
                told = f"{far:.3g} m and {np.degrees(np.arccos(over)):.3g} degrees away"
                raise InputError(
                    f"at frame {clip.last + 1} it's {told} from where it was at frame {clip.first}, and the clip is a "
                    "loop; write the cycle out first, or state an even motion as the belt",
                    place=self._place,
                )
        return found

    @property
    def _place(self) -> str:
        return f"deck {self.name}".strip()

    def _check_cover(self, clip: Clip) -> None:
        if self.covers is None:
            return
        first, last = self.covers
        ends = (0.0, (clip.frames - 1) * clip.step) if self.in_seconds else (clip.first, clip.last)
        slack = 0.5 * clip.step if self.in_seconds else 0.0
        if first > ends[0] + slack or last < ends[1] - slack:
            unit = "second" if self.in_seconds else "frame"
            raise InputError(
                f"too few frames: it's known from {unit} {first:g} to {last:g}, and the clip runs from "
                f"{ends[0]:g} to {ends[1]:g}",
                place=self._place,
            )

    def _at(self, frames: Array, clip: Clip) -> Array:
        times = (frames - clip.first) * clip.step if self.in_seconds else frames
        values = np.zeros((len(AXES), len(times)))
        rows = [AXES.index(axis) for axis in self.curves]
        values[rows] = Pack.from_curves(list(self.curves.values())).evaluate(times)
        made = np.tile(np.eye(4), (len(times), 1, 1))
        made[:, :3, 3] = values[:3].T
        made[:, :3, :3] = np.moveaxis(matrix(values[3], values[4], values[5], order=self.order), -1, 0)
        return made


def motion_of(clip: Clip, motion: Deck | str | ArrayLike) -> Array:
    """Return world from deck at each frame of a clip's range, ``(frames, 4, 4)``, metres, rigid.

    Parameters
    ----------
    motion : Deck, str or array_like, shape (frames, 4, 4)
        A deck, the name of a space that the clip gives as matrices, or the matrices.

    Raises
    ------
    ShapeError, InputError
        If there isn't one rigid matrix a frame; UnknownName if the clip has no such space.
    """
    if isinstance(motion, Deck):
        return motion.motion(clip)
    if isinstance(motion, str):
        if motion not in clip.spaces:
            raise UnknownName("space of the clip", motion, clip.spaces, place="motion")
        motion = clip.spaces[motion]
    try:
        matrices = np.array(motion, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        told = f"wanted a Deck, a space's name or a matrix a frame, got {came(motion)}"
        raise InputError(told, place="motion") from None
    if matrices.shape != (clip.frames, 4, 4):
        raise ShapeError(
            f"expected a matrix a frame, ({clip.frames}, 4, 4), got shape {matrices.shape}", place="motion"
        )
    if not np.all(np.isfinite(matrices)):
        raise InputError("expected finite numbers", place="motion")
    turn = matrices[:, :3, :3]
    upright = np.abs(turn @ turn.swapaxes(1, 2) - np.eye(3)).max(axis=(1, 2)) < SQUARE
    rigid = upright & (np.linalg.det(turn) > 0.0) & (np.abs(matrices[:, 3] - [0.0, 0.0, 0.0, 1.0]).max(axis=1) < SQUARE)
    if not rigid.all():
        frame = clip.first + int(np.argmin(rigid))
        raise InputError("expected a turn and a shift, without scale or mirror", place=f"motion, frame {frame}")
    return matrices


@checked()
def aboard(clip: Clip, rig: Rig, motion: Deck | str | ArrayLike) -> tuple[Clip, Rig]:
    """Return the clip and the rig as seen from a moving deck, for `check` and for whatever else takes both.

    The clip's belt, stated or to be estimated, is then the ground's motion along the deck.

    Parameters
    ----------
    clip : Clip
        Authored in the world.
    motion : as for `motion_of`
        World from deck: turns and shifts, no scale.

    Raises
    ------
    ShapeError, InputError
        As `motion_of` tells, or if the clip has a space named ``aboard`` already.
    """
    matrices = motion_of(clip, motion)
    if DECK in clip.spaces or DECK in rig.controls:
        raise InputError("the clip has a space of that name already", place=DECK)
    controls = {
        name: replace(control, parent=DECK) if control.parent == "world" else control
        for name, control in rig.controls.items()
    }
    inverse = np.asarray(np.linalg.inv(matrices), dtype=np.float64)
    spaces = {name: inverse @ samples for name, samples in clip.spaces.items()}
    return replace(clip, spaces={**spaces, DECK: inverse}), replace(rig, controls=controls)


def ashore(made: Clip, clip: Clip) -> Clip:
    """Return what was made of a clip seen from a deck as it is in the world; ``clip`` is the one that went aboard."""
    return replace(made, spaces=clip.spaces)


def name_of(motion: Deck | str | ArrayLike) -> str:
    """Return what a deck is called in tables: its own name, that of the space, else ``deck``."""
    return (motion if isinstance(motion, str) else motion.name if isinstance(motion, Deck) else "") or "deck"


@checked()
def plant_aboard(clip: Clip, rig: Rig, motion: Deck | str | ArrayLike, **options: Any) -> Planted:
    """Return the clip with its feet planted on a moving deck; footprints are in the deck's space.

    ``motion`` is as for `motion_of`; ``options`` are `plant`'s own: the ground is the deck's, and a clip ``before``
    rode on the same deck.

    Raises
    ------
    ShapeError, InputError, UnknownName
        As for `motion_of` and `plant`.
    """
    seen, riding = aboard(clip, rig, motion)
    if isinstance(options.get("before"), Clip):
        options["before"], _ = aboard(options["before"], rig, motion)
    done = plant(seen, riding, **options)
    return replace(done, clip=ashore(done.clip, clip))
