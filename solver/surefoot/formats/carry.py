"""A clip as nodes that move, one for each control, and back again.

A node sits where its control does and turns with it; its toes are a node under it that bends. What nodes can't carry
goes into the mapping: keys (all but their values), loop, belt, stances, channels that are neither place nor turn.
Samples are taken at whole frames, and one frame on for a loop.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from surefoot.capture_points import steady
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, parse_clip
from surefoot.curves import Curve, Outside, Pack, Shape
from surefoot.errors import InputError, UnknownName
from surefoot.formats.mapping import Mapping, Node
from surefoot.formats.motion import Motion
from surefoot.rig import Control, Rig
from surefoot.rotations import angles_of
from surefoot.spaces import Binding

__all__ = [
    "Samples",
    "Track",
    "clip_of_nodes",
    "clip_of_samples",
    "head_of",
    "node_mapping",
    "node_tracks",
    "quaternion_matrix",
]

Array = NDArray[np.float64]
TURNS = ("pitch", "yaw", "roll")
IN_FILE = "*"
FITS_LENGTH, FITS_ANGLE = 2e-5, 2e-4
"""Metres and radians to which stated keys must give the file's samples; else a key is put on every frame."""


class Samples(NamedTuple):
    """Channels at whole frames, in the channels' own units; how near is near, in them too; straight between or not."""

    frames: Array
    values: dict[str, Array]
    near: dict[str, float]
    linear: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One node's motion in its parent, metres and radians.

    ``place`` is ``(samples, 3)``; ``angles`` are pitch, yaw and roll, ``(samples, 3)``, in ``order``; the slopes, per
    frame, are ``(2, samples, 3)``, coming in and going out. ``size`` is a uniform scale.
    """

    name: str
    parent: str
    place: Array
    angles: Array
    order: str = "yxz"
    place_slopes: Array | None = None
    angle_slopes: Array | None = None
    size: Array | None = None


def _frames(clip: Clip) -> Array:
    return np.arange(clip.first, clip.last + 1 + clip.loop, dtype=np.float64)


def node_tracks(clip: Clip, rig: Rig) -> list[Track]:
    """Return a track for each space of the clip, each control of the rig and each foot's toes, parents first.

    Raises InputError for feet in another style than about the ankle: a node couldn't be read back to rockers or joints.
    """
    if rig.style != "ankle":
        raise InputError(
            f"nodes carry feet about the ankle, not by {rig.style}; surefoot convert --style ankle first",
            place="rig.style",
        )
    binding, frames = Binding(rig, clip), _frames(clip)
    values = binding.values(frames)
    raw = [binding.pack.slopes(frames, side=side) * binding.scale for side in ("left", "right")]
    slopes = np.where(np.isfinite(raw), raw, 0.0)
    tracks = [_space_track(name, samples, clip) for name, samples in clip.spaces.items()]

    def part(of: Array, control: Control, keys: tuple[str, ...]) -> Array:
        rows = [binding.rows.get((control.name, key)) for key in keys]
        zero = np.zeros(of.shape[-1])
        return np.stack([zero if row is None else of[row] for row in rows], axis=-1)

    waiting = list(rig.controls.values())
    done = {"world", *clip.spaces}
    while waiting:
        control = next(one for one in waiting if one.parent in done)
        waiting.remove(control)
        done.add(control.name)
        parent = "" if control.parent == "world" else control.parent
        place, angles = (np.stack([part(s, control, k) for s in slopes]) for k in (("x", "y", "z"), TURNS))
        tracks.append(
            Track(
                control.name, parent, part(values, control, ("x", "y", "z")) + control.rest,
                part(values, control, TURNS), control.order, place, angles,
            )
        )  # fmt: skip
    for foot, leg in zip(rig.feet, rig.legs, strict=True):
        if "bend" in foot.axes and (foot.name, "bend") in binding.rows:
            bend, slope = (
                part(values, foot, ("bend", "", "")),
                np.stack([part(s, foot, ("bend", "", "")) for s in slopes]),
            )
            ball = np.broadcast_to(leg.foot.ball, bend.shape).copy()
            tracks.append(Track(_toes(foot), foot.name, ball, -bend, "yxz", np.zeros_like(slope), -slope))
    return tracks


def _toes(foot: Control) -> str:
    return f"{foot.name.removesuffix('_foot')}_toes"


def _space_track(name: str, samples: Array, clip: Clip) -> Track:
    rows = np.arange(len(samples) + clip.loop) % len(samples)
    size = np.cbrt(np.linalg.det(samples[rows, :3, :3]))
    angles = _angles(samples[rows, :3, :3] / size[:, None, None], "yxz", None)
    return Track(name, "", samples[rows, :3, 3], angles, size=None if np.allclose(size, 1.0, atol=1e-12) else size)


def _angles(turn: Array, order: str, start: Any) -> Array:
    """Return pitch, yaw and roll ``(samples, 3)`` of turns ``(samples, 3, 3)``, without jumps, near ``start``."""
    zero = np.zeros(1)
    one = np.array(angles_of(np.moveaxis(turn, 0, -1), order=order, near=(zero, zero, zero)))
    two = one + np.pi
    mid = "xyz".index(order[1])
    two[mid] = np.pi - one[mid]
    found, other = steady(one, two), steady(two, one)
    if start is None:
        return found.T
    best = []
    for track in (found, other):
        off = track[:, 0] - np.radians(start)
        turns = np.round(off / (2.0 * np.pi)) * 2.0 * np.pi
        best.append((float(np.abs(off - turns).sum()), track - turns[:, None]))
    return np.asarray(min(best, key=lambda pair: pair[0])[1].T)


def head_of(clip: Clip, carried: set[str]) -> dict[str, Any]:
    """Return the clip in the format's words, the values of ``carried`` channels' whole frames being in the file."""
    table: dict[str, Any] = msgspec.json.decode(clip_bytes(clip))
    last = clip.last + clip.loop
    for name, channel in table["channels"].items():
        for key in channel["keys"]:
            if name in carried and float(key[0]).is_integer() and clip.first <= key[0] <= last:
                key[1] = IN_FILE
    return table


def node_mapping(clip: Clip, rig: Rig, *, file: str = "") -> Mapping:
    """Return the mapping that goes with `node_tracks`: nodes by control, and what they can't carry."""
    nodes, carried = {}, set()
    bound = Binding(rig, clip).rows
    start = _starts(clip, rig)
    for control in rig.controls.values():
        bends = (control.name, "bend") in bound and control in rig.feet
        nodes[control.name] = Node(control.name, _toes(control) if bends else None, None, start[control.name])
        keys = {"x", "y", "z", *TURNS} | ({"bend"} if bends else set())
        carried |= {a.channel for key, a in control.axes.items() if key in keys and (control.name, key) in bound}
    return Mapping("controls", nodes=nodes, clip=head_of(clip, carried), file=file)


