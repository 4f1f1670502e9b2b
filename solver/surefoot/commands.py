"""What each command does: read, call the library, show, write."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from surefoot.belt import STILL, Belt
from surefoot.checking import Report, check
from surefoot.clip import Clip, Stance
from surefoot.clip_file import load_clip, save_clip
from surefoot.demos import demo_path
from surefoot.errors import InputError, UnknownName
from surefoot.footprint import Anchor
from surefoot.ground import Flat, Ground
from surefoot.ground_file import load_ground
from surefoot.layer import layer_between
from surefoot.options import read_amount, read_belt, read_leave, read_length, read_stances
from surefoot.planting import Planted, plant
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, preset_names
from surefoot.tables import print_comparison, print_findings
from surefoot.tolerances import KINDS, tolerances_for

__all__ = ["run"]


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """What a command line names, read."""

    clip: Clip
    rig: Rig
    ground: Ground
    belt: Belt | None
    tolerances: dict[str, tuple[float, float, float]]
    landing: float | None


def run(options: argparse.Namespace) -> int:
    """Run the parsed command and return its exit status."""
    job = _read(options)
    return {"check": _check, "plant": _plant}[options.command](options, job)


def _read(options: argparse.Namespace) -> _Job:
    path = Path(options.clip)
    if not path.exists() and path.suffix == "":
        path = demo_path(options.clip)
    clip = load_clip(path)
    rig = _rig(options.rig or clip.rig, path)
    if options.stances == ["find"]:
        clip = clip.with_stances(None)
    elif options.stances:
        clip = clip.with_stances(read_stances(options.stances, clip))
    belt: Belt | None = None
    if options.belt == "estimate":
        clip = replace(clip, belt=None)
    elif options.belt is not None:
        belt = STILL if options.belt == "still" else read_belt(options.belt)
    ground = load_ground(options.ground) if options.ground else Flat(0.0)
    if options.leave:
        clip = _leave(clip, rig, ground, belt, options.leave)
    if options.landing is not None and not 0.0 <= options.landing <= 1.0:
        raise InputError(f"wanted seconds from 0 to 1, got {options.landing}", place="--landing")
    return _Job(clip, rig, ground, belt, _tolerances(options.tolerance, rig), options.landing)


def _rig(name: str, clip_path: Path) -> Rig:
    if not name:
        raise InputError(
            f"the clip names no rig; give one with --rig (a TOML file, or {', '.join(preset_names())})",
            place=str(clip_path),
        )
    beside = clip_path.parent / name
    return load_rig(beside if name.endswith(".toml") and beside.is_file() else name)


def _leave(clip: Clip, rig: Rig, ground: Ground, belt: Belt | None, wanted: list[list[str]]) -> Clip:
    """Mark the stances that touch the named frames as left alone."""
    seen = check(clip, rig, ground=ground, belt=belt).stances if clip.stances is None else clip.stances
    spans = [read_leave(foot, frames) for foot, frames in wanted]

    def left_alone(stance: Stance) -> bool:
        return any(foot == stance.foot and first <= stance.last and last >= stance.first for foot, first, last in spans)

    return clip.with_stances(replace(s, left_alone=s.left_alone or left_alone(s)) for s in seen)


def _tolerances(given: list[str], rig: Rig) -> dict[str, tuple[float, float, float]]:
    """A stated warning limit moves the note and the error in proportion."""
    found = tolerances_for(rig.leg, rig.tolerances)
    for text in given:
        kind, amount = read_amount(text)
        if kind not in KINDS:
            raise UnknownName("kind of finding", kind, KINDS, place="--tolerance")
        note, warning, error = found[kind]
        share = amount / warning
        found[kind] = (note * share, amount, error * share)
    return found


def _judge(clip: Clip, job: _Job, belt: Belt | None) -> Report:
    return check(clip, job.rig, ground=job.ground, belt=belt, tolerances=job.tolerances, landing=job.landing)


def _check(options: argparse.Namespace, job: _Job) -> int:
    report = _judge(job.clip, job, job.belt)
    if options.json:
        _print_json({"clip": job.clip.name, **_report(report)})
    else:
        print_findings(job.clip, report)
    return 0 if report.is_clean else 1


def _plant(options: argparse.Namespace, job: _Job) -> int:
    before = load_clip(options.before) if options.before else None
    planted = plant(
        job.clip,
        job.rig,
        ground=job.ground,
        belt=job.belt,
        before=before,
        anchor=_anchor(options.anchor),
        clearance=read_length(options.clearance, place="--clearance"),
        leave_below=read_length(options.leave_below, place="--leave-below"),
    )
    first = _judge(job.clip.with_stances(planted.stances), job, planted.belt)
    after = _judge(planted.clip, job, planted.belt)
    written = []
    if options.output:
        save_clip(planted.clip, options.output)
        written.append(options.output)
    if options.layer:
        save_clip(layer_between(job.clip, planted.clip), options.layer)
        written.append(options.layer)
    if options.json:
        _print_json(_comparison(job, planted, first, after, written))
    else:
        print_comparison(job.clip, planted, first, after, written)
    return 0 if after.is_clean else 1


def _anchor(text: str) -> Anchor | int:
    if text in ("flat", "contact", "fit"):
        return text  # type: ignore[return-value]
    head, _, number = text.partition(":")
    if head == "frame" and number.lstrip("-").isdigit():
        return int(number)
    raise InputError(f"wanted flat, contact, fit or frame:N, got {text!r}", place="--anchor")


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


def _comparison(job: _Job, planted: Planted, before: Report, after: Report, written: list[str]) -> dict[str, Any]:
    return {
        "clip": job.clip.name,
        "changed": list(planted.changed),
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
