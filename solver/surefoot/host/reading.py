"""From a host to a clip: the channels that a rig names, as what they evaluate to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.errors import InputError, UnitError, UnknownName
from surefoot.given import checked
from surefoot.heeding import heed, heeding
from surefoot.host.protocol import Host, Progress, Setup, Status
from surefoot.host.refusals import Cancelled
from surefoot.rig import LENGTHWISE, Rig
from surefoot.units import ANGLES, LENGTHS

__all__ = ["evaluated", "keyed", "read", "sampled_channels", "space_of", "status_of", "tell", "telling", "times_of"]

Array = NDArray[np.float64]

ALIKE = 1e-5
"""Share of a channel's span, and of 1, by which a host's evaluation may differ from its keys' (single precision)."""
THIRDS = (1.0 / 3.0, 2.0 / 3.0)
HELD = 1e-3
"""Share of a jump by which a channel that holds before it may differ from its key; a cubic's start is above 1/27."""
SAMPLED = "sampled"
"""The clip's extra field that lists channels which aren't their own keys alone."""


def tell(progress: Progress | None, done: float, what: str) -> None:
    """Report progress; raise Cancelled when the callback answers False."""
    if progress is not None and progress(done, what) is False:
        raise Cancelled(f"cancelled before: {what}")


@contextmanager
def telling(progress: Progress | None, done: float, what: str) -> Iterator[None]:
    """Report progress, and go on asking the callback while the work inside is under way."""
    tell(progress, done, what)
    if progress is None:
        yield
        return

    def ask() -> None:
        if progress(done, what) is False:
            raise Cancelled(f"cancelled while {what}")

    with heeding(ask):
        yield


@checked()
def read(host: Host, rig: Rig, *, leave: Iterable[str] = ()) -> Clip:
    """Return the rig's channels in the host as a clip, in the host's own units.

    A channel whose keys alone give what it evaluates to comes with its keys. One that is muted, driven, has
    layers over it or no keys comes with a key on every frame and the slopes that it has there, and is named in
    the clip's extra field ``sampled``. Optional channels that are absent are left out, and locked.

    Parameters
    ----------
    leave : iterable of str
        Channels that planting must leave as they are.

    Raises
    ------
    InputError
        If a channel is absent, not finite or of the wrong shape; a rotation order or a unit isn't the
        rig's. Tells which.
    """
    setup = host.setup()
    _check_units(setup, rig)
    _check_orders(host, rig)
    names, absent = _present(host, rig)
    frames = np.arange(setup.first, setup.last + 1, dtype=np.float64)
    whole, times = times_of(setup.first, setup.last + setup.loop)
    found = evaluated(host, names, times)
    channels: dict[str, Curve] = {}
    sampled: list[str] = []
    for name, values in zip(names, found, strict=True):
        heed()
        keys = host.keys(name)
        if keys is not None and _gives(keys, times, values):
            channels[name] = keys
        else:
            channels[name] = keyed(whole, values, setup.loop)
            sampled.append(name)
    left = frozenset(leave)
    for name in left:
        if name not in channels:
            raise UnknownName("channel", name, channels, place="leave")
    rate = setup.rate if isinstance(setup.rate, Fraction) else Fraction(setup.rate)
    clip = Clip(
        channels=channels, rate=rate, first=setup.first, last=setup.last, loop=setup.loop, locked=left | set(absent),
        name=setup.name, rig=rig.name, unit=setup.unit, angle=setup.angle, extra={SAMPLED: sampled} if sampled else {},
    )  # fmt: skip
    parents = {control.parent for control in rig.controls.values()} - {"world", *rig.controls}
    return replace(clip, spaces={name: space_of(host, name, frames, setup.unit) for name in sorted(parents)})


def sampled_channels(clip: Clip) -> frozenset[str]:
    """Return the channels of a clip from `read` that aren't their own keys alone."""
    return frozenset(clip.extra.get(SAMPLED, ()))


def status_of(host: Host, channel: str) -> Status:
    """Return what the host says may be done with a channel; raise InputError if it's none of `Status`."""
    told = host.status(channel)
    try:
        return Status(told)
    except ValueError:
        known = ", ".join(status.value for status in Status)
        raise InputError(f"its status is {told!r}; wanted one of {known}", place=f"host: {channel}") from None


def evaluated(host: Host, names: list[str], frames: Array) -> Array:
    """Return what the host says channels evaluate to, ``(channels, frames)``, or raise InputError with the channel."""
    try:
        found = np.array(host.samples(names, frames), dtype=np.float64)
    except (TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"wanted numbers for each channel and frame: {error}", place="host.samples") from error
    if found.shape != (len(names), len(frames)):
        raise InputError(f"wanted the shape {(len(names), len(frames))}, got {found.shape}", place="host.samples")
    bad = np.argwhere(~np.isfinite(found))
    if len(bad):
        row, at = bad[0]
        raise InputError(f"it evaluates to {found[row, at]} at frame {frames[at]:g}", place=f"host: {names[row]}")
    return found


