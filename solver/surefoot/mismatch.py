"""Mismatch: how far a cycle's one side is from the other half a cycle later, channel by channel."""

from __future__ import annotations

import numpy as np

from surefoot.clip import Clip
from surefoot.curves import Pack
from surefoot.findings import Finding, level_of
from surefoot.key_edits import advance_of
from surefoot.mirror import mirror_of
from surefoot.rig import Rig
from surefoot.seam import LEVER

__all__ = ["mismatch_findings", "mismatches"]

PER_FRAME = 4


def mismatches(clip: Clip, rig: Rig) -> dict[str, tuple[float, float]]:
    """Return how far each channel is from the mirror's, half a cycle later: the most, and the frame of it.

    Metres; a turn counts by how far it moves the end of a lever of 0.2 m. Of a pair only the right side's channel
    is told, as both miss each other by the same. Empty for a clip that is no loop. Sideways travel isn't counted.
    """
    if not clip.loop:
        return {}
    wanted = [r for r in mirror_of(clip, rig).reflections.values() if r.side != "left" and r.channel in clip.channels]
    if not wanted:
        return {}
    names = list(dict.fromkeys(name for r in wanted for name in (r.channel, r.source)))
    row = {name: k for k, name in enumerate(names)}
    pack = Pack.from_curves([clip.channels[name] for name in names])
    frames = clip.first + np.arange(clip.frames * PER_FRAME) / PER_FRAME
    half = clip.frames / 2.0
    now, before = pack.evaluate(frames), pack.evaluate(frames - half)
    found = {}
    for r in wanted:
        own, rate = now[row[r.channel]], advance_of(clip.channels[r.source])
        mirrored = r.factor * (before[row[r.source]] + rate * half) + r.offset
        if r.sideways and rate != 0.0:
            ramp = rate * (frames - clip.first)
            own, mirrored = own - ramp, mirrored + ramp
        gap = np.abs(own - mirrored) * r.size * (LEVER if r.turns else 1.0)
        at = int(gap.argmax())
        found[r.channel] = (float(gap[at]), float(frames[at]))
    return found


def mismatch_findings(clip: Clip, rig: Rig, limits: tuple[float, float, float]) -> list[Finding]:
    """Return a finding for each channel that isn't its partner's mirror half a cycle later."""
    found = []
    for name, (amount, frame) in mismatches(clip, rig).items():
        told = level_of(amount, limits)
        if told is not None:
            found.append(Finding("mismatch", "", clip.first, clip.last, frame, amount, told[1], told[0], name))
    return found
