"""The leg agrees with MuJoCo's hinges, a pose of three libraries, and the law of cosines in 50 digits.

Witnesses: MuJoCo (package mujoco-core), whose kinematics share no code with ours; mpmath.
MuJoCo's space here is X forward, Y up, Z to the right, the axes of the joint convention of Wu and
Cavanagh (1995, J Biomech 28:1257; read about, not read): X = our z, Y = our y, Z = -our x.
"""

from __future__ import annotations

from typing import Any

import mpmath
import numpy as np
import pytest

from surefoot.leg import knee_angle, knee_point
from surefoot.leg_chain import POINTS, LegChain, leg_jacobian, leg_points
from surefoot.rig import Foot, Leg
from tests.outside.table import agrees

mujoco = pytest.importorskip("mujoco", reason="needs mujoco-core")

THEIRS = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
SIGNS = {"left": 1.0, "right": -1.0}


def their_angles(ours: np.ndarray, side: str) -> np.ndarray:
    """Return the same pose as turns about Z, X, Y, Z, Z, X, Z there; ``(7, poses)``, radians."""
    s = SIGNS[side]
    return ours * np.array([1.0, s, -s, -1.0, 1.0, -s, 1.0])[:, None]


def their_leg(leg: Leg, side: str) -> tuple[Any, Any, np.ndarray]:
    """Return MuJoCo's model and data of a leg, and their angle for one of ours (the same for every pose)."""
    foot = leg.foot
    still = np.zeros(3)
    parts = [
        ("hip", leg.hip, "Z"),
        ("abduction", still, "X"),
        ("thigh", still, "Y"),
        ("shank", np.array([0.0, -leg.thigh, 0.0]), "Z"),
        ("ankle", np.array([0.0, -leg.shank, 0.0]), "Z"),
        ("foot", still, "X"),
        ("toes", foot.ball, "Z"),
    ]
    sites = {"hip": [("hip", still)], "shank": [("knee", still)], "ankle": [("ankle", still)]}
    sites["foot"] = [("heel", foot.heel), ("ball", foot.ball)]
    sites["toes"] = [("toe", foot.toe - foot.ball)]
    spec = mujoco.MjSpec()
    body = spec.worldbody
    for name, offset, axis in parts:
        body = body.add_body(name=name, pos=THEIRS @ offset, mass=1.0, inertia=[1.0, 1.0, 1.0])
        body.add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=np.eye(3)["XYZ".index(axis)])
        for site, at in sites.get(name, []):
            body.add_site(name=site, pos=THEIRS @ at)
    model = spec.compile()
    return model, mujoco.MjData(model), their_angles(np.ones((7, 1)), side)[:, 0]


def a_leg(side: str) -> Leg:
    """Return a leg with nothing on an axis that could hide a mistake."""
    outline = [[-0.03, -0.06], [0.05, -0.06], [0.05, 0.18], [-0.03, 0.18]]
    foot = Foot([0.005, -0.06, -0.06], [0.012, -0.045, 0.115], [0.02, -0.06, 0.18], outline)
    left = Leg([0.09, -0.05, 0.01], 0.42, 0.41, foot)
    return left if side == "left" else left.mirrored()


@pytest.mark.parametrize("side", ["left", "right"])
def test_points_and_jacobian_are_mujocos_on_200_random_poses(side: str) -> None:
    """Source: MuJoCo, mj_kinematics and mj_jacSite (verified)."""
    leg = a_leg(side)
    q = np.random.default_rng(20).uniform(-1.6, 1.6, (7, 200))
    points, jacobian = leg_jacobian(q, LegChain.one(leg, side=side))
    model, data, factor = their_leg(leg, side)
    theirs = np.empty((3, len(POINTS), 200))
    their_jacobian = np.empty((3, len(POINTS), 7, 200))
    by_site = np.empty((3, 7))
    for pose in range(200):
        data.qpos[:] = factor * q[:, pose]
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        for i, name in enumerate(POINTS):
            theirs[:, i, pose] = THEIRS.T @ data.site(name).xpos
            mujoco.mj_jacSite(model, data, by_site, None, data.site(name).id)
            their_jacobian[:, i, :, pose] = THEIRS.T @ by_site * factor
    agrees("points of a leg by joints, m", points, theirs, bound=1e-12)
    agrees("Jacobian of a leg, m", jacobian, their_jacobian, bound=1e-12)
    assert np.ptp(theirs[:, -1], axis=1).min() > 1.0  # the poses were wide


def test_the_reference_pose_of_three_libraries() -> None:
    """The four points were measured with all three, and rounded to 0.1 mm.

    Source: MuJoCo 4.0, pytransform3d 3.17 and ikpy 4.2, run elsewhere (computed).
    """
    outline = [[-0.04, -0.045], [0.04, -0.045], [0.04, 0.17], [-0.04, 0.17]]
    foot = Foot([0.0, -0.05, -0.045], [0.0, -0.05, 0.11], [0.0, -0.05, 0.17], outline)
    leg = Leg([-0.085, 0.0, 0.0], 0.42, 0.41, foot)
    turns = np.array([0.4, 0.1, 0.2, -0.7, 0.3, 0.1, -0.2])[:, None]
    ours = turns / their_angles(np.ones((7, 1)), "right")
    points = THEIRS @ leg_points(ours, LegChain.one(leg, side="right"))[..., 0]
    published = {
        "ankle": (0.0479, -0.7779, 0.0640),
        "heel": (0.0033, -0.8281, 0.0683),
        "ball": (0.1544, -0.8264, 0.0341),
        "toe": (0.2116, -0.8375, 0.0197),
    }
    for name, point in published.items():
        agrees(f"{name} of the reference pose, m", points[:, POINTS.index(name)], point, bound=5.0001e-5)


