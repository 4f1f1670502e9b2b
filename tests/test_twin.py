"""Twin: the other side is one side's mirror half a cycle later, by the rig's axes; `mismatch` measures it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from surefoot import Belt, Clip, Curve, InputError, Outside, Rig, Shape, UnknownName, check, demo, plant, replant, twin
from surefoot.curves import Pack
from surefoot.key_edits import affine
from surefoot.mirror import mirror_of, side_of
from surefoot.mismatch import mismatches
from surefoot.side_map import other_side
from tests import measure
from tests.walks import make_rig, random_walk

FINE = np.linspace(1.0, 25.0, 481)
SIDEWAYS = ("x", "yaw", "cant")
UPRIGHT = ("y", "z", "pitch", "bend")


def at(clip: Clip, name: str, frames: np.ndarray = FINE) -> np.ndarray:
    return Pack.from_curves([clip.channels[name]]).evaluate(frames)[0]


def odd(clip: Clip) -> Clip:
    """Return the cycle with 25 frames: its keys a little farther apart."""
    channels = {
        name: replace(
            curve, frames=1.0 + (curve.frames - 1.0) * 25.0 / 24.0, slope_in=curve.slope_in * 24.0 / 25.0,
            slope_out=curve.slope_out * 24.0 / 25.0,
        )
        for name, curve in clip.channels.items()
    }  # fmt: skip
    return replace(clip, channels=channels, last=25)


def converted(clip: Clip, rig: Rig) -> tuple[Clip, Rig]:
    """Return the same motion with the right side's channels in other units, signs and zeros."""
    foot, channels = rig.controls["right_foot"], dict(clip.channels)
    axes = {}
    for k, (key, axis) in enumerate(foot.axes.items()):
        size, zero = (-2.0, 0.5, -1.0, 4.0, -0.25, 1.0, -1.0)[k], (0.0, 3.0, -2.0, 0.0, 1.0, 0.0, 5.0)[k]
        axes[key] = replace(axis, channel=f"R:{key}", scale=axis.scale * size, zero=zero)
        channels[f"R:{key}"] = affine(channels.pop(axis.channel), factor=1.0 / size, offset=zero)
    return replace(clip, channels=channels), replace(
        rig, controls={**rig.controls, "right_foot": replace(foot, axes=axes)}
    )


@pytest.mark.parametrize("source", ["left", "right"])
def test_the_sideways_family_is_the_sources_negated_half_a_cycle_later_exactly(source: str) -> None:
    clip, rig = demo("lamplighter")
    target = other_side(source)
    made = twin(clip, rig, source=source).clip
    for sign, keys in ((-1.0, SIDEWAYS), (1.0, UPRIGHT)):
        for key in keys:
            one, two = made.channels[f"{source}_foot.{key}"], made.channels[f"{target}_foot.{key}"]
            own = {(f - 1.0) % 24.0: (v, s) for f, v, s in zip(one.frames, one.values, one.shapes, strict=True)}
            assert len(two.frames) == len(one.frames)
            for frame, value, shape in zip(two.frames, two.values, two.shapes, strict=True):
                assert own[(frame - 13.0) % 24.0] == (sign * value, shape), key
            assert np.abs(at(made, f"{target}_foot.{key}") - sign * at(made, f"{source}_foot.{key}", FINE - 12)).max() \
                < 1e-12  # fmt: skip


@pytest.mark.parametrize("source", ["left", "right"])
def test_the_source_side_and_the_middle_come_back_as_the_same_objects(source: str) -> None:
    clip, rig = demo("lamplighter")
    done = twin(clip, rig, source=source)
    for name, curve in clip.channels.items():
        if side_of(name) != other_side(source):
            assert done.clip.channels[name] is curve
    assert all(side_of(name) == other_side(source) for name in done.changed)


@pytest.mark.parametrize("centre", [False, True])
def test_twinning_again_changes_nothing(centre: bool) -> None:
    clip, rig = demo("lamplighter")
    once = twin(clip, rig, centre=centre).clip
    again = twin(once, rig, centre=centre)
    assert again.changed == ()
    assert all(again.clip.channels[name] is curve for name, curve in once.channels.items())


