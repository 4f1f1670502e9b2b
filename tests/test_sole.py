"""Planted feet, seen by forward kinematics written anew: what touches stays where its footprint has it.

Witness: scipy's Rotation, from the ankle outwards; it shares nothing with the closed form under test.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from surefoot.rig import Foot, Rig
from surefoot.rig_file import load_rig
from surefoot.sole import EDGE_BLEND, Soles, Turns

Array = NDArray[np.float64]

PHASES = ("heel", "forefoot", "toe")
COUNT = 300


def rig_with(*, hinged: bool = True, drop: float = 0.015, askew: float = 0.0) -> Rig:
    """Return a rig whose ball hinge sits ``drop`` above the sole; ``askew`` moves the hinge aside, metres."""
    rig = load_rig("lamplighter")
    foot = rig.legs[0].foot
    ball = np.array([foot.ball[0] + askew, foot.sole + drop, foot.ball[2]])
    left = replace(rig.legs[0], foot=Foot(foot.heel, ball, foot.toe, foot.outline, hinged, foot.onset))
    return replace(rig, legs=(left, left.mirrored()))


RIGS = {
    "hinge above the sole": rig_with(),
    "hinge on the sole": rig_with(drop=0.0),
    "hinge to one side": rig_with(askew=0.008),
    "a measured foot": load_rig("treadmill"),
}


def in_footprint(rig: Rig, turns: Turns, ankle: Array, point: Array, *, on_toes: bool) -> Array:
    """Return where a foot-space point ``(3,)`` or ``(n, 3)`` of the left foot lies, ``(n, 3)`` metres."""
    foot = rig.legs[0].foot
    count = ankle.shape[-1]
    own = np.array(np.broadcast_to(point, (count, 3)))
    if on_toes and foot.hinged:  # positive bend tips the toes up: a turn about -x
        own = Rotation.from_rotvec(-turns.bend[0][:, None] * [1.0, 0.0, 0.0]).apply(own - foot.ball) + foot.ball
    sequence = np.stack([turns.swivel[0], turns.pitch[0], turns.cant[0]], axis=-1)
    return Rotation.from_euler("YXZ", sequence).apply(own) + ankle[:, 0].T


def lowest(rig: Rig, turns: Turns, ankle: Array) -> Array:
    """Return the lowest sole corner's height in each sample, ``(n,)`` metres."""
    foot = rig.legs[0].foot
    parts = [(corner, False) for corner in foot.hind_corners] + [(corner, True) for corner in foot.toe_corners]
    heights = [in_footprint(rig, turns, ankle, c, on_toes=toes)[:, 1] for c, toes in parts]
    return np.asarray(np.min(heights, axis=0))


def random_turns(rig: Rig, phase: str, seed: int, *, cant: float = 0.0, swivel: float = 0.5) -> Turns:
    """Return both feet's turns ``(2, COUNT)`` in one rocker; the bend is the planted one."""
    random = np.random.default_rng(seed)
    onset = rig.legs[0].foot.onset if rig.legs[0].foot.hinged else 0.0
    least, most = {
        "heel": (-0.6, -1e-3),
        "flat": (0.0, 0.0),
        "forefoot": (1e-3, onset),
        "toe": (onset + 1e-3, 1.3),
    }[phase]
    shape = (2, COUNT)
    pitch = random.uniform(least, most, shape)
    canted = random.choice([-1.0, 1.0], shape) * random.uniform(1.01 * EDGE_BLEND, max(cant, 0.02), shape)
    canted = canted if cant else np.zeros(shape)
    turned = random.uniform(-swivel, swivel, shape)
    bend = Soles.of(rig).planted_bend(
        pitch, canted, random.uniform(0.0, 0.4, shape)
    )  # toes authored down would touch first
    return Turns(pitch, canted, turned, bend)


