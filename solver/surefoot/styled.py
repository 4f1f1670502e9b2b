"""The hand-over to feet posed by rockers or by joints: planted feet written back as those channels.

The planted path is the one of `dense`, in the world; each style turns it into its own channels at every frame and at
four places between, and cubics from frame to frame follow those. In swing the authored curves carry the correction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from surefoot.as_written import is_stepped, stepped
from surefoot.curves import Curve
from surefoot.dense import BETWEEN, LEVER, dense_curves, dense_segments, writable
from surefoot.feet_in_world import PARTS, Fine, in_world, samples_of, segments_of
from surefoot.few import Fields, KeyCount, KeyTolerance, fit_few, out_of_the_ground
from surefoot.foot_styles import FootWorld, Setting
from surefoot.key_range import put_within
from surefoot.leg_solve import all_inside, solve_legs
from surefoot.poses import Pose, Space
from surefoot.rig import LENGTHWISE, Axis
from surefoot.scene import Scene
from surefoot.settle import Settled, stand_again

__all__ = ["write_styled"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Wanted = list[tuple[int, int, Axis]]

SHARE = 0.6
"""Of a tolerance at the sole, what each joint angle of a chain may use up by itself."""
ARMS: Mapping[str, float] = {"knee_flexion": 0.6, "ankle_flexion": 0.3, "ankle_inversion": 0.2, "foot_yaw": 0.3,
                             "bend": 0.15}  # fmt: skip
"""From a joint to the sole, as a share of the leg; 1.1 for what isn't named: the hip."""


def write_styled(
    scene: Scene,
    settled: Settled,
    *,
    ankle: Array,
    leave_below: float = 1e-6,
    few: bool = False,
    keys_at: Flags | None = None,
    stance: Flags | None = None,
) -> tuple[dict[str, Curve], tuple[KeyCount, ...]]:
    """Return the changed channels of a rig whose feet aren't posed about the ankle, and how many keys they have.

    Parameters are those of `write_channels` and `write_few`; ``few`` tells whether keys are few or on every frame.
    """
    if scene.count == 1 and scene.drift is None:
        return _one_pose(scene, settled, ankle, leave_below), ()
    fine = Fine(scene.binding)
    world = in_world(scene, fine)
    segments, _ = dense_segments(world, settled, ankle=ankle, leave_below=leave_below)
    rows = _rows(scene, settled, fine, segments, fine.values)
    authored = scene.binding.feet(fine.values)
    changed = _changed(scene, rows, authored, leave_below)
    wanted = writable(scene, changed)
    if not wanted:
        return {}, ()
    if not few:
        return dense_curves(scene, segments_of(rows), wanted), ()
    return _few(scene, world, settled, fine, rows, wanted, leave_below, keys_at, stance)


def _rows(scene: Scene, settled: Settled, fine: Fine, segments: Array, values: Array) -> Array:
    """Return the style's rows at every sample, ``(rows, 2, samples)``."""
    binding, tracks = scene.binding, settled.tracks
    planted = tracks.unroll(tracks.planted)
    after = np.concatenate([planted[:, 1:], planted[:, :1] if scene.drift is not None else planted[:, -1:]], axis=1)
    still = np.repeat((planted & after)[:, : fine.count], PARTS, axis=1)
    still = np.concatenate([still, still[:, -1:]], axis=1)
    still[:, ::PARTS] = True  # on the frames the settled pose is exact
    own = np.concatenate([fine.pose.ankle, fine.pose.angles, fine.pose.bend[None]])
    new = samples_of(segments)
    made = np.where(still, new, own + new - samples_of(segments_of(own)))
    feet = FootWorld(made[:3], made[3:6], made[6], fine.pose.knee)
    rows = binding.write_styled(feet, values, fine.frames, fine.pose)
    return _inside(scene, rows, feet, fine.pose, authored=binding.feet(values))


def _inside(scene: Scene, rows: Array, feet: FootWorld, pose: Pose, *, authored: Array) -> Array:
    """Return joint angles inside their ranges, and locked ones as authored, where the closed form isn't so.

    Other styles are as they are.
    """
    rig, keys, locked = scene.binding.rig, scene.binding.foot_keys, scene.binding.clip.locked
    if rig.style != "joints":
        return rows
    given = scene.binding.foot_rows >= 0
    foot_yaw = bool(given[7].all())
    stay = np.array([[key in foot.axes and foot.axes[key].channel in locked for foot in rig.feet] for key in keys])
    if not stay.any() and all_inside(rig, rows, foot_yaw=foot_yaw):
        return rows
    hips = Setting((Space(None, None), Space(None, None)), pose.hips_turn, pose.hip)
    solved = solve_legs(rig, feet, hips, foot_yaw=foot_yaw, near=authored, rows=rows, stay=stay)
    return np.where(given[..., None], solved.rows, 0.0)


def _changed(scene: Scene, rows: Array, authored: Array, leave_below: float) -> Flags:
    """Return which rows of which foot changed, ``(rows, 2)``: on the frames, or by their curve between."""
    gap = np.abs(rows - authored)
    lever = np.array([1.0 if key in LENGTHWISE else LEVER for key in scene.binding.foot_keys])[:, None]
    on_frames = gap[..., ::PARTS].max(axis=-1) * lever
    return np.asarray((on_frames > leave_below) | (gap.max(axis=-1) * lever > max(BETWEEN, leave_below)))


