"""Profile queries agree with shapely's planar geometry and with dense sampling by brute force.

Witness: shapely (GEOS), whose distances, predicates and intersections share no code with ours.
"""

from __future__ import annotations

import contextlib

import numpy as np
import pytest
import shapely

from surefoot.errors import InputError
from surefoot.ground import Plane, Profile
from tests.outside.table import agrees, alike

FAR = 1_000.0


def rough_profile(seed: int, count: int = 40) -> Profile:
    """Return a profile with slopes, risers up and down, and treads, along +Z."""
    random = np.random.default_rng(seed)
    steps = random.uniform(0.02, 0.5, count) * (random.random(count) < 0.7)
    return Profile(np.cumsum(steps), np.cumsum(random.normal(0, 0.1, count) * (steps + 0.3)) + 0.4)


def profiles() -> list[Profile]:
    made: list[Profile] = [
        Profile.stairs(riser=0.17, tread=0.29, count=6),
        Profile.stairs(riser=-0.17, tread=0.29, count=6),
        Profile.ramp(rise=0.5, run=4.0),
        Profile.kerb(height=0.12, at=1.0),
        Profile.kerb(height=-0.12, at=1.0),
    ]
    seed = 0
    while len(made) < 25:
        with contextlib.suppress(InputError):  # a riser that runs back over itself, checked in its own test
            made.append(rough_profile(seed))
        seed += 1
    return made


def as_line(profile: Profile) -> shapely.LineString:
    distance, height = profile.distance, profile.elevation
    ends = [
        (distance[0] - FAR, height[0]),
        *zip(distance, height, strict=True),
        (distance[-1] + FAR, height[-1]),
    ]
    return shapely.LineString(ends)


def as_body(profile: Profile) -> shapely.Polygon:
    """Return the ground itself, as an area down to a floor far below."""
    points = list(as_line(profile).coords)
    return shapely.Polygon([*points, (points[-1][0], -FAR), (points[0][0], -FAR)])


