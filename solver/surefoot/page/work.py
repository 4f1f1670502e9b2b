"""One open clip and what the page asks of it: mixed, its keys set, planted, posed, and written beside the original."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.checking import Report, Triple, check
from surefoot.choice import MENDED, Choice, Rejected
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes
from surefoot.curves import Curve, Pack
from surefoot.errors import FileError
from surefoot.ground import Ground, Plane
from surefoot.layer import layer_between
from surefoot.letting import let_down
from surefoot.page.telling import told_findings, told_numbers, told_ways
from surefoot.page.wishes import Taken, Wishes
from surefoot.pictures.figure import Figure, figure_of, footings_at, footings_of
from surefoot.pictures.traces import unit_of
from surefoot.planting import Planted, plant, scene_of
from surefoot.proposals import Proposal, apply_proposals, propose
from surefoot.remixing import Edit, remix
from surefoot.rig import Rig
from surefoot.save import save_all
from surefoot.scene import Scene
from surefoot.tolerances import tolerances_for

__all__ = ["Answer", "ChangedOnDisk", "Work", "mark_of"]

Array = NDArray[np.float64]

FINE = 4
"""Poses a frame that the page gets, so that it plays smoothly."""
MOST_FINE = 240
"""Clips of more frames than this are shown at whole frames."""
MOST_COPIES = 1000
NEAR = 1e-6
"""Frames, and share of a frame's number, by which a key is known: a page has both in single floats."""
SOLE_JOINTS = [3, 5, 6]
"""Heel, ball and toe among a figure's joints."""