def _few(
    scene: Scene, world: Scene, settled: Settled, fine: Fine, rows: Array, wanted: Wanted, leave_below: float,
    keys_at: Flags | None, stance: Flags | None,
) -> tuple[dict[str, Curve], tuple[KeyCount, ...]]:  # fmt: skip
    """Fit few keys: angles first, then, for a style with places, the places anew from the fitted angles."""
    fields = Fields.of(world, settled, KeyTolerance(), stance)
    keys = scene.binding.foot_keys
    places = scene.binding.style.places if scene.binding.style is not None else 0
    tolerance = _tolerances(scene, fields, keys, by_joint=not places)
    above = fields.above if places else np.zeros_like(fields.above)
    fields = replace(fields, tolerance=tolerance, above=above)
    clip = scene.binding.clip
    held = [one for one in wanted if is_stepped(clip.channels.get(one[2].channel))]
    angles = [one for one in wanted if one not in held and one[0] >= places]
    lengths = [one for one in wanted if one not in held and one[0] < places]
    frames = np.arange(fine.count + 1) + scene.frames[0]
    made = {
        axis.channel: stepped(clip.channels[axis.channel], frames, rows[row, foot, ::PARTS] / axis.scale + axis.zero)
        for row, foot, axis in held
    }
    counts: list[KeyCount] = []
    segments = segments_of(rows)
    if angles:
        curves, segments, counts = fit_few(scene, segments, angles, fields, keys_at)
        turned = samples_of(segments)
        for row, foot, axis in held:
            turned[row, foot] = (made[axis.channel].at(fine.frames) - axis.zero) * axis.scale
        made |= curves
        if places:
            turns = [one for one in (*angles, *held) if one[0] >= places]
            segments = _placed_again(scene, world, settled, fine, segments, turned, turns, leave_below)
            lengths = writable(
                scene, _changed(scene, samples_of(segments), scene.binding.feet(fine.values), leave_below)
            )
            lengths = [one for one in lengths if one[0] < places and not is_stepped(clip.channels.get(one[2].channel))]
    if lengths:
        curves, _, told = fit_few(scene, segments, lengths, fields, keys_at)
        made, counts = made | curves, counts + told
    return made, tuple(counts)


def _placed_again(
    scene: Scene, world: Scene, settled: Settled, fine: Fine, segments: Array, fitted: Array, angles: Wanted,
    leave_below: float,
) -> Array:  # fmt: skip
    """Return the rows' cubics with places that plant the feet with the angles as ``fitted``, at every sample."""
    binding = scene.binding
    values = fine.values.copy()
    for row, foot, _ in angles:
        values[binding.foot_rows[row, foot]] = fitted[row, foot]
    turned = binding.pose(values, fine.frames)
    ends = slice(None, None, PARTS) if scene.drift is None else slice(None, -1, PARTS)
    turns = np.concatenate([turned.angles, turned.bend[None]])
    again = out_of_the_ground(world, stand_again(world, settled, turns[..., ends]))
    place, _ = dense_segments(
        world, again, ankle=again.in_world(scene)[0],
        leave_below=leave_below, turns=segments_of(turns),
    )  # fmt: skip
    new = place.copy()
    new[:, 3:] = segments_of(turns)
    rows = _rows(scene, again, _with_turns(fine, turned), new, values)
    out = segments.copy()
    out[:, :3] = segments_of(rows)[:, :3]
    return out


def _with_turns(fine: Fine, turned: Pose) -> Fine:
    """Return the samples with the feet's angles as fitted."""
    new = object.__new__(Fine)
    new.count, new.frames, new.values = fine.count, fine.frames, fine.values
    new.pose = replace(fine.pose, angles=turned.angles, bend=turned.bend)
    return new


def _tolerances(scene: Scene, fields: Fields, keys: tuple[str, ...], *, by_joint: bool) -> Array:
    """Return the tolerances ``(rows, 2, frames, phases)`` of a style's rows from those of place and angle."""
    side, _, _, turn, yaw, _, bend = fields.tolerance
    leg = scene.binding.rig.leg
    rows = []
    for key in keys:
        if key in LENGTHWISE:
            rows.append(fields.tolerance["xyz".index(key)])
        elif by_joint:
            rows.append(np.minimum(SHARE * side / (ARMS.get(key, 1.1) * leg), turn))
        else:
            rows.append(bend if key == "bend" else yaw if "yaw" in key else turn)
    return np.array(rows)


def _one_pose(scene: Scene, settled: Settled, ankle: Array, leave_below: float) -> dict[str, Curve]:
    """Return the changed channels of a clip of one frame."""
    binding = scene.binding
    _, angles, bend = settled.in_world(scene)
    feet, authored = FootWorld(ankle, angles, bend, scene.pose.knee), binding.feet(scene.values)
    new = binding.write_styled(feet, scene.values, scene.frames, scene.pose)
    new = _inside(scene, new, feet, scene.pose, authored=authored)
    lever = np.array([1.0 if key in LENGTHWISE else LEVER for key in binding.foot_keys])[:, None]
    most = np.abs(new - authored).max(axis=-1) * lever
    made = {}
    for row, foot, axis in writable(scene, most > leave_below):
        value, level = new[row, foot] / axis.scale + axis.zero, np.zeros(1)
        old = binding.clip.channels.get(axis.channel)
        if old is None:
            made[axis.channel] = Curve.constant(float(value[0]), frame=float(scene.frames[0]))
        else:
            made[axis.channel] = put_within(old, scene.frames.copy(), value, level, level.copy())
    return made
