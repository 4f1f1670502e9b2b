"""One clip of a batch: what is to be done, and doing it, in any process."""

from __future__ import annotations

import argparse
import hashlib
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from surefoot.cautions import FOR_PICTURES
from surefoot.errors import FileError, InputError, SurefootError, plain_name

__all__ = ["Row", "Settings", "Task", "do_task", "find_tasks", "state_of"]

Row = dict[str, Any]
"""What is told of one clip; plain values, so that it can be written and sent."""
RANKS = ("clean", "note", "warning", "error")


@dataclass(frozen=True, slots=True)
class Settings:
    """What is done to every clip; files by path, the rest as on the command line."""

    check_only: bool = False
    rig: str | None = None
    map: str | None = None
    ground: str | None = None
    belt: str | None = None
    tolerance: tuple[str, ...] = ()
    every_frame: bool = False
    to: str = ""

    @property
    def digest(self) -> str:
        """Eight letters that change when a setting does, or the contents of a file that it names."""
        held = hashlib.sha256(repr(sorted(asdict(self).items())).encode())
        for name in (self.rig, self.map, self.ground):
            if name is not None and Path(name).is_file():
                held.update(Path(name).read_bytes())
        return held.hexdigest()[:8]


@dataclass(frozen=True, slots=True)
class Task:
    """One clip: its path under the folder as text, where it lies, the folder and the path under it that the result
    goes to, and its state when it was found.
    """

    name: str
    source: str
    out: str
    output: str
    stamp: str


def find_tasks(folder: str | Path, out: str | Path, settings: Settings) -> list[Task]:
    """Return a task for every file under ``folder`` in a format that is read, in order of path.

    ``out`` itself, hidden files and hidden folders are passed over. Raises InputError when there is no such folder,
    no clip in it, or two clips would be written to one file.
    """
    from surefoot.formats.opening import by_suffix

    root, apart = Path(folder), Path(os.path.realpath(out))
    if not root.is_dir():
        raise InputError("there is no such folder", place=str(folder))
    found: list[Task] = []
    known = {suffix for suffix, form in by_suffix().items() if form.read}
    for here, folders, files in os.walk(root):
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and Path(os.path.realpath(Path(here, name))) != apart
        )
        for file in sorted(files):
            suffix = Path(file).suffix.lower()
            if suffix in known and not file.startswith("."):
                path = Path(here, file)
                name = path.relative_to(root).as_posix()
                task = Task(
                    plain_name(name), str(path), str(out), _output(name, suffix, settings), _stamp(path, settings)
                )
                found.append(task)
    if not found:
        raise InputError("no clip is in it, nor under it", place=str(folder))
    taken: dict[str, str] = {}
    for task in found:
        if task.output in taken:
            raise InputError(f"{taken[task.output]} and {task.name} would both go to {task.output}", place=str(folder))
        taken[task.output] = task.name
    return sorted(found, key=lambda task: task.name)


def _output(name: str, suffix: str, settings: Settings) -> str:
    from surefoot.formats.opening import by_suffix

    if settings.to and suffix != settings.to:
        return f"{name}{settings.to}"
    return name if by_suffix()[suffix].written else f"{name}.json"


def _stamp(path: Path, settings: Settings) -> str:
    from surefoot.formats.mapping import mapping_path

    return " ".join([settings.digest, *map(state_of, (path, mapping_path(path)))])


def state_of(path: Path) -> str:
    """Return a few letters that change when a file does; a dash where there's none."""
    try:
        state = path.stat()
    except OSError:
        return "-"
    return f"{state.st_size}.{state.st_mtime_ns}"


def do_task(task: Task, settings: Settings) -> Row:
    """Check or plant one clip and write it; whatever is wrong with the clip is told in the row, never raised."""
    row: Row = {"clip": task.name, "status": "done", "stamp": task.stamp, "output": ""}
    try:
        row |= _done(task, settings)
    except SurefootError as error:
        row |= {"status": "failed", "reason": " ".join(str(error).split())}
    except Exception as error:  # a fault of ours or of a library: told, and the rest go on
        row |= {"status": "failed", "reason": f"fault: {type(error).__name__}: {' '.join(str(error).split())[:300]}"}
    return {key: plain_name(value) if isinstance(value, str) else value for key, value in row.items()}


def _done(task: Task, settings: Settings) -> Row:
    from surefoot.commands.arguments import add_clip_options
    from surefoot.commands.job import read_job
    from surefoot.commands.results import planted_files
    from surefoot.planting import plant
    from surefoot.save import save_all

    parser = argparse.ArgumentParser()
    add_clip_options(parser)
    asked = parser.parse_args(["clip"])  # everything as a command has it that is given nothing
    asked.clip, asked.map, asked.rig = str(task.source), settings.map, settings.rig
    asked.ground, asked.belt, asked.tolerance = settings.ground, settings.belt, list(settings.tolerance)
    job = read_job(asked)
    told: Row = {"frames": job.clip.frames, "caution": FOR_PICTURES if job.seen.for_pictures else ""}
    if job.rig_file is not None:  # a change of it makes the result an old one
        told["rig"] = [os.path.abspath(job.rig_file), state_of(job.rig_file)]
    if settings.check_only:
        return told | _told(job.judge(job.clip, job.belt))
    planted = plant(
        job.clip, job.rig, ground=job.ground, belt=job.belt, keys="every" if settings.every_frame else "few"
    )  # fmt: skip
    before = job.judge(job.clip.with_stances(planted.stances), planted.belt)
    after = job.judge(planted.clip, planted.belt)
    path = Path(task.out, task.output)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"can't be written: {error.strerror}", place=str(path)) from None
    save_all(planted_files(job, planted.clip, str(path)))
    return told | {"before": before.worst or "clean"} | _told(after) | {"output": task.output}


def _told(report: Any) -> Row:
    counts = {level: sum(f.level == level for f in report.findings) for level in RANKS[:0:-1]}
    told: Row = {"worst": report.worst or "clean", "kind": "", "where": "", "frame": None, "amount": None, "unit": ""}
    told |= {f"{level}s": count for level, count in counts.items()} | {"share": 0.0}
    if report.findings:
        top = max(report.findings, key=lambda f: (RANKS.index(f.level), f.shown / f.shown_tolerance))
        told |= {
            "kind": top.kind, "where": " ".join(w for w in (top.foot, top.part) if w), "frame": float(top.worst),
            "amount": float(top.shown), "unit": top.unit, "share": float(top.shown / top.shown_tolerance),
        }  # fmt: skip
    return told
