"""In a host: read, planted, written in one undo step; whatever goes wrong leaves it as it was."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

import surefoot
from surefoot import Axis, Belt, Clip, Control, Curve, InputError, Outside, Rig, Shape, UnknownName
from surefoot.curves import Pack
from surefoot.host import Cancelled, Host, MemoryHost, NotRestored, Refused, Setup, Status, check, plant, read, write
from surefoot.restyle import convert
from tests.faulty import unwatched
from tests.walks import make_rig, random_walk

BELT = Belt(np.array([0.0, 0.0, -1.35]))
Array = np.ndarray[Any, np.dtype[np.float64]]


@pytest.fixture(scope="module")
def demo() -> tuple[Clip, Rig]:
    return surefoot.demo("lamplighter")


def whole(clip: Clip) -> Array:
    return np.arange(clip.first, clip.last + 1, dtype=np.float64)


def values(host: Host, clip: Clip) -> Array:
    return host.samples(list(clip.channels), np.arange(clip.first, clip.last + 1, 0.25))


def state(host: MemoryHost, clip: Clip) -> tuple[Any, ...]:
    """Return all that a host holds: keys by their very objects, what they give, layers."""
    keys = tuple(id(host.keys(name)) for name in clip.channels)
    return keys, values(host, clip).tobytes(), tuple(host.layers())


class Counting(MemoryHost):
    """Counts writes; a subclass breaks one of them."""

    writes = 0

    def write(self, channel: str, curve: Curve, layer: str) -> None:
        self.writes += 1
        super().write(channel, curve, layer)


# what planting does ---------------------------------------------------------------------------------------


def test_planting_through_a_host_gives_what_planting_the_clip_gives(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    done = plant(host, rig, belt=BELT, keys="every")
    direct = surefoot.plant(replace(clip, belt=None, stances=None), rig, belt=BELT)
    names = list(direct.clip.channels)
    wanted = Pack.from_curves([direct.clip.channels[name] for name in names]).evaluate(whole(clip))
    assert np.abs(host.samples(names, whole(clip)) - wanted).max() < 1e-9
    assert set(done.written) == set(direct.changed)
    assert done.before.worst == "error"
    assert done.after.is_clean
    assert check(host, rig, belt=BELT, stances=done.planted.stances).is_clean


def test_by_default_one_new_layer_in_one_undo_step_holds_it_all_and_the_own_keys_stay(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    before = state(host, clip)
    done = plant(host, rig, belt=BELT)
    assert host.steps == ["Plant the feet"]
    assert list(host.layers()) == [done.layer] == ["planted feet"]
    assert all(host.keys(name) is clip.channels[name] for name in clip.channels)
    assert state(host, clip) != before
    host.undo_step()
    assert state(host, clip) == before


def test_a_second_layer_gets_a_number_and_a_name_in_use_is_refused(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    plant(host, rig, belt=BELT)
    second = plant(host, rig, belt=BELT, clearance=0.02)
    assert second.layer == "planted feet 2"
    before = state(host, clip)
    with pytest.raises(InputError, match="a layer called 'planted feet' already"):
        plant(host, rig, belt=BELT, clearance=0.04, layer="planted feet")
    assert state(host, clip) == before


def test_keys_can_be_written_instead_with_every_slope_stated(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    done = plant(host, rig, belt=BELT, into="keys")
    assert (done.layer, list(host.layers())) == ("", [])
    for name in done.written:
        curve = host.keys(name)
        assert curve is not None
        assert set(curve.shapes.tolist()) <= {Shape.GIVEN, Shape.STEP, Shape.BEZIER}
        assert curve is not clip.channels[name]
    assert all(host.keys(name) is clip.channels[name] for name in clip.channels if name not in done.written)
    assert check(host, rig, belt=BELT, stances=done.planted.stances).is_clean


def test_a_clean_host_is_not_written_to_at_all() -> None:
    walk, rig = random_walk(3, exact=True, canted=False), make_rig()
    clip = walk.clip()
    host = Counting(clip, angle="rad")
    done = plant(host, rig, belt=clip.belt, stances=clip.stances, keys="every")
    again = plant(host, rig, belt=clip.belt, stances=clip.stances, keys="every")
    assert again.written == ()
    assert (again.layer, host.writes, len(host.steps)) == ("", len(done.written), bool(done.written))


def test_a_clip_that_is_no_loop_is_planted_too() -> None:
    walk, rig = random_walk(5, loop=False), make_rig()
    clip = walk.clip()
    host = MemoryHost(clip, angle="rad")
    done = plant(host, rig, belt=clip.belt, stances=clip.stances, keys="every")
    assert done.written
    worst = check(host, rig, belt=clip.belt, stances=clip.stances).most("slide")
    assert worst is None or worst.amount < 1e-3


def test_hips_are_lowered_only_where_they_are_let(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    high = clip.with_channels({"hips.y": replace(clip.channels["hips.y"], values=clip.channels["hips.y"].values + 4)})
    host = MemoryHost(high)
    kept = plant(host, rig, belt=BELT)
    assert "hips.y" not in kept.written
    host.undo_step()
    let = plant(host, rig, belt=BELT, let=["hips.y"])
    assert "hips.y" in let.written
    assert host.keys("hips.y") is high.channels["hips.y"]
    sunk = host.samples(["hips.y"], whole(clip))[0] - Pack.from_curves([high.channels["hips.y"]]).evaluate(whole(clip))
    assert sunk.min() < -0.5
    assert sunk.max() < 1e-9


@pytest.mark.parametrize("style", ["rockers", "joints"])
def test_feet_by_rockers_and_legs_by_joints_are_planted_alike(demo: tuple[Clip, Rig], style: str) -> None:
    made = convert(*demo, style=style)
    host = MemoryHost(made.clip, unit="cm", angle="deg")
    done = plant(host, made.rig, belt=BELT)
    direct = surefoot.plant(replace(made.clip, belt=None, stances=None), made.rig, belt=BELT, keys="few")
    assert set(done.written) == set(direct.changed)
    assert np.abs(done.planted.ankle_change - direct.ankle_change).max() < 1e-9
    told = check(host, made.rig, belt=BELT, stances=done.planted.stances)
    assert {(f.kind, f.level) for f in told.findings} == {(f.kind, f.level) for f in done.after.findings}


# how channels are read ------------------------------------------------------------------------------------


def test_free_channels_come_with_their_own_keys_and_others_as_they_evaluate(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    assert all(read(host, rig).channels[name] is clip.channels[name] for name in rig.channels())
    host.begin_step("sway")
    host.write("hips.x", Curve.through([1.0, 12.0, 25.0], [0.0, 2.0, 0.0]), "sway")
    host.end_step()
    found = read(host, rig)
    assert found.extra["sampled"] == ["hips.x"]
    at = np.arange(1.0, 25.0, 0.1)
    gap = Pack.from_curves([found.channels["hips.x"]]).evaluate(at) - host.samples(["hips.x"], at)
    assert np.abs(gap).max() < 1e-12
    assert found.channels["hips.x"].after is Outside.REPEAT


def test_a_channel_with_layers_over_it_is_planted_on_a_layer_but_not_by_its_keys(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    host.begin_step("lift")
    host.write("left_foot.y", Curve.constant(1.5), "lift")
    host.end_step()
    before = state(host, clip)
    with pytest.raises(Refused, match=r"left_foot\.y \(more than its own keys moves it\); write a layer") as refusal:
        plant(host, rig, belt=BELT, into="keys")
    assert list(refusal.value.channels) == ["left_foot.y"]
    assert state(host, clip) == before
    done = plant(host, rig, belt=BELT)
    assert list(host.layers()) == ["lift", "planted feet"]
    assert check(host, rig, belt=BELT, stances=done.planted.stances).is_clean


def test_a_channel_without_keys_is_read_as_its_constant_and_gets_keys() -> None:
    """No key on a channel: the host says None, and evaluates to a constant."""

    class Bare(MemoryHost):
        def keys(self, channel: str) -> Curve | None:
            return None if channel == "left_foot.y" and "planted feet" not in self.layers() else super().keys(channel)

    clip, rig = surefoot.demo("lamplighter")
    flat = clip.with_channels({"left_foot.y": Curve.constant(3.0)})
    host = Bare(flat)
    found = read(host, rig)
    assert found.extra["sampled"] == ["left_foot.y"]
    assert found.channels["left_foot.y"].values.tolist() == [3.0]
    done = plant(host, rig, belt=BELT)
    assert "left_foot.y" in done.written
    host.undo_step()
    assert "left_foot.y" in plant(host, rig, belt=BELT, into="keys").written


def test_bezier_keys_are_corrected_on_a_layer_within_the_stated_bounds(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    old = clip.channels["left_foot.z"]
    count = len(old.frames)
    handles = np.zeros((count, 4))
    handles[1:, 0] = -0.4 * np.diff(old.frames)
    handles[:-1, 2] = 0.4 * np.diff(old.frames)
    round_keys = Curve(old.frames, old.values, np.full(count, Shape.BEZIER), old.slope_in, old.slope_out, handles,
                       old.before, old.after)  # fmt: skip
    clip = clip.with_channels({"left_foot.z": round_keys})
    host = MemoryHost(clip)
    done = plant(host, rig, belt=BELT, keys="every")
    at = np.arange(1.0, 25.0, 0.5)
    gap = host.samples(["left_foot.z"], at) - Pack.from_curves([done.planted.clip.channels["left_foot.z"]]).evaluate(at)
    assert np.abs(gap[0, ::2]).max() < 1e-9
    assert np.abs(gap).max() * 0.01 < 1e-3
    assert host.keys("left_foot.z") is round_keys


def test_parents_come_as_matrices_in_the_host_s_unit() -> None:
    walk, rig = random_walk(7), make_rig()
    controls = {name: replace(control, parent="cart") for name, control in rig.controls.items()}
    carted = replace(rig, controls=controls)
    clip = walk.clip()
    spaces = np.tile(np.eye(4), (clip.frames, 1, 1))
    spaces[:, :3, 3] = [0.3, 0.0, 2.0]
    host = MemoryHost(replace(clip, spaces={"cart": spaces}), angle="rad")
    found = read(host, carted)
    assert np.allclose(found.spaces["cart"], spaces, atol=1e-15)
    done = plant(host, carted, belt=clip.belt, stances=clip.stances)
    straight = plant(MemoryHost(clip, angle="rad"), rig, belt=clip.belt, stances=clip.stances)
    assert np.abs(done.planted.ankle_change - straight.planted.ankle_change).max() < 1e-9


# what is refused before the first write -------------------------------------------------------------------


@pytest.mark.parametrize("status", [Status.LOCKED, Status.MUTED, Status.DRIVEN])
def test_channels_that_are_not_free_are_refused_by_name_and_status(demo: tuple[Clip, Rig], status: Status) -> None:
    clip, rig = demo
    host = Counting(clip, statuses={"left_foot.y": status, "right_foot.pitch": status, "hips.y": status})
    before = state(host, clip)
    with pytest.raises(Refused) as refusal:
        plant(host, rig, belt=BELT)
    assert refusal.value.channels["left_foot.y"] == status.value
    assert "hips.y" not in refusal.value.channels
    assert f"left_foot.y ({status.value})" in str(refusal.value)
    assert (host.writes, host.steps) == (0, [])
    assert state(host, clip) == before


def test_channels_named_under_leave_are_not_written(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip, statuses={"left_foot.bend": Status.LOCKED})
    done = plant(host, rig, belt=BELT, leave=["left_foot.bend"])
    assert "left_foot.bend" not in done.written
    assert "right_foot.bend" in done.written
    with pytest.raises(UnknownName, match=r"leave: no channel is called 'left_foot\.bnd'; did you mean"):
        plant(host, rig, belt=BELT, leave=["left_foot.bnd"])


def test_an_absent_channel_is_told_unless_the_rig_can_do_without(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    less = replace(clip, channels={n: c for n, c in clip.channels.items() if n != "left_foot.bend"})
    with pytest.raises(InputError, match=r"host: the rig's channels left_foot\.bend are absent"):
        plant(MemoryHost(less), rig, belt=BELT)
    foot = rig.controls["left_foot"]
    bend = replace(foot.axes["bend"], optional=True)
    easy = replace(rig, controls={**rig.controls, "left_foot": replace(foot, axes={**foot.axes, "bend": bend})})
    assert plant(MemoryHost(less), easy, belt=BELT).written


def test_a_status_that_is_none_is_told_with_its_channel(demo: tuple[Clip, Rig]) -> None:
    with pytest.raises(InputError, match=r"host: left_foot\.y: its status is 'busy'; wanted one of free, locked"):
        check(MemoryHost(demo[0], statuses={"left_foot.y": "busy"}), demo[1])  # type: ignore[dict-item]


def test_units_and_rotation_orders_that_differ_from_the_rig_s_are_told(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    with pytest.raises(surefoot.UnitError, match=r"the host has hips\.x in m, but the rig reads it in another unit"):
        check(MemoryHost(clip, unit="m"), rig)
    with pytest.raises(surefoot.UnitError, match=r"the host has hips\.pitch in rad"):
        check(MemoryHost(clip, angle="rad"), rig)
    with pytest.raises(InputError, match="control left_foot: turns in the order 'xyz' in the host and 'yxz'"):
        check(MemoryHost(clip, orders={"left_foot": "xyz"}), rig)
    assert check(MemoryHost(clip, orders={"left_foot": "YXZ"}), rig).findings


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"unit": "yard"}, "host setup: no length unit is called 'yard'"),
        ({"angle": "grad"}, "host setup: no angle unit is called 'grad'; did you mean 'rad'"),
        ({"first": 1.5}, "host setup: wanted whole frames, got 1.5"),
        ({"rate": "fast"}, "host setup: wanted frames per second"),
    ],
)
def test_a_setup_that_can_t_be_is_refused(change: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        Setup(**{"first": 1, "last": 24, "rate": 24, "unit": "cm", **change})


def test_a_rate_is_kept_exact() -> None:
    assert Setup(1, 24, 23.976, "cm").rate == Fraction(24000, 1001)


# a hostile host -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("into", ["layer", "keys"])
@pytest.mark.parametrize("at", range(1, 11))
def test_a_host_that_raises_at_any_write_is_as_it_was(demo: tuple[Clip, Rig], at: int, into: Any) -> None:
    class Breaks(Counting):
        def write(self, channel: str, curve: Curve, layer: str) -> None:
            super().write(channel, curve, layer)
            if self.writes == at:
                raise RuntimeError("the host fell over")

    clip, rig = demo
    host = Breaks(clip)
    before = state(host, clip)
    with pytest.raises(RuntimeError, match="fell over"):
        plant(host, rig, belt=BELT, into=into)
    assert host.writes == at
    assert state(host, clip) == before
    assert host.steps == []
    Breaks.write = Counting.write  # type: ignore[method-assign]
    assert plant(host, rig, belt=BELT, into=into).after.is_clean, "a second try goes through"


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_fault_at_any_call_of_any_method_leaves_the_host_as_it_was(demo: tuple[Clip, Rig], when: str) -> None:
    """Every call that planting makes fails once, before it does something or just after."""

    class Faulty:
        def __init__(self, inner: MemoryHost, at: int) -> None:
            self.inner, self.at, self.calls, self.failed = inner, at, 0, ""

        def __getattr__(self, name: str) -> Callable[..., Any]:
            method = getattr(self.inner, name)

            def call(*args: Any) -> Any:
                self.calls += 1
                fails = self.calls == self.at
                if fails:
                    self.failed = name
                if fails and when == "before":
                    raise RuntimeError(name)
                found = method(*args)
                if fails:
                    raise RuntimeError(name)
                return found

            return call

    clip, rig = demo
    met, at = set(), 0
    while True:
        at += 1
        inner = MemoryHost(clip)
        before, host = state(inner, clip), Faulty(inner, at)
        try:
            plant(host, rig, belt=BELT, keys="every")  # type: ignore[arg-type]
        except RuntimeError:
            assert state(inner, clip) == before, f"call {at}, {host.failed}"
            assert inner.steps == []
            assert not inner.step_open()
            met.add(host.failed)
        else:
            assert not host.failed
            break
    assert at > 80
    assert met >= {
        "setup", "status", "order", "keys", "samples", "layers", "step_open", "begin_step", "write", "end_step"
    }  # fmt: skip


def test_a_fault_in_opening_a_step_takes_back_that_step_and_none_before_it(demo: tuple[Clip, Rig]) -> None:
    class Opens(MemoryHost):
        opens = True

        def begin_step(self, name: str) -> None:
            if self.opens:
                super().begin_step(name)
            raise RuntimeError("the host fell over")

    clip, rig = demo
    for opens in (True, False):
        host = Opens(clip)
        host.opens = opens
        MemoryHost.begin_step(host, "earlier")
        host.write("hips.x", Curve.constant(1.0), "earlier")
        host.end_step()
        before = state(host, clip)
        with pytest.raises(RuntimeError, match="fell over"):
            plant(host, rig, belt=BELT)
        assert (host.steps, host.step_open()) == (["earlier"], False)
        assert state(host, clip) == before


def test_a_step_that_somebody_else_has_open_is_left_alone(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = Counting(clip)
    host.begin_step("theirs")
    with pytest.raises(InputError, match="host: an undo step is open already; close it first"):
        plant(host, rig, belt=BELT)
    assert (host.steps, host.step_open(), host.writes) == (["theirs"], True, 0)


def told_after(problem: BaseException) -> list[str]:
    """Return an error's causes, the last first."""
    found = []
    cause = problem.__cause__
    while cause is not None:
        found.append(str(cause))
        cause = cause.__cause__
    return found


