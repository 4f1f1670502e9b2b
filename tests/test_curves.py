"""Curves of keys, and packs of them: what a channel is between, at and outside its keys."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.curves import Curve, Outside, Pack, Shape, fit_segment_slopes, resolve_slopes
from surefoot.errors import InputError, ShapeError

FRAMES = np.array([1.0, 5.0, 9.0, 10.0, 16.0, 25.0])
VALUES = np.array([0.1, 1.0 / 3.0, -0.7, 2.2, 1e-17, 0.4])
HANDLES = np.array(
    [
        [0.0, 0.0, 2.0, 0.4],
        [-4.0, 0.3, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.5],
        [-1.0, 0.1, 5.0, -1.0],
        [-0.5, 0.2, 9.0, 3.0],
        [-9.0, -2.0, 0.0, 0.0],
    ]
)
ROUND = {"before": Outside.REPEAT, "after": Outside.REPEAT}
ONWARD = {"before": Outside.ADVANCE, "after": Outside.ADVANCE}


def keyed(shapes, *, frames=FRAMES, values=VALUES, before=Outside.HOLD, after=Outside.HOLD):
    """Return a curve over the shared keys with those shapes, all slopes and handles stated."""
    codes = np.broadcast_to(np.asarray(shapes, dtype=np.int8), np.shape(frames))
    slope_in, slope_out = np.linspace(-1.0, 1.0, len(frames)), np.linspace(0.7, -0.3, len(frames))
    handles = HANDLES[: len(frames)] if len(frames) <= len(HANDLES) else None
    return Curve(frames, values, codes, slope_in, slope_out, handles, before, after)


def value(curve, frame):
    """Return the value of one curve at one frame."""
    return Pack.from_curves([curve]).evaluate([frame])[0, 0]


def slope(curve, frame, side):
    """Return the slope of one curve at one frame, seen from one side."""
    return Pack.from_curves([curve]).slopes([frame], side=side)[0, 0]


# --- at the keys -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", list(Shape))
@pytest.mark.parametrize("shift", [0.0, 1e6, -1e6 + 0.1])
def test_every_shape_returns_a_key_s_value_bit_for_bit(shape, shift):
    frames = FRAMES + shift
    found = Pack.from_curves([keyed(shape, frames=frames)]).evaluate(frames)[0]
    assert found.tobytes() == VALUES.tobytes()


@pytest.mark.parametrize("shape", list(Shape))
def test_a_negative_zero_at_a_key_keeps_its_sign(shape):
    curve = keyed(shape, frames=FRAMES[:3], values=[1.0, -0.0, 2.0], **ROUND)
    found = Pack.from_curves([curve]).evaluate([5.0, 13.0, 500.5])[0]
    assert np.signbit(found[:2]).all()


@pytest.mark.parametrize("shape", list(Shape))
@pytest.mark.parametrize("turns", [-1000, -1, 1, 2, 40_000])
def test_whole_turns_of_whole_frames_return_the_keys_bit_for_bit(shape, turns):
    curve = keyed(shape, **ROUND)
    found = Pack.from_curves([curve]).evaluate(FRAMES[1:-1] + 24.0 * turns)[0]
    assert found.tobytes() == VALUES[1:-1].tobytes()


@pytest.mark.parametrize("turns", [-3, -1, 1, 2])
def test_an_advancing_curve_adds_exactly_the_difference_each_turn(turns):
    curve = keyed(Shape.THROUGH, **ONWARD)
    found = Pack.from_curves([curve]).evaluate(FRAMES + 24.0 * turns)[0]
    inside = slice(1, None) if turns > 0 else slice(None, -1)
    np.testing.assert_array_equal(found[inside], (VALUES + turns * (VALUES[-1] - VALUES[0]))[inside])


def test_keys_a_few_roundings_apart_at_a_high_frame_stay_apart():
    frame = 1e6
    frames = np.array([frame, np.nextafter(frame, np.inf), np.nextafter(np.nextafter(frame, np.inf), np.inf)])
    curves = [Curve.shaped(frames, [1.0, 2.0, 3.0], shape=Shape.STEP), Curve.constant(9.0)] * 3
    found = Pack.from_curves(curves).evaluate(frames)
    np.testing.assert_array_equal(found[0::2], [[1.0, 2.0, 3.0]] * 3)


# --- the shapes ------------------------------------------------------------------------------------------


def test_a_step_holds_up_to_the_next_key_and_jumps_there():
    curve = Curve.shaped([1, 5, 9], [1.0, 3.0, 2.0], shape=Shape.STEP)
    assert value(curve, np.nextafter(5.0, 0.0)) == 1.0
    assert value(curve, 5.0) == 3.0
    assert value(curve, np.nextafter(5.0, 9.0)) == 3.0
    assert slope(curve, 5.0, "left") == slope(curve, 5.0, "right") == 0.0


def test_a_curve_comes_level_into_a_step():
    curve = keyed([Shape.LINEAR, Shape.STEP], frames=[0.0, 4.0], values=[0.0, 8.0])
    assert slope(curve, 0.0, "right") == 2.0
    assert slope(curve, 4.0, "left") == pytest.approx(0.0, abs=1e-15)


def test_a_step_before_a_bezier_key_still_holds():
    curve = keyed([Shape.STEP, Shape.BEZIER], frames=[1.0, 5.0], values=[1.0, 3.0])
    assert value(curve, 4.999) == 1.0


@pytest.mark.parametrize("frame", [1.0, 1.5, 2.75, 4.0, 7.0])
def test_linear_keys_are_joined_by_straight_lines(frame):
    curve = Curve.shaped([1, 3, 4, 7], [0.1, 0.7, -2.0, 5.5], shape=Shape.LINEAR)
    assert value(curve, frame) == pytest.approx(np.interp(frame, curve.frames, curve.values), abs=1e-15)


def test_a_linear_key_heads_for_each_neighbour_on_its_own():
    curve = Curve.shaped([1, 3, 4], [0.0, 4.0, 3.0], shape=Shape.LINEAR)
    slope_in, slope_out = resolve_slopes(curve)
    assert (slope_in[1], slope_out[1]) == (2.0, -1.0)
    assert (slope(curve, 3.0, "left"), slope(curve, 3.0, "right")) == (2.0, -1.0)


def test_through_takes_its_slope_from_the_neighbours_and_at_an_end_from_the_one_segment():
    slope_in, slope_out = resolve_slopes(Curve.through([1, 3, 4, 8], [0.0, 4.0, 3.0, 11.0]))
    np.testing.assert_array_equal(slope_in, [2.0, 1.0, 1.4, 2.0])
    np.testing.assert_array_equal(slope_out, slope_in)


def test_level_keys_are_flat_and_meet_halfway():
    curve = Curve.shaped([2, 6], [1.0, 3.0], shape=Shape.LEVEL)
    assert value(curve, 4.0) == 2.0
    assert slope(curve, 2.0, "right") == slope(curve, 6.0, "left") == 0.0


def test_given_slopes_are_those_of_the_curve_on_each_side():
    curve = Curve.given([1, 4, 6], [0.0, 1.0, 0.5], [9.0, -0.5, 0.25], [2.0, 1.5, 9.0])
    assert slope(curve, 1.0, "right") == 2.0
    assert slope(curve, 4.0, "left") == pytest.approx(-0.5, abs=1e-14)
    assert slope(curve, 4.0, "right") == 1.5
    assert slope(curve, 6.0, "left") == pytest.approx(0.25, abs=1e-14)


def test_slopes_and_handles_are_not_read_where_the_shape_has_none():
    wild = np.full(3, np.nan)
    shapes = [Shape.THROUGH, Shape.LEVEL, Shape.LINEAR]
    curve = Curve([1, 2, 4], [0.0, 1.0, 5.0], shapes, wild, wild, np.full((3, 4), np.nan))
    assert np.isfinite(Pack.from_curves([curve]).evaluate(np.linspace(0, 5, 21))).all()


# --- bezier keys -----------------------------------------------------------------------------------------


def test_bezier_handles_of_a_third_are_the_same_curve_as_given_slopes():
    frames, values = [1.0, 7.0, 10.0], [0.3, 2.0, -1.0]
    slopes = np.array([0.5, -0.25, 1.5])
    back, on = np.array([1.0, 6.0, 3.0]) / 3.0, np.array([6.0, 3.0, 1.0]) / 3.0
    handles = np.stack([-back, -back * slopes, on, on * slopes], axis=1)
    zeros = np.zeros(3)
    bezier = Curve(frames, values, np.full(3, Shape.BEZIER), zeros, zeros, handles)
    hermite = Curve.given(frames, values, slopes, slopes)
    found = Pack.from_curves([bezier, hermite])
    at = np.linspace(0.0, 11.0, 221)
    np.testing.assert_allclose(*found.evaluate(at), rtol=0, atol=2e-15)
    at = at[~np.isin(at, frames)]
    np.testing.assert_allclose(*found.slopes(at), rtol=0, atol=1e-13)


@pytest.mark.parametrize("neighbour", [Shape.LINEAR, Shape.THROUGH, Shape.LEVEL, Shape.GIVEN])
def test_a_neighbour_of_a_bezier_key_keeps_its_own_slope(neighbour):
    curve = keyed([neighbour, neighbour, Shape.BEZIER, neighbour, neighbour, neighbour])
    slope_in, slope_out = resolve_slopes(curve)
    assert slope(curve, 5.0, "right") == pytest.approx(slope_out[1], rel=1e-14, abs=1e-15)
    assert slope(curve, 10.0, "left") == pytest.approx(slope_in[3], rel=1e-14, abs=1e-15)
    step = 1e-7
    forward = (value(curve, 5.0 + step) - value(curve, 5.0)) / step
    assert forward == pytest.approx(slope_out[1], abs=1e-5)


def test_a_bezier_handle_sets_the_slope_on_its_side():
    curve = Curve([0, 10], [0.0, 1.0], [5, 5], [0, 0], [0, 0], [[0, 0, 4, 2], [-5, 1, 0, 0]])
    assert (slope(curve, 0.0, "right"), slope(curve, 10.0, "left")) == (0.5, -0.2)


def test_a_bezier_handle_of_no_length_heads_for_the_next_control_point():
    one = Curve([0, 10], [0.0, 1.0], [5, 5], [0, 0], [0, 0], [[0, 0, 0, 0], [-5, 1, 0, 0]])
    assert slope(one, 0.0, "right") == resolve_slopes(one)[1][0] == 0.4
    none = Curve([0, 10], [0.0, 1.0], [5, 5], [0, 0], [0, 0], np.zeros((2, 4)))
    assert slope(none, 0.0, "right") == slope(none, 10.0, "left") == 0.1
    np.testing.assert_allclose(value(none, 3.0), 0.3, rtol=0, atol=1e-15)


def test_an_upright_bezier_handle_is_infinitely_steep_and_its_sign_tells_the_way():
    curve = Curve([0, 10], [0.0, 1.0], [5, 5], [0, 0], [0, 0], [[0, 0, 0, -2], [0, -3, 0, 0]])
    assert slope(curve, 0.0, "right") == -np.inf
    assert slope(curve, 10.0, "left") == np.inf  # from three below, up to the key
    slope_in, slope_out = resolve_slopes(curve)
    assert (slope_out[0], slope_in[1]) == (-np.inf, np.inf)


def test_full_handles_on_both_sides_still_give_one_value_per_frame():
    """Time stands still in the middle, where Newton's method alone crawls."""
    curve = Curve([0, 8], [0.0, 1.0], [5, 5], [0, 0], [0, 0], [[0, 0, 8, 0], [-8, 0, 0, 0]])
    at = np.linspace(0.0, 8.0, 4001)
    found = Pack.from_curves([curve]).evaluate(at)[0]
    assert (np.diff(found) >= 0.0).all()
    s = 0.5 + np.cbrt((at / 8.0 - 0.5) / 4.0)  # time is 1/2 + 4 (s - 1/2)^3
    np.testing.assert_allclose(found, s * s * (3.0 - 2.0 * s), rtol=0, atol=2e-5)


