"""Traces: numbers over the frames, as curves: channels with their keys, clearance, knee and leg."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.cautions import FOR_ANIMATION
from surefoot.curves import Pack
from surefoot.joints import KNEE, joints_of
from surefoot.pictures.axes import Panel, padded
from surefoot.pictures.subject import Subject
from surefoot.pictures.svg import WIDTH, Pen, Picture
from surefoot.rig import FEET, Rig
from surefoot.units import ANGLES, LENGTHS, SIGNS

__all__ = ["channel_curves", "clearance", "default_channels", "leg_curves", "unit_of"]

Array = NDArray[np.float64]

PER_FRAME = 8
"""Points a frame at which a channel is drawn."""
COLUMN = (WIDTH - 3 * 24 - 2 * 60) / 2.0
MOST_CHANNELS = 12


def default_channels(subject: Subject, before: Subject | None = None) -> tuple[str, ...]:
    """Return the channels that are drawn unasked: those that differ from ``before``, else the feet's and the hips'."""
    names = [name for name in subject.rig.channels() if name in subject.clip.channels]
    if before is not None:
        old = before.clip.channels
        changed = [name for name in names if name not in old or subject.clip.channels[name] is not old[name]]
        if changed:
            return tuple(changed[:MOST_CHANNELS])
    hips, feet = subject.rig.controls["hips"], subject.rig.feet
    wanted = [hips.axes[key].channel for key in "yz" if key in hips.axes]
    placed = [foot.axes[key].channel for key in ("y", "z", "pitch") for foot in feet if key in foot.axes]
    wanted += placed or [axis.channel for foot in feet for axis in foot.axes.values()]  # legs posed by their joints
    return tuple(name for name in wanted if name in names)[:MOST_CHANNELS]


def channel_curves(
    subject: Subject, *, before: Subject | None = None, channels: Sequence[str] | None = None
) -> Picture:
    """Return chosen channels over the frames with their keys, each in its file's own unit; ``before`` faint behind."""
    clip = subject.clip
    names = tuple(channels) if channels else default_channels(subject, before)
    for name in names:
        clip.curve(name, place="channels")
    pen = Pen()
    under = f"{subject.name}, keys as circles"
    top = pen.heading("Channels", under + ("; faint: before" if before is not None else ""))
    end = float(clip.last + (1 if clip.loop else 0))
    at = (
        np.linspace(clip.first, end, round((end - clip.first) * PER_FRAME) + 1) if end > clip.first else np.array([end])
    )
    height, step = 96.0, 164.0
    for index, name in enumerate(names):
        curves = [clip.channels[name]]
        if before is not None and name in before.clip.channels:
            curves.append(before.clip.channels[name])
        values = Pack.from_curves(curves).evaluate(at)
        across = (float(at[0]), max(float(at[-1]), float(at[0]) + 1.0))
        x = 24 + 60 + (index % 2) * (COLUMN + 24 + 60)
        y = top + 30 + (index // 2) * step
        limits = padded(float(values.min()), float(values.max()), least=1e-6)
        panel = Panel(x, y, COLUMN, height, across, limits)
        panel.grid(pen, unit=unit_of(subject.rig, name), ticks=6)
        panel.frames(pen)
        foot = "right" if name.startswith("right") else "left" if name.startswith("left") else "ink"
        style = f"sf-{foot}" + (" sf-dash" if foot == "right" else "")
        pen.text(x, y - 8, name, size=12.0, bold=True)
        if len(curves) > 1:
            old = Pen()
            old.curve(panel.points(at, values[1]), style)
            _keys(old, panel, curves[1].frames, curves[1].values, "sf-open", 2.6)
            pen.group(old.body, "sf-faint")
        pen.curve(panel.points(at, values[0]), style)
        _keys(pen, panel, curves[0].frames, curves[0].values, f"sf-{foot}-dot", 3.2)
    rows = (len(names) + 1) // 2
    told = "Channels over the frames: " + ", ".join(names) + "."
    return pen.picture("Channels", told, top + 14 + rows * step)


def _keys(pen: Pen, panel: Panel, frames: Array, values: Array, style: str, size: float) -> None:
    low, high = panel.across
    room = panel.width / max(1, int(np.count_nonzero((frames >= low) & (frames <= high))))
    size = min(size, max(1.9, 0.4 * room))  # many keys: smaller dots, without a rim
    if size < 3.0 and not style.startswith(("sf-right", "sf-open")):
        style = style.replace("-dot", "-full")
    for frame, value in zip(frames.tolist(), values.tolist(), strict=True):
        if low <= frame <= high:
            x, y = panel.points([frame], [value])[0]
            pen.dot(x, y, size, style)


def unit_of(rig: Rig, name: str) -> str:
    """Return the unit of a channel's numbers, where the rig's scale is that of a known one."""
    axis = rig.channels().get(name)
    if axis is None:
        return ""
    size = abs(axis.scale)
    turns = any(
        axis.channel == own.channel and key not in ("x", "y", "z")
        for control in rig.controls.values() for key, own in control.axes.items()
    )  # fmt: skip
    known = ANGLES if turns else LENGTHS
    return next((SIGNS.get(unit, unit) for unit, scale in known.items() if abs(scale / size - 1.0) < 1e-9), "")


def clearance(subject: Subject, *, before: Subject | None = None) -> Picture:
    """Return the height of heel, ball and toe over the ground, in whole and near the ground, with the band allowed.

    The band runs from the sink to the hover that is a warning.
    """
    pen = Pen()
    bounds = subject.report.tolerances
    sink, hover = bounds["sink"][1] * 1e3, bounds["hover"][1] * 1e3
    under = f"{subject.name}: straight above the ground; band: from {sink:.3g} mm sunk to {hover:.3g} mm hovering"
    if not subject.scene.ground.is_level:
        under += "; where the ground steps, it jumps"
    top = pen.heading("Clearance of heel, ball and toe", under + ("; faint: before" if before is not None else ""))
    across = _range(subject)
    height = subject.seen.touch.height[-3:] * 1e3
    ends = [height] if before is None else [height, before.seen.touch.height[-3:] * 1e3]
    low, high = min(float(h.min()) for h in ends), max(float(h.max()) for h in ends)
    near = (min(-5.0 * sink, max(low, -60.0)) * 1.1, 5.0 * hover)
    for foot, name in enumerate(FEET):
        x = 24 + 60 + foot * (COLUMN + 24 + 60)
        for y, tall, limits, word in (
            (top + 40, 180.0, padded(low, high, least=20.0), f"{name} foot"),
            (top + 292, 130.0, near, f"{name} foot, near the ground"),
        ):
            panel = Panel(x, y, COLUMN, tall, across, limits)
            panel.grid(pen, unit="mm", ticks=6)
            a, b = panel.of([hover, -sink]).tolist()
            pen.rect(x, a, COLUMN, b - a, "sf-allowed")
            panel.frames(pen)
            pen.text(x, y - 8, word, size=12.0, bold=True)
            _stances(pen, panel, subject, foot)
            if before is not None:
                old = _lines(panel, *_closed(before, before.seen.touch.height[-3:, foot] * 1e3), name)
                pen.window(x, y, COLUMN, tall, [f'<g class="sf-faint">{"".join(old)}</g>'])
            pen.window(x, y, COLUMN, tall, _lines(panel, *_closed(subject, height[:, foot]), name))
    _legend(pen, 84, top + 466, (("sf-ink", "heel"), ("sf-ink sf-dash", "ball"), ("sf-ink sf-dots", "toe")))
    told = "; ".join(f"{name} foot: lowest {height[:, f].min():.3g} mm" for f, name in enumerate(FEET))
    return pen.picture("Clearance of heel, ball and toe", told + ".", top + 486)


def _range(subject: Subject) -> tuple[float, float]:
    """Return the first and the last frame that is drawn: a loop's first one again."""
    clip = subject.clip
    return float(clip.first), float(clip.last + 1 if clip.loop or clip.frames == 1 else clip.last)


def _closed(subject: Subject, values: Array) -> tuple[Array, Array]:
    """Return the samples' frames and values; a loop's go on to its first frame again."""
    at = subject.seen.fine.frames
    if not subject.clip.loop:
        return at, values
    return np.append(at, subject.clip.last + 1.0), np.concatenate([values, values[..., :1]], axis=-1)


def _lines(panel: Panel, at: Array, height: Array, foot: str) -> list[str]:
    """Return the three parts' lines, as a window at the panel's corner has them."""
    inner = Pen()
    for part, style in enumerate((f"sf-{foot}", f"sf-{foot} sf-dash", f"sf-{foot} sf-dots")):
        inner.curve(panel.points(at, height[part]) - [panel.x, panel.y], style)
    return inner.body


def _legend(pen: Pen, x: float, y: float, entries: Sequence[tuple[str, str]]) -> None:
    for style, word in entries:
        pen.line(x, y - 4, x + 30, y - 4, style)
        pen.text(x + 36, y, word, size=11.0)
        x += 60 + 8.0 * len(word)


def _stances(pen: Pen, panel: Panel, subject: Subject, foot: int) -> None:
    """Draw a foot's stances as a thick line along the panel's foot."""
    clip, (low, high) = subject.clip, panel.across
    y = panel.y + panel.height - 2
    for stance in subject.report.stances:
        if stance.foot != FEET[foot]:
            continue
        for turn in (-clip.frames, 0, clip.frames) if clip.loop else (0,):
            a, b = max(stance.first + turn, low), min(stance.last + turn, high)
            if b > a:
                x1, x2 = panel.at([a, b]).tolist()
                pen.line(x1, y, x2, y, f"sf-{FEET[foot]} sf-leg")


def leg_curves(subject: Subject, *, before: Subject | None = None) -> Picture:
    """Return each leg's knee angle and its extension: hip to ankle as a share of the leg's length."""
    pen = Pen()
    under = f"{subject.name}: bend of the knee, 0 is straight; and hip to ankle as a share of thigh and shank together"
    top = pen.heading("Knee angle and leg extension", under + ("; faint: before" if before is not None else ""))
    every = [subject] if before is None else [subject, before]
    knees = [np.degrees(joints_of(one.rig, one.seen.fine.pose)[KNEE]) for one in every]
    reaches = [_extension(one) for one in every]
    rig = subject.rig
    bend = padded(min(0.0, *(float(k.min()) for k in knees)), max(float(k.max()) for k in knees), least=10.0)
    share = padded(min(float(r.min()) for r in reaches), max(100.0, *(float(r.max()) for r in reaches)), least=4.0)
    across = _range(subject)
    for foot, name in enumerate(FEET):
        x = 24 + 60 + foot * (COLUMN + 24 + 60)
        style = f"sf-{name}" + (" sf-dash" if name == "right" else "")
        upper = Panel(x, top + 40, COLUMN, 170.0, across, bend)
        lower = Panel(x, top + 282, COLUMN, 130.0, across, share)
        for panel, word, unit in ((upper, f"{name} knee", "°"), (lower, f"{name} leg's extension", "%")):
            panel.grid(pen, unit=unit, ticks=6)
            panel.frames(pen)
            pen.text(x, panel.y - 8, word, size=12.0, bold=True)
            _stances(pen, panel, subject, foot)
        for value, word in ((100.0, "the leg's length"), (100.0 * rig.reach, "")):
            y = float(lower.of(value))
            pen.line(x, y, x + COLUMN, y, "sf-lim" if word else "sf-stone sf-dots")
        for which in reversed(range(len(every))):
            drawn = Pen()
            drawn.curve(upper.points(*_closed(every[which], knees[which][foot])), style)
            drawn.curve(lower.points(*_closed(every[which], reaches[which][foot])), style)
            pen.group(drawn.body, "sf-faint" if which else "sf-now")
    note = f"broken line: 100 %, the leg's length; dotted: {100 * rig.reach:g} %, as far as planting lets it reach"
    pen.text(84, top + 458, f"{note}; thick line below: stance; {FOR_ANIMATION}", size=11.0, style="sf-soft")
    told = "; ".join(
        f"{name}: knee {knees[0][f].min():.1f} to {knees[0][f].max():.1f} degrees, "
        f"leg at most {reaches[0][f].max():.2f} % of its length" for f, name in enumerate(FEET)
    )  # fmt: skip
    return pen.picture("Knee angle and leg extension", told + ".", top + 474)


def _extension(subject: Subject) -> Array:
    """Return hip to ankle in per cent of the leg's length, ``(2, samples)``."""
    whole = np.array([[leg.length] for leg in subject.rig.legs])
    return np.asarray(100.0 * (subject.seen.over + whole) / whole)
