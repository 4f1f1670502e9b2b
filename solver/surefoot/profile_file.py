"""A profile as a ground's TOML file, so that a blocked climb's stairs can be handed to other commands."""

from __future__ import annotations

from math import degrees

from surefoot.ground import Profile
from surefoot.plain_toml import toml_word

__all__ = ["profile_bytes"]

CAUTION = "# A ground for pictures: what may be built is decided by local codes and licensed practice."


def profile_bytes(profile: Profile) -> bytes:
    """Return the file's contents; reading it gives the same heights, to the last bit but for the heading."""
    points = ",\n".join(
        f"    [{distance!r}, {height!r}]"
        for distance, height in zip(profile.distance.tolist(), profile.elevation.tolist(), strict=True)
    )
    lines = (
        CAUTION,
        'surefoot = "ground/1"',
        f"name = {toml_word(profile.name)}",
        'unit = "m"',
        'kind = "profile"',
        f"heading_deg = {degrees(profile.heading)!r}",
        f"origin = {profile.origin.tolist()!r}",
        f"points = [                    # distance, height\n{points},\n]",
    )
    return ("\n".join(lines) + "\n").encode()
