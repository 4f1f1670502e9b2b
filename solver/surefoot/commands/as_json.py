"""What the commands print with ``--json``: the same figures as the tables, unrounded."""

from __future__ import annotations

import sys
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.cautions import BUILT_GROUNDS, FOR_ANIMATION
from surefoot.checking import Report
from surefoot.clip import Clip
from surefoot.errors import plain_name
from surefoot.ground import Ground
from surefoot.laying import Laid
from surefoot.locks import HOLDS, PARTS, Lock
from surefoot.planting import Planted
from surefoot.proposals import Proposal

__all__ = [
    "aboard_json",
    "cautions_json",
    "comparison_json",
    "laid_json",
    "lock_json",
    "print_json",
    "proposal_json",
    "report_json",
]


def report_json(report: Report) -> dict[str, Any]:
    """Return what a check found: belt, stances, findings with their amounts in the units shown."""
    return {
        "worst": report.worst,
        "belt": {"velocity": report.belt.velocity.tolist(), "turn": report.belt.turn, "unit": "m/s, rad/s"},
        "stances": [
            {"foot": s.foot, "first": s.first, "last": s.last, "left_alone": s.left_alone} for s in report.stances
        ],
        "findings": [
            {
                "kind": f.kind, "foot": f.foot, "part": f.part, "first": f.first, "last": f.last, "worst": f.worst,
                "amount": f.shown, "unit": f.unit, "tolerance": f.shown_tolerance, "level": f.level,
                "advice": f.advice,
            }
            for f in report.findings
        ],
    }  # fmt: skip


def proposal_json(way: Proposal) -> dict[str, Any]:
    """Return one way to mend a finding: channels, amounts, cost, what it leaves and makes worse."""
    finding = way.finding
    return {
        "mends": {"kind": finding.kind, "foot": finding.foot, "part": finding.part, "first": finding.first,
                  "last": finding.last},
        "way": way.way,
        "default": way.default,
        "asks": way.asks,
        "frames": way.frames.tolist(),
        "channels": [
            {"channel": name, "unit": "deg" if turns else "mm", "amounts": amounts.tolist()}
            for name, turns, amounts in zip(way.channels, way.angles, way.shown, strict=True)
        ],
        "cost": way.cost,
        "leaves": {"amount": way.shown_left, "unit": finding.unit},
        "worse": [
            {"kind": w.kind, "foot": w.foot, "before": w.shown_before, "after": w.shown, "unit": w.unit}
            for w in way.worse
        ],
    }  # fmt: skip


def comparison_json(clip: Clip, planted: Planted, before: Report, after: Report, written: list[str]) -> dict[str, Any]:
    """Return what a plant changed, and what was found before and after it."""
    return {
        "clip": clip.name,
        "changed": list(planted.changed),
        "keys": [
            {"channel": k.channel, "before": k.before, "after": k.after, "every_frame": k.every_frame, "worst": k.worst}
            for k in planted.keys
        ],
        "footprints": [
            {
                "foot": p.stance.foot, "first": p.stance.first, "last": p.stance.last,
                "place": list(p.place), "yaw": p.yaw, "unit": "m, rad",
            }
            for p in planted.footprints
        ],
        "before": report_json(before),
        "after": report_json(after),
        "written": written,
    }  # fmt: skip


def cautions_json(ground: Ground | None = None, *, gait: bool = False) -> dict[str, list[str]]:
    """Return what figures of gait and grounds that look like built ones are not for."""
    told = [f"figures of gait are {FOR_ANIMATION}"] if gait else []
    if ground is not None and ground.for_pictures:
        told.append(BUILT_GROUNDS)
    return {"cautions": told}


def aboard_json(deck: str) -> dict[str, str]:
    """Return the deck that the feet stand on, by its name, where there is one."""
    return {"aboard": deck} if deck else {}


def print_json(table: dict[str, Any]) -> None:
    """Print a table as indented JSON, numbers unrounded."""
    if isinstance(table.get("written"), list):
        table = table | {"written": [plain_name(str(path)) for path in table["written"]]}
    sys.stdout.write(msgspec.json.format(msgspec.json.encode(table), indent=2).decode() + "\n")


def laid_json(laid: Laid, report: Report) -> dict[str, Any]:
    """Return where a laid clip's footprints went, how planted feet turn, and what its hips should be raised by."""
    return {
        "steps": [
            {
                "foot": "right" if s.foot else "left", "first": s.frames[0], "last": s.frames[1], "along": s.at,
                "own": s.own, "aside": s.aside, "level": s.level, "supported": s.share, "unit": "m",
            }
            for s in laid.steps
        ],
        "swivel": {"most": report.swivel, "limit": report.tolerances["swivel"][1], "unit": "rad"},
        "hips": {"raise": laid.raised.tolist(), "unit": "m", "applied": laid.applied},
    }  # fmt: skip


def lock_json(lock: Lock) -> dict[str, Any]:
    """Return how one stance holds, with a list a figure, an entry a frame of ``frames``; null where there's none.

    Places are ``[x, y, z]`` in the ground's space, or the deck's; ``points``, ``anchors`` and ``clearance`` list heel,
    ball and toe as ``parts`` does; ``held`` says which of them, or the flat sole, holds the foot, ``held_at`` where.
    """
    stance = lock.stance
    return {
        "foot": stance.foot, "first": stance.first, "last": stance.last, "left_alone": stance.left_alone,
        "unit": "m, rad", "parts": list(PARTS),
        "anchors": lock.anchors.tolist(), "anchored": stance.first + lock.flattest, "heading": lock.heading,
        "drift": dict(zip(("along", "across"), lock.drift, strict=True)), "swivel": lock.swivel,
        "ankle": [float(end) for end in lock.flexion],
        "frames": list(range(stance.first, stance.last + 1)),
        "points": lock.points.tolist(),
        "held": [HOLDS[which] for which in lock.held.tolist()], "held_at": lock.held_at.tolist(),
        "along": lock.along.tolist(), "across": lock.across.tolist(), "clearance": lock.clearance.tolist(),
        "turned": _known(lock.turned), "supported": _known(lock.supported),
        "slope": lock.slope.tolist(), "beyond_ankle": lock.beyond_ankle.tolist(),
    }  # fmt: skip


def _known(values: NDArray[np.float64]) -> list[float | None]:
    """Return figures as a list, None for those that aren't known."""
    return [None if value != value else value for value in values.tolist()]
