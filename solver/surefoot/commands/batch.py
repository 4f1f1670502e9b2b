"""``surefoot batch``: a whole folder of clips checked or planted."""

from __future__ import annotations

import argparse

from surefoot.commands.arguments import REPEATED_OPTIONS, SHARED_OPTIONS

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Plant every clip under a folder, or only check it, and write the results under another with the same paths. "
    "The summary, CSV and JSON, has the worst first. What was done before isn't done again, but what failed is tried "
    "again; a bad file is told in the summary and stops no other."
)
EXAMPLE = "surefoot batch library -o planted --processes 8"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("folder", metavar="FOLDER", help="where the clips are, in any format that is read")
    parser.add_argument("-o", "--output", metavar="OUT", help="the folder that results go to")
    parser.add_argument("--check", action="store_true", help="only check; nothing but the summary is written")
    parser.add_argument(
        "--to", metavar="SUFFIX", default="", help="write this format, such as .glb; left out, each its own"
    )
    for flag, metavar, told in SHARED_OPTIONS:
        parser.add_argument(flag, metavar=metavar, help=told)
    told = next(text for flag, _, text in REPEATED_OPTIONS if flag == "--tolerance")
    parser.add_argument("--tolerance", metavar="KIND=AMOUNT", action="append", default=[], help=told)
    parser.add_argument("--every-frame", action="store_true", help="a key on every frame of a changed channel, not few")
    parser.add_argument("--processes", metavar="N", type=int, help="how many at once; left out, one for each core")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="run on the dask.distributed cluster at this address")
    parser.add_argument("--shard", metavar="I/N", help="only the I-th of N parts, counted from 1, as a job array gives")
    parser.add_argument("--again", action="store_true", help="do again what was done before")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON")


def run(options: argparse.Namespace) -> int:
    """Find the clips, do what isn't done yet, and write the summary."""
    import os
    from pathlib import Path

    from surefoot.batch.progress import Progress
    from surefoot.batch.running import on_cluster, run_here
    from surefoot.batch.summary import Journal, holds, ordered, read_journals, save_summary
    from surefoot.batch.task import RANKS, Settings, find_tasks
    from surefoot.commands.as_json import print_json
    from surefoot.commands.job import check_named
    from surefoot.errors import InputError
    from surefoot.save import sweep

    if options.output is None:
        raise InputError("name the folder that results and the summary go to", place="--output")
    shard = _shard(options.shard)
    processes = os.cpu_count() or 1 if options.processes is None else options.processes
    if not 1 <= processes <= 1024:
        raise InputError(f"wanted a number of processes from 1 to 1024, got {processes}", place="--processes")
    settings = Settings(
        options.check, options.rig, options.map, options.ground, options.belt, tuple(options.tolerance),
        options.every_frame, _suffix(options.to),
    )  # fmt: skip
    out = Path(options.output)
    if out.exists() and not out.is_dir():
        raise InputError(f"{out} is a file; name a folder", place="--output")
    if not options.check and out.is_dir() and Path(options.folder).is_dir() and out.samefile(options.folder):
        raise InputError(f"{out} is the folder of the clips too; name another, so that they stay", place="--output")
    check_named(options)
    tasks = find_tasks(options.folder, out, settings)
    tasks = tasks if shard is None else tasks[shard[0] - 1 :: shard[1]]
    if shard is None:  # other shards may be writing at this moment
        sweep(out)
    known = {} if options.again else read_journals(out)
    rows = {task.name: known[task.name] for task in tasks if holds(known.get(task.name), task, out)}
    left = [task for task in tasks if task.name not in rows]
    journal, progress = Journal(out, shard), Progress(len(tasks), len(rows))

    def told(row: dict[str, object]) -> None:
        journal.add(row)
        rows[str(row["clip"])] = row
        progress.step(failed=row["status"] == "failed")

    try:
        if left and options.scheduler is not None:
            on_cluster(left, settings, address=options.scheduler, told=told)
        elif left:
            run_here(left, settings, processes=processes, told=told)
    finally:
        progress.end()
        journal.close()
    paths = save_summary(rows.values(), out, shard)
    listed = ordered(rows.values())
    if options.json:
        shown = [{k: v for k, v in row.items() if k not in ("stamp", "rig")} for row in listed]
        print_json({"clips": shown, "written": paths})
    else:
        _print(listed, len(tasks) - len(left), paths)
    bad = any(row["status"] == "failed" or RANKS.index(row.get("worst", "clean")) > 1 for row in listed)
    return 1 if bad else 0


def _print(rows: list[dict[str, object]], kept: int, paths: list[str]) -> None:
    shown = 20
    for row in rows[:shown]:
        if row["status"] == "failed":
            print(f"failed   {row['clip']}: {row['reason']}")
        elif row["worst"] != "clean":
            print(f"{row['worst']!s:8} {row['clip']}: {row['kind']} {row['where']}, {row['amount']:.4g} {row['unit']}")
    if len(rows) > shown:
        print(f"and {len(rows) - shown} more, in the summary")
    words = [f"{len(rows)} clips"] + ([f"{kept} of them done before"] if kept else [])
    failed = sum(row["status"] == "failed" for row in rows)
    print(", ".join([*words, f"{failed} failed"]))
    for caution in sorted({str(row["caution"]) for row in rows if row.get("caution")}):
        print(f"stairs, ramps and kerbs are {caution}")
    for path in paths:
        print(f"written: {path}")


def _shard(text: str | None) -> tuple[int, int] | None:
    from surefoot.errors import InputError

    if text is None:
        return None
    first, _, last = text.partition("/")
    if not (first.isdecimal() and last.isdecimal() and 1 <= int(first) <= int(last)):
        raise InputError(f"wanted a part such as 3/8, got {text!r}", place="--shard")
    return int(first), int(last)


def _suffix(text: str) -> str:
    from surefoot.errors import InputError
    from surefoot.formats.opening import by_suffix

    suffix = text.lower() if text.startswith(".") or not text else f".{text.lower()}"
    written = [name for name, form in by_suffix().items() if form.written]
    if suffix and suffix not in written:
        raise InputError(f"wanted one of {', '.join(written)}, got {text!r}", place="--to")
    return suffix
