"""What a command line names, read: the clip, its rig, the ground, the belt, the tolerances; and where results go."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import STILL, Belt
from surefoot.checking import Report, check
from surefoot.clip import Clip
from surefoot.deck import Deck, aboard, ashore, motion_of, name_of
from surefoot.demos import deck_names, deck_path, demo_name, demo_path
from surefoot.errors import InputError, UnknownName
from surefoot.formats.deck_file import load_deck
from surefoot.formats.mapping import Mapping as ClipMapping
from surefoot.formats.mapping import load_mapping
from surefoot.formats.opening import Opened, clip_files, open_clip
from surefoot.ground import Flat, Ground
from surefoot.ground_file import load_ground
from surefoot.ground_presets import preset_ground, preset_grounds
from surefoot.options import by_option, leave_alone, read_amount, read_belt, read_leave, read_stances
from surefoot.pairs import pair_names
from surefoot.planting import scene_of
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, preset_names
from surefoot.tables import Seen
from surefoot.tolerances import tolerances_for, when_asked
from surefoot.travel import rooted

__all__ = [
    "Job",
    "SeveralPairs",
    "check_named",
    "check_outputs",
    "clip_path",
    "open_plain",
    "read_before",
    "read_job",
    "rig_of",
    "said_of",
    "told_of",
]


class SeveralPairs(InputError):
    """A rig is asked for by the name of a character of several pairs of legs, ``character``."""

    def __init__(self, character: str, *, place: str = "") -> None:
        told = "check, plant and block take it whole, the library by surefoot.pairs, all else one pair's rig with --rig"
        super().__init__(f"{character} has several pairs of legs; {told}", place=place)
        self.character = character


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """What a command line names, read; aboard a deck, clip and rig are as seen from there."""

    path: Path
    clip: Clip
    rig: Rig
    ground: Ground
    belt: Belt | None
    tolerances: dict[str, tuple[float, float, float]]
    landing: float | None
    also: tuple[str, ...] = ()
    mapping: ClipMapping | None = None
    fitted: bool = False
    rig_file: Path | None = None
    deck: NDArray[np.float64] | None = None
    """World from deck at each frame, ``(frames, 4, 4)``."""
    shore: tuple[Clip, Rig] | None = None
    """Clip and rig as their files have them, where there's a deck."""
    deck_name: str = ""

    def ashore(self, planted: Clip) -> tuple[Self, Clip]:
        """Return the job and a planted clip in the world again, as files have them."""
        if self.shore is None:
            return self, planted
        clip, rig = self.shore
        return replace(self, clip=clip, rig=rig, deck=None, shore=None, deck_name=""), ashore(planted, clip)

    @property
    def seen(self) -> Seen:
        """What of the clip was stated and what was worked out."""
        return Seen(
            belt_stated=self.belt is not None or self.clip.belt is not None,
            stances_stated=self.clip.stances is not None,
            ground="" if isinstance(self.ground, Flat) else self.ground.name,
            for_pictures=self.ground.for_pictures,
            deck=self.deck_name,
        )

    def files(self, clip: Clip, path: str) -> list[tuple[bytes, str]]:
        """Return what is written for a clip that goes to ``path``, in the format of its suffix: see `clip_files`."""
        return clip_files(clip, self.rig, path, fitted=self.fitted, rig_file=self.rig_file)

    def judge(self, clip: Clip, belt: Belt | None) -> Report:
        """Check a clip as the command line asks: its rig, ground, tolerances and landing."""
        return check(
            clip, self.rig, ground=self.ground, belt=belt, tolerances=self.tolerances, landing=self.landing,
            also=self.also,
        )  # fmt: skip


