"""What each command does: read, call the library, show, write."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from surefoot.belt import STILL, Belt
from surefoot.checking import Report, check
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, load_clip
from surefoot.demos import demo_path
from surefoot.errors import InputError, UnknownName
from surefoot.ground import Flat, Ground
from surefoot.ground_file import load_ground
from surefoot.joints import knee_turn
from surefoot.layer import layer_between
from surefoot.letting import let_down
from surefoot.options import (
    leave_alone,
    read_amount,
    read_anchor,
    read_belt,
    read_choice,
    read_frames,
    read_leave,
    read_length,
    read_stances,
)
from surefoot.planting import Planted, plant, scene_of
from surefoot.proposals import Proposal, propose
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, preset_names
from surefoot.save import save_all
from surefoot.tables import Seen, print_comparison, print_findings, print_let, print_proposals
from surefoot.tolerances import tolerances_for

__all__ = ["run"]


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """What a command line names, read."""

    path: Path
    clip: Clip
    rig: Rig
    ground: Ground
    belt: Belt | None
    tolerances: dict[str, tuple[float, float, float]]
    landing: float | None

    @property
    def seen(self) -> Seen:
        """What of the clip was stated and what was worked out."""
        return Seen(
            belt_stated=self.belt is not None or self.clip.belt is not None,
            stances_stated=self.clip.stances is not None,
        )


def run(options: argparse.Namespace) -> int:
    """Run the parsed command and return its exit status."""
    if options.command == "plant":
        return _plant(options)
    return _check(options)


def _read(options: argparse.Namespace) -> _Job:
    path = _clip_path(options.clip)
    clip = read_stances(options.stances, load_clip(path))
    rig = _rig(options.rig, clip, path)
    belt: Belt | None = None
    if options.belt == "estimate":
        clip = replace(clip, belt=None)
    elif options.belt is not None:
        belt = STILL if options.belt == "still" else read_belt(options.belt)
    ground = Flat(0.0) if options.ground is None else load_ground(options.ground)
    if options.landing is not None and not 0.0 <= options.landing <= 1.0:
        raise InputError(f"wanted seconds from 0 to 1, got {options.landing:g}", place="--landing")
    tolerances = _tolerances(options.tolerance, rig)
    spans = read_leave(options.leave)
    if spans:
        with _told_of(path):
            seen = check(clip, rig, ground=ground, belt=belt).stances
        clip = clip.with_stances(leave_alone(clip, seen, spans))
    return _Job(path, clip, rig, ground, belt, tolerances, options.landing)


def _clip_path(name: str) -> Path:
    """Return the file of a clip, or of the demo of that name where there is no such file."""
    path = Path(name)
    if not name or "\0" in name:
        raise InputError(f"wanted a clip's file or the name of a demo, got {name!r}")
    if path.suffix or path.exists() or path.name != name:
        return path
    try:
        return demo_path(name)
    except UnknownName as error:
        raise UnknownName("file or demo", name, error.known) from None


@contextmanager
def _told_of(path: Path) -> Iterator[None]:
    """Put the clip's file before the place of whatever is found wrong with it."""
    try:
        yield
    except InputError as error:
        raise error.within(str(path)) from None


def _rig(given: str | None, clip: Clip, clip_path: Path) -> Rig:
    name = clip.rig if given is None else given
    if given is None and not name:
        raise InputError(
            f"the clip names no rig; give one with --rig (a TOML file, or {', '.join(preset_names())})",
            place=str(clip_path),
        )
    beside = clip_path.parent / name
    try:
        return load_rig(beside if name.endswith(".toml") and given is None and beside.is_file() else name)
    except UnknownName as error:
        if error.place:  # something inside the rig's file
            raise
        raise error.within(f"{clip_path}: $.rig" if given is None else "--rig") from None


def _tolerances(given: list[str], rig: Rig) -> dict[str, tuple[float, float, float]]:
    """A stated warning limit moves the note and the error in proportion."""
    found = tolerances_for(rig.leg, rig.tolerances)
    for kind, amount in map(read_amount, given):
        note, warning, error = found[kind]
        share = amount / warning
        found[kind] = (note * share, amount, error * share)
    return found


def _judge(clip: Clip, job: _Job, belt: Belt | None) -> Report:
    return check(clip, job.rig, ground=job.ground, belt=belt, tolerances=job.tolerances, landing=job.landing)


def _check(options: argparse.Namespace) -> int:
    job = _read(options)
    with _told_of(job.path):
        report = _judge(job.clip, job, job.belt)
        ways = _proposals(job, report) if options.propose else None
    if options.json:
        listed = {} if ways is None else {"proposals": [_proposal(way) for way in ways]}
        _print_json({"clip": job.clip.name, **_report(report), **listed})
    else:
        print_findings(job.clip, report, seen=job.seen)
        if ways is not None:
            print_proposals(ways)
    return 0 if report.is_clean else 1


def _proposals(job: _Job, report: Report) -> tuple[Proposal, ...]:
    return propose(job.clip, job.rig, ground=job.ground, landing=job.landing, report=report)