def test_twinning_again_changes_no_bezier_key_either_and_sees_a_handle_that_was_pulled() -> None:
    clip, rig = demo("lamplighter")
    at_ = np.arange(1.0, 26.0, 6.0)
    values, none = np.array([0.0, 5.0, -3.0, 2.0, 0.0]), np.zeros(5)
    handles = np.tile([-2.0, -0.5, 2.0, 0.5], (5, 1))
    bezier = Curve(at_, values, np.full(5, Shape.BEZIER, dtype=np.int8), none, none, handles, Outside.REPEAT,
                   Outside.REPEAT)  # fmt: skip
    once = twin(clip.with_channels({"left_arm.swing": bezier}), rig, of=["right_arm"])
    assert once.changed == ("right_arm.swing",)
    np.testing.assert_allclose(
        at(once.clip, "right_arm.swing"), at(once.clip, "left_arm.swing", FINE - 12.0), atol=1e-9
    )
    assert twin(once.clip, rig, of=["right_arm"]).changed == ()
    pulled = handles.copy()
    pulled[2, 3] = 2.5
    other = once.clip.with_channels({"left_arm.swing": replace(bezier, handles=pulled)})
    assert twin(other, rig, of=["right_arm"]).changed == ("right_arm.swing",)


def test_a_twinned_cycle_has_no_mismatch() -> None:
    clip, rig = demo("lamplighter")
    before = mismatches(clip, rig)
    assert before["right_arm.swing"][0] > 0.02
    assert check(clip, rig, also=("mismatch",)).most("mismatch") is not None
    done = twin(clip, rig, centre=True).clip
    assert max(amount for amount, _ in mismatches(done, rig).values()) < 1e-12
    assert check(done, rig, also=("mismatch",)).most("mismatch") is None


def test_mismatch_is_looked_for_only_when_asked() -> None:
    clip, rig = demo("lamplighter")
    report = check(clip, rig)
    assert report.most("mismatch") is None
    assert "mismatch" not in report.tolerances
    with pytest.raises(UnknownName, match="mismatch"):
        check(clip, rig, also=("mismtch",))


def test_mismatch_is_as_large_as_the_difference_that_was_put_in() -> None:
    clip, rig = demo("lamplighter")
    done = twin(clip, rig, centre=True).clip
    name = "right_foot.z"
    off = done.with_channels({name: affine(done.channels[name], offset=1.2)})
    found = mismatches(off, rig)
    assert found[name][0] == pytest.approx(0.012)
    turned = done.with_channels({"right_foot.yaw": affine(done.channels["right_foot.yaw"], offset=10.0)})
    assert mismatches(turned, rig)["right_foot.yaw"][0] == pytest.approx(0.2 * np.radians(10.0))


def test_a_place_of_no_control_is_measured_in_the_rigs_own_unit_of_length() -> None:
    """The lamplighter is in centimetres: what its lantern's channels miss by 3 is 30 mm, and goes sideways by name."""
    clip, rig = demo("lamplighter")
    even, sideways = Curve.constant(5.0), Curve.constant(-5.0)
    lit = clip.with_channels({"left_lantern.y": even, "right_lantern.y": even, "left_lantern.x": even,
                              "right_lantern.x": sideways})  # fmt: skip
    found = mismatches(lit, rig)
    assert (found["right_lantern.y"][0], found["right_lantern.x"][0]) == (0.0, 0.0)
    off = mismatches(lit.with_channels({"right_lantern.y": Curve.constant(8.0)}), rig)
    assert off["right_lantern.y"][0] == pytest.approx(0.03)
    made = twin(lit.with_channels({"right_lantern.x": Curve.constant(0.0)}), rig, of=["right_lantern"])
    assert made.changed == ("right_lantern.x",)
    np.testing.assert_array_equal(at(made.clip, "right_lantern.x"), -5.0)
    assert "right_lantern.x" in made.by_name


def test_hips_without_places_leave_the_unit_to_the_feet() -> None:
    clip, rig = demo("lamplighter")
    hips = rig.controls["hips"]
    turning = replace(hips, axes={key: axis for key, axis in hips.axes.items() if key not in "xyz"})
    bare = replace(rig, controls={**rig.controls, "hips": turning})
    lit = clip.with_channels({"left_lantern.y": Curve.constant(5.0), "right_lantern.y": Curve.constant(8.0)})
    assert mismatches(lit, bare)["right_lantern.y"][0] == pytest.approx(0.03)


def test_a_mirror_that_the_rig_states_outweighs_what_a_name_says() -> None:
    """``swing`` would stay as it is by its name; the rig says that the right arm's counts twice and the other way."""
    clip, rig = demo("lamplighter")
    stated = replace(rig, mirror={"left_arm.swing": ("right_arm.swing", -2.0, 1.0)})
    made = twin(clip, stated, of=["right_arm"])
    assert made.changed == ("right_arm.swing",)
    earlier = at(clip, "left_arm.swing", FINE - 12.0)
    np.testing.assert_allclose(at(made.clip, "right_arm.swing"), -2.0 * earlier + 1.0, atol=1e-9)
    assert "right_arm.swing" not in made.by_name
    assert mismatches(made.clip, stated)["right_arm.swing"][0] < 1e-12


