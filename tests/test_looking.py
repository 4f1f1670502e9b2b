"""A file looked at by another process first: what that process meets befalls nobody else."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import pytest

import surefoot
from surefoot.errors import FileError, InputError
from surefoot.formats import apart, looking
from surefoot.formats.c3d import read_c3d
from surefoot.formats.looking import CRASHED, GOOD, SLOW, TOLD, Lookout, exit_told, look_first, room_for, seconds_for
from surefoot.formats.opening import clip_files
from tests.captures import write_treadmill_c3d

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no forks")


@pytest.fixture(name="lookout")
def lookout_fixture() -> object:
    standing = Lookout()
    yield standing
    standing.close()


@pytest.fixture(name="files")
def files_fixture(tmp_path: Path) -> dict[str, Path]:
    clip, rig = surefoot.demo("lamplighter")
    stage = tmp_path / "walk.usdc"
    stage.write_bytes(clip_files(clip, rig, stage)[0][0])
    capture = write_treadmill_c3d(tmp_path / "walk.c3d", frames=12)
    cut = tmp_path / "cut.usdc"
    cut.write_bytes(stage.read_bytes()[:-2000])
    return {"stage": stage, "capture": capture, "cut": cut}


def test_standing_and_starting_anew_tell_the_same(lookout: Lookout, files: dict[str, Path]) -> None:
    for name, status in (("stage", GOOD), ("capture", GOOD), ("cut", TOLD)):
        once, standing = looking._look_once(files[name]), lookout.look(files[name])
        assert once == standing
        assert once[0] == status
    assert "OpenUSD can't read it" in lookout.look(files["cut"])[1]


def test_many_looks_cost_little_and_leave_no_process_behind(lookout: Lookout, files: dict[str, Path]) -> None:
    lookout.look(files["capture"])
    start = time.process_time()
    assert [lookout.look(files["capture"])[0] for _ in range(40)] == [GOOD] * 40
    assert time.process_time() - start < 1.0
    process = lookout._process
    assert process is not None
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    assert not children.exists() or not children.read_text().strip()


def test_a_lookout_that_was_lost_is_begun_again(lookout: Lookout, files: dict[str, Path]) -> None:
    assert lookout.look(files["capture"])[0] == GOOD
    assert lookout._process is not None
    lookout._process.kill()
    lookout._process.wait()
    assert lookout.look(files["capture"])[0] == GOOD


def hold_for_ever(_: str) -> None:
    while True:
        pass


def hold_all_memory(_: str) -> None:
    bytearray(10 << 30)


def hold_and_crash(_: str) -> None:
    os.kill(os.getpid(), signal.SIGKILL)  # as for a crash, but nothing is printed


def hold_and_wait(_: str) -> None:
    time.sleep(60.0)


@pytest.mark.parametrize(
    ("reader", "status"),
    [(hold_for_ever, SLOW), (hold_all_memory, CRASHED), (hold_and_crash, CRASHED), (hold_and_wait, SLOW)],
)
def test_a_fork_is_bound_in_time_and_memory_and_may_crash(
    reader: object, status: int, files: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "hold_c3d", reader)
    seconds = 0.2 if status == SLOW else 3.0  # long enough for a busy machine to refuse the memory
    monkeypatch.setattr(apart, "seconds_for", lambda _: seconds)
    start = time.monotonic()
    assert apart._forked(str(files["capture"])) == (status, "")
    assert time.monotonic() - start < 10.0


def test_what_is_told_names_the_file(files: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    for status, told in ((SLOW, "far too long"), (CRASHED, "crashes or fills the memory"), (TOLD, "it can't be read")):
        monkeypatch.setattr(looking, "_look_once", lambda _, status=status: (status, ""))
        with pytest.raises(FileError, match=rf"walk\.c3d: .*{told}"):
            look_first(files["capture"])


@pytest.mark.parametrize("suffix", [".c3d", ".usdc"])
def test_a_larger_file_may_take_more_and_a_small_one_little(suffix: str, tmp_path: Path) -> None:
    path, told = tmp_path / f"a{suffix}", []
    for size in (0, 10_000, 100_000, 1_000_000, 100_000_000):
        with open(path, "wb") as file:
            file.truncate(size)
        told.append((seconds_for(path), room_for(path) / (1 << 30)))
    assert told == sorted(told)
    assert told[1] < (7.1, 1.2)
    assert 100.0 < told[-1][0] < 130.0
    assert 6.0 < told[-1][1] < 10.5


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="no such signals")
def test_a_process_ended_for_its_time_was_slow_and_for_anything_else_crashed() -> None:
    assert [exit_told(code) for code in (0, 2, 3, 1, -11, -6, -9, -24)] == [
        GOOD, TOLD, SLOW, CRASHED, CRASHED, CRASHED, CRASHED, SLOW
    ]  # fmt: skip


def test_a_library_that_is_not_there_is_told_as_that(files: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ezc3d", None)
    with pytest.raises(InputError, match=r"pip install 'surefoot\[c3d\]'"):
        read_c3d(files["capture"])


def test_a_capture_cut_short_is_told_and_not_taken_for_a_shorter_one(files: dict[str, Path]) -> None:
    whole = files["capture"].read_bytes()
    assert read_c3d(files["capture"]).world.shape[1] == 12
    files["capture"].write_bytes(whole[:-1500])
    with pytest.raises(FileError, match="cut short: 8 of 12 frames are there"):
        read_c3d(files["capture"])