# --- outside the keys ------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", list(Outside))
def test_a_single_key_is_a_constant_whatever_is_asked_outside(side):
    curve = Curve.through([7], [0.3], before=side, after=side)
    found = Pack.from_curves([curve])
    np.testing.assert_array_equal(found.evaluate([-1e9, 6.9, 7.0, 7.1, 1e9]), [[0.3] * 5])
    np.testing.assert_array_equal(found.slopes([0.0, 7.0, 9.0]), [[0.0] * 3])
    np.testing.assert_array_equal(resolve_slopes(curve), [[0.0], [0.0]])


def test_a_constant_has_its_value_everywhere():
    np.testing.assert_array_equal(Pack.from_curves([Curve.constant(-2.5)]).evaluate([-5, 1, 70]), [[-2.5] * 3])


@pytest.mark.parametrize("shape", list(Shape))
def test_holding_keeps_the_end_values_and_has_no_slope_there(shape):
    curve = keyed(shape)
    found = Pack.from_curves([curve])
    outside = [-100.0, np.nextafter(1.0, 0.0), np.nextafter(25.0, 26.0), 999.0]
    expected = [VALUES[0], VALUES[0], VALUES[-1], VALUES[-1]]
    np.testing.assert_array_equal(found.evaluate(outside)[0], expected)
    np.testing.assert_array_equal(found.slopes(outside)[0], np.zeros(4))
    assert slope(curve, 1.0, "left") == slope(curve, 25.0, "right") == 0.0


