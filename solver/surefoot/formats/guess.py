"""A mapping proposed by names and geometry, with how sure it is of each.

Names are matched against words of anatomy, the joints of open captures (the Carnegie Mellon ones in BVH) and the usual
marker sets; then the geometry is asked: do bones keep their lengths, is the hip above the knee above the ankle, are
left and right on their own sides.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import InputError
from surefoot.formats.mapping import Mapping, Node
from surefoot.formats.motion import Motion
from surefoot.rig import FEET

__all__ = ["propose_mapping"]

Array = NDArray[np.float64]
SIDES = {
    "left": r"(?:^|[^a-z])(?:left|lft|l)(?=[^a-z]|$)|left",
    "right": r"(?:^|[^a-z])(?:right|rgt|rt|r)(?=[^a-z]|$)|right",
}
JOINTS = {
    "hip": (r"up_?(per)?_?leg$", r"thigh$", r"femur$", r"hip(_?joint)?$"),
    "knee": (r"(lower|low)_?leg$", r"knee$", r"shin$", r"calf$", r"tibia$", r"shank$", r"(?:^|_)leg$"),
    "ankle": (r"ankle$", r"foot$"),
    "heel": (r"heel$", r"calcaneus$"),
    "ball": (r"toe_?base$", r"ball$", r"toes?$"),
    "toe": (r"toe_?(base)? ?_?end$", r"toe_?tip$", r"toe_?end$", r"toes? end$", r"toes? end site$"),
}
HIPS = (r"^hips$", r"hips$", r"pelvis$", r"^root$")
MARKERS = {
    "hip": (("FEP",), ("HJC",), ("HIP",), ("GTR",)),
    "knee": (("FEO",), ("KJC",), ("LEK", "MEK"), ("KNE",)),
    "ankle": (("LM", "MM"), ("ANK", "MED"), ("TIO",), ("AJC",), ("ANK",)),
    "heel": (("HEE",), ("HEEL",), ("CAL",)),
    "ball_inner": (("MT1",), ("MT2",)),
    "ball_outer": (("MT5",),),
    "ball": (("MTP",), ("TOE",)),
}
PELVIS = (("LASIS", "RASIS", "LPSIS", "RPSIS"), ("LASI", "RASI", "LPSI", "RPSI"))
FREE_UNIT = 0.0254 / 0.45
"""Metres: the length unit of the Carnegie Mellon captures, which state it as 0.45, in inches."""
NEEDED = ("hip", "knee", "ankle", "ball")


def propose_mapping(motion: Motion, *, file: str = "", controls: tuple[str, ...] = ()) -> Mapping:
    """Return the mapping that names and geometry suggest; ``surety`` says of each how sure that is.

    ``controls`` are a rig's: where all of them are nodes, the file is taken for one of controls.
    Raises InputError when a leg's points can't be found; names those missing.
    """
    unit = motion.unit
    ends = {name.replace(":", "/").rpartition("/")[2]: name for name in motion.names}
    if controls and all(name in ends for name in controls):
        nodes = {name: Node(ends[name], ends.get(f"{name.removesuffix('_foot')}_toes")) for name in controls}
        axes = {"z": ("y", "z", "x")}.get(motion.up, ("x", "y", "z"))
        return Mapping(
            "controls", unit or 1.0, axes, nodes=nodes, file=file, surety={"nodes": "sure: named as the rig's"}
        )
    points = _by_marker(motion) if not motion.turns else _by_joint(motion)
    missing = [f"{side}_{part}" for side in FEET for part in NEEDED if not _there(points, side, part)]
    if missing:
        raise InputError(
            f"found nothing that is called like {', '.join(missing)}; name them in a mapping by hand",
            place=file or "motion",
        )
    draft = Mapping("joints" if motion.turns else "markers", unit or 1.0, points=points, file=file)
    surety = {"points": "by name"}
    axes, surety["axes"] = _axes(motion, draft)
    draft = replace(draft, axes=axes)
    skip = _still_start(motion, draft)
    take = (1 + skip, motion.samples) if skip else None
    if skip:
        surety["take"] = "likely: the first sample is far from the second, as a rest pose is"
    draft = replace(draft, take=take)
    size, surety["unit"] = _unit(motion, draft)
    draft = replace(draft, unit=size)
    ground, surety["ground"] = _ground(motion, draft)
    surety["points"] = _points_surety(motion, draft)
    clip = {"belt": {"velocity": [0, 0, 0], "unit": "m"}} if _travels(motion, draft) else {}
    surety["belt"] = (
        "likely: the hips travel, so the ground is still" if clip else "none stated: estimated from the feet"
    )
    return replace(draft, ground=ground, clip=clip, surety=surety)


def _there(points: dict[str, tuple[str, ...]], side: str, part: str) -> bool:
    both = f"{side}_ball_inner" in points and f"{side}_ball_outer" in points
    return f"{side}_{part}" in points or (part == "ball" and both)


def _by_joint(motion: Motion) -> dict[str, tuple[str, ...]]:
    plain = {}
    for name in motion.names:
        bare = name.replace(":", "/").rpartition("/")[2]
        plain[name] = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", bare).lower()
    found: dict[str, tuple[str, ...]] = {}
    for name, word in plain.items():
        if any(re.search(pattern, word) for pattern in HIPS) and "hips" not in found:
            found["hips"] = (name,)
    for side, sign in SIDES.items():
        mine = {}
        for name, word in plain.items():
            if re.search(sign, word):
                rest = re.sub(sign, "_", word).strip("_. -")
                mine[name] = re.sub(r"[_. -]+", "_", rest)
        for part, patterns in JOINTS.items():
            for pattern in patterns:
                hits = [name for name, word in mine.items() if re.search(pattern.replace(" ", "_?"), word)]
                if part != "toe":
                    hits = [name for name in hits if not mine[name].endswith("end")]
                hits = [name for name in hits if (name,) not in found.values()]
                if hits:
                    found[f"{side}_{part}"] = (hits[0],)
                    break
    return found


def _by_marker(motion: Motion) -> dict[str, tuple[str, ...]]:
    names = {name.rpartition(":")[2].upper(): name for name in reversed(motion.names)}
    found: dict[str, tuple[str, ...]] = {}
    for four in PELVIS:
        if all(name in names for name in four):
            found["pelvis"] = tuple(names[name] for name in four)
            break
    for side, letter in zip(FEET, "LR", strict=True):
        for part, sets in MARKERS.items():
            for labels in sets:
                if all(f"{letter}{label}" in names for label in labels):
                    found[f"{side}_{part}"] = tuple(names[f"{letter}{label}"] for label in labels)
                    break
        if f"{side}_ball_inner" in found and f"{side}_ball_outer" in found:
            found.pop(f"{side}_ball", None)
        elif f"{side}_ball" in found:
            for which in ("inner", "outer"):
                found.pop(f"{side}_ball_{which}", None)
    return found


def _raw(motion: Motion, mapping: Mapping, name: str) -> Array:
    """Return a point in the file's axes and unit, ``(samples, 3)``; the middle where the ball has two sides."""
    labels = mapping.points.get(name)
    if labels is None:
        side = name.partition("_")[0]
        labels = mapping.points[f"{side}_ball_inner"] + mapping.points[f"{side}_ball_outer"]
    return np.asarray(motion.world[[motion.row(one) for one in labels]][..., :3, 3].mean(axis=0))


