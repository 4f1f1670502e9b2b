"""A bar of progress on a terminal; elsewhere nothing is shown."""

from __future__ import annotations

import sys
import time

__all__ = ["Progress"]


class Progress:
    """Counts clips and shows a bar on standard error, redrawn ten times a second at most."""

    WIDTH = 30

    def __init__(self, total: int, done: int) -> None:
        self.total, self.done, self.failed, self._shown = total, done, 0, 0.0
        self._first, self._start = done, time.monotonic()
        self._on = sys.stderr.isatty()

    def step(self, *, failed: bool) -> None:
        """Count one clip."""
        self.done += 1
        self.failed += failed
        now = time.monotonic()
        if self._on and (now - self._shown > 0.1 or self.done == self.total):
            self._shown = now
            full = self.WIDTH * self.done // self.total
            pace = (now - self._start) / max(1, self.done - self._first)
            left = f"{pace * (self.total - self.done):.0f} s left"
            bar = f"[{'#' * full}{'.' * (self.WIDTH - full)}]"
            sys.stderr.write(f"\r{bar} {self.done} of {self.total}, {self.failed} failed, {left}   ")
            sys.stderr.flush()

    def end(self) -> None:
        """End the bar's line."""
        if self._on:
            sys.stderr.write("\n")
