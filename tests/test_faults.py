"""A full disk, a kill in the middle of a write, names that are no UTF-8: nothing is lost, nothing half written."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import surefoot
from surefoot.clip_file import clip_bytes
from tests.faulty import unwatched

LIMIT = 4096
"""Bytes that a file may have where the disk is made to be full."""


def full() -> None:
    """Let the process that is to come write no longer file; it gets an error, not a signal."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT, LIMIT))


def names(folder: Path) -> list[bytes]:
    return sorted(os.listdir(os.fsencode(folder)))


def test_planting_onto_a_full_disk_keeps_the_older_file_and_leaves_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "planted.json"
    out.write_bytes(b"older")
    command = [sys.executable, "-m", "surefoot", "plant", "lamplighter", "--rig", "lamplighter", "-o", str(out)]
    done = subprocess.run(
        command, preexec_fn=full, capture_output=True, text=True, cwd=tmp_path, timeout=60, env=unwatched()
    )
    assert done.returncode == 2, done.stderr
    assert "can't be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert out.read_bytes() == b"older"
    assert names(tmp_path) == [b"planted.json"]


def test_a_batch_onto_a_full_disk_tells_it_and_is_taken_up_when_there_is_room(tmp_path: Path) -> None:
    lib, out = tmp_path / "lib", tmp_path / "out"
    lib.mkdir()
    clip, _ = surefoot.demo("lamplighter")
    for name in ("a.json", "b.json"):
        (lib / name).write_bytes(clip_bytes(clip))
    command = [sys.executable, "-m", "surefoot", "batch", str(lib), "-o", str(out), "--rig", "lamplighter"]
    tight = [sys.executable, "-c", "import resource, runpy, signal, sys\n"
             "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
             "resource.setrlimit(resource.RLIMIT_FSIZE, (150, 150))\n"
             "sys.argv[0] = 'surefoot'\nrunpy.run_module('surefoot', run_name='__main__')", *command[3:]]  # fmt: skip
    done = subprocess.run([*tight, "--processes", "1"], capture_output=True, text=True, timeout=60, env=unwatched())
    assert done.returncode == 2, done.stderr
    assert "can't be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert names(out) == [b".surefoot-batch.jsonl"]
    again = subprocess.run([*command, "--processes", "1"], capture_output=True, text=True, timeout=60)
    assert again.returncode in (0, 1), again.stderr
    for name in ("a.json", "b.json"):
        assert surefoot.load_clip(out / name).frames == clip.frames


def test_a_kill_at_any_moment_leaves_the_older_file_or_the_newer(tmp_path: Path) -> None:
    """The child writes over one file again and again, in turn with two contents, until it's killed."""
    out = tmp_path / "a.json"
    script = f"""
from surefoot.save import save_bytes
k = 0
while True:
    save_bytes(b"ab"[k % 2 : k % 2 + 1] * 300_000, {str(out)!r})
    k += 1
"""
    for wait in (0.0, 0.003, 0.007, 0.013):
        child = subprocess.Popen([sys.executable, "-c", script])
        try:
            until = time.monotonic() + 30.0
            while not out.exists() and time.monotonic() < until:
                time.sleep(0.002)
            time.sleep(wait)
        finally:
            child.kill()
            child.wait()
        assert out.read_bytes() in (b"a" * 300_000, b"b" * 300_000)
        out.unlink()
    assert all(name.startswith(b".a.json.") and name.endswith(b".part") for name in names(tmp_path))


def test_a_clip_whose_name_is_no_utf_8_is_planted(tmp_path: Path) -> None:
    clip, _ = surefoot.demo("lamplighter")
    source, target = (os.path.join(os.fsencode(tmp_path), name) for name in (b"w\xe4lk.json", b"pl\xe4nt.json"))
    Path(os.fsdecode(source)).write_bytes(clip_bytes(clip))
    command = [sys.executable, "-m", "surefoot", "plant", source, "--rig", "lamplighter", "-o", target]
    done = subprocess.run(command, capture_output=True, timeout=60)
    assert done.returncode in (0, 1), done.stderr
    assert b"Traceback" not in done.stderr
    assert surefoot.load_clip(os.fsdecode(target)).frames == clip.frames
