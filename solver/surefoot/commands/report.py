"""``surefoot report``: pictures, findings, proposals and a figure to scrub, in one HTML file."""

from __future__ import annotations

import argparse

from surefoot.commands.arguments import add_clip_options

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "Write a report to send to a colleague: one HTML file that needs nothing else."
EXAMPLE = "surefoot report walk.json -o report.html"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_clip_options(parser)
    parser.add_argument(
        "-o", "--output", metavar="FILE", required=True, help="where the report goes, such as report.html"
    )
    parser.add_argument("--before", metavar="CLIP", help="the clip before a change; the clip isn't planted then")
    parser.add_argument("--as-is", action="store_true", help="tell of the clip as it is, and not of it planted too")
    told = "whose curves are drawn, such as left_foot.y,hips.y; left out, what was changed"
    parser.add_argument("--channels", metavar="CHANNELS", help=told)


def run(options: argparse.Namespace) -> int:
    """Write the report; 0 where the clip that it ends with has nothing beyond a note."""
    from surefoot.commands.as_json import cautions_json, print_json, report_json
    from surefoot.commands.compared import read_compared
    from surefoot.errors import InputError
    from surefoot.pictures.report import report_of
    from surefoot.save import save_bytes

    if options.as_is and options.before is not None:
        raise InputError("with --before there is nothing to plant; leave --as-is out", place="--as-is")
    options.planted = not options.as_is and options.before is None
    channels = None if options.channels is None else tuple(options.channels.split(","))
    now, before = read_compared(options)
    save_bytes(report_of(now, before=before, channels=channels).encode(), options.output)
    if options.json:
        first = {} if before is None else {"before": report_json(before.report)}
        print_json(
            {
                "clip": now.clip.name,
                **first,
                "after": report_json(now.report),
                "written": options.output,
                **cautions_json(now.scene.ground, gait=True),
            }
        )
    else:
        print(
            f"worst before: {before.report.worst}, after: {now.report.worst}"
            if before
            else f"worst: {now.report.worst}"
        )
        print(f"written: {options.output}")
    return 0 if now.report.is_clean else 1
