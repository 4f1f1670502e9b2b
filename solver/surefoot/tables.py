"""Tables for a terminal: rich where a person reads, plain text where a pipe does."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from surefoot.cautions import BUILT_GROUNDS
from surefoot.checking import Report
from surefoot.choice import MENDED
from surefoot.clip import Clip
from surefoot.curves import Pack
from surefoot.findings import LEVELS, Finding
from surefoot.oppose import Drag
from surefoot.planting import Planted
from surefoot.printed import amount_of, fitted, wrapped, written_line
from surefoot.proposals import Proposal
from surefoot.rig import FEET
from surefoot.tolerances import KINDS
from surefoot.units import rounded

__all__ = [
    "Seen",
    "print_comparison",
    "print_drags",
    "print_edit",
    "print_findings",
    "print_let",
    "print_proposals",
    "print_table",
]

Rows = Sequence[Sequence[str]]
HEAD = ("finding", "where", "frames", "worst at", "amount", "beyond", "level")
WAYS = ("mends", "where", "frames", "way", "most", "cost", "leaves", "makes worse")
RIGHT = ("worst at", "amount", "beyond", "cost", "leaves")
"""Columns of figures, which end flush."""


class Seen(NamedTuple):
    """What was stated or worked out from the clip: belt and stances; and the ground."""

    belt_stated: bool
    stances_stated: bool
    ground: str = ""
    """The name of a ground that was asked for."""
    for_pictures: bool = False
    """Whether that is stairs, a ramp or the like, which nobody should build from."""
    deck: str = ""
    """The name of the deck that the feet stand on; ground, belt and findings are its own."""


def print_findings(clip: Clip, report: Report, *, seen: Seen) -> None:
    """Print every finding of a clip, what would mend it, and what was taken for granted."""
    if report.findings:
        _print_rows(report.findings)
    _print_seen(clip, report, seen)
    print(_verdict(report))


def print_comparison(
    clip: Clip,
    planted: Planted,
    before: Report,
    after: Report,
    written: Mapping[str, Clip] | None,
    knees: Sequence[float],
    *,
    seen: Seen,
) -> None:
    """Print what was found before and after, what is left, and what was changed and written.

    ``knees`` are the largest turns of each knee's direction, degrees. ``written`` None says nothing of files.
    """
    _print_kinds(before, after)
    left = [f for f in after.findings if f.level != "note"]
    if left:
        print("\nleft over:")
        _print_rows(left)
    _print_seen(clip, after, seen)
    change = 1e3 * np.linalg.norm(planted.ankle_change, axis=-1)
    moved = (
        f"{foot} {float(np.sqrt((change[:, i] ** 2).mean())):.1f} mm rms, {float(change[:, i].max()):.1f} mm at most"
        for i, foot in enumerate(FEET)
    )
    print(f"ankles moved: {'; '.join(moved)}")
    turns = (f"{foot} {amount_of(f'{turn:.1f}', 'deg')} at most" for foot, turn in zip(FEET, knees, strict=True))
    print(f"knees turned about their legs: {'; '.join(turns)}")
    count = len(planted.changed)
    if count:
        print(f"channels written: {count} of {len(clip.channels)}; the others are untouched")
    else:
        print("no channel was changed" if any(f.kind in MENDED for f in left) else "the feet needed nothing")
    if planted.keys:
        print(_keys(planted))
    print(_verdict(after))
    if written is None:
        return
    for path, made in written.items():
        replaced = made.extra.get("replaced", ())
        tail = f" (replace, don't add: {', '.join(replaced)})" if replaced else ""
        print(f"{written_line(path)}{tail}")
    if not written:
        print("nothing written; name a file with -o to keep the result")


def _print_kinds(before: Report, after: Report) -> None:
    told = [kind for kind in after.tolerances if not KINDS[kind].seldom or before.most(kind) or after.most(kind)]
    rows = [(kind, *_worst(before, kind), *_worst(after, kind)) for kind in told]
    _table(("finding", "before", "worst", "after", "worst"), rows)


def print_edit(
    made: Clip,
    before: Report,
    after: Report,
    *,
    edited: Sequence[str],
    removed: Sequence[str],
    planted: Planted | None,
    written: Sequence[str],
    seen: Seen,
) -> None:
    """Print what an edit changed, what was found before and after it, and what was written."""
    _print_kinds(before, after)
    left = [f for f in after.findings if f.level != "note"]
    if left:
        print("\nleft over:")
        _print_rows(left)
    _print_seen(made, after, seen._replace(belt_stated=True, stances_stated=made.stances is not None))
    print(wrapped(f"edited: {', '.join(map(_plain, edited)) or 'nothing'}"))
    if removed:
        print(wrapped(f"removed: {', '.join(map(_plain, removed))}"))
    if planted is None:
        print("not planted")
    else:
        print(wrapped(f"planted: {', '.join(map(_plain, planted.changed)) or 'nothing needed it'}"))
    print(_verdict(after))
    for path in written:
        print(written_line(path))
    if not written:
        print("nothing written; name a file with -o to keep the result")


def print_drags(lags: Sequence[Drag]) -> None:
    """Print by how many frames each part of a chain comes after the one above it."""
    told = [f"{_plain(d.channel)} {d.lag:+.1f} after {_plain(d.after)}" for d in lags]
    print(wrapped(f"drag, frames: {', '.join(told) or 'nothing in a chain moves'}"))


def print_let(before: Clip, after: Clip, let: Sequence[str], height: str) -> None:
    """Print by how much the hips' ``height`` changed where it was let, in the clip's own unit; no other ever is."""
    frames = np.arange(after.first, after.last + 1, dtype=np.float64)
    for name in let:
        if name != height:
            print(f"{_plain(name)}: let in vain; only {_plain(height) or 'the height of hips'} is ever lowered")
            continue
        one, two = (Pack.from_curves([clip.channels[name]]).evaluate(frames)[0] for clip in (before, after))
        change = two - one
        most = int(np.abs(change).argmax())
        told = f"changed by {change[most]:+.3g} at most (frame {frames[most]:g}), as it was let"
        print(f"{_plain(name)}: {told if change[most] else 'let, and left alone'}")


def _keys(planted: Planted) -> str:
    before, after, every = (sum(getattr(k, part) for k in planted.keys) for part in ("before", "after", "every_frame"))
    told = f"keys in them: {before} before, {after} now; one on every frame would be {every}"
    worst = max(planted.keys, key=lambda k: k.worst)
    if worst.worst <= 1.0:
        return told
    return f"{told}\n{worst.channel} has too few keys: it's off what was planted by {worst.worst:.1f} times what it may"


def print_proposals(ways: Sequence[Proposal]) -> None:
    """Print the ways to mend each finding, the one that is taken unless another is chosen marked with a star."""
    if not ways:
        print("\nno proposals")
        return
    rows = []
    for way in ways:
        f = way.finding
        asks = f" (asks for {way.asks})" if way.asks else ""
        worse = ", ".join(
            f"{w.foot} {w.kind} {_amount(w.shown, w.unit)} (was {_amount(w.shown_before, w.unit)})"
            for w in way.worse
            if _amount(w.shown, w.unit) != _amount(w.shown_before, w.unit)
        )
        rows.append((f.kind, _where(f) or "-", _span(f.first, f.last), f"{'*' if way.default else ' '} {way.way}{asks}",
                     _most(way), f"{way.cost:.2f}", _amount(way.shown_left, f.unit), worse or "-"))  # fmt: skip
    print("\nways to mend, cheapest first (*: taken unless another is chosen):")
    _table(WAYS, rows)
    print("cost: 1 cm for a leg of 0.9 m counts 1, and so do 10 degrees")


def _most(way: Proposal) -> str:
    """Return the largest amount of each channel, with its sign."""
    told = []
    for name, turns, amounts in zip(way.channels, way.angles, way.shown, strict=True):
        most = float(amounts[np.abs(amounts).argmax()])
        told.append(f"{_plain(name)} {amount_of(f'{most:+.1f}', 'deg' if turns else 'mm')}")
    return ", ".join(told)


def _print_rows(findings: Sequence[Finding]) -> None:
    _table(HEAD, [_row(f) for f in findings])
    print()
    for kind in dict.fromkeys(f.kind for f in findings):
        print(f"{kind}: {next(f.advice for f in findings if f.kind == kind)}")


def _row(f: Finding) -> tuple[str, ...]:
    frames = _span(f.first, f.last)
    amounts = (_amount(f.shown, f.unit), _amount(f.shown_tolerance, f.unit))
    return (f.kind, _where(f) or "-", frames, f"{f.worst:g}", *amounts, f.level)


def _span(first: int, last: int) -> str:
    if first == last:
        return f"{first}"
    return f"{first}-{last}" if first >= 0 else f"{first} to {last}"


def _where(f: Finding) -> str:
    return " ".join(_plain(part) for part in (f.foot, f.part) if part)


def _amount(value: float, unit: str) -> str:
    return amount_of(rounded(value), unit)


def _worst(report: Report, kind: str) -> tuple[str, str]:
    """Return how grave and how many a kind's findings are, and the worst of them."""
    mine = [f for f in report.findings if f.kind == kind]
    if not mine:
        return "-", ""
    most = report.most(kind) or mine[0]
    where = ", ".join(part for part in (_where(most), f"frame {most.worst:g}") if part)
    return f"{most.level}: {len(mine)}", f"{_amount(most.shown, most.unit)} ({where})"


