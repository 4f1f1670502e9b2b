"""The band is the matrix of the sum that it says it minimises, written out here term by term."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from surefoot.band import Band, solve_band

Array = NDArray[np.float64]
P, S = True, False  # planted, swing

KNOWN = {
    "one swing": [P] * 4 + [S] * 9 + [P] * 3,
    "short swings": [P, P, S, P, P, S, S, P, P, S, S, S, P, P],
    "stances of one frame": [S, S, P, S, S, S, P, S, P, S, S],
    "begins and ends in swing": [S] * 5 + [P] * 2 + [S] * 6,
    "never lands": [S] * 12,
    "two frames": [P, S],
}


def written_out(known: list[bool], starts: list[int]) -> tuple[Array, Array]:
    """Return the rows ``(terms, n)`` whose squares are summed, and the lengths of each frame's free run."""
    count, rows = len(known), []
    length = np.zeros(count)
    for start, end in zip(starts, [*starts[1:], count], strict=True):
        for j in range(start, end):
            if not known[j]:
                a = b = j
                while a > start and not known[a - 1]:
                    a -= 1
                while b < end - 1 and not known[b + 1]:
                    b += 1
                length[j] = b - a + 2
        for j in range(start + 1, end - 1):
            landing = known[j] and not known[j - 1]
            lift_off = known[j] and known[j - 1] and not known[j + 1]
            if not landing and not all(known[j - 1 : j + 2]):
                row = np.zeros(count)
                row[j - 1 : j + 2] = np.sqrt(16.0 if lift_off else 1.0) * np.array([1.0, -2.0, 1.0])
                rows.append(row)
        for j in range(start, end - 1):
            span = max(length[j], length[j + 1]) if known[j] or known[j + 1] else length[j]
            if span:
                row = np.zeros(count)
                row[j : j + 2] = np.array([-1.0, 1.0]) / (0.12 * span)
                rows.append(row)
        for j in range(start, end):
            if not known[j]:
                row = np.zeros(count)
                row[j] = (0.45 * length[j]) ** -2.0
                rows.append(row)
    return np.array(rows).reshape(-1, count), length


def cases() -> list[tuple[list[bool], list[int]]]:
    alone = [(known, [0]) for known in KNOWN.values()]
    joined: list[bool] = []
    starts = []
    for known in KNOWN.values():
        starts.append(len(joined))
        joined += known
    return [*alone, (joined, starts)]


@pytest.mark.parametrize("number", range(len(KNOWN) + 1))
def test_the_matrix_and_the_pull_are_those_of_the_sum_written_out(number: int) -> None:
    known, starts = cases()[number]
    rows, _ = written_out(known, starts)
    fixed = np.array(known)
    band = Band.of(fixed, np.array(starts))
    free = rows[:, ~fixed]
    dense = np.array([band.times(unit) for unit in np.eye(len(band.free))]).T
    assert np.abs(dense - free.T @ free).max() < 1e-12
    given = np.random.default_rng(number).normal(size=(3, len(known))) * fixed
    assert np.abs(band.pull(given) + (free.T @ (rows @ given.T)).T).max() < 1e-12


@pytest.mark.parametrize("number", range(len(KNOWN) + 1))
def test_the_fade_is_the_least_squares_answer(number: int) -> None:
    known, starts = cases()[number]
    rows, _ = written_out(known, starts)
    fixed = np.array(known)
    given = np.random.default_rng(number).normal(size=(2, len(known))) * fixed
    faded = Band.of(fixed, np.array(starts)).fade(given)
    assert np.array_equal(faded[:, fixed], given[:, fixed])
    for track, one in zip(faded, given, strict=True):
        answer = np.linalg.lstsq(rows[:, ~fixed], -rows @ one, rcond=None)[0]
        assert np.abs(track[~fixed] - answer).max() < 1e-9


def test_tracks_laid_end_to_end_do_not_know_of_each_other() -> None:
    known, starts = cases()[-1]
    given = np.random.default_rng(1).normal(size=(1, len(known))) * np.array(known)
    together = Band.of(np.array(known), np.array(starts)).fade(given)
    for start, end in zip(starts, [*starts[1:], len(known)], strict=True):
        alone = Band.of(np.array(known[start:end]), np.array([0])).fade(given[:, start:end])
        assert np.abs(together[:, start:end] - alone).max() < 1e-12


def test_a_track_without_a_stance_gets_no_correction() -> None:
    assert not Band.of(np.zeros(20, dtype=bool), np.array([0])).fade(np.ones((3, 20))).any()


def test_where_every_frame_is_known_the_given_comes_back_as_a_copy() -> None:
    given = np.arange(6.0).reshape(2, 3)
    back = Band.of(np.ones(3, dtype=bool), np.array([0])).fade(given)
    assert np.array_equal(back, given)
    assert back is not given


def test_the_fade_keeps_its_proportions_whatever_the_swing_lasts() -> None:
    """A swing of twice the frames has the same shape, the more exactly the finer it is sampled."""

    def half_way(frames: int) -> float:
        known = np.array([P] * 3 + [S] * (frames - 1) + [P] * 3)
        given = np.zeros((1, len(known)))
        given[0, :3] = 1.0
        return float(Band.of(known, np.array([0])).fade(given)[0, 2 + frames // 2])

    shapes = [half_way(frames) for frames in (24, 48, 96, 192)]
    changes = np.abs(np.diff(shapes))
    assert changes[-1] < 0.01
    assert np.all(changes[1:] < changes[:-1])


def test_runs_taken_out_of_a_band_solve_as_they_did_in_it() -> None:
    known, starts = cases()[-1]
    fixed = np.array(known)
    band = Band.of(fixed, np.array(starts))
    given = np.random.default_rng(2).normal(size=(1, len(known))) * fixed
    whole, side = band.fade(given)[:, band.free], band.pull(given)
    for run in range(int(band.run[-1]) + 1):
        keep = (band.run == run) | (band.run == (run + 3) % (int(band.run[-1]) + 1))
        part = band.kept(keep)
        alone = solve_band(part.main, part.one, part.two, side[:, keep])
        assert np.abs(alone - whole[:, keep]).max() < 1e-12
        assert part.run[0] == 0
        assert np.all(np.diff(part.run) <= 1)


def test_solving_a_band_agrees_with_the_dense_matrix() -> None:
    random = np.random.default_rng(4)
    one, two = random.normal(size=12), random.normal(size=12)
    main = 8.0 + random.random(12)
    dense = np.diag(main) + np.diag(one[:-1], 1) + np.diag(one[:-1], -1) + np.diag(two[:-2], 2) + np.diag(two[:-2], -2)
    side = random.normal(size=(2, 12))
    assert np.abs(solve_band(main, one, two, side) - np.linalg.solve(dense, side.T).T).max() < 1e-13


def test_a_band_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(ArithmeticError, match="not positive definite at row 3"):
        solve_band(np.array([1.0, 1.0, -1.0]), np.zeros(3), np.zeros(3), np.ones((1, 3)))
