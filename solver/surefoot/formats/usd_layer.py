"""A correction as an OpenUSD layer: additive operations over a stage that stays as it is.

Time samples don't merge across layers, so nothing of the stage is written anew: each corrected prim gets a translation
and a turn of its own, ``xformOp:translate:contact`` first and ``xformOp:orient:contact`` after the stage's own
translations, nothing where nothing is corrected. Muted, the layer leaves the stage bit for bit.
"""

from __future__ import annotations

import os
from collections.abc import Mapping as Table
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.clip import Clip
from surefoot.errors import InputError
from surefoot.formats.carry import Track, node_tracks, quaternion_matrix
from surefoot.formats.mapping import Mapping, Node
from surefoot.formats.usd_read import open_stage, stage_frames, stage_motion
from surefoot.formats.usd_write import layer_bytes, pxr
from surefoot.rig import Rig
from surefoot.rotations import matrix

__all__ = ["correction_layer", "over_stage"]

Array = NDArray[np.float64]
LEAST = 1e-9
"""Metres and radians under which a prim counts as not corrected."""
SUFFIX = "contact"


@dataclass(frozen=True, slots=True, eq=False)
class _Change:
    """One prim's correction: places ``(samples, 3)`` in the stage's unit, quaternions ``(samples, 4)`` w, x, y, z."""

    frames: Array
    place: Array
    turn: Array
    leading: int


def correction_layer(
    stage_path: str | Path, planted: Clip, *, mapping: Mapping, rig: Rig, suffix: str = ".usda"
) -> bytes:
    """Return the layer that, stronger than the stage, makes its controls play ``planted``.

    Raises InputError when the mapping isn't one of controls.
    """
    if mapping.kind != "controls":
        raise InputError("a correction layer needs a stage with a prim for each control", place=str(stage_path))
    usd, sdf = pxr("Usd"), pxr("Sdf")
    stage = open_stage(stage_path)
    layer = sdf.Layer.CreateAnonymous(suffix)
    root = sdf.Layer.CreateAnonymous(".usda")
    root.subLayerPaths = [layer.identifier, stage.GetRootLayer().identifier]
    composed = usd.Stage.Open(root)
    composed.SetEditTarget(usd.EditTarget(layer))
    for path, change in _changes(stage, planted, mapping, rig).items():
        _write(composed.GetPrimAtPath(path), change)
    return layer_bytes(layer, suffix)


def over_stage(stage_path: str | Path, layer_path: str | Path, target: str | Path) -> bytes:
    """Return a stage that lays the correction over the original, both named relative to ``target``."""
    sdf = pxr("Sdf")
    stage = open_stage(stage_path)  # a layer lives only as long as a stage holds it
    old = stage.GetRootLayer()
    root = sdf.Layer.CreateAnonymous(".usda")
    folder = Path(os.path.realpath(target)).parent
    root.subLayerPaths = [
        f"./{Path(os.path.relpath(os.path.realpath(path), folder)).as_posix()}" for path in (layer_path, stage_path)
    ]
    for key in old.pseudoRoot.ListInfoKeys():
        if key not in ("subLayers", "subLayerOffsets"):
            root.pseudoRoot.SetInfo(key, old.pseudoRoot.GetInfo(key))
    return layer_bytes(root, ".usda")


