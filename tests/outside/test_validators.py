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
from pxr import Gf, Ts, Usd, UsdGeom, UsdSkel, UsdValidation, Vt

import surefoot
from surefoot.curves import Pack
from surefoot.formats.carry import node_tracks
from surefoot.formats.gltf_write import gltf_bytes
from surefoot.formats.mapping import Mapping, Node, mapping_path, mapping_text
from surefoot.formats.opening import clip_files, open_clip, open_motion
from surefoot.formats.usd_layer import correction_layer, over_stage
from surefoot.spaces import Binding
from tests.outside.table import agrees, alike

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
    """Source: Khronos' glTF validator, npm package gltf-validator (verified)."""
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
        alike("errors, warnings and hints", (issues["numErrors"], issues["numWarnings"], issues["numHints"]), (0, 0, 0))
        alike("other messages", {message["code"] for message in issues["messages"]} - {"NODE_EMPTY"}, set())


def test_the_gltf_validator_finds_a_fault(validate: Any, tmp_path: Path) -> None:
    """Control: a wrong bound in an accessor is an error."""
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
    """Source: OpenUSD, UsdValidation with every validator it has (verified)."""
    alike(f"faults of a stage, {suffix}", faults(Usd.Stage.Open(str(written(tmp_path, suffix)[0]))), [])


def test_openusd_puts_the_prims_where_the_solver_has_the_feet(tmp_path: Path) -> None:
    """Source: OpenUSD, the stage as it composes and evaluates it (verified)."""
    path, clip, rig = written(tmp_path)
    stage = Usd.Stage.Open(str(path))
    frames = np.arange(1.0, 26.0)
    binding = Binding(rig, clip)
    pose = binding.pose(binding.values(frames), frames)
    prim = stage.GetPrimAtPath("/lamplighter_walks/left_foot")
    for k, frame in enumerate(frames):
        place = UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(frame).ExtractTranslation()
        agrees("ankle's place on a stage, m", pose.ankle[:, 0, k], np.array(place), bound=1e-12)


def flat(stage: Usd.Stage) -> str:
    text = stage.Flatten().ExportToString()
    head, _, tail = text.partition('doc = """')
    return str(head + tail.partition('"""')[2])  # the comment names the root layer's file


@pytest.mark.parametrize("suffix", [".usda", ".usdc"])
def test_a_correction_layer_leaves_the_stage_bit_for_bit_and_composed_checks_clean(suffix: str, tmp_path: Path) -> None:
    """Source: OpenUSD, the stage as it composes and evaluates it (verified)."""
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
    alike("faults of a composed stage", faults(stage), [])
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
    alike("whether the stage with the correction muted is as before", flat(stage) == before, True)
    assert path.read_bytes() == untouched


def curve(frames: Any, values: Any) -> Ts.Spline:
    """Return a spline through the values, its slope from neighbour to neighbour."""
    made = Ts.Spline("double")
    for frame, value, slope in zip(frames.tolist(), values.tolist(), np.gradient(values).tolist(), strict=True):
        knot = Ts.Knot("double", time=frame, value=value, nextInterp=Ts.InterpCurve)
        knot.SetPreTanSlope(slope)
        knot.SetPostTanSlope(slope)
        knot.SetPreTanWidth(1.0 / 3.0)
        knot.SetPostTanWidth(1.0 / 3.0)
        made.SetKnot(knot)
    return made


