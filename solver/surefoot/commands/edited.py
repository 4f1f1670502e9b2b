"""What the commands that edit a clip share: its options, and the end, which plants, checks, shows and writes."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from surefoot.commands.arguments import add_clip_options

if TYPE_CHECKING:
    from surefoot.clip import Clip
    from surefoot.commands.job import Job

__all__ = ["add_edit_options", "finish"]


def add_edit_options(parser: argparse.ArgumentParser, *, plants: bool = True) -> None:
    """Add the clip's options, ``-o`` and, for a command that plants, ``--no-plant`` and ``--every-frame``."""
    add_clip_options(parser)
    parser.add_argument("-o", "--output", metavar="OUT", help="where the new clip goes; may be the clip itself")
    if plants:
        told = "leave the feet as the edit leaves them: no planting after it"
        parser.add_argument("--no-plant", action="store_true", help=told)
        told = "a key on every frame of a planted channel, not few"
        parser.add_argument("--every-frame", action="store_true", help=told)


def finish(
    options: argparse.Namespace,
    job: Job,
    edited: Clip,
    *,
    told: Sequence[str] = (),
    figures: dict[str, Any] | None = None,
    feet: Iterable[str] | None = None,
    plants: bool = True,
) -> int:
    """Plant the edited clip unless told not to, check it, print before and after, write it; return the exit status.

    An edit that moves neither hips nor feet leaves the feet as they are.

    Parameters
    ----------
    told : sequence of str
        Lines to print first.
    figures : dict
        What ``--json`` prints beside the findings.
    feet : iterable of str, optional
        Which feet may be planted; both if left out.
    plants : bool
        Whether the edit is one after which feet are planted.
    """

    from surefoot.checking import check
    from surefoot.commands.as_json import cautions_json, print_json, report_json
    from surefoot.commands.job import check_outputs, told_of
    from surefoot.formats.opening import clip_files, is_foreign
    from surefoot.replanting import blaming_the_edit, moves_legs, replant
    from surefoot.rig import FEET
    from surefoot.save import save_all
    from surefoot.tables import print_edit
    from surefoot.travel import rooted

    inputs = {"the clip": str(job.path), "--rig": options.rig, "--ground": options.ground}
    check_outputs({"--output": options.output}, inputs, over="--output")
    made, planted = edited, None
    still = ""
    with told_of(job.path):
        first = job.judge(job.clip, job.belt)
    with told_of(job.path), blaming_the_edit():
        rig = rooted(job.rig, edited)
        belt = None if edited.belt is not None else job.belt
        if plants and not options.no_plant and not moves_legs(job.clip, edited, rig):
            still = "the edit moves neither hips nor feet, so nothing is planted"
        elif plants and not options.no_plant:
            planted = replant(
                job.clip, edited, rig, ground=job.ground, belt=belt, feet=FEET if feet is None else feet,
                keys="every" if options.every_frame else "few",
            )  # fmt: skip
            made = planted.clip
        after = check(
            made, rig, ground=job.ground, belt=planted.belt if planted is not None else belt,
            tolerances=job.tolerances, landing=job.landing, also=job.also,
        )  # fmt: skip
    changed = [name for name, curve in edited.channels.items() if curve is not job.clip.channels.get(name)]
    gone = [name for name in job.clip.channels if name not in edited.channels]
    files: list[tuple[bytes, str]] = []
    if options.output is not None:
        # a rig with a root that the clip's own has not is written beside nodes that move by it
        fitted = job.fitted or (rig is not job.rig and is_foreign(options.output))
        files = clip_files(made, rig, options.output, fitted=fitted, rig_file=job.rig_file)
    save_all(files)
    written = [path for _, path in files]
    if options.json:
        tells_gait = "gait" in (figures or {})
        table = {"clip": job.clip.name, **(figures or {}), "edited": changed, "removed": gone}
        feet_written = [] if planted is None else list(planted.changed)
        reports = {"before": report_json(first), "after": report_json(after)}
        print_json(
            {
                **table,
                "planted": feet_written,
                **reports,
                "written": written,
                **cautions_json(job.ground, gait=tells_gait),
            }
        )
    else:
        for line in (*told, *([still] if still else [])):
            print(line)
        print_edit(made, first, after, edited=changed, removed=gone, planted=planted, written=written, seen=job.seen)
    return 0 if after.is_clean else 1