def read_job(options: argparse.Namespace) -> Job:
    """Read everything that the shared options name; see `arguments.add_clip_options`."""
    path = clip_path(options.clip)
    opened, rig, rig_file = _opened(path, options)
    assert rig is not None
    clip = read_stances(options.stances, opened.clip)
    rig = rooted(rig, clip)
    riding = None if getattr(options, "aboard", None) is None else _deck(options.aboard, clip)
    belt: Belt | None = None
    if options.belt == "estimate":
        clip = replace(clip, belt=None)
    elif options.belt is not None:
        belt = STILL if options.belt == "still" else read_belt(options.belt)
    ground = Flat(0.0) if options.ground is None else _ground(options.ground)
    if options.landing is not None and not 0.0 <= options.landing <= 1.0:
        raise InputError(f"wanted seconds from 0 to 1, got {options.landing:g}", place="--landing")
    tolerances = _tolerances(options.tolerance, rig)
    shore = deck = None
    if riding is not None:
        shore, deck = (clip, rig), motion_of(clip, riding)
        clip, rig = aboard(clip, rig, deck)
    spans = read_leave(options.leave)
    if spans:
        with told_of(path):
            seen = check(clip, rig, ground=ground, belt=belt).stances
        clip = clip.with_stances(leave_alone(clip, seen, spans))
    also = tuple(kind.strip() for kind in options.also.split(",") if kind.strip())
    for kind in also:
        if kind not in when_asked():
            raise UnknownName("kind of finding that waits to be asked for", kind, when_asked(), place="--also")
    return Job(
        path, clip, rig, ground, belt, tolerances, options.landing, also, opened.mapping, opened.fitted, rig_file,
        deck, shore, "" if riding is None else name_of(riding),
    )  # fmt: skip


def check_named(options: argparse.Namespace) -> None:
    """Raise for an option of a batch that is wrong whatever the clip, so that it's told once and not of every clip."""
    if options.rig is not None:
        _rig_named(options.rig, "--rig")
    if options.map is not None:
        load_mapping(options.map)
    if options.ground is not None:
        _ground(options.ground)
    if options.belt not in (None, "still", "estimate"):
        read_belt(options.belt)
    for text in options.tolerance:
        read_amount(text)


def open_plain(options: argparse.Namespace) -> tuple[Path, Clip, Rig | None, Path | None, bool]:
    """Return a clip as it is, its rig, the rig's file and whether that was fitted; a clip in JSON may name none."""
    path = clip_path(options.clip)
    opened, rig, rig_file = _opened(path, options, needs_rig=False)
    read_by = None if rig is None else rooted(rig, opened.clip)
    return path, opened.clip, read_by, rig_file, opened.fitted


def _opened(
    path: Path, options: argparse.Namespace, *, needs_rig: bool = True
) -> tuple[Opened, Rig | None, Path | None]:
    given = None if options.rig is None else _rig_named(options.rig, "--rig")
    opened = open_clip(path, mapping=options.map, rig=given)
    if given is not None:
        named = opened if opened.clip.rig else replace(opened, clip=replace(opened.clip, rig=options.rig))
        return named, given, None
    if opened.fitted and opened.rig is not None:
        return opened, opened.rig, None
    if not needs_rig and not opened.clip.rig:
        return opened, None, None
    return (opened, *_rig(opened.clip, path if options.map is None else Path(options.map)))


def clip_path(name: str) -> Path:
    """Return the file of a clip, or of the demo of that name where there is no such file."""
    path = Path(name)
    if not name or "\0" in name:
        raise InputError(f"wanted a clip's file or the name of a demo, got {name!r}")
    if path.suffix or path.exists() or path.name != name:
        return path
    try:
        return demo_path(name)
    except UnknownName as error:
        raise UnknownName("file or demo", name, error.known) from None


@contextmanager
def told_of(path: Path) -> Iterator[None]:
    """Put the clip's file, or a demo's name, before the place of what is wrong with it; an option stands alone."""
    try:
        yield
    except InputError as error:
        told = by_option(error)
        raise (told if told.place.startswith("--") else told.within(demo_name(path) or str(path))) from None


