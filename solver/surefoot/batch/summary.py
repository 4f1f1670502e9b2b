"""The journal that a batch keeps as it goes, and the summary that it ends with."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import msgspec

from surefoot.batch.task import RANKS, Row, Task, state_of
from surefoot.errors import FileError
from surefoot.save import save_all

__all__ = ["COLUMNS", "Journal", "holds", "ordered", "read_journals", "save_summary"]

COLUMNS = (
    "clip", "status", "before", "worst", "errors", "warnings", "notes", "kind", "where", "frame", "amount", "unit",
    "share", "frames", "output", "reason", "caution",
)  # fmt: skip
PREFIX = ".surefoot-batch"


class Journal:
    """Rows appended to a file as they come; a line cut short by a kill is left out when read."""

    def __init__(self, out: Path, shard: tuple[int, int] | None) -> None:
        name = PREFIX if shard is None else f"{PREFIX}-{shard[0]}-of-{shard[1]}"
        self.path = out / f"{name}.jsonl"
        try:
            out.mkdir(parents=True, exist_ok=True)
            self._file = open(self.path, "ab")  # noqa: SIM115
        except OSError as error:
            raise FileError(f"can't be written: {error.strerror}", place=str(self.path)) from None

    def add(self, row: Row) -> None:
        """Append one row, at once; raises FileError where the disk is full."""
        try:
            self._file.write(b"\n" + msgspec.json.encode(row) + b"\n")  # the first newline ends a line cut short before
            self._file.flush()
        except OSError as error:
            raise FileError(f"can't be written: {error.strerror}", place=str(self.path)) from None

    def close(self) -> None:
        """Close the file; raises FileError where the disk is full."""
        try:
            self._file.close()
        except OSError as error:
            raise FileError(f"can't be written: {error.strerror}", place=str(self.path)) from None


def read_journals(out: Path) -> dict[str, Row]:
    """Return the last row of each clip in all journals of a folder, whichever shard wrote it."""
    found: dict[str, Row] = {}
    for path in sorted(out.glob(f"{PREFIX}*.jsonl")):
        for line in path.read_bytes().splitlines():
            try:
                row = msgspec.json.decode(line)
            except (msgspec.DecodeError, UnicodeDecodeError):
                continue
            if isinstance(row, dict) and isinstance(row.get("clip"), str):
                found[row["clip"]] = row
    return found


def holds(row: Row | None, task: Task, out: Path) -> bool:
    """Return whether a journal's row still tells of clip and rig as they are, it went well, and its result is there."""
    if row is None or row.get("stamp") != task.stamp or row.get("status") != "done":
        return False
    match row.get("rig"):
        case [str(path), state] if state_of(Path(path)) != state:
            return False
    return not row.get("output") or (out / task.output).is_file()


def ordered(rows: Iterable[Row]) -> list[Row]:
    """Return the rows by worst finding first: what failed, then by level, then by how far beyond its limit."""

    def rank(row: Row) -> tuple[Any, ...]:
        level = len(RANKS) if row["status"] == "failed" else RANKS.index(row.get("worst", "clean"))
        return (-level, -float(row.get("share") or 0.0), row["clip"])

    return sorted(rows, key=rank)


def save_summary(rows: Iterable[Row], out: Path, shard: tuple[int, int] | None) -> list[str]:
    """Write the summary as CSV and JSON, sorted by worst finding, and return the two paths."""
    listed = [{name: row.get(name) for name in COLUMNS} for row in ordered(rows)]
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in listed)
    stem = "batch-summary" if shard is None else f"batch-summary-{shard[0]}-of-{shard[1]}"
    paths = [str(out / f"{stem}{suffix}") for suffix in (".csv", ".json")]
    table = msgspec.json.format(msgspec.json.encode({"surefoot": "batch/1", "clips": listed}), indent=1)
    save_all([(text.getvalue().encode(), paths[0]), (table + b"\n", paths[1])])
    return paths
