"""A folder of clips: done whole, taken up after a kill, shared out, and stopped by no bad file."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import surefoot
from surefoot.batch import running as batch_running
from surefoot.batch import task as batch_task
from surefoot.batch.running import on_cluster, run_here
from surefoot.batch.summary import ordered, read_journals
from surefoot.batch.task import Row, Settings, Task, do_task, find_tasks
from surefoot.cli import main
from surefoot.errors import InputError
from tests.clip_folders import JOURNAL, descendants, held, library


def batch(*words: str) -> int:
    return main(["batch", *words])


@pytest.fixture(name="inside")
def inside_fixture(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do the tasks in this process, where what is tested isn't the processes: starting those takes seconds."""

    def run(tasks: Sequence[Task], settings: Settings, *, processes: int, told: Callable[[Row], None]) -> None:
        assert processes == 1
        for task in tasks:
            told(do_task(task, settings))

    monkeypatch.setattr(batch_running, "run_here", run)


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="file names are Unicode there")
@pytest.mark.parametrize("to", ["", ".glb"])
@pytest.mark.usefixtures("inside")
def test_a_name_that_is_not_utf8_is_done_like_any_other_told_and_not_done_again(
    to: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib, out = tmp_path / "lib", tmp_path / "out"
    lib.mkdir()
    for name in (b"fair.json", b"caf\xe9.json", b"broken\xff.json"):
        surefoot.save_clip(surefoot.demo("lamplighter")[0], os.path.join(lib, os.fsdecode(name)))
    with open(os.path.join(lib, os.fsdecode(b"broken\xff.json")), "wb") as file:
        file.write(b"{")
    words = (str(lib), "-o", str(out), "--processes", "1", *(["--to", to] if to else []))
    assert batch(*words) == 1
    rows = {row["clip"]: row for row in json.loads((out / "batch-summary.json").read_text())["clips"]}
    assert {name: row["status"] for name, row in rows.items()} == {
        "fair.json": "done", "caf\\xe9.json": "done", "broken\\xff.json": "failed",
    }  # fmt: skip
    assert os.path.exists(os.path.join(os.fsencode(out), b"caf\xe9.json" + to.encode()))
    capsys.readouterr()
    batch(*words)
    assert "3 clips, 2 of them done before, 1 failed" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--rig", "nobody"), "--rig: no rig is called 'nobody'"),
        (("--map", "nowhere.toml"), "nowhere.toml: can't be read"),
        (("--ground", "cloud"), "--ground: no ground file or preset is called 'cloud'"),
        (("--belt", "fast"), "--belt: wanted metres a second"),
        (("--tolerance", "slide=2"), "--tolerance slide: wanted an amount"),
    ],
)
def test_an_option_that_no_clip_can_be_done_with_is_told_once(
    words: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib, out = library(tmp_path / "lib", 2), tmp_path / "out"
    assert batch(str(lib), "-o", str(out), *words) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not out.exists()


def test_a_file_in_place_of_the_folder_for_results_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "lib").mkdir()
    (tmp_path / "file").write_text("")
    assert batch(str(tmp_path / "lib"), "-o", str(tmp_path / "file")) == 2
    assert capsys.readouterr().err.endswith("file is a file; name a folder\n")


def test_a_folder_is_planted_with_its_paths_kept_and_the_worst_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib, out = library(tmp_path / "lib", 5), tmp_path / "out"
    assert batch(str(lib), "-o", str(out), "--processes", "2") == 1
    files = held(out)
    assert {f"{n % 3}/{n:03d}.json" for n in range(5)} <= set(files)
    rows = json.loads(files["batch-summary.json"])["clips"]
    assert [row["clip"] for row in rows[:2]] == ["0/bad.json", "0/cut.glb"]
    assert rows[0]["status"] == "failed"
    assert "bad.json" in rows[0]["reason"]
    ranks = [("clean", "note", "warning", "error").index(row["worst"]) for row in rows[2:]]
    assert ranks == sorted(ranks, reverse=True)
    assert [row["clip"] for row in csv.DictReader(files["batch-summary.csv"].decode().splitlines())] == [
        row["clip"] for row in rows
    ]
    for row in rows[2:]:
        clip = surefoot.load_clip(out / row["output"])
        report = surefoot.check(clip, surefoot.load_rig("lamplighter"))
        assert (report.worst or "clean") == row["worst"]
    assert "7 clips, 2 failed" in capsys.readouterr().out


