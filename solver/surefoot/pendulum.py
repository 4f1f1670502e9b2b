"""The inverted pendulum: how high a hip rises over a stiff leg, as an oracle of the mathematics.

It over-predicts what people do (about 3 to 5 cm in a laboratory) and is no band for judging a clip.
"""

from __future__ import annotations

from math import asin, cos, isfinite, sin, sqrt

from surefoot.errors import InputError, finite_number

__all__ = ["GRAVITY", "compass_rise", "pendulum_rate", "roller_rise"]

GRAVITY = 9.80665
"""Metres a second squared."""


def compass_rise(leg: float, step: float) -> float:
    """Return by how much a hip rises from contact to passing over a point foot, metres.

    ``leg`` and ``step`` are metres; the hip moves on an arc of the leg's length: ``L - sqrt(L^2 - (s/2)^2)``.

    Raises
    ------
    InputError
        If the leg isn't above zero, or the step isn't from 0 to below two legs.

    Examples
    --------
    >>> round(1000.0 * compass_rise(0.90, 0.70), 2)
    70.84
    """
    _check(leg, step)
    # the difference of two near numbers, written without it
    half = step / 2.0
    return half * half / (leg + sqrt(leg * leg - half * half))


def roller_rise(leg: float, step: float, *, radius: float) -> float:
    """Return the same as `compass_rise` for a foot that rolls like a wheel of ``radius`` metres under the leg.

    With ``a`` the leg's angle at contact the step is ``2 R a + 2 (L - R) sin a`` and the rise ``(L - R)(1 - cos a)``.

    Raises
    ------
    InputError
        If the leg isn't above zero, the step isn't from 0 to below two legs, or the radius isn't from 0 to the
        leg's length.
    """
    _check(leg, step)
    if not 0.0 <= finite_number(radius, place="radius") <= leg:
        raise InputError(f"wanted 0 to the leg's {leg:g} m, got {radius:g}", place="radius")
    # Newton's method from the point foot's angle, where the step is never too short: it falls onto the root
    angle = asin(step / (2.0 * leg))
    for _ in range(50):
        over = 2.0 * radius * angle + 2.0 * (leg - radius) * sin(angle) - step
        change = over / (2.0 * radius + 2.0 * (leg - radius) * cos(angle))
        angle -= change
        if abs(change) < 1e-15:
            break
    return 2.0 * (leg - radius) * sin(angle / 2.0) ** 2


def pendulum_rate(length: float) -> float:
    """Return how fast a pendulum of so many metres swings or falls, ``sqrt(g / l)``, radians a second.

    A moving body's extrapolated centre of mass is its centre plus its velocity over this rate (Hof 2008).
    """
    if not (isfinite(length) and length > 0.0):
        raise InputError(f"wanted a length above 0, got {length:g}", place="length")
    return sqrt(GRAVITY / length)


def _check(leg: float, step: float) -> None:
    if finite_number(leg, place="leg") <= 0.0:
        raise InputError(f"wanted a length above 0, got {leg:g}", place="leg")
    if not 0.0 <= finite_number(step, place="step") < 2.0 * leg:
        raise InputError(f"wanted 0 to below twice the leg's {leg:g} m, got {step:g}", place="step")
