"""``surefoot travel``: how fast a cycle goes and how; in place to travelling and back; to another speed."""

from __future__ import annotations

import argparse

from surefoot.commands.edited import add_edit_options, finish

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Tell belt speed, stride, cadence, support, Froude number and phases of a walk; make it travel on a root channel "
    "or bring it back in place, exactly; or bring it to another speed, after which the feet are planted. "
    "Figures are for animation, not for clinical or ergonomic use."
)
EXAMPLE = "surefoot travel walk.json --speed 1.2 --by stride -o slower.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_edit_options(parser)
    told = "make it travel over still ground, or bring it in place; nothing else changes, so nothing is planted"
    parser.add_argument("--to", choices=("travelling", "in-place"), help=told)
    parser.add_argument("--speed", metavar="SPEED", type=float, help="the wanted speed, m/s; needs --by")
    told = "how it comes to its speed: time (other timing, same strides) or stride (same timing, other strides)"
    parser.add_argument("--by", choices=("time", "stride"), help=told)
    told = (
        "what it should be: walk, run, climb, stairs, sneak, trudge or shuffle; its duty factor is compared; "
        "left out, what the clip or its name says"
    )
    parser.add_argument("--gait", metavar="GAIT", default="", help=told)


def run(options: argparse.Namespace) -> int:
    """Measure the clip, or change its travel and write what was asked for."""
    from contextlib import nullcontext

    from surefoot.checking import check
    from surefoot.commands.as_json import cautions_json, print_json
    from surefoot.commands.job import read_job, told_of
    from surefoot.errors import InputError
    from surefoot.gait import gait_in, gait_warnings, named_gait
    from surefoot.gait_phases import phases_in, steps_in
    from surefoot.pacing import at_speed
    from surefoot.planting import scene_of
    from surefoot.replanting import blaming_the_edit
    from surefoot.travel import in_place, rooted, travelling
    from surefoot.walk_tables import gait_json, gait_lines

    job = read_job(options)
    if (options.speed is None) != (options.by is None):
        raise InputError("--speed and --by go together: say whether time or stride gives way")
    with told_of(job.path):
        clip = job.clip
        travels = options.speed is not None and scene_of(clip, job.rig, job.ground, job.belt).belt.is_still
        if options.speed is not None:
            clip = in_place(clip, job.rig) if travels else clip
            belt = None if travels else job.belt
            clip = at_speed(clip, job.rig, options.speed, by=options.by, ground=job.ground, belt=belt)
        if options.to == "travelling" or (travels and options.to is None):
            clip = travelling(clip, job.rig, ground=job.ground, belt=None if clip is not job.clip else job.belt)
        elif options.to == "in-place" and not travels:
            clip = in_place(clip, job.rig)
        rig = rooted(job.rig, clip)
        belt = job.belt if clip is job.clip else None
        with nullcontext() if clip is job.clip else blaming_the_edit():
            scene = scene_of(clip, rig, job.ground, belt)
        stances = clip.stances if clip.stances is not None else check(clip, rig, ground=job.ground, belt=belt).stances
        gait = gait_in(scene, stances)
        expected = options.gait or named_gait(clip)
        warnings = gait_warnings(gait, expected=expected)
        phases, steps = phases_in(scene, stances), steps_in(scene, stances)
    figures = {"expected": expected, **gait_json(gait, phases, steps, warnings)}
    lines = gait_lines(gait, phases, steps, warnings)
    if expected and not options.gait:
        lines.insert(0, f"{'gait'.ljust(13)}  {expected}, as the clip or its name says")
    if clip is job.clip:
        if options.output is not None:
            raise InputError("nothing is changed; give --to or --speed", place="--output")
        if options.json:
            print_json({"clip": clip.name, **figures, **cautions_json(job.ground, gait=True)})
        else:
            print("\n".join(lines))
        return 1 if warnings else 0
    status = finish(options, job, clip, told=[*lines, ""], figures=figures, plants=options.speed is not None)
    return max(status, 1 if warnings else 0)