def test_what_was_killed_is_taken_up_and_ends_the_same(tmp_path: Path) -> None:
    lib, whole, cut = library(tmp_path / "lib", 12), tmp_path / "whole", tmp_path / "cut"
    batch(str(lib), "-o", str(whole), "--processes", "2")
    command = [sys.executable, "-m", "surefoot", "batch", str(lib), "-o", str(cut), "--processes", "2"]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True)
    deadline = time.monotonic() + 60.0
    while running.poll() is None and time.monotonic() < deadline:
        if (cut / JOURNAL).is_file() and (cut / JOURNAL).read_bytes().count(b"stamp") >= 3:
            break
        time.sleep(0.005)
    os.killpg(running.pid, 9)
    running.wait()
    done = len(read_journals(cut))
    assert 3 <= done < 14
    assert not (cut / "batch-summary.json").exists()
    with open(cut / JOURNAL, "ab") as journal:
        journal.write(b'{"clip": "0/000.json", "sta')  # a line cut short by the kill
    before = {path: path.stat().st_mtime_ns for path in cut.rglob("0*.json")}
    batch(str(lib), "-o", str(cut), "--processes", "2")
    assert held(cut) == held(whole)
    kept = [row["output"] for row in list(read_journals(cut).values())[:1]]
    assert all((cut / name).stat().st_mtime_ns == before.get(cut / name, -1) for name in kept if cut / name in before)


@pytest.mark.usefixtures("inside")
def test_what_is_done_is_not_done_again_unless_it_changed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lib, out = library(tmp_path / "lib", 3, bad=False), tmp_path / "out"
    batch(str(lib), "-o", str(out), "--processes", "1")
    capsys.readouterr()
    stamp = (out / "0/000.json").stat().st_mtime_ns
    batch(str(lib), "-o", str(out), "--processes", "1")
    assert "3 of them done before" in capsys.readouterr().out
    (lib / "1/001.json").write_bytes((lib / "2/002.json").read_bytes())
    (out / "2/002.json").unlink()
    batch(str(lib), "-o", str(out), "--processes", "1")
    assert "1 of them done before" in capsys.readouterr().out
    assert (out / "0/000.json").stat().st_mtime_ns == stamp
    assert (out / "1/001.json").read_bytes() == (out / "2/002.json").read_bytes()
    batch(str(lib), "-o", str(out), "--every-frame", "--processes", "1")
    assert "done before" not in capsys.readouterr().out, "another setting is another job"