def _starts(clip: Clip, rig: Rig) -> dict[str, tuple[float, float, float]]:
    binding = Binding(rig, clip)
    values = binding.values(np.array([float(clip.first)]))[:, 0]
    found = {}
    for name in rig.controls:
        rows = [binding.rows.get((name, key)) for key in TURNS]
        pitch, yaw, roll = (0.0 if row is None else round(float(np.degrees(values[row])), 1) for row in rows)
        found[name] = (pitch, yaw, roll)
    return found


def clip_of_nodes(motion: Motion, mapping: Mapping, rig: Rig) -> Clip:
    """Return the clip that the nodes of ``motion`` play on ``rig``, as ``mapping`` says.

    Keys that the mapping states are kept where they give the samples; else, and where it states none, there is
    a key on every frame. Raises InputError when a control has no node, or the motion isn't finite.
    """
    motion = motion.taken(mapping.take)
    frames = np.arange(mapping.first, mapping.first + motion.samples, dtype=np.float64)
    made: dict[str, Array] = {"world": np.broadcast_to(np.eye(4), (motion.samples, 4, 4))}
    given = mapping.clip.get("spaces")
    for name, rows in (given if isinstance(given, dict) else {}).items():
        try:
            space = np.array(rows, dtype=np.float64).reshape(-1, 4, 4)
        except (TypeError, ValueError):
            raise InputError("wanted 4 by 4 matrices, one a frame", place=f'clip.spaces["{name}"]') from None
        made[name] = space[np.arange(motion.samples) % len(space)]
    stated = mapping.clip.get("channels")
    there = stated if isinstance(stated, dict) and stated else None
    values: dict[str, Array] = {}
    near: dict[str, float] = {}
    for name in mapping.nodes:
        if name not in rig.controls:
            raise UnknownName("control", name, rig.controls, place="nodes")
    for control in rig.controls.values():
        node = mapping.nodes.get(control.name)
        if node is None:
            raise InputError(f"it names no node for the control {control.name}", place="nodes")
        world = mapping.world(motion.world[motion.row(node.node, place=f"nodes.{control.name}")])
        if not np.isfinite(world).all() or np.abs(np.linalg.det(world[:, :3, :3])).min() < 1e-12:
            raise InputError("its place or turn isn't finite, or its scale is zero", place=f"node {node.node}")
        if node.turn is not None:
            world = world.copy()
            world[:, :3, :3] = world[:, :3, :3] @ quaternion_matrix(node.turn)
        made[control.name] = world
    for control in rig.controls.values():
        if control.parent not in made:
            raise UnknownName("parent", control.parent, made, place=f"control {control.name}")
        node = mapping.nodes[control.name]
        local = np.linalg.solve(made[control.parent], made[control.name])
        size = np.cbrt(np.linalg.det(local[:, :3, :3]))
        if (size <= 0.0).any():
            raise InputError("it mirrors left and right", place=f"node {node.node}")
        parts = dict(zip("xyz", (local[:, :3, 3] - control.rest).T, strict=True))
        parts |= dict(
            zip(TURNS, _angles(local[:, :3, :3] / size[:, None, None], control.order, node.start).T, strict=True)
        )
        if node.toes is not None:
            toes = mapping.world(motion.world[motion.row(node.toes, place=f"nodes.{control.name}.toes")])
            bent = np.linalg.solve(made[control.name], toes)
            parts["bend"] = -np.unwrap(np.arctan2(bent[:, 2, 1], bent[:, 1, 1]))
        for key, axis in control.axes.items():
            missing = axis.optional and there is not None and axis.channel not in there
            if (
                key == "bend"
                and key not in parts
                and not axis.optional
                and (there is None or axis.channel not in there)
            ):
                raise InputError(
                    "the rig bends its toes, but no node is named for them", place=f"nodes.{control.name}.toes"
                )
            if key in parts and not missing:
                values[axis.channel] = parts[key] / axis.scale + axis.zero
                near[axis.channel] = abs((FITS_LENGTH if key in "xyz" else FITS_ANGLE) / axis.scale)
    return clip_of_samples(Samples(frames, values, near, motion.linear), mapping, motion.rate)


