"""The swing agrees with two independent solvers on random walks, frame by frame and in what it minimises.

The witnesses are clarabel, an interior-point solver for second-order cones (P. J. Goulart and Y. Chen,
"Clarabel: an interior-point solver for conic programs with quadratic objectives", 2024), and, where only
floors bind, daqp, a dual active-set solver for quadratic programs (D. Arnström, A. Bemporad and D. Axehill,
"A dual active-set solver for embedded quadratic programming using recursive LDL updates", 2022). Both
citations are from memory. The problem is written anew here, as a sparse matrix with one row a
difference, from what the docstrings of `surefoot.band` and `surefoot.swing` say; only the split into
known and free frames is shared.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import clarabel
import daqp
import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray

from surefoot.band import Band
from surefoot.swing import carry
from tests.outside.table import agrees

Array = NDArray[np.float64]

WALKS = 200
STEEP = (237, 289, 652, 815, 1620, 1750)  # further seeds, on which Newton steps have crept
AGREES = 0.15e-3  # metres
TOUCHES = 1e-5  # metres; nearer to its bound than this, a frame counts as bound
HOLDS = 1e-6  # metres; how far a sphere may give (measured: 1.2e-7), a thousandth of a millimetre


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """One random problem: tracks end to end, known corrections, floors and spheres (metres)."""

    known: NDArray[np.bool_]
    starts: NDArray[np.intp]
    given: Array
    authored: Array
    floor: Array
    hip: Array
    limit: Array

    def carried(self) -> Array:
        return carry(
            self.given,
            band=Band.of(self.known, self.starts),
            authored=self.authored,
            floor=self.floor,
            hip=self.hip,
            limit=self.limit,
        )


def one_track(random: np.random.Generator) -> list[tuple[bool, int]]:
    """Return a track's spells as (planted, frames): long, short and odd ones, with any kind of ends."""
    spells: list[tuple[bool, int]] = []
    planted = bool(random.random() < 0.7)
    if random.random() < 0.04:
        return [(False, int(random.integers(13, 41)))]  # never lands
    for _ in range(int(random.integers(2, 7))):
        if planted:
            frames = 1 if random.random() < 0.2 else int(random.integers(2, 26))
        else:
            frames = int(random.integers(1, 4)) if random.random() < 0.2 else int(random.integers(13, 41))
        spells.append((planted, frames))
        planted = not planted
    return spells


def walk(seed: int) -> Walk:
    """Return a random walk; every fifth has no reach to mind, every ninth no floor."""
    random = np.random.default_rng(seed)
    tracks = [one_track(random) for _ in range(int(random.integers(1, 4)))]
    known = np.concatenate([np.full(n, planted) for spells in tracks for planted, n in spells])
    sizes = [sum(n for _, n in spells) for spells in tracks]
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp)
    count = len(known)
    given, authored, hip, bump = (
        np.zeros((3, count)),
        np.zeros((3, count)),
        np.zeros((3, count)),
        np.zeros(count),
    )
    leg = 0.86
    at = 0
    for spells in tracks:
        foot = random.uniform(-0.2, 0.2)
        for planted, n in spells:
            here = slice(at, at + n)
            part = (np.arange(n) + 1.0) / (n + 1.0)
            if planted:
                correction = random.uniform(-1.0, 1.0, 3) * [0.06, 0.03, 0.06] * random.random()
                drift = random.normal(0.0, 0.01, 3) * [1.0, 0.3, 1.0]
                given[:, here] = np.clip(correction[:, None] + drift[:, None] * part, -0.06, 0.06)
                authored[2, here] = foot
                authored[1, here] = 0.085 + 0.05 * np.maximum(part - 0.7, 0.0)
            else:
                stride = random.uniform(0.3, 0.7)
                authored[2, here] = foot + stride * part * part * (3.0 - 2.0 * part)
                authored[1, here] = 0.085 + random.uniform(0.0, 0.15) * np.sin(np.pi * part) ** random.uniform(0.7, 2)
                bump[here] = random.choice([0.0, 1.0]) * random.uniform(0.0, 0.06) * np.sin(np.pi * part) ** 4
                foot += stride
            authored[0, here] = 0.09 + random.normal(0.0, 0.02)
            at += n
    for start, size in zip(starts, sizes, strict=True):
        own = slice(start, start + size)
        frames = np.arange(size)
        hip[2, own] = np.linspace(authored[2, own].min(), authored[2, own].max(), size) + random.normal(0.0, 0.08)
        rise = 0.02 * np.sin(0.5 * frames + random.uniform(0.0, 6.0))
        hip[1, own] = random.uniform(0.86, 0.92) + rise
        hip[0, own] = 0.09 + 0.03 * np.sin(0.25 * frames)
    authored[:, :] += random.normal(0.0, 0.001, authored.shape)
    floor = 0.085 + bump + random.normal(0.002, 0.004) + random.normal(0.0, 0.001, count)
    floor[random.random(count) < 0.05] = -np.inf
    limit = np.full(count, 0.995 * leg)
    if seed % 5 == 0:
        limit[:] = np.inf
    if seed % 9 == 1:
        floor[:] = -np.inf
    return Walk(known, starts, given * known, authored, floor, hip, limit)