def _plant(options: argparse.Namespace) -> int:
    job = _read(options)
    _check_outputs(options, job.path)
    before = None if options.before is None else _before(options.before, job)
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

    clip, let = job.clip, () if options.let is None else tuple(options.let.split(","))
    with _told_of(job.path):
        if let:
            clip, _ = let_down(clip, job.rig, let, plant=planted_of, ground=job.ground, tolerances=job.tolerances)
        planted = planted_of(clip)
        first = _judge(job.clip.with_stances(planted.stances), job, planted.belt)
        after = _judge(planted.clip, job, planted.belt)
        scenes = [scene_of(clip, job.rig, job.ground, planted.belt) for clip in (job.clip, planted.clip)]
        knees = np.degrees(knee_turn(*scenes).max(axis=-1)).tolist()
    written: dict[str, Clip] = {}
    if options.output is not None:
        written[options.output] = planted.clip
    if options.layer is not None:
        written[options.layer] = layer_between(job.clip, planted.clip)
    save_all([(clip_bytes(clip), path) for path, clip in written.items()])
    if options.json:
        _print_json({**_comparison(job, planted, first, after, list(written)), "knees_turned_deg": knees})
    else:
        print_comparison(job.clip, planted, first, after, written, knees, seen=job.seen)
        print_let(job.clip, planted.clip, let)
    return 0 if after.is_clean else 1


def _before(name: str, job: _Job) -> Clip:
    """Read the clip before the edit; what doesn't fit the rig or the ground is told of its own file."""
    path = _clip_path(name)
    clip = load_clip(path)
    with _told_of(path):
        scene_of(clip, job.rig, job.ground, job.belt)
    return clip


def _check_outputs(options: argparse.Namespace, clip_path: Path) -> None:
    """Raise if two files of a command are one; only the clip itself may be written over, by ``-o``."""
    inputs = {"the clip": str(clip_path), "--rig": options.rig, "--ground": options.ground, "--before": options.before}
    outputs = {"--output": options.output, "--layer": options.layer}
    for option, path in outputs.items():
        if path is None:
            continue
        if path in ("", "-") or "\0" in path:
            raise InputError(f"wanted the name of a file, got {path!r}", place=option)
        for what, other in (inputs | {"--output": options.output if option == "--layer" else None}).items():
            allowed = option == "--output" and what == "the clip"
            if other and not allowed and _same_file(path, other):
                raise InputError(f"{path} is {what} too; name another file", place=option)


def _same_file(one: str, two: str) -> bool:
    if os.path.exists(one) and os.path.exists(two):
        return os.path.samefile(one, two)
    return os.path.realpath(one) == os.path.realpath(two)


def _report(report: Report) -> dict[str, Any]:
    return {
        "worst": report.worst,
        "belt": {"velocity": report.belt.velocity.tolist(), "turn": report.belt.turn, "unit": "m/s, rad/s"},
        "stances": [
            {"foot": s.foot, "first": s.first, "last": s.last, "left_alone": s.left_alone} for s in report.stances
        ],
        "findings": [
            {
                "kind": f.kind, "foot": f.foot, "part": f.part, "first": f.first, "last": f.last, "worst": f.worst,
                "amount": f.shown, "unit": f.unit, "tolerance": f.shown_tolerance, "level": f.level,
                "advice": f.advice,
            }
            for f in report.findings
        ],
    }  # fmt: skip


def _proposal(way: Proposal) -> dict[str, Any]:
    finding = way.finding
    return {
        "mends": {"kind": finding.kind, "foot": finding.foot, "part": finding.part, "first": finding.first,
                  "last": finding.last},
        "way": way.way,
        "default": way.default,
        "asks": way.asks,
        "frames": way.frames.tolist(),
        "channels": [
            {"channel": name, "unit": "deg" if turns else "mm", "amounts": amounts.tolist()}
            for name, turns, amounts in zip(way.channels, way.angles, way.shown, strict=True)
        ],
        "cost": way.cost,
        "leaves": {"amount": way.shown_left, "unit": finding.unit},
        "worse": [
            {"kind": w.kind, "foot": w.foot, "before": w.shown_before, "after": w.shown, "unit": w.unit}
            for w in way.worse
        ],
    }  # fmt: skip


def _comparison(job: _Job, planted: Planted, before: Report, after: Report, written: list[str]) -> dict[str, Any]:
    return {
        "clip": job.clip.name,
        "changed": list(planted.changed),
        "keys": [
            {"channel": k.channel, "before": k.before, "after": k.after, "every_frame": k.every_frame, "worst": k.worst}
            for k in planted.keys
        ],
        "footprints": [
            {
                "foot": p.stance.foot, "first": p.stance.first, "last": p.stance.last,
                "place": list(p.place), "yaw": p.yaw, "unit": "m, rad",
            }
            for p in planted.footprints
        ],
        "before": _report(before),
        "after": _report(after),
        "written": written,
    }  # fmt: skip


def _print_json(table: dict[str, Any]) -> None:
    sys.stdout.write(msgspec.json.format(msgspec.json.encode(table), indent=2).decode() + "\n")
