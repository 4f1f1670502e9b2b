"""What can go wrong, as exceptions that say where and what was expected.

::

    SurefootError
    ├── InputError (also a ValueError)   something handed in is wrong
    │   ├── ShapeError                   an array has the wrong shape
    │   ├── UnknownName                  a name that isn't there; gives the nearest that is
    │   ├── UnitError                    a unit, scale or axis that must be asked about, not guessed
    │   └── FileError                    a file can't be read or written, or isn't what it says
    └── OutOfReach (also a ValueError)   a target that no pose of the leg meets

Every message is one sentence: the place, what came, what was wanted.
"""

from __future__ import annotations

from collections.abc import Iterable

__all__ = [
    "FileError",
    "InputError",
    "OutOfReach",
    "ShapeError",
    "SurefootError",
    "UnitError",
    "UnknownName",
    "nearest_name",
]


class SurefootError(Exception):
    """The base of every error that Surefoot raises on purpose."""


class InputError(SurefootError, ValueError):
    """Something handed in is wrong. ``place`` says where, in a file or an argument."""

    def __init__(self, message: str, *, place: str = "") -> None:
        super().__init__(f"{place}: {message}" if place else message)
        self.place = place
        self.reason = message

    def within(self, place: str) -> InputError:
        """Return the same error, told from further out: ``place`` is put before its own."""
        return self.at(f"{place}: {self.place}" if self.place else place)

    def at(self, place: str) -> InputError:
        """Return the same error at another place."""
        told = type(self).__new__(type(self))
        InputError.__init__(told, self.reason, place=place)
        told.__dict__.update({k: v for k, v in self.__dict__.items() if k not in ("place", "reason")})
        return told


class ShapeError(InputError):
    """An array has the wrong shape."""


class UnitError(InputError):
    """A unit, a scale or an up axis looks wrong and must be stated rather than guessed."""


class FileError(InputError):
    """A file can't be read or written, or isn't what it says it is."""


class UnknownName(InputError):
    """A name that isn't known. ``known`` holds those that are."""

    def __init__(self, kind: str, name: str, known: Iterable[str], *, place: str = "") -> None:
        names = sorted(known)
        near = nearest_name(name, names)
        if near is not None:
            tail = f"did you mean {near!r}?"
        elif names:
            tail = "known are " + ", ".join(names[:12]) + (" and more" if len(names) > 12 else "")
        else:
            tail = "there are none"
        super().__init__(f"no {kind} is called {name!r}; {tail}", place=place)
        self.name = name
        self.known = tuple(names)


class OutOfReach(SurefootError, ValueError):
    """A target that no pose of the leg meets. ``missing`` is the distance short, in metres."""

    def __init__(self, message: str, *, index: tuple[int, ...], missing: float) -> None:
        super().__init__(message)
        self.index = index
        self.missing = missing


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like ``name``, or None when none is near."""
    from difflib import get_close_matches

    matches = get_close_matches(name, list(known), n=1, cutoff=0.6)
    return matches[0] if matches else None