@pytest.mark.parametrize("before", list(Outside))
@pytest.mark.parametrize("after", list(Outside))
@pytest.mark.parametrize("shape", list(Shape))
def test_each_side_follows_its_own_rule(before, after, shape):
    """Against a plain loop that carries one frame at a time back among the keys."""
    curve = keyed(shape, before=before, after=after)
    pack = Pack.from_curves([curve, Curve.constant(1.0), keyed(Shape.LEVEL)])
    at = np.arange(-60.0, 90.0, 0.375)
    expected = []
    for frame in at:
        inside, added = frame, 0.0
        while inside > 25.0 and after != Outside.HOLD:
            inside -= 24.0
            added += (VALUES[-1] - VALUES[0]) * (after == Outside.ADVANCE)
        while inside < 1.0 and before != Outside.HOLD:
            inside += 24.0
            added -= (VALUES[-1] - VALUES[0]) * (before == Outside.ADVANCE)
        expected.append(pack.evaluate([min(max(inside, 1.0), 25.0)])[0, 0] + added)
    np.testing.assert_allclose(pack.evaluate(at)[0], expected, rtol=0, atol=1e-13)


@pytest.mark.parametrize(("before", "after"), [(1, 1), (2, 2), (0, 1), (1, 0), (2, 0), (0, 2)])
def test_a_through_curve_that_goes_round_is_smooth_at_its_seam(before, after):
    values = VALUES.copy()
    if Outside.ADVANCE not in (before, after):
        values[-1] = values[0]
    curve = keyed(Shape.THROUGH, values=values, before=before, after=after)
    slope_in, slope_out = resolve_slopes(curve)
    rise = values[-1] - values[0]
    expected = ((values[1] - values[0]) + (values[-1] - values[-2])) / ((5.0 - 1.0) + (25.0 - 16.0))
    assert (rise == 0.0) == (Outside.ADVANCE not in (before, after))
    assert slope_in[-1] == pytest.approx(expected, rel=1e-12)
    assert slope_out[0] == pytest.approx(expected, rel=1e-12)
    seam = 25.0 if after else 1.0
    assert slope(curve, seam, "left") == pytest.approx(slope(curve, seam, "right"), rel=1e-12)