def _axes(motion: Motion, mapping: Mapping) -> tuple[tuple[str, str, str], str]:
    """Up is the axis along which hips lie over ankles; left the one nearest to the line of the hip joints."""
    drop = np.nanmean(
        [_raw(motion, mapping, f"{side}_hip") - _raw(motion, mapping, f"{side}_ankle") for side in FEET], axis=(0, 1)
    )
    up = int(np.abs(drop).argmax())
    sure = np.abs(drop[up]) > 3.0 * np.delete(np.abs(drop), up).max()
    across = _raw(motion, mapping, "left_hip") - _raw(motion, mapping, "right_hip")
    across = np.nanmean(across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12), axis=0)
    across[up] = 0.0
    left = int(np.abs(across).argmax())
    # any heading will do; one that is steady makes left the file's own
    if np.abs(across[left]) < 0.5:
        left = (up + 2) % 3
        across[left] = 1.0
    axis_up, axis_left = np.zeros(3), np.zeros(3)
    axis_up[up], axis_left[left] = np.sign(drop[up]), np.sign(across[left])
    forward = np.cross(axis_left, axis_up)
    told = tuple(f"{'-' * int(a.min() < 0)}{'xyz'[int(np.abs(a).argmax())]}" for a in (axis_left, axis_up, forward))
    return (told[0], told[1], told[2]), f"{'sure' if sure else 'a guess'}: hips over ankles along {told[1]}"


