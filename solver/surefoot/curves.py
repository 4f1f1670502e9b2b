"""Animated channels: a curve of keys. Many are evaluated at once as a `Pack`.

Values stay in the file's own unit throughout; nothing here converts them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from surefoot.bezier import end_slopes, fit_segment_slopes
from surefoot.errors import InputError, came
from surefoot.key_checks import check_given, check_handles, check_keys, check_sizes
from surefoot.pack import Pack, keys_of
from surefoot.tangents import Outside, Shape, bezier_segments, key_slopes

__all__ = ["Curve", "Outside", "Pack", "Shape", "fit_segment_slopes", "resolve_slopes"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One animated channel: keys in order of frame, and what happens outside them.

    Attributes
    ----------
    frames : ndarray, shape (n,)
        The animator's frame of each key, strictly increasing; need not be whole.
    values : ndarray, shape (n,)
        In the file's own unit, kept bit for bit.
    shapes : ndarray of int8, shape (n,)
        Codes of `Shape`.
    slope_in, slope_out : ndarray, shape (n,)
        Value per frame, left and right of each key; read at GIVEN keys only.
    handles : ndarray, shape (n, 4), or None
        In time (<= 0), in value, out time (>= 0), out value, as offsets from the key; read at BEZIER keys
        only. None reaches past the neighbouring key, so time never runs backwards.
    before, after : Outside
        What the curve does before its first and after its last key. A single key always holds.

    Raises
    ------
    InputError
        If the keys are none, out of order, twice on one frame, not finite, or a handle runs backwards or
        too far. Names the key by its number, from 1, and its frame.
    ShapeError
        If the arrays differ in length.
    """

    frames: Floats
    values: Floats
    shapes: npt.NDArray[np.int8]
    slope_in: Floats
    slope_out: Floats
    handles: Floats | None = None
    before: Outside = Outside.HOLD
    after: Outside = Outside.HOLD

    def __post_init__(self) -> None:
        try:
            arrays = [np.array(a, dtype=np.float64) for a in (self.frames, self.values, self.slope_in, self.slope_out)]
            shapes = np.array(self.shapes, dtype=np.int8)
            handles = None if self.handles is None else np.array(self.handles, dtype=np.float64)
            before, after = Outside(self.before), Outside(self.after)
        except (TypeError, ValueError, OverflowError) as problem:
            raise InputError(f"a curve is made of numbers: {problem}", place="keys") from problem
        frames, values, slope_in, slope_out = arrays
        check_sizes(frames, values, shapes, slope_in, slope_out, handles)
        check_keys(frames, values, shapes)
        held = shapes.tobytes()
        if Shape.GIVEN in held:
            check_given(frames, shapes, slope_in, slope_out)
        if Shape.BEZIER in held:
            check_handles(frames, shapes, handles)
        put = object.__setattr__
        named = ("frames", frames), ("values", values), ("slope_in", slope_in), ("slope_out", slope_out)
        for name, array in (*named, ("shapes", shapes), ("handles", handles)):
            if array is not None:
                array.setflags(write=False)
            put(self, name, array)
        put(self, "before", before)
        put(self, "after", after)

    def __repr__(self) -> str:
        keys = "1 key" if self.frames.size == 1 else f"{self.frames.size} keys"
        span, values = _range(self.frames), _range(self.values)
        return f"<Curve: {keys} at {span}, values {values}, {self.before.name.lower()} and {self.after.name.lower()}>"

    def at(self, frames: npt.ArrayLike) -> Floats:
        """Return the curve's value at frames, its rules before the first key and after the last included.

        To evaluate many curves at many frames, or for slopes, a `Pack` of `surefoot.curves` is faster.

        Parameters
        ----------
        frames : array_like, any shape
            The animator's frames, in any order; they need not be whole nor lie between the keys.

        Returns
        -------
        ndarray, of the same shape
            In the curve's own unit, as its keys are; at a key that key's value, bit for bit.

        Raises
        ------
        InputError
            If a frame isn't a finite number.

        Examples
        --------
        >>> import surefoot
        >>> bob = surefoot.Curve.through([1, 7, 13], [90.0, 88.0, 90.0], after=surefoot.Outside.REPEAT)
        >>> bob.at([1, 7, 13, 19, 31]).tolist()
        [90.0, 88.0, 90.0, 88.0, 88.0]
        """
        times = _numbers(frames, place="frames")
        found: Floats = Pack.from_curves([self]).evaluate(times.ravel())[0].reshape(times.shape)
        return found

    @classmethod
    def shaped(
        cls, frames: npt.ArrayLike, values: npt.ArrayLike, *, shape: Shape,
        before: Outside = Outside.HOLD, after: Outside = Outside.HOLD,
    ) -> Curve:  # fmt: skip
        """Return a curve whose keys all have one shape: any but GIVEN and BEZIER, which need more said."""
        if shape in (Shape.GIVEN, Shape.BEZIER):
            raise InputError(f"keys of shape {shape.name} need slopes or handles", place="shape")
        times, heights = _numbers(frames), _numbers(values)
        zeros = np.zeros(times.shape)
        shapes = np.full(times.shape, shape, dtype=np.int8)
        return cls(times, heights, shapes, zeros, zeros, None, before, after)

    @classmethod
    def constant(cls, value: float, *, frame: float = 1.0) -> Curve:
        """Return a curve of one key, which has that value at every frame."""
        return cls.shaped([frame], [value], shape=Shape.LEVEL)

    @classmethod
    def through(
        cls, frames: npt.ArrayLike, values: npt.ArrayLike, *,
        before: Outside = Outside.HOLD, after: Outside = Outside.HOLD,
    ) -> Curve:  # fmt: skip
        """Return a curve whose slopes run from neighbour to neighbour."""
        return cls.shaped(frames, values, shape=Shape.THROUGH, before=before, after=after)

    @classmethod
    def given(
        cls,
        frames: npt.ArrayLike,
        values: npt.ArrayLike,
        slope_in: npt.ArrayLike,
        slope_out: npt.ArrayLike,
        *,
        before: Outside = Outside.HOLD,
        after: Outside = Outside.HOLD,
    ) -> Curve:
        """Return a curve with stated slopes, in value per frame."""
        times, heights, entering, leaving = (_numbers(a) for a in (frames, values, slope_in, slope_out))
        shapes = np.full(times.shape, Shape.GIVEN, dtype=np.int8)
        return cls(times, heights, shapes, entering, leaving, None, before, after)

    @classmethod
    def trusted(
        cls, frames: Floats, values: Floats, slope_in: Floats, slope_out: Floats, *, before: Outside, after: Outside
    ) -> Curve:
        """Return a curve with stated slopes of arrays known to be good: not checked nor copied, but made read-only."""
        made, put = object.__new__(cls), object.__setattr__
        shapes = np.empty(frames.shape, dtype=np.int8)
        shapes.fill(Shape.GIVEN)
        names = ("frames", "values", "shapes", "slope_in", "slope_out")
        arrays: tuple[npt.NDArray[Any], ...] = (frames, values, shapes, slope_in, slope_out)
        for name, array in zip(names, arrays, strict=True):
            array.setflags(write=False)
            put(made, name, array)
        put(made, "handles", None)
        put(made, "before", before)
        put(made, "after", after)
        return made


def resolve_slopes(curve: Curve) -> tuple[Floats, Floats]:
    """Return the slope per frame with which a curve comes into each key and goes out of it, each shape (n,).

    What `surefoot.tangents.key_slopes` says, but that a BEZIER handle of no length takes the direction to the
    segment's next control point; infinite where a handle is upright. After a STEP key the curve holds, so
    there its out slope is zero, and so is the slope a `Pack` gives up to the next key.
    """
    keys = keys_of([curve])
    slope_in, slope_out = key_slopes(keys)
    if Shape.BEZIER in curve.shapes.tobytes():
        left, segments = bezier_segments(keys, slope_in=slope_in, slope_out=slope_out)
        start, end = end_slopes(segments)
        leaves, enters = curve.shapes[left] == Shape.BEZIER, curve.shapes[left + 1] == Shape.BEZIER
        slope_out[left[leaves]] = start[leaves]
        slope_in[left[enters] + 1] = end[enters]
    return slope_in, slope_out


def _numbers(given: npt.ArrayLike, *, place: str = "keys") -> Floats:
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"wanted numbers, got {came(given)}", place=place) from None


def _range(numbers: Floats) -> str:
    low, high = float(numbers.min()), float(numbers.max())
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
