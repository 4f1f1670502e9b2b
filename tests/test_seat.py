"""How footprints lie on planes, treads and kerbs: the same on every kind of ground, on a tread or told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Flat, Ground, Plane, Profile, demo, plant
from surefoot.ground_grid import Grid
from surefoot.seat import seats_of
from tests.walks import make_rig

RIG = make_rig()
LEFT = np.array([0])


def seat(ground: Ground, z: float, *, yaw: float = 0.0, movable: bool = True):  # type: ignore[no-untyped-def]
    return seats_of(ground, RIG, np.array([[0.0], [z]]), np.array([yaw]), LEFT, movable=movable)


def as_grid(ground: Ground, spacing: float = 0.1) -> Grid:
    z, x = np.meshgrid(np.arange(-100, 101) * spacing, np.arange(-100, 101) * spacing, indexing="ij")
    return Grid(ground.height(x, z), spacing, origin=np.array([-100 * spacing, 0.0, -100 * spacing]))


def test_a_plane_is_leant_on_and_stays_where_it_is_whatever_it_is_written_as() -> None:
    plane = Plane.slope(0.15)
    profile = Profile([-10.0, 10.0], [-1.5, 1.5])
    for ground in (profile, as_grid(plane)):
        found = seat(ground, 0.37, yaw=0.5)
        assert float(found.shift[0]) == 0.0
        assert float(found.along[0]) == pytest.approx(0.15 * np.cos(0.5), abs=1e-9)
        assert float(found.across[0]) == pytest.approx(-0.15 * np.sin(0.5), abs=1e-9)
        assert float(found.level[0]) == pytest.approx(float(plane.height(0.0, 0.37)), abs=1e-9)
        assert float(found.share[0]) == 1.0


def test_a_sole_across_an_edge_moves_back_or_on_to_the_nearer_tread() -> None:
    kerb = Profile.kerb(height=0.12, at=1.0)
    back = seat(kerb, 0.85)  # toes 60 mm into the kerb
    assert -0.07 < float(back.shift[0]) < -0.02
    assert float(back.level[0]) == 0.0
    on = seat(kerb, 1.02)  # heel 40 mm before its edge: stays, or goes on
    assert float(on.shift[0]) >= 0.0
    assert float(on.level[0]) == pytest.approx(0.12)
    assert float(on.share[0]) >= 0.6


def test_it_lies_level_on_a_tread_and_never_leans_over_an_edge() -> None:
    stairs = Profile.stairs(riser=0.178, tread=0.279, count=30)
    for z in np.linspace(0.5, 5.0, 60):
        found = seat(stairs, float(z))
        assert float(found.along[0]) == pytest.approx(0.0, abs=1e-12)
        assert float(found.share[0]) >= 0.6


def test_where_no_tread_is_wide_enough_it_stays() -> None:
    ledges = Profile.stairs(riser=0.1, tread=0.1, count=80)
    found = seat(ledges, 4.0)
    assert float(found.shift[0]) == 0.0
    assert float(found.share[0]) < 0.6


def test_a_slope_beyond_the_ankle_is_leant_on_as_far_as_the_ankle_goes() -> None:
    found = seat(Profile([-10.0, 10.0], [-11.9, 11.9]), 0.0)
    limit = float(np.tan(RIG.legs[0].limits.ankle_flexion[1]))
    assert float(found.along[0]) == pytest.approx(min(1.19, limit))
    steep = seat(Profile([-10.0, 10.0], [-11.0, 11.0]).turned(np.pi / 2), 0.0)
    assert not bool(steep.conforms[0])


def test_a_plane_written_as_profile_and_grid_gives_the_same_footprints() -> None:
    clip, rig = demo("lamplighter")
    plane = Plane.slope(0.03)
    prints = []
    for ground in (plane, Profile([-20.0, 20.0], [-0.6, 0.6]), as_grid(plane, 0.2)):
        done = plant(clip, rig, ground=ground, belt=plant(clip, rig, ground=Plane.slope(0.03)).belt)
        prints.append(np.array([print_.place for print_ in done.footprints]))
    for other in prints[1:]:
        assert np.abs(other - prints[0]).max() < 1e-4


def test_turning_ground_and_clip_turns_the_seat() -> None:
    stairs = Profile.stairs(riser=0.178, tread=0.279, count=30)
    one, yaw = seat(stairs, 2.3), 0.8
    place = np.array([[np.sin(yaw) * 2.3], [np.cos(yaw) * 2.3]])
    other = seats_of(stairs.turned(yaw), RIG, place, np.array([yaw]), LEFT, movable=True)
    for name in ("shift", "along", "across", "level", "share"):
        assert float(getattr(one, name)[0]) == pytest.approx(float(getattr(other, name)[0]), abs=1e-9)


def test_level_ground_needs_no_seat() -> None:
    found = seat(Flat(0.3), 1.0)
    assert float(found.level[0]) == 0.3
    assert float(found.share[0]) == 1.0


def test_an_ankle_that_bends_past_upright_still_lies_level_on_a_tread() -> None:
    """A creature's ankle may flex by more than a right angle, where a tangent changes sign."""
    leg = RIG.legs[0]
    loose = replace(leg, limits=replace(leg.limits, ankle_flexion=(np.radians(-80.0), np.radians(110.0))))
    rig = replace(RIG, legs=(loose, replace(RIG.legs[1], limits=loose.limits)))
    found = seats_of(Profile.stairs(riser=0.17, tread=0.4, count=9), rig, np.array([[0.0], [0.5]]), np.zeros(1), LEFT,
                     movable=False)  # fmt: skip
    assert float(found.along[0]) == 0.0
    assert float(found.level[0]) == pytest.approx(0.34)
