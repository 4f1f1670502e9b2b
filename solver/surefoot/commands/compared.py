"""What the commands that draw share: the clip, and what it's compared with, worked out for pictures."""

from __future__ import annotations

import argparse
from dataclasses import replace

from surefoot.belt import Belt
from surefoot.clip import Clip
from surefoot.commands.job import Job, check_outputs, read_before, read_job, told_of
from surefoot.errors import InputError
from surefoot.pictures.subject import Subject
from surefoot.planting import plant

__all__ = ["read_compared"]


def read_compared(options: argparse.Namespace) -> tuple[Subject, Subject | None]:
    """Return the clip to draw and the one before it: planted and as it is, or as it is and ``--before``, or none."""
    if options.planted and options.before is not None:
        raise InputError("with --before the clip is drawn as it is; leave --planted out", place="--planted")
    job = read_job(options)
    check_outputs(
        {"--output": options.output},
        {"the clip": str(job.path), "--rig": options.rig, "--ground": options.ground, "--before": options.before},
    )
    earlier = None if options.before is None else read_before(options.before, job)
    with told_of(job.path):
        if options.planted:
            done = plant(job.clip, job.rig, ground=job.ground, belt=job.belt, keys="few")
            first = replace(job.clip, stances=done.stances)
            return _subject(job, done.clip, done.belt), _subject(job, first, done.belt)
        now = _subject(job, job.clip, job.belt)
    return now, None if earlier is None else _subject(job, earlier, now.report.belt)


def _subject(job: Job, clip: Clip, belt: Belt | None) -> Subject:
    return Subject.of(
        clip, job.rig, ground=job.ground, belt=belt, tolerances=job.tolerances, landing=job.landing
    )  # fmt: skip
