"""Two thousand clips: every process busy, memory flat, and killed twice and taken up again with the same bytes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from surefoot.batch.summary import read_journals
from tests.clip_folders import JOURNAL, descendants, held, library

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(
        not Path("/proc/self/schedstat").exists(), reason="only Linux tells how long a process ran and waited"
    ),
]
COUNT = 2000
BAD = 2
CORES = os.cpu_count() or 1


@dataclass(slots=True)
class Life:
    """What was seen of one process: for how long, how much of that it ran or was ready to, its resident megabytes.

    Busy is running, or ready and waiting for a core that others use: what isn't is idle. While somebody has the process
    stopped, nothing is counted.
    """

    seconds: float = 0.0
    ran: float = 0.0
    megabytes: list[float] = field(default_factory=list)
    last: tuple[float, float] | None = None

    def look(self, process: int) -> None:
        ran, waited = map(int, Path(f"/proc/{process}/schedstat").read_text().split()[:2])
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
        stopped = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "T"
        now = (time.monotonic(), (ran + waited) / 1e9)
        if self.last is not None and not stopped:
            self.seconds += now[0] - self.last[0]
            self.ran += now[1] - self.last[1]
        self.last = None if stopped else now
        self.megabytes.append(pages * os.sysconf("SC_PAGE_SIZE") / 1e6)

    @property
    def busy(self) -> float:
        return self.ran / max(1e-9, self.seconds)

    @property
    def grown(self) -> float:
        """Megabytes since a quarter of the way."""
        return self.megabytes[-1] - self.megabytes[len(self.megabytes) // 4]


def started(lib: Path, out: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "surefoot", "batch", str(lib), "-o", str(out), "--processes", str(CORES)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True)


def watched(running: subprocess.Popen[bytes], until: Callable[[], bool] = lambda: False) -> dict[int, Life]:
    """Look at a batch and all its processes until it ends, or until something holds."""
    seen: dict[int, Life] = {}
    while running.poll() is None and not until():
        for process in (running.pid, *descendants(running.pid)):
            try:
                seen.setdefault(process, Life()).look(process)
            except (OSError, ValueError, IndexError):
                continue
        time.sleep(0.25)
    return seen


@pytest.fixture(scope="module", name="lib")
def lib_fixture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return library(tmp_path_factory.mktemp("whole") / "lib", COUNT)


@pytest.fixture(scope="module", name="whole")
def whole_fixture(lib: Path) -> tuple[Path, int, dict[int, Life]]:
    """Return an undisturbed run's folder, its own process, and what was seen of every process."""
    out = lib.parent / "whole"
    running = started(lib, out)
    return out, running.pid, watched(running)


def test_two_thousand_clips_keep_every_process_busy_and_memory_flat(whole: tuple[Path, int, dict[int, Life]]) -> None:
    out, parent, seen = whole
    lives = {process: life for process, life in seen.items() if len(life.megabytes) > 20}
    busy = sorted((p for p in lives if p != parent), key=lambda p: -lives[p].busy)[:CORES]
    for process in (parent, *busy):
        life = lives[process]
        print(
            f"{'parent' if process == parent else 'worker'}: busy {life.busy:.3f}, "
            f"peak {max(life.megabytes):.0f} MB, grown {life.grown:+.1f} MB, over {life.seconds:.0f} s"
        )
    assert min(lives[p].busy for p in busy) > 0.85
    for process in (parent, *busy):
        assert lives[process].grown < 20
    rows = json.loads((out / "batch-summary.json").read_text())["clips"]
    assert [row["status"] for row in rows].count("failed") == BAD
    assert len(rows) == COUNT + BAD


def test_killed_at_a_third_and_again_later_it_ends_with_every_byte_the_same(
    lib: Path, whole: tuple[Path, int, dict[int, Life]]
) -> None:
    out = lib.parent / "cut"
    for share in (1 / 3, 3 / 4):
        running = started(lib, out)
        watched(running, lambda: (out / JOURNAL).is_file() and len(read_journals(out)) >= share * COUNT)  # noqa: B023
        assert running.poll() is None
        left = [running.pid, *descendants(running.pid)]
        os.killpg(running.pid, 9)
        running.wait()
        done = len(read_journals(out))
        print(f"killed at {done} clips, {len(list(out.rglob('.*.part')))} half written")
        assert share * COUNT <= done < COUNT
        assert not (out / "batch-summary.json").exists()
        deadline = time.monotonic() + 10.0
        while any(Path(f"/proc/{one}").exists() for one in left) and time.monotonic() < deadline:
            time.sleep(0.05)
        assert not [one for one in left if Path(f"/proc/{one}").exists()]
    last = started(lib, out)
    assert last.wait() == 1
    there, wanted = held(out), held(whole[0])
    assert set(there) == set(wanted)
    assert [name for name in there if there[name] != wanted[name]] == []
    assert len(there) == COUNT + 2, "every clip that could be read, and the summary as CSV and JSON"
    assert [path.name for path in out.rglob(".*") if path.is_file()] == [JOURNAL], "nothing half written is left"
    lines = [line for line in (out / JOURNAL).read_bytes().splitlines() if line]
    print(f"{len(lines)} rows written for {COUNT + BAD} clips")
    assert len(lines) <= COUNT + BAD + 2 * BAD + 2, "what went well isn't done again; a line may be cut short"
