"""Edits of keys are exact at every instant, in every shape of key, and keep each key a key."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from surefoot import Curve, Outside, Shape
from surefoot.curves import Pack
from surefoot.errors import InputError
from surefoot.key_edits import affine, as_cycle, closes, cyclic, rebased, shifted, spelt_out, with_keys, wrapped_in
from surefoot.key_range import put_within

SEEDS = range(24)
FINE = np.linspace(-40.0, 70.0, 881)


def at(curve: Curve, frames: Any = FINE) -> Any:
    return Pack.from_curves([curve]).evaluate(np.asarray(frames))[0]


def random_curve(seed: int, *, shapes: Any = None, rule: Outside = Outside.REPEAT, span: float = 24.0) -> Curve:
    """Return keys in mixed shapes over one period, the last key's value the first's (plus 3 where it advances)."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 9))
    inner = np.sort(rng.choice(np.arange(2, int(span)), count - 2, replace=False))
    frames = np.concatenate([[1.0], inner + 0.0, [1.0 + span]])
    values = rng.normal(size=count) * 5.0
    if rule != Outside.HOLD:
        values[-1] = values[0] + (3.0 if rule == Outside.ADVANCE else 0.0)
    codes = [int(s) for s in (shapes or Shape)]
    kinds = rng.choice(codes, count).astype(np.int8)
    slopes = rng.normal(size=(2, count))
    room = np.diff(frames)
    handles = np.zeros((count, 4))
    handles[1:, 0] = -rng.uniform(0.05, 1.0, count - 1) * room
    handles[:-1, 2] = rng.uniform(0.05, 1.0, count - 1) * room
    handles[0, 0], handles[-1, 2] = -1.0, 1.0
    handles[:, [1, 3]] = rng.normal(size=(count, 2))
    return Curve(frames, values, kinds, *slopes, handles if Shape.BEZIER in kinds else None, rule, rule)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_scaled_curve_is_the_old_one_scaled_at_every_instant(seed: int) -> None:
    curve = random_curve(seed)
    made = affine(curve, factor=-1.7, offset=2.5)
    assert np.array_equal(made.shapes, curve.shapes)
    assert np.array_equal(made.frames, curve.frames)
    assert np.abs(at(made) - (2.5 - 1.7 * at(curve))).max() < 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_a_tilted_curve_is_the_old_one_tilted(seed: int) -> None:
    smooth = [shape for shape in Shape if shape != Shape.STEP]
    curve = random_curve(seed, shapes=smooth)
    made = affine(curve, rate=0.3, at=1.0)
    assert made.after == Outside.ADVANCE
    assert np.abs(at(made) - (at(curve) + 0.3 * (FINE - 1.0))).max() < 1e-11


def test_a_stepped_curve_is_not_tilted() -> None:
    curve = random_curve(0, shapes=[Shape.STEP])
    with pytest.raises(InputError, match="stepped channel can't be tilted"):
        affine(curve, rate=0.1)


def test_nothing_asked_gives_the_same_object_back() -> None:
    curve = random_curve(1)
    assert affine(curve) is curve
    assert shifted(curve, 0.0) is curve
    assert rebased(curve, 1.0) is curve
    assert with_keys(curve, curve.frames) is curve
    assert wrapped_in(curve, 1.0, 24.0) is curve
    assert as_cycle(curve, 1.0, 24.0) is curve


