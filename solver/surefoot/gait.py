"""Gait: what a clip's stances say about its speed, strides, steps, cadence and support.

A frame is an instant, and a stance lasts from its first frame, the initial contact, to its last, the toe-off: a foot
that is down from frame 1 to 15 of a 24-frame loop is down for 14/24 of the cycle, 58.3 per cent. Every face counts so.
Lengths and speeds are those of the plan, so a step up a stair is as long as its tread. A clip that is no loop is
measured over its whole strides only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.contact import find_stances
from surefoot.errors import InputError, UnknownName
from surefoot.footprint import Tracks, fit_prints
from surefoot.gait_relations import BANDS, RUNS_ABOVE, WALKS_BELOW, froude_number, walk_ratio
from surefoot.given import checked
from surefoot.ground import Ground
from surefoot.planting import scene_of
from surefoot.rig import FEET, Rig
from surefoot.scene import Scene

__all__ = ["Gait", "Landing", "gait_in", "gait_of", "gait_warnings", "hip_height", "landings", "named_gait"]

Array = NDArray[np.float64]


class Landing(NamedTuple):
    """One stance: its foot (0 left, 1 right), the frames of initial contact and of toe-off, and its footprint.

    ``off`` is the stance's last frame; that of a foot which never leaves the ground is its next contact.

    ``place`` is ``(3,)`` metres, ground space. In a clip that is no loop ``landed`` and ``lifted`` say whether its
    ends lie inside the clip.
    """

    foot: int
    at: int
    off: int
    place: Array
    landed: bool
    lifted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Gait:
    """The measures of a gait.

    Parameters
    ----------
    speed : float
        Metres a second over the ground, on the plan: the belt's under an in-place cycle.
    stride, stride_time : float
        One foot's landing to its next, metres on the plan and seconds.
    steps : tuple of float
        Mean length of the steps that end with the left and with the right foot, metres along the way.
    step_width : float
        Mean distance between the feet's lines, metres.
    cadence : float
        Steps a minute.
    duty : tuple of float
        The share of the cycle from initial contact to toe-off, of the left and of the right foot.
    double_support, flight : float
        Shares of the cycle with both feet down and with none, all spells together.
    leg : float
        Hip joint over the sole of a straight leg, metres; the Froude number's length.
    """

    speed: float
    stride: float
    stride_time: float
    steps: tuple[float, float]
    step_width: float
    cadence: float
    duty: tuple[float, float]
    double_support: float
    flight: float
    leg: float

    @property
    def step(self) -> float:
        """Half a stride, metres."""
        return self.stride / 2.0

    @property
    def froude(self) -> float:
        """Speed squared over gravity times leg length."""
        return froude_number(self.speed, self.leg)

    @property
    def walk_ratio(self) -> float:
        """Step length over cadence, metres for a step a minute."""
        return walk_ratio(self.step, self.cadence)

    @property
    def mean_duty(self) -> float:
        """The mean of both feet's duty factors."""
        return sum(self.duty) / 2.0

    @property
    def kind(self) -> str:
        """``walk`` where a foot is down for more than half of the cycle, else ``run``."""
        return "walk" if self.mean_duty > 0.5 else "run"


def landings(scene: Scene, stances: tuple[Stance, ...]) -> list[Landing]:
    """Return the stances of a scene as landings, in order of time; a loop's first landing starts its round."""
    clip = scene.binding.clip
    if not stances:
        return []
    tracks = Tracks.of(scene, stances)
    prints = fit_prints(scene, tracks)
    order = [stance for foot in FEET for stance in stances if stance.foot == foot]
    places = prints.origin[:, tracks.source == np.arange(len(tracks.source))].T.copy()
    if scene.drift is not None:  # a print may be laid out a round later than its stance is told
        for place, stance in zip(places, order, strict=True):
            at = tracks.back[FEET.index(stance.foot), stance.first - clip.first]
            if tracks.laps.ravel()[at]:
                place[:] = np.asarray(scene.drift.apply(place[:, None], times=-1))[:, 0]
    loop = clip.loop
    found = [
        Landing(
            FEET.index(s.foot), s.first, _off(s, clip), place, loop or s.first > clip.first, loop or s.last < clip.last
        )
        for s, place in zip(order, places, strict=True)
    ]
    return sorted(found, key=lambda landing: (landing.at, landing.foot))


