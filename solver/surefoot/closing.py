"""Closing the loop: value and slopes of every channel alike at both ends, keys beyond the range wrapped in."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from surefoot.clip import Clip
from surefoot.curves import Curve, Shape
from surefoot.errors import InputError
from surefoot.families import members
from surefoot.given import checked
from surefoot.key_edits import as_cycle, closes, wrapped_in
from surefoot.mend_seam import closed_curve
from surefoot.rig import Rig
from surefoot.seam import seam_gap

__all__ = ["close_loop"]

ALIKE = 1e-12


@checked()
def close_loop(clip: Clip, rig: Rig, *, of: Iterable[str] = (), share: float = 0.0) -> Clip:
    """Return a loop whose channels close: frame last + 1 is frame first again, up to what a channel advances.

    Every key comes to lie between frame first and frame last + 1. What goes round already keeps its motion; what
    doesn't meet itself in value or slope gets its end keys mended, and what holds outside its keys repeats from
    now on. What is closed already comes back as the same object.

    Parameters
    ----------
    of : iterable of str
        Channels, controls, groups or patterns; all channels if left out.
    share : float
        What part of a gap in value the first key takes, from 0 to 1; the last key takes the rest.

    Raises
    ------
    InputError
        If the clip is no loop, a channel to be mended is locked, or ``share`` isn't from 0 to 1.
    """
    if not clip.loop:
        raise InputError("the clip says that it's no loop", place="close")
    named = [name for one in of for name in members(clip, rig, one, place="close")] or list(clip.channels)
    changed = {}
    for name in named:
        old = clip.channels[name]
        new = _closed(old, clip, share)
        if new is not old:
            if name in clip.locked:
                raise InputError("it doesn't close, and it's locked", place=f"close {name}")
            changed[name] = new
    return clip.with_channels(changed) if changed else clip


def _closed(curve: Curve, clip: Clip, share: float) -> Curve:
    if len(curve.frames) == 1:
        return curve
    first, span = float(clip.first), float(clip.frames)
    curve = wrapped_in(curve, first, span)
    if (curve.shapes == Shape.STEP).all():
        return as_cycle(curve, first, span) or _stepped(curve, first, span, share)
    value, slope = seam_gap(curve, clip.first, clip.last)
    size = max(1.0, float(np.abs(curve.values).max()))
    if value <= ALIKE * size and slope <= ALIKE * size:
        cycle = as_cycle(curve, first, span)
        if cycle is not None:
            return cycle
    return closed_curve(curve, clip.first, clip.last, share=share)


def _stepped(curve: Curve, first: float, span: float, share: float) -> Curve:
    """Return a stepped channel with its first value again at the loop's end, which shows at the seam only."""
    made = closed_curve(curve, int(first), int(first + span) - 1, share=share)
    assert closes(made)
    return made
