"""A profile in a file: points along a heading, or stairs, a ramp or a kerb, some by a preset's name."""

from __future__ import annotations

import msgspec
import numpy as np

from surefoot.errors import InputError, UnknownName
from surefoot.ground import Profile
from surefoot.ground_presets import FLIGHT, RAMPS, STAIRS
from surefoot.grounds.kind import GroundKind, GroundTable, Three, Told, the_one, to_heading

__all__ = ["KIND"]


class _Stairs(msgspec.Struct, forbid_unknown_fields=True):
    riser: float | None = None
    tread: float | None = None
    count: int | None = None
    nosing: float | None = None
    start: float = 0.0
    preset: str | None = None


class _Ramp(msgspec.Struct, forbid_unknown_fields=True):
    run: float
    rise: float | None = None
    start: float = 0.0
    preset: str | None = None


class _Kerb(msgspec.Struct, forbid_unknown_fields=True):
    height: float
    at: float = 0.0


class _Profile(GroundTable, forbid_unknown_fields=True):
    points: list[tuple[float, float]] | None = None
    stairs: _Stairs | None = None
    ramp: _Ramp | None = None
    kerb: _Kerb | None = None
    heading_deg: float = 0.0
    origin: Three = (0.0, 0.0, 0.0)


def _profile(told: Told[_Profile]) -> Profile:
    profile, metres = told.table, told.metres
    given = the_one(profile, ("points", "stairs", "ramp", "kerb"))
    heading, origin = to_heading(profile.heading_deg), np.array(profile.origin) * metres
    name = profile.name or given.replace("points", "profile")
    if profile.points is not None:
        distance, height = np.array(profile.points, dtype=np.float64).reshape(-1, 2).T * metres
        try:
            return Profile(distance, height, heading, origin, name)
        except InputError as error:
            column = {"distance": "[0]", "height": "[1]"}
            axis, bracket, index = error.place.partition("[")
            if axis not in column:
                raise
            place = f"points[{index}{column[axis]}" if bracket else "points"
            raise type(error)(error.reason, place=place) from None
    try:
        if (stairs := profile.stairs) is not None:
            riser, tread, nosing = _steps(stairs, metres)
            return Profile.stairs(
                riser=riser,
                tread=tread,
                nosing=nosing,
                count=FLIGHT if stairs.count is None else stairs.count,
                start=stairs.start * metres,
                heading=heading,
                origin=origin,
                name=name,
            )
        if (ramp := profile.ramp) is not None:
            run, start = ramp.run * metres, ramp.start * metres
            rise = _rise(ramp, metres)
            return Profile.ramp(rise=rise, run=run, start=start, heading=heading, origin=origin, name=name)
        kerb = profile.kerb or _Kerb(0.0)
        height, at = kerb.height * metres, kerb.at * metres
        return Profile.kerb(height=height, at=at, heading=heading, origin=origin, name=name)
    except InputError as error:
        raise (error if error.place.startswith("origin") else error.within(given)) from None


def _steps(stairs: _Stairs, metres: float) -> tuple[float, float, float]:
    """Return riser, tread and nosing in metres, as stated or as their preset has them."""
    nosing = (stairs.nosing or 0.0) * metres
    if stairs.preset is not None:
        if stairs.preset not in STAIRS:
            raise UnknownName("stairs", stairs.preset, STAIRS, place="preset")
        if stairs.tread is not None or stairs.riser is not None:
            raise InputError("expected either a preset or a riser and a tread, got both", place="preset")
        preset = STAIRS[stairs.preset]
        return preset.riser, preset.tread, preset.nosing if stairs.nosing is None else nosing
    for name in ("riser", "tread", "count"):
        if getattr(stairs, name) is None:
            raise InputError("expected a value, got none", place=name)
    return (stairs.riser or 0.0) * metres, (stairs.tread or 0.0) * metres, nosing


def _rise(ramp: _Ramp, metres: float) -> float:
    """Return a ramp's rise in metres, as stated or as its preset has it."""
    if ramp.preset is None:
        if ramp.rise is None:
            raise InputError("expected a value, got none", place="rise")
        return ramp.rise * metres
    if ramp.preset not in RAMPS:
        raise UnknownName("ramp", ramp.preset, RAMPS, place="preset")
    if ramp.rise is not None:
        raise InputError("expected either a preset or a rise, got both", place="preset")
    return ramp.run * metres * RAMPS[ramp.preset].ratio


KIND = GroundKind("profile", _Profile, _profile, {"stairs": _Stairs, "ramp": _Ramp, "kerb": _Kerb})
