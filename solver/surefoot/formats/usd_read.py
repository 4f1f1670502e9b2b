"""OpenUSD read: every moving prim of a stage, and the joints of its skeletons, at whole frames."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from surefoot.errors import FileError
from surefoot.formats.looking import look_first
from surefoot.formats.motion import Motion, near_rate
from surefoot.formats.usd_write import pxr
from surefoot.units import read_rate

__all__ = ["open_stage", "read_usd", "stage_frames", "stage_motion"]

WANTED = "an OpenUSD stage"
MOST_FRAMES = 1_000_000


def open_stage(path: str | Path, *, look: bool = True) -> Any:
    """Return the stage in a file, or raise FileError; a binary one is looked at by another process first."""
    usd, tf = pxr("Usd"), pxr("Tf")
    if not Path(path).is_file():
        raise FileError("can't be read: there is no such file", place=str(path))
    try:
        with open(path, "rb") as file:
            binary = file.read(8) == b"PXR-USDC"
    except OSError as error:
        raise FileError(f"can't be read: {error.strerror}", place=str(path)) from None
    if look and binary:
        look_first(path)
    try:
        stage = usd.Stage.Open(str(path))
    except tf.ErrorException:
        raise FileError(f"OpenUSD can't read it; wanted {WANTED}", place=str(path)) from None
    if stage is None:
        raise FileError(f"OpenUSD can't read it; wanted {WANTED}", place=str(path))
    return stage


def read_usd(path: str | Path, *, rate: float | str | None = None) -> Motion:
    """Return the prims and joints of a USD file; FileError when it can't be read or nothing in it moves."""
    return stage_motion(open_stage(path), place=str(path), rate=rate)


def stage_frames(stage: Any, place: str = "stage") -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the whole time codes of a stage's range, or of its samples where it states none."""
    first, last = stage.GetStartTimeCode(), stage.GetEndTimeCode()
    if not (stage.HasAuthoredTimeCodeRange() and np.isfinite([first, last]).all() and last >= first):
        times = [t for prim in stage.Traverse() for a in prim.GetAttributes() for t in a.GetTimeSamples()]
        if not times:
            raise FileError("nothing is animated in it", place=place)
        first, last = min(times), max(times)
    if not 0 <= last - first < MOST_FRAMES:
        raise FileError(f"{last - first + 1:g} frames are more than is taken", place=place)
    return np.arange(np.ceil(first), np.floor(last) + 1.0)


def stage_motion(stage: Any, *, place: str = "stage", rate: float | str | None = None) -> Motion:
    """Return the world matrices of a stage's moving prims and joints."""
    try:
        return _moving(stage, place, rate)
    except pxr("Tf").ErrorException:
        raise FileError(f"OpenUSD can't read it; wanted {WANTED}", place=place) from None


def _moving(stage: Any, place: str, rate: float | str | None) -> Motion:
    usd, geom, skel = pxr("Usd"), pxr("UsdGeom"), pxr("UsdSkel")
    frames = stage_frames(stage, place)
    prims = [prim for prim in stage.Traverse() if prim.IsA(geom.Xformable)]
    caches = skel.Cache()
    skeletons = []
    for prim in prims:
        if prim.IsA(skel.Root):
            caches.Populate(skel.Root(prim), usd.PrimDefaultPredicate)
    for prim in prims:
        if prim.IsA(skel.Skeleton):
            query = caches.GetSkelQuery(skel.Skeleton(prim))
            if query and query.GetAnimQuery():
                skeletons.append((prim, query, [str(joint) for joint in query.GetJointOrder()]))
    names = [str(prim.GetPath()) for prim in prims]
    names += [f"{prim.GetPath()}/{joint}" for prim, _, joints in skeletons for joint in joints]
    if not names:
        raise FileError("no prim in it has a place", place=place)
    if len(names) * len(frames) * 16 > Motion.MOST:
        raise FileError(f"{len(names)} prims over {len(frames)} frames are more than is taken", place=place)
    world = np.empty((len(names), len(frames), 4, 4))
    cache = geom.XformCache()
    for k, frame in enumerate(frames.tolist()):
        cache.SetTime(frame)
        for row, prim in enumerate(prims):
            world[row, k] = np.array(cache.GetLocalToWorldTransform(prim)).T
        row = len(prims)
        for prim, query, _ in skeletons:
            root = np.array(cache.GetLocalToWorldTransform(prim)).T
            for matrix in query.ComputeJointSkelTransforms(frame) or ():
                world[row, k] = root @ np.array(matrix, dtype=np.float64).T
                row += 1
    codes = stage.GetTimeCodesPerSecond()
    exact = near_rate(1.0 / codes if codes else np.inf, place=f"{place}: timeCodesPerSecond")
    up = str(geom.GetStageUpAxis(stage)).lower()
    stated = read_rate(rate, place=f"{place}: rate") if rate is not None else exact
    return Motion(tuple(names), world, stated, float(geom.GetStageMetersPerUnit(stage)), up, linear=True)
