"""Reach: the pitch nearest to the authored one is the one that a fine scan finds, and flat frames stay flat.

Witnesses: a scan of every thousandth of a degree, and scipy's SLSQP for the footprints.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize

from surefoot.footprint import Prints, Tracks
from surefoot.reach import (
    EARLIER,
    MOST_CHANGE,
    NEARER,
    STEEPEST,
    Stand,
    _nearest_pitch,
    allowed_length,
    lift_within_reach,
    nearer_prints,
)
from surefoot.rig import Rig
from surefoot.rig_file import load_rig
from surefoot.sole import Soles

Array = NDArray[np.float64]

RIG: Rig = load_rig("lamplighter")
LEG = RIG.leg
LIMIT = 0.995 * LEG
FLAT = np.radians(0.5)
SCAN = np.radians(0.001)


def stand_of(hip: Array, *, cant: Array | None = None, swivel: Array | None = None) -> Stand:
    """Return both feet on their footprints under hips ``(3, 2, n)``."""
    zero = np.zeros(hip.shape[1:])
    return Stand(
        Soles.of(RIG),
        zero if cant is None else cant,
        zero if swivel is None else swivel,
        zero,
        hip,
        np.full(hip.shape[1:], LIMIT),
    )


def tracks_of(print_of: Array, pitch: Array) -> Tracks:
    """Return two tracks whose frames stand on the footprints that ``print_of`` ``(2, n)`` names."""
    shape = pitch.shape
    count = int(print_of.max()) + 1
    foot_of = np.array([int(np.nonzero((print_of == i).any(axis=1))[0][0]) for i in range(count)])
    angles = np.array([pitch, np.zeros(shape), np.zeros(shape)])
    return Tracks(
        index=np.tile(np.arange(shape[1]), (2, 1)),
        laps=np.zeros(shape, dtype=np.intp),
        print_of=print_of,
        left_alone=np.zeros(shape, dtype=bool),
        hip=np.zeros((3, *shape)),
        ankle=np.zeros((3, *shape)),
        angles=angles,
        bend=np.zeros(shape),
        source=np.arange(count),
        foot_of=foot_of,
        back=np.arange(pitch.size).reshape(shape),
    )


def out_of_reach(seed: int, count: int) -> tuple[Array, Stand, Array]:
    """Return authored pitches ``(count,)``, stands that hold the foot just out of reach, and which foot it is."""
    random = np.random.default_rng(seed)
    pitch = random.uniform(-0.5, 1.2, (1, count))
    cant = random.choice([0.0, 1.0], (1, count)) * random.uniform(-0.1, 0.1, (1, count))
    swivel = random.choice([0.0, 1.0], (1, count)) * random.uniform(-0.2, 0.2, (1, count))
    foot = random.integers(0, 2, count)
    soles = Soles.of(RIG).gathered(foot)
    zero, full = np.zeros((1, count)), np.full((1, count), LIMIT)
    ankle = Stand(soles, cant, swivel, zero, np.zeros((3, 1, count)), full).offset(pitch)
    slant = random.uniform(-0.6, 0.6, (1, count))
    aside = random.uniform(-0.1, 0.1, (1, count))
    arm = np.array([aside, np.cos(slant), -np.sin(slant)])
    arm /= np.sqrt((arm**2).sum(axis=0))
    hip = ankle + arm * (LIMIT + random.uniform(0.0005, 0.03, (1, count)))
    return pitch[0], Stand(soles, cant, swivel, zero, hip, full), foot


def test_the_nearest_pitch_is_the_one_that_a_scan_of_thousandths_of_a_degree_finds() -> None:
    count = 200
    authored, stand, foot = out_of_reach(1, count)
    found = _nearest_pitch(authored, stand)
    steps = int(MOST_CHANGE / SCAN)
    offsets = np.sort(np.arange(-steps, steps + 1) * SCAN)
    onset = stand.soles.onset[0]
    mended, hopeless, wrong = 0, 0, {}
    for i in range(count):
        one = Stand(
            Soles.of(RIG).gathered(foot[i : i + 1]),
            *(field[:, i : i + 1] for field in (stand.cant, stand.swivel, stand.bend)),
            stand.hip[:, :, i : i + 1],
            stand.limit[:, i : i + 1],
        )
        trial = authored[i] + offsets
        trial = trial[(trial >= -STEEPEST) & (trial <= onset[i] + STEEPEST)]
        within = one.distance(trial[None, None])[0, 0] <= LIMIT
        if not within.any():
            hopeless += 1
            if not np.isnan(found[i]) and one.distance(np.array([[found[i]]]))[0, 0] > LIMIT + 1e-6:
                wrong[i] = ("no pitch is within reach", float(found[i]))
            continue
        mended += 1
        best = float(np.abs(trial[within] - authored[i]).min())
        gap = abs(abs(found[i] - authored[i]) - best)
        over = float(one.distance(np.array([[found[i]]]))[0, 0] - LIMIT)
        if not (gap <= 2.0 * SCAN and over <= 1e-6):
            wrong[i] = (np.degrees(best), np.degrees(abs(found[i] - authored[i])), over)
    assert wrong == {}
    assert mended >= 0.6 * count
    assert hopeless >= 5


def rolling(seed: int, count: int = 40) -> tuple[Array, Stand, Tracks]:
    """Return a stance of each foot that rolls from heel strike over flat to toe-off, the hips riding high."""
    random = np.random.default_rng(seed)
    at = np.linspace(0.0, 1.0, count)
    pitch = np.empty((2, count))
    hip = np.empty((3, 2, count))
    for foot in range(2):
        pitch[foot] = np.interp(at, [0.0, 0.15, 0.6, 1.0], [-0.35, 0.0, 0.0, random.uniform(0.5, 0.9)])
        hip[:, foot] = [
            np.full(count, random.uniform(-0.05, 0.05)),
            random.uniform(0.905, 0.94) + 0.02 * np.sin(np.pi * at),
            np.linspace(-random.uniform(0.1, 0.35), random.uniform(0.2, 0.45), count),
        ]
    print_of = np.array([[0] * count, [1] * count])
    return pitch, stand_of(hip), tracks_of(print_of, pitch)


def test_flat_frames_stay_flat_but_for_the_last_two_before_heel_off() -> None:
    changed = 0
    for seed in range(30):
        pitch, stand, tracks = rolling(seed)
        lifted = lift_within_reach(pitch, stand, tracks)[0]
        flat = np.abs(pitch) <= FLAT
        for foot in range(2):
            last = np.nonzero(flat[foot])[0][-1]
            assert np.array_equal(lifted[foot, flat[foot]][:-EARLIER], pitch[foot, flat[foot]][:-EARLIER])
            changed += int(np.any(lifted[foot, last - EARLIER + 1 :] != pitch[foot, last - EARLIER + 1 :]))
    assert changed >= 20


def test_no_frame_is_further_out_of_reach_than_it_was_authored() -> None:
    mended, worse = 0, {}
    for seed in range(60):
        pitch, stand, tracks = rolling(seed)
        lifted = lift_within_reach(pitch, stand, tracks)[0]
        before, after = (np.maximum(stand.distance(p) - stand.limit, 0.0) for p in (pitch, lifted))
        if (after - before).max() > 1e-6:
            worse[seed] = float((after - before).max())
        mended += int(((before > 1e-5) & (after <= 1e-6)).sum())
    assert worse == {}
    assert mended >= 100


def test_no_pitch_changes_by_more_than_25_degrees_smoothing_included() -> None:
    beyond = {}
    for seed in range(60):
        pitch, stand, tracks = rolling(seed)
        most = float(np.abs(lift_within_reach(pitch, stand, tracks)[0] - pitch).max())
        if most > MOST_CHANGE + 1e-9:
            beyond[seed] = round(float(np.degrees(most)), 1)
    assert beyond == {}


def test_a_pose_within_reach_is_left_alone() -> None:
    pitch, stand, tracks = rolling(3)
    low = Stand(
        stand.soles,
        stand.cant,
        stand.swivel,
        stand.bend,
        stand.hip - [[[0.0]], [[0.15]], [[0.0]]],
        stand.limit,
    )
    assert (low.distance(pitch) < low.limit).all()
    assert lift_within_reach(pitch, low, tracks)[0] is pitch


def test_a_trailing_leg_lifts_its_heel_and_a_leading_one_lowers_its_toes() -> None:
    """A lifted heel carries a trailing ankle towards the hip but a leading one away from it."""
    pitch = np.array([[0.5] * 4, [-0.3] * 4])
    hip = np.empty((3, 2, 4))
    hip[:, 0] = np.array([[0.0], [0.84], [0.55]])  # hips ahead: the left leg trails
    hip[:, 1] = np.array([[0.0], [0.868], [-0.42]])  # hips behind: the right leg leads
    stand = stand_of(hip)
    excess = stand.distance(pitch) - stand.limit
    assert (excess > 0.0).all(), excess
    lifted = lift_within_reach(pitch, stand, tracks_of(np.array([[0] * 4, [1] * 4]), pitch))[0]
    assert (stand.distance(lifted) <= stand.limit + 1e-6).all()
    assert (lifted[0] > pitch[0]).all()
    slope = (stand.distance(pitch + 1e-6) - stand.distance(pitch - 1e-6))[1]
    assert np.array_equal(np.sign(lifted[1] - pitch[1]), -np.sign(slope))


def test_the_allowed_length_is_the_reach_but_never_cuts_an_authored_length_below_the_middle() -> None:
    authored = np.array([0.9, 0.995, 0.9965, 0.9975, 0.9985, 1.0, 1.02]) * LEG
    allowed = allowed_length(authored, np.full(7, LEG), 0.995) / LEG
    assert np.abs(allowed - [0.995, 0.995, 0.9965, 0.9975, 0.9965, 0.995, 0.995]).max() < 1e-12
    fine = allowed_length(np.linspace(0.98, 1.02, 4001) * LEG, np.full(4001, LEG), 0.995)
    assert np.abs(np.diff(fine)).max() <= 1.01e-5 * LEG


def by_slsqp(arm: Array, limit: Array) -> Array:
    """Return the least shift (x, z) that brings all arms ``(3, n)`` within their limits."""

    def slack(shift: Array) -> Array:
        return limit**2 - ((arm + np.array([shift[0], 0.0, shift[1]])[:, None]) ** 2).sum(axis=0)

    def slope(shift: Array) -> Array:
        moved = arm + np.array([shift[0], 0.0, shift[1]])[:, None]
        return -2.0 * moved[[0, 2]].T

    scale = 100.0
    answer = minimize(
        lambda s: scale * float(s @ s),
        np.zeros(2),
        jac=lambda s: 2.0 * scale * s,
        constraints={"type": "ineq", "fun": slack, "jac": slope},
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 300},
    )
    return np.asarray(answer.x if slack(answer.x).min() >= -1e-8 else [np.inf, np.inf])


def test_a_footprint_is_pulled_nearer_by_the_least_shift_that_mends_its_stance_or_not_at_all() -> None:
    moved, kept, wrong = 0, 0, {}
    for seed in range(100):
        random = np.random.default_rng(seed)
        n = int(random.integers(1, 12))
        pitch = np.zeros((2, n))
        hip = np.empty((3, 2, n))
        for foot in range(2):
            along, across = random.uniform(-0.45, 0.45), random.uniform(-0.12, 0.12)
            rise = np.sqrt(max(LIMIT**2 - along**2 - across**2, 0.1)) - RIG.legs[0].foot.sole
            hip[0, foot] = across + random.normal(0.0, 0.003, n)
            hip[1, foot] = rise + random.normal(0.0, 0.002, n) + random.choice([0.0, 0.002, 0.006])
            hip[2, foot] = along + random.normal(0.0, 0.006, n)
        stand = stand_of(hip)
        prints = Prints(np.zeros((3, 2)), random.uniform(-1.0, 1.0, 2), None)
        tracks = tracks_of(np.array([[0] * n, [1] * n]), pitch)
        shift = nearer_prints(pitch, stand.distance(pitch) - stand.limit, stand, prints, tracks, LEG)
        for foot in range(2):
            arm = (stand.offset(pitch) - stand.hip)[:, foot]
            s, c = np.sin(prints.yaw[foot]), np.cos(prints.yaw[foot])
            arm = np.array([c * arm[0] + s * arm[2], arm[1], c * arm[2] - s * arm[0]])
            best = by_slsqp(arm, stand.limit[foot])
            size = float(np.hypot(*best))
            if abs(size - NEARER * LEG) < 1e-4:
                continue  # on the edge of what is taken
            if size > NEARER * LEG:
                kept += 1
                if shift[:, foot].any():
                    wrong[seed, foot] = ("moved", size, shift[:, foot])
            else:
                moved += size > 1e-6
                if not np.abs(shift[:, foot] - best).max() <= 1e-4:
                    wrong[seed, foot] = (best, shift[:, foot])
    assert wrong == {}
    assert moved >= 40
    assert kept >= 20


def test_footprints_whose_feet_are_in_reach_stay() -> None:
    pitch, stand, tracks = rolling(3)
    prints = Prints(np.zeros((3, 2)), np.zeros(2), None)
    near = Stand(
        stand.soles,
        stand.cant,
        stand.swivel,
        stand.bend,
        stand.hip - [[[0.0]], [[0.15]], [[0.0]]],
        stand.limit,
    )
    assert not nearer_prints(pitch, near.distance(pitch) - near.limit, near, prints, tracks, LEG).any()


@pytest.mark.parametrize("lowered", [0.0, 0.05])
def test_the_right_foot_is_lifted_as_the_left_one_in_the_mirror(lowered: float) -> None:
    pitch, stand, tracks = rolling(5)
    hip = stand.hip - np.array([0.0, lowered, 0.0])[:, None, None]
    hip = np.stack([hip[:, 0], hip[:, 0] * [[-1.0], [1.0], [1.0]]], axis=1)
    both = np.stack([pitch[0], pitch[0]])
    lifted = lift_within_reach(both, stand_of(hip), tracks)[0]
    assert np.abs(lifted[0] - lifted[1]).max() < 1e-9
