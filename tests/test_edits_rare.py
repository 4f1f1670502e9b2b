"""What is rare in a day's edits: bezier and stepped keys mixed, shifted and laid out; what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import surefoot
from surefoot import Belt, Clip, Curve, Edit, Flat, InputError, Outside, Shape, Stance, UnknownName, mix, remix
from surefoot.curves import Pack
from surefoot.host.memory import MemoryHost
from tests.walks import make_rig, random_walk

CLIP, RIG = surefoot.demo("lamplighter")
RIG_OF_WALK = make_rig()
FIRST, ROUND = float(CLIP.first), float(CLIP.frames)
HANDLES = np.tile([-2.0, -0.3, 2.0, 0.3], (4, 1))


def bezier(values: tuple[float, ...] = (0.0, 2.0, 1.0, 0.0), *, handles: float = 1.0, start: float = FIRST) -> Curve:
    frames = start + np.array([0.0, 6.0, 15.0, ROUND])
    none = np.zeros(4)
    return Curve(frames, values, np.full(4, Shape.BEZIER), none, none, HANDLES * [handles, 1.0, handles, 1.0],
                 Outside.REPEAT, Outside.REPEAT)  # fmt: skip


def shaped(shape: Shape, values: tuple[float, ...] = (0.0, 2.0, 1.0, 0.0), outside: Outside = Outside.REPEAT) -> Curve:
    return Curve.shaped(FIRST + np.array([0.0, 6.0, 15.0, ROUND]), values, shape=shape, before=outside, after=outside)


def glow(curve: Curve, clip: Clip = CLIP) -> Clip:
    """Return the lamplighter with a channel that no control knows."""
    return clip.with_channels({"glow": curve})


def at(curve: Curve, frames: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    return np.asarray(Pack.from_curves([curve]).evaluate(np.asarray(frames, dtype=np.float64))[0])


WHOLE = np.arange(FIRST, FIRST + ROUND)
FINE = np.arange(FIRST, FIRST + ROUND, 0.125)


# mixed ----------------------------------------------------------------------------------------------------


def test_bezier_keys_with_handles_alike_in_time_mix_to_bezier_keys() -> None:
    one, two = bezier(), bezier((1.0, 5.0, 2.0, 1.0))
    made = mix([(glow(one), 1.0), (glow(two), 3.0)]).channels["glow"]
    assert made.shapes.tolist() == [Shape.BEZIER] * 4
    np.testing.assert_allclose(at(made, FINE), 0.25 * at(one, FINE) + 0.75 * at(two, FINE), atol=1e-9)


def test_bezier_keys_unlike_in_time_are_mixed_on_every_frame() -> None:
    one, two = bezier(), bezier((1.0, 5.0, 2.0, 1.0), handles=0.5)
    made = mix([(glow(one), 1.0), (glow(two), 1.0)]).channels["glow"]
    assert set(WHOLE) <= set(made.frames.tolist())
    np.testing.assert_allclose(at(made, WHOLE), 0.5 * at(one, WHOLE) + 0.5 * at(two, WHOLE), atol=1e-9)


def test_stepped_keys_at_other_frames_mix_to_steps_and_with_curves_to_nothing() -> None:
    one = shaped(Shape.STEP)
    two = Curve.shaped([FIRST, FIRST + 10.0, FIRST + ROUND], [4.0, 8.0, 4.0], shape=Shape.STEP,
                       before=Outside.REPEAT, after=Outside.REPEAT)  # fmt: skip
    made = mix([(glow(one), 1.0), (glow(two), 1.0)]).channels["glow"]
    assert set(made.shapes.tolist()) == {Shape.STEP}
    np.testing.assert_allclose(at(made, FINE), 0.5 * at(one, FINE) + 0.5 * at(two, FINE))
    with pytest.raises(InputError, match="mix glow: its keys are stepped in one clip and not in another"):
        mix([(glow(one), 1.0), (glow(shaped(Shape.LINEAR, (0, 1, 3, 0))), 1.0)])


def test_clips_that_are_no_loops_are_mixed_between_their_ends() -> None:
    one = random_walk(4, loop=False).clip()
    ends = (float(one.first), float(one.last))
    frames = np.linspace(*ends, 9)
    left, right = Curve.through(frames, np.sin(frames)), Curve.through(frames[::2], np.cos(frames[::2]))
    made = mix([(glow(left, one), 1.0), (glow(right, one), 1.0)]).channels["glow"]
    fine = np.linspace(*ends, 200)
    np.testing.assert_allclose(at(made, fine), 0.5 * at(left, fine) + 0.5 * at(right, fine), atol=1e-9)
    assert made.after == Outside.HOLD


# shifted --------------------------------------------------------------------------------------------------


BEYOND = Curve.shaped(
    FIRST + np.array([-2.0, 0.0, 11.0, ROUND, ROUND + 3.0]), [1.0, 2.0, 3.0, 2.0, 1.0], shape=Shape.LEVEL
)
INSIDE = Curve.shaped([FIRST + 3.0, FIRST + 11.0], [1.0, 1.0], shape=Shape.LEVEL)


@pytest.mark.parametrize("by", [7.0, -3.0, 2.5])
@pytest.mark.parametrize(
    "curve",
    [
        bezier(),
        replace(bezier(), before=Outside.HOLD),
        shaped(Shape.LINEAR, outside=Outside.HOLD),
        shaped(Shape.THROUGH, outside=Outside.HOLD),
        replace(shaped(Shape.LINEAR), after=Outside.HOLD),
        shaped(Shape.STEP),
        Curve.constant(3.0, frame=FIRST),
        BEYOND,
        INSIDE,
    ],
)
def test_a_loops_channel_shifted_is_the_same_that_many_frames_later(curve: Curve, by: float) -> None:
    made = remix(glow(curve), RIG, [Edit("shift", "glow", by)]).channels["glow"]
    inside = FIRST + np.mod(FINE - by - FIRST, ROUND)
    np.testing.assert_allclose(at(made, FINE), at(curve, inside), atol=1e-9)


def test_a_shift_takes_stances_along_only_where_they_stay_in_the_clip() -> None:
    clip = random_walk(4, loop=False).clip()
    stances = (Stance("left", clip.first, clip.first + 4), Stance("right", clip.first + 8, clip.first + 12))
    clip = clip.with_stances(stances)
    later = remix(clip, RIG_OF_WALK, [Edit("shift", "left_foot", 2.0)]).stances
    assert later is not None
    assert {(s.foot, s.first) for s in later} == {("left", clip.first + 2), ("right", clip.first + 8)}
    assert remix(clip, RIG_OF_WALK, [Edit("shift", "left_foot", -2.0)]).stances is None, (
        "it would begin before the clip"
    )
    assert remix(clip, RIG_OF_WALK, [Edit("shift", "left_foot", 1.5)]).stances is None, "half a frame is no frame"


def test_what_an_edit_is_about_is_a_mean_a_rest_or_a_frame() -> None:
    with pytest.raises(InputError, match="scale hips: wanted mean, rest or a frame, got 'middle'"):
        Edit("scale", "hips", 0.5, about="middle")  # type: ignore[arg-type]


# laid out -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "curve",
    [bezier(), shaped(Shape.STEP), shaped(Shape.LINEAR, outside=Outside.HOLD),
     Curve.shaped([FIRST, FIRST + 12.0], [0.0, 0.0], shape=Shape.LEVEL, before=Outside.REPEAT, after=Outside.REPEAT)],
)  # fmt: skip
def test_a_channel_that_nothing_walks_on_is_laid_out_as_it_was(curve: Curve) -> None:
    laid = surefoot.lay(glow(curve), RIG, ground=Flat(), loops=2).clip.channels["glow"]
    np.testing.assert_allclose(at(laid, WHOLE), at(curve, WHOLE), atol=1e-9)
    np.testing.assert_allclose(at(laid, WHOLE + ROUND), at(curve, WHOLE), atol=1e-9)


def test_hips_with_bezier_keys_keep_their_handles_as_they_are_carried_along() -> None:
    clip = CLIP.with_channels({"hips.x": bezier((0.0, 1.0, -1.0, 0.0)), "hips.y": bezier((90.0, 92.0, 91.0, 90.0))})
    laid = surefoot.lay(clip, RIG, ground=Flat(), loops=2, let=["hips.y"])
    for name in ("hips.x", "hips.y"):
        assert set(laid.clip.channels[name].shapes.tolist()) == {Shape.BEZIER}, name
    one = at(laid.clip.channels["hips.y"], WHOLE) - laid.raised[: len(WHOLE)] / RIG.channels()["hips.y"].scale
    np.testing.assert_allclose(one, at(clip.channels["hips.y"], WHOLE), atol=1e-6)


@pytest.mark.parametrize(
    ("clip", "belt", "match"),
    [
        (CLIP, Belt(np.zeros(3)), "neither travels nor has a belt"),
        (CLIP, Belt(np.array([0.0, 0.0, -1.0]), 0.5), "the cycle turns by itself"),
        (CLIP.with_stances(()), None, "never stands on either foot"),
    ],
)
def test_a_cycle_that_cannot_be_laid_out_says_why(clip: Clip, belt: Belt | None, match: str) -> None:
    with pytest.raises(InputError, match=f"loops: .*{match}"):
        surefoot.lay(clip, RIG, ground=Flat(), loops=2, belt=belt)


# paced, let, travelling -----------------------------------------------------------------------------------


def test_a_walk_is_given_another_speed_only_along_channels_that_are_there() -> None:
    with pytest.raises(InputError, match="only rises or turns, so there's no speed along it"):
        surefoot.at_speed(CLIP, RIG, 1.0, by="time", belt=Belt(np.array([0.0, 0.5, 0.0])))
    locked = replace(CLIP, locked=frozenset({"left_foot.z"}))
    with pytest.raises(InputError, match=r"left_foot\.z: the channel is locked"):
        surefoot.at_speed(locked, RIG, 1.0, by="stride")
    bare = replace(CLIP, channels={name: c for name, c in CLIP.channels.items() if name != "left_foot.z"})
    with pytest.raises(UnknownName, match="control left_foot, z: no channel is called"):
        surefoot.at_speed(bare, RIG, 1.0, by="stride")


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"keys": "some"}, "keys: wanted few or every, got 'some'"),
        ({"keys": "every", "keys_at": [3]}, "keys_at: it's for few keys"),
        ({"keys_at": [99]}, "keys_at"),
    ],
)
def test_what_letting_is_not_asked_is_told(options: dict[str, object], match: str) -> None:
    with pytest.raises(InputError, match=match):
        surefoot.let_down(CLIP, RIG, ["hips.y"], plant=lambda one: surefoot.plant(one, RIG), **options)  # type: ignore[arg-type]


# a host in memory ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ask", "match"),
    [
        (lambda host: host.samples(["nose"], WHOLE), "no channel is called 'nose'"),
        (lambda host: host.spaces("deck", WHOLE), "no space is called 'deck'"),
        (lambda host: host.write("hips.y", Curve.constant(1.0), ""), "no undo step is open"),
        (lambda host: host.undo_step(), "there is nothing to undo"),
        (lambda host: (host.begin_step("one"), host.begin_step("two")), "the step 'one' is open"),
        (lambda host: (host.begin_step("one"), host.write("nose", Curve.constant(1.0), "")), "it is"),
    ],
)
def test_a_host_in_memory_refuses_as_a_host_would(ask: Callable[[MemoryHost], object], match: str) -> None:
    host = MemoryHost(CLIP)
    with pytest.raises(InputError, match=match):
        ask(host)


# heights of a grid ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heights", "match"),
    [
        (np.zeros((3, 3), dtype=complex), "expected numbers, got an array of complex"),
        (np.zeros(9), r"expected rows of heights, got an array of shape \(9,\)"),
    ],
)
def test_an_array_that_is_no_grid_is_told(heights: np.ndarray, match: str, tmp_path: Path) -> None:  # type: ignore[type-arg]
    np.save(tmp_path / "h.npy", heights)
    with pytest.raises(InputError, match=match):
        grid_of(tmp_path, "h.npy")


def grid_of(folder: Path, name: str) -> surefoot.Ground:
    (folder / "g.toml").write_text(
        f'surefoot = "ground/1"\nkind = "grid"\nfile = "{name}"\nspacing = 1.0\nunit = "m"\n'
    )
    return surefoot.load_ground(folder / "g.toml")


def test_an_array_cut_short_and_a_table_with_empty_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    np.save(tmp_path / "h.npy", np.ones((30, 30)))
    whole = (tmp_path / "h.npy").read_bytes()
    (tmp_path / "h.npy").write_bytes(whole[:-100])
    with pytest.raises(InputError, match="its header says 900 nodes, but it ends before"):
        grid_of(tmp_path, "h.npy")
    (tmp_path / "h.csv").write_text("1,1\n\n1,1\n\n")
    assert float(np.asarray(grid_of(tmp_path, "h.csv").height(np.zeros(1), np.zeros(1)))[0]) == 1.0
    monkeypatch.setattr("surefoot.ground_data_file.MOST_NODES", 80)
    (tmp_path / "big.csv").write_text("0,0,0,0,0,0,0,0,0\n" * 9)
    with pytest.raises(InputError, match="expected at most 80 nodes"):
        grid_of(tmp_path, "big.csv")
