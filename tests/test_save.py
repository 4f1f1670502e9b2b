"""A file is written whole or not at all, and nothing else is left behind."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from surefoot.errors import FileError
from surefoot.save import save_all, save_bytes

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_what_is_written_is_what_was_given(tmp_path: Path) -> None:
    save_bytes(b"new", tmp_path / "a.json")
    assert (tmp_path / "a.json").read_bytes() == b"new"
    assert names(tmp_path) == ["a.json"]


def test_an_older_file_is_replaced_and_keeps_its_permissions(tmp_path: Path) -> None:
    target = tmp_path / "a.json"
    target.write_bytes(b"a much longer older text")
    target.chmod(0o640)
    save_bytes(b"new", str(target))
    assert target.read_bytes() == b"new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_a_link_stays_a_link_and_its_file_is_written(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_bytes(b"old")
    (tmp_path / "link.json").symlink_to("real.json")
    save_bytes(b"new", tmp_path / "link.json")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"


@pytest.mark.parametrize("step", ["open", "fdopen", "fsync", "replace"])
def test_a_failure_at_any_step_leaves_the_older_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    target = tmp_path / "a.json"
    target.write_bytes(b"old")
    monkeypatch.setattr(os, step, _failing)
    with pytest.raises(FileError, match="can't be written: No space left on device") as told:
        save_bytes(b"new", target)
    monkeypatch.undo()
    assert told.value.place == str(target)
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["a.json"]


def _failing(*_: object, **__: object) -> None:
    raise OSError(28, "No space left on device")


def test_of_several_files_none_is_touched_when_one_cannot_be_written(tmp_path: Path) -> None:
    first = tmp_path / "a.json"
    first.write_bytes(b"old")
    with pytest.raises(FileError, match="there is no folder"):
        save_all([(b"new", first), (b"more", tmp_path / "none" / "b.json")])
    assert first.read_bytes() == b"old"
    assert names(tmp_path) == ["a.json"]


def test_several_files_are_written_in_one_go(tmp_path: Path) -> None:
    save_all([(b"one", tmp_path / "a"), (b"two", tmp_path / "b")])
    assert [(tmp_path / name).read_bytes() for name in names(tmp_path)] == [b"one", b"two"]


def test_a_place_that_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="it is a folder; name a file"):
        save_bytes(b"x", tmp_path)
    with pytest.raises(FileError, match="there is no folder"):
        save_bytes(b"x", tmp_path / "none" / "a.json")
    with pytest.raises(FileError, match="null"):
        save_bytes(b"x", "a\0b")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="no ordinary file"):
        save_bytes(b"x", tmp_path / "pipe")
    with pytest.raises(FileError, match="no ordinary file"):
        save_bytes(b"x", os.devnull)
    assert stat.S_ISCHR(os.stat(os.devnull).st_mode)
    assert names(tmp_path) == ["pipe"]


@pytest.mark.skipif(ROOT, reason="the superuser may write anywhere")
def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(FileError, match="Permission denied"):
            save_bytes(b"x", tmp_path / "a.json")
    finally:
        tmp_path.chmod(0o700)
    assert names(tmp_path) == []
