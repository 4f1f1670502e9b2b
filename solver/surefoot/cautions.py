"""The cautions where the work could hurt someone, each in one place for every face that shows such figures."""

from __future__ import annotations

__all__ = ["BUILT_GROUNDS", "FOR_ANIMATION", "FOR_PICTURES"]

FOR_ANIMATION = "for animation, not for clinical or ergonomic use"
"""Beside figures of gait and of bodies."""

FOR_PICTURES = "for pictures, not for building: local codes and licensed practice decide"
"""Beside stairs, ramps and kerbs."""

BUILT_GROUNDS = f"stairs, ramps and kerbs are {FOR_PICTURES}"
"""The same as a sentence of its own."""
