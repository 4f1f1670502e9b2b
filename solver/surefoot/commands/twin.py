"""``surefoot twin``: the other side made one side's mirror half a cycle later; its foot planted after."""

from __future__ import annotations

import argparse

from surefoot.commands.edited import add_edit_options, finish

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Give the other side one side's channels half a cycle later, sideways ones turned over, through the rig's axes. "
    "The source side stays as it is, bit for bit; only the other foot is planted after, where it or the hips moved."
)
EXAMPLE = "surefoot twin walk.json --from left -o both.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_edit_options(parser)
    parser.add_argument(
        "--from", dest="source", metavar="SIDE", default="left", help="the side that is copied; left out, left"
    )
    told = "only these channels, controls or families and their partners, parted by commas, such as left_arm"
    parser.add_argument("--of", metavar="NAMES", help=told)
    told = "channels in the middle too: the mean of each and its own mirror half a cycle away"
    parser.add_argument("--centre", action="store_true", help=told)


def run(options: argparse.Namespace) -> int:
    """Twin the clip, plant the other foot, print before and after, and write what was asked for."""
    from surefoot.commands.job import read_job, told_of
    from surefoot.mismatch import mismatches
    from surefoot.side_map import other_side
    from surefoot.twinning import twin

    job = read_job(options)
    of = () if options.of is None else tuple(name.strip() for name in options.of.split(",") if name.strip())
    with told_of(job.path):
        done = twin(job.clip, job.rig, source=options.source, of=of, centre=options.centre)
        before, after = (
            max((amount for amount, _ in mismatches(clip, job.rig).values()), default=0.0)
            for clip in (job.clip, done.clip)
        )
    told = [f"mismatch: {1e3 * before:.2f} mm at most before, {1e3 * after:.2f} mm after, before planting"]
    if done.between:
        told.append(f"keys half-way between frames, as the loop is of odd length: {', '.join(done.between)}")
    if done.by_name:
        told.append(f"mirrored by name, as no control of the rig has them: {', '.join(done.by_name)}")
    if done.alone:
        told.append(f"left alone, as they have no partner: {', '.join(done.alone)}")
    if any(f.foot == options.source and f.level != "note" for f in job.judge(job.clip, job.belt).findings):
        told.append(f"the {options.source} foot has faults of its own, which stay: plant the clip before it is twinned")
    figures = {
        "mismatch": {"before": 1e3 * before, "after": 1e3 * after, "unit": "mm"},
        "between_frames": list(done.between),
        "by_name": list(done.by_name),
        "alone": list(done.alone),
    }
    return finish(options, job, done.clip, told=told, figures=figures, feet=(other_side(options.source),))