@checked()
def gait_of(
    clip: Clip,
    rig: Rig,
    *,
    ground: Ground | None = None,
    belt: Belt | None = None,
    stances: Iterable[Stance] | None = None,
) -> Gait:
    """Return the measures of a clip's gait: speed, strides, steps, cadence and support.

    For animation, not for clinical or ergonomic use.

    Parameters
    ----------
    ground, belt, stances : as for `surefoot.plant`

    Raises
    ------
    InputError
        If there's no whole stride in it: a foot that lands twice, or once in a loop.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("lamplighter")
    >>> gait = surefoot.gait_of(clip, rig)
    >>> gait.kind, round(gait.speed, 2), round(gait.cadence), [round(share, 3) for share in gait.duty]
    ('walk', 1.35, 120, [0.583, 0.583])
    """
    return gait_in(*walked(clip, rig, ground, belt, stances))


def walked(
    clip: Clip, rig: Rig, ground: Ground | None, belt: Belt | None, stances: Iterable[Stance] | None
) -> tuple[Scene, tuple[Stance, ...]]:
    """Return the scene of a clip, and its stances: those given, else stated in it, else found."""
    scene = scene_of(clip if stances is None else clip.with_stances(stances), rig, ground, belt)
    return scene, find_stances(scene)


def gait_in(scene: Scene, stances: tuple[Stance, ...]) -> Gait:
    """Return the measures of a scene's gait, of stances that are known; raises as `gait_of` does."""
    clip, rig = scene.binding.clip, scene.binding.rig
    found = landings(scene, stances)
    real = [landing for landing in found if landing.landed]
    if clip.loop and scene.drift is not None:
        drift = scene.drift
        again = [one._replace(at=one.at + clip.frames, off=one.off + clip.frames,
                              place=np.asarray(drift.apply(one.place[:, None]))[:, 0]) for one in real]  # fmt: skip
        rounds = sorted([*real, *again], key=lambda landing: (landing.at, landing.foot))
    else:
        rounds = real
    strides = _strides(rounds, clip)
    if not strides:
        raise InputError("no foot lands twice, so there's no stride to measure", place="gait")
    seconds = scene.binding.step
    way = np.sum([two.place - one.place for one, two in strides], axis=0)
    times = np.array([two.at - one.at for one, two in strides]) * seconds
    lengths = np.array([_along(scene, one, two) for one, two in strides])
    whole = float(times.mean())
    steps, widths = _steps(rounds, clip, way)
    none, _, both = _supports(found, strides, clip)
    duty = (_duty(strides, 0), _duty(strides, 1))
    return Gait(
        speed=float(lengths.sum() / times.sum()),
        stride=float(lengths.mean()),
        stride_time=whole,
        steps=steps,
        step_width=widths,
        cadence=60.0 * len({landing.foot for landing in real}) / whole,
        duty=duty,
        double_support=both,
        flight=none,
        leg=hip_height(rig),
    )


def hip_height(rig: Rig) -> float:
    """Return how high the hip joint is over the sole of a straight leg, metres: the length in a Froude number.

    Source: Alexander 1976, whose h is the height of the hip (secondary).
    """
    return max(leg.length - leg.foot.sole for leg in rig.legs)


def _strides(rounds: list[Landing], clip: Clip) -> list[tuple[Landing, Landing]]:
    """Return each landing with the same foot's next; in a loop those that begin in its round."""
    found = []
    for foot in range(2):
        mine = [landing for landing in rounds if landing.foot == foot]
        pairs = pairwise(mine)
        found += [(one, two) for one, two in pairs if not clip.loop or one.at <= clip.last]
    return found


def _along(scene: Scene, one: Landing, two: Landing) -> float:
    """Return how far it is on the plan from one landing to the same foot's next: along the arc, where the way turns."""
    chord = float(np.hypot(*(two.place - one.place)[[0, 2]]))
    drift = scene.drift
    if drift is None or drift.turn == 0.0:
        return chord
    turn = drift.turn * (two.at - one.at) / scene.count
    return chord / float(np.sinc(turn / (2.0 * np.pi)))