@contextmanager
def said_of(option: str) -> Iterator[None]:
    """Put an option in the place of what the library names, for what is found wrong with its value."""
    try:
        yield
    except InputError as error:
        if error.place.startswith(option):
            raise
        raise (error.at(option) if error.place == "layers" else error.within(option)) from None


def _deck(name: str, clip: Clip) -> Deck | str:
    """Return a deck: a space of the clip by its name, one from a file, or that of the demo of a name."""
    path = Path(name)
    plain = bool(name) and not path.suffix and path.name == name and "\0" not in name and not path.exists()
    if name in clip.spaces:
        return name
    if plain and deck_path(name) is None:
        known = {*clip.spaces, *deck_names()}
        raise UnknownName("deck's file or space of the clip", name, known, place="--aboard")
    return load_deck((deck_path(name) if plain else None) or name)


def _ground(name: str) -> Ground:
    """Return the ground of a preset's name, or else of a file."""
    if name in preset_grounds():
        return preset_ground(name)
    path = Path(name)
    if name and not path.suffix and path.name == name and "\0" not in name and not path.exists():
        raise UnknownName("ground file or preset", name, preset_grounds(), place="--ground")
    return load_ground(name)


def _rig(clip: Clip, base: Path) -> tuple[Rig, Path | None]:
    """Return the rig that a clip names, and its file where that lies beside ``base``."""
    if not clip.rig:
        raise InputError(
            f"the clip names no rig; give one with --rig (a TOML file, or {', '.join(preset_names())})",
            place=str(base),
        )
    beside = base.parent / clip.rig
    if clip.rig.endswith(".toml") and beside.is_file():
        return load_rig(beside), beside
    return _rig_named(clip.rig, f"{base}: $.rig"), None


def rig_of(clip: Clip, base: Path) -> Rig:
    """Return the rig that a clip names: a file beside ``base``, the clip's own, or a shipped one."""
    return _rig(clip, base)[0]


def _rig_named(name: str, place: str) -> Rig:
    if name in pair_names():
        raise SeveralPairs(name, place=place)
    try:
        return load_rig(name)
    except UnknownName as error:
        if error.place:  # something inside the rig's file
            raise
        raise error.within(place) from None


def _tolerances(given: list[str], rig: Rig) -> dict[str, tuple[float, float, float]]:
    """A stated warning limit moves the note and the error in proportion."""
    found = tolerances_for(rig.leg, rig.tolerances)
    for kind, amount in map(read_amount, given):
        note, warning, error = found[kind]
        share = amount / warning
        found[kind] = (note * share, amount, error * share)
    return found


def read_before(name: str, job: Job) -> Clip:
    """Read the clip before the edit; what doesn't fit the rig or the ground is told of its own file."""
    path = clip_path(name)
    clip = open_clip(path, rig=job.rig if job.shore is None else job.shore[1]).clip
    with told_of(path):
        if job.deck is not None and job.shore is not None:
            clip, _ = aboard(clip, job.shore[1], job.deck)
        scene_of(clip, job.rig, job.ground, job.belt)
    return clip


def check_outputs(outputs: Mapping[str, str | None], inputs: Mapping[str, str | None], *, over: str = "") -> None:
    """Raise if two files of a command are one.

    ``outputs`` and ``inputs`` are files by the option or the words that name them; only ``outputs[over]`` may be
    the clip itself, which ``inputs["the clip"]`` names.
    """
    earlier = dict(inputs)
    for option, path in outputs.items():
        if path is None:
            continue
        if path in ("", "-") or "\0" in path:
            raise InputError(f"wanted the name of a file, got {path!r}", place=option)
        for what, other in earlier.items():
            allowed = option == over and what == "the clip"
            if other and not allowed and _same_file(path, other):
                raise InputError(f"{path} is {what} too; name another file", place=option)
        earlier[option] = path


def _same_file(one: str, two: str) -> bool:
    if os.path.exists(one) and os.path.exists(two):
        return os.path.samefile(one, two)
    return os.path.realpath(one) == os.path.realpath(two)
