"""Tables for a terminal: rich where a person reads, plain text where a pipe does."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import numpy as np

from surefoot.checking import Report
from surefoot.clip import Clip
from surefoot.findings import Finding
from surefoot.planting import Planted
from surefoot.tolerances import KINDS

__all__ = ["print_comparison", "print_findings"]

Rows = Sequence[Sequence[str]]


def print_findings(clip: Clip, report: Report) -> None:
    """Print every finding of a clip, then what was seen."""
    if report.findings:
        _table(("finding", "where", "frames", "worst", "amount", "limit", "level"), [_row(f) for f in report.findings])
        for kind in dict.fromkeys(f.kind for f in report.findings):
            print(f"{kind}: {next(f.advice for f in report.findings if f.kind == kind)}")
    print(_seen(clip, report))
    print(f"worst: {report.worst}" if report.findings else "clean: nothing beyond tolerance")


def print_comparison(clip: Clip, planted: Planted, before: Report, after: Report, written: Sequence[str]) -> None:
    """Print what was found before and after, and what was changed."""
    rows = [(kind, _worst(before, kind), _worst(after, kind)) for kind in KINDS]
    _table(("finding", "before", "after"), rows)
    print(_seen(clip, after))
    change = np.linalg.norm(planted.ankle_change, axis=-1)
    feet = ", ".join(
        f"{name} foot rms {1e3 * float(np.sqrt((change[:, i] ** 2).mean())):.1f} mm, most {1e3 * float(change[:, i].max()):.1f} mm"
        for i, name in enumerate(("left", "right"))
    )
    count = len(planted.changed)
    print(f"ankles moved: {feet}")
    print(
        f"channels written: {count} of {len(clip.channels)}; the others are untouched" if count else "nothing changed"
    )
    for path in written:
        print(f"written: {path}")
    if not written:
        print("nothing written; name a file with -o to keep the result")


def _row(f: Finding) -> tuple[str, ...]:
    where = " ".join(part for part in (f.foot, f.part) if part) or "-"
    frames = f"{f.first}" if f.first == f.last else f"{f.first}-{f.last}"
    return (
        f.kind,
        where,
        frames,
        f"{f.worst:g}",
        _amount(f.shown, f.unit),
        _amount(f.shown_tolerance, f.unit),
        f.level,
    )


def _amount(value: float, unit: str) -> str:
    digits = 1 if abs(value) < 100 else 0
    return f"{value:.{digits}f} {unit}"


def _worst(report: Report, kind: str) -> str:
    mine = [f for f in report.findings if f.kind == kind]
    if not mine:
        return "-"
    most = max(mine, key=lambda f: f.amount)
    where = " ".join(part for part in (most.foot, most.part) if part)
    return f"{most.level}: {len(mine)}, worst {_amount(most.shown, most.unit)} ({where}, frame {most.worst:g})"


def _seen(clip: Clip, report: Report) -> str:
    spans = {
        foot: ", ".join(
            f"{s.first}-{s.last}" + (" (left alone)" if s.left_alone else "") for s in report.stances if s.foot == foot
        )
        for foot in ("left", "right")
    }
    x, y, z = report.belt.velocity.tolist()
    belt = "still" if report.belt.is_still else f"{report.belt.speed:.3f} m/s ({x:.3f}, {y:.3f}, {z:.3f})"
    loop = ", a loop" if clip.loop else ""
    return (
        f"{clip.name or 'clip'}: frames {clip.first} to {clip.last} at {float(clip.rate):g} a second{loop}; ground {belt}\n"
        f"stances: left {spans['left'] or 'none'}; right {spans['right'] or 'none'}"
    )


def _table(head: Sequence[str], rows: Rows) -> None:
    if sys.stdout.isatty():
        try:
            from rich.console import Console
            from rich.table import Table
        except ImportError:
            pass
        else:
            table = Table(*head, box=None, header_style="bold", pad_edge=False)
            for row in rows:
                table.add_row(*row)
            Console().print(table)
            return
    widths = [max(len(str(row[i])) for row in (head, *rows)) for i in range(len(head))]
    for row in (head, *rows):
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
