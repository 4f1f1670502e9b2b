"""The report: one HTML file with pictures, findings, proposals and a figure to scrub, complete in itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from pathlib import Path

from surefoot.belt import Belt
from surefoot.cautions import FOR_ANIMATION, FOR_PICTURES
from surefoot.checking import Triple
from surefoot.clip import Clip, Stance
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.pictures.ink import defs_of, style_of, variables
from surefoot.pictures.listings import finding_rows, kinds_table, proposals_table
from surefoot.pictures.scrubbed import figure_json
from surefoot.pictures.sheet import KINDS_OF_PICTURE, pictures_of
from surefoot.pictures.subject import Subject
from surefoot.proposals import propose
from surefoot.rig import Rig

__all__ = ["html_report", "report_of"]

POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
"""What the page may do: show itself. Nothing is fetched from anywhere."""


@checked()
def html_report(
    clip: Clip,
    rig: Rig,
    *,
    before: Clip | None = None,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
    tolerances: Mapping[str, Triple] | None = None,
    landing: float | None = None,
    channels: Sequence[str] | None = None,
) -> str:
    """Return a report on a clip as the text of one HTML file, to send to a colleague.

    It fetches nothing, and works without a network. Proposals are those for ``before`` where there is
    one, for the findings that the clip has mended, else for the clip itself.

    Parameters
    ----------
    before : Clip, optional
        The same clip before a change, such as before it was planted.
    ground, belt, stances, tolerances, landing : as for `surefoot.check`
    channels : sequence of str, optional
        Which channels' curves are drawn; else those that differ from ``before``.

    Raises
    ------
    InputError, UnknownName
        If the clip, rig and ground don't belong together, or a channel isn't known.
    """
    now = Subject.of(
        clip, rig, ground=ground, belt=belt, stances=stances, tolerances=tolerances, landing=landing
    )  # fmt: skip
    then = None
    if before is not None:
        then = Subject.of(before, rig, ground=ground, belt=now.report.belt, tolerances=tolerances, landing=landing)
    return report_of(now, before=then, channels=channels)


def report_of(now: Subject, *, before: Subject | None = None, channels: Sequence[str] | None = None) -> str:
    """Return the report on what has been worked out already."""
    then, judged = before, before or now
    ways = propose(judged.clip, judged.rig, ground=judged.seen.ground, landing=judged.landing, report=judged.report)
    pictures = [pictures_of(now, before=then, kinds=[kind], channels=channels) for kind in KINDS_OF_PICTURE]
    parts = {
        "title": f"Feet of {now.name}",
        "setting": now.setting,
        "verdict": _verdict(then, now),
        "kinds": kinds_table(None if then is None else then.report, now.report),
        "findings": ("" if then is None else finding_rows(then.report, "Findings before"))
        + finding_rows(now.report, "Findings" if then is None else "Findings after"),
        "proposals": proposals_table(ways),
        "pictures": "".join(
            f'<div class="picture" tabindex="0" role="region" aria-label="{escape(picture.title)}">'
            f"{picture.inline()}</div>\n"
            for picture in pictures
        ),
        "figure": figure_json(now, then),
        "compare": "" if then is None else '<label><input type="checkbox" id="before" checked> show before</label>',
    }
    return _page(parts)


def _verdict(before: Subject | None, now: Subject) -> str:
    worst = now.report.worst
    return worst if before is None else f"{before.report.worst} before, {worst} after"


def _read(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _page(parts: Mapping[str, str]) -> str:
    title, setting, verdict = (escape(parts[name]) for name in ("title", "setting", "verdict"))
    views = "".join(
        f'<figure><canvas id="{view}" width="10" height="10" role="img" aria-label="the figure {words}"></canvas>'
        f"<figcaption>{words}</figcaption></figure>"
        for view, words in (("side", "from the side"), ("front", "from ahead"), ("above", "from above"))
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<title>{title}</title>
<style>
{variables()}{_read("report.css")}{style_of("auto")}</style>
</head>
<body>
<svg class="sf-auto defs" width="0" height="0" aria-hidden="true">{defs_of("auto")}</svg>
<header><h1>{title}</h1><p>{setting}</p><p>Worst: {verdict}</p></header>
<main>
<section aria-labelledby="figure-head"><h2 id="figure-head">The figure, frame by frame</h2>
<div class="views">{views}</div>
<div class="controls">
<button type="button" id="back" aria-label="one frame back">‹</button>
<button type="button" id="play" aria-pressed="false">play</button>
<button type="button" id="on" aria-label="one frame on">›</button>
<label for="frame">frame</label><input type="range" id="frame" min="0" max="0" step="1" value="0">
<output id="now" for="frame"></output>
{parts["compare"]}
</div>
<p class="soft">Full: left; broken and open: right, nearer from the side. Faint: before. Arrow keys step while the
slider has the focus; a button in the tables below goes to a finding's worst frame.</p>
</section>
<section><h2>Findings</h2>
{parts["kinds"]}{parts["findings"]}</section>
<section><h2>Pictures</h2>
{parts["pictures"]}</section>
<section><h2>Proposals</h2>
{parts["proposals"]}</section>
</main>
<footer><p>Figures of gait are {FOR_ANIMATION}; grounds are {FOR_PICTURES}.
Colours after Okabe and Ito 2008.</p></footer>
<script type="application/json" id="figure-data">{parts["figure"]}</script>
<script type="module">
{_read("report.js")}</script>
</body>
</html>
"""
