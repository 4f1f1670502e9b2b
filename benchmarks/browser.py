"""From slider to drawn frame: the live page in Chromium, moved 60 times a second as by a finger.

Each time runs from a slider's event in the browser to the end of the drawing of the planted figure that it asked
for: mixed, planted, posed four times a frame, sent and drawn. An event that is overtaken before it could be sent has
no time of its own: the latest value wins. That the last value is the one drawn in the end is checked.
Alone with ``python -m benchmarks.browser``.
"""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
import sys
from math import nan

from benchmarks.table import Table, Timing, alone

SECONDS = 6
DRAG = """(seconds) => new Promise((done) => {
  performance.clearMeasures();
  const slider = document.querySelector("input[type=range][data-channels='hips.y']");
  const start = performance.now();
  let events = 0, last = -1;
  const tick = (now) => {
    const step = Math.floor((now - start) / (1000 / 60));
    if (step > last) {
      last = step;
      slider.value = Math.round(100 - 45 * Math.sin(step / 20));
      slider.dispatchEvent(new Event("input", { bubbles: true }));
      events += 1;
    }
    if (now - start < 1000 * seconds) setTimeout(() => tick(performance.now()), 1);
    else setTimeout(() => done({
      events, last: Number(slider.value),
      times: performance.getEntriesByName("quick to drawn").map((one) => one.duration),
    }), 1500);
  };
  tick(start);
})"""


def slider_times() -> tuple[list[float], int] | None:
    """Return each time from slider to drawn frame, milliseconds, and the count of events; None without Chromium."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    if chromium is None:
        return None
    command = [sys.executable, "-m", "surefoot", "page", "lamplighter", "--no-open"]
    with (
        subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server,  # as in use: a process of its own
        sync_playwright() as running,
    ):
        assert server.stdout is not None
        address = server.stdout.readline().split()[-1]
        browser = running.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(address)
        page.wait_for_function("() => document.documentElement.dataset.shown === 'whole'")
        page.evaluate(DRAG, 1)  # once to warm up
        found = page.evaluate(DRAG, SECONDS)
        wishes = json.loads(page.evaluate("document.documentElement.dataset.wishes"))
        browser.close()
        server.terminate()
    if abs(100 * wishes["mix"][0]["share"] - found["last"]) > 1e-6:
        raise AssertionError(f"the last value, {found['last']}, isn't the one that is drawn: {wishes['mix']}")
    return found["times"], found["events"]


def fill(table: Table) -> None:
    """Print the line of the slider, or that there's no browser; its spread runs from quartile to quartile too."""
    found = slider_times()
    if found is None:
        print("from slider to drawn frame: there is no Chromium (or no playwright) here")
        return
    times, events = found
    quarters, late = statistics.quantiles(times, n=4), statistics.quantiles(times, n=20)[-1]
    told = f"95th percentile {late:.1f} ms; {events} events, {len(times)} drawn"
    timing = Timing(statistics.median(times) / 1e3, (quarters[2] - quarters[0]) / 1e3, nan)
    table.line("from slider to drawn frame, in Chromium", 24, timing, told)


if __name__ == "__main__":
    alone(fill)