def test_a_stage_of_splines_in_centimetres_is_corrected_by_splines(tmp_path: Path) -> None:
    """A stage as another hand makes it: a scalar operation for each channel, each a spline; toes under the feet.

    Source: OpenUSD, UsdValidation with every validator it has (verified).
    """
    clip, rig = surefoot.demo("lamplighter")
    frames, path = np.arange(1.0, 26.0), tmp_path / "splines.usda"
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, "Y")
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    stage.SetStartTimeCode(1)
    stage.SetEndTimeCode(25)
    stage.SetTimeCodesPerSecond(24)
    stage.SetDefaultPrim(UsdGeom.Xform.Define(stage, "/walk").GetPrim())
    double, nodes = UsdGeom.XformOp.PrecisionDouble, {}

    def at(name: str) -> Any:
        return Pack.from_curves([clip.channels[name]]).evaluate(frames)[0]

    for control in rig.controls.values():
        body = UsdGeom.Xform.Define(stage, f"/walk/{control.name}")
        for k, axis in enumerate("xyz"):
            op = getattr(body, f"AddTranslate{axis.upper()}Op")(double)
            op.GetAttr().SetSpline(curve(frames, at(control.axes[axis].channel) + 100.0 * control.rest[k]))
        for key, axis in (("yaw", "Y"), ("pitch", "X"), ("roll", "Z")):
            getattr(body, f"AddRotate{axis}Op")(double).GetAttr().SetSpline(
                curve(frames, at(control.axes[key].channel))
            )
        nodes[control.name] = Node(f"/walk/{control.name}")
    for foot, leg in zip(rig.feet, rig.legs, strict=True):
        toes = UsdGeom.Xform.Define(stage, f"/walk/{foot.name}/toes")
        toes.AddTranslateOp(double).Set(Gf.Vec3d(*(100.0 * leg.foot.ball).tolist()))
        toes.AddRotateXOp(double).GetAttr().SetSpline(curve(frames, -at(foot.axes["bend"].channel)))
        nodes[foot.name] = Node(f"/walk/{foot.name}", f"/walk/{foot.name}/toes")
    stage.GetRootLayer().Export(str(path))
    head = {"rig": "lamplighter", "loop": True, "unit": "cm", "belt": {"velocity": [0, 0, -135]}}
    mapping_path(path).write_text(mapping_text(Mapping("controls", unit=0.01, nodes=nodes, clip=head)))
    opened = open_clip(path)
    assert opened.mapping is not None
    np.testing.assert_allclose(opened.clip.channels["left_foot.bend"].values, at("left_foot.bend"), atol=1e-9)
    planted = surefoot.plant(opened.clip, rig).clip
    layer, over = tmp_path / "fixed.contact.usda", tmp_path / "fixed.usda"
    layer.write_bytes(correction_layer(path, planted, mapping=opened.mapping, rig=rig))
    assert b"translateX:contact.spline" in layer.read_bytes()
    assert b"timeSamples" not in layer.read_bytes()
    over.write_bytes(over_stage(path, layer, over))
    alike("faults of a corrected stage", faults(Usd.Stage.Open(str(over))), [])
    composed = open_clip(over, mapping=mapping_path(path)).clip
    poses = [(b := Binding(rig, c)).pose(b.values(frames[:-1]), frames[:-1]) for c in (planted, composed)]
    for part in ("ankle", "angles", "bend"):
        np.testing.assert_allclose(getattr(poses[0], part), getattr(poses[1], part), atol=1e-9)
    assert surefoot.check(composed, rig).is_clean


def test_the_joints_of_a_skeleton_are_where_its_matrices_put_them(tmp_path: Path) -> None:
    """Two joints in UsdSkel under a moved root, against the product of their matrices.

    Source: OpenUSD, UsdSkel, and the product of the matrices by hand (computed).
    """
    stage = Usd.Stage.CreateInMemory()
    stage.SetStartTimeCode(1)
    stage.SetEndTimeCode(5)
    root = UsdSkel.Root.Define(stage, "/body")
    UsdGeom.Xformable(root).AddTranslateOp().Set(Gf.Vec3d(1, 2, 3))
    skeleton = UsdSkel.Skeleton.Define(stage, "/body/skeleton")
    animation = UsdSkel.Animation.Define(stage, "/body/skeleton/animation")
    joints = ["Hips", "Hips/Leg"]
    rest = Vt.Matrix4dArray([Gf.Matrix4d(1.0), Gf.Matrix4d(1.0).SetTranslate(Gf.Vec3d(0, -1, 0))])
    skeleton.CreateJointsAttr(joints)
    skeleton.CreateBindTransformsAttr(rest)
    skeleton.CreateRestTransformsAttr(rest)
    animation.CreateJointsAttr(joints)
    UsdSkel.BindingAPI.Apply(skeleton.GetPrim()).CreateAnimationSourceRel().SetTargets([animation.GetPath()])
    moves, turns = animation.CreateTranslationsAttr(), animation.CreateRotationsAttr()
    animation.CreateScalesAttr([Gf.Vec3h(1, 1, 1)] * 2)
    for frame in range(1, 6):
        half = np.radians(10.0 * frame) / 2.0
        turn = Gf.Quatf(float(np.cos(half)), float(np.sin(half)), 0.0, 0.0)
        moves.Set(Vt.Vec3fArray([Gf.Vec3f(0, 0, frame), Gf.Vec3f(0, -1, 0)]), frame)
        turns.Set(Vt.QuatfArray([turn, turn]), frame)
    path = tmp_path / "body.usda"
    stage.GetRootLayer().Export(str(path))
    motion = open_motion(path)
    leg = motion.world[motion.row("Leg")]
    for k, frame in enumerate(range(1, 6)):
        angle = np.radians(10.0 * frame)
        place = np.array([1.0, 2.0 - np.cos(angle), 3.0 + frame - np.sin(angle)])
        agrees("place of a skeleton's joint, m", leg[k, :3, 3], place, bound=1e-6)
        agrees("axis of a skeleton's joint", leg[k, 1:3, 1], [np.cos(2 * angle), np.sin(2 * angle)], bound=1e-6)