def _changes(stage: Any, planted: Clip, mapping: Mapping, rig: Rig) -> dict[str, _Change]:
    geom = pxr("UsdGeom")
    motion = stage_motion(stage).taken(mapping.take)
    tracks = {track.name: track for track in node_tracks(planted, rig)}
    world_of = _worlds(tracks)
    frames = stage_frames(stage)[(mapping.take[0] - 1 if mapping.take else 0) :][: motion.samples]
    start = planted.first - mapping.first
    count = min(len(next(iter(world_of.values()))), motion.samples - start)
    frames, rows = frames[start : start + count], slice(start, start + count)
    wanted: dict[str, Array] = {}
    for name, node in mapping.nodes.items():
        wanted[motion.names[motion.row(node.node)]] = _in_file(world_of[name][:count], mapping, node)
        toes = f"{name.removesuffix('_foot')}_toes"
        if node.toes is not None and toes in world_of:
            path = motion.names[motion.row(node.toes)]
            # only the bend is the toes' own: the rest of their place in the foot stays as the stage has it
            foot = motion.names[motion.row(node.node)]
            old, toe = (motion.world[motion.row(one), rows] for one in (foot, path))
            wanted[path] = _bent(old, toe, tracks[toes].angles[:count, 0], wanted[foot], mapping)
    found: dict[str, _Change] = {}
    moved: dict[str, Array] = {}
    for path in sorted(wanted, key=lambda p: p.count("/")):
        prim = geom.Xformable(stage.GetPrimAtPath(path))
        above = _parent_world(stage, path, frames)
        for ancestor in sorted(moved, key=len, reverse=True):
            if path.startswith(f"{ancestor}/"):
                above = moved[ancestor] @ np.linalg.solve(motion.world[motion.row(ancestor), rows], above)
                break
        change = _change(prim, np.asarray(np.linalg.solve(above, wanted[path]), dtype=np.float64), frames)
        moved[path] = wanted[path]
        angle = 2.0 * np.arcsin(np.clip(np.linalg.norm(change.turn[:, 1:], axis=1), 0.0, 1.0))
        if max(np.abs(change.place).max() * mapping.unit, angle.max()) > LEAST:
            found[path] = change
    return found


def _worlds(tracks: Table[str, Track]) -> dict[str, Array]:
    """Return world from each node, ``(samples, 4, 4)``, metres."""
    made: dict[str, Array] = {}
    for track in tracks.values():  # parents come first
        local = np.zeros((len(track.place), 4, 4))
        local[:, :3, :3] = np.moveaxis(matrix(*track.angles.T, order=track.order), -1, 0)
        if track.size is not None:
            local[:, :3, :3] *= track.size[:, None, None]
        local[:, :3, 3], local[:, 3, 3] = track.place, 1.0
        made[track.name] = made[track.parent] @ local if track.parent else local
    return made


def _in_file(world: Array, mapping: Mapping, node: Node) -> Array:
    """Return a control's world matrix as the node's in the file's axes and unit."""
    turn, found = mapping.ours_from_file(), world.copy()
    if node.turn is not None:
        found[:, :3, :3] = found[:, :3, :3] @ quaternion_matrix(node.turn).T
    found[:, :3, :3] = turn.T @ found[:, :3, :3] @ turn
    found[:, :3, 3] = world[:, :3, 3] @ turn / mapping.unit
    return found


def _bent(foot: Array, toes: Array, pitch: Array, new_foot: Array, mapping: Mapping) -> Array:
    """Return the toes' new world matrix: as they sat in the foot, but with another pitch about its +X."""
    turn = mapping.ours_from_file()
    local = np.linalg.solve(foot, toes)
    ours = turn @ local[:, :3, :3] @ turn.T
    old = np.arctan2(ours[:, 2, 1], ours[:, 1, 1])
    zero = np.zeros_like(pitch)
    extra = np.moveaxis(matrix(pitch - old, zero, zero), -1, 0)
    local = local.copy()
    local[:, :3, :3] = turn.T @ extra @ ours @ turn
    return np.asarray(new_foot @ local)


def _parent_world(stage: Any, path: str, frames: Array) -> Array:
    cache, prim = pxr("UsdGeom").XformCache(), stage.GetPrimAtPath(path)
    found = np.empty((len(frames), 4, 4))
    for k, frame in enumerate(frames.tolist()):
        cache.SetTime(frame)
        found[k] = np.array(cache.GetParentToWorldTransform(prim)).T
    return found


def _change(prim: Any, wanted: Array, frames: Array) -> _Change:
    geom = pxr("UsdGeom")
    ops = prim.GetOrderedXformOps()
    leading = 0
    while (
        leading < len(ops) and ops[leading].GetOpType() == geom.XformOp.TypeTranslate and not ops[leading].IsInverseOp()
    ):
        leading += 1
    first, rest = np.empty((len(frames), 3)), np.empty((len(frames), 4, 4))
    for k, frame in enumerate(frames.tolist()):
        first[k] = sum((np.array(op.Get(frame), dtype=np.float64) for op in ops[:leading]), np.zeros(3))
        whole = np.eye(4)
        for op in ops[leading:]:
            whole = whole @ np.array(op.GetOpTransform(frame)).T
        rest[k] = whole
    one, two = (m[:, :3, :3] / np.cbrt(np.linalg.det(m[:, :3, :3]))[:, None, None] for m in (wanted, rest))
    turn = one @ np.swapaxes(two, 1, 2)
    place = wanted[:, :3, 3] - first - np.einsum("fij,fj->fi", turn, rest[:, :3, 3])
    return _Change(frames, np.where(np.abs(place) < 1e-12, 0.0, place), _quaternions(turn), leading)