def _verdict(report: Report) -> str:
    counts = [(level, sum(f.level == level for f in report.findings)) for level in reversed(LEVELS)]
    told = ", ".join(f"{count} {level}{'s' if count > 1 else ''}" for level, count in counts if count)
    return told or "clean: nothing beyond tolerance"


def _print_seen(clip: Clip, report: Report, seen: Seen) -> None:
    stances = {
        foot: ", ".join(
            _span(s.first, s.last) + (" (left alone)" if s.left_alone else "") for s in report.stances if s.foot == foot
        )
        for foot in FEET
    }
    loop = ", a loop" if clip.loop else ""
    name = _plain(clip.name) or "clip"
    print(f"\n{name}: frames {clip.first} to {clip.last} at {float(clip.rate):g} a second{loop}")
    if seen.deck:
        print(f"aboard: {_plain(seen.deck)}, whose ground and findings these are")
    ground = f"{_plain(seen.ground)}, " if seen.ground else ""
    print(f"ground: {ground}{_ground(report)}{'' if seen.belt_stated else ' (estimated)'}")
    if seen.for_pictures:
        print(BUILT_GROUNDS)
    found = "" if seen.stances_stated else " (found)"
    told = "; ".join(f"{foot} {spans or 'none'}" for foot, spans in stances.items())
    print(wrapped(f"stances{found}: {told}"))
    beyond = any(s.last > clip.last for s in report.stances) or any(f.last > clip.last for f in report.findings)
    if clip.loop and beyond:
        print(f"frames beyond {clip.last} are the next round: {clip.last + 1} is {clip.first} again")