def test_a_repeated_slope_is_seen_from_both_sides_of_the_seam():
    curve = Curve.given([1, 25], [0.0, 0.0], [9.0, -2.0], [1.0, 9.0], **ROUND)
    for seam in (-23.0, 1.0, 25.0, 49.0, 241.0):
        assert slope(curve, seam, "left") == pytest.approx(-2.0, abs=1e-13)
        assert slope(curve, seam, "right") == 1.0


def test_slopes_are_what_differences_of_values_say_inside_and_outside():
    rules = ({}, ROUND, ONWARD)
    pack = Pack.from_curves([keyed(shape, **rule) for shape in Shape for rule in rules])
    at, step = np.arange(-40.0, 60.0, 0.93) + 0.011, 1e-5
    numeric = (pack.evaluate(at + step) - pack.evaluate(at - step)) / (2.0 * step)
    for side in ("left", "right"):
        found = pack.slopes(at, side=side)
        np.testing.assert_allclose(found, numeric, rtol=2e-4, atol=2e-6)


def test_a_curve_that_repeats_over_unequal_ends_jumps_like_copies_of_itself():
    curve = Curve.shaped([1, 25], [0.0, 24.0], shape=Shape.LINEAR, **ROUND)
    assert [value(curve, f) for f in (1.0, 25.0, 49.0)] == [0.0, 24.0, 24.0]
    assert [value(curve, f) for f in (-23.0, -47.0)] == [0.0, 0.0]
    assert value(curve, 25.5) == 0.5


