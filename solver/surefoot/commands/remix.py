"""``surefoot remix``: channels scaled, added to, shifted, closed, clips mixed; the feet planted after."""

from __future__ import annotations

import argparse
from functools import partial

from surefoot.commands.edited import add_edit_options, finish

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Scale, add to and shift channels or families of them, mix clips by weight, close the loop; then plant the feet "
    "again where they stood, if hips or feet moved. Edits are made in the order in which they're written; a mix comes "
    "first."
)
EXAMPLE = "surefoot remix walk.json --scale hips=0.7 --shift chest.pitch=2 -o calmer.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_edit_options(parser)
    edits = (
        (
            "scale",
            "NAME=FACTOR[@ABOUT]",
            "scale about the mean, or @rest, or @FRAME's value: hips.y=0.7, hips=0.5@rest",
        ),
        ("add", "NAME=AMOUNT", "add in the channel's own unit, or with a unit: hips.y=-1.5, hips.y=-15mm"),
        ("shift", "NAME=FRAMES", "later by so many frames, wrapped round a loop: chest.pitch=2"),
    )
    for do, metavar, told in edits:
        parser.add_argument(
            f"--{do}", metavar=metavar, dest="edits", action="append", default=[], help=told,
            type=partial(_named, do),
        )  # fmt: skip
    told = "edits from a TOML file, made where it's named among the others"
    parser.add_argument(
        "--edits", metavar="FILE", dest="edits", action="append", help=told, type=partial(_named, "file")
    )
    told = "mix another clip in by its share, such as brisk.json=0.3; this one has the rest; may be repeated"
    parser.add_argument("--mix", metavar="CLIP=SHARE", action="append", default=[], help=told)
    told = "close the loop first: both ends of every channel alike in value and slope, keys beyond it wrapped in"
    parser.add_argument("--close", action="store_true", help=told)


def _named(do: str, text: str) -> tuple[str, str]:
    return do, text


def run(options: argparse.Namespace) -> int:
    """Remix the clip, plant it, print before and after, and write what was asked for."""
    from surefoot.closing import close_loop
    from surefoot.commands.job import check_outputs, clip_path, read_job, told_of
    from surefoot.edit_text import load_edits, read_edit, read_weight
    from surefoot.errors import InputError
    from surefoot.formats.opening import open_clip
    from surefoot.remixing import mix, remix

    job = read_job(options)
    edits = [
        edit for do, text in options.edits for edit in (load_edits(text) if do == "file" else [read_edit(do, text)])
    ]
    shares = [read_weight(text) for text in options.mix]
    rest = 1.0 - sum(weight for _, weight in shares)
    if rest <= 1e-9:
        raise InputError("the shares must leave something for the clip itself", place="--mix")
    if not (edits or shares or options.close):
        raise InputError("nothing to do; give --scale, --add, --shift, --edits, --mix or --close")
    mixed = {f"--mix {name}": str(clip_path(name)) for name, _ in shares}
    read = {f"--edits {text}": text for do, text in options.edits if do == "file"}
    check_outputs({"--output": options.output}, mixed | read)
    others = [(open_clip(clip_path(name), rig=job.rig).clip, weight) for name, weight in shares]
    with told_of(job.path):
        clip = mix([(job.clip, rest), *others]) if others else job.clip
        if options.close:
            clip = close_loop(clip, job.rig)
        clip = remix(clip, job.rig, edits)
    return finish(options, job, clip)