@pytest.mark.usefixtures("inside")
@pytest.mark.parametrize("word", [(), ("--check",)])
def test_a_rig_beside_the_clips_that_changes_makes_their_results_old(
    word: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib, out = library(tmp_path / "lib", 3, bad=False), tmp_path / "out"
    clip, rig = surefoot.demo("lamplighter")
    surefoot.save_rig(rig, lib / "1" / "own.toml")
    surefoot.save_clip(replace(clip, rig="own.toml"), lib / "1" / "001.json")
    asked = (str(lib), "-o", str(out), "--processes", "1", "--json", *word)
    batch(*asked)
    assert "own.toml" not in capsys.readouterr().out
    before = read_journals(out)["1/001.json"]
    batch(*asked)
    assert read_journals(out)["1/001.json"] == before
    surefoot.save_rig(replace(rig, reach=0.97), lib / "1" / "own.toml")
    batch(*asked)
    after = read_journals(out)["1/001.json"]
    assert before["rig"] != after["rig"]
    (out / JOURNAL).write_bytes((out / JOURNAL).read_bytes() + b'{"clip": "\xff"}\n')  # damaged by a crash
    batch(*asked)
    assert read_journals(out)["1/001.json"] == after


@pytest.mark.usefixtures("inside")
def test_what_failed_is_tried_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was wrong may lie outside the clip: a full disk, a library that isn't there."""
    lib, out = library(tmp_path / "lib", 1, bad=False), tmp_path / "out"
    (out / "0").mkdir(parents=True)
    (out / "0/000.json").mkdir()
    assert batch(str(lib), "-o", str(out), "--processes", "1") == 1
    assert "can't be written: it is a folder" in capsys.readouterr().out
    (out / "0/000.json").rmdir()
    batch(str(lib), "-o", str(out), "--processes", "1")
    assert "1 clips, 0 failed" in capsys.readouterr().out
    assert (out / "0/000.json").is_file()


@pytest.mark.usefixtures("inside")
def test_half_written_files_of_a_killed_run_are_swept_but_by_no_shard(tmp_path: Path) -> None:
    lib, out = library(tmp_path / "lib", 1, bad=False), tmp_path / "out"
    (out / "0").mkdir(parents=True)
    left, other = out / "0/.000.json.0123456789ab.part", out / "0/.mine.part"
    for path in (left, other):
        path.write_text("{")
    batch(str(lib), "-o", str(out), "--processes", "1", "--shard", "1/1")
    assert left.exists()
    batch(str(lib), "-o", str(out), "--processes", "1")
    assert not left.exists()
    assert other.exists()


@pytest.mark.usefixtures("inside")
def test_shards_together_do_what_one_run_does(tmp_path: Path) -> None:
    lib, whole, parts = library(tmp_path / "lib", 7), tmp_path / "whole", tmp_path / "parts"
    batch(str(lib), "-o", str(whole), "--processes", "1")
    counts = []
    for part in (1, 2, 3):
        batch(str(lib), "-o", str(parts), "--shard", f"{part}/3", "--processes", "1")
        counts.append(len(json.loads((parts / f"batch-summary-{part}-of-3.json").read_text())["clips"]))
    assert counts == [3, 3, 3]
    batch(str(lib), "-o", str(parts), "--processes", "1")  # nothing is left but the summary of all
    there = {name: data for name, data in held(parts).items() if "-of-3" not in name}
    assert there == held(whole)


def test_a_local_cluster_of_two_gives_the_same_files(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    lib, here, there = library(tmp_path / "lib", 6), tmp_path / "here", tmp_path / "there"
    batch(str(lib), "-o", str(here), "--processes", "1")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=str(tmp_path / "dask")
    ) as cluster:
        batch(str(lib), "-o", str(there), "--scheduler", cluster.scheduler_address)
    assert held(there) == held(here)


def test_a_scheduler_that_is_not_there_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lib = library(tmp_path / "lib", 1)
    assert batch(str(lib), "-o", str(tmp_path / "out"), "--scheduler", "nonsense://1") == 2
    assert "no scheduler answers there" in capsys.readouterr().err


def _end(_: str) -> Any:
    os._exit(3)


class Bomb:
    """Ends the process in which it is unpacked."""

    def __reduce__(self) -> Any:
        return _end, ("",)


def test_a_clip_that_ends_its_process_stops_no_other(tmp_path: Path) -> None:
    lib = library(tmp_path / "lib", 4, bad=False)
    tasks = find_tasks(lib, tmp_path / "out", Settings())
    tasks[1] = replace(tasks[1], stamp=Bomb())  # type: ignore[arg-type]
    rows: list[Row] = []
    run_here(tasks, Settings(), processes=2, told=rows.append)
    found = {row["clip"]: row["status"] for row in rows}
    assert found.pop(tasks[1].name) == "failed"
    assert set(found.values()) == {"done"}
    assert len(found) == 3


def test_a_fault_of_our_own_is_told_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lib = library(tmp_path / "lib", 1, bad=False)
    (task,) = find_tasks(lib, tmp_path / "out", Settings())

    def broken(*_: object) -> Row:
        raise RuntimeError("not meant")

    monkeypatch.setattr(batch_task, "_done", broken)
    assert do_task(task, Settings())["reason"] == "fault: RuntimeError: not meant"


def test_every_format_is_taken_and_may_become_another(tmp_path: Path) -> None:
    lib, out = tmp_path / "lib", tmp_path / "out"
    lib.mkdir()
    for name in ("walk.csv", "walk.glb", "walk.usda"):
        assert main(["convert", "lamplighter", str(lib / name), "--rig", "lamplighter"]) == 0
    batch(str(lib), "-o", str(out), "--to", ".glb", "--processes", "1")
    files = held(out)
    assert {"walk.csv.glb", "walk.glb", "walk.usda.glb", "walk.glb.map.toml"} <= set(files)
    rows = json.loads(files["batch-summary.json"])["clips"]
    assert {(row["status"], row["worst"]) for row in rows} == {("done", "note")}


def test_checking_writes_only_the_summary(tmp_path: Path) -> None:
    lib, out = library(tmp_path / "lib", 2, bad=False), tmp_path / "out"
    assert batch(str(lib), "-o", str(out), "--check", "--processes", "1") == 1
    assert set(held(out)) == {"batch-summary.csv", "batch-summary.json"}


def test_results_inside_the_folder_are_not_taken_for_clips(tmp_path: Path) -> None:
    lib = library(tmp_path / "lib", 1, bad=False)
    batch(str(lib), "-o", str(lib / "out"), "--processes", "1")
    assert [task.name for task in find_tasks(lib, lib / "out", Settings())] == ["0/000.json"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--shard", "3/2"], "--shard: wanted a part such as 3/8"),
        (["--to", ".bvh"], "--to: wanted one of"),
        (["--processes", "0"], "--processes: wanted a number"),
        (["--no-out"], "--output: name the folder that results and the summary go to"),
    ],
)
def test_wrong_options_are_told(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lib = library(tmp_path / "lib", 1)
    given = [] if words == ["--no-out"] else ["-o", str(tmp_path / "out"), *words]
    assert batch(str(lib), *given) == 2
    assert told in capsys.readouterr().err


def test_a_folder_without_clips_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert batch(str(tmp_path), "-o", str(tmp_path / "out")) == 2
    assert "no clip is in it" in capsys.readouterr().err
    assert batch(str(tmp_path / "nowhere"), "-o", str(tmp_path / "out")) == 2
    (tmp_path / "a.bvh").write_text("x")
    (tmp_path / "a.bvh.json").write_text("x")
    with pytest.raises(InputError, match="would both go to"):
        find_tasks(tmp_path, tmp_path / "out", Settings())


def test_failures_come_first_then_levels_then_shares() -> None:
    rows: list[Row] = [
        {"clip": "a", "status": "done", "worst": "note", "share": 9.0},
        {"clip": "b", "status": "done", "worst": "error", "share": 1.5},
        {"clip": "c", "status": "failed"},
        {"clip": "d", "status": "done", "worst": "error", "share": 2.5},
        {"clip": "e", "status": "done", "worst": "clean"},
    ]
    assert [row["clip"] for row in ordered(rows)] == ["c", "d", "b", "a", "e"]


def test_the_cluster_is_an_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"pip install 'surefoot\[cluster\]'"):
        on_cluster([], Settings(), address="tcp://127.0.0.1:1", told=lambda _: None)