def _quaternions(turn: Array) -> Array:
    """Return small turns as quaternions w, x, y, z with w not negative."""
    w = np.sqrt(np.maximum(1.0 + np.einsum("fii->f", turn), 1e-18)) / 2.0
    axis = np.stack(
        [turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0], turn[:, 1, 0] - turn[:, 0, 1]], axis=1
    )
    found = np.column_stack([w, axis / (4.0 * w[:, None])])
    found[np.abs(found) < 1e-13] = 0.0
    return np.asarray(found / np.linalg.norm(found, axis=1, keepdims=True))


def _write(prim: Any, change: _Change) -> None:
    geom, gf, sdf = pxr("UsdGeom"), pxr("Gf"), pxr("Sdf")
    body = geom.Xformable(prim)
    ops = body.GetOrderedXformOps()
    taken = {str(op.GetOpName()) for op in ops}
    name, k = SUFFIX, 2
    while f"xformOp:translate:{name}" in taken or f"xformOp:translateX:{name}" in taken:
        name, k = f"{SUFFIX}{k}", k + 1
    curved = any(op.GetAttr().HasSpline() for op in ops)
    double = geom.XformOp.PrecisionDouble
    resets = body.GetResetXformStack()
    if curved:
        places = [getattr(body, f"AddTranslate{axis}Op")(double, name) for axis in "XYZ"]
        turns = [getattr(body, f"AddRotate{axis}Op")(double, name) for axis in "ZYX"]
        body.SetXformOpOrder([*places, *ops[: change.leading], *turns, *ops[change.leading :]], resets)
        for op, track in zip([*places, *turns], _scalar_tracks(change), strict=True):
            op.GetAttr().SetSpline(_spline(change.frames, track))
        return
    place, turn = body.AddTranslateOp(double, name), body.AddOrientOp(double, name)
    body.SetXformOpOrder([place, *ops[: change.leading], turn, *ops[change.leading :]], resets)
    keep = _needed(change)
    with sdf.ChangeBlock():
        for k in np.flatnonzero(keep).tolist():
            w, x, y, z = change.turn[k].tolist()
            place.GetAttr().Set(gf.Vec3d(*change.place[k].tolist()), float(change.frames[k]))
            turn.GetAttr().Set(gf.Quatd(w, x, y, z), float(change.frames[k]))


def _needed(change: _Change) -> NDArray[np.bool_]:
    """Return which frames need a sample: those that correct, and one on either side."""
    moves: NDArray[np.bool_] = (change.place != 0.0).any(axis=1) | (change.turn[:, 1:] != 0.0).any(axis=1)
    needed = moves.copy()
    needed[1:] |= moves[:-1]
    needed[:-1] |= moves[1:]
    return needed


def _scalar_tracks(change: _Change) -> list[Array]:
    """Return x, y, z and the turns about Z, Y, X in degrees, as ``Rz Ry Rx``."""
    w, x, y, z = change.turn.T
    about_x = np.arctan2(2 * (w * x + y * z), 1 - 2 * (x * x + y * y))
    about_y = np.arcsin(np.clip(2 * (w * y - z * x), -1.0, 1.0))
    about_z = np.arctan2(2 * (w * z + x * y), 1 - 2 * (y * y + z * z))
    return [*change.place.T, *(np.degrees(np.unwrap(a)) for a in (about_z, about_y, about_x))]


def _spline(frames: Array, track: Array) -> Any:
    """Return a curve with a knot at every frame, its slope from neighbour to neighbour."""
    ts = pxr("Ts")
    spline = ts.Spline("double")
    slopes = np.gradient(track, frames) if len(track) > 1 else np.zeros(1)
    for frame, value, slope in zip(frames.tolist(), track.tolist(), slopes.tolist(), strict=True):
        knot = ts.Knot("double", time=frame, value=value, nextInterp=ts.InterpCurve)
        knot.SetPreTanSlope(slope)
        knot.SetPostTanSlope(slope)
        knot.SetPreTanWidth(1.0 / 3.0)
        knot.SetPostTanWidth(1.0 / 3.0)
        spline.SetKnot(knot)
    return spline
