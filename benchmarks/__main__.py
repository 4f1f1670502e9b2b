"""Print one table of timings: ``python -m benchmarks``.

Medians over repeated runs. The references solve the same ankle targets frame by
frame: SciPy's `least_squares`, and damped least squares on MuJoCo's own Jacobian.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

import surefoot
from benchmarks.cases import grounds, long_walk, reference_targets
from benchmarks.references import least_squares_frames, mujoco_frames

SIZES = (24, 240, 2_400, 24_000)


def median(job: Callable[[], object], *, seconds: float = 1.0, most: int = 60) -> tuple[float, float]:
    """Return the median and the spread (quartile to quartile) of a job's time, in seconds."""
    job()
    times: list[float] = []
    began = time.perf_counter()
    while len(times) < 5 or (time.perf_counter() - began < seconds and len(times) < most):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    quarters = statistics.quantiles(times, n=4)
    return statistics.median(times), quarters[2] - quarters[0]


def main() -> int:
    machine = platform.processor() or platform.machine()
    print(f"{machine}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}")
    print(f"{'what':44}{'frames':>8}{'median ms':>12}{'spread ms':>11}")
    plants: dict[int, float] = {}
    for frames in SIZES:
        clip, rig = long_walk(frames)
        took, spread = median(lambda clip=clip, rig=rig: surefoot.plant(clip, rig))  # type: ignore[misc]
        plants[frames] = took
        print(f"{'a whole plant, two legs':44}{frames:>8}{1e3 * took:>12.2f}{1e3 * spread:>11.2f}")
    for frames in SIZES[:3]:
        clip, rig = long_walk(frames)
        took, spread = median(lambda clip=clip, rig=rig: surefoot.check(clip, rig))  # type: ignore[misc]
        print(f"{'a check, at five places a frame':44}{frames:>8}{1e3 * took:>12.2f}{1e3 * spread:>11.2f}")
    for frames in (24, 240, 2_400):
        clip, rig = long_walk(frames)
        took, spread = median(lambda clip=clip, rig=rig: surefoot.plant(clip, rig, keys="few"))  # type: ignore[misc]
        print(f"{'the key fit: a plant with few keys, less one':44}{frames:>8}{1e3 * (took - plants[frames]):>12.2f}"
              f"{1e3 * spread:>11.2f}")  # fmt: skip
    for frames in (24, 2_400):
        clip, rig = long_walk(frames)
        report = surefoot.check(clip, rig)
        took, spread = median(lambda clip=clip, rig=rig, report=report: surefoot.propose(clip, rig, report=report))  # type: ignore[misc]
        print(f"{'every proposal, the check given':44}{frames:>8}{1e3 * took:>12.2f}{1e3 * spread:>11.2f}")
    clip, rig = long_walk(2_400)
    flat = 0.0
    for name, ground in grounds().items():
        took, spread = median(lambda ground=ground: surefoot.plant(clip, rig, ground=ground))  # type: ignore[misc]
        flat = flat or took
        what, times = f"a whole plant on {name}", f"{took / flat:.1f} times flat"
        print(f"{what:44}{2_400:>8}{1e3 * took:>12.2f}{1e3 * spread:>11.2f}   {times}")
    growth = np.log(plants[24_000] / plants[2_400]) / np.log(10.0)
    print(f"growth of a plant from 2,400 to 24,000 frames: frames to the power {growth:.2f}")
    for frames in (24, 240):
        targets = reference_targets(frames)
        references = (("least_squares a frame", least_squares_frames), ("MuJoCo damped least squares", mujoco_frames))
        for name, solve in references:
            took, spread = median(lambda solve=solve, targets=targets: solve(targets))  # type: ignore[misc]
            ratio = took / plants[frames]
            print(f"{name:44}{frames:>8}{1e3 * took:>12.2f}{1e3 * spread:>11.2f}   {ratio:.1f} times a plant")
    from benchmarks import legs  # they borrow the measuring from here
    from benchmarks.browser import slider_row

    print(slider_row())
    return legs.main()


if __name__ == "__main__":
    sys.exit(main())
