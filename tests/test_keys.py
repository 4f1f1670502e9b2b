"""Few keys: within tolerance of what was wanted, the animator's own kept, and not one to spare."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from surefoot.curves import Curve, Outside, Pack
from surefoot.key_slopes import Wanted
from surefoot.keys import KeyFit, fit_keys

Array = NDArray[np.float64]
PHASES = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
FINE = np.arange(17) / 17.0


def wanted_of(
    curves: list[Callable[[Array], Array]], frames: int, tolerance: float, *, loop: bool = True, advance: float = 0.0
) -> Wanted:
    """Sample functions of the frame, counted from 0."""
    at = np.arange(frames)[:, None] + PHASES
    step = 1e-6
    here = np.arange(frames, dtype=float)
    limit = np.full((len(curves), frames, len(PHASES)), tolerance)
    if not loop:
        limit[:, -1, 1:] = np.inf
    return Wanted(
        samples=np.array([curve(at) for curve in curves]),
        slope_in=np.array([(curve(here) - curve(here - step)) / step for curve in curves]),
        slope_out=np.array([(curve(here + step) - curve(here)) / step for curve in curves]),
        tolerance=limit,
        phases=PHASES,
        loop=loop,
        advance=np.full(len(curves), advance),
    )


def curve_of(wanted: Wanted, fit: KeyFit, channel: int) -> Curve:
    """Write a fit out as a curve on frames counted from 0, a loop with its first key again at its end."""
    at = np.flatnonzero(fit.keyed[channel])
    frames, values = at.astype(float), wanted.samples[channel, at, 0]
    into, out = fit.slope_in[channel, at], fit.slope_out[channel, at]
    if not wanted.loop:
        return Curve.given(frames, values, into, out)
    frames = np.append(frames, float(fit.keyed.shape[1]))
    values = np.append(values, values[0] + wanted.advance[channel])
    rule = Outside.ADVANCE if wanted.advance[channel] else Outside.REPEAT
    return Curve.given(frames, values, np.append(into, into[0]), np.append(out, out[0]), before=rule, after=rule)


def nothing(wanted: Wanted) -> NDArray[np.bool_]:
    return np.zeros(wanted.samples.shape[:2], dtype=bool)


def fitted(wanted: Wanted, **given: NDArray[np.bool_]) -> KeyFit:
    none = nothing(wanted)
    return fit_keys(
        wanted,
        given.get("own", none),
        given.get("may_break", none),
        given.get("meaning", none),
        given.get("allowed"),
    )


def wave(frames: int, turns: int, phase: float) -> Callable[[Array], Array]:
    return lambda at: np.sin(2.0 * np.pi * turns * at / frames + phase)


@pytest.mark.parametrize("loop", [True, False])
@pytest.mark.parametrize("seed", range(8))
def test_the_curve_of_the_keys_stays_within_tolerance_between_frames_too(seed: int, loop: bool) -> None:
    random = np.random.default_rng(seed)
    frames = int(random.integers(12, 60))
    waves = [wave(frames, int(random.integers(1, 4)), random.uniform(0.0, 6.0)) for _ in range(3)]
    wanted = wanted_of(waves, frames, 0.01, loop=loop)
    fit = fitted(wanted)
    assert fit.worst.max() <= 1.0
    last = frames if loop else frames - 1
    at = (np.arange(last)[:, None] + FINE).ravel()
    for channel, curve in enumerate(waves):
        found = Pack.from_curves([curve_of(wanted, fit, channel)]).evaluate(at)[0]
        assert np.abs(found - curve(at)).max() <= 0.0125  # 17 places: some lie between the five that were fitted
    assert fit.keyed.sum() < 0.6 * fit.keyed.size


def test_one_cubic_needs_only_its_two_ends() -> None:
    wanted = wanted_of([lambda t: 0.001 * t**3 - 0.02 * t**2 + t], 20, 1e-6, loop=False)
    fit = fitted(wanted)
    assert np.flatnonzero(fit.keyed[0]).tolist() == [0, 19]
    assert fit.slope_out[0, 0] == pytest.approx(1.0, abs=1e-5)


def test_a_corner_is_met_with_one_key_where_the_curve_may_break() -> None:
    bent = [lambda t: np.abs(t - 8.0)]
    wanted = wanted_of(bent, 20, 1e-6, loop=False)
    may = nothing(wanted)
    may[0, 8] = True
    fit = fitted(wanted, may_break=may)
    assert np.flatnonzero(fit.keyed[0]).tolist() == [0, 8, 19]
    assert (fit.slope_in[0, 8], fit.slope_out[0, 8]) == pytest.approx((-1.0, 1.0), abs=1e-5)


def test_the_animators_own_keys_stay_even_where_they_arent_needed() -> None:
    wanted = wanted_of([lambda t: 0.5 * t], 20, 0.01, loop=False)
    own = nothing(wanted)
    own[0, [3, 11]] = True
    assert np.flatnonzero(fitted(wanted, own=own).keyed[0]).tolist() == [0, 3, 11, 19]


def test_new_keys_go_on_frames_that_mean_something() -> None:
    wanted = wanted_of([lambda t: np.maximum(t - 7.3, 0.0) ** 2 * 0.1], 16, 0.02, loop=False)
    meaning = nothing(wanted)
    meaning[0, 6] = True
    assert fitted(wanted, meaning=meaning).keyed[0, 6]


def test_keys_may_be_confined_to_given_frames_and_the_rest_is_told() -> None:
    wanted = wanted_of([wave(24, 3, 0.3)], 24, 0.001)
    allowed = nothing(wanted)
    allowed[0, ::6] = True
    fit = fitted(wanted, allowed=allowed)
    assert not (fit.keyed & ~allowed)[0, 1:].any()
    assert fit.worst[0] > 1.0


def test_where_no_whole_frame_is_left_inside_a_key_breaks() -> None:
    samples = np.random.default_rng(2).uniform(-1.0, 1.0, (1, 6))  # a new direction on every frame

    def zigzag(at: Array) -> Array:
        return np.interp(at, np.arange(6.0), samples[0])

    wanted = wanted_of([zigzag], 6, 1e-9, loop=False)
    fit = fitted(wanted)
    assert fit.keyed.all()
    assert fit.worst.max() <= 1.0


def test_a_loop_that_travels_closes_with_its_advance() -> None:
    wanted = wanted_of([lambda t: 0.3 * t + np.sin(2.0 * np.pi * t / 24.0)], 24, 0.01, advance=7.2)
    fit = fitted(wanted)
    assert fit.worst.max() <= 1.0
    at = np.linspace(0.0, 47.0, 200)
    found = Pack.from_curves([curve_of(wanted, fit, 0)]).evaluate(at)[0]
    assert np.abs(found - (0.3 * at + np.sin(2.0 * np.pi * at / 24.0))).max() <= 0.0125


def test_no_key_can_be_taken_away_one_by_one() -> None:
    """SciPy's own least squares, with one key fewer, misses the tolerance whichever key it is."""
    wanted = wanted_of([wave(48, 2, 0.4)], 48, 0.01)
    fit = fitted(wanted)
    keys = np.flatnonzero(fit.keyed[0])
    assert 4 <= len(keys) <= 24
    assert departure_with(wanted, keys, fit.broken[0]) <= 1.0
    for gone in keys[1:]:
        assert departure_with(wanted, keys[keys != gone], fit.broken[0]) > 1.0


