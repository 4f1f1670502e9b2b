"""Any rig, any clip, any ground: planted without a number that isn't finite, an error, or a foot that doesn't hold.

A case is drawn from its seed alone, so a failure can be drawn again, and a long run taken up at any chunk:
``pytest -m long tests/test_anything.py -k "chunk37"``.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.anything import faults, random_case

QUICK, CHUNK, CHUNKS = 120, 100, 100
CANTED = (158, 166, 298, 2184, 2436, 2522, 2569)
ADDS_UP = (1140, 2195, 3465, 4662, 4799, 4971, 5986, 8337, 9766)
TORN = (6406, 9549)
OVER_THE_SEAM, NOT_QUITE_FLAT, CUT_AT_HEEL_OFF = 3672, 1880, 6615


def wrong(first: int, last: int) -> dict[int, str]:
    """Return what is wrong by seed, from ``first`` up to and without ``last``."""
    found = {}
    for seed in range(first, last):
        case = random_case(seed)
        try:
            told = faults(case, case.planted())
        except Exception as error:  # any error at all: every case is lawful
            told = [f"{type(error).__name__}: {error}"]
        if told:
            found[seed] = f"{case.told}: {'; '.join(told)}"
    return found


def test_some_random_rigs_clips_and_grounds_are_planted() -> None:
    assert wrong(0, QUICK) == {}


def test_canted_feet_hold_on_slopes_though_their_corners_leave_it_one_by_one() -> None:
    """Cases in which a corner rises squarely off the slope while another takes over."""
    assert {seed: told for seed in CANTED for told in wrong(seed, seed + 1).values()} == {}


def test_a_stance_over_the_seam_is_authored_for_level_ground_as_a_whole_or_not_at_all() -> None:
    """A clip all but level: only one part of the stance, from either side of the seam, is flat on the slope."""
    case = replace(random_case(OVER_THE_SEAM), more={})
    assert faults(case, case.planted()) == []


def test_a_loop_is_cut_where_its_stance_lies_still_and_not_at_heel_off() -> None:
    assert wrong(CUT_AT_HEEL_OFF, CUT_AT_HEEL_OFF + 1) == {}


def test_few_keys_hold_a_foot_that_their_angles_no_longer_keep_quite_flat() -> None:
    assert wrong(NOT_QUITE_FLAT, NOT_QUITE_FLAT + 1) == {}


def test_few_keys_are_fitted_anew_where_what_their_channels_leave_adds_up() -> None:
    """Cases in which each channel keeps its tolerance and the sole still creeps by more than a millimetre."""
    assert {seed: told for seed in ADDS_UP for told in wrong(seed, seed + 1).values()} == {}


def test_a_frame_does_not_tear_away_from_one_that_kept_its_rocker_for_its_own_neighbour() -> None:
    """Cases in which one heel-side frame was thrown onto the forefoot beside flat frames."""
    assert {seed: told for seed in TORN for told in wrong(seed, seed + 1).values()} == {}


@pytest.mark.long
@pytest.mark.parametrize("chunk", range(CHUNKS), ids=lambda chunk: f"chunk{chunk:02d}")
def test_ten_thousand_random_rigs_clips_and_grounds_are_planted(chunk: int) -> None:
    assert wrong(chunk * CHUNK, (chunk + 1) * CHUNK) == {}
