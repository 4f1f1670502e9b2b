"""SymPy's derivation is the witness: the hand-written points and Jacobians agree with it term by term."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from surefoot import Rig, load_rig, preset_names
from surefoot.derive import derive_chain, derived_text
from surefoot.hinge_chain import HingeChain, hinge_points, leg_hinges
from tests.test_leg_solve import random_chain

QUICK = ("adult", "stalker")
"""Without and with a third bone; the other presets' chains have the same form, and take a while."""


def agree(chain: HingeChain, seed: int) -> None:
    import sympy

    angles, places, slopes = derive_chain(chain)
    values = np.random.default_rng(seed).uniform(-1.2, 1.2, (len(angles), 4))
    points, jacobian, _ = hinge_points(values, chain)
    for p, (name, _, _) in enumerate(chain.points):
        terms = sympy.lambdify(angles, list(places[name]) + list(slopes[name]), "math")
        for k in range(values.shape[1]):
            got = np.array(terms(*values[:, k]), dtype=np.float64)
            np.testing.assert_allclose(points[:, p, k], got[:3], atol=1e-13)
            np.testing.assert_allclose(jacobian[:, p, :, k], got[3:].reshape(3, -1), atol=1e-13)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    "preset", [name if name in QUICK else pytest.param(name, marks=pytest.mark.long) for name in preset_names()]
)
def test_every_shipped_chain_is_as_derived(preset: str, side: str) -> None:
    rig = load_rig(preset)
    assert isinstance(rig, Rig)
    agree(leg_hinges(rig.legs[side == "right"], side=side, foot_yaw=True), 1)


@pytest.mark.parametrize("seed", range(6))
def test_random_chains_are_as_derived(seed: int) -> None:
    agree(random_chain(np.random.default_rng(100 + seed)), seed)


@pytest.mark.parametrize("preset", ["adult", "stalker"])
def test_the_derived_code_runs_and_gives_the_same_numbers(preset: str) -> None:
    rig = load_rig(preset)
    space: dict[str, Any] = {}
    exec(derived_text(rig, code=True), space)
    chain = leg_hinges(rig.legs[0], side="left")
    angles = np.random.default_rng(0).uniform(-1, 1, len(chain.hinges))
    points, jacobian, _ = hinge_points(angles[:, None], chain)
    for p, part in enumerate(space["leg"](*angles)):
        np.testing.assert_allclose(part[:, 0], points[:, p, 0], atol=1e-13)
        np.testing.assert_allclose(part[:, 1:], jacobian[:, p, :, 0], atol=1e-13)


def test_the_derivation_in_words_names_points_and_angles() -> None:
    told = derived_text(load_rig("puppet"))
    assert "knee.z" in told
    assert "d ankle.y / d knee_flexion" in told