def test_frames_that_round_to_a_seam_stay_among_the_keys():
    """A period that is no binary fraction: no sample near a seam may lose its slope or its value."""
    curve = Curve.shaped([0.1, 0.4], [0.0, 3.0], shape=Shape.LINEAR, **ONWARD)
    pack = Pack.from_curves([curve])
    seams = np.concatenate([0.1 + 0.3 * np.arange(-400, 400) + d for d in (-1e-15, 0.0, 1e-15)])
    for side in ("left", "right"):
        np.testing.assert_allclose(pack.slopes(seams, side=side), 10.0, rtol=1e-13)
    np.testing.assert_allclose(pack.evaluate(seams)[0], 10.0 * (seams - 0.1), rtol=0, atol=1e-11)


# --- packs -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spread", [False, True])
def test_a_pack_gives_what_each_curve_gives_alone(spread):
    """Both ways of finding a segment: keys on shared frames, and 300 x 30 keys all on frames of their own."""
    random = np.random.default_rng(5)
    curves = []
    for number in range(300):
        frames = np.sort(random.uniform(1, 99, 30) if spread else random.choice(99, 30, replace=False) + 1.0)
        outside = Outside(number % 3)
        curves.append(
            keyed(
                random.integers(0, 5, 30),
                frames=frames,
                values=random.normal(size=30),
                before=outside,
                after=outside,
            )
            if number % 2
            else Curve.through(frames, random.normal(size=30), before=outside)
        )
    pack = Pack.from_curves(curves)
    assert (pack._table is None) == spread
    at = np.concatenate([random.uniform(-150, 250, 40), curves[0].frames, curves[299].frames])
    alone = np.concatenate([Pack.from_curves([c]).evaluate(at) for c in curves])
    assert pack.evaluate(at).tobytes() == alone.tobytes()
    alone = np.concatenate([Pack.from_curves([c]).slopes(at, side="left") for c in curves])
    assert pack.slopes(at, side="left").tobytes() == alone.tobytes()


def test_frames_may_come_in_any_order_twice_or_not_at_all():
    pack = Pack.from_curves([keyed(Shape.BEZIER, **ROUND), keyed(Shape.THROUGH)])
    at = np.array([30.0, 2.5, 2.5, -7.0, 25.0])
    one_by_one = np.concatenate([pack.evaluate([f]) for f in at], axis=1)
    np.testing.assert_array_equal(pack.evaluate(at), one_by_one)
    assert pack.evaluate([]).shape == pack.slopes([]).shape == (2, 0)


def test_a_dense_curve_returns_every_key():
    values = np.random.default_rng(1).normal(size=(3, 24_000))
    frames = np.arange(1.0, 24_001.0)
    pack = Pack.from_curves([Curve.through(frames, v) for v in values])
    assert pack.evaluate(frames).tobytes() == values.tobytes()


