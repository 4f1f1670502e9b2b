"""A host in memory: the protocol's example, with layers, undo, and a status for each channel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Pack
from surefoot.errors import InputError, UnknownName
from surefoot.host.protocol import Setup, Status

__all__ = ["MemoryHost"]

Array = NDArray[np.float64]
Layers = dict[str, dict[str, Curve]]


class MemoryHost:
    """Holds a clip's channels as a host program would.

    Parameters
    ----------
    clip : Clip
        Its channels, range, rate and loop.
    unit, angle : str
        Of the channels' numbers; left out, what the clip states, else metres and degrees.
    statuses : mapping of str to Status
        Of channels that aren't free.
    orders : mapping of str to str
        Rotation orders by control.
    """

    def __init__(
        self,
        clip: Clip,
        *,
        unit: str = "",
        angle: str = "",
        statuses: Mapping[str, Status] | None = None,
        orders: Mapping[str, str] | None = None,
    ) -> None:
        self._setup = Setup(
            clip.first, clip.last, clip.rate, unit or clip.unit or "m", angle or clip.angle or "deg", clip.loop,
            clip.name,
        )  # fmt: skip
        self._own: dict[str, Curve] = dict(clip.channels)
        self._spaces = dict(clip.spaces)
        self._layers: Layers = {}
        self._statuses = dict.fromkeys(clip.locked, Status.LOCKED) | dict(statuses or {})
        self._orders = dict(orders or {})
        self._undo: list[tuple[str, dict[str, Curve], Layers]] = []
        self._open = False

    @property
    def steps(self) -> list[str]:
        """The undo steps that there are, the latest last."""
        return [name for name, _, _ in self._undo]

    def setup(self) -> Setup:
        """Return range, rate and units."""
        return self._setup

    def status(self, channel: str) -> Status:
        """Return what may be done with a channel."""
        return self._statuses.get(channel, Status.FREE if channel in self._own else Status.ABSENT)

    def order(self, control: str) -> str | None:
        """Return a control's rotation order, if it's known."""
        return self._orders.get(control)

    def keys(self, channel: str) -> Curve | None:
        """Return the channel's own keys."""
        return self._own.get(channel)

    def samples(self, channels: Sequence[str], frames: Array) -> Array:
        """Return own keys and layers added up, ``(channels, frames)``."""
        for name in channels:
            if name not in self._own:
                raise UnknownName("channel", name, self._own, place="host")
        found = Pack.from_curves([self._own[name] for name in channels]).evaluate(frames)
        for layer in self._layers.values():
            for row, name in enumerate(channels):
                if name in layer:
                    found[row] += Pack.from_curves([layer[name]]).evaluate(frames)[0]
        return found

    def spaces(self, name: str, frames: Array) -> Array:
        """Return the clip's sampled parent space at whole frames of the range, ``(frames, 4, 4)``."""
        from surefoot.units import LENGTHS

        if name not in self._spaces:
            raise UnknownName("space", name, self._spaces, place="host")
        found = np.array(self._spaces[name][np.asarray(frames, dtype=np.intp) - self._setup.first])
        found[:, :3, 3] /= LENGTHS[self._setup.unit]
        return found

    def layers(self) -> Sequence[str]:
        """Return the layers' names, in the order in which they were made."""
        return list(self._layers)

    def begin_step(self, name: str) -> None:
        """Open an undo step."""
        if self._open:
            raise InputError(f"the step {self._undo[-1][0]!r} is open", place="host")
        self._undo.append((name, dict(self._own), {layer: dict(curves) for layer, curves in self._layers.items()}))
        self._open = True

    def step_open(self) -> bool:
        """Return whether a step is open."""
        return self._open

    def write(self, channel: str, curve: Curve, layer: str) -> None:
        """Put keys on a channel, or on a layer over it."""
        if not self._open:
            raise InputError("no undo step is open", place="host")
        if self.status(channel) is not Status.FREE:
            raise InputError(f"it is {self.status(channel)}", place=f"host: {channel}")
        (self._layers.setdefault(layer, {}) if layer else self._own)[channel] = curve

    def end_step(self) -> None:
        """Close the undo step."""
        self._open = False

    def undo_step(self) -> None:
        """Take the latest step back."""
        if not self._undo:
            raise InputError("there is nothing to undo", place="host")
        _, self._own, self._layers = self._undo.pop()
        self._open = False