def _steps(rounds: list[Landing], clip: Clip, way: Array) -> tuple[tuple[float, float], float]:
    """Return the mean step that ends with each foot, along the way, and the mean distance across it, metres."""
    size = float(np.hypot(way[0], way[2]))
    dx, dz = (way[0] / size, way[2] / size) if size > 1e-9 else (0.0, 1.0)
    lengths: tuple[list[float], list[float]] = ([], [])
    widths = []
    for one, two in pairwise(rounds):
        if one.foot != two.foot and (not clip.loop or one.at <= clip.last):
            x, _, z = two.place - one.place
            lengths[two.foot].append(float(dx * x + dz * z))
            widths.append(abs(float(dz * x - dx * z)))
    means = [float(np.mean(own)) if own else float("nan") for own in lengths]
    return (means[0], means[1]), float(np.mean(widths)) if widths else float("nan")


def _duty(strides: list[tuple[Landing, Landing]], foot: int) -> float:
    mine = [(one.off - one.at) / (two.at - one.at) for one, two in strides if one.foot == foot and one.lifted]
    return float(np.mean(mine)) if mine else float("nan")


def _off(stance: Stance, clip: Clip) -> int:
    """Return the frame of toe-off; a foot that is down in every frame of a loop goes on to its next contact."""
    never = clip.loop and stance.last - stance.first + 1 >= clip.frames
    return stance.first + clip.frames if never else stance.last


def _supports(found: list[Landing], strides: list[tuple[Landing, Landing]], clip: Clip) -> tuple[float, float, float]:
    """Return for which shares of the whole strides no foot, one foot and both feet are down."""
    if clip.loop:
        start, end, rounds = clip.first, clip.first + clip.frames, range(-2, 2)
    else:
        start = min(one.at for one, _ in strides)
        end = max(two.at for one, two in strides if one.foot == strides[0][0].foot)
        rounds = range(1)
    spans = np.array([(one.at + k * clip.frames, one.off + k * clip.frames) for one in found for k in rounds])
    feet = np.array([one.foot for one in found for _ in rounds])
    # between two neighbouring events nothing changes, so their middle tells who stands
    at = np.unique(np.clip(np.append(spans.ravel(), [start, end]), start, end))
    middle, size = (at[1:] + at[:-1]) / 2.0, np.diff(at)
    inside = (spans[:, :1] < middle) & (middle < spans[:, 1:])
    standing = sum(inside[feet == foot].any(axis=0).astype(int) for foot in range(2))
    none, single, both = (float(size[standing == count].sum() / size.sum()) for count in range(3))
    return none, single, both


def named_gait(clip: Clip) -> str:
    """Return the gait that a clip says it is: ``gait`` in its extra fields, else the first gait's name in its own.

    One of `gait_relations.BANDS`, or nothing where it says none.
    """
    stated = str(clip.extra.get("gait", ""))
    if stated in BANDS:
        return stated
    words = clip.name.lower().split()
    return next((gait for gait in BANDS for word in words if word in (gait, f"{gait}s")), "")


def gait_warnings(gait: Gait, *, expected: str = "") -> list[str]:
    """Return what is out of the ordinary about a gait, a sentence each.

    ``expected`` names the gait that it should be, one of `gait_relations.BANDS`; its duty factor is compared.
    Raises UnknownName for another name.
    """
    told = []
    froude = gait.froude
    if gait.kind == "walk" and froude > WALKS_BELOW:
        told.append(f"Froude number {froude:.2f}: above 1 no stiff leg can walk; make it a run, or slower")
    elif gait.kind == "walk" and froude > RUNS_ABOVE:
        told.append(f"Froude number {froude:.2f}: above 0.5 people run (Kram, Domingo and Ferris 1997)")
    if expected:
        if expected not in BANDS:
            raise UnknownName("gait", expected, BANDS, place="gait")
        band = BANDS[expected]
        for foot, duty in zip(FEET, gait.duty, strict=True):
            if not band.least <= duty <= band.most:
                told.append(
                    f"{foot} duty factor {duty:.2f}: a {expected} has {band.least:.2f} to {band.most:.2f} "
                    f"({band.source})"
                )
    return told