def touching(rig: Rig, phase: str, cant: Array) -> tuple[Array, bool]:
    """Return the foot-space points ``(n, 3)`` that a rocker turns about, by the sole's outline alone."""
    foot = rig.legs[0].foot
    z = {"heel": foot.outline[:, 1].min(), "toe": foot.outline[:, 1].max()}.get(phase, foot.ball[2])
    low, high = foot.edge(float(z))
    x = np.where(cant > 0.0, low, np.where(cant < 0.0, high, (low + high) / 2.0))
    return np.stack([x, np.full_like(x, foot.sole), np.full_like(x, z)], axis=-1), phase != "heel"


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("phase", ["heel", "flat", "forefoot", "toe"])
def test_an_upright_foot_turns_about_the_point_that_touches(phase: str, name: str) -> None:
    rig = RIGS[name]
    turns = random_turns(rig, phase, 1)
    ankle = Soles.of(rig).planted(turns)
    point, on_toes = touching(rig, phase, turns.cant[0])
    anchor = point * [1.0, 0.0, 1.0]  # where it lies with the foot flat: height 0, right under
    assert np.abs(in_footprint(rig, turns, ankle, point, on_toes=on_toes) - anchor).max() < 1e-12


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("phase", ["heel", "flat", "forefoot", "toe"])
def test_a_canted_foot_keeps_its_low_corner_on_its_anchor_across_the_ground(phase: str, name: str) -> None:
    rig = RIGS[name]
    turns = random_turns(rig, phase, 2, cant=0.2)
    ankle = Soles.of(rig).planted(turns)
    point, on_toes = touching(rig, phase, turns.cant[0])
    apart = in_footprint(rig, turns, ankle, point, on_toes=on_toes) - point * [1.0, 0.0, 1.0]
    assert np.abs(apart[:, [0, 2]]).max() < 1e-12


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("phase", ["heel", "flat", "forefoot", "toe"])
@pytest.mark.parametrize("cant", [0.0, 0.003, 0.2])
def test_the_lowest_corner_of_the_whole_sole_is_on_the_ground(phase: str, name: str, cant: float) -> None:
    rig = RIGS[name]
    turns = random_turns(rig, phase, 3, cant=cant)
    assert np.abs(lowest(rig, turns, Soles.of(rig).planted(turns))).max() < 1e-12


@pytest.mark.parametrize("name", RIGS)
def test_between_upright_and_half_a_degree_of_cant_no_anchor_moves_by_more_than_half_the_blend(
    name: str,
) -> None:
    """The touching point runs along its edge; it is a material point that stays put, whichever it is."""
    rig = RIGS[name]
    for phase in PHASES:
        random = np.random.default_rng(4)
        turns = random_turns(rig, phase, 4)
        turns = turns._replace(cant=random.uniform(-EDGE_BLEND, EDGE_BLEND, (2, COUNT)))
        turns = turns._replace(bend=Soles.of(rig).planted_bend(turns.pitch, turns.cant, turns.bend))
        ankle = Soles.of(rig).planted(turns)
        ends = [touching(rig, phase, np.full(COUNT, side))[0] for side in (-1.0, 1.0)]
        part = 0.5 * (1.0 + turns.cant[0] / EDGE_BLEND)[:, None]
        point = ends[0] + part * (ends[1] - ends[0])
        found = in_footprint(rig, turns, ankle, point, on_toes=phase != "heel")
        assert np.abs((found - point)[:, [0, 2]]).max() < 1e-12
        # and no end of the edge is more than a tenth of a millimetre lower than where it turns
        assert found[:, 1].max() < np.ptp([ends[0][0, 0], ends[1][0, 0]]) * EDGE_BLEND / 2.0 + 1e-6


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("cant", [0.0, 0.15])
def test_the_toe_segment_lies_level_from_pitch_zero_to_the_onset(name: str, cant: float) -> None:
    rig = RIGS[name]
    for phase in ("flat", "forefoot"):
        turns = random_turns(rig, phase, 5, cant=cant)
        foot = rig.legs[0].foot
        ankle = Soles.of(rig).planted(turns)
        back = in_footprint(rig, turns, ankle, foot.ball, on_toes=True)
        front = in_footprint(rig, turns, ankle, foot.ball + np.array([0.0, 0.0, 0.1]), on_toes=True)
        assert np.abs(front[:, 1] - back[:, 1]).max() < 1e-12


def test_beyond_the_onset_the_bend_is_held_and_below_zero_pitch_the_authored_one_stays() -> None:
    rig = RIGS["hinge above the sole"]
    soles, onset = Soles.of(rig), rig.legs[0].foot.onset
    pitch = np.array([[-0.3, -0.018, -0.017, 0.0, 0.2, onset, onset + 0.3]] * 2)
    authored = np.full_like(pitch, 0.123)
    bend = soles.planted_bend(pitch, np.zeros_like(pitch), authored)
    assert np.abs(bend[0] - [0.123, 0.123, 0.0, 0.0, 0.2, onset, onset]).max() < 1e-15


def test_toes_authored_down_in_the_heel_rocker_are_lifted_onto_the_line_of_the_sole() -> None:
    rig = RIGS["hinge above the sole"]
    pitch = np.array([[-0.3, -0.1]] * 2)
    bend = Soles.of(rig).planted_bend(pitch, np.zeros_like(pitch), np.full_like(pitch, -0.2))
    assert np.abs(bend[0] - [-0.2, -0.1]).max() < 1e-15


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("edge", ["pitch zero", "onset"])
def test_the_ankle_runs_on_without_a_step_from_one_rocker_to_the_next(name: str, edge: str) -> None:
    rig = RIGS[name]
    soles = Soles.of(rig)
    at = 0.0 if edge == "pitch zero" else rig.legs[0].foot.onset
    still = np.zeros((2, 1))

    def ankle(pitch: float) -> Array:
        turned = np.full((2, 1), pitch)
        bend = soles.planted_bend(turned, still, still)
        return soles.planted(Turns(turned, still, still, bend))

    near = 1e-9
    assert np.abs(ankle(at + near) - ankle(at - near)).max() < 1e-9
    assert np.abs(ankle(at) - ankle(at + near)).max() < 1e-9


