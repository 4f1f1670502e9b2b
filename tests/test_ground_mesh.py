"""Meshes as ground: beside each triangle alone, planes, and dense sampling; trimesh is asked in `tests/outside`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from surefoot.checking import check
from surefoot.demos import demo
from surefoot.errors import FileError, InputError, ShapeError
from surefoot.ground import Plane, Profile
from surefoot.ground_file import load_ground
from surefoot.ground_mesh import Mesh
from surefoot.laying import lay
from surefoot.planting import plant


def sheet(rise, *, spacing: float = 0.1, size: int = 60, name: str = "mesh") -> Mesh:  # type: ignore[no-untyped-def]
    """Return a mesh of two triangles a square over x and z about the origin."""
    z, x = np.meshgrid(
        (np.arange(size + 1) - size / 2) * spacing, (np.arange(size + 1) - size / 2) * spacing, indexing="ij"
    )
    corners = np.column_stack([x.ravel(), np.broadcast_to(rise(x, z), x.shape).ravel(), z.ravel()])
    at = (np.arange(size)[:, None] * (size + 1) + np.arange(size)).ravel()
    one = np.column_stack([at, at + size + 1, at + 1])
    two = np.column_stack([at + 1, at + size + 1, at + size + 2])
    return Mesh(corners, np.concatenate([one, two]), name=name)


def waves(x: np.ndarray, z: np.ndarray) -> np.ndarray:
    return 0.02 * np.sin(2.0 * x) * np.cos(1.5 * z)


def test_heights_are_where_rays_from_above_meet_the_mesh() -> None:
    """Witness: each triangle solved for by itself."""
    mesh, random = sheet(waves, spacing=0.25, size=16), np.random.default_rng(1)
    x, z = random.uniform(-1.9, 1.9, (2, 300))
    found = mesh.height(x, z)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    for px, pz, got in zip(x, z, found, strict=True):
        m = np.stack([b - a, c - a], axis=-1)[:, ::2]
        uv = np.linalg.solve(m, (np.array([px, pz]) - a[:, ::2])[..., None])[..., 0]
        inside = (uv >= -1e-12).all(axis=1) & (uv.sum(axis=1) <= 1 + 1e-12)
        y = (a + uv[:, :1] * (b - a) + uv[:, 1:] * (c - a))[inside, 1]
        assert got == pytest.approx(float(y.max()), abs=1e-12)


def test_a_plane_as_a_mesh_is_the_plane() -> None:
    plane = Plane.slope(0.2, heading=0.3)
    mesh = sheet(plane.height)
    x, z = np.random.default_rng(3).uniform(-2, 2, (2, 200))
    np.testing.assert_allclose(mesh.height(x, z), plane.height(x, z), atol=1e-12)
    for one, two in zip(mesh.normal(x, z), plane.normal(x, z), strict=True):
        np.testing.assert_allclose(one, two, atol=1e-9)
    np.testing.assert_allclose(mesh.depth(x, 0.1, z), plane.depth(x, 0.1, z), atol=1e-9)


def test_turning_and_moving_it_turns_and_moves_its_answers() -> None:
    mesh, yaw = sheet(waves), 0.7
    other = mesh.turned(yaw).moved((0.0, 0.1, 0.0))
    x, z = np.array([0.3, -0.4]), np.array([0.2, 0.5])
    tx, tz = np.cos(yaw) * x + np.sin(yaw) * z, np.cos(yaw) * z - np.sin(yaw) * x
    np.testing.assert_allclose(other.height(tx, tz), mesh.height(x, z) + 0.1, atol=1e-12)
    assert other.moved((0, -0.1, 0)).turned(-yaw).isclose(mesh, atol=1e-12)


def test_the_highest_surface_counts_but_nothing_above_the_ceiling_and_no_wall() -> None:
    floor = [[0, 0, 0], [4, 0, 0], [0, 0, 4], [4, 0, 4]]
    roof = [[x, 2.5, z] for x, _, z in floor]
    wall = [[1, 0, 0], [1, 2, 0], [1, 0, 4]]
    faces = np.array([[0, 2, 1], [1, 2, 3], [4, 6, 5], [5, 6, 7], [8, 9, 10]])
    corners = np.array([*floor, *roof, *wall], dtype=float)
    assert float(Mesh(corners, faces).height(2.0, 2.0)) == 2.5
    assert float(Mesh(corners, faces[[2, 3, 0, 1]]).height(1.0, 2.0)) == 2.5
    assert float(Mesh(corners, faces, ceiling=2.0).height(1.0, 2.0)) == 0.0


def test_where_there_is_no_triangle_it_says_so() -> None:
    with pytest.raises(InputError, match=r"ground mesh: it has a hole at x 9.000, z 0.000"):
        sheet(waves).height(9.0, 0.0)


@pytest.mark.parametrize(
    ("corners", "faces", "says"),
    [
        ([[0, 0]], [[0, 0, 0]], "three numbers"), ([[0, 0, 0]] * 3, [], "three corners"),
        ([[0, 0, 0]] * 3, [[0, 1, 5]], "corners from 0 to 2"),
        ([[0, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 1, 2]], "face up"),
        ([[0, np.nan, 0]] * 3, [[0, 1, 2]], "finite"),
    ],
)  # fmt: skip
def test_a_mesh_that_is_none_is_refused(corners: list, faces: list, says: str) -> None:  # type: ignore[type-arg]
    with pytest.raises((InputError, ShapeError), match=says):
        Mesh(np.array(corners, dtype=float), np.array(faces, dtype=int).reshape(-1, 3) if faces else np.zeros((0, 3)))


@pytest.mark.parametrize("suffix", ["ply", "glb"])
def test_a_file_is_read_in_its_unit(tmp_path: Path, suffix: str) -> None:
    mesh = sheet(waves, size=6)
    trimesh.Trimesh(mesh.vertices * 100, mesh.faces, process=False).export(tmp_path / f"rocks.{suffix}")
    text = f'surefoot = "ground/1"\nunit = "cm"\nkind = "mesh"\nfile = "rocks.{suffix}"'
    (tmp_path / "g.toml").write_text(text)
    read = load_ground(tmp_path / "g.toml")
    x, z = np.random.default_rng(5).uniform(-0.25, 0.25, (2, 50))
    np.testing.assert_allclose(read.height(x, z), mesh.height(x, z), atol=1e-6)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [("a.ply", b"nonsense", "can't be read"), ("a.obj", b"", "expected one of .ply"), ("b.ply", None, "no such file")],
)
def test_a_faulty_file_is_told_in_one_sentence(tmp_path: Path, name: str, data: bytes | None, says: str) -> None:
    if data is not None:
        (tmp_path / name).write_bytes(data)
    (tmp_path / "g.toml").write_text(f'surefoot = "ground/1"\nunit = "m"\nkind = "mesh"\nfile = "{name}"')
    with pytest.raises((InputError, FileError), match=says) as caught:
        load_ground(tmp_path / "g.toml")
    assert "\n" not in str(caught.value)


def test_a_cycle_is_planted_on_a_wavy_mesh_and_a_plane_as_a_mesh_gives_the_planes_footprints() -> None:
    clip, rig = demo("lamplighter")
    ground = sheet(waves, size=240)
    laid = lay(clip, rig, ground=ground, loops=6, let=("hips.y",))
    report = check(plant(laid.clip, rig, ground=ground).clip, rig, ground=ground)
    for kind in ("slide", "sink", "stretch", "overhang"):
        found = report.most(kind)
        assert found is None or found.level == "note", found
    plane = Plane.slope(0.03)
    belt = plant(clip, rig, ground=plane).belt
    grounds = (plane, sheet(plane.height, size=200), Profile([-20.0, 20.0], [-0.6, 0.6]))
    prints = [np.array([one.place for one in plant(clip, rig, ground=each, belt=belt).footprints]) for each in grounds]
    assert max(np.abs(other - prints[0]).max() for other in prints[1:]) < 1e-4
