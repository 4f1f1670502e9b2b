"""From a clip to a host: all of it in one undo step, or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.curves import Curve, Pack, Shape, resolve_slopes
from surefoot.errors import InputError, UnknownName
from surefoot.host.protocol import Host, Progress, Status
from surefoot.host.reading import evaluated, keyed, sampled_channels, status_of, tell, telling, times_of
from surefoot.host.refusals import NotRestored, Refused
from surefoot.layer import layer_between
from surefoot.rig import Rig

__all__ = ["LAYER", "explicit", "write"]

Array = NDArray[np.float64]
Into = Literal["layer", "keys"]

LAYER = "planted feet"
"""What a new layer is called when no name is given; a number is added when there is one already."""
ON_FRAMES = 1e-4
"""Metres or radians by which the host may evaluate otherwise than planned, on frames."""
BETWEEN = 1e-3
"""The same halfway between two frames."""


def write(
    host: Host, before: Clip, after: Clip, rig: Rig, *, into: Into = "layer", layer: str = "",
    step: str = "Plant the feet", progress: Progress | None = None,
) -> tuple[str, tuple[str, ...]]:  # fmt: skip
    """Write what differs between two clips to the host, and return the layer's name and the channels written.

    Everything is asked and refused before the first write. All of it is one undo step. When anything fails,
    the callback cancels, or the host then evaluates to something else than was planned, the step is taken
    back and the host is compared with what it was.

    Parameters
    ----------
    before : Clip
        As `surefoot.host.read` gave it.
    after : Clip
        The same with other curves for some channels, such as ``plant(...).clip``.
    into : {"layer", "keys"}
        A new additive layer, or the channels' own keys.
    layer : str
        A name that no layer has yet; left out, ``planted feet``, numbered where needed.
    step : str
        The undo step's name.

    Raises
    ------
    Refused
        If a channel isn't free, or its own keys don't make what it evaluates to and keys are asked for.
    InputError
        If there is a layer of that name, an undo step is open already, ``after`` has a channel that ``before`` hasn't,
        or the host didn't take what was written.
    Cancelled
        If the callback answers False.
    NotRestored
        If the host couldn't take back what was written, or its step is left open; what went wrong at first and in
        undoing it are chained to it.
    """
    if into not in ("layer", "keys"):
        raise InputError(f"wanted 'layer' or 'keys', got {into!r}", place="into")
    names = [name for name, curve in after.channels.items() if curve is not before.channels.get(name)]
    if not names:
        return "", ()
    for name in names:
        if name not in before.channels:
            raise UnknownName("channel read from the host", name, before.channels, place="after")
    _refuse(host, names, before, into)
    layer = _new_layer(host, layer) if into == "layer" else ""
    curves = _corrections(before, after, names) if layer else {name: explicit(after.channels[name]) for name in names}
    every = list(before.channels)
    frames = np.arange(after.first, after.last + 1, dtype=np.float64)
    frames = np.concatenate([frames, frames[:-1] + 0.5])
    with telling(progress, 0.6, "writing"):
        kept = _Kept(host, every, frames)
    if host.step_open():
        raise InputError("an undo step is open already; close it first", place="host")
    begun = False
    try:
        host.begin_step(step)
        begun = True
        for i, (name, curve) in enumerate(curves.items()):
            tell(progress, 0.6 + 0.35 * i / len(curves), f"writing {name}")
            host.write(name, curve, layer)
        with telling(progress, 0.95, "reading back"):
            _check_taken(host, {**before.channels, **{n: after.channels[n] for n in names}}, rig, frames)
        host.end_step()
    except BaseException as problem:
        kept.restore(problem, begun=begun)
        raise
    return layer, tuple(names)


def _refuse(host: Host, names: list[str], before: Clip, into: Into) -> None:
    """Raise Refused with each channel that can't be written, and why."""
    reasons = {name: status for name in names if (status := status_of(host, name)) is not Status.FREE}
    told = {name: status.value for name, status in reasons.items()}
    if told:
        raise Refused(told, try_this="free them, or name them under leave to do without")
    if into == "keys":
        layered = [name for name in names if name in sampled_channels(before) and host.keys(name) is not None]
        told = dict.fromkeys(layered, "more than its own keys moves it")
        if told:
            raise Refused(told, try_this="write a layer instead")


def _new_layer(host: Host, name: str) -> str:
    there = set(host.layers())
    if name:
        if name in there:
            raise InputError(f"there is a layer called {name!r} already; give a new name", place="layer")
        return name
    number = 1
    while (found := LAYER if number == 1 else f"{LAYER} {number}") in there:
        number += 1
    return found