def _present(host: Host, rig: Rig) -> tuple[list[str], list[str]]:
    """Return the rig's channels that the host has, and optional ones that it hasn't; raise if one is needed."""
    names: list[str] = []
    optional: list[str] = []
    absent: list[str] = []
    for control in rig.controls.values():
        for axis in control.axes.values():
            status = status_of(host, axis.channel)
            if status is not Status.ABSENT:
                names.append(axis.channel)
            else:
                (optional if axis.optional else absent).append(axis.channel)
    if absent:
        raise InputError(f"the rig's channels {', '.join(absent)} are absent", place="host")
    return names, optional


def _check_units(setup: Setup, rig: Rig) -> None:
    """Raise UnitError if the rig reads a channel in another unit than the host has."""
    for control in rig.controls.values():
        for key, axis in control.axes.items():
            turns = key not in LENGTHWISE
            unit = setup.angle if turns else setup.unit
            one = ANGLES[unit] if turns else LENGTHS[unit]
            if abs(abs(axis.scale) / one - 1.0) > 1e-9:
                raise UnitError(
                    f"the host has {axis.channel} in {unit}, but the rig reads it in another unit; make the two agree",
                    place="host setup",
                )


def _check_orders(host: Host, rig: Rig) -> None:
    for name, control in rig.controls.items():
        if sum(key in ("pitch", "yaw", "roll") for key in control.axes) < 2:
            continue
        order = host.order(name)
        if order is not None and order.lower() != control.order:
            raise InputError(
                f"turns in the order {order!r} in the host and {control.order!r} in the rig; make the two agree",
                place=f"control {name}",
            )


def _gives(keys: Curve, frames: Array, values: Array) -> bool:
    """Return whether a channel's keys alone give what it evaluates to."""
    own = Pack.from_curves([keys]).evaluate(frames)[0]
    return bool(np.abs(own - values).max() <= ALIKE * max(1.0, float(np.ptp(values))))


def times_of(first: int, last: int) -> tuple[Array, Array]:
    """Return the whole frames of a range, and those followed by one and two thirds after each but the last."""
    whole = np.arange(first, last + 1, dtype=np.float64)
    return whole, np.concatenate([whole, *(whole[:-1] + part for part in THIRDS)])


def keyed(frames: Array, samples: Array, loop: bool) -> Curve:
    """Return samples as a key a frame, and from frame to frame the cubic through two inner samples.

    ``samples`` are those at the times of `times_of`. A constant is one key.
    Where a channel holds until the next frame and then jumps, the key is a step.
    """
    count, span = len(frames), float(np.ptp(samples))
    if not span:
        return Curve.constant(float(samples[0]), frame=float(frames[0]))
    values, one, two = samples[:count].copy(), samples[count : 2 * count - 1], samples[2 * count - 1 :]
    small = ALIKE * max(1.0, span)
    before = after = Outside.HOLD
    if loop:
        close = abs(values[-1] - values[0]) <= small
        before = after = Outside.REPEAT if close else Outside.ADVANCE
        values[-1] = values[0] if close else values[-1]
    left, right = values[:-1], values[1:]
    jump = np.abs(right - left)
    holds = (np.maximum(np.abs(one - left), np.abs(two - left)) <= HELD * jump) & (jump > small)
    slope_in, slope_out = np.zeros(count), np.zeros(count)
    slope_out[:-1] = (-11.0 * left + 18.0 * one - 9.0 * two + 2.0 * right) / 2.0
    slope_in[1:] = (-2.0 * left + 9.0 * one - 18.0 * two + 11.0 * right) / 2.0
    slope_out[:-1][holds] = 0.0
    slope_in[1:][holds] = 0.0
    if loop:
        slope_in[0], slope_out[-1] = slope_in[-1], slope_out[0]
    shapes = np.full(count, Shape.GIVEN, dtype=np.int8)
    shapes[:-1][holds] = Shape.STEP
    return Curve(frames, values, shapes, slope_in, slope_out, None, before, after)


def space_of(host: Host, name: str, frames: Array, unit: str) -> Array:
    """Return world from a space of the host's at each frame, ``(frames, 4, 4)``, metres; ``unit`` is the host's."""
    matrices = np.array(host.spaces(name, frames), dtype=np.float64)
    if matrices.shape != (len(frames), 4, 4):
        raise InputError(f"wanted {len(frames)} matrices of 4 by 4, got {matrices.shape}", place=f"host: {name}")
    matrices[:, :3, 3] *= LENGTHS[unit]
    return matrices
