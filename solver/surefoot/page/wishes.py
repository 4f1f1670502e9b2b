"""What the page asks for: the state of its sliders, keys and choices, as one plain value that a browser sends whole."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from surefoot.errors import InputError

__all__ = ["KeySet", "Mixed", "Taken", "Turned", "Wishes", "read_wishes"]

Share = Annotated[float, msgspec.Meta(ge=-3.0, le=3.0)]
Frames = Annotated[float, msgspec.Meta(ge=-100_000.0, le=100_000.0)]
Name = Annotated[str, msgspec.Meta(max_length=200)]


class Mixed(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A channel or a family scaled about its mean, 1 as authored, and shifted so many frames later."""

    channels: Name
    share: Share = 1.0
    later: Frames = 0.0


class KeySet(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A key's value put by hand, in the channel's own unit; the key is found by its frame after the mix."""

    channel: Name
    frame: Frames
    value: Annotated[float, msgspec.Meta(ge=-1e9, le=1e9)]


class Turned(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A finding that is rejected: it stays as it is."""

    kind: Name
    foot: Name
    first: int
    last: int


class Taken(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A way to mend a finding that is taken by name, ahead of the plant."""

    kind: Name
    foot: Name
    part: Name
    way: Name
    first: int
    last: int


class Wishes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Everything the page has set.

    ``speed`` is the belt's, metres a second, None as it is; ``slope`` tips the level ground up ahead, degrees;
    ``clearance`` is kept under the swing, metres; ``let`` names channels that may be lowered; ``channel`` is shown.
    """

    mix: Annotated[tuple[Mixed, ...], msgspec.Meta(max_length=64)] = ()
    keys: Annotated[tuple[KeySet, ...], msgspec.Meta(max_length=2000)] = ()
    rejected: Annotated[tuple[Turned, ...], msgspec.Meta(max_length=500)] = ()
    taken: Annotated[tuple[Taken, ...], msgspec.Meta(max_length=50)] = ()
    let: Annotated[tuple[Name, ...], msgspec.Meta(max_length=8)] = ()
    speed: Annotated[float, msgspec.Meta(ge=-20.0, le=20.0)] | None = None
    slope: Annotated[float, msgspec.Meta(ge=-30.0, le=30.0)] = 0.0
    clearance: Annotated[float, msgspec.Meta(ge=0.0, le=1.0)] = 0.0
    channel: Name = ""


class Asked(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One request: the wishes, and whether it's the whole answer that is wanted or the quick one."""

    wishes: Wishes
    serial: int = 0
    answer: Literal["quick", "whole"] = "quick"


_DECODER = msgspec.json.Decoder(Asked)


def read_wishes(body: bytes) -> Asked:
    """Return what a request asks for; raises InputError with one sentence for whatever is no such thing."""
    try:
        return _DECODER.decode(body)
    except msgspec.ValidationError as error:
        raise InputError(f"the request is not understood: {error}") from None
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(f"the request is no JSON: {error}") from None