@pytest.mark.parametrize("rule", [Outside.REPEAT, Outside.ADVANCE])
@pytest.mark.parametrize("by", [2.0, -3.0, 12.5, 100.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_cycle_shifted_and_turned_is_the_same_motion_later_with_as_many_keys(
    seed: int, by: float, rule: Outside
) -> None:
    curve = random_curve(seed, rule=rule)
    made = rebased(shifted(curve, by), 1.0)
    assert len(made.frames) == len(curve.frames)
    away = FINE + 0.037  # a seam's own instant belongs to either side where a step lands there
    assert np.abs(at(made, away) - at(curve, away - by)).max() < 1e-10
    moved = np.mod(shifted(curve, by).frames - 1.0, 24.0)
    if made.frames[0] != curve.frames[0] + by:
        assert 1.0 <= made.frames[0] < 25.0
    assert set(np.mod(made.frames - 1.0, 24.0)) == set(moved)


def test_a_cycle_that_jumps_at_its_seam_is_shifted_but_not_turned() -> None:
    curve = Curve.through([1, 9, 25], [0.0, 3.0, 1.0], before=Outside.REPEAT, after=Outside.REPEAT)
    moved = shifted(curve, 5.0)
    assert not closes(curve)
    assert rebased(moved, 1.0) is moved


@pytest.mark.parametrize("seed", SEEDS)
def test_a_curve_with_more_keys_is_the_same_curve(seed: int) -> None:
    curve = random_curve(seed)
    new = np.array([1.0, 3.25, 7.5, 7.75, 19.0, 24.9])
    made = with_keys(curve, new)
    assert np.isin(new, made.frames).all()
    away = FINE + 0.037
    # a stepped key that a Bezier runs into lends a third of a segment, which a new key makes shorter
    curved_steps = Shape.BEZIER in curve.shapes and Shape.STEP in curve.shapes
    if not curved_steps:
        assert np.abs(at(made, away) - at(curve, away)).max() < 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_a_curve_spelt_out_is_the_same_curve(seed: int) -> None:
    curve = random_curve(seed)
    assert np.abs(at(spelt_out(curve)) - at(curve)).max() < 1e-10


def test_a_channel_that_holds_becomes_a_cycle_where_it_closes() -> None:
    open_ended = Curve.through([3, 9, 20], [1.0, 4.0, 1.0])
    cycle = as_cycle(open_ended, 1.0, 24.0)
    assert cycle is not None
    assert cyclic(cycle)
    inside = np.linspace(1.0, 25.0, 97)
    assert np.abs(at(cycle, inside) - at(open_ended, inside)).max() < 1e-12
    assert np.abs(at(cycle, inside + 24.0) - at(open_ended, inside)).max() < 1e-12
    assert as_cycle(Curve.through([1, 9, 25], [0.0, 4.0, 1.0]), 1.0, 24.0) is None


def test_keys_beyond_the_range_of_a_cycle_are_wrapped_in() -> None:
    late = Curve.through([2, 8, 14, 20, 26], [7.0, 0.0, -7.0, 0.0, 7.0], before=Outside.REPEAT, after=Outside.REPEAT)
    made = wrapped_in(late, 1.0, 24.0)
    assert (made.frames[0], made.frames[-1]) == (1.0, 25.0)
    assert np.abs(at(made) - at(late)).max() < 1e-12


def test_keys_beyond_the_range_of_one_that_holds_go_where_there_is_no_key_yet() -> None:
    held = Curve.shaped([3, 9, 27, 30], [1.0, 4.0, 1.0, 2.0], shape=Shape.LEVEL)
    made = wrapped_in(held, 1.0, 24.0)
    assert made.frames.tolist() == [3.0, 6.0, 9.0]
    assert made.values.tolist() == [1.0, 2.0, 4.0]


def test_a_channel_that_holds_is_wrapped_with_its_handles_and_none_passes_a_neighbour() -> None:
    """Keys beyond the loop come back a round earlier; a handle is shortened along itself, so that its slope stays."""
    frames = np.array([3.0, 12.0, 20.0, 27.0, 30.0])
    handles = np.array([[-2, -1, 4, 2], [-6, 0, 7, 0], [-5, 3, 6, -3], [-5, 2, 2, 1], [-2, 0, 0, 0]], dtype=float)
    shapes, none = np.full(5, Shape.BEZIER, dtype=np.int8), np.zeros(5)
    curve = Curve(frames, np.array([0.0, 3.0, 1.0, 2.0, 5.0]), shapes, none, none, handles)
    made = wrapped_in(curve, 1.0, 24.0)
    assert made.frames.tolist() == [3.0, 6.0, 12.0, 20.0]  # that of 27 stands on 3 already, that of 30 on 6
    assert made.values.tolist() == [0.0, 5.0, 3.0, 1.0]
    assert made.handles is not None
    gap = np.diff(made.frames)
    assert np.all(-made.handles[1:, 0] <= gap + 1e-12)
    assert np.all(made.handles[:-1, 2] <= gap + 1e-12)
    assert made.handles[0].tolist() == [-2.0, -1.0, 3.0, 1.5]  # 4 frames were too long for the 3 to the next key
    assert made.handles[2].tolist() == [-6.0, 0.0, 7.0, 0.0]


def test_a_cycle_of_another_period_is_not_wrapped_nor_turned_where_a_bezier_meets_a_step() -> None:
    slow = Curve.through([1, 9, 37], [0.0, 3.0, 0.0], before=Outside.REPEAT, after=Outside.REPEAT)
    assert wrapped_in(slow, 1.0, 24.0) is slow
    handles = np.array([[0, 0, 2, 1], [-2, 0, 2, 0], [0, 0, 0, 0]], dtype=float)
    shapes, none = np.array([Shape.BEZIER, Shape.BEZIER, Shape.STEP], dtype=np.int8), np.zeros(3)
    mixed = Curve(
        np.array([1.0, 9.0, 25.0]),
        np.array([1.0, 4.0, 1.0]),
        shapes,
        none,
        none,
        handles,
        Outside.REPEAT,
        Outside.REPEAT,
    )
    assert rebased(mixed, 5.0) is mixed


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("ends", [(5.0, 18.0), (6.25, 9.75), (11.0, 11.0)], ids=str)
def test_what_lies_outside_a_range_stays_where_new_keys_meet_it(seed: int, ends: tuple[float, float]) -> None:
    curve = random_curve(seed, rule=Outside.HOLD)
    times = np.unique(np.linspace(*ends, 6))
    noise = np.random.default_rng(seed).normal(size=(2, len(times)))
    values = at(curve, times)
    values[1:-1] += 3.0
    made = put_within(curve, times, values, *noise)
    assert np.isin(times, made.frames).all()
    outside = FINE[(ends[0] > FINE) | (ends[1] <= FINE)]
    if not (Shape.BEZIER in curve.shapes and Shape.STEP in curve.shapes):  # as for more keys
        assert np.abs(at(made, outside) - at(curve, outside)).max() < 1e-9
    inside = made.frames[(made.frames > ends[0]) & (made.frames < ends[1])]
    assert set(inside) <= set(times)
