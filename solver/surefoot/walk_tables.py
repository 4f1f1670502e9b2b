"""A gait's measures as lines for a terminal and as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from surefoot.cautions import FOR_ANIMATION
from surefoot.gait import Gait
from surefoot.gait_phases import Phase, StepFrames
from surefoot.gait_relations import WALK_RATIO
from surefoot.printed import wrapped
from surefoot.rig import FEET

__all__ = ["gait_json", "gait_lines"]


def gait_lines(gait: Gait, phases: Sequence[Phase], steps: Sequence[StepFrames], warnings: Sequence[str]) -> list[str]:
    """Return the measures, the phases, the animator's frames and the warnings, a line each."""
    low, high = (1e3 * bound for bound in WALK_RATIO)
    left, right = gait.steps
    rows = [
        ("speed", f"{gait.speed:.3f} m/s over the ground"),
        ("stride", f"{gait.stride:.3f} m in {gait.stride_time:.3f} s"),
        ("steps", f"left {_metres(left)}, right {_metres(right)}; {_metres(gait.step_width)} apart sideways"),
        ("cadence", f"{gait.cadence:.1f} steps a minute"),
        ("duty factor", f"left {gait.duty[0]:.3f}, right {gait.duty[1]:.3f}, from contact to toe-off: a {gait.kind}"),
        ("support", f"both feet {100.0 * gait.double_support:.1f} %, none {100.0 * gait.flight:.1f} % of the cycle"),
        ("Froude number", f"{gait.froude:.3f}, with {gait.leg:.3f} m from hip to sole"),
        ("walk ratio", f"{1e3 * gait.walk_ratio:.2f} mm for a step a minute (people: {low:.1f} to {high:.1f})"),
    ]
    width = max(len(name) for name, _ in rows)
    lines = [f"{name.ljust(width)}  {told}" for name, told in rows]
    for foot in FEET:
        mine = [f"{phase.name} to {phase.end:.0f}" for phase in phases if phase.foot == foot]
        if mine:
            lines.append(wrapped(f"{foot} phases, per cent of the cycle: {', '.join(mine)}"))
    lines += [
        f"{step.foot} step: contact {step.contact}, down {_frame(step.down)}, passing {_frame(step.passing)}, "
        f"up {_frame(step.up)}"
        for step in steps
    ]
    return [*lines, *(wrapped(f"warning: {told}") for told in warnings), FOR_ANIMATION]


def _metres(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.3f} m"


def _frame(value: int | None) -> str:
    return "-" if value is None else str(value)


def gait_json(
    gait: Gait, phases: Sequence[Phase], steps: Sequence[StepFrames], warnings: Sequence[str]
) -> dict[str, Any]:
    """Return the same figures unrounded, in metres, seconds and steps a minute; None where there's none."""

    def known(value: float) -> float | None:
        return None if math.isnan(value) else value

    return {
        "gait": {
            "speed": gait.speed, "stride": gait.stride, "stride_time": gait.stride_time,
            "steps": [known(value) for value in gait.steps], "step_width": known(gait.step_width),
            "cadence": gait.cadence, "duty_factor": [known(value) for value in gait.duty],
            "double_support": gait.double_support, "flight": gait.flight, "leg": gait.leg, "froude": gait.froude,
            "walk_ratio": gait.walk_ratio, "kind": gait.kind, "unit": "m, s, steps a minute",
        },
        "phases": [
            {"foot": p.foot, "name": p.name, "from_percent": p.start, "to_percent": p.end} for p in phases
        ],
        "steps": [
            {"foot": s.foot, "contact": s.contact, "down": s.down, "passing": s.passing, "up": s.up} for s in steps
        ],
        "warnings": list(warnings),
    }  # fmt: skip
