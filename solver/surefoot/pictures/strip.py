"""Pose strip: the figure from the side, once for each chosen frame, on the ground as it is.

The first rows hold contact, down, passing and up; the rest the worst frame of every finding, with the foot
close up. A figure seen from its right side goes to the right; the near, right leg is drawn over the left one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.pictures.axes import told
from surefoot.pictures.close_up import CELL, CLOSE, CLOSE_TALL, KNEE_CLOSE, above_close_up, close_up, joint_close_up
from surefoot.pictures.figure import Figure, figure_of, looked_at, scene_at
from surefoot.pictures.posed import BODY, Place, draw_anchors, draw_figure, fill_earth, leg_of
from surefoot.pictures.slid import slid_between
from surefoot.pictures.subject import Chosen, Subject, key_poses, told_amount, without_repeats, worst_frames
from surefoot.pictures.svg import Pen, Picture, text_width
from surefoot.rig import FEET

__all__ = ["pose_strip"]

Array = NDArray[np.float64]

MOST_WORST = 64
"""Worst frames that are drawn; how many more findings there are is told."""
MOST_ALIKE = 3
"""Findings of one kind, foot and part that are all drawn; of more, the worst one."""
PER_ROW = 8
UNDER_FOOT = ("slide", "sink", "hover", "overhang")
FROM_ABOVE = ("swivel", "cross")
IN_A_LEG = ("stretch", "snap", "limit")


def pose_strip(subject: Subject, *, before: Subject | None = None, frames: Iterable[float] | None = None) -> Picture:
    """Return the pose strip; ``before`` is drawn faint behind it, and its findings are shown too.

    ``frames`` are drawn instead of contact, down, passing and up.
    """
    poses = key_poses(subject) if frames is None else tuple(Chosen(float(frame), ()) for frame in frames)
    reports = [("", subject.report)] if before is None else [("before", before.report), ("now", subject.report)]
    every = worst_frames(reports, subject.clip)
    worst = _worst(without_repeats(every, MOST_ALIKE), MOST_WORST)
    cells = [*poses, *worst]
    at = [chosen.frame for chosen in cells]
    subjects = [one for one in (subject, before) if one is not None]
    figures = [_figure(one, at) for one in subjects]
    around = _around(figures)
    scale = min((CELL - 14.0) / (around[1] - around[0]), 240.0 / (around[3] - around[2]))
    pen = Pen()
    under = f"{subject.name}, {subject.setting}" + ("; faint: before" if before is not None else "")
    top = pen.heading("Pose strip", under)
    top = _rows(pen, subjects, figures, poses, 0, top, around, scale)
    if worst:
        head = "Worst frame of every finding"
        if any(more for chosen in worst for more in chosen.more):
            head += "; of many alike, the worst"
        pen.text(24, top + 18, head, size=14.0, bold=True)
        words = f"below it the foot {CLOSE:g} times larger, or the knee and the line from hip to ankle"
        left_out = sum(len(chosen.findings) for chosen in every) - sum(len(chosen.findings) for chosen in worst)
        if left_out:
            words += f"; {left_out} more finding{'s aren' if left_out > 1 else ' isn'}'t drawn"
        pen.text(24 + text_width(head, 16.0) + 12, top + 18, words, size=11.0, style="sf-soft")
        top = _rows(pen, subjects, figures, worst, len(poses), top + 24, around, scale, close=True)
    words = "full line: left leg; broken line: right leg, nearer; wedges under the ground: where the footprint holds "
    words += "heel, ball and toe"
    if any(chosen.findings[0][1].kind == "slide" for chosen in worst):
        words += "; ring to dot: how far the touching point slid"
    if any(chosen.findings[0][1].kind == "swivel" for chosen in worst):
        words += "; dotted from above: as the footprint lies"
    pen.text(24, top + 12, words, size=11.0, style="sf-soft")
    return pen.picture("Pose strip", _told(cells), top + 26)


def _worst(every: tuple[Chosen, ...], most: int) -> tuple[Chosen, ...]:
    """Return those with the worst findings, in order of frames."""
    rank = {"error": 0, "warning": 1, "note": 2}
    kept = sorted(every, key=lambda c: (min(rank[f.level] for _, f in c.findings), c.frame))[:most]
    return tuple(sorted(kept, key=lambda chosen: chosen.frame))


def _figure(subject: Subject, frames: Sequence[float]) -> Figure:
    stances = subject.report.stances
    return figure_of(scene_at(subject.scene, frames), stances, subject.footings)


def _around(figures: Sequence[Figure]) -> tuple[float, float, float, float]:
    """Return how far the figures reach from below their hips: behind, ahead, down and up, metres."""
    heading = figures[0].heading
    across, up = [], []
    for figure in figures:
        own = looked_at(figure.hips, "side", heading)
        head = figure.hips + BODY * leg_of(figure) * figure.up
        for part in (figure.joints, figure.hind, figure.toes, head[:, None, None]):
            seen = looked_at(part, "side", heading) - own[:, None, None]
            across.append(seen[..., 0].ravel())
            up.append(seen[..., 1].ravel())
    x, y = np.concatenate(across), np.concatenate(up)
    return float(x.min()), float(x.max()), float(y.min()), float(y.max())


def _rows(
    pen: Pen, subjects: Sequence[Subject], figures: Sequence[Figure], cells: Sequence[Chosen], first: int, top: float,
    around: tuple[float, float, float, float], scale: float, *, close: bool = False,
) -> float:  # fmt: skip
    """Draw cells in rows; return the y below them."""
    tall = (around[3] - around[2]) * scale + 26.0
    for start in range(0, len(cells), PER_ROW):
        row = cells[start : start + PER_ROW]
        lines = max([2, *(len(_words(cell)) for cell in row)])
        for column, cell in enumerate(row):
            x = 24.0 + column * CELL
            _cell(pen, subjects[0], figures, first + start + column, x, top + 8, tall, around, scale)
            below = top + 8 + tall
            if close:
                when, finding = cell.findings[0]
                of = len(figures) - 1 if when == "before" else 0
                foot = FEET.index(finding.foot) if finding.foot in FEET else 1
                if finding.kind in UNDER_FOOT:
                    slid = (
                        (slid_between(subjects[of], finding), told_amount(finding)) if finding.kind == "slide" else None
                    )
                    place = first + start + column, foot, x, below + 4, scale * CLOSE
                    close_up(pen, subjects[0], figures, of, *place, slid)
                elif finding.kind in FROM_ABOVE:
                    feet = (foot,) if finding.foot in FEET else (0, 1)
                    above_close_up(pen, figures, of, first + start + column, feet, x, below + 4, scale * CLOSE)
                elif finding.kind in IN_A_LEG:
                    joint = {"hip": 0, "ankle": 2, "toe": 2}.get(finding.part.split(" ")[0], 1)
                    joint_close_up(
                        pen, figures, of, first + start + column, foot, joint, x, below + 4, scale * KNEE_CLOSE
                    )
                below += CLOSE_TALL + 4
            for line, (words, strong) in enumerate(_words(cell)):
                pen.text(x + 4, below + 16 + 14 * line, words, size=12.0 if strong else 11.0, bold=strong)
        top += 8 + tall + (CLOSE_TALL + 4 if close else 0.0) + 14 * lines + 14
    return top


def _words(cell: Chosen) -> list[tuple[str, bool]]:
    """Return a cell's lines, the first one strong."""
    lines = [(f"frame {told(round(cell.frame, 2))}", True)]
    if cell.words:
        lines.append((", ".join(cell.words), False))
    for at, (when, finding) in enumerate(cell.findings):
        part = "" if finding.part == "knee" else finding.part
        side = {"left": "L", "right": "R"}.get(finding.foot, finding.foot if finding.kind != "cross" else "")
        words = " ".join(w for w in (finding.kind, side, part) if w)
        lines.append((f"{'was ' if when == 'before' else ''}{words} {told_amount(finding)}", False))
        if at < len(cell.more) and cell.more[at]:
            lines.append((f"worst of {cell.more[at] + 1} such", False))
    return [(part, strong) for words, strong in lines for part in _broken(words)]


