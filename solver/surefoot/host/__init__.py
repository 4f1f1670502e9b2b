"""Working inside a host program: a small protocol, and the whole job done through it.

Write one class with the methods of `Host` for the program at hand; then ``plant(host, rig)`` reads its
channels, plants the feet, and writes the correction as a new layer in one undo step. Whatever goes wrong,
the host is left as it was. Nothing here starts a thread, prints, or keeps anything between two calls.

For anything else, `read` gives the rig's channels as a clip, the library works on that, and `write` puts what
differs back, under the same promises: ``write(host, clip, surefoot.apply_proposals(clip, rig, ways), rig)``.

Feet on something that moves, a lift or a boat's deck: ``plant(host, rig, aboard="boat")`` takes a space of the
host's, or a deck from ``surefoot.load_deck``.

`MemoryHost` is such a class, with the channels in memory: an example to copy, and a place to try things.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from surefoot.host.jobs import Done, check, plant
    from surefoot.host.memory import MemoryHost
    from surefoot.host.protocol import Host, Progress, Setup, Status
    from surefoot.host.reading import read
    from surefoot.host.refusals import Cancelled, NotRestored, Refused
    from surefoot.host.writing import write

_HOMES = {
    "jobs": ("Done", "check", "plant"),
    "memory": ("MemoryHost",),
    "protocol": ("Host", "Progress", "Setup", "Status"),
    "reading": ("read",),
    "refusals": ("Cancelled", "NotRestored", "Refused"),
    "writing": ("write",),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}

__all__ = [
    "Cancelled",
    "Done",
    "Host",
    "MemoryHost",
    "NotRestored",
    "Progress",
    "Refused",
    "Setup",
    "Status",
    "check",
    "plant",
    "read",
    "write",
]


def __getattr__(name: str) -> Any:
    module = _HOME_OF.get(name)
    if module is None:
        raise AttributeError(f"module 'surefoot.host' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"surefoot.host.{module}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
