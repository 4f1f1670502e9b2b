"""The library as a script meets it: wrong arguments get one sentence, single values pass for lists, reprs are short."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
from fractions import Fraction
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest

import surefoot
from surefoot import Belt, Choice, Clip, Curve, Flat, InputError, Rig, Stance, UnknownName
from surefoot.planting import scene_of

LAMPLIGHTER = surefoot.demo("lamplighter")
CLIP, RIG = LAMPLIGHTER
BELT = Belt([0.0, 0.0, -1.35])


@pytest.fixture(scope="module")
def report() -> surefoot.Report:
    return surefoot.check(CLIP, RIG)


def sentence(error: pytest.ExceptionInfo[InputError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    assert len(text) < 260
    return text


@pytest.mark.parametrize("job", [surefoot.plant, surefoot.check, surefoot.propose], ids=lambda job: job.__name__)
@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"belt": 1.35}, "belt: wanted a Belt, got the number 1.35; Belt([0, 0, -1.35]) is ground that moves"),
        ({"belt": [0, 0, -1.35]}, "belt: wanted a Belt, got [0, 0, -1.35]; Belt([0, 0, -1.35]) is"),
        ({"belt": "1.35"}, "belt: wanted a Belt, got the text '1.35'; such as Belt("),
        ({"ground": "hill.toml"}, "ground: wanted a Ground, got the text 'hill.toml'; load_ground reads one"),
        ({"ground": Path("hill.toml")}, "ground: wanted a Ground, got the path 'hill.toml'; load_ground reads one"),
        ({"ground": 0.0}, "ground: wanted a Ground, got the number 0.0; Flat(0.0) is level ground"),
        ({"ground": Flat}, "ground: wanted a Ground, got a type"),
        ({"stances": [("left", 1, 15)]}, "stances: wanted a list of Stance, got ('left', 1, 15) as its number 1; such"),
        ({"stances": {"left": [(1, 15)]}}, "stances: wanted a list of Stance, got a dict; such as [Stance("),
        ({"stances": "left=1-15"}, "stances: wanted a list of Stance, got the text 'left=1-15'; such as"),
        ({"limits": 0.02}, "limits: wanted a ContactLimits, got the number 0.02"),
    ],
)
def test_a_value_of_another_kind_is_told_in_one_sentence(job: Any, given: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)) as error:
        job(CLIP, RIG, **given)
    sentence(error)


@pytest.mark.parametrize("job", [surefoot.plant, surefoot.check, surefoot.propose], ids=lambda job: job.__name__)
def test_clip_and_rig_the_wrong_way_round_or_by_name_are_told(job: Any) -> None:
    with pytest.raises(InputError, match=r"clip: wanted a Clip, got a Rig; are clip and rig the wrong way round\?"):
        job(RIG, CLIP)
    with pytest.raises(InputError, match=r"clip: wanted a Clip, got the text 'walk\.json'; load_clip reads one"):
        job("walk.json", RIG)
    with pytest.raises(InputError, match="rig: wanted a Rig, got the text 'lamplighter'; load_rig reads one"):
        job(CLIP, "lamplighter")
    with pytest.raises(InputError, match="clip: wanted a Clip, got nothing"):
        job(None, RIG)


def test_what_plant_gave_isn_t_a_clip_but_has_one() -> None:
    with pytest.raises(InputError, match=r"clip: wanted a Clip, got a Planted; its \.clip is one"):
        surefoot.check(surefoot.plant(CLIP, RIG), RIG)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"clearance": "10mm"}, "clearance: wanted metres as a number, got the text '10mm'; numbers go without a unit"),
        ({"clearance": -0.01}, "clearance: wanted metres from 0 to 10, got -0.01"),
        ({"clearance": float("nan")}, "clearance: wanted metres from 0 to 10, got nan"),
        ({"clearance": True}, "clearance: wanted metres as a number, got True"),
        ({"leave_below": [1e-6]}, "leave_below: wanted metres as a number"),
        ({"choice": "left"}, "choice: wanted a Choice, got the text 'left'; such as Choice(feet='left')"),
        ({"choice": None}, "choice: wanted a Choice, got nothing"),
        ({"anchor": 99}, "anchor: frame 99 lies outside the clip's 1 to 24"),
        ({"anchor": "flst"}, "anchor: no anchor is called 'flst'; did you mean 'flat'?"),
        ({"anchor": 2.5}, "anchor: wanted a whole frame number, got the number 2.5"),
        ({"anchor": True}, "anchor: wanted a whole frame number, got True"),
        ({"keys": "some"}, "keys: wanted few or every, got 'some'"),
        ({"keys_at": [3]}, "keys_at: it's for few keys; say keys='few' as well"),
        ({"keys": "few", "keys_at": [99]}, "keys_at: frame 99 lies outside the clip's 1 to 24"),
        ({"keys": "few", "keys_at": [2.5]}, "keys_at: wanted a whole frame number"),
        ({"keys": "few", "keys_at": "1,4"}, "keys_at: wanted a list of frames, got the text '1,4'"),
        ({"before": "walk.json"}, "before: wanted a Clip, got the text 'walk.json'"),
    ],
)
def test_an_option_of_plant_that_is_none_is_told(given: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)) as error:
        surefoot.plant(CLIP, RIG, **given)
    sentence(error)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (
            {"tolerances": {"slide": 0.002}},
            "tolerances: slide: wanted a note's, a warning's and an error's limit, three",
        ),
        ({"tolerances": {"slide": (0.02, 0.005, 0.001)}}, "tolerances: slide: wanted a note's"),
        ({"tolerances": {"slide": (0.001, float("nan"), 0.02)}}, "tolerances: slide: wanted a note's"),
        ({"tolerances": {"slide": (-0.001, 0.005, 0.02)}}, "tolerances: slide: wanted a note's"),
        ({"tolerances": {"slide": ("1mm", "2mm", "3mm")}}, "tolerances: slide: wanted a note's"),
        ({"tolerances": {"limit": (0.1, 0.2)}}, "three rising numbers in radians, got (0.1, 0.2)"),
        (
            {"tolerances": {"slid": (0.001, 0.005, 0.02)}},
            "tolerances: no kind of finding is called 'slid'; did you mean",
        ),
        ({"tolerances": 0.002}, "tolerances: wanted three limits by kind, such as {'slide': (0.001, 0.005, 0.02)}"),
        ({"landing": -1}, "landing: wanted seconds, 0 or more, got -1"),
        ({"landing": "40ms"}, "landing: wanted seconds as a number, got the text '40ms'"),
    ],
)
def test_tolerances_and_landing_are_looked_at(given: dict[str, Any], told: str) -> None:
    for job in (surefoot.check, surefoot.propose):
        with pytest.raises(InputError, match=re.escape(told)) as error:
            job(CLIP, RIG, **given)
        sentence(error)


def test_a_report_knows_the_kinds_of_findings(report: surefoot.Report) -> None:
    assert report.most("slide") is not None
    assert report.most("seam") is None
    with pytest.raises(UnknownName, match="kind: no kind of finding is called 'slid'; did you mean 'slide'"):
        report.most("slid")


def test_a_single_value_is_as_good_as_a_list_of_one() -> None:
    assert Choice(feet="left") == Choice(feet=("left",))  # type: ignore[arg-type]
    assert Choice(kinds="slide").kinds == frozenset({"slide"})  # type: ignore[arg-type]
    one = Stance("left", 3, 12)
    assert surefoot.check(CLIP, RIG, belt=BELT, stances=one).stances == (one,)  # type: ignore[arg-type]
    assert CLIP.with_stances(one).stances == (one,)  # type: ignore[arg-type]
    assert surefoot.check(CLIP, RIG, also="oppose").tolerances.keys() >= {"oppose"}
    lowered = [
        surefoot.let_down(CLIP, RIG, let, plant=lambda clip: surefoot.plant(clip, RIG))[0].channels["hips.y"].values
        for let in ("hips.y", ["hips.y"])
    ]
    assert (lowered[0] == lowered[1]).all()
    way = next(way for way in surefoot.propose(CLIP, RIG) if way.default)
    once, listed = (surefoot.apply_proposals(CLIP, RIG, ways) for ways in (way, [way]))  # type: ignore[arg-type]
    assert once.channels.keys() == listed.channels.keys()
    remixed = surefoot.remix(CLIP, RIG, surefoot.Edit("scale", "hips.y", 0.5))  # type: ignore[arg-type]
    assert remixed.channels["hips.y"] is not CLIP.channels["hips.y"]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"feet": "lft"}, "choice: no foot is called 'lft'; did you mean 'left'"),
        ({"feet": 1}, "choice: feet: wanted a list of texts, got the number 1"),
        ({"frames": 9}, "choice: frames: wanted the first and the last frame, such as (9, 14), got the number 9"),
        ({"frames": (9, 14, 20)}, "choice: frames: wanted the first and the last frame"),
        ({"frames": (14, 9)}, "choice: frames: frames 14 to 9 run backwards"),
        ({"frames": ("a", "b")}, "choice: frames: wanted a whole frame number, got the text 'a'"),
        ({"rejected": [("slide", "left", 1, 15)]}, "choice: rejected: wanted a list of Rejected"),
    ],
)
def test_a_choice_of_nothing_known_is_told(given: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)):
        Choice(**given)


@pytest.mark.parametrize(
    ("clips", "told"),
    [
        (CLIP, "mix: wanted clips with their weights, such as [(clip, 0.7), (other, 0.3)], got a Clip"),
        ([CLIP], "such as [(clip, 0.7), (other, 0.3)], got a Clip as number 1"),
        ([(CLIP, 1.0), (RIG, 1.0)], "as number 2"),
        ([(CLIP,)], "as number 1"),
        ([(CLIP, "half")], "mix: weight 1: wanted a finite number, got the text 'half'"),
        ([(CLIP, float("nan"))], "mix: weight 1: wanted a finite number, got the number nan"),
        ([(CLIP, 0.0)], "a weight must be above 0, got 0.0"),
        ([], "mix: wanted at least one clip"),
        (None, "got nothing"),
    ],
)
def test_a_mix_of_anything_but_clips_and_weights_is_told(clips: Any, told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)) as error:
        surefoot.mix(clips)
    sentence(error)


def test_a_mix_takes_any_row_of_pairs() -> None:
    assert surefoot.mix(iter([(CLIP, 2.0)])).channels["hips.y"] is CLIP.channels["hips.y"]


HOUND = surefoot.load_pairs("hound")
WALK = surefoot.load_recipe("walk")


@pytest.mark.parametrize(
    ("job", "told"),
    [
        (lambda: surefoot.compass_rise("long", 0.7), "leg: wanted a finite number, got the text 'long'"),
        (lambda: surefoot.roller_rise(0.9, 0.7, radius=None), "radius: wanted a finite number, got nothing"),
        (lambda: surefoot.demo(3), "no demo is called 3"),
        (lambda: surefoot.preset_ground(3), "no ground is called 3"),
        (
            lambda: surefoot.block_pairs(WALK, HOUND, lag=float("nan")),
            "lag: wanted a finite number, got the number nan",
        ),
        (lambda: surefoot.at_speed(CLIP, RIG, "fast", by="time"), "speed: wanted a finite number, got the text 'fast'"),
        (lambda: surefoot.lay(CLIP, RIG, ground=Flat(), loops="two"), "loops: wanted a whole frame number"),
        (lambda: surefoot.lay(CLIP, RIG, ground=Flat(), loops=2, stride=1.0), "stride: wanted two shares"),
        (lambda: surefoot.aboard(CLIP, RIG, "ship"), "motion: no space of the clip is called 'ship'; there are none"),
        (lambda: surefoot.let_down(CLIP, RIG, ["hips.y"], plant=3), "plant: wanted a function that plants a clip"),
        (
            lambda: surefoot.replant(CLIP, CLIP, RIG, feet=["lft"]),
            "feet: no foot is called 'lft'; did you mean 'left'?",
        ),
        (lambda: surefoot.convert(CLIP, RIG), "convert: wanted a style (ankle, rockers, joints), or with to the rig"),
        (lambda: surefoot.draw(CLIP, RIG, frames=["a"]), "frames: wanted a finite number, got the text 'a'"),
        (lambda: surefoot.Route.straight("north"), "heading: expected numbers, got 'north'"),
        (lambda: Belt("fast"), "belt: wanted a velocity of three numbers, got the text 'fast'"),
        (lambda: Belt([0, 0, -1], "left"), "belt: turn: wanted a finite number, got the text 'left'"),
        (lambda: surefoot.Axis("hips.y", "cm"), "axis hips.y.scale: wanted a finite number, got the text 'cm'"),
        (lambda: surefoot.Axis("hips.y", 0.0), "axis hips.y.scale: a scale of 0 would tell nothing"),
        (lambda: surefoot.Control("hips", {"y": "hips.y"}), "control hips.axes: wanted an Axis by the name of each"),
        (
            lambda: surefoot.Rig("me", RIG.legs[0], RIG.controls),
            "rig.legs: wanted the left and the right Leg, got a Leg",
        ),
        (lambda: surefoot.Rig("me", RIG.legs, {"hips": 1}), "rig.controls: wanted a Control by the name of each"),
        (lambda: surefoot.Leg("hip", 0.4, 0.4, RIG.legs[0].foot), "leg.hip: wanted three finite numbers, got the text"),
        (lambda: surefoot.Leg((0, 0, 0), 0.4, 0.4, None), "leg.foot: wanted a Foot, got nothing"),
        (lambda: surefoot.Limits(knee_flexion=2.0), "limits.knee_flexion: wanted the least and the most angle"),
        (lambda: surefoot.Pairs("hound", [], {}), "pairs: wanted a mapping by the pair's name, got []"),
        (lambda: surefoot.Edit("scale", "hips.y", "half"), "scale hips.y: wanted a finite number, got the text 'half'"),
        (lambda: surefoot.Grid("bumps", 0.1), "heights: wanted rows of numbers, got the text 'bumps'"),
        (lambda: surefoot.Mesh([[0, 0, 0]], "abc"), "faces: wanted triangles of three corners, got the text 'abc'"),
        (lambda: surefoot.ContactLimits("low"), "height_on: wanted a finite number, got the text 'low'"),
        (lambda: surefoot.KeyTolerance(turn=-1.0), "turn: wanted 0 or more, got -1.0"),
        (lambda: surefoot.Recipe("mine", 24), "pace: wanted a Pace, got the number 24"),
    ],
)
def test_a_wrong_value_anywhere_in_the_shop_window_is_told_in_one_sentence(job: Any, told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)) as error:
        job()
    sentence(error)


CURVE = Curve.constant(1.0)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"channels": {"hips.y": [1, 2, 3]}}, "channel hips.y: wanted a Curve, got [1, 2, 3]; Curve.through(frames,"),
        ({"channels": [CURVE]}, "channels: wanted a mapping by name"),
        ({"first": 1.5}, "first: wanted a whole frame number, got the number 1.5"),
        ({"last": "24"}, "last: wanted a whole frame number, got the text '24'"),
        ({"last": float("inf")}, "last: wanted a whole frame number"),
        ({"belt": 1.35}, "belt: wanted a Belt, got the number 1.35"),
        ({"stances": [("left", 1, 15)]}, "stances: wanted a list of Stance, got ('left', 1, 15) in it"),
        ({"stances": 3}, "stances: wanted a list of Stance, got the number 3"),
        ({"rate": "fast"}, "rate: wanted frames per second"),
    ],
)
def test_a_clip_is_built_of_its_own_kinds_only(given: dict[str, Any], told: str) -> None:
    good = {"channels": {"hips.y": CURVE}, "rate": Fraction(24), "first": 1, "last": 24}
    with pytest.raises(InputError, match=re.escape(told)):
        Clip(**{**good, **given})


def test_whole_frames_given_as_floats_become_whole_numbers() -> None:
    clip = Clip({"hips.y": CURVE}, 24, 1.0, 24.0, locked="hips.y")  # type: ignore[arg-type]
    assert (type(clip.first), type(clip.last), clip.locked) == (int, int, frozenset({"hips.y"}))
    assert Stance("left", 1.0, 15.0) == Stance("left", 1, 15)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"stance of the left foot: wanted a whole frame number, got the number 1\.5"):
        Stance("left", 1.5, 15)  # type: ignore[arg-type]


def test_a_name_in_other_letters_is_met_first() -> None:
    with pytest.raises(UnknownName, match=r"did you mean 'hips\.y'\?"):
        CLIP.curve("hips.Y")
    with pytest.raises(UnknownName, match="did you mean 'lamplighter'"):
        surefoot.load_rig("LampLighter")


FILLING: dict[str, Any] = {
    "speed": 1.0, "by": "time", "gait": "walk", "let": ["hips.y"], "plant": surefoot.plant, "edits": [],
    "proposals": [], "loops": 2, "ground": Flat(), "path": "nowhere.json", "name": "x", "style": "joints",
    "capture": None, "recipe": None, "pairs": None, "feet": None, "setting": None, "scene": None, "stances": (),
}  # fmt: skip
TAKES = {
    name: thing
    for name in surefoot.__all__
    if inspect.isfunction(thing := getattr(surefoot, name))
    and {"clip", "rig", "scene", "recipe", "capture", "pairs", "path", "name_or_path", "before"}
    & set(inspect.signature(thing).parameters)
}


@pytest.mark.parametrize("name", TAKES)
def test_no_function_of_the_shop_window_fails_bare_on_a_wrong_first_argument(name: str) -> None:
    function = TAKES[name]
    needed = [p.name for p in inspect.signature(function).parameters.values() if p.default is inspect.Parameter.empty]
    needed = [n for n in needed if n != "options"]
    if not set(needed[1:]) <= {*FILLING, "clip", "rig", "before", "after"}:
        pytest.skip("takes a kind of its own, looked at in its own tests")
    own = {**FILLING, "clip": CLIP, "rig": RIG, "before": CLIP, "after": CLIP}
    for wrong in (3.5, {}, object(), None):
        with pytest.raises(InputError) as error:
            function(**{needed[0]: wrong, **{n: own[n] for n in needed[1:]}})
        assert needed[0] in sentence(error)


def test_the_examples_in_the_descriptions_hold() -> None:
    for module in ("checking", "curves", "planting"):
        told = doctest.testmod(importlib.import_module(f"surefoot.{module}"))
        assert told.attempted >= 3
        assert not told.failed


def test_looking_at_arguments_costs_microseconds() -> None:
    bare = scene_of.__wrapped__  # type: ignore[attr-defined]
    assert inspect.signature(surefoot.plant) == inspect.signature(surefoot.plant.__wrapped__)  # type: ignore[attr-defined]
    from surefoot.given import checked

    @checked(choice=Choice)
    def idle(clip: Clip, rig: Rig, *, ground: Any = None, belt: Any = None, choice: Any = None) -> None:
        """Do nothing."""

    assert bare is not scene_of
    level, choice = Flat(), Choice()

    def once() -> float:
        began = perf_counter()
        for _ in range(100):
            idle(CLIP, RIG, ground=level, belt=BELT, choice=choice)
        return (perf_counter() - began) / 100

    assert min(once() for _ in range(20)) < 30e-6


def test_what_a_script_prints_is_one_line_that_says_what_matters(report: surefoot.Report) -> None:
    done = surefoot.plant(CLIP, RIG, belt=BELT)
    shown = {repr(thing): part for thing, part in (
        (CLIP, "26 channels, frames 1 to 24 at 24, a loop"), (RIG, "Rig 'lamplighter': legs of"),
        (CURVE, "<Curve: 1 key at 1, values 1, hold and hold>"), (report, "errors"),
        (done, "10 channels changed"), (surefoot.check(done.clip, RIG), "<Report: 2 notes"),
    )}  # fmt: skip
    for text, part in shown.items():
        assert part in text
        assert "\n" not in text
        assert len(text) < 160


def test_a_curve_tells_its_value_at_any_frame() -> None:
    bob = Curve.through([1, 7, 13], [90.0, 88.0, 90.0], before=surefoot.Outside.REPEAT, after=surefoot.Outside.REPEAT)
    assert bob.at([1, 7, 13, 19, -5, 31]).tolist() == [90.0, 88.0, 90.0, 88.0, 88.0, 88.0]
    assert bob.at([[1, 7], [13, 19]]).shape == (2, 2)
    assert bob.at(7).shape == ()
    assert bob.at([]).shape == (0,)
    assert Curve.shaped([0, 10], [0.0, 5.0], shape=surefoot.Shape.LINEAR).at([2, 20]).tolist() == [1.0, 5.0]
    for wrong in (["a"], "soon", [float("nan")], None):
        with pytest.raises(InputError, match="frames"):
            bob.at(wrong)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="keys: wanted numbers, got"):
        Curve.through("soon", [1.0])  # type: ignore[arg-type]
