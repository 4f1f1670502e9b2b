"""A track between bounds: runs that no bound touches stay as they are. Its witness is in `tests/outside`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.bounds import keep_between, runs_with, step_each

Array = NDArray[np.float64]


def random_band(seed: int) -> tuple[Band, Array, Array]:
    """Return a band of several runs, its right-hand side ``(m,)`` and its optimum ``(m,)``."""
    random = np.random.default_rng(seed)
    planted = bool(random.random() < 0.6)
    spells = []
    for _ in range(int(random.integers(2, 8))):
        spells.append(np.full(int(random.integers(1, 30)), planted))
        planted = not planted
    known = np.concatenate([*spells, np.full(8, not planted)])
    band = Band.of(known, np.array([0]))
    given = np.where(known, random.uniform(-0.06, 0.06, len(known)), 0.0)[None]
    return band, band.pull(given)[0], band.fade(given)[0, band.free]


def random_bounds(seed: int, best: Array, kind: str) -> tuple[Array, Array]:
    random = np.random.default_rng(seed + 10_000)
    low, high = np.full(len(best), -np.inf), np.full(len(best), np.inf)
    if kind in ("floor", "both"):
        some = random.random(len(best)) < random.choice([0.1, 0.5, 1.0])
        low[some] = best[some] + random.normal(-0.01, 0.03, some.sum())
    if kind in ("ceiling", "both"):
        some = random.random(len(best)) < random.choice([0.1, 0.5, 1.0])
        high[some] = np.maximum(best[some] + random.normal(0.01, 0.03, some.sum()), low[some])
    return low, high


def test_an_optimum_within_its_bounds_is_left_alone() -> None:
    band, side, best = random_band(3)
    assert keep_between(best, side, best - 1e-9, best + 1e-9, band) is best
    assert keep_between(best, side, best, best, band) is best


def test_runs_that_no_bound_touches_keep_every_bit() -> None:
    band, side, best = random_band(0)
    assert band.run[-1] >= 1
    low = np.where(band.run == 0, best + 0.01, best - 0.01)
    found = keep_between(best, side, low, np.full_like(best, np.inf), band)
    assert np.array_equal(found[band.run != 0], best[band.run != 0])
    assert np.all(found[band.run == 0] >= low[band.run == 0])


def test_equal_bounds_fix_the_track() -> None:
    band, side, best = random_band(7)
    wanted = best + np.random.default_rng(7).normal(0.0, 0.02, len(best))
    assert np.array_equal(keep_between(best, side, wanted, wanted, band), wanted)


def test_a_run_is_marked_whole_when_any_of_its_frames_is() -> None:
    run = np.array([0, 0, 0, 1, 1, 2])
    assert runs_with(np.array([0, 1, 0, 0, 0, 1], dtype=bool), run).tolist() == [1, 1, 1, 0, 0, 1]
    assert not runs_with(np.zeros(6, dtype=bool), run).any()


def test_each_run_halves_its_step_on_its_own_until_its_energy_does_not_rise() -> None:
    run = np.array([0, 0, 1, 2])

    def energy(x: Array) -> Array:
        return np.bincount(run, x**2)

    here = np.array([1.0, 1.0, 1.0, 0.0])
    step = np.array([-1.0, -1.0, -8.0, 1.0])  # lands; must be cut to a quarter; can only rise
    new, value = step_each(here, step, energy, energy(here), run)
    assert new.tolist() == [0.0, 0.0, -1.0, 0.0]
    assert value.tolist() == [0.0, 1.0, 0.0]