def test_a_flat_foot_stands_right_over_its_footprints_origin() -> None:
    for rig in RIGS.values():
        still = np.zeros((2, 1))
        ankle = Soles.of(rig).planted(Turns(still, still, still, still))
        expected = np.array([[0.0, -leg.foot.sole, 0.0] for leg in rig.legs]).T
        assert np.abs(ankle[:, :, 0] - expected).max() < 1e-15


@pytest.mark.parametrize("phase", ["heel", "toe"])
def test_a_foot_without_a_hinge_turns_about_heel_and_toe_edge_alone(phase: str) -> None:
    rig = rig_with(hinged=False)
    turns = random_turns(rig, phase, 6)
    ankle = Soles.of(rig).planted(turns._replace(bend=np.zeros_like(turns.bend)))
    point, _ = touching(rig, phase, turns.cant[0])
    found = in_footprint(rig, turns, ankle, point, on_toes=False)
    assert np.abs(found - point * [1.0, 0.0, 1.0]).max() < 1e-12
    authored = np.random.default_rng(7).normal(size=(2, COUNT))
    assert np.array_equal(Soles.of(rig).planted_bend(turns.pitch, turns.cant, authored), authored)


@pytest.mark.parametrize("phase", ["heel", "flat", "forefoot", "toe"])
def test_the_right_foot_mirrors_the_left(phase: str) -> None:
    for rig in (RIGS["hinge above the sole"], RIGS["hinge to one side"]):
        turns = random_turns(rig, phase, 8, cant=0.2)
        flipped = Turns(
            np.stack([turns.pitch[0], turns.pitch[0]]),
            np.stack([turns.cant[0], -turns.cant[0]]),
            np.stack([turns.swivel[0], -turns.swivel[0]]),
            np.stack([turns.bend[0], turns.bend[0]]),
        )
        left, right = Soles.of(rig).planted(flipped).transpose(1, 0, 2)
        assert np.abs(right - left * np.array([[-1.0], [1.0], [1.0]])).max() < 1e-14


def test_corners_and_centre_line_are_those_of_forward_kinematics() -> None:
    for rig in RIGS.values():
        foot = rig.legs[0].foot
        random = np.random.default_rng(9)
        pitch, cant, swivel, bend = random.uniform(-1.0, 1.0, (4, 2, COUNT))
        turns = Turns(pitch, cant, swivel, bend)
        nowhere = np.zeros((3, 2, COUNT))
        soles = Soles.of(rig)
        corners = soles.corners(np.array([pitch, swivel, cant]), bend)[:, :, 0]
        found = {tuple(np.round(c, 9)) for c in corners.transpose(2, 1, 0)[0]}
        parts = [(corner, False) for corner in foot.hind_corners] + [(corner, True) for corner in foot.toe_corners]
        witness = np.array([in_footprint(rig, turns, nowhere, c, on_toes=toes) for c, toes in parts])
        assert found == {tuple(np.round(c, 9)) for c in witness[:, 0]}
        assert np.abs(corners[1].min(axis=0) - witness[:, :, 1].min(axis=0)).max() < 1e-14
        low = soles.lowest(pitch, cant, bend)[0]
        assert np.abs(low - witness[:, :, 1].min(axis=0)).max() < 1e-14
        line = soles.centre_line(np.array([pitch, swivel, cant]), bend)[:, :, 0]
        for i, phase in enumerate(PHASES):
            point, on_toes = touching(rig, phase, np.zeros(COUNT))
            assert np.abs(line[:, i].T - in_footprint(rig, turns, nowhere, point, on_toes=on_toes)).max() < 1e-14


def test_a_flat_list_of_samples_gives_what_the_two_rows_give() -> None:
    rig = RIGS["a measured foot"]
    turns = random_turns(rig, "forefoot", 10, cant=0.1)
    whole = Soles.of(rig).planted(turns)
    foot = np.random.default_rng(11).integers(0, 2, 40)
    at = np.arange(40)
    picked = Turns(*(field[foot, at][None] for field in turns))
    found = Soles.of(rig).gathered(foot).planted(picked)[:, 0]
    assert np.abs(found - whole[:, foot, at]).max() < 1e-15
