"""Characters of several pairs of legs on the command line: each pair checked or planted in turn, a table for each.

`job` raises `SeveralPairs` where a clip or ``--rig`` names such a character; the commands that can take it come here.
What is said about one pair only (its stances, its hips) can't be said for all: ``--rig`` then names that pair's rig.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from surefoot.belt import Belt
from surefoot.checking import Report, check
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes
from surefoot.commands.as_json import cautions_json, comparison_json, lock_json, print_json, report_json
from surefoot.commands.job import Job, SeveralPairs, check_outputs, read_job, told_of
from surefoot.errors import InputError
from surefoot.joints import knee_turn
from surefoot.lay_tables import print_locks
from surefoot.options import read_anchor, read_frames, read_length
from surefoot.pairs import Pairs, block_pairs, load_pairs, plant_pairs
from surefoot.planting import plant, scene_of
from surefoot.printed import written_line
from surefoot.recipe import Recipe
from surefoot.save import save_all
from surefoot.tables import Seen, print_comparison, print_findings

__all__ = ["block_in_pairs", "check_in_pairs", "plant_in_pairs"]

ONE_PAIR = ("stances", "leave", "also", "propose", "still", "layer", "before", "only", "frames", "accept",
            "reject", "let", "loops", "along", "stride")  # fmt: skip
"""Options that are about the feet or the hips of one pair."""


def check_in_pairs(options: argparse.Namespace, found: SeveralPairs) -> int:
    """Check every pair and print what is found; 0 where there is nothing beyond a note."""
    told: dict[str, object] = {}
    reports: list[Report] = []
    for pair, job, belt in _jobs(options, load_pairs(found.character)):
        with told_of(job.path):
            reports.append(job.judge(job.clip, belt))
        locks = reports[-1].locks() if options.locks else ()
        told[pair] = report_json(reports[-1]) | ({"locks": [lock_json(lock) for lock in locks]} if locks else {})
        if not options.json:
            _head(pair, first=len(reports) == 1)
            print_findings(job.clip, reports[-1], seen=job.seen)
            if locks:
                print_locks(locks)
        clip, ground = job.clip, job.ground
    if options.json:
        print_json({"clip": clip.name, "pairs": told, **cautions_json(ground)})
    return _status(reports)


def plant_in_pairs(options: argparse.Namespace, found: SeveralPairs) -> int:
    """Plant every pair, print before and after, and write the clip that holds them all."""
    told: dict[str, object] = {}
    reports: list[Report] = []
    done: Clip | None = None
    for pair, job, belt in _jobs(options, load_pairs(found.character)):
        if done is None:
            done = job.clip
            check_outputs(
                {"--output": options.output}, {"the clip": str(job.path), "--ground": options.ground}, over="--output"
            )
        with told_of(job.path):
            planted = plant(
                done, job.rig, ground=job.ground, belt=belt, anchor=read_anchor(options.anchor, job.clip),
                clearance=read_length(options.clearance, place="--clearance", most=10.0),
                leave_below=read_length(options.leave_below, place="--leave-below", most=1.0),
                keys="every" if options.every_frame else "few",
                keys_at=None if options.keys_at is None else read_frames(options.keys_at, place="--keys-at"),
            )  # fmt: skip
            before = job.judge(done.with_stances(planted.stances), planted.belt)
            reports.append(job.judge(planted.clip, planted.belt))
            scenes = [scene_of(clip, job.rig, job.ground, planted.belt) for clip in (done, planted.clip)]
        knees = np.degrees(knee_turn(*scenes).max(axis=-1)).tolist()
        told[pair] = {**comparison_json(done, planted, before, reports[-1], []), "knees_turned_deg": knees}
        if not options.json:
            _head(pair, first=len(reports) == 1)
            print_comparison(done, planted, before, reports[-1], None, knees, seen=job.seen)
        done = replace(planted.clip, stances=None)
        last = job
    assert done is not None
    last, done = last.ashore(done)
    files = [] if options.output is None else last.files(done, options.output)
    save_all(files)
    _end(options, {"clip": done.name, "pairs": told}, [path for _, path in files])
    return _status(reports)


def block_in_pairs(options: argparse.Namespace, recipe: Recipe, pairs: Pairs) -> int:
    """Block a recipe out for every pair, plant, check, print, and write what was asked for."""
    if options.stairs is not None:
        raise InputError("several pairs of legs are blocked on the flat only", place="--stairs")
    clip = block_pairs(recipe, pairs)
    if not options.no_plant:
        clip = plant_pairs(clip, pairs, keys="every" if options.every_frame else "few").clip
    told: dict[str, object] = {}
    reports = []
    for pair, rig in pairs.pairs.items():
        reports.append(check(clip, rig))
        told[pair] = report_json(reports[-1])
        if not options.json:
            _head(pair, first=len(reports) == 1)
            print_findings(clip, reports[-1], seen=Seen(belt_stated=True, stances_stated=False))
    files = [] if options.output is None else [(clip_bytes(clip), options.output)]
    save_all(files)
    _end(options, {"recipe": recipe.name, "rig": pairs.name, "pairs": told}, [path for _, path in files])
    return _status(reports)


def _jobs(options: argparse.Namespace, pairs: Pairs) -> Iterator[tuple[str, Job, Belt]]:
    """Read the command line once a pair, with that pair's rig; one ground moves under all."""
    names = " or ".join(rig.name for rig in pairs.pairs.values())
    for name in ONE_PAIR:
        if getattr(options, name, None):
            told = f"it's about one pair of legs, and {pairs.name} has {len(pairs.pairs)}; name one with --rig {names}"
            raise InputError(told, place="--" + name)
    belt: Belt | None = None
    for pair, rig in pairs.pairs.items():
        job = read_job(argparse.Namespace(**{**vars(options), "rig": rig.name, "stances": ["find"]}))
        with told_of(job.path):
            belt = belt or job.belt or job.clip.belt or scene_of(job.clip, job.rig, job.ground).belt
        yield pair, job, belt


def _head(pair: str, *, first: bool) -> None:
    print(f"{'' if first else chr(10)}{pair} legs:")


def _end(options: argparse.Namespace, told: dict[str, object], written: Sequence[str]) -> None:
    if options.json:
        print_json({**told, "written": list(written)})
        return
    print()
    for path in written:
        print(written_line(path))
    if not written:
        print("nothing written; name a file with -o to keep the result")


def _status(reports: list[Report]) -> int:
    return 0 if all(report.is_clean for report in reports) else 1
