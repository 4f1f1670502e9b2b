"""The standards' own validators on what is written: Khronos' glTF validator and OpenUSD's UsdValidation.

The first runs under Node (npm package ``gltf-validator``) and is skipped only where there is no Node at all. Its
``NODE_EMPTY`` is information, not a fault: nodes that carry no mesh are what a clip without a body is.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pxr import Usd, UsdGeom, UsdValidation

import surefoot
from surefoot.formats.carry import node_tracks
from surefoot.formats.gltf_write import gltf_bytes
from surefoot.formats.mapping import mapping_path
from surefoot.formats.opening import clip_files, open_clip
from surefoot.formats.usd_layer import correction_layer, over_stage
from surefoot.spaces import Binding

ROOT = Path(__file__).parents[2]
SCRIPT = """
const validator = require('gltf-validator'), fs = require('fs');
const told = name => validator.validateBytes(new Uint8Array(fs.readFileSync(name))).then(r => r.issues);
Promise.all(process.argv.slice(1).map(told)).then(all => console.log(JSON.stringify(all)));
"""


@pytest.fixture(scope="session", name="validate")
def validate_fixture() -> Any:
    """Return what the glTF validator says of files; it is fetched where it isn't there yet."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("there is no Node here, under which the glTF validator runs")
    if not (ROOT / "node_modules" / "gltf-validator").is_dir():
        npm = shutil.which("npm")
        if npm is None:
            pytest.skip("Node is here, but neither npm nor the glTF validator")
        subprocess.run([npm, "install", "--no-save", "--silent", "gltf-validator"], cwd=ROOT, check=True, timeout=120)

    def told(*paths: Path) -> list[dict[str, Any]]:
        done = subprocess.run(
            [node, "-e", SCRIPT, *map(str, paths)], cwd=ROOT, check=True, timeout=60, capture_output=True, text=True
        )
        found: list[dict[str, Any]] = json.loads(done.stdout)
        return found

    return told


def test_what_is_written_as_gltf_is_valid(validate: Any, tmp_path: Path) -> None:
    paths = []
    for name in ("lamplighter", "treadmill"):
        clip, rig = surefoot.demo(name)
        planted = surefoot.plant(clip, rig).clip
        for spline in (True, False):
            for suffix in (".glb", ".gltf"):
                path = tmp_path / f"{name}{spline}{suffix}"
                path.write_bytes(
                    gltf_bytes(node_tracks(planted, rig), clip.rate, name=name, binary=suffix == ".glb", spline=spline)
                )
                paths.append(path)
    for issues in validate(*paths):
        assert (issues["numErrors"], issues["numWarnings"], issues["numHints"]) == (0, 0, 0), issues
        assert {message["code"] for message in issues["messages"]} <= {"NODE_EMPTY"}


def test_the_gltf_validator_finds_a_fault(validate: Any, tmp_path: Path) -> None:
    clip, rig = surefoot.demo("lamplighter")
    table = json.loads(gltf_bytes(node_tracks(clip, rig), clip.rate, binary=False))
    table["accessors"][0]["max"] = [7.0]
    (tmp_path / "bad.gltf").write_text(json.dumps(table))
    assert validate(tmp_path / "bad.gltf")[0]["numErrors"] > 0


def faults(stage: Usd.Stage) -> list[str]:
    validators = UsdValidation.ValidationRegistry().GetOrLoadAllValidators()
    assert len(validators) > 20
    return [error.GetMessage() for error in UsdValidation.ValidationContext(validators).Validate(stage)]


def written(
    tmp_path: Path, suffix: str = ".usda", name: str = "lamplighter"
) -> tuple[Path, surefoot.Clip, surefoot.Rig]:
    clip, rig = surefoot.demo(name)
    path = tmp_path / f"{name}{suffix}"
    for data, file in clip_files(clip, rig, path):
        Path(file).write_bytes(data)
    return path, clip, rig