def exact_angle(reach: float, thigh: float, shank: float) -> Any:
    """Return the law of cosines in 50 digits for the very numbers given."""
    with mpmath.workdps(50):
        r, a, b = mpmath.mpf(reach), mpmath.mpf(thigh), mpmath.mpf(shank)
        return mpmath.acos((a * a + b * b - r * r) / (2 * a * b))


def reaches(thigh: float, shank: float) -> np.ndarray:
    """Return reaches from folded to straight, closing in on both down to the last digit."""
    near = np.geomspace(1e-14, 0.1, 60) * (thigh + shank)
    ends = [thigh + shank - near, abs(thigh - shank) + near, np.linspace(0.05, 0.95, 60) * (thigh + shank)]
    r = np.concatenate(ends)
    return r[(r < thigh + shank - 1e-15) & (r > abs(thigh - shank) + 1e-15)]


BONES = [(0.42, 0.41), (0.41, 0.42), (0.4, 0.4), (0.42875, 0.4305), (0.9, 0.25), (0.1, 0.7)]


@pytest.mark.parametrize(("thigh", "shank"), BONES)
def test_the_knee_angle_is_the_law_of_cosines_in_50_digits_down_to_straight_and_folded(
    thigh: float, shank: float
) -> None:
    """Source: mpmath, the law of cosines in 50 digits (verified)."""
    r = reaches(thigh, shank)
    exact = [exact_angle(float(v), thigh, shank) for v in r]
    angle = knee_angle(r, thigh, shank)
    wrong = np.array([float(abs(mpmath.mpf(float(a)) - e)) for a, e in zip(angle, exact, strict=True)])
    agrees("knee angle less its law of cosines, rad", wrong, 0.0, bound=9e-16)  # two units in the last place of pi
    # the plain form is what this one is there to better
    plain = np.arccos(np.clip((thigh**2 + shank**2 - r**2) / (2 * thigh * shank), -1, 1))
    assert np.abs(plain - angle).max() > 1e-10


@pytest.mark.parametrize(("thigh", "shank"), BONES)
def test_the_knees_height_over_the_leg_keeps_its_digits_down_to_straight_and_folded(thigh: float, shank: float) -> None:
    """Source: mpmath, the law of cosines in 50 digits (verified)."""
    r = reaches(thigh, shank)
    zero = np.zeros_like(r)
    ahead = np.array([zero, zero, zero + 1.0])
    knee = knee_point(np.array([zero, zero, zero]), np.array([zero, -r, zero]), ahead, thigh, shank)
    aheads, alongs = [], []
    for reach, y, height in zip(r, knee[1], knee[2], strict=True):
        with mpmath.workdps(50):
            a, b, c = (mpmath.mpf(float(v)) for v in (thigh, shank, reach))
            along = (a * a - b * b + c * c) / (2 * c)
            across = mpmath.sqrt(a * a - along * along)
            aheads.append(float(abs(height - across) / across))
            alongs.append(float(abs(-y - along) / a))
            assert across > 0
    agrees("knee's height over the leg, share", aheads, 0.0, bound=1e-15)
    agrees("knee's place along the leg, share of the thigh", alongs, 0.0, bound=4.5e-16)  # four roundings


@pytest.mark.parametrize(("short", "flexion"), [(0.001, 5.5), (0.005, 12.4), (0.010, 17.5)])
def test_a_millimetre_short_of_straight_already_bends_the_knee_by_five_degrees(short: float, flexion: float) -> None:
    """Thigh 0.245 and shank 0.246 of a stature of 1.75 m.

    Source: plain geometry, the law of cosines by hand (computed).
    """
    thigh, shank = 0.245 * 1.75, 0.246 * 1.75
    bent = 180.0 - np.degrees(knee_angle(np.array(thigh + shank - short), thigh, shank))
    agrees(f"flexion of a leg {1000 * short:.0f} mm short of straight, degrees", bent, flexion, bound=0.05)


@pytest.mark.parametrize(("flexion", "reach"), [(60.0, 0.7441), (90.0, 0.6076)])
def test_the_reach_of_a_knee_bent_by_sixty_and_ninety_degrees(flexion: float, reach: float) -> None:
    """Of the same leg.

    Source: plain geometry, the law of cosines by hand (computed).
    """
    # a tenth of a millimetre in the printed reach is up to 0.014 degrees at the knee
    bent = 180.0 - np.degrees(knee_angle(np.array(reach), 0.245 * 1.75, 0.246 * 1.75))
    agrees(f"flexion at a reach of {reach} m, degrees", bent, flexion, bound=0.014)
