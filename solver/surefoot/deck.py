"""Aboard: feet planted in a space that moves: a lift, a platform, a boat's deck.

Ground, footprints and findings are then the deck's; channels stay what they were, in the world. It's done by
hanging hips and feet in the deck's motion turned round, so that what the solver calls the world is the deck.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.belt import STILL
from surefoot.clip import Clip
from surefoot.errors import InputError, ShapeError, came
from surefoot.given import checked
from surefoot.planting import Planted, plant
from surefoot.rig import Rig

__all__ = ["aboard", "plant_aboard"]

Array = NDArray[np.float64]

DECK = "deck"
SQUARE = 1e-6


@checked()
def aboard(clip: Clip, rig: Rig, motion: ArrayLike) -> tuple[Clip, Rig]:
    """Return the clip and the rig as seen from a moving deck, for `check` and for whatever else takes both.

    Parameters
    ----------
    clip : Clip
        Authored in the world.
    motion : array_like, shape (frames, 4, 4)
        World from deck at each frame of the range, metres: turns and shifts, no scale.

    Raises
    ------
    ShapeError, InputError
        If there isn't one rigid matrix a frame, or the clip has a space named ``deck`` already.
    """
    try:
        matrices = np.array(motion, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"wanted a matrix a frame, got {came(motion)}", place="motion") from None
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
    if DECK in clip.spaces or DECK in rig.controls:
        raise InputError("the clip has a space of that name already", place=DECK)
    controls = {
        name: replace(control, parent=DECK) if control.parent == "world" else control
        for name, control in rig.controls.items()
    }
    inverse = np.asarray(np.linalg.inv(matrices), dtype=np.float64)
    seen = replace(clip, spaces={**clip.spaces, DECK: inverse}, belt=STILL)
    return seen, replace(rig, controls=controls)


@checked()
def plant_aboard(clip: Clip, rig: Rig, motion: ArrayLike, **options: Any) -> Planted:
    """Return the clip with its feet planted on a moving deck; footprints are in the deck's space.

    ``motion`` is as for `aboard`, ``(frames, 4, 4)``; ``options`` are `plant`'s own; the ground is the deck's.

    Raises
    ------
    ShapeError, InputError
        As for `aboard` and `plant`.
    """
    seen, riding = aboard(clip, rig, motion)
    done = plant(seen, riding, **options)
    return replace(done, clip=replace(done.clip, spaces=clip.spaces))