def cloud(profile: Profile, count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    z = random.uniform(profile.distance[0] - 1, profile.distance[-1] + 1, count)
    spread = 10.0 ** random.uniform(-4, 0.5, count) * random.choice([-1, 1], count)
    return z, np.asarray(profile.height(0.0, z)) + spread


@pytest.mark.parametrize("number", range(25))
def test_depth_is_the_distance_to_the_line_positive_inside_the_ground(number: int) -> None:
    """Source: shapely (GEOS), distance and contains (verified)."""
    profile = profiles()[number]
    z, y = cloud(profile, 800, number)
    depth = profile.depth(np.zeros_like(z), y, z)
    points = shapely.points(z, y)
    agrees("distance to a profile, m", np.abs(depth), shapely.distance(as_line(profile), points), bound=1e-12)
    body = as_body(profile)
    shapely.prepare(body)
    inside = shapely.contains(body, points)
    alike("inside a profile's ground", depth > 0, inside)
    assert 0 < inside.sum() < inside.size


@pytest.mark.parametrize("number", range(25))
def test_height_is_where_a_plumb_line_first_meets_the_ground(number: int) -> None:
    """Source: shapely (GEOS), intersection (verified)."""
    profile = profiles()[number]
    z = np.concatenate((cloud(profile, 200, number)[0], profile.distance))
    plumb = shapely.linestrings(np.stack((np.stack((z, z), -1), np.full((z.size, 2), (50.0, -50.0))), -1))
    met = shapely.intersection(as_line(profile), plumb)
    top = shapely.bounds(met)[:, 3]
    at_points = z.size - profile.distance.size
    height = profile.height(3.0, z)
    agrees("height of a profile, m", height[:at_points], top[:at_points], bound=1e-9)
    agrees("height of a profile at its corners, m", height[at_points:], top[at_points:], bound=1e-12)


@pytest.mark.parametrize("number", range(25))
def test_depth_agrees_with_a_surface_sampled_every_tenth_of_a_millimetre(number: int) -> None:
    """Brute force in three dimensions: the nearest of many points, risers filled in.

    Source: shapely (GEOS), segmentize, and the nearest of its points (verified).
    """
    heading, origin = 0.6, np.array([0.3, -0.2, 1.1])
    flat = profiles()[number]
    profile = Profile(flat.distance, flat.elevation, heading, origin)
    line = shapely.LineString(np.stack((flat.distance, flat.elevation), -1))
    samples = shapely.get_coordinates(shapely.segmentize(line, 1e-4))
    random = np.random.default_rng(number)
    middle = samples[random.integers(samples.shape[0], size=12)]
    asked = middle + random.uniform(-0.05, 0.05, middle.shape)
    asked[:, 0] = np.clip(asked[:, 0], flat.distance[0], flat.distance[-1])
    nearest = np.sqrt(((asked[:, None] - samples) ** 2).sum(-1).min(1))
    across = random.uniform(-1, 1, 12)
    forward, left = (
        np.array([np.sin(heading), np.cos(heading)]),
        np.array([np.cos(heading), -np.sin(heading)]),
    )
    plan = origin[[0, 2]] + asked[:, :1] * forward + across[:, None] * left
    depth = profile.depth(plan[:, 0], asked[:, 1] + origin[1], plan[:, 1])
    # Samples h apart miss the nearest point by h/2 at most, and always outwards.
    assert np.all(np.abs(depth) <= nearest + 1e-12)
    agrees("distance to a profile sampled every 0.1 mm, m", np.abs(depth), nearest, bound=0.51e-4)


@pytest.mark.parametrize("number", range(25))
def test_a_corner_pokes_through_exactly_where_the_sole_cuts_the_ground_between_its_ends(number: int) -> None:
    """For soles with both ends above ground, GEOS says whether they cut it, and how deep the worst is.

    Source: shapely (GEOS), intersection (verified).
    """
    profile = profiles()[number]
    random = np.random.default_rng(number)
    z = random.uniform(profile.distance[0] - 0.3, profile.distance[-1] + 0.3, 400)
    toe_z = z + random.uniform(-0.3, 0.3, 400)
    y = profile.height(0, z) + random.uniform(0.001, 0.1, 400)
    toe_y = profile.height(0, toe_z) + random.uniform(0.001, 0.1, 400)
    poke = profile.corners_between((0.2, y, z), (-0.4, toe_y, toe_z))
    soles = shapely.linestrings(np.stack((np.stack((z, toe_z), -1), np.stack((y, toe_y), -1)), -1))
    body = as_body(profile)
    cut = shapely.length(shapely.intersection(soles, body)) > 1e-9
    alike("soles that ground cuts between their ends", poke > 1e-9, cut)
    for i in np.flatnonzero(cut):
        # Of the ground between the sole's ends, the point farthest above the line through them.
        low, high = sorted((z[i], toe_z[i]))
        strip = shapely.intersection(as_line(profile), shapely.box(low, -FAR, high, FAR))
        along = np.array([toe_z[i] - z[i], toe_y[i] - y[i]]) * np.sign(toe_z[i] - z[i])
        off = shapely.get_coordinates(strip) - (z[i], y[i])
        square = (along[0] * off[:, 1] - along[1] * off[:, 0]) / np.hypot(*along)
        agrees("how far ground pokes through a sole, m", poke[i], square.max(), bound=1e-12)


def test_what_the_profile_refuses_as_a_fold_is_what_shapely_calls_not_simple() -> None:
    """Source: shapely (GEOS), is_simple (verified)."""
    random = np.random.default_rng(11)
    refused, ours, theirs = 0, [], []
    for _ in range(600):
        distance = np.cumsum(random.integers(0, 2, 7)).astype(float)
        height = random.integers(0, 3, 7).astype(float)
        line = shapely.remove_repeated_points(shapely.LineString(np.stack((distance, height), -1)))
        try:
            Profile(distance, height)
            accepted = True
        except InputError as error:
            accepted = False
            refused += "back over itself" in str(error)
        different = len({*zip(distance, height, strict=True)}) > 1
        ours.append(accepted)
        theirs.append(different and bool(line.is_simple))
    alike("profiles that are accepted", np.array(ours), np.array(theirs))
    assert 50 < refused < 550


def test_depth_below_a_plane_is_the_distance_to_a_large_sheet_of_it_in_section() -> None:
    """Source: shapely (GEOS), distance (verified)."""
    plane = Plane.slope(0.3, point=(0, 0.2, 0.1))
    section = shapely.LineString([(-FAR, 0.2 + 0.3 * (-FAR - 0.1)), (FAR, 0.2 + 0.3 * (FAR - 0.1))])
    random = np.random.default_rng(2)
    z, y = random.uniform(-2, 2, (2, 300))
    depth = plane.depth(random.uniform(-5, 5, 300), y, z)
    agrees("depth below a plane, m", np.abs(depth), shapely.distance(section, shapely.points(z, y)), bound=1e-12)
    alike("below a plane", depth > 0, y < 0.2 + 0.3 * (z - 0.1))
