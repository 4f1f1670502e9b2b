"""Whatever a command writes, at whichever step the system refuses: one sentence, status 2, the older file whole."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import surefoot
from surefoot.cli import main
from surefoot.clip_file import clip_bytes
from surefoot.commands import COMMANDS
from tests.faulty import faults

FAULTS = (errno.ENOSPC, errno.EROFS, errno.EACCES)
WRITING = {
    "block": "block walk -o out.json",
    "plant": "plant walk.json -o out.json --layer layer.json",
    "remix": "remix walk.json --scale hips=0.9 -o out.json",
    "twin": "twin walk.json --from left -o out.json",
    "travel": "travel walk.json --speed 1.2 --by stride -o out.json",
    "convert to JSON": "convert walk.json out.json --style rockers",
    "convert to CSV": "convert walk.json out.csv",
    "convert to glTF": "convert walk.json out.gltf",
    "convert to binary glTF": "convert walk.json out.glb",
    "convert to OpenUSD": "convert walk.json out.usda",
    "convert to binary OpenUSD": "convert walk.json out.usdc",
    "map": "map walk.glb -o out.toml",
    "rig": "rig fit walk.glb -o out.toml",
    "report": "report walk.json -o out.html",
    "draw": "draw walk.json -o out.svg --pictures gait",
    "draw as PNG": "draw walk.json -o out.png --pictures gait",
    "rpc": "rpc --client out.py",
    "batch": "batch lib -o done --processes 1 --check",
    "demo": "demo lamps",
}
"""A command line of each command that writes files, run in a folder with these clips."""
ANEW = {"batch", "demo", "rig", "block", "remix", "twin", "travel"}
"""What needn't be killed as well: it writes by the same writer as another, or into a new folder."""
SILENT = {"check", "formats", "page"}
"""Commands that write none, and the page, which has tests of its own."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    clip, _ = surefoot.demo("lamplighter")
    (tmp_path / "walk.json").write_bytes(clip_bytes(clip))
    (tmp_path / "lib").mkdir()
    (tmp_path / "lib" / "a.json").write_bytes(clip_bytes(clip))
    monkeypatch.chdir(tmp_path)
    main(["convert", "walk.json", "walk.glb"])
    capsys.readouterr()
    return tmp_path


def held(folder: Path) -> dict[str, bytes]:
    """Return the files by name, but for what a measure of coverage leaves behind where a process of a batch ends."""
    files = [p for p in folder.rglob("*") if p.is_file() and not p.name.startswith(".coverage.")]
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in files}


def test_every_command_that_writes_is_tried() -> None:
    assert {words.split()[0] for words in WRITING.values()} | SILENT == set(COMMANDS)


@pytest.mark.parametrize("what", WRITING)
def test_a_refusal_at_any_step_is_one_sentence_and_leaves_the_older_files_whole(
    folder: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    """The disk is full, or read only, or the folder closed, at every step that changes a file, one after the other."""
    words = WRITING[what].split()
    before = held(folder)
    if what == "batch":  # once before, since starting the first process changes files too
        main(words)
        for name in held(folder).keys() - before.keys():
            (folder / name).unlink()
    with faults(lambda _: None) as steps:
        if what != "demo":
            assert main(words) in (0, 1)
    made = {name: data for name, data in held(folder).items() if before.get(name) != data}
    assert bool(made) == (what != "demo")
    if what == "demo":
        steps = ["os.mkdir", "open"]  # its folder and its first file: the rest is other commands' work
    for number in range(1, len(steps) + 1):
        for name in held(folder).keys() - before.keys():
            (folder / name).unlink()
        if what == "demo" and (folder / "lamps").is_dir():
            (folder / "lamps").rmdir()
        for name in () if what in ("batch", "demo") else made:
            (folder / name).write_bytes(b"older")
        older = held(folder)
        fault = FAULTS[number % len(FAULTS)]

        def refuse(step: int, number: int = number, fault: int = fault) -> None:
            if step >= number:
                raise OSError(fault, os.strerror(fault))

        capsys.readouterr()
        with faults(refuse) as tried:
            status = main(words)
        told = capsys.readouterr().err
        assert status == 2, (number, told)
        assert told.startswith("surefoot: "), (number, told)
        assert told.count("\n") == 1, (number, told)
        assert os.strerror(fault) in told or "room" in told, (number, told)
        now = held(folder)
        if what == "batch":  # its journal may stand there already, and is read again
            now = {name: data for name, data in now.items() if not name.startswith("done/.")}
        assert now.keys() >= older.keys(), number
        replaced = {name for name in now if now[name] != older.get(name)}
        renames = tried[: number - 1].count("os.rename")
        assert len(replaced) <= renames, "what wasn't put in place yet is as it was"
        assert all(now[name] == made[name] for name in replaced), number


KILLING = """
import json, os, resource, signal, sys
from pathlib import Path
from surefoot.cli import main
from tests.faulty import faults