def test_a_pack_refuses_what_it_cannot_place():
    with pytest.raises(InputError, match="at least one curve"):
        Pack.from_curves([])
    pack = Pack.from_curves([Curve.constant(1.0)])
    with pytest.raises(InputError, match="finite, got nan"):
        pack.evaluate([1.0, np.nan])
    with pytest.raises(InputError, match="finite, got inf"):
        pack.slopes([np.inf])
    with pytest.raises(ShapeError, match=r"shape \(m,\), got \(1, 2\)"):
        pack.evaluate([[1.0, 2.0]])
    with pytest.raises(InputError, match="'left' or 'right', got 'up'"):
        pack.slopes([1.0], side="up")


# --- properties ------------------------------------------------------------------------------------------

NUMBERS = st.floats(-100, 100, allow_nan=False, width=32)


@st.composite
def curves(draw):
    """Return a lawful curve of any shapes, on whole frames, and the shapes of its ends."""
    frames = sorted(draw(st.sets(st.integers(-50, 50), min_size=1, max_size=8)))
    size = len(frames)
    column = st.lists(NUMBERS, min_size=size, max_size=size)
    shapes = draw(st.lists(st.sampled_from(list(Shape)), min_size=size, max_size=size))
    gaps = np.diff(frames, prepend=frames[0] - 1, append=frames[-1] + 1).astype(float)
    share = st.lists(st.integers(0, 8), min_size=size, max_size=size)
    back, on = np.array(draw(share)) / 8.0 * gaps[:-1], np.array(draw(share)) / 8.0 * gaps[1:]
    handles = np.stack([-back, draw(column), on, draw(column)], axis=1)
    before, after = draw(st.sampled_from(list(Outside))), draw(st.sampled_from(list(Outside)))
    return Curve(frames, draw(column), shapes, draw(column), draw(column), handles, before, after)


def remade(curve, *, shift=0.0, stretch=1.0, lift=0.0, gain=1.0):
    """Return the curve moved and scaled in time and value."""
    handles = curve.handles * [stretch, gain, stretch, gain]
    slopes = curve.slope_in * (gain / stretch), curve.slope_out * (gain / stretch)
    frames, values = curve.frames * stretch + shift, curve.values * gain + lift
    return Curve(frames, values, curve.shapes, *slopes, handles, curve.before, curve.after)


AT = np.linspace(-120.0, 120.0, 97)


