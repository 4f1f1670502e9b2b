"""What the page is told about findings, proposals and what planting changed: plain values in the units shown."""

from __future__ import annotations

from typing import Any

import numpy as np

from surefoot.checking import Report
from surefoot.planting import Planted
from surefoot.proposals import Proposal
from surefoot.tolerances import KINDS

__all__ = ["told_findings", "told_numbers", "told_ways"]


def told_findings(report: Report) -> list[dict[str, Any]]:
    """Return every finding with its place, its amount and its limit."""
    return [
        {
            "kind": f.kind, "foot": f.foot, "part": f.part, "first": f.first, "last": f.last, "worst": f.worst,
            "amount": f.shown, "limit": f.shown_tolerance, "unit": f.unit, "level": f.level, "advice": f.advice,
        }
        for f in report.findings
    ]  # fmt: skip


def told_ways(report: Report, ways: tuple[Proposal, ...]) -> list[list[dict[str, Any]]]:
    """Return the ways to mend each finding of a report, in its order, cheapest first."""
    found: list[list[dict[str, Any]]] = []
    for finding in report.findings:
        mine = [way for way in ways if way.finding is finding]
        found.append(
            [
                {
                    "way": way.way, "default": way.default, "asks": way.asks, "cost": way.cost,
                    "leaves": way.shown_left, "unit": finding.unit, "channels": list(way.channels),
                    "most": [float(amounts[np.abs(amounts).argmax()]) for amounts in way.shown],
                    "units": ["deg" if turns else "mm" for turns in way.angles],
                    "worse": [
                        {"kind": w.kind, "foot": w.foot, "before": w.shown_before, "after": w.shown, "unit": w.unit}
                        for w in way.worse
                    ],
                }
                for way in mine
            ]
        )  # fmt: skip
    return found


def told_numbers(before: Report, after: Report, planted: Planted) -> dict[str, Any]:
    """Return the worst amount of each kind before and after, the keys, and how far the ankles were moved."""
    kinds = []
    for kind, limits in KINDS.items():
        one, two = before.most(kind), after.most(kind)
        if one is None and two is None:
            continue
        kinds.append(
            {
                "kind": kind, "unit": limits.unit,
                "before": None if one is None else one.shown, "before_level": "clean" if one is None else one.level,
                "after": None if two is None else two.shown, "after_level": "clean" if two is None else two.level,
            }
        )  # fmt: skip
    moved = np.sqrt((planted.ankle_change**2).sum(axis=-1))
    return {
        "kinds": kinds,
        "changed": list(planted.changed),
        "keys": {
            "before": sum(k.before for k in planted.keys),
            "after": sum(k.after for k in planted.keys),
            "every_frame": sum(k.every_frame for k in planted.keys),
        },
        "ankle_mm": [float(1e3 * np.sqrt((moved[:, foot] ** 2).mean())) for foot in (0, 1)],
        "worst": after.worst,
    }