def test_sideways_travel_is_no_mismatch_and_hides_none() -> None:
    clip, rig = demo("lamplighter")
    done = twin(clip, rig, centre=True).clip
    names = ("hips.x", "left_foot.x", "right_foot.x")
    crabwise = done.with_channels({n: affine(done.channels[n], rate=1.5, at=float(clip.first)) for n in names})
    assert max(amount for amount, _ in mismatches(crabwise, rig).values()) < 1e-12
    off = crabwise.with_channels({"right_foot.x": affine(crabwise.channels["right_foot.x"], offset=1.2)})
    assert mismatches(off, rig)["right_foot.x"][0] == pytest.approx(0.012)


def test_a_clip_of_one_sides_channels_alone_has_nothing_to_miss() -> None:
    clip, rig = demo("lamplighter")
    left = {name: curve for name, curve in clip.channels.items() if name.startswith("left_arm")}
    assert mismatches(replace(clip, channels=left), rig) == {}


def test_the_map_applied_twice_is_the_identity() -> None:
    clip, rig = demo("lamplighter")
    for one, two in ((clip, rig), converted(clip, rig)):
        reflections = mirror_of(one, two).reflections
        assert {r.side for r in reflections.values()} == {"left", "right", "centre"}
        for name, r in reflections.items():
            back = reflections[r.source]
            assert back.source == name
            assert back.factor * r.factor == pytest.approx(1.0, abs=1e-15)
            assert back.factor * r.offset + back.offset == pytest.approx(0.0, abs=1e-12)


def test_left_from_right_from_left_gives_the_left_back_bit_for_bit() -> None:
    clip, rig = demo("lamplighter")
    right = twin(clip, rig).clip
    left = twin(right, rig, source="right")
    assert left.changed == ()


def brute_force(clip: Clip, rig: Rig) -> float:
    """Return how far the right foot is from the left one's sampled mirror half a cycle later, metres, world space."""
    frames = measure.instants(clip.first, clip.last, 5)
    left = measure.foot_steps(clip, rig, 0, frames - clip.frames / 2.0).points
    right = measure.foot_steps(clip, rig, 1, frames).points
    mirrored = left * np.array([-1.0, 1.0, 1.0])
    # the outline's corners come in another order on the other side: each finds the nearest
    apart = np.linalg.norm(right[:, :, None] - mirrored[:, None], axis=-1)
    return float(max(apart.min(axis=1).max(), apart.min(axis=2).max()))


def test_a_twin_is_the_sampled_mirror_of_the_source_in_the_world() -> None:
    clip, rig = demo("lamplighter")
    lame = clip.with_channels({"right_foot.x": affine(clip.channels["right_foot.x"], factor=2.0, offset=-3.0)})
    assert brute_force(lame, rig) > 0.01
    assert brute_force(twin(lame, rig).clip, rig) < 1e-12


def test_units_signs_and_zeros_of_the_two_sides_may_differ() -> None:
    clip, rig = converted(*demo("lamplighter"))
    lame = clip.with_channels({"R:yaw": affine(clip.channels["R:yaw"], factor=2.0)})
    assert brute_force(lame, rig) > 0.002
    assert brute_force(twin(lame, rig).clip, rig) < 1e-12


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("source", ["left", "right"])
def test_any_walk_twinned_is_its_own_sampled_mirror(seed: int, source: str) -> None:
    walk, rig = random_walk(seed), make_rig()
    clip = walk.clip(stated=False)
    done = twin(clip, rig, source=source, centre=True)
    assert brute_force(done.clip, rig) < 1e-10
    assert max(amount for amount, _ in mismatches(done.clip, rig).values()) < 1e-10


def test_on_an_odd_cycle_the_keys_between_frames_are_kept_exact_and_told() -> None:
    clip, rig = demo("lamplighter")
    clip = odd(clip)
    whole = {name: replace(c, frames=np.round(c.frames)) for name, c in clip.channels.items()}
    clip = clip.with_channels(whole)
    done = twin(clip, rig)
    assert set(done.between) == set(done.changed)
    for name in done.changed:
        curve = done.clip.channels[name]
        assert np.all(np.mod(curve.frames, 1.0) == 0.5)
    assert brute_force(done.clip, rig) < 1e-12
    assert twin(done.clip, rig).changed == ()


def test_a_pair_of_ones_own_choosing_is_twinned_alone() -> None:
    clip, rig = demo("lamplighter")
    done = twin(clip, rig, of=["left_arm"])
    assert done.changed == ("right_arm.swing",)
    assert done.by_name == ("right_arm.swing",)
    assert np.abs(at(done.clip, "right_arm.swing") - at(clip, "left_arm.swing", FINE - 12.0)).max() < 1e-12