class ChangedOnDisk(FileError):
    """The clip's file isn't any more what was read; whoever asked may want it written all the same."""


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What the page is told: a head of plain values, and arrays."""

    head: dict[str, Any]
    arrays: dict[str, Array]


@dataclass(slots=True, eq=False)
class Work:
    """An open clip; the only state is the file it came from and the wishes it was last asked for.

    ``seen`` is the file's `mark_of` when it was read, ``folder`` where results go; the rest is as for `surefoot.check`.
    """

    path: Path
    clip: Clip
    rig: Rig
    ground: Ground
    belt: Belt | None
    seen: str
    folder: Path
    tolerances: Mapping[str, Triple]
    landing: float | None
    also: tuple[str, ...]
    wishes: Wishes = field(default_factory=Wishes)

    @classmethod
    def open(
        cls, path: Path, clip: Clip, rig: Rig, *, seen: str, ground: Ground, belt: Belt | None = None,
        folder: Path | None = None, tolerances: Mapping[str, Triple] | None = None, landing: float | None = None,
        also: tuple[str, ...] = (),
    ) -> Work:  # fmt: skip
        """Return the work on a clip that was just read from ``path``; the belt that isn't stated is estimated once.

        ``seen`` is the file's `mark_of` from before it was read, so that no change in between is missed.
        """
        found = scene_of(clip, rig, ground, belt).belt
        limits = tolerances_for(rig.leg, rig.tolerances) if tolerances is None else tolerances
        return cls(path, clip, rig, ground, found, seen, folder or path.parent, limits, landing, also)

    @property
    def changed_on_disk(self) -> bool:
        """Whether the clip's file isn't any more what was read."""
        return mark_of(self.path) != self.seen

    def about(self) -> dict[str, Any]:
        """Return what doesn't change with the wishes: names, range, channels with their keys' count."""
        clip = self.clip
        hips = self.rig.controls["hips"].axes.items()
        return {
            "name": clip.name or self.path.stem,
            "file": self.path.name,
            "folder": "" if self.folder == self.path.parent else str(self.folder),
            "first": clip.first,
            "last": clip.last,
            "rate": float(clip.rate),
            "loop": clip.loop,
            "channels": list(clip.channels),
            "units": [unit_of(self.rig, name) for name in clip.channels],
            "hips": [[key, axis.channel] for key, axis in hips if axis.channel in clip.channels],
            "feet": [axis.channel for foot in self.rig.feet for axis in foot.axes.values()],
            "unit": clip.unit,
            "angle": clip.angle,
            "speed": self.belt.speed if self.belt is not None else 0.0,
            "ground": self.ground.name,
            "leg": self.rig.leg,
            "mended": list(MENDED),
        }

    def answer(self, wishes: Wishes, *, whole: bool) -> Answer:
        """Return figure, numbers and curves for the wishes; the whole answer has findings and few keys as well."""
        ground, belt = self._ground(wishes), self._belt(wishes)
        told: list[str] = []
        mixed = self._mixed(wishes, told)
        ways: tuple[Proposal, ...] = ()
        before: Report | None = None
        if whole or wishes.taken:
            before = self._judged(mixed, ground, belt)
            ways = propose(mixed, self.rig, ground=ground, landing=self.landing, report=before)
        taken = self._taken(mixed, wishes, ways, told)
        planted = self._planted(taken, wishes, ground, belt, keys="few" if whole else "every")
        head: dict[str, Any] = {"whole": whole, "told": told, "speed": planted.belt.speed}
        head["stances"] = [[s.foot, s.first, s.last] for s in planted.stances]
        if whole and before is not None:
            after = self._judged(planted.clip.with_stances(planted.stances), ground, belt)
            head["before"], head["after"] = told_findings(before), told_findings(after)
            head["ways"] = told_ways(before, ways)
            head["numbers"] = told_numbers(before, after, planted)
            head["changed_on_disk"] = self.changed_on_disk
        arrays = self._figures(mixed, planted, ground, head, whole=whole)
        self._curve(mixed, planted.clip, wishes, head, arrays)
        return Answer(head, arrays)

    def save(self, wishes: Wishes, *, anyway: bool = False) -> list[str]:
        """Write the planted clip and the layer into the folder, over nothing; return the files' names.

        Raises ChangedOnDisk if the clip's file has changed since it was read, unless it is to be done ``anyway``,
        and FileError if they can't be written; then neither is.
        """
        if self.changed_on_disk and not anyway:
            raise ChangedOnDisk("it has changed on disk since it was opened; nothing was written", place=self.path.name)
        ground, belt = self._ground(wishes), self._belt(wishes)
        mixed = self._mixed(wishes, [])
        ways: tuple[Proposal, ...] = ()
        if wishes.taken:
            before = self._judged(mixed, ground, belt)
            ways = propose(mixed, self.rig, ground=ground, landing=self.landing, report=before)
        taken = self._taken(mixed, wishes, ways, [])
        done = self._planted(taken, wishes, ground, belt, keys="few")
        layer = layer_between(self.clip, done.clip)
        paths = _free(self.folder / self.path.name, ("planted", "layer"))
        save_all([(clip_bytes(clip), path) for clip, path in zip((done.clip, layer), paths, strict=True)])
        return [path.name for path in paths]

    def _judged(self, clip: Clip, ground: Ground, belt: Belt | None) -> Report:
        return check(
            clip, self.rig, ground=ground, belt=belt, tolerances=self.tolerances, landing=self.landing, also=self.also
        )

    def _ground(self, wishes: Wishes) -> Ground:
        if wishes.slope == 0.0:
            return self.ground
        base = float(np.asarray(self.ground.height(np.zeros(1), np.zeros(1)))[0])
        rise = float(np.tan(np.radians(wishes.slope)))
        return Plane(np.array([0.0, base, 0.0]), np.array([0.0, 1.0, -rise]))

    def _belt(self, wishes: Wishes) -> Belt | None:
        if wishes.speed is None or self.belt is None:
            return self.belt
        own = self.belt.speed
        if own < 1e-9:
            return Belt(np.array([0.0, 0.0, -wishes.speed]), self.belt.turn)
        share = wishes.speed / own
        return Belt(self.belt.velocity * share, self.belt.turn * share)

    def _mixed(self, wishes: Wishes, told: list[str]) -> Clip:
        edits = []
        for one in wishes.mix:
            if one.share != 1.0:
                edits.append(Edit("scale", one.channels, one.share))
            if one.later:
                edits.append(Edit("shift", one.channels, one.later))
        clip = remix(self.clip, self.rig, edits) if edits else self.clip
        changed: dict[str, Curve] = {}
        for key in wishes.keys:
            curve = changed.get(key.channel) or clip.curve(key.channel)
            away = np.abs(curve.frames - key.frame)
            row = int(away.argmin())
            if away[row] > NEAR * max(1.0, abs(key.frame)):
                told.append(f"{key.channel} has no key on frame {key.frame:g} now; that change is left out")
                continue
            changed[key.channel] = _with_value(curve, row, key.value, clip)
        return clip.with_channels(changed) if changed else clip

    def _taken(self, clip: Clip, wishes: Wishes, ways: tuple[Proposal, ...], told: list[str]) -> Clip:
        """Return the clip with the ways put on that were taken by name, as far as there are such now."""
        for one in wishes.taken:
            found = next((way for way in ways if _is_of(way, one)), None)
            if found is None:
                told.append(f"{one.kind} of the {one.foot} in frames {one.first} to {one.last} isn't there now")
                continue
            clip = apply_proposals(clip, self.rig, [found], let=(found.asks,) if found.asks else ())
        return clip

    def _planted(self, clip: Clip, wishes: Wishes, ground: Ground, belt: Belt | None, *, keys: str) -> Planted:
        rejected = tuple(
            Rejected(one.kind, one.foot, one.first, one.last) for one in wishes.rejected if one.kind in MENDED
        )
        choice = Choice(rejected=rejected)

        def planted_of(clip: Clip, keys: str = keys) -> Planted:
            return plant(
                clip, self.rig, ground=ground, belt=belt, clearance=wishes.clearance,
                keys="few" if keys == "few" else "every", choice=choice,
            )  # fmt: skip

        if wishes.let:
            clip, _ = let_down(
                clip, self.rig, wishes.let, plant=lambda one: planted_of(one, "every"), ground=ground,
                tolerances=self.tolerances,
            )  # fmt: skip
        return planted_of(clip)

    def _figures(
        self, mixed: Clip, planted: Planted, ground: Ground, head: dict[str, Any], *, whole: bool
    ) -> dict[str, Array]:
        """Pose the planted clip, and for the whole answer the unplanted one too: a page keeps that until then."""
        clip = planted.clip
        fine = FINE if clip.frames <= MOST_FINE else 1
        count = clip.frames * fine if clip.loop else (clip.frames - 1) * fine + 1
        at = clip.first + np.arange(count) / fine
        arrays: dict[str, Array] = {}
        for word, shown in (("before", mixed), ("after", clip))[0 if whole else 1 :]:
            scene = Scene.of(shown, self.rig, ground, belt=planted.belt, frames=at)
            level = ground.is_level and scene.binding.rig.style == "ankle"
            footings = (
                ()
                if word == "before"
                else footings_at(scene, planted.footprints)
                if level
                else footings_of(scene_of(shown, self.rig, ground, planted.belt), planted.stances)
            )
            figure = figure_of(scene, planted.stances)
            for name in ("joints", "hind", "toes", "hips", "up", "forward"):
                arrays[f"{word}.{name}"] = getattr(figure, name)
            if word == "after":
                arrays["after.touch"] = self._touching(figure, ground)
                head |= {"fine": fine, "heading": figure.heading, "drift": _drift(scene)}
                arrays |= {"line": figure.line, "standing": figure.standing.astype(float)}
                arrays |= {
                    f"print.{name}": np.array([getattr(footing, name) for footing in footings])
                    for name in ("hind", "toes", "anchors")
                    if footings
                }
                head["prints"] = [[f.stance.foot, f.stance.first, f.stance.last] for f in footings]
        return arrays

    def _touching(self, figure: Figure, ground: Ground) -> Array:
        """Return 1 where heel, ball and toe touch while the foot stands, ``(samples, feet, 3)``."""
        limit = self.tolerances["hover"][1]
        x, y, z = figure.joints[:, :, SOLE_JOINTS].transpose(3, 0, 1, 2)
        return np.asarray((y - ground.height(x, z) < limit) & figure.standing[..., None], dtype=np.float64)

    def _curve(
        self, mixed: Clip, planted: Clip, wishes: Wishes, head: dict[str, Any], arrays: dict[str, Array]
    ) -> None:
        if wishes.channel not in mixed.channels:
            return
        end = mixed.last + 1 if mixed.loop else mixed.last
        at = np.linspace(mixed.first, end, 8 * (end - mixed.first) + 1)
        pair = [mixed.channels[wishes.channel], planted.channels[wishes.channel]]
        values = Pack.from_curves(pair[: 1 if pair[0] is pair[1] else 2]).evaluate(at)
        arrays["curve"] = np.array([at, values[0], values[-1]])
        for word, curve in zip(("before", "after"), pair, strict=True):
            arrays[f"keys.{word}"] = np.stack([curve.frames, curve.values], axis=-1)
        head["channel"] = wishes.channel


def _is_of(way: Proposal, one: Taken) -> bool:
    """Tell whether a proposal is the one that was taken: the same way of a finding that its frames still meet."""
    finding = way.finding
    same = (finding.kind, finding.foot, finding.part, way.way) == (one.kind, one.foot, one.part, one.way)
    return same and finding.first <= one.last and finding.last >= one.first


def mark_of(path: Path) -> str:
    """Return what tells whether a file is still the same; empty where there's none."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def _drift(scene: Scene) -> list[float]:
    """Return by what a loop moves on: turn, then shift x, y, z; four zeros where it doesn't."""
    return [0.0] * 4 if scene.drift is None else [scene.drift.turn, *scene.drift.shift]


def _with_value(curve: Curve, row: int, value: float, clip: Clip) -> Curve:
    """Return a curve with one key's value changed; in a loop the key at the other end of the round goes along."""
    values = np.array(curve.values)
    step = value - values[row]
    values[row] = value
    if clip.loop:
        other = np.flatnonzero(np.abs(np.abs(curve.frames - curve.frames[row]) - clip.frames) < 1e-6)
        values[other] += step
    return replace(curve, values=values)


def _free(path: Path, words: tuple[str, ...]) -> list[Path]:
    """Return names beside a file that are all free: ``walk.planted.json``, then ``walk.planted-2.json`` and so on."""
    for copy in range(1, MOST_COPIES):
        number = "" if copy == 1 else f"-{copy}"
        found = [path.with_name(f"{path.stem}.{word}{number}.json") for word in words]
        if not any(one.exists() for one in found):
            return found
    raise FileError(f"there are {MOST_COPIES} saved copies beside it already; remove some", place=path.name)
