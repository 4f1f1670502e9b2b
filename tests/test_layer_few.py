"""With few keys too, authored plus layer is the output: random walks, every style of control, every moment."""

from __future__ import annotations

import numpy as np
import pytest

import surefoot
from surefoot import Clip, Curve, Rig, layer_between, plant
from surefoot.curves import Pack
from tests.test_control_styles import RIGS
from tests.walks import clip_of, make_rig, random_walk

STYLES = {"rockers": ("rockers", False), "one roll": ("rockers", True), "joints": ("joints", False)}


def apart(authored: Clip, planted: Clip, seed: int) -> float:
    """Return how far authored plus layer is from what was planted, at whole frames and at random moments."""
    layer = layer_between(authored, planted)
    rng = np.random.default_rng(seed)
    last = authored.last + (1.0 if authored.loop else 0.0)
    moments = np.concatenate([np.arange(authored.first, last + 0.5), rng.uniform(authored.first, last, 800)])
    worst = 0.0
    for name, curve in planted.channels.items():
        assert name not in layer.extra.get("replaced", ())
        parts = [clip.channels[name] for clip in (authored, layer) if name in clip.channels]
        total = sum(Pack.from_curves([part]).evaluate(moments)[0] for part in parts)
        worst = max(worst, float(np.abs(total - Pack.from_curves([curve]).evaluate(moments)[0]).max()))
    return worst


def holds(authored: Clip, rig: Rig, seed: int) -> None:
    planted = plant(authored, rig, keys="few")
    assert planted.changed
    assert apart(authored, planted.clip, seed) < 1e-9


@pytest.mark.parametrize("style", RIGS)
@pytest.mark.parametrize("seed", range(3))
def test_under_every_parent_order_and_unit_the_layer_is_exact(style: str, seed: int) -> None:
    walk = random_walk(seed, loop=seed != 1)
    controls, named, more = RIGS[style](walk)
    holds(clip_of(named, walk, **more), make_rig(controls=controls), seed)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("seed", range(3))
def test_by_rockers_and_by_joints_the_layer_is_exact(style: str, seed: int) -> None:
    name, single = STYLES[style]
    made = surefoot.convert(random_walk(seed, loop=seed != 1).clip(), make_rig(), style=name, single=single)
    holds(made.clip, made.rig, seed)


@pytest.mark.parametrize("name", ["lamplighter", "trudge", "run"])
@pytest.mark.parametrize("made", [None, *STYLES])
def test_from_an_animators_few_keys_the_layer_is_exact(name: str, made: str | None) -> None:
    clip, rig = surefoot.demo(name)
    if made is not None:
        style, single = STYLES[made]
        told = surefoot.convert(clip, rig, style=style, single=single)
        clip, rig = told.clip, told.rig
    holds(clip, rig, 11)


@pytest.mark.parametrize("thin", [2, 3, 5])
@pytest.mark.parametrize("seed", range(4))
def test_keys_on_some_frames_of_random_walks_leave_the_layer_exact(seed: int, thin: int) -> None:
    """The authored keys are every second, third or fifth frame: own keys stay, new ones come between."""
    walk = random_walk(seed, loop=bool(seed % 2))
    clip, rig = walk.clip(), make_rig()
    sparse = {}
    for name, curve in clip.channels.items():
        kept = sorted({*range(0, len(curve.frames), thin), len(curve.frames) - 1})
        sparse[name] = Curve.through(curve.frames[kept], curve.values[kept], before=curve.before, after=curve.after)
    holds(clip.with_channels(sparse), rig, seed)