def test_channels_in_the_middle_made_symmetric_repeat_or_change_sign_after_half_a_cycle() -> None:
    clip, rig = demo("lamplighter")
    limp = clip.with_channels(
        {
            "hips.y": Curve.through([1, 7, 10, 25], [89.0, 91.0, 88.0, 89.0], before=Outside.REPEAT,
                                    after=Outside.REPEAT),
            "hips.x": Curve.through([3, 9, 27], [1.0, -2.0, 1.0], before=Outside.REPEAT, after=Outside.REPEAT),
        }
    )  # fmt: skip
    done = twin(limp, rig, centre=True).clip
    for name, sign in (("hips.y", 1.0), ("hips.x", -1.0), ("hips.yaw", -1.0), ("hips.pitch", 1.0)):
        assert np.abs(at(done, name) - sign * at(done, name, FINE - 12.0)).max() < 1e-10, name
        mean = (at(limp, name) + sign * at(limp, name, FINE - 12.0)) / 2.0
        assert np.abs(at(done, name) - mean).max() < 1e-10, name
    assert done.channels["hips.yaw"] is limp.channels["hips.yaw"]


def test_a_planted_cycle_twinned_is_planted_and_only_the_other_foot_may_be_written() -> None:
    clip, rig = demo("lamplighter")
    walk = plant(clip, rig, keys="few").clip
    twinned = twin(walk, rig, centre=True).clip
    done = replant(walk, twinned, rig, feet=("right",))
    for name, curve in walk.channels.items():
        if name.startswith("left_foot"):
            assert done.clip.channels[name] is curve
    assert check(done.clip, rig, also=("mismatch",)).is_clean
    for name in done.clip.channels:
        one, two = at(done.clip, name, np.array([1.0, 25.0]))
        assert abs(one - two) < 1e-9, name


def test_stated_stances_go_along() -> None:
    clip, rig = demo("lamplighter")
    stated = clip.with_stances(plant(clip, rig).stances)
    lame = stated.with_channels({"right_foot.x": affine(clip.channels["right_foot.x"], factor=2.0)})
    stances = twin(lame, rig).clip.stances
    assert stances is not None
    assert [(s.foot, s.first, s.last) for s in stances] == [("left", 1, 15), ("right", 13, 27)]


def test_what_has_no_twin_is_told() -> None:
    clip, rig = demo("lamplighter")
    with pytest.raises(InputError, match="only a loop has half a cycle"):
        twin(replace(clip, loop=False), rig)
    with pytest.raises(InputError, match="the channel is locked"):
        twin(replace(clip, locked=frozenset({"right_arm.swing"})), rig)
    with pytest.raises(UnknownName, match="no side is called 'lft'"):
        twin(clip, rig, source="lft")
    open_ended = clip.with_channels({"left_arm.swing": Curve.through([1, 12, 25], [0.0, 9.0, 4.0])})
    with pytest.raises(InputError, match=r"left_arm\.swing doesn't close"):
        twin(open_ended, rig)
    aside = Curve.given([1.0, 25.0], [0.0, 50.0], [2.0, 2.0], [2.0, 2.0], before=Outside.ADVANCE,
                        after=Outside.ADVANCE)  # fmt: skip
    with pytest.raises(InputError, match="travels sideways"):
        twin(clip.with_channels({"left_foot.x": aside}), rig)
    with pytest.raises(InputError, match="the belt runs at an angle to Z"):
        twin(replace(clip, belt=Belt(np.array([0.3, 0.0, -1.0]))), rig)
    with pytest.raises(InputError, match="the belt turns"):
        twin(replace(clip, belt=Belt(np.array([0.0, 0.0, -1.0]), 0.2)), rig)
    with pytest.raises(InputError, match=r"the hips are \+2\.00 m to the side"):
        twin(clip.with_channels({"hips.x": affine(clip.channels["hips.x"], offset=200.0)}), rig)
    right = replace(rig.controls["right_foot"], order="xyz")
    with pytest.raises(InputError, match="its other side turns in the order"):
        twin(clip, replace(rig, controls={**rig.controls, "right_foot": right}))
    alone = clip.with_channels({"left_wing.pitch": Curve.constant(1.0)})
    assert twin(alone, rig).alone == ("left_wing.pitch",)


@pytest.mark.parametrize(("name", "other"), [("left_foot", "right_foot"), ("armL.x", "armL.x"), ("arm_L.x", "arm_R.x"),
                                             ("RightArm", "LeftArm"), ("chest.yaw", "chest.yaw")])  # fmt: skip
def test_names_change_sides(name: str, other: str) -> None:
    assert other_side(name) == other
    assert other_side(other) == name
