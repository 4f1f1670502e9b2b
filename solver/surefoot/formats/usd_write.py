"""OpenUSD written: a prim for each control, moved by time samples in double precision, at the clip's own frames."""

from __future__ import annotations

import importlib
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from surefoot.errors import FileError, InputError
from surefoot.formats.carry import Track

__all__ = ["layer_bytes", "pxr", "usd_bytes"]

SUFFIXES = (".usda", ".usdc", ".usd")


def pxr(name: str) -> Any:
    """Return a module of OpenUSD, or raise InputError that says how to install it."""
    try:
        return importlib.import_module(f"pxr.{name}")
    except ImportError:
        raise InputError("OpenUSD needs the library usd-core: pip install 'surefoot[usd]'") from None


def usd_bytes(
    tracks: Sequence[Track], rate: Fraction, *, first: int, suffix: str = ".usda", name: str = ""
) -> tuple[bytes, dict[str, str]]:
    """Return the tracks as a stage in metres, +Y up, and the path of each track's prim by its name."""
    usd, geom, gf, sdf, tf = (pxr(n) for n in ("Usd", "UsdGeom", "Gf", "Sdf", "Tf"))
    stage = usd.Stage.CreateInMemory(f"stage{suffix}")
    geom.SetStageUpAxis(stage, geom.Tokens.y)
    geom.SetStageMetersPerUnit(stage, 1.0)
    count = len(tracks[0].place)
    stage.SetTimeCodesPerSecond(float(rate))
    stage.SetFramesPerSecond(float(rate))
    stage.SetStartTimeCode(first)
    stage.SetEndTimeCode(first + count - 1)
    root = sdf.Path("/" + tf.MakeValidIdentifier(name or "clip"))
    stage.SetDefaultPrim(geom.Xform.Define(stage, root).GetPrim())
    paths: dict[str, str] = {}
    double = geom.XformOp.PrecisionDouble
    for track in tracks:
        above = sdf.Path(paths[track.parent]) if track.parent else root
        path = above.AppendChild(_free(tf.MakeValidIdentifier(track.name), above, paths))
        paths[track.name] = str(path)
        prim = geom.Xform.Define(stage, path)
        moves = prim.AddTranslateOp(double).GetAttr()
        # a product read from left to right turns about its last axis first
        turn_type = getattr(geom.XformOp, "TypeRotate" + track.order[::-1].upper())
        turns = prim.AddXformOp(turn_type, double).GetAttr()
        sizes = None if track.size is None else prim.AddScaleOp(double).GetAttr()
        degrees = np.degrees(track.angles)
        with sdf.ChangeBlock():
            for k in range(count):
                moves.Set(gf.Vec3d(*track.place[k].tolist()), first + k)
                turns.Set(gf.Vec3d(*degrees[k].tolist()), first + k)
                if sizes is not None and track.size is not None:
                    sizes.Set(gf.Vec3d(float(track.size[k])), first + k)
    return layer_bytes(stage.GetRootLayer(), suffix), paths


def _free(name: str, above: Any, paths: dict[str, str]) -> str:
    taken, wanted, k = set(paths.values()), name, 2
    while str(above.AppendChild(wanted)) in taken:
        wanted, k = f"{name}_{k}", k + 1
    return wanted


def layer_bytes(layer: Any, suffix: str) -> bytes:
    """Return a layer as a file's bytes, text or binary by suffix; a binary one is made in a temporary folder.

    Raises FileError where that can't be done.
    """
    if suffix == ".usda":
        return str(layer.ExportToString()).encode()
    try:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"layer{suffix}"
            layer.Export(str(path))
            return path.read_bytes()
    except (OSError, pxr("Tf").ErrorException):
        told = "a binary stage can't be made: is there room, and leave to write, in the folder for temporary files?"
        raise FileError(told, place=suffix) from None
