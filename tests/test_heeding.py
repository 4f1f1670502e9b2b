"""A long job is heard often enough to be cancelled soon, and a cancel at any moment leaves the host as it was."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

import surefoot
from surefoot import Belt, Clip, Curve, Rig
from surefoot.curves import Pack
from surefoot.heeding import heed, heeding
from surefoot.host import Cancelled, MemoryHost, plant

BELT = Belt(np.array([0.0, 0.0, -1.35]))


def written_out(frames: int) -> tuple[Clip, Rig]:
    """Return the lamplighter's walk over so many frames, a key on each."""
    clip, rig = surefoot.demo("lamplighter")
    at, names = np.arange(1.0, frames + 1.0), list(clip.channels)
    values = Pack.from_curves([clip.channels[name] for name in names]).evaluate((at - 1.0) % clip.frames + 1.0)
    channels = {name: Curve.through(at, row) for name, row in zip(names, values, strict=True)}
    return replace(clip, channels=channels, last=frames, loop=False, stances=None), rig


def test_nothing_is_heard_unless_somebody_asks_and_only_while_he_does() -> None:
    heard: list[str] = []
    heed()
    with heeding(lambda: heard.append("outer")):
        with heeding(lambda: heard.append("inner")):
            heed()
            assert heard == [], "not so soon"
            time.sleep(0.03)
            heed()
            heed()
        heed()
    heed()
    assert heard == ["inner", "outer"]


def test_what_is_raised_while_hearing_comes_through_and_ends_it() -> None:
    def no() -> None:
        raise KeyError("enough")

    def work() -> None:
        with heeding(no):
            time.sleep(0.03)
            heed()

    with pytest.raises(KeyError, match="enough"):
        work()
    heed()


def test_a_job_of_24000_frames_asks_often() -> None:
    """By the processor's clock, as a share of the whole: one stage took two thirds of it."""
    clip, rig = written_out(24_000)
    at: list[float] = []
    plant(MemoryHost(clip), rig, belt=BELT, keys="every", progress=lambda *_: at.append(time.process_time()))
    longest, whole = float(np.diff(at).max()), at[-1] - at[0]
    print(f"{len(at)} questions, {longest:.3f} s of {whole:.2f} at the longest")
    assert longest < 0.15 * whole
    assert len(at) > 30


@pytest.mark.parametrize("keys", ["every", "few"])
def test_a_cancel_at_any_moment_leaves_the_host_as_it_was(keys: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever may cancel is heard each time that the work can be, so that every run asks alike however slow it is."""
    monkeypatch.setattr("surefoot.heeding.OFTEN", 0.0)
    clip, rig = written_out(960)
    asked = 0

    def count(*_: object) -> None:
        nonlocal asked
        asked += 1

    plant(MemoryHost(clip), rig, belt=BELT, keys=keys, progress=count)  # type: ignore[arg-type]
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):
        host, left = MemoryHost(clip), int(share * asked)

        def stop(*_: object) -> bool:
            nonlocal left
            left -= 1
            return left > 0

        with pytest.raises(Cancelled, match="cancelled"):
            plant(host, rig, belt=BELT, keys=keys, progress=stop)  # type: ignore[arg-type]
        assert (host.steps, host.layers(), host.step_open()) == ([], [], False)
        assert all(host.keys(name) is curve for name, curve in clip.channels.items())
