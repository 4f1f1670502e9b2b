"""Tables of names behind each of which stands a module: a new thing is one new file and one line of its table.

A package that holds such things lists their names (`formats.FORMATS`); each is a module of it that holds its thing
under the name which that package tells (``FORMAT``).
"""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module
from typing import TypeVar

__all__ = ["held_by"]

Thing = TypeVar("Thing")


def held_by(package: str, names: Iterable[str], what: str, kind: type[Thing]) -> dict[str, Thing]:
    """Return by name the thing of a ``kind`` that each named module of a package holds as ``what``.

    A name with a dot in it is that of a module elsewhere, so that others can add to a table.

    Raises
    ------
    ImportError, AttributeError, TypeError
        If a module isn't there, doesn't hold it, or holds something else: a fault of the table, not of a user.
    """
    found: dict[str, Thing] = {}
    for name in names:
        module = name if "." in name else f"{package}.{name}"
        thing = getattr(import_module(module), what)
        if not isinstance(thing, kind):
            raise TypeError(f"{module}.{what} is no {kind.__name__}")
        found[name] = thing
    return found
