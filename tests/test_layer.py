"""A layer is what one clip adds to another: keys on top of keys, exact at every moment."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import surefoot
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, parse_clip
from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.errors import InputError
from surefoot.layer import layer_between

FIRST, LAST = 1, 24
DENSE = np.concatenate(
    [np.arange(FIRST, LAST + 2.0), np.random.default_rng(5).uniform(FIRST, LAST + 1, 4000), np.linspace(FIRST, 25, 961)]
)


def value(clip: Clip, name: str, frames: np.ndarray = DENSE) -> np.ndarray:
    return Pack.from_curves([clip.channels[name]]).evaluate(frames)[0]


def clip(**channels: Curve) -> Clip:
    return Clip(channels, Fraction(24), FIRST, LAST)


def add_up(before: Clip, after: Clip, *, through_file: bool = False) -> float:
    """Return how far authored plus layer is from the output, at worst, at frames and anywhere between them."""
    layer = layer_between(before, after)
    if through_file:
        layer = parse_clip(clip_bytes(layer))
    worst = 0.0
    for name, curve in after.channels.items():
        total = value(before, name)
        if name in layer.channels:
            total = total + value(layer, name)
        worst = max(worst, float(np.abs(total - Pack.from_curves([curve]).evaluate(DENSE)[0]).max()))
    return worst


@pytest.mark.parametrize("through_file", [False, True])
@pytest.mark.parametrize("name", ["lamplighter", "treadmill"])
def test_authored_plus_layer_is_the_planted_clip_at_every_moment(name: str, through_file: bool) -> None:
    authored, rig = surefoot.demo(name)
    planted = surefoot.plant(authored, rig)
    layer = layer_between(authored, planted.clip)
    assert tuple(layer.channels) == tuple(n for n in authored.channels if n in planted.changed)
    assert "replaced" not in layer.extra
    if through_file:
        layer = parse_clip(clip_bytes(layer))
    frames = np.random.default_rng(2).uniform(authored.first, authored.last + (1 if authored.loop else 0), 3000)
    frames = np.concatenate([frames, np.arange(authored.first, authored.last + 1.0)])
    for channel in planted.changed:
        total = value(authored, channel, frames) + value(layer, channel, frames)
        np.testing.assert_allclose(total, value(planted.clip, channel, frames), atol=1e-9, rtol=0)


@pytest.mark.parametrize("outside", list(Outside))
def test_a_loops_layer_goes_round_with_it(outside: Outside) -> None:
    """Both curves keyed over one round: the sum holds in the rounds before and after, travel included."""
    rng = np.random.default_rng(3)
    old = Curve.through([1.0, 9.0, 25.0], rng.normal(size=3), before=outside, after=outside)
    new = Curve.through([1.0, 4.0, 25.0], rng.normal(size=3), before=outside, after=outside)
    before, after = clip(a=old), clip(a=new)
    layer = layer_between(before, after)
    frames = rng.uniform(-60.0, 90.0, 2000)
    total = value(before, "a", frames) + value(layer, "a", frames)
    np.testing.assert_allclose(total, value(after, "a", frames), atol=1e-9, rtol=0)


HERMITE = [Shape.LINEAR, Shape.THROUGH, Shape.LEVEL, Shape.GIVEN]


@st.composite
def hermite_curves(draw: st.DrawFn) -> Curve:
    frames = np.array(sorted(draw(st.lists(st.integers(-20, 200), min_size=1, max_size=9, unique=True)))) / 4
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    count = len(frames)
    shapes = rng.choice(HERMITE, count).astype(np.int8)
    return Curve(frames, rng.normal(size=count), shapes, rng.normal(size=count), rng.normal(size=count))


@settings(max_examples=80, deadline=None)
@given(hermite_curves(), hermite_curves())
def test_any_two_hermite_channels_differ_by_a_layer(old: Curve, new: Curve) -> None:
    assert add_up(clip(a=old), clip(a=new)) < 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.booleans())
def test_any_two_stepped_channels_differ_by_a_stepped_layer(seed: int, through_file: bool) -> None:
    rng = np.random.default_rng(seed)
    old, new = (
        Curve.shaped(np.sort(rng.choice(np.arange(1.0, 26.0), 6, replace=False)), rng.normal(size=6), shape=Shape.STEP)
        for _ in range(2)
    )
    before, after = clip(a=old), clip(a=new)
    assert set(layer_between(before, after).channels["a"].shapes) == {Shape.STEP}
    assert add_up(before, after, through_file=through_file) < 1e-9


def test_a_channel_that_steps_in_places_keeps_stepping_there() -> None:
    shapes = np.array([Shape.STEP, Shape.STEP, Shape.LEVEL, Shape.LEVEL], dtype=np.int8)
    none = np.zeros(4)
    old = Curve(np.array([1.0, 5.0, 9.0, 20.0]), np.array([0.0, 1.0, 2.0, 3.0]), shapes, none, none)
    new = Curve(np.array([1.0, 5.0, 9.0, 20.0]), np.array([0.5, 1.0, 2.5, 3.0]), shapes, none, none)
    assert add_up(clip(a=old), clip(a=new)) < 1e-9


def test_only_channels_that_differ_are_in_the_layer() -> None:
    same, old, new = Curve.constant(1.0), Curve.constant(2.0), Curve.constant(5.0)
    layer = layer_between(clip(a=same, b=old), clip(a=same, b=new, c=new))
    assert list(layer.channels) == ["b", "c"]
    assert value(layer, "b")[0] == 3.0
    assert layer.channels["c"] is new
    assert layer.extra == {"layer": True}


def test_a_layer_between_a_clip_and_itself_adds_nothing() -> None:
    one = clip(a=Curve.constant(1.0))
    layer = layer_between(one, one)
    assert not layer.channels
    assert parse_clip(clip_bytes(layer)).extra == {"layer": True}
    with pytest.raises(InputError, match="the clip is empty"):
        replace(layer, extra={})


def test_what_no_sum_of_keys_can_tell_is_handed_over_whole_and_named() -> None:
    """A bezier channel, and one that jumps where the other moves."""
    handles = np.array([[0.0, 0.0, 2.0, 1.0], [-2.0, 0.0, 0.0, 0.0]])
    curved = Curve(
        np.array([1.0, 9.0]), np.array([0.0, 1.0]), np.full(2, Shape.BEZIER, dtype=np.int8), np.zeros(2), np.zeros(2),
        handles,
    )  # fmt: skip
    smooth = Curve.through([1.0, 9.0], [0.0, 2.0])
    stepped = Curve.shaped([1.0, 5.0, 9.0], [0.0, 1.0, 2.0], shape=Shape.STEP)
    layer = layer_between(clip(a=curved, b=stepped, c=smooth), clip(a=smooth, b=smooth, c=curved))
    assert layer.extra["replaced"] == ["a", "b", "c"]
    assert layer.channels["a"] is smooth
    assert layer.channels["b"] is smooth
    assert layer.channels["c"] is curved


def test_a_channel_that_goes_round_sooner_is_handed_over_whole() -> None:
    old = Curve.through([1.0, 7.0, 13.0], [0.0, 1.0, 0.0], before=Outside.REPEAT, after=Outside.REPEAT)
    new = Curve.through([1.0, 7.0, 25.0], [0.0, 2.0, 0.0], before=Outside.REPEAT, after=Outside.REPEAT)
    assert layer_between(clip(a=old), clip(a=new)).extra["replaced"] == ["a"]


def test_a_step_that_jumps_nowhere_is_no_hindrance() -> None:
    flat = Curve.shaped([1.0, 5.0, 9.0], [1.0, 1.0, 1.0], shape=Shape.STEP)
    moving = Curve.through([1.0, 9.0], [0.0, 2.0])
    assert "replaced" not in layer_between(clip(a=flat), clip(a=moving)).extra
    assert add_up(clip(a=flat), clip(a=moving)) < 1e-9


def test_a_layer_carries_neither_stances_nor_locks() -> None:
    authored, rig = surefoot.demo()
    layer = layer_between(authored, surefoot.plant(authored, rig).clip)
    assert layer.stances is None
    assert not layer.locked
    assert layer.name == "lamplighter walks: correction"
    assert (layer.first, layer.last, layer.rate) == (authored.first, authored.last, authored.rate)