def _corrections(before: Clip, after: Clip, names: list[str]) -> dict[str, Curve]:
    """Return what is added to each channel.

    Where no keys can tell the difference exactly (Bezier keys, a step against a move) there is a key on
    every frame, and the difference is met at one and two thirds between two.
    """
    between = layer_between(before, after)
    replaced = set(between.extra.get("replaced", ()))
    found: dict[str, Curve] = {}
    for name in names:
        if name in replaced:
            found[name] = explicit(_dense(before.channels[name], after.channels[name], before))
        else:
            found[name] = explicit(between.channels[name])
    return found


def _dense(old: Curve, new: Curve, clip: Clip) -> Curve:
    whole, times = times_of(clip.first, clip.last + clip.loop)
    one, two = Pack.from_curves([old, new]).evaluate(times)
    return keyed(whole, two - one, clip.loop)


def explicit(curve: Curve) -> Curve:
    """Return the same curve with slopes stated at every key that isn't a step or a Bezier key."""
    kept = np.isin(curve.shapes, (int(Shape.GIVEN), int(Shape.STEP), int(Shape.BEZIER)))
    if kept.all():
        return curve
    slope_in, slope_out = resolve_slopes(curve)
    slope_in, slope_out = np.where(kept, curve.slope_in, slope_in), np.where(kept, curve.slope_out, slope_out)
    shapes = np.where(kept, curve.shapes, np.int8(Shape.GIVEN)).astype(np.int8)
    return Curve(curve.frames, curve.values, shapes, slope_in, slope_out, curve.handles, curve.before, curve.after)


def _check_taken(host: Host, planned: Mapping[str, Curve], rig: Rig, frames: Array) -> None:
    """Raise if the host evaluates to something else than was planned, in any channel of the rig."""
    names, axes = list(planned), rig.channels()
    wanted = Pack.from_curves(list(planned.values())).evaluate(frames)
    found = evaluated(host, names, frames)
    scale = np.array([abs(axes[name].scale) for name in names])
    gap = np.abs(found - wanted) * scale[:, None]
    limit = np.where(frames == np.floor(frames), ON_FRAMES, BETWEEN)
    over = np.argwhere(gap > limit)
    if len(over):
        row, at = over[np.argmax(gap[tuple(over.T)])]
        raise InputError(
            f"after writing it evaluates to {found[row, at]:g} at frame {frames[at]:g}, not to the planned "
            f"{wanted[row, at]:g}; taken back",
            place=f"host: {names[row]}",
        )


class _Kept:
    """What a host was before the first write."""

    def __init__(self, host: Host, names: list[str], frames: Array) -> None:
        self._host, self._names, self._frames = host, names, frames
        self._layers = list(host.layers())
        self._keys = {name: host.keys(name) for name in names}
        self._samples = evaluated(host, names, frames)

    def restore(self, problem: BaseException, *, begun: bool) -> None:
        """Take the step back, if there is one; raise NotRestored if that doesn't give what was.

        Its causes are what went wrong at last, then before that, down to the ``problem``. An error of the undoing that
        left nothing behind is noted on the problem.
        """
        why, cause = "the host isn't as it was", problem
        try:
            if begun or self._host.step_open():
                self._host.undo_step()
        except Exception as error:
            why, cause = f"{type(error).__name__}: {error}", _caused(error, problem)
        try:
            left = self._differing()
        except Exception as error:
            raise NotRestored(f"{why}; reading it again: {error}", ()) from _caused(error, cause)
        if left:
            raise NotRestored(why, left) from cause
        if cause is not problem:
            problem.add_note(f"The host is as it was, but undoing raised {why}")

    def _differing(self) -> tuple[str, ...]:
        layers = [f"layer {name}" for name in self._host.layers() if name not in self._layers]
        layers += [f"layer {name}" for name in self._layers if name not in self._host.layers()]
        moved = np.abs(evaluated(self._host, self._names, self._frames) - self._samples).max(axis=1) > 0.0
        other = [not _same(self._host.keys(name), self._keys[name]) for name in self._names]
        if self._host.step_open():
            layers.append("an undo step that is open")
        return (*layers, *(name for name, m, o in zip(self._names, moved, other, strict=True) if m or o))


def _caused(error: Exception, by: BaseException) -> Exception:
    """Return an error with what it came after as its cause."""
    if error is not by:
        error.__cause__ = by
    return error


def _same(one: Curve | None, two: Curve | None) -> bool:
    if one is two or one is None or two is None:
        return one is two
    pairs = [(getattr(one, field), getattr(two, field)) for field in ("frames", "values", "shapes", "handles")]
    equal = all(np.array_equal(a, b) if a is not None and b is not None else a is b for a, b in pairs)
    slopes = zip(resolve_slopes(one), resolve_slopes(two), strict=True)
    return equal and (one.before, one.after) == (two.before, two.after) and all(np.array_equal(a, b) for a, b in slopes)
