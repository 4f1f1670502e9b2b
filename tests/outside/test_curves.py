"""Curves against other people's splines, and against the figures of an open standard."""

import numpy as np
import pytest
from scipy.interpolate import BPoly, CubicHermiteSpline, CubicSpline
from scipy.optimize import brentq

from surefoot.bezier import parameter_at
from surefoot.curves import Curve, Outside, Pack, Shape, fit_segment_slopes, resolve_slopes
from tests.outside.table import agrees


def random_keys(seed):
    """Return frames, values and two rows of slopes of 12 random keys."""
    random = np.random.default_rng(seed)
    return np.cumsum(random.uniform(0.5, 7.0, 12)), *random.normal(scale=3.0, size=(3, 12))


@pytest.mark.parametrize("seed", range(8))
def test_given_slopes_agree_with_scipy_s_hermite_spline(seed):
    """Source: SciPy, CubicHermiteSpline (verified)."""
    frames, values, slopes, _ = random_keys(seed)
    pack = Pack.from_curves([Curve.given(frames, values, slopes, slopes)])
    spline = CubicHermiteSpline(frames, values, slopes)
    at = np.linspace(frames[0], frames[-1], 1001)
    agrees("values of a curve of given slopes", pack.evaluate(at)[0], spline(at), bound=1e-12)
    inner = at[1:-1]
    agrees("slopes of a curve of given slopes", pack.slopes(inner)[0], spline(inner, 1), bound=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_slopes_that_differ_on_two_sides_agree_with_scipy_s_bernstein_polynomials(seed):
    """Source: SciPy, BPoly in the Bernstein basis (verified)."""
    frames, values, slope_in, slope_out = random_keys(seed)
    pack = Pack.from_curves([Curve.given(frames, values, slope_in, slope_out)])
    third = np.diff(frames) / 3.0
    left, right = values[:-1], values[1:]
    pieces = BPoly([left, left + third * slope_out[:-1], right - third * slope_in[1:], right], frames)
    at = np.linspace(frames[0], frames[-1], 1001)
    agrees("values where slopes differ on two sides", pack.evaluate(at)[0], pieces(at), bound=1e-12)


def test_a_repeating_curve_agrees_with_scipy_s_periodic_spline_over_many_periods():
    """Source: SciPy, CubicSpline with periodic ends (verified)."""
    frames = np.array([1.0, 4.0, 8.0, 15.0, 19.0, 25.0])
    values = np.array([0.2, 1.0, -0.3, 0.8, 0.1, 0.2])
    spline = CubicSpline(frames, values, bc_type="periodic")
    slopes = spline(frames, 1)
    curve = Curve.given(frames, values, slopes, slopes, before=Outside.REPEAT, after=Outside.REPEAT)
    pack = Pack.from_curves([curve])
    at = np.linspace(-200.0, 200.0, 3001)
    agrees("values of a repeating curve, 16 periods", pack.evaluate(at)[0], spline(at), bound=1e-12)
    for side in ("left", "right"):
        agrees("slopes of a repeating curve", pack.slopes(at, side=side)[0], spline(at, 1), bound=1e-12)


@pytest.mark.parametrize(
    ("values", "out_tangent", "in_tangent", "duration", "phase", "expected"),
    [
        ((0.0, 1.0), 0.0, 0.0, 1.0, 0.5, 0.5),
        ((0.0, 1.0), 2.0, 2.0, 0.5, 0.3, 0.3),
        ((0.0, 0.0), 4.0, 0.0, 0.5, 0.5, 0.25),
    ],
)
def test_given_slopes_are_gltf_s_cubic_spline(values, out_tangent, in_tangent, duration, phase, expected):
    """Tangents are per unit of time, scaled by the segment's duration.

    Source: glTF 2.0 specification, appendix C, "Cubic Spline Interpolation", worked by hand (computed).
    """
    curve = Curve.given([0.0, duration], values, [0.0, in_tangent], [out_tangent, 0.0])
    found = Pack.from_curves([curve]).evaluate([phase * duration])[0, 0]
    agrees(f"one value of a cubic spline, at {phase} of {duration} s", found, expected, bound=1e-15)


@pytest.mark.parametrize("duration", [1 / 30, 0.5, 2.0, 24.0])
def test_the_whole_segment_follows_gltf_s_formula(duration):
    """Source: glTF 2.0 specification, appendix C, "Cubic Spline Interpolation", term by term (verified)."""
    v0, b0, a1, v1 = 0.3, -1.7, 2.9, -0.8
    t = np.linspace(0.0, 1.0, 257)[1:-1]
    formula = (
        (2 * t**3 - 3 * t**2 + 1) * v0
        + duration * (t**3 - 2 * t**2 + t) * b0
        + (-2 * t**3 + 3 * t**2) * v1
        + duration * (t**3 - t**2) * a1
    )
    pack = Pack.from_curves([Curve.given([0.0, duration], [v0, v1], [0.0, a1], [b0, 0.0])])
    agrees("a whole segment of a cubic spline", pack.evaluate(t * duration)[0], formula, bound=2e-14)


@pytest.mark.parametrize("seed", range(6))
def test_bezier_keys_agree_with_scipy_s_polynomials_inverted_by_brent_s_method(seed):
    """Source: SciPy, BPoly inverted by brentq (verified)."""
    random = np.random.default_rng(seed)
    frames = np.cumsum(random.uniform(1.0, 9.0, 7)) + (1e5 if seed == 5 else 0.0)
    values = random.normal(size=7)
    gap = np.diff(frames)
    back, on = random.uniform(0.05, 0.95, size=(2, 7)) * np.stack([np.r_[1.0, gap], np.r_[gap, 1.0]])
    rise_in, rise_out = random.normal(size=(2, 7))
    handles = np.stack([-back, rise_in, on, rise_out], axis=1)
    curve = Curve(frames, values, np.full(7, Shape.BEZIER), np.zeros(7), np.zeros(7), handles)
    pack = Pack.from_curves([curve])
    slope_in, slope_out = resolve_slopes(curve)
    np.testing.assert_allclose(slope_in, rise_in / -back, rtol=1e-9)
    np.testing.assert_allclose(slope_out, rise_out / on, rtol=1e-9)
    for key in range(6):
        x = np.array([0.0, on[key], gap[key] - back[key + 1], gap[key]])
        y = np.array([0.0, rise_out[key], values[key + 1] + rise_in[key + 1] - values[key], 0.0]) + values[key]
        y[3] = values[key + 1]
        time, height = BPoly(x[:, np.newaxis], [0, 1]), BPoly(y[:, np.newaxis], [0, 1])
        at = frames[key] + np.linspace(0.0, gap[key], 40)[1:-1]
        offsets = at - frames[key]
        s = np.array([brentq(lambda p, o=o, time=time: time(p) - o, 0.0, 1.0, xtol=1e-15, rtol=1e-15) for o in offsets])
        steep = np.abs(height(s, 1) / time(s, 1)).max()
        bound = 2e-14 * (1.0 + steep * gap[key])
        agrees("values of curves by handles", pack.evaluate(at)[0], height(s), bound=bound)
        agrees("slopes of curves by handles", pack.slopes(at)[0], height(s, 1) / time(s, 1), bound=1e-9, share=1e-9)


@pytest.mark.parametrize(
    ("start", "end"),
    [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (1 / 3, 2 / 3), (0.9, 0.05), (1e-9, 0.5)],
)
def test_the_parameter_found_lands_on_the_asked_time(start, end):
    """Source: SciPy, BPoly in the Bernstein basis (verified)."""
    fraction = np.unique(np.concatenate([np.linspace(0, 1, 1001), np.geomspace(1e-15, 1e-3, 50)]))
    s = parameter_at(fraction, start=np.full_like(fraction, start), end=np.full_like(fraction, end))
    assert (s[0], s[-1]) == (0.0, 1.0)
    assert (np.diff(s) >= 0.0).all()
    time = BPoly(np.array([[0.0], [start], [end], [1.0]]), [0, 1])
    agrees("time at which a handled curve has a parameter", time(s), fraction, bound=1e-15)


def test_fitted_slopes_agree_with_numpy_s_least_squares_segment_by_segment():
    """Source: NumPy, linalg.lstsq (verified)."""
    random = np.random.default_rng(8)
    values, phases = random.normal(size=6), np.array([0.2, 0.4, 0.6, 0.8])
    interior = random.normal(size=(5, 4))
    out, into = fit_segment_slopes(values, interior, phases)
    for k in range(5):
        basis = [CubicHermiteSpline([0, 1], [0, 0], row)(phases) for row in ([1, 0], [0, 1])]
        ends = CubicHermiteSpline([0, 1], values[k : k + 2], [0, 0])(phases)
        expected = np.linalg.lstsq(np.stack(basis, axis=1), interior[k] - ends, rcond=None)[0]
        agrees("slopes fitted to samples", [out[k], into[k]], expected, bound=1e-12)
