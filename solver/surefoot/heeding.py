"""A long piece of arithmetic that lets whoever asked for it be heard now and then, to cancel it.

The solver calls `heed` between stretches of work. It does nothing unless somebody up the stack is `heeding`; then what
he gave is called, and what it raises ends the work.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["heed", "heeding"]

OFTEN = 0.02
"""Seconds between two calls at the least."""

_HEARD: ContextVar[Callable[[], None] | None] = ContextVar("heard", default=None)


def heed() -> None:
    """Let whoever asked for the work be heard; what he raises comes through."""
    heard = _HEARD.get()
    if heard is not None:
        heard()


@contextmanager
def heeding(hear: Callable[[], None]) -> Iterator[None]:
    """Have ``hear`` called now and then by the work inside, fifty times a second at most."""
    last = time.monotonic()

    def seldom() -> None:
        nonlocal last
        if time.monotonic() - last >= OFTEN:
            hear()
            last = time.monotonic()

    token = _HEARD.set(seldom)
    try:
        yield
    finally:
        _HEARD.reset(token)
