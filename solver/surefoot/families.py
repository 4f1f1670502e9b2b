"""Which channels a name means: one channel, a control's family, a group such as ``hips``, or a pattern."""

from __future__ import annotations

from fnmatch import fnmatchcase

from surefoot.clip import Clip
from surefoot.errors import UnknownName
from surefoot.rig import Rig

__all__ = ["group_of", "last_word", "members"]


def group_of(channel: str) -> str:
    """Return what stands before a channel's last point (``chest`` of ``chest.yaw``), without its namespace."""
    return channel.rpartition(":")[2].rpartition(".")[0]


def last_word(channel: str) -> str:
    """Return what stands after a channel's last point: ``yaw`` of ``chest.yaw``."""
    return channel.rpartition(":")[2].rpartition(".")[2]


def members(clip: Clip, rig: Rig, name: str, *, place: str = "channels") -> tuple[str, ...]:
    """Return the clip's channels that a name means, in the clip's order.

    A channel's own name comes first, then a control of the rig (the channels that move it, whatever they're
    called), then a group (all channels whose names begin so: ``chest`` means ``chest.yaw`` and its kin), then a
    pattern with ``*`` (``*.yaw``).

    Raises UnknownName, with the nearest name, when it means none.
    """
    if name in clip.channels:
        return (name,)
    control = rig.controls.get(name)
    own = set() if control is None else {axis.channel for axis in control.axes.values()}
    found = tuple(channel for channel in clip.channels if channel in own)
    found = found or tuple(channel for channel in clip.channels if group_of(channel) == name)
    found = found or tuple(channel for channel in clip.channels if "*" in name and fnmatchcase(channel, name))
    if not found:
        groups = {group_of(channel) for channel in clip.channels} - {""}
        raise UnknownName("channel or family", name, {*clip.channels, *rig.controls, *groups}, place=place)
    return found