def _short(word: str) -> list[str]:
    """Return a word in pieces that fit a cell: a channel's name may be long."""
    most = len(word)
    while most > 4 and text_width(word[:most], 11.0) > CELL - 8:
        most -= 1
    return [word[at : at + most] for at in range(0, len(word), max(most, 1))]


def _broken(words: str) -> list[str]:
    """Return words broken into lines that fit a cell."""
    lines = [""]
    for word in (part for whole in words.split(" ") for part in _short(whole)):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, 11.0) > CELL - 8:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _cell(
    pen: Pen, subject: Subject, figures: Sequence[Figure], number: int, x: float, y: float, tall: float,
    around: tuple[float, float, float, float], scale: float,
) -> None:  # fmt: skip
    """Draw one frame: earth, the figure before, the figure; the hips of ``subject`` are in one place in every cell."""
    hips = looked_at(figures[0].hips[number], "side", figures[0].heading)
    wide = CELL - 6.0
    origin = np.array([wide / 2.0 - (around[0] + around[1]) / 2.0 * scale, 4.0 + around[3] * scale])
    place = Place(hips, origin, scale)
    inner = Pen()
    _earth(inner, subject, figures[0], number, place, wide, tall)
    draw_anchors(inner, figures[0], number, place, 5.0)
    for which in reversed(range(len(figures))):
        drawn = Pen()
        draw_figure(drawn, figures[which], number, place)
        inner.group(drawn.body, "sf-faint" if which else "sf-now")
    pen.window(x, y, wide, tall, inner.body)


def _earth(pen: Pen, subject: Subject, figure: Figure, number: int, place: Place, wide: float, tall: float) -> None:
    """Draw the ground's line along the way under the figure, with hatched earth below."""
    hips, heading = figure.hips[number], figure.heading
    line = subject.scene.ground.section(hips, heading, place.along(0.0), place.along(wide))
    fill_earth(pen, place(line, heading), tall)


def _told(cells: Sequence[Chosen]) -> str:
    return "Figures from the side at " + "; ".join(
        " ".join([f"frame {told(round(cell.frame, 2))}", *cell.words,
                  *(f"{f.kind} {f.foot} {told_amount(f)}" for _, f in cell.findings)]) for cell in cells
    ) + "."  # fmt: skip