@pytest.mark.parametrize("suffix", [".usda", ".usdc"])
def test_what_is_written_as_usd_is_valid(suffix: str, tmp_path: Path) -> None:
    assert faults(Usd.Stage.Open(str(written(tmp_path, suffix)[0]))) == []


def test_openusd_puts_the_prims_where_the_solver_has_the_feet(tmp_path: Path) -> None:
    path, clip, rig = written(tmp_path)
    stage = Usd.Stage.Open(str(path))
    frames = np.arange(1.0, 26.0)
    binding = Binding(rig, clip)
    pose = binding.pose(binding.values(frames), frames)
    prim = stage.GetPrimAtPath("/lamplighter_walks/left_foot")
    for k, frame in enumerate(frames):
        place = UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(frame).ExtractTranslation()
        np.testing.assert_allclose(place, pose.ankle[:, 0, k], atol=1e-12)


def flat(stage: Usd.Stage) -> str:
    text = stage.Flatten().ExportToString()
    head, _, tail = text.partition('doc = """')
    return str(head + tail.partition('"""')[2])  # the comment names the root layer's file


@pytest.mark.parametrize("suffix", [".usda", ".usdc"])
def test_a_correction_layer_leaves_the_stage_bit_for_bit_and_composed_checks_clean(suffix: str, tmp_path: Path) -> None:
    path, _, rig = written(tmp_path, suffix)
    untouched = path.read_bytes()
    before = flat(Usd.Stage.Open(str(path)))
    opened = open_clip(path)
    assert opened.mapping is not None
    planted = surefoot.plant(opened.clip, rig)
    layer, over = tmp_path / "fixed.contact.usda", tmp_path / "fixed.usda"
    layer.write_bytes(correction_layer(path, planted.clip, mapping=opened.mapping, rig=rig))
    over.write_bytes(over_stage(path, layer, over))
    stage = Usd.Stage.Open(str(over))
    assert faults(stage) == []
    # the samples alone, straight between frames as OpenUSD plays them; stated keys no longer fit and are left
    composed = open_clip(over, mapping=mapping_path(path)).clip
    assert surefoot.check(opened.clip, rig).worst == "error"
    assert surefoot.check(composed, rig).is_clean
    frames = np.arange(1.0, 25.0)
    poses = [(b := Binding(rig, c)).pose(b.values(frames), frames) for c in (planted.clip, composed)]
    np.testing.assert_allclose(poses[0].ankle, poses[1].ankle, atol=1e-9)
    np.testing.assert_allclose(poses[0].bend, poses[1].bend, atol=1e-9)
    assert flat(stage) != before
    (muted,) = (one.identifier for one in stage.GetLayerStack() if one.identifier.endswith(layer.name))
    stage.MuteLayer(muted)
    assert flat(stage) == before
    assert path.read_bytes() == untouched


def test_a_correction_is_nothing_where_nothing_is_corrected(tmp_path: Path) -> None:
    path, _, rig = written(tmp_path)
    opened = open_clip(path)
    assert opened.mapping is not None
    same = correction_layer(path, opened.clip, mapping=opened.mapping, rig=rig)
    assert b"xformOp" not in same


def test_a_second_correction_lies_over_the_first(tmp_path: Path) -> None:
    path, _, rig = written(tmp_path)
    opened = open_clip(path)
    assert opened.mapping is not None
    planted = surefoot.plant(opened.clip, rig).clip
    layer, over = tmp_path / "one.contact.usda", tmp_path / "one.usda"
    layer.write_bytes(correction_layer(path, planted, mapping=opened.mapping, rig=rig))
    over.write_bytes(over_stage(path, layer, over))
    back, two = tmp_path / "two.contact.usda", tmp_path / "two.usda"
    back.write_bytes(correction_layer(over, opened.clip, mapping=opened.mapping, rig=rig))
    two.write_bytes(over_stage(over, back, two))
    assert b"contact2" in back.read_bytes()
    again = open_clip(two, mapping=mapping_path(path)).clip
    for name, curve in opened.clip.channels.items():
        np.testing.assert_allclose(again.channels[name].values, curve.values, atol=1e-7)
