"""What can go wrong, as exceptions that say where and what was expected.

::

    SurefootError
    ├── InputError (also a ValueError)   something handed in is wrong
    │   ├── ShapeError                   an array has the wrong shape
    │   ├── UnknownName                  a name that isn't there; gives the nearest that is
    │   ├── UnitError                    a unit, scale or axis that must be asked about, not guessed
    │   │   └── Misfit                   hips and feet that lie where no legs of the rig join them
    │   └── FileError                    a file can't be read or written, or isn't what it says
    └── OutOfReach (also a ValueError)   a target that no pose of the leg meets

Every message is one sentence: the place, what came, what was wanted.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite, nan
from numbers import Real

__all__ = [
    "FileError",
    "InputError",
    "Misfit",
    "OutOfReach",
    "ShapeError",
    "SurefootError",
    "UnitError",
    "UnknownName",
    "came",
    "finite_number",
    "nearest_name",
    "plain_name",
    "whole_number",
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


class Misfit(UnitError):
    """Hips and feet lie where no legs of the rig join them: ``fact`` says how, ``question`` what it may come from."""

    def __init__(self, fact: str, question: str, *, place: str = "") -> None:
        super().__init__(f"{fact}; {question}", place=place)
        self.fact = fact
        self.question = question


class FileError(InputError):
    """A file can't be read or written, or isn't what it says it is."""


class UnknownName(InputError):
    """A name that isn't known. ``known`` holds those that are."""

    def __init__(self, kind: str, name: str, known: Iterable[str], *, place: str = "") -> None:
        names = sorted(known)
        near = nearest_name(str(name), names)
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

    names = list(known)
    alike = [one for one in names if one.casefold() == name.casefold()]
    matches = alike or get_close_matches(name, names, n=1, cutoff=0.6)
    return matches[0] if matches else None


def plain_name(name: str) -> str:
    r"""Return a file's name as text that can be written down: bytes that aren't UTF-8 as ``\xe9``."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def came(value: object) -> str:
    """Return in a few words what was handed in, for a message."""
    if value is None:
        return "nothing"
    shown = f"{value!r:.60}"
    if isinstance(value, str):
        return f"the text {shown}"
    if hasattr(value, "__fspath__"):
        return f"the path {str(value)!r:.60}"
    if isinstance(value, Real) and not isinstance(value, bool):
        return f"the number {value}"
    if isinstance(value, bool | list | tuple | set | frozenset):
        return shown
    name = "type" if isinstance(value, type) else type(value).__name__
    return f"{'an' if name[0] in 'aeiouAEIOU' else 'a'} {name}"


def finite_number(value: object, *, place: str) -> float:
    """Return one finite number; raise InputError otherwise."""
    try:
        number = nan if isinstance(value, str | bytes | bool) else float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        number = nan
    if not isfinite(number):
        raise InputError(f"wanted a finite number, got {came(value)}", place=place)
    return number


def whole_number(value: object, *, place: str) -> int:
    """Return a whole number, given as one or as a float without a fraction; raise InputError otherwise."""
    try:
        whole = int(float(value)) if isinstance(value, Real) and not isinstance(value, bool) else None
    except (ValueError, OverflowError):
        whole = None
    if whole is None or whole != value:
        raise InputError(f"wanted a whole frame number, got {came(value)}", place=place)
    return whole
