"""What can go wrong between Surefoot and a host, beyond wrong input."""

from __future__ import annotations

from collections.abc import Mapping

from surefoot.errors import InputError, SurefootError

__all__ = ["Cancelled", "NotRestored", "Refused"]


class Refused(InputError):
    """Channels that would have to be written can't be; nothing has been. ``channels`` gives each its reason."""

    def __init__(self, channels: Mapping[str, str], *, try_this: str) -> None:
        told = ", ".join(f"{name} ({reason})" for name, reason in channels.items())
        super().__init__(f"can't be written: {told}; {try_this}", place="host")
        self.channels = dict(channels)


class Cancelled(SurefootError):
    """The caller's progress callback said stop; the host is as it was."""


class NotRestored(SurefootError):
    """Something went wrong while writing, and the host didn't take it back; ``left`` names what isn't as it was."""

    def __init__(self, why: str, left: tuple[str, ...]) -> None:
        names = ", ".join(left) if left else "nothing that could be read"
        super().__init__(f"host: writing failed and undoing it did too ({why}); not as it was: {names}")
        self.left = left