@pytest.mark.skipif(not Path("/proc/self/schedstat").exists(), reason="only Linux lists processes so")
def test_a_worker_that_a_cluster_gives_up_stops_no_other_clip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tasks = find_tasks(library(tmp_path / "lib", 3, bad=False), tmp_path / "out", Settings())

    class Cluster(ThreadPoolExecutor):
        def __init__(self, *_: object, **__: object) -> None:
            super().__init__(1)

        def ncores(self) -> dict[str, int]:
            return {"here": 1}

        def get_executor(self, **_: object) -> ThreadPoolExecutor:
            return self

        def close(self) -> None:
            self.shutdown()

    def lost(task: Task, _: Settings) -> Row:
        if task.name == "1/001.json":
            raise ConnectionError("the worker is gone")
        return {"clip": task.name, "status": "done"}

    monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=Cluster))
    monkeypatch.setattr(batch_running, "do_task", lost)
    rows: list[Row] = []
    on_cluster(tasks, Settings(), address="tcp://127.0.0.1:1", told=rows.append)
    assert [(row["clip"], row["status"]) for row in sorted(rows, key=lambda row: row["clip"])] == [
        ("0/000.json", "done"), ("1/001.json", "failed"), ("2/002.json", "done"),
    ]  # fmt: skip
    assert [row.get("reason") for row in rows if row["status"] == "failed"] == ["its process was lost: ConnectionError"]


def test_a_killed_batch_leaves_no_process_behind(tmp_path: Path) -> None:
    lib, out = library(tmp_path / "lib", 30), tmp_path / "out"
    command = [sys.executable, "-m", "surefoot", "batch", str(lib), "-o", str(out), "--processes", "2"]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    deadline = time.monotonic() + 60.0
    while not ((out / JOURNAL).is_file() and (out / JOURNAL).stat().st_size) and time.monotonic() < deadline:
        time.sleep(0.01)
    left = descendants(running.pid)
    assert len(left) >= 2
    running.kill()
    running.wait()
    while any(Path(f"/proc/{one}").exists() for one in left) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not [one for one in left if Path(f"/proc/{one}").exists()]
