"""``surefoot check``: what is wrong with the feet, in which frames and by how much."""

from __future__ import annotations

import argparse

from surefoot.commands.arguments import add_clip_options, add_deck_option

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "Say what is wrong with the feet of a clip, in which frames and by how much."
EXAMPLE = "surefoot check ferry --aboard ferry"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_clip_options(parser)
    add_deck_option(parser)
    told = "list the ways to mend each finding, cheapest first: amounts, cost, what each leaves and harms"
    parser.add_argument("--propose", action="store_true", help=told)
    told = (
        "list how each stance holds: anchor, drift along and across, clearances, supported share, slope against the "
        "ankle's range; with --json frame by frame too (metres and radians, an entry for each of `frames`): `points`, "
        "heel, ball and toe in the ground's or the deck's space, `held` by which of them or flat, `held_at` where, ..."
    )
    parser.add_argument("--locks", action="store_true", help=told)
    told = "the pose stands still: its centre of mass must lie over its feet"
    parser.add_argument("--still", action="store_true", help=told)


def run(options: argparse.Namespace) -> int:
    """Check the clip and print what is found; 0 where there is nothing beyond a note."""
    from dataclasses import replace

    from surefoot.commands.as_json import aboard_json, cautions_json, lock_json, print_json, proposal_json, report_json
    from surefoot.commands.job import SeveralPairs, read_job, told_of
    from surefoot.lay_tables import print_locks
    from surefoot.oppose import drags
    from surefoot.proposals import propose
    from surefoot.tables import print_drags, print_findings, print_proposals

    try:
        job = read_job(options)
    except SeveralPairs as several:
        from surefoot.commands.pairwise import check_in_pairs

        return check_in_pairs(options, several)
    if options.still:
        job = replace(job, clip=replace(job.clip, extra={**job.clip.extra, "still": True}))
    with told_of(job.path):
        report = job.judge(job.clip, job.belt)
        ways = (
            propose(job.clip, job.rig, ground=job.ground, landing=job.landing, report=report)
            if options.propose
            else None
        )
    asked = "oppose" in job.also
    lags = drags(job.clip, job.rig) if asked else ()
    if options.json:
        later = [{"channel": d.channel, "after": d.after, "lag": d.lag, "unit": "frames"} for d in lags]
        listed = {} if not asked else {"drag": later}
        listed |= {} if ways is None else {"proposals": [proposal_json(way) for way in ways]}
        listed |= {"locks": [lock_json(lock) for lock in report.locks()]} if options.locks else {}
        deck = aboard_json(job.deck_name)
        print_json({"clip": job.clip.name, **deck, **report_json(report), **listed, **cautions_json(job.ground)})
    else:
        print_findings(job.clip, report, seen=job.seen)
        if asked:
            print_drags(lags)
        if options.locks:
            print_locks(report.locks())
        if ways is not None:
            print_proposals(ways)
    return 0 if report.is_clean else 1
