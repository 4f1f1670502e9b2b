"""Listings for the report: findings before and after, proposals, as HTML tables. Texts go in as text."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from surefoot.checking import Report
from surefoot.findings import Finding
from surefoot.pictures.subject import told_amount, told_number
from surefoot.proposals import Proposal
from surefoot.units import measured

__all__ = ["finding_rows", "kinds_table", "proposals_table"]


def _row(cells: Sequence[str], tag: str = "td") -> str:
    return "<tr>" + "".join(f"<{tag}>{cell}</{tag}>" for cell in cells) + "</tr>"


def _table(caption: str, head: Sequence[str], rows: Sequence[str], *, kind: str = "") -> str:
    heads = "".join(f'<th scope="col">{escape(word)}</th>' for word in head)
    body, own = "\n".join(rows), f' class="{kind}"' if kind else ""
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f"<table{own}><caption>{escape(caption)}</caption><thead><tr>{heads}</tr></thead>\n"
        f"<tbody>\n{body}\n</tbody></table></div>\n"
    )


def _where(finding: Finding) -> str:
    return escape(" ".join(word for word in (finding.foot, finding.part) if word))


def _span(finding: Finding) -> str:
    return f"{finding.first}" if finding.first == finding.last else f"{finding.first} to {finding.last}"


def _worst(report: Report, kind: str) -> str:
    mine = [f for f in report.findings if f.kind == kind]
    if not mine:
        return "–"
    most = report.most(kind) or mine[0]
    where = escape(f"{most.foot} {most.part}".strip())
    return f"{len(mine)}, worst {told_amount(most)} ({where}, frame {most.worst:g}): {most.level}"


def kinds_table(before: Report | None, after: Report) -> str:
    """Return the table of every kind of finding, before and after, or as it is."""
    if before is None:
        rows = [_row((kind, _worst(after, kind))) for kind in after.tolerances]
        return _table("Findings by kind", ("finding", "as it is"), rows)
    rows = [_row((kind, _worst(before, kind), _worst(after, kind))) for kind in after.tolerances]
    return _table("Findings by kind", ("finding", "before", "after"), rows)


def finding_rows(report: Report, caption: str) -> str:
    """Return the table of every finding; a button shows its worst frame in the figure."""
    if not report.findings:
        return f"<p>{escape(caption)}: none.</p>\n"
    rows = []
    for f in report.findings:
        seek = f'<button type="button" data-frame="{f.worst:g}">frame {f.worst:g}</button>'
        rows.append(_row((escape(f.kind), _where(f), _span(f), seek, told_amount(f),
                          told_number(f.shown_tolerance, f.unit), escape(f.level), escape(f.advice))))  # fmt: skip
    head = ("finding", "where", "frames", "worst at", "amount", "beyond", "level", "what would mend it")
    return _table(caption, head, rows, kind="findings")


def proposals_table(ways: Sequence[Proposal]) -> str:
    """Return the table of the ways to mend, as `propose` gives them."""
    if not ways:
        return "<p>No proposals.</p>\n"
    rows = [_row(_told(way)) for way in ways]
    head = ("mends", "way", "most", "cost", "leaves", "makes worse")
    caption = "Ways to mend, cheapest first. Cost: 1 cm for a leg of 0.9 m counts 1, and so do 10 degrees"
    return _table(caption, head, rows)


def _told(way: Proposal) -> tuple[str, ...]:
    """Return a proposal's cells."""
    f = way.finding
    most = []
    for name, turns, amounts in zip(way.channels, way.angles, way.shown, strict=True):
        largest = float(amounts[np.abs(amounts).argmax()])
        told = f"{escape(name)} {measured(f'{largest:+.1f}', 'deg' if turns else 'mm')}".replace("-", "−")
        most.append(f'<span class="whole">{told}</span>')
    worse = [
        f'<span class="whole">{escape(w.foot)} {w.kind} {told_number(w.shown, w.unit)} '
        f"(was {told_number(w.shown_before, w.unit)})</span>"
        for w in way.worse
        if told_number(w.shown, w.unit) != told_number(w.shown_before, w.unit)
    ]
    asks = f", asks for {escape(way.asks)}" if way.asks else ""
    taken = " <strong>(taken)</strong>" if way.default else ""
    return (
        f'<span class="whole">{escape(f.kind)} {_where(f)},</span> <span class="whole">frames {_span(f)}</span>',
        escape(way.way) + asks + taken,
        "<br>".join(most),
        f"{way.cost:.2f}",
        f'<span class="whole">{told_number(way.shown_left, f.unit)}</span>',
        "<br>".join(worse) or "–",
    )