def differences(w: Walk) -> tuple[sp.csr_matrix, Array]:
    """Return one weighted row a difference, second ones and first, ``(rows, n)``, and the tethers ``(n,)``.

    The sum of the rows' squares and of tether times square is what the swing minimises.
    """
    count = len(w.known)
    ends = [*w.starts[1:], count]
    rows: list[Array] = []
    tether = np.zeros(count)

    def add(weight: float, first: int, pattern: list[float]) -> None:
        row = np.zeros(count)
        row[first : first + len(pattern)] = np.sqrt(weight) * np.array(pattern)
        rows.append(row)

    for start, end in zip(w.starts, ends, strict=True):
        for j in range(start + 1, end - 1):  # none centred on a track's first or last frame
            before, here, after = w.known[j - 1], w.known[j], w.known[j + 1]
            if here and not before:
                continue  # a landing: the value is met, the slope isn't
            if before and here and after:
                continue  # nothing to choose
            add(16.0 if here and before and not after else 1.0, j - 1, [1.0, -2.0, 1.0])
        j = start
        while j < end:
            stop = j
            while stop < end and not w.known[stop]:
                stop += 1
            if stop > j:  # free from j to stop - 1: so many frames plus one from lift-off to landing
                length = stop - j + 1
                tether[j:stop] = (0.45 * length) ** -4.0
                for i in range(max(j - 1, start), min(stop, end - 1)):
                    add((0.12 * length) ** -2.0, i, [-1.0, 1.0])
            j = max(stop, j + 1)
    return sp.csr_matrix(np.array(rows).reshape(-1, count)), tether


def objective(w: Walk, correction: Array) -> float:
    """Return what the swing minimises, metres squared, summed over the three coordinates."""
    rows, tether = differences(w)
    return float(sum((rows @ c) @ (rows @ c) + (tether * c) @ c for c in correction))