def departure_with(wanted: Wanted, keys: NDArray[np.intp], broken: NDArray[np.bool_]) -> float:
    """Return how far the best slopes of those keys leave a looping channel, as a share of its tolerance."""
    count = wanted.samples.shape[1]
    ends = np.append(keys, count)
    values = np.append(wanted.samples[0, keys, 0], wanted.samples[0, keys[0], 0])
    at = (np.arange(count)[:, None] + wanted.phases).ravel()
    slots, unknowns = [], 0  # each key's place among the unknowns: its slope in, its slope out
    for key in keys:
        slots.append((unknowns, unknowns + int(broken[key])))
        unknowns = slots[-1][1] + 1
    slots.append(slots[0])
    span = np.searchsorted(ends, at, side="right") - 1

    def curve(slopes: Array, values: Array) -> Array:
        found = np.empty(len(at))
        for s in range(len(keys)):
            pair = [slopes[slots[s][1]], slopes[slots[s + 1][0]]]
            piece = CubicHermiteSpline(ends[s : s + 2].astype(float), values[s : s + 2], pair)
            found[span == s] = piece(at[span == s])
        return found

    still = curve(np.zeros(unknowns), values)
    basis = np.array([curve(one, np.zeros(len(ends))) for one in np.eye(unknowns)]).T
    weight = 1.0 / wanted.tolerance[0].ravel()
    rest = weight * (wanted.samples[0].ravel() - still)
    slopes = np.linalg.lstsq(weight[:, None] * basis, rest, rcond=None)[0]
    return float(np.abs(rest - weight * (basis @ slopes)).max())