def quaternion_matrix(quaternion: tuple[float, float, float, float]) -> Array:
    """Return the turn ``(3, 3)`` of a quaternion x, y, z, w of any length."""
    x, y, z, w = np.array(quaternion) / (np.linalg.norm(quaternion) or 1.0)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def clip_of_samples(samples: Samples, mapping: Mapping, rate: Any) -> Clip:
    """Return the clip of channels sampled at whole frames, with the keys and the head that the mapping states."""
    table = dict(mapping.clip)
    stated = table.get("channels")
    channels: dict[str, Any] = {}
    if isinstance(stated, dict):
        channels = {name: _filled(name, channel, samples) for name, channel in stated.items()}
    for name in samples.values:
        channels.setdefault(name, {"keys": [[float(samples.frames[0]), 0.0]]})
    loop = bool(table.get("loop", False))
    table.setdefault("rate", f"{rate.numerator}/{rate.denominator}")
    last = int(samples.frames[-1]) - (loop and "range" not in table)
    stretch = table.get("range")
    table["range"] = {"first": int(samples.frames[0]), "last": last} | (stretch if isinstance(stretch, dict) else {})
    table |= {"surefoot": "clip/1", "channels": channels}
    clip = parse_clip(msgspec.json.encode(table), place="mapping: clip")
    if clip.last + loop > samples.frames[-1] or clip.first < samples.frames[0]:
        told = f"the range is frames {clip.first} to {clip.last}{' of a loop' * loop}"
        there = f"the file's samples are {samples.frames[0]:g} to {samples.frames[-1]:g}"
        raise InputError(f"{told}, {there}", place="clip.range")
    return _fitted(clip, samples, set(stated) if isinstance(stated, dict) else set())


def _filled(name: str, channel: Any, samples: Samples) -> Any:
    """Return a channel with the values that are in the file put in their place."""
    keys = channel.get("keys") if isinstance(channel, dict) else None
    if not isinstance(keys, list):
        return channel
    track, full = samples.values.get(name), []
    for key in keys:
        if not (isinstance(key, list) and len(key) > 1 and key[1] == IN_FILE):
            full.append(key)
            continue
        place = f'clip.channels["{name}"]'
        if track is None:
            raise InputError("its values are said to be in the file, but nothing there drives it", place=place)
        at = key[0] - samples.frames[0] if isinstance(key[0], (int, float)) else -1
        if not (0 <= at < len(track) and float(at).is_integer()):
            raise InputError(f"the file has no sample at frame {key[0]!r}", place=place)
        full.append([key[0], float(track[int(at)]), *key[2:]])
    return {**channel, "keys": full}


def _fitted(clip: Clip, samples: Samples, stated: set[str]) -> Clip:
    """Put a key on every frame where the stated keys don't give the samples."""
    whole = np.arange(clip.first, clip.last + 1, dtype=np.float64)
    rows = (whole - samples.frames[0]).astype(int)
    changed: dict[str, Curve] = {}
    names = [name for name in clip.channels if name in samples.values]
    at = Pack.from_curves([clip.channels[name] for name in names]).evaluate(whole) if names else np.empty((0, 0))
    for name, curve_at in zip(names, at, strict=True):
        track = samples.values[name]
        off = np.abs(curve_at - track[rows]).max()
        if name in stated and off <= samples.near.get(name, 0.0) + 1e-9 * np.abs(track).max():
            continue
        changed[name] = _every_frame(clip, samples, track, clip.channels[name] if name in stated else None)
    return clip.with_channels(changed) if changed else clip


def _every_frame(clip: Clip, samples: Samples, track: Array, old: Curve | None) -> Curve:
    frames = samples.frames
    shape = Shape.LINEAR if samples.linear else Shape.THROUGH
    keep = (frames >= clip.first) & (frames <= clip.last + clip.loop)
    if not clip.loop:
        return Curve.shaped(frames[keep], track[keep], shape=shape)
    rises = old is not None and old.after == Outside.ADVANCE
    outside = Outside.ADVANCE if rises else Outside.REPEAT
    values = track[keep].copy()
    if not rises and abs(values[-1] - values[0]) > 1e-3 * max(1.0, float(np.ptp(values))):
        outside = Outside.ADVANCE
    return Curve.shaped(frames[keep], values, shape=shape, before=outside, after=outside)