def by_cones(w: Walk) -> tuple[Array, Array, float]:
    """Return clarabel's corrections ``(3, n)``, the force of each frame's sphere ``(n,)`` and its dual value.

    The dual value is what no answer within the bounds gets below, metres squared.
    """
    rows, tether = differences(w)
    free = np.flatnonzero(~w.known)
    m = len(free)
    out = w.given.copy()
    inner, outer = rows[:, free], rows[:, np.flatnonzero(w.known)]
    one = 2.0 * (inner.T @ inner + sp.diags(tether[free]))
    P = sp.csc_matrix(sp.triu(sp.kron(sp.eye(3), one)))
    q = np.concatenate([2.0 * inner.T @ (outer @ c[w.known]) for c in w.given])
    parts, bounds, cones = [], [], []
    low = (w.floor - w.authored[1])[free]
    floored = np.flatnonzero(np.isfinite(low))
    if len(floored):  # -y <= -low
        parts.append(sp.csr_matrix((-np.ones(len(floored)), (range(len(floored)), m + floored)), (len(floored), 3 * m)))
        bounds.append(-low[floored])
        cones.append(clarabel.NonnegativeConeT(len(floored)))
    arm = (w.authored - w.hip)[:, free]
    spheres = np.flatnonzero(np.isfinite(w.limit[free]))
    for i in spheres:  # (limit, arm + c) in the cone
        parts.append(sp.csr_matrix((-np.ones(3), ([1, 2, 3], [i, m + i, 2 * m + i])), (4, 3 * m)))
        bounds.append(np.array([w.limit[free[i]], *arm[:, i]]))
        cones.append(clarabel.SecondOrderConeT(4))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs, settings.tol_gap_rel = 1e-15, 1e-12
    settings.tol_feas = 1e-11
    # its defaults blur slow fades: with them 8 of 600 walks came out 0.2 to 12 mm off, and with the higher sum
    settings.static_regularization_constant = 1e-12
    settings.iterative_refinement_reltol = settings.iterative_refinement_abstol = 1e-15
    settings.iterative_refinement_max_iter = 30
    A = sp.csc_matrix(sp.vstack(parts)) if parts else sp.csc_matrix((0, 3 * m))
    b = np.concatenate(bounds) if bounds else np.zeros(0)
    solved = clarabel.DefaultSolver(P, q, A, b, cones, settings).solve()
    assert str(solved.status) in ("Solved", "AlmostSolved"), solved.status
    out[:, free] = np.array(solved.x).reshape(3, m)
    force = np.zeros(len(w.known))
    force[free[spheres]] = np.array(solved.z)[len(floored) :: 4]
    fixed = sum(float(np.sum((outer @ c[w.known]) ** 2)) for c in w.given)
    return out, force, float(solved.obj_val_dual) + fixed


def by_active_set(w: Walk) -> Array:
    """Return the corrections by daqp, ``(3, n)``, without regard to reach."""
    rows, tether = differences(w)
    free = np.flatnonzero(~w.known)
    inner = rows[:, free].toarray()
    H = 2.0 * (inner.T @ inner + np.diag(tether[free]))
    out = w.given.copy()
    for k in range(3):
        f = 2.0 * inner.T @ (rows[:, np.flatnonzero(w.known)] @ w.given[k][w.known])
        low = (w.floor - w.authored[1])[free] if k == 1 else np.full(len(free), -1e30)
        low = np.maximum(low, -1e30)
        x, _, flag, _ = daqp.solve(
            H, f, np.zeros((0, len(free))), np.full(len(free), 1e30), low,
            np.zeros(len(free), dtype=np.int32), primal_tol=1e-11, dual_tol=1e-13,
        )  # fmt: skip
        assert flag == 1, f"daqp gave up with {flag}"
        out[k, free] = x
    return out


def beyond(w: Walk, correction: Array) -> Array:
    """Return how far each free frame's ankle lies outside its sphere, ``(n,)`` metres; negative inside."""
    arm = w.authored + correction - w.hip
    return np.where(w.known, -np.inf, np.sqrt((arm**2).sum(axis=0)) - w.limit)