sys.stdout = sys.stderr = open(os.devnull, "w")
kill = lambda: os.kill(os.getpid(), signal.SIGKILL)
main(["convert", "walk.json", "warm.usdc"])  # every library is loaded once, before processes are made of this one


def child(words, step, size):
    process = os.fork()
    if process == 0:
        if size is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        with faults(lambda now: kill() if now == step else None):
            main(words)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


found = {}
for what, words in json.loads(sys.argv[1]).items():
    outs = [Path(name) for name in words if name.startswith(("out", "layer"))]
    for out in outs:
        out.write_bytes(b"older")
    assert child(words, 0, None) == 0
    new = {out.name: out.read_bytes() for out in outs}
    ends, broken = [], []
    size = max(map(len, new.values())) // 2
    for step, limit in [*((n, None) for n in range(1, 30)), (0, size)]:
        if ends and ends[-1] == 0 and limit is None:
            continue
        for out in outs:
            out.write_bytes(b"older")
        ends.append(child(words, step, limit))
        broken += [out.name for out in outs if out.read_bytes() not in (b"older", new[out.name])]
    found[what] = {"ends": ends, "broken": broken}
Path("found.json").write_text(json.dumps(found))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes aren't copied on this system")
def test_a_kill_at_any_step_of_any_writer_leaves_the_older_file_or_the_newer(folder: Path) -> None:
    """Killed before each change of a file, one after the other, and in the middle of a write, after half its bytes."""
    commands = {what: words.split() for what, words in WRITING.items() if what not in ANEW}
    root = str(Path(__file__).parents[1])
    search = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-c", KILLING, json.dumps(commands)], cwd=folder, timeout=120, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": search},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = json.loads((folder / "found.json").read_text())
    assert found.keys() == commands.keys()
    for what, one in found.items():
        assert one["broken"] == [], what
        assert one["ends"][-2] == 0, "it was killed at every step until there was none left"
        assert len(one["ends"]) >= 4, what
        assert set(one["ends"][:-2]) == {-9}, what
        assert one["ends"][-1] != 0, what
    strange = [name for name in held(folder) if name.startswith(".") and not name.endswith(".part")]
    assert strange == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
@pytest.mark.parametrize("words", ["check walk.json", "plant walk.json", "formats --json", "rig show adult"])
def test_output_that_cannot_be_written_is_one_sentence(folder: Path, words: str) -> None:
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "surefoot", *words.split()]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, cwd=folder, timeout=60)
    assert done.stderr == "surefoot: standard output: can't be written: No space left on device\n"
    assert done.returncode == 2
    assert sorted(p.name for p in folder.glob("*.json")) == ["walk.json"]


@pytest.mark.skipif(not Path("/sys/kernel").is_dir(), reason="there is no folder that is closed to everyone")
@pytest.mark.usefixtures("folder")
def test_a_folder_that_the_system_keeps_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", "walk.json", "-o", "/sys/kernel/out.json"]) == 2
    told = capsys.readouterr().err
    assert told.startswith("surefoot: /sys/kernel/out.json: can't be written: ")
    assert told.count("\n") == 1