def _ground(report: Report) -> str:
    belt = report.belt
    if belt.is_still:
        return "still"
    x, y, z = (round(v, 3) + 0.0 for v in belt.velocity.tolist())
    told = f"moves at {belt.speed:.3f} m/s"
    if x == y == 0.0:
        told += f" towards {'+Z' if z > 0.0 else '-Z'}"
    else:
        told += f" ({x:g}, {y:g}, {z:g})"
    return told if belt.turn == 0.0 else f"{told}, turning {np.degrees(belt.turn):.2f} degrees a second"


def _plain(text: str) -> str:
    """Return a name without what would steer a terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)


def print_table(head: Sequence[str], rows: Rows) -> None:
    """Print rows of text under a head."""
    _table(head, rows)


def _table(head: Sequence[str], rows: Rows) -> None:
    right = [name in RIGHT for name in head]
    if sys.stdout.isatty():
        try:
            from rich.console import Console
            from rich.table import Table
            from rich.text import Text
        except ImportError:
            pass
        else:
            table = Table(box=None, header_style="bold", pad_edge=False)
            for name, flush in zip(head, right, strict=True):
                table.add_column(name, justify="right" if flush else "left")
            for row in rows:
                table.add_row(*(Text(cell) for cell in row))
            Console().print(table)
            return
    print("\n".join(fitted(head, rows, right)))
