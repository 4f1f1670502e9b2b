"""One cubic segment: a Bezier in time and value, and the Hermite slopes that fit samples best.

A Bezier segment runs from key to key. In time its four control points are 0, ``start``, ``end`` and 1, as
fractions of the segment; in value they are the rows of ``points``. With ``start`` and ``end`` both in [0, 1]
time never runs backwards, so each instant has one value.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from surefoot.errors import InputError, ShapeError

__all__ = [
    "Segments",
    "end_slopes",
    "fit_segment_slopes",
    "parameter_at",
    "slopes_at",
    "steepness",
    "values_at",
]

Floats = npt.NDArray[np.float64]

_MOST_STEPS = 120  # a bisection from 1 to 2**-53 takes 53; Newton, where it is let, about five
_SMALLEST_STEP = 2.0**-51  # four roundings of a number just below one, where the parameter ends


class Segments(NamedTuple):
    """Bezier segments, one per element (or per sample, once taken by index).

    Attributes
    ----------
    length : ndarray, shape (n,)
        Frames from the left key to the right one, positive.
    start, end : ndarray, shape (n,)
        Time of the two inner control points as fractions of the segment, in [0, 1].
    points : ndarray, shape (4, n)
        Values of the four control points, in the curve's unit.
    """

    length: Floats
    start: Floats
    end: Floats
    points: Floats

    def take(self, index: npt.NDArray[np.intp]) -> Segments:
        """Return the segments at those positions, in that order."""
        return Segments(self.length[index], self.start[index], self.end[index], self.points[:, index])


def parameter_at(fraction: Floats, *, start: Floats, end: Floats) -> Floats:
    """Return the curve parameter at which a Bezier segment's time is that fraction of the segment.

    Parameters
    ----------
    fraction : ndarray, shape (n,)
        Time from the left key over the segment's length, in [0, 1].
    start, end : ndarray, shape (n,)
        Time of the two inner control points, in [0, 1].

    Returns
    -------
    ndarray, shape (n,)
        In [0, 1]; exactly 0 and 1 at the ends.

    Notes
    -----
    Newton's method inside a bracket: where a step would leave the bracket, or fails to halve the step
    before it, the bracket is halved instead. Handles of zero or of full length (a flat stretch of time,
    where Newton alone crawls) therefore end too.
    """
    cubic = 1.0 + 3.0 * (start - end)
    square = 3.0 * (end - 2.0 * start)
    linear = 3.0 * start
    low, high = np.zeros_like(fraction), np.ones_like(fraction)
    parameter = np.clip(fraction, 0.0, 1.0)
    last_step = np.ones_like(fraction)
    settled = np.zeros(fraction.shape, dtype=np.bool_)  # these stay, so that no sample depends on another
    for _ in range(_MOST_STEPS):
        miss = ((cubic * parameter + square) * parameter + linear) * parameter - fraction
        rate = (3.0 * cubic * parameter + 2.0 * square) * parameter + linear
        low = np.where(miss < 0.0, parameter, low)
        high = np.where(miss > 0.0, parameter, high)
        safe = rate > 0.0
        newton = parameter - miss / np.where(safe, rate, 1.0)
        safe &= (newton >= low) & (newton <= high) & (2.0 * np.abs(miss) <= np.abs(last_step * rate))
        following = np.where(safe, newton, 0.5 * (low + high))
        last_step = np.where(settled | (miss == 0.0), 0.0, following - parameter)
        parameter = parameter + last_step
        settled |= np.abs(last_step) <= _SMALLEST_STEP
        if settled.all():
            break
    return np.where(fraction <= 0.0, 0.0, np.where(fraction >= 1.0, 1.0, parameter))


def values_at(fraction: Floats, segments: Segments) -> Floats:
    """Return the value of each Bezier segment where its time is that fraction of it, shape (n,)."""
    s = parameter_at(fraction, start=segments.start, end=segments.end)
    r = 1.0 - s
    p0, p1, p2, p3 = segments.points
    values: Floats = r * r * (r * p0 + 3.0 * s * p1) + s * s * (3.0 * r * p2 + s * p3)
    return values


def slopes_at(fraction: Floats, segments: Segments) -> Floats:
    """Return the slope per frame of each Bezier segment where its time is that fraction of it, shape (n,).

    Infinite, with its sign, where the curve is upright.
    """
    s = parameter_at(fraction, start=segments.start, end=segments.end)
    r = 1.0 - s
    p0, p1, p2, p3 = segments.points
    start, end = segments.start, segments.end
    rise = r * r * (p1 - p0) + 2.0 * r * s * (p2 - p1) + s * s * (p3 - p2)
    run = r * r * start + 2.0 * r * s * (end - start) + s * s * (1.0 - end)
    first, last = end_slopes(segments)
    inner = steepness(rise, np.maximum(run, 0.0) * segments.length)
    return np.where(s <= 0.0, first, np.where(s >= 1.0, last, inner))


def end_slopes(segments: Segments) -> tuple[Floats, Floats]:
    """Return the slope per frame at the left and the right end of each Bezier segment, each shape (n,).

    A handle of no length at all leaves the direction to the next control point that stands apart. A
    handle of no length in time only is upright: infinite, with its sign.
    """
    times = np.stack([np.zeros_like(segments.start), segments.start, segments.end, np.ones_like(segments.end)])
    found = []
    for end, others in ((0, (1, 2, 3)), (3, (2, 1, 0))):
        run = np.zeros_like(segments.start)
        rise = np.zeros_like(segments.start)
        for other in others:
            coincident = (run == 0.0) & (rise == 0.0)
            run = np.where(coincident, times[other] - times[end], run)
            rise = np.where(coincident, segments.points[other] - segments.points[end], rise)
        sign = 1.0 if end == 0 else -1.0
        found.append(steepness(sign * rise, sign * run * segments.length))
    return found[0], found[1]


def steepness(rise: Floats, run: Floats) -> Floats:
    """Return rise over run with run >= 0; infinite where only the run is 0, and zero where both are."""
    upright = run == 0.0
    steep = np.where(rise == 0.0, 0.0, np.copysign(np.inf, rise))
    return np.where(upright, steep, rise / np.where(upright, 1.0, run))


def fit_segment_slopes(
    values_at_keys: npt.ArrayLike, interior: npt.ArrayLike, phases: npt.ArrayLike
) -> tuple[Floats, Floats]:
    """Return the slopes of the cubic Hermite segments that come nearest to samples between whole frames.

    The end values stay as given; only the two slopes of a segment are free, least squares each.

    Parameters
    ----------
    values_at_keys : array_like, shape (..., n)
        Values at n consecutive whole frames, in any unit.
    interior : array_like, shape (..., n - 1, p)
        Samples inside each segment, in the same unit.
    phases : array_like, shape (p,)
        Where in the segment each sample lies, strictly between 0 and 1; at least two that differ.

    Returns
    -------
    out_slopes, in_slopes : ndarray, shape (..., n - 1)
        Slope per frame at the left end and at the right end of each segment.

    Raises
    ------
    InputError
        If fewer than two phases differ, or one is not inside (0, 1).
    ShapeError
        If the shapes do not belong together.
    """
    phase = np.asarray(phases, dtype=np.float64)
    values = np.asarray(values_at_keys, dtype=np.float64)
    samples = np.asarray(interior, dtype=np.float64)
    if phase.ndim != 1 or np.unique(phase).size < 2:
        raise InputError(f"two slopes need at least two phases that differ, got {phase.tolist()}", place="phases")
    if not ((phase > 0.0) & (phase < 1.0)).all():
        raise InputError(f"phases lie strictly between 0 and 1, got {phase.tolist()}", place="phases")
    if values.ndim == 0 or samples.shape != (*values.shape[:-1], values.shape[-1] - 1, phase.size):
        raise ShapeError(
            f"keys of shape {values.shape} need samples (..., keys - 1, {phase.size}), got {samples.shape}",
            place="interior",
        )
    left = values[..., :-1, np.newaxis]
    rise = np.diff(values)[..., np.newaxis]
    rest = samples - left - rise * (phase * phase * (3.0 - 2.0 * phase))  # (..., n - 1, p)
    basis = np.stack([phase * (1.0 - phase) ** 2, -phase * phase * (1.0 - phase)], axis=1)  # (p, 2)
    slopes = rest @ np.linalg.pinv(basis).T  # (..., n - 1, 2)
    return slopes[..., 0], slopes[..., 1]