@settings(max_examples=60, deadline=None)
@given(curves(), st.integers(-1000, 1000), st.sampled_from([0.25, 2.0, 8.0]))
def test_moving_or_stretching_time_moves_or_stretches_the_curve(curve, shift, stretch):
    moved = Pack.from_curves([remade(curve, shift=shift, stretch=stretch)]).evaluate(AT * stretch + shift)
    expected = Pack.from_curves([curve]).evaluate(AT)
    np.testing.assert_allclose(moved, expected, rtol=1e-10, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(curves(), st.sampled_from([-4.0, 0.5, 16.0]))
def test_scaling_values_by_a_power_of_two_scales_the_curve_exactly(curve, gain):
    scaled = Pack.from_curves([remade(curve, gain=gain)]).evaluate(AT)
    np.testing.assert_allclose(scaled, Pack.from_curves([curve]).evaluate(AT) * gain, rtol=1e-14, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(curves(), NUMBERS)
def test_lifting_the_keys_lifts_the_curve(curve, lift):
    lifted = Pack.from_curves([remade(curve, lift=lift)]).evaluate(AT)
    np.testing.assert_allclose(lifted, Pack.from_curves([curve]).evaluate(AT) + lift, rtol=0, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(curves())
def test_resolved_slopes_given_back_draw_the_same_curve_where_there_is_no_bezier(curve):
    shapes = np.where(curve.shapes == Shape.BEZIER, Shape.LEVEL, curve.shapes)
    plain = Curve(curve.frames, curve.values, shapes, curve.slope_in, curve.slope_out, None, curve.before, curve.after)
    told = np.where(shapes == Shape.STEP, Shape.STEP, Shape.GIVEN)
    stated = Curve(curve.frames, curve.values, told, *resolve_slopes(plain), None, curve.before, curve.after)
    pack = Pack.from_curves([plain, stated])
    np.testing.assert_array_equal(*pack.evaluate(AT))


# --- the value -------------------------------------------------------------------------------------------


def test_a_curve_keeps_its_own_copy_and_lets_nobody_write_to_it():
    values = np.array([1.0, 2.0])
    curve = Curve.through([1, 2], values)
    values[0] = 99.0
    assert curve.values[0] == 1.0
    for array in (curve.frames, curve.values, curve.shapes, curve.slope_in, curve.slope_out):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
    with pytest.raises(AttributeError):
        curve.values = values


@pytest.mark.parametrize(
    ("frames", "values", "words"),
    [
        ([], [], "keys: a curve needs at least one key, got none"),
        ([1, 9, 5], [0, 0, 0], "key 3 at frame 5: key 2 before it is at frame 9; keys go in order of frame"),
        ([1, 5, 5], [0, 0, 0], "key 3 at frame 5: key 2 stands on the same frame; one frame has one key"),
        ([1, np.nan, 5], [0, 0, 0], "key 2: the frame is not a finite number (nan)"),
        ([np.nan], [0], "key 1: the frame is not a finite number (nan)"),
        ([1, 2, np.inf], [0, 0, 0], "key 3: the frame is not a finite number (inf)"),
        ([1, 2.5], [0, np.nan], "key 2 at frame 2.5: the value is not a finite number (nan)"),
        ([1, 2], [-np.inf, 0], "key 1 at frame 1: the value is not a finite number (-inf)"),
    ],
)
def test_unlawful_keys_are_named_by_number_and_frame(frames, values, words):
    with pytest.raises(InputError) as caught:
        Curve.through(frames, values)
    assert str(caught.value) == words


@pytest.mark.parametrize("column", ["slope_in", "slope_out"])
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_given_slope_must_be_a_number(column, bad):
    slopes = {"slope_in": [0.0, 0.0], "slope_out": [0.0, 0.0]}
    slopes[column] = [0.0, bad]
    with pytest.raises(InputError, match=f"key 2 at frame 4: a key with given slopes .* {bad}"):
        Curve.given([1, 4], [0, 0], **slopes)


@pytest.mark.parametrize(
    ("row", "handle", "words"),
    [
        (1, [0.5, 0, 1, 0], "key 2 at frame 5: the in handle runs backwards in time (0.5 frames)"),
        (1, [-1, 0, -0.25, 0], "key 2 at frame 5: the out handle runs backwards in time (-0.25 frames)"),
        (
            1,
            [-4.5, 0, 1, 0],
            "key 2 at frame 5: the in handle reaches 4.5 frames, past the neighbouring key 4 frames",
        ),
        (
            1,
            [-4, 0, 2.5, 0],
            "key 2 at frame 5: the out handle reaches 2.5 frames, past the neighbouring key 2 frames",
        ),
        (0, [-99, 0, 4.01, 0], "key 1 at frame 1: the out handle reaches 4.01 frames"),
        (2, [0, np.nan, 0, 0], "key 3 at frame 7: the handles are not finite numbers"),
    ],
)
def test_handles_that_would_turn_time_back_are_refused(row, handle, words):
    handles = np.zeros((3, 4))
    handles[row] = handle
    with pytest.raises(InputError) as caught:
        Curve([1, 5, 7], [0, 0, 0], np.full(3, Shape.BEZIER), np.zeros(3), np.zeros(3), handles)
    assert words in str(caught.value)


def test_handles_may_just_reach_the_neighbours_and_outer_ones_go_as_far_as_they_like():
    handles = [[-99, 0, 4, 0], [-4, 0, 2, 0], [-2, 0, 99, 0]]
    curve = Curve([1, 5, 7], [0, 1, 0], np.full(3, Shape.BEZIER), np.zeros(3), np.zeros(3), handles)
    assert np.isfinite(Pack.from_curves([curve]).evaluate(np.linspace(0, 8, 65))).all()


def test_a_handle_into_a_held_stretch_is_never_used_and_may_be_of_any_length():
    shapes, handles = [Shape.STEP, Shape.BEZIER], [[0, 0, 0, 0], [-99, 5, 0, 0]]
    curve = Curve([1, 5], [0.5, 1.0], shapes, [0, 0], [0, 0], handles)
    np.testing.assert_array_equal(Pack.from_curves([curve]).evaluate([1, 3, 4.9, 5, 6])[0], [0.5, 0.5, 0.5, 1, 1])


def test_wrong_sizes_codes_and_missing_handles_are_told():
    with pytest.raises(ShapeError, match="2 frames need as many values"):
        Curve.through([1, 2], [0.0])
    with pytest.raises(ShapeError, match=r"frames have shape \(keys,\), got \(1, 2\)"):
        Curve.through([[1, 2]], [[0.0, 1.0]])
    with pytest.raises(ShapeError, match=r"handles of shape \(2, 4\), got \(2, 2\)"):
        Curve([1, 2], [0, 0], [0, 0], [0, 0], [0, 0], np.zeros((2, 2)))
    with pytest.raises(InputError, match="key 2 at frame 2: no shape has the code 6"):
        Curve([1, 2], [0, 0], [0, 6], [0, 0], [0, 0])
    with pytest.raises(InputError, match="a curve is made of numbers"):
        Curve([1, 2], [0, 0], [0, 600], [0, 0], [0, 0])
    with pytest.raises(InputError, match="a curve is made of numbers"):
        Curve([1, 2], [0, 0], [0, 0], [0, 0], [0, 0], before=7)
    with pytest.raises(InputError, match="key 1 at frame 1: a bezier key needs handles"):
        Curve([1, 2], [0, 0], [5, 0], [0, 0], [0, 0])
    with pytest.raises(InputError, match="keys of shape GIVEN need slopes"):
        Curve.shaped([1], [0], shape=Shape.GIVEN)


# --- fitting slopes --------------------------------------------------------------------------------------


def test_fitted_slopes_are_those_of_the_cubic_the_samples_come_from():
    random = np.random.default_rng(3)
    values, slope_in, slope_out = random.normal(size=(3, 2, 9))
    pack = Pack.from_curves(
        [Curve.given(np.arange(9.0), *rows) for rows in zip(values, slope_in, slope_out, strict=True)]
    )
    phases = np.array([0.25, 0.5, 0.9])
    interior = pack.evaluate((np.arange(8.0)[:, np.newaxis] + phases).ravel()).reshape(2, 8, 3)
    for chosen in (slice(None), slice(0, 2)):
        out, into = fit_segment_slopes(values, interior[..., chosen], phases[chosen])
        np.testing.assert_allclose(out, slope_out[:, :-1], rtol=0, atol=1e-13)
        np.testing.assert_allclose(into, slope_in[:, 1:], rtol=0, atol=1e-13)


def test_fitted_slopes_miss_by_less_than_any_slopes_beside_them():
    random = np.random.default_rng(4)
    values, interior, phases = random.normal(size=2), random.normal(size=(1, 5)), np.linspace(0.1, 0.9, 5)
    out, into = fit_segment_slopes(values, interior, phases)

    def miss(start, end):
        curve = Curve.given([0, 1], values, [0, end], [start, 0])
        return float(np.sum((Pack.from_curves([curve]).evaluate(phases) - interior) ** 2))

    best = miss(out[0], into[0])
    for start, end in ((0.01, 0), (-0.01, 0), (0, 0.01), (0, -0.01), (0.01, 0.01), (0.01, -0.01)):
        assert miss(out[0] + start, into[0] + end) > best


def test_fitting_slopes_needs_two_phases_inside_and_shapes_that_agree():
    with pytest.raises(InputError, match="at least two phases that differ"):
        fit_segment_slopes([0, 1], [[0.5]], [0.5])
    with pytest.raises(InputError, match="at least two phases that differ"):
        fit_segment_slopes([0, 1], [[0.5, 0.5]], [0.5, 0.5])
    with pytest.raises(InputError, match="strictly between 0 and 1"):
        fit_segment_slopes([0, 1], [[0.5, 1.0]], [0.5, 1.0])
    with pytest.raises(ShapeError, match=r"got \(2, 2\)"):
        fit_segment_slopes([0, 1], np.zeros((2, 2)), [0.25, 0.5])
