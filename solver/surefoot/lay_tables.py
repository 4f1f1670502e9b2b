"""What the command line shows of a cycle that was laid over its ground, and of how its stances hold."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surefoot.checking import Report
from surefoot.laying import Laid
from surefoot.locks import Lock
from surefoot.printed import amount_of
from surefoot.tables import print_table

__all__ = ["print_laid", "print_locks"]


def print_laid(laid: Laid, report: Report) -> None:
    """Print how far a laid clip goes, how its steps were fitted, how planted feet turn, and what its hips need."""
    own = np.diff([step.own for step in laid.steps])
    new = np.diff([step.at for step in laid.steps])
    count = len(laid.steps)
    if len(own):
        share = new / np.where(np.abs(own) > 1e-9, own, 1.0)
        print(f"laid out: {count} footprints; steps {share.min():.2f} to {share.max():.2f} of their own length; "
              f"least supported {100.0 * min(step.share for step in laid.steps):.0f} %")  # fmt: skip
    warned, turned = np.degrees(report.tolerances["swivel"][1]), np.degrees(report.swivel)
    most, limit = amount_of(f"{turned:.1f}", "deg"), amount_of(f"{warned:.0f}", "deg")
    print(f"planted feet turn on the ball by {most} at most (a warning beyond {limit})")
    low, high = 1e3 * laid.raised.min(), 1e3 * laid.raised.max()
    told = "applied" if laid.applied else "a proposal; --let hips.y applies it"
    if high < 0.5:
        print(f"hips lowered by {abs(high):.0f} to {abs(low):.0f} mm ({told})")
    else:
        print(f"hips raised by {low:.0f} to {high:.0f} mm ({told})")


def print_locks(locks: Sequence[Lock]) -> None:
    """Print how each stance holds, a row each."""
    rows = []
    for lock in locks:
        along, across = lock.drift
        low, high = 1e3 * lock.clearance.min(axis=0), 1e3 * lock.clearance.max(axis=0)
        x, y, z = lock.anchor
        steepest = round(float(np.degrees(lock.slope[np.abs(lock.slope).argmax()])), 1) + 0.0
        share = lock.least_supported
        rows.append((
            lock.stance.foot, f"{lock.stance.first}-{lock.stance.last}", f"{x:.3f}, {y:.3f}, {z:.3f} m",
            f"{1e3 * along:.2f} mm", f"{1e3 * across:.2f} mm", amount_of(f"{np.degrees(lock.swivel):.1f}", "deg"),
            *(f"{a:.1f} to {b:.1f} mm" for a, b in zip(low, high, strict=True)),
            "-" if np.isnan(share) else f"{100.0 * share:.0f} %",
            amount_of(f"{steepest:.1f}", "deg") + ("" if lock.within_ankle else ", beyond the ankle"),
        ))  # fmt: skip
    head = ("foot", "frames", "ball at", "along", "across", "swivel", "heel", "ball", "toe", "supported", "slope")
    print()
    print_table(head, rows)
