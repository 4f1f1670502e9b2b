"""What is wrong with a ground file is told by the command in one sentence, and it exits with 2."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

import surefoot
from surefoot.cli import main
from surefoot.errors import FileError, InputError
from surefoot.ground_data_file import read_heights
from surefoot.ground_file import parse_ground
from surefoot.ground_mesh_file import read_triangles

HEAD = 'surefoot = "ground/1"\nunit = "m"\n'


def cycle(folder: Path) -> list[str]:
    clip, rig = surefoot.demo("lamplighter")
    surefoot.save_clip(clip, folder / "walk.json")
    surefoot.save_rig(rig, folder / "rig.toml")
    return [str(folder / "walk.json"), "--rig", str(folder / "rig.toml")]


def told(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Return the one sentence that a command that exits with 2 tells."""
    capsys.readouterr()
    assert main(words) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert "Traceback" not in shown.err
    return shown.err


FAULTS = {
    "not a number": ('kind = "profile"\npoints = [[0, 0], [1, nan]]', r"points[1][1]"),
    "a profile that crosses itself": (
        'kind = "profile"\npoints = [[0, 0], [1, 0], [1, 1], [1, 0.5], [2, 0.5]]',
        "points",
    ),
    "a profile that runs back": ('kind = "profile"\npoints = [[0, 0], [1, 0], [0.5, 1]]', "points[2]"),
    "a riser of nothing": ('kind = "profile"\nstairs = {riser = 0, tread = 0.28, count = 3}', "riser"),
    "a missing grid": ('kind = "grid"\nfile = "nowhere.npy"\nspacing = 0.1', "nowhere.npy"),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("command", ["check", "plant"])
def test_a_fault_in_the_file(fault: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, place = FAULTS[fault]
    (tmp_path / "ground.toml").write_text(HEAD + text)
    more = ["-o", str(tmp_path / "out.json")] if command == "plant" else []
    said = told([command, *cycle(tmp_path), "--ground", str(tmp_path / "ground.toml"), *more], capsys)
    assert "ground.toml" in said
    assert place in said
    assert not (tmp_path / "out.json").exists()


@pytest.mark.parametrize(("data", "kind"), [("cobbles.csv", "grid"), ("rocks.ply", "mesh")])
def test_heights_or_triangles_alone_are_told_the_file_that_names_them(
    data: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / data).write_text("0,0\n0,0\n")
    said = told(["check", *cycle(tmp_path), "--ground", str(tmp_path / data)], capsys)
    assert f'kind = "{kind}", file = "{data}"' in said
    lines = said[said.index('surefoot = "ground/1"') :].removesuffix("\n").split(", ")
    (tmp_path / data).unlink()
    with pytest.raises(FileError, match="there is no such file"):  # what is shown is a ground's file
        parse_ground("\n".join(lines), folder=tmp_path)


def test_a_mesh_that_ends_early_is_told_in_our_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "cut.ply").write_text("ply\nformat ascii 1.0\nelement vertex 3\n")
    (tmp_path / "g.toml").write_text(HEAD + 'kind = "mesh"\nfile = "cut.ply"')
    said = told(["check", *cycle(tmp_path), "--ground", str(tmp_path / "g.toml")], capsys)
    assert "it's broken or ends too early" in said


def test_a_hole_in_a_grid_where_a_foot_comes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    heights = np.zeros((200, 60))
    heights[95:105, :] = np.nan
    np.save(tmp_path / "heights.npy", heights)
    (tmp_path / "g.toml").write_text(
        HEAD + 'name = "pit"\nkind = "grid"\nfile = "heights.npy"\nspacing = 0.1\norigin = [-3, 0, -10]'
    )
    for command in (["check"], ["plant", "-o", str(tmp_path / "out.json")]):
        said = told([command[0], *cycle(tmp_path), "--ground", str(tmp_path / "g.toml"), *command[1:]], capsys)
        assert "ground pit: it has a hole at x" in said


def test_a_huge_grid_is_refused_by_its_header_before_it_is_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with (tmp_path / "huge.npy").open("wb") as file:
        np.lib.format.write_array_header_1_0(file, {"descr": "<f8", "fortran_order": False, "shape": (10**6, 10**6)})
    (tmp_path / "g.toml").write_text(HEAD + 'kind = "grid"\nfile = "huge.npy"\nspacing = 0.1')
    said = told(["check", *cycle(tmp_path), "--ground", str(tmp_path / "g.toml")], capsys)
    assert "its header says 1000000000000" in said


@pytest.mark.parametrize("shape", [(-1, 5), (-2, -3), (3, True)])
def test_a_grid_of_less_than_no_rows_is_told(shape: tuple[int, int], tmp_path: Path) -> None:
    with (tmp_path / "odd.npy").open("wb") as file:
        np.lib.format.write_array_header_1_0(file, {"descr": "<f8", "fortran_order": False, "shape": shape})
        file.write(bytes(400))
    with pytest.raises(InputError, match="expected rows of heights, got an array of shape"):
        read_heights(tmp_path / "odd.npy")


def test_a_mesh_whose_reader_says_nothing_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stumble(*_: object) -> None:
        raise AssertionError

    (tmp_path / "rocks.ply").write_bytes(b"ply")
    monkeypatch.setattr(trimesh, "load_scene", stumble)
    with pytest.raises(FileError, match=r"expected a mesh, but it can't be read \(it's broken or ends too early\)"):
        read_triangles(tmp_path / "rocks.ply")


def test_footprints_that_hang_over_an_edge_are_told_by_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Treads of 120 mm bear less than half of a 270 mm foot; it isn't moved off the stairs, and it's said."""
    (tmp_path / "g.toml").write_text(HEAD + 'kind = "profile"\nstairs = {riser = 0.1, tread = 0.12, count = 60}')
    planted = ["plant", *cycle(tmp_path), "--ground", str(tmp_path / "g.toml"), "--loops", "2", "--let", "hips.y"]
    assert main([*planted, "-o", str(tmp_path / "out.json")]) in (0, 1)
    assert "overhang" in "".join(capsys.readouterr())