@pytest.mark.parametrize("fails", ["begin_step", "write", "end_step"])
@pytest.mark.parametrize("undone", [True, False])
def test_a_fault_in_undoing_too_is_told_with_both_errors(demo: tuple[Clip, Rig], fails: str, undone: bool) -> None:
    class Twice(MemoryHost):
        def undo_step(self) -> None:
            if undone:
                super().undo_step()
            raise RuntimeError("second trouble")

    def broken(self: MemoryHost, *args: Any) -> None:
        getattr(MemoryHost, fails)(self, *args)
        raise RuntimeError("first trouble")

    setattr(Twice, fails, broken)
    clip, rig = demo
    host = Twice(clip)
    before = state(host, clip)
    if undone:
        with pytest.raises(RuntimeError, match="first trouble") as first:
            plant(host, rig, belt=BELT)
        assert first.value.__notes__ == ["The host is as it was, but undoing raised RuntimeError: second trouble"]
        assert (state(host, clip), host.step_open()) == (before, False)
        return
    with pytest.raises(NotRestored, match="RuntimeError: second trouble") as both:
        plant(host, rig, belt=BELT)
    assert told_after(both.value) == ["second trouble", "first trouble"]
    assert ("an undo step that is open" in both.value.left) == (fails != "end_step")


def test_a_host_that_can_not_even_be_read_again_is_told_with_all_three_errors(demo: tuple[Clip, Rig]) -> None:
    class Dead(Counting):
        dead = False

        def write(self, *_: Any) -> None:
            self.dead = True
            raise RuntimeError("first trouble")

        def undo_step(self) -> None:
            raise RuntimeError("second trouble")

        def samples(self, channels: Sequence[str], frames: Array) -> Array:
            if self.dead:
                raise RuntimeError("third trouble")
            return super().samples(channels, frames)

    with pytest.raises(NotRestored, match="second trouble; reading it again: third trouble") as all_three:
        plant(Dead(demo[0]), demo[1], belt=BELT)
    assert told_after(all_three.value) == ["third trouble", "second trouble", "first trouble"]
    assert all_three.value.left == ()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"belt": 1.35}, "belt: wanted a Belt, got the number 1.35"),
        ({"ground": "hill.toml"}, "ground: wanted a Ground, got the text 'hill.toml'"),
        ({"before": "walk.json"}, "before: wanted a Clip, got the text 'walk.json'"),
        ({"choice": "left"}, "choice: wanted a Choice, got the text 'left'"),
        ({"progress": 3}, "progress: wanted a function such as lambda share, what: None, got the number 3"),
        ({"let": 3}, "let: wanted a list of texts, got the number 3"),
        ({"leave": {"hips.y": True}}, "leave: wanted a list of texts, got a dict"),
    ],
)
def test_a_value_of_another_kind_is_told_by_its_name(demo: tuple[Clip, Rig], given: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        plant(MemoryHost(demo[0]), demo[1], **given)
    for no_host in (demo[0], MemoryHost, None):
        with pytest.raises(InputError, match="host: wanted a Host"):
            plant(no_host, demo[1])  # type: ignore[arg-type]
    with pytest.raises(InputError, match="rig: wanted a Rig, got the text 'adult'"):
        check(MemoryHost(demo[0]), "adult")  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_host_that_gives_no_number_is_refused_with_the_channel_and_frame(demo: tuple[Clip, Rig], bad: float) -> None:
    class Nowhere(Counting):
        def samples(self, channels: Sequence[str], frames: Array) -> Array:
            found = super().samples(channels, frames)
            found[list(channels).index("right_foot.z"), 6] = bad
            return found

    clip, rig = demo
    host = Nowhere(clip)
    with pytest.raises(InputError, match=rf"host: right_foot\.z: it evaluates to {bad} at frame 7"):
        plant(host, rig, belt=BELT)
    assert (host.writes, host.steps) == (0, [])


def test_a_host_that_gives_no_number_only_after_writing_is_taken_back(demo: tuple[Clip, Rig]) -> None:
    class Later(Counting):
        def samples(self, channels: Sequence[str], frames: Array) -> Array:
            return super().samples(channels, frames) * (np.nan if self._open else 1.0)

    clip, rig = demo
    host = Later(clip)
    before = state(host, clip)
    with pytest.raises(InputError, match="it evaluates to nan"):
        plant(host, rig, belt=BELT)
    assert host.writes > 0
    assert state(host, clip) == before


@pytest.mark.parametrize("shape", [(3,), (26, 2), ()])
def test_samples_of_the_wrong_shape_are_told(demo: tuple[Clip, Rig], shape: tuple[int, ...]) -> None:
    class Odd(MemoryHost):
        def samples(self, channels: Sequence[str], frames: Array) -> Array:
            return np.zeros(shape) + 0.0 * len(channels) * len(frames)

    with pytest.raises(InputError, match=r"host\.samples: wanted the shape \(\d+, 73\), got"):
        plant(Odd(demo[0]), demo[1])


def test_samples_that_are_no_numbers_are_told(demo: tuple[Clip, Rig]) -> None:
    class Words(MemoryHost):
        def samples(self, channels: Sequence[str], frames: Array) -> Any:
            return [["a"] * len(frames)] * len(channels)

    with pytest.raises(InputError, match=r"host\.samples: wanted numbers"):
        plant(Words(demo[0]), demo[1])


@pytest.mark.parametrize("into", ["layer", "keys"])
def test_a_host_that_swallows_a_write_is_found_out_and_taken_back(demo: tuple[Clip, Rig], into: Any) -> None:
    class Deaf(Counting):
        def write(self, channel: str, curve: Curve, layer: str) -> None:
            if channel != "left_foot.pitch":
                super().write(channel, curve, layer)

    clip, rig = demo
    host = Deaf(clip)
    before = state(host, clip)
    with pytest.raises(InputError, match=r"host: left_foot\.pitch: after writing it evaluates to .* taken back"):
        plant(host, rig, belt=BELT, into=into)
    assert state(host, clip) == before


def test_a_host_that_writes_another_channel_too_is_found_out(demo: tuple[Clip, Rig]) -> None:
    class Spills(MemoryHost):
        def write(self, channel: str, curve: Curve, layer: str) -> None:
            super().write(channel, curve, layer)
            self._own["hips.y"] = Curve.constant(80.0)

    clip, rig = demo
    host = Spills(clip)
    before = state(host, clip)
    with pytest.raises(InputError, match=r"host: hips\.y: after writing"):
        plant(host, rig, belt=BELT)
    assert state(host, clip) == before


def test_a_host_whose_step_does_not_close_is_taken_back(demo: tuple[Clip, Rig]) -> None:
    class Stuck(MemoryHost):
        def end_step(self) -> None:
            raise OSError("no room for another step")

    clip, rig = demo
    host = Stuck(clip)
    before = state(host, clip)
    with pytest.raises(OSError, match="no room"):
        plant(host, rig, belt=BELT)
    assert state(host, clip) == before


@pytest.mark.parametrize("into", ["layer", "keys"])
def test_a_channel_that_was_not_read_from_the_host_is_refused_before_anything_is_written(
    demo: tuple[Clip, Rig], into: Any
) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    found = read(host, rig)
    assert "chest.yaw" not in found.channels
    with pytest.raises(UnknownName, match=r"after: no channel read from the host is called 'chest\.yaw'"):
        write(host, found, found.with_channels({"chest.yaw": clip.channels["chest.yaw"]}), rig, into=into)
    assert (host.steps, list(host.layers())) == ([], [])


def test_a_host_that_can_t_undo_is_named_with_what_is_left(demo: tuple[Clip, Rig]) -> None:
    class Careless(Counting):
        def write(self, channel: str, curve: Curve, layer: str) -> None:
            super().write(channel, curve, layer)
            if self.writes == 3:
                raise RuntimeError("first trouble")

        def undo_step(self) -> None:
            raise RuntimeError("second trouble")

    clip, rig = demo
    with pytest.raises(NotRestored, match="RuntimeError: second trouble") as problem:
        plant(Careless(clip), rig, belt=BELT)
    assert {"layer planted feet", "an undo step that is open"} < set(problem.value.left)
    assert len(problem.value.left) == 2 + 3
    assert told_after(problem.value) == ["second trouble", "first trouble"]
    with pytest.raises(NotRestored) as problem:
        plant(Careless(clip), rig, belt=BELT, into="keys")
    assert len(problem.value.left) == 1 + 3


def test_a_host_that_only_says_it_undid_is_found_out(demo: tuple[Clip, Rig]) -> None:
    class Pretends(MemoryHost):
        def undo_step(self) -> None:
            self._open = False

        def end_step(self) -> None:
            raise RuntimeError("first trouble")

    with pytest.raises(NotRestored, match="the host isn't as it was"):
        plant(Pretends(demo[0]), demo[1], belt=BELT)


# progress and cancelling ----------------------------------------------------------------------------------


def test_progress_rises_from_nothing_to_all_and_names_what_comes(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    told: list[tuple[float, str]] = []
    done = plant(MemoryHost(clip), rig, belt=BELT, progress=lambda share, what: told.append((share, what)))
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert {f"writing {name}" for name in done.written} <= {what for _, what in told}


@pytest.mark.parametrize("at", [0, 1, 2, 3, 4, 8, 13, 14])
def test_cancelling_at_any_stage_leaves_the_host_as_it_was(demo: tuple[Clip, Rig], at: int) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    before, calls = state(host, clip), 0

    def stop(_share: float, _what: str) -> bool:
        nonlocal calls
        calls += 1
        return calls <= at

    # a stage that takes long, as on a busy machine, asks in its midst too
    with pytest.raises(Cancelled, match=r"^cancelled (before: |while )"):
        plant(host, rig, belt=BELT, progress=stop)
    assert calls == at + 1
    assert state(host, clip) == before
    assert host.steps == []


def test_an_interrupt_while_writing_is_taken_back_too(demo: tuple[Clip, Rig]) -> None:
    def stop(share: float, _what: str) -> None:
        if share > 0.7:
            raise KeyboardInterrupt

    clip, rig = demo
    host = MemoryHost(clip)
    before = state(host, clip)
    with pytest.raises(KeyboardInterrupt):
        plant(host, rig, belt=BELT, progress=stop)
    assert state(host, clip) == before


# parts by hand --------------------------------------------------------------------------------------------


def test_a_proposal_is_applied_in_the_host_by_reading_and_writing(demo: tuple[Clip, Rig]) -> None:
    clip, rig = demo
    host = MemoryHost(clip)
    before = read(host, rig)
    way = next(way for way in surefoot.propose(before, rig, belt=BELT) if way.default)
    layer, written = write(
        host, before, surefoot.apply_proposals(before, rig, [way]), rig, step="Mend one", layer="one way"
    )
    assert (layer, host.steps) == ("one way", ["Mend one"])
    assert set(written) == set(way.channels)
    with pytest.raises(InputError, match="into: wanted 'layer' or 'keys', got 'both'"):
        write(host, before, clip, rig, into="both")  # type: ignore[arg-type]


def test_a_host_that_holds_single_precision_is_planted_within_the_stated_bounds(demo: tuple[Clip, Rig]) -> None:
    class Single(MemoryHost):
        def samples(self, channels: Sequence[str], frames: Array) -> Array:
            return super().samples(channels, frames).astype(np.float32)

    clip, rig = demo
    host = Single(clip)
    assert "sampled" not in read(host, rig).extra, "its keys are still told from a layer"
    done = plant(host, rig, belt=BELT)
    assert read(host, rig).extra["sampled"] == [name for name in rig.channels() if name in done.written]
    assert check(host, rig, belt=BELT, stances=done.planted.stances).is_clean


# a turned-over axis and radians ---------------------------------------------------------------------------


def test_a_host_in_inches_and_radians_with_a_mirrored_axis_is_planted_alike() -> None:
    walk, rig = random_walk(11), make_rig()
    clip = walk.clip()

    def odd(control: Control) -> Control:
        axes = {key: replace(axis, scale=0.0254) if key in "xyz" else axis for key, axis in control.axes.items()}
        axes["x"] = replace(axes["x"], scale=-0.0254, zero=2.0)
        return replace(control, axes=axes)

    odd_rig = replace(rig, controls={name: odd(control) for name, control in rig.controls.items()})
    by_channel = odd_rig.channels()

    def told(name: str, curve: Curve) -> Curve:
        axis: Axis = by_channel[name]
        return replace(curve, values=curve.values / axis.scale + axis.zero)

    host = MemoryHost(replace(clip, channels={n: told(n, c) for n, c in clip.channels.items()}), unit="in", angle="rad")
    one = plant(host, odd_rig, belt=clip.belt, stances=clip.stances, keys="every")
    two = plant(MemoryHost(clip, angle="rad"), rig, belt=clip.belt, stances=clip.stances, keys="every")
    assert np.abs(one.planted.ankle_change - two.planted.ankle_change).max() < 1e-9


# promises -------------------------------------------------------------------------------------------------

HEAVY = ("scipy", "shapely", "msgspec", "sympy", "rich", "matplotlib")


def loaded_after(lines: str) -> set[str]:
    code = f"import sys\n{lines}\nprint(*(name for name in {HEAVY!r} + ('numpy', 'threading') if name in sys.modules))"
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60, env=unwatched())
    return set(done.stdout.split())


def test_importing_costs_numpy_at_most_until_a_solve_is_asked() -> None:
    assert loaded_after("import surefoot") == set()
    assert loaded_after("import surefoot; surefoot.host; surefoot.host.Refused") - {"threading"} <= {"numpy"}
    names = "Clip, surefoot.Curve, surefoot.Axis, surefoot.Stance, surefoot.Belt"
    light = loaded_after(
        f"import surefoot, surefoot.host\nsurefoot.{names}\n"
        "from surefoot.host import Host, MemoryHost, Setup, Status, Refused\n"
        "clip = surefoot.Clip({'a': surefoot.Curve.constant(1.0)}, 24, 1, 24)\nMemoryHost(clip).samples(['a'], [1.0])"
    )
    assert light - {"threading"} == {"numpy"}, "numpy itself may load threading"


def test_nothing_is_kept_started_or_printed(demo: tuple[Clip, Rig], capfd: pytest.CaptureFixture[str]) -> None:
    import threading

    clip, rig = demo
    before, host = threading.active_count(), MemoryHost(clip)
    one = plant(host, rig, belt=BELT)
    with pytest.raises(Cancelled):
        plant(MemoryHost(clip), rig, belt=BELT, progress=lambda *_: False)
    with pytest.raises(InputError):
        plant(MemoryHost(clip, unit="ft"), rig)
    two_host = MemoryHost(clip)
    two = plant(two_host, rig, belt=BELT)
    assert values(host, clip).tobytes() == values(two_host, clip).tobytes(), "the same again after exceptions"
    assert one.written == two.written
    assert threading.active_count() == before
    assert capfd.readouterr() == ("", "")


def test_a_class_of_one_s_own_needs_only_the_protocol_s_methods(demo: tuple[Clip, Rig]) -> None:
    """The protocol is all that is called: nothing of `MemoryHost` beyond it."""
    clip, rig = demo
    inner = MemoryHost(clip)
    allowed = {name for name in vars(Host) if not name.startswith("_")}
    assert len(allowed) == 12

    class Only:
        def __getattr__(self, name: str) -> Callable[..., Any]:
            assert name in allowed, name
            return getattr(inner, name)  # type: ignore[no-any-return]

    assert plant(Only(), rig, belt=BELT).after.is_clean  # type: ignore[arg-type]
