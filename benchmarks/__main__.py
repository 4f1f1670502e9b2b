"""Print one table of timings: ``python -m benchmarks``. What stands in it is told in `benchmarks.table`.

The references solve the same ankle targets frame by frame: SciPy's `least_squares`, and damped least squares on
MuJoCo's own Jacobian.
"""

from __future__ import annotations

import sys
from functools import partial

import surefoot
from benchmarks import browser, legs
from benchmarks.cases import grounds, long_walk, reference_targets
from benchmarks.references import least_squares_frames, mujoco_frames
from benchmarks.table import Table

SIZES = (24, 240, 2_400, 24_000)


def main() -> int:
    """Print the table."""
    table = Table()
    table.head()
    plants: dict[int, float] = {}
    for frames in SIZES:
        plants[frames] = table.run("a whole plant, two legs", frames, partial(surefoot.plant, *long_walk(frames)))
    for frames in SIZES[:3]:
        table.run("a check, at five places a frame", frames, partial(surefoot.check, *long_walk(frames)))
    for frames in SIZES[:3]:
        job = partial(surefoot.plant, *long_walk(frames), keys="few")
        table.run("the key fit: a plant with few keys, less one", frames, job, less=plants[frames])
    for frames in (24, 2_400):
        clip, rig = long_walk(frames)
        job = partial(surefoot.propose, clip, rig, report=surefoot.check(clip, rig))
        table.run("every proposal, the check given", frames, job)
    flat = 0.0
    for name, ground in grounds().items():
        job = partial(surefoot.plant, *long_walk(2_400), ground=ground)
        took = table.run(f"a whole plant on {name}", 2_400, job, against=(flat, "flat"))
        flat = flat or took
    for frames in (24, 240):
        targets = reference_targets(frames)
        for name, solve in (("least_squares", least_squares_frames), ("MuJoCo's damped least squares", mujoco_frames)):
            table.run(f"{name}, frame by frame", frames, partial(solve, targets), against=(plants[frames], "a plant"))
    legs.fill(table)
    browser.fill(table)
    return 0


if __name__ == "__main__":
    sys.exit(main())
