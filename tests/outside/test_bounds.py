"""A track between bounds against a dual active-set solver (package daqp), on 300 random problems."""

from __future__ import annotations

import daqp
import numpy as np
import pytest

from surefoot.band import Band
from surefoot.bounds import keep_between
from tests.outside.table import agrees
from tests.test_bounds import Array, random_band, random_bounds


def by_active_set(band: Band, side: Array, low: Array, high: Array) -> Array:
    count = len(side)
    dense = np.array([band.times(unit) for unit in np.eye(len(band.free))]).T
    x, _, flag, _ = daqp.solve(
        dense, -side, np.zeros((0, count)), np.minimum(high, 1e30), np.maximum(low, -1e30),
        np.zeros(count, dtype=np.int32), primal_tol=1e-11, dual_tol=1e-13,
    )  # fmt: skip
    assert flag == 1
    return np.asarray(x)


@pytest.mark.parametrize("kind", ["floor", "ceiling", "both"])
def test_a_bounded_track_agrees_with_the_active_set_solver(kind: str) -> None:
    """A hundredth of a millimetre.

    Source: daqp, a dual active-set solver (verified).
    """
    bound = 0
    for seed in range(100):
        band, side, best = random_band(seed)
        low, high = random_bounds(seed, best, kind)
        found = keep_between(best, side, low, high, band)
        assert np.all((found >= low) & (found <= high))
        bound += int(np.any((found == low) | (found == high)))
        agrees(f"track between bounds ({kind}), m", found, by_active_set(band, side, low, high), bound=1e-5)
    assert bound >= 80
