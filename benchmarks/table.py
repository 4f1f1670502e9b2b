"""The one table that is printed: a line a job, its time, how that grows, its memory and what it is set against.

The time is the median of repeated runs, the spread from quartile to quartile. ``growth`` is the power of the frames by
which the time grows from the line of the same job above. Memory is the most that Python and numpy hold at once above
what they held before, by `tracemalloc`, in a run of its own that isn't timed: what a library written in C takes for
itself isn't in it.
"""

from __future__ import annotations

import os
import platform
import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy

__all__ = ["Table", "Timing", "alone", "machine", "median", "peak"]


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds: the median and the spread; bytes: the most that was held."""

    median: float
    spread: float
    peak: float


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


def peak(job: Callable[[], object]) -> float:
    """Return the most bytes that a run of the job holds above what was held before it."""
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        job()
        return float(tracemalloc.get_traced_memory()[1] - before)
    finally:
        tracemalloc.stop()


def machine() -> str:
    """Return in a line what the figures were measured on."""
    name = platform.processor() or platform.machine()
    if os.path.exists("/proc/cpuinfo"):
        with open("/proc/cpuinfo", encoding="utf-8") as told:
            name = next((line.partition(":")[2].strip() for line in told if line.startswith("model name")), name)
    return (
        f"{name}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}, "
        f"numpy {np.__version__}, scipy {scipy.__version__}"
    )


@dataclass(slots=True)
class Table:
    """Prints its lines as they come."""

    last: dict[str, tuple[int, float]] = field(default_factory=dict)

    def head(self) -> None:
        """Print on what machine, and the head."""
        print(machine())
        print(f"{'what':48}{'frames':>8}{'median ms':>11}{'spread ms':>11}{'growth':>8}{'peak MB':>9}")

    def run(
        self, what: str, frames: int, job: Callable[[], object], *, most: int = 60, less: float = 0.0,
        against: tuple[float, str] = (0.0, ""), told: str = "",
    ) -> float:  # fmt: skip
        """Measure a job, print its line and return its median, ``less`` so many seconds.

        ``against`` is the median of another job of the same run, and what that is called.
        """
        took, spread = median(job, most=most)
        timing = Timing(took - less, spread, peak(job))
        other, name = against
        words = f"{timing.median / other:.1f} times {name}" if other else ""
        self.line(what, frames, timing, words + told)
        return timing.median

    def line(self, what: str, frames: int, timing: Timing, words: str = "") -> None:
        """Print a line; a peak of NaN wasn't measured."""
        growth = ""
        if what in self.last and min(timing.median, self.last[what][1]) > 0.0:
            fewer, took = self.last[what]
            growth = f"{np.log(timing.median / took) / np.log(frames / fewer):.2f}"
        self.last[what] = frames, timing.median
        held = "" if np.isnan(timing.peak) else f"{timing.peak / 1e6:.2f}"
        print(f"{what:48}{frames:>8}{1e3 * timing.median:>11.2f}{1e3 * timing.spread:>11.2f}{growth:>8}{held:>9}"
              f"   {words}".rstrip(), flush=True)  # fmt: skip


def alone(fill: Callable[[Table], None]) -> None:
    """Print a table of one part's lines."""
    table = Table()
    table.head()
    fill(table)