def below(w: Walk, correction: Array) -> Array:
    """Return how far each free frame's ankle lies under its floor, ``(n,)`` metres; negative above."""
    return np.where(w.known, -np.inf, w.floor - (w.authored[1] + correction[1]))


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A walk, our answer, and the conic solver's: its answer, its spheres' forces, its dual value."""

    seed: int
    walk: Walk
    ours: Array
    best: Array
    force: Array
    least: float

    @property
    def floor_binds(self) -> bool:
        return bool(below(self.walk, self.best).max() > -TOUCHES)

    @property
    def reach_binds(self) -> bool:
        return bool(beyond(self.walk, self.best).max() > -TOUCHES)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    made = []
    for seed in (*range(WALKS), *STEEP):
        w = walk(seed)
        made.append(Case(seed, w, w.carried(), *by_cones(w)))
    return made


def test_every_walk_agrees_with_the_conic_solver(cases: list[Case]) -> None:
    """Source: clarabel, an interior-point solver for second-order cones (verified)."""
    for case in cases:
        agrees("correction of a random walk, m", case.ours, case.best, bound=AGREES)


def test_walks_on_which_no_sphere_binds_agree_with_the_active_set_solver(cases: list[Case]) -> None:
    """Without spheres the problem is a relaxation: an optimum that lies inside them all is the optimum.

    Source: daqp, a dual active-set solver (verified).
    """
    checked = 0
    for case in cases:
        if case.reach_binds:
            continue
        witness = by_active_set(case.walk)
        if beyond(case.walk, witness).max() <= 0.0:
            checked += case.floor_binds
            agrees("correction of a walk without a bound reach, m", case.ours, witness, bound=AGREES)
    assert checked >= 50


def test_the_random_walks_are_as_hard_as_they_are_meant_to_be(cases: list[Case]) -> None:
    """Control: floors and spheres bind often enough."""
    floors = sum(case.floor_binds for case in cases)
    spheres = sum(case.reach_binds for case in cases)
    both = sum(case.floor_binds and case.reach_binds for case in cases)
    assert floors >= 0.6 * WALKS
    assert 0.4 * WALKS <= spheres <= 0.7 * WALKS
    assert both >= 0.2 * WALKS
    ends = [(case.walk.known[0], case.walk.known[-1]) for case in cases]
    assert sum(not a for a, _ in ends) >= 20
    assert sum(not b for _, b in ends) >= 20
    assert max(float(np.abs(case.walk.given).max()) for case in cases) >= 0.055


def test_what_is_minimised_is_no_higher_than_the_optimum_by_a_millionth(cases: list[Case]) -> None:
    """Source: clarabel, an interior-point solver for second-order cones (verified)."""
    for case in cases:
        ours, best = objective(case.walk, case.ours), objective(case.walk, case.best)
        agrees("what is minimised, where higher than theirs, m2", max(ours, best), best, bound=1e-15, share=1e-6)


def test_what_is_minimised_is_lower_only_by_what_the_spheres_give(cases: list[Case]) -> None:
    """By duality no answer is lower than the dual value minus force times trespass, summed over spheres.

    Source: clarabel, its dual value (verified).
    """
    for case in cases:
        ours, over = objective(case.walk, case.ours), np.maximum(beyond(case.walk, case.ours), 0.0)
        bought = float(case.force @ over)
        assert bought <= 1e-5 * case.least + 1e-15
        low = case.least - bought
        agrees(
            "what is minimised, where lower than the dual value, m2",
            min(ours, low),
            low,
            bound=1e-15 + 1e-9 * case.least,
        )


def test_floors_hold_to_rounding_and_spheres_to_a_thousandth_of_a_millimetre(cases: list[Case]) -> None:
    """Control: what is compared keeps its bounds."""
    assert max(float(below(case.walk, case.ours).max()) for case in cases) <= 1e-15
    assert max(float(beyond(case.walk, case.ours).max()) for case in cases) <= HOLDS


def test_known_frames_come_back_bit_for_bit(cases: list[Case]) -> None:
    """Control: what is compared has the same known frames."""
    for case in cases:
        known = case.walk.known
        assert np.array_equal(case.ours[:, known], case.walk.given[:, known])


def test_a_floor_above_the_sphere_gives_a_finite_answer_that_keeps_the_floor() -> None:
    """No answer exists: the floor wins, every number is finite, other runs are as if nothing had happened.

    Control: where no answer exists there is nothing to compare with, and no harm.
    """
    w = walk(4)
    hopeless = int(np.flatnonzero(~w.known)[5])
    floor = w.floor.copy()
    floor[hopeless] = w.hip[1, hopeless] + w.limit[hopeless] + 0.05
    impossible = replace(w, floor=floor)
    ours = impossible.carried()
    assert np.all(np.isfinite(ours))
    assert below(impossible, ours).max() <= 1e-15
    assert beyond(impossible, ours)[hopeless] >= 0.05 - 1e-9
    run = np.cumsum(np.diff(w.known, prepend=True) != 0)
    starts = np.zeros(len(w.known), dtype=int)
    starts[w.starts] = 1
    run = run + np.cumsum(starts)
    elsewhere = run != run[hopeless]
    assert elsewhere.any()
    assert np.abs(ours - w.carried())[:, elsewhere].max() <= 1e-9
