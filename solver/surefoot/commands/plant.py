"""``surefoot plant``: the mended clip, what was found before and after, and the layer beside it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from surefoot.commands.arguments import add_clip_options, add_deck_option

if TYPE_CHECKING:
    from surefoot.ground import Ground
    from surefoot.planting import Planted

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "Mend the feet of a clip: stances planted, soles out of the ground, legs within reach."
EXAMPLE = "surefoot plant walk.json -o planted.json --layer correction.json"

OPTIONS = (
    ("--layer", None, "FILE", "also write the difference, as a clip to add on top"),
    ("--before", None, "CLIP", "the clip before the edit: stances and footprints are taken from it"),
    (
        "--anchor",
        "flat",
        "WHAT",
        "what a footprint is taken from: flat (the keyed flat frame, else the fit), contact, fit or frame:N",
    ),
    ("--clearance", "0mm", "LENGTH", "kept under the middle of each swing, such as 10mm; left out, 0mm"),
    ("--only", None, "FOOT", "mend this foot only, such as left_foot"),
    ("--frames", None, "FRAMES", "mend these frames only, such as 1-9; the change goes out over three frames"),
    ("--accept", None, "KINDS", "mend these kinds only, such as sink,hover; of slide, sink, hover, stretch"),
    ("--reject", None, "KINDS", "don't mend these kinds, such as stretch"),
    ("--let", None, "CHANNELS", "what may change though it's no foot's: hips.y is lowered where a leg can't reach"),
    ("--loops", None, "N", "write the cycle out so many times over the ground, its steps fitted to the treads"),
    ("--along", None, "PLACES", "with --loops, walk along these places on the plan, such as 0,0:0,4:4,4 (x,z metres)"),
    (
        "--stride",
        None,
        "RANGE",
        "with --loops, how short and long a step may become, such as 0.35-1.25 of its own length",
    ),
    ("--leave-below", "0.001mm", "LENGTH", "a channel that would change by less stays as it is; left out, 0.001mm"),
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_clip_options(parser)
    add_deck_option(parser)
    parser.add_argument("-o", "--output", metavar="OUT", help="where the mended clip goes; may be the clip itself")
    for flag, default, metavar, told in OPTIONS:
        parser.add_argument(flag, default=default, metavar=metavar, help=told)
    keys = parser.add_mutually_exclusive_group()
    keys.add_argument("--every-frame", action="store_true", help="a key on every frame of a changed channel, not few")
    keys.add_argument("--keys-at", metavar="FRAMES", help="new keys on these frames only, such as 1,4,9-12")


def run(options: argparse.Namespace) -> int:
    """Plant the clip, print before and after, and write what was asked for."""
    from contextlib import nullcontext
    from dataclasses import replace

    import numpy as np

    from surefoot.belt import STILL
    from surefoot.clip import Clip
    from surefoot.commands.as_json import aboard_json, cautions_json, comparison_json, laid_json, print_json
    from surefoot.commands.job import SeveralPairs, check_outputs, read_before, read_job, told_of
    from surefoot.commands.results import layer_file, planted_files
    from surefoot.errors import InputError
    from surefoot.joints import knee_turn
    from surefoot.lay_tables import print_laid
    from surefoot.laying import STRIDE, lay
    from surefoot.letting import let_down
    from surefoot.options import read_anchor, read_choice, read_count, read_frames, read_length, read_places, read_span
    from surefoot.planting import plant, scene_of
    from surefoot.replanting import blaming_the_edit
    from surefoot.route import Route
    from surefoot.save import save_all
    from surefoot.tables import print_comparison, print_let

    try:
        job = read_job(options)
    except SeveralPairs as several:
        from surefoot.commands.pairwise import plant_in_pairs

        return plant_in_pairs(options, several)
    check_outputs(
        {"--output": options.output, "--layer": options.layer},
        {
            "the clip": str(job.path),
            "--rig": options.rig,
            "--ground": options.ground,
            "--before": options.before,
            "--aboard": options.aboard,
        },
        over="--output",
    )
    before = None if options.before is None else read_before(options.before, job)
    anchor = read_anchor(options.anchor, job.clip)
    clearance = read_length(options.clearance, place="--clearance", most=10.0)
    leave_below = read_length(options.leave_below, place="--leave-below", most=1.0)
    keys_at = None if options.keys_at is None else read_frames(options.keys_at, place="--keys-at")
    choice = read_choice(options.only, options.frames, options.accept, options.reject)

    def planted_of(clip: Clip) -> Planted:
        return plant(
            clip,
            job.rig,
            ground=job.ground,
            belt=job.belt,
            before=before,
            anchor=anchor,
            clearance=clearance,
            leave_below=leave_below,
            keys="every" if options.every_frame else "few",
            keys_at=keys_at,
            choice=choice,
        )

    let = () if options.let is None else tuple(name.strip() for name in options.let.split(","))
    if options.loops is not None and options.before is not None:
        raise InputError("it doesn't go together with --loops, which lays new footprints", place="--before")
    laid = None
    if options.loops is not None:
        if job.deck is not None:
            raise InputError("a walk aboard is written out in the world already", place="--loops")
        with told_of(job.path):
            laid = lay(
                job.clip,
                job.rig,
                ground=job.ground,
                belt=job.belt,
                let=let,
                loops=read_count(options.loops, place="--loops"),
                route=None if options.along is None else Route.through(read_places(options.along, place="--along")),
                stride=STRIDE if options.stride is None else read_span(options.stride, place="--stride"),
            )
        job = replace(job, clip=laid.clip, belt=STILL)
    elif options.along is not None or options.stride is not None:
        raise InputError("it goes with --loops", place="--along" if options.along is not None else "--stride")
    clip = job.clip
    with told_of(job.path), nullcontext() if before is None else blaming_the_edit():
        if let and laid is None:
            clip, _ = let_down(
                clip,
                job.rig,
                let,
                plant=planted_of,
                ground=job.ground,
                tolerances=job.tolerances,
                keys="every" if options.every_frame else "few",
                keys_at=keys_at,
            )
        planted = planted_of(clip)
        first = job.judge(job.clip.with_stances(planted.stances), planted.belt)
        after = job.judge(planted.clip, planted.belt)
        scenes = [scene_of(clip, job.rig, job.ground, planted.belt) for clip in (job.clip, planted.clip)]
        knees = np.degrees(knee_turn(*scenes).max(axis=-1)).tolist()
    written: dict[str, Clip] = {}
    files: list[tuple[bytes, str]] = []
    plain, mended = job.ashore(planted.clip)
    if options.output is not None:
        files += planted_files(plain, mended, options.output)
        written |= {path: mended for _, path in files}
    if options.layer is not None:
        written[options.layer], layer = layer_file(plain, mended, options.layer)
        files.append((layer, options.layer))
    save_all(files)
    if options.json:
        deck, cautions = aboard_json(job.deck_name), cautions_json(job.ground)
        laid_out = {} if laid is None else {"laid": laid_json(laid, after)}
        told = comparison_json(job.clip, planted, first, after, list(written))
        print_json({**told, **deck, "knees_turned_deg": knees, **cautions, **laid_out})
    else:
        print_comparison(job.clip, planted, first, after, written, knees, seen=job.seen)
        height = job.rig.controls["hips"].axes.get("y")
        lowered = "" if height is None else height.channel
        if laid is None:
            print_let(job.clip, planted.clip, let, lowered)
            _print_way_on(planted, job.ground)
        else:
            print_let(job.clip, planted.clip, [name for name in let if name != lowered], lowered)
            print_laid(laid, after)
    return 0 if after.is_clean else 1


def _print_way_on(planted: Planted, ground: Ground) -> None:
    """Print what else to ask for, where a clip can't be planted well as it came."""
    if not planted.stances:
        print("no foot comes down near this ground: state the stances, let the hips down, or try --loops 6")
    elif planted.clip.loop and not planted.belt.is_still and not ground.is_even:
        print("the cycle walks in place, so this ground comes by under it; --loops 6 walks it over the ground")