def _still_start(motion: Motion, mapping: Mapping) -> int:
    steps = np.linalg.norm(np.diff(_raw(motion, mapping, "left_ankle")[:50], axis=0), axis=1)
    return int(len(steps) > 5 and steps[0] > 20.0 * np.median(steps[1:]) and steps[0] > 0.0)


def _unit(motion: Motion, mapping: Mapping) -> tuple[float, str]:
    """The file's own word, else a unit in which the leg is as long as people's or puppets' are."""
    leg = sum(
        float(
            np.nanmedian(
                np.linalg.norm(_raw(motion, mapping, f"left_{a}") - _raw(motion, mapping, f"left_{b}"), axis=1)
            )
        )
        for a, b in (("hip", "knee"), ("knee", "ankle"))
    )
    if motion.unit and 0.2 < leg * motion.unit < 2.0:
        return motion.unit, f"sure: the file's own, and the leg is {leg * motion.unit:.3f} m long"
    for size, name in ((1.0, "m"), (0.01, "cm"), (0.001, "mm"), (0.0254, "in"), (0.3048, "ft")):
        if 0.6 < leg * size < 1.2:
            return size, f"likely: in {name} the leg is {leg * size:.3f} m long"
    if 0.7 < leg * FREE_UNIT < 1.0:
        return (
            FREE_UNIT,
            f"likely: as in much open capture data, 0.45 of them an inch; the leg is {leg * FREE_UNIT:.3f} m",
        )
    if motion.unit:
        return motion.unit, f"a guess: the file's own, but the leg is {leg * motion.unit:.3g} m long"
    return 0.85 / leg, "a guess: no usual unit fits, so the leg was made 0.85 m long; state the metres of one unit"


def _ground(motion: Motion, mapping: Mapping) -> tuple[float, str]:
    part = motion.taken(mapping.take)
    up = mapping.ours_from_file()[1] * mapping.unit
    name = "toe" if "left_toe" in mapping.points and "right_toe" in mapping.points else "ball"
    heights = np.minimum(*(_raw(part, mapping, f"{side}_{name}") @ up for side in FEET))
    low = float(np.nanquantile(heights, 0.2))
    if not motion.turns:
        return 0.0, f"likely: markers ride above the floor, the lowest {name} stands at {low:.3f} m"
    return round(low, 3), f"a guess: where the lowest {name} stands; no file of joints says where its floor is"


def _points_surety(motion: Motion, mapping: Mapping) -> str:
    part = motion.taken(mapping.take)
    doubts = []
    for side in FEET:
        tops = [
            float(np.nanmedian(_raw(part, mapping, f"{side}_{p}") @ mapping.ours_from_file()[1])) for p in NEEDED[:3]
        ]
        if not tops[0] > tops[1] > tops[2]:
            doubts.append(f"the {side} hip, knee and ankle don't stand one above the other")
        for a, b in (("hip", "knee"), ("knee", "ankle")):
            bone = np.linalg.norm(_raw(part, mapping, f"{side}_{a}") - _raw(part, mapping, f"{side}_{b}"), axis=1)
            if np.nanstd(bone) > 0.05 * np.nanmean(bone):
                doubts.append(f"the {side} {a} to {b} doesn't keep its length")
    return f"a guess: {'; '.join(doubts)}" if doubts else "sure: by name, and bones keep their lengths"


def _travels(motion: Motion, mapping: Mapping) -> bool:
    part = motion.taken(mapping.take)
    hips = (_raw(part, mapping, "left_hip") + _raw(part, mapping, "right_hip")) / 2.0
    reach = np.delete(np.ptp(hips, axis=0), int(np.abs(mapping.ours_from_file()[1]).argmax())) * mapping.unit
    return bool(reach.max() > 1.0)
