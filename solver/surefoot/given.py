"""What a script hands in: of the right kind, or one sentence that says what came and what to write instead.

One quantity has one name throughout the library, so what an argument must be is told here once, by its name.
A function of the shop window is marked with `checked`; what is handed in is looked at before the work begins, and
where a single value is as good as a list of one it's taken so. It costs microseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import wraps
from inspect import Parameter, signature
from typing import Any, ParamSpec, TypeVar

import numpy as np

from surefoot.belt import Belt
from surefoot.clip import Clip, Stance
from surefoot.errors import InputError, came, whole_number
from surefoot.rig import Rig
from surefoot.tolerances import checked_tolerances

__all__ = ["checked", "frames_in", "kind_of", "many_of", "number_from", "texts_of"]

P = ParamSpec("P")
R = TypeVar("R")
Reader = Callable[[Any, str], Any]


def kind_of(value: object, kind: type, place: str) -> None:
    """Raise InputError unless a value is of a kind; says what came and how one is had."""
    if not isinstance(value, kind):
        raise InputError(f"wanted a {kind.__name__}, got {came(value)}{_hint(value, kind.__name__)}", place=place)


def many_of(value: object, kind: type, place: str) -> tuple[Any, ...]:
    """Return a list's items, all of one kind; a single one is a list of one."""
    if isinstance(value, kind):
        return (value,)
    named, hint = ("texts" if kind is str else kind.__name__), HINTS.get(kind.__name__, "")
    if isinstance(value, str | Mapping) or not isinstance(value, Iterable):
        raise InputError(f"wanted a list of {named}, got {came(value)}{hint}", place=place)
    items = tuple(value)
    for i, item in enumerate(items):
        if not isinstance(item, kind):
            told = f"wanted a list of {named}, got {came(item)} as its number {i + 1}{hint}"
            raise InputError(told, place=place)
    return items


def texts_of(value: object, place: str) -> tuple[str, ...]:
    """Return a list's texts; a single text is a list of one."""
    return many_of(value, str, place)


def number_from(value: object, place: str, *, least: float, most: float, unit: str) -> None:
    """Raise InputError unless a value is one number from ``least`` to ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        hint = "; numbers go without a unit" if isinstance(value, str) else ""
        raise InputError(f"wanted {unit} as a number, got {came(value)}{hint}", place=place)
    if not least <= value <= most:
        told = f"{unit} from {least:g} to {most:g}" if most < np.inf else f"{unit}, {least:g} or more"
        raise InputError(f"wanted {told}, got {value!r}", place=place)


def frames_in(value: object, clip: Clip, place: str) -> frozenset[int]:
    """Return whole frames of a clip's range; those of a loop's next round are told by the frame they repeat."""
    given = [value] if isinstance(value, int | float) else value
    if isinstance(given, str | Mapping) or not isinstance(given, Iterable):
        raise InputError(f"wanted a list of frames, got {came(value)}", place=place)
    found = set()
    for one in given:
        frame = whole_number(one, place=place)
        if clip.loop and clip.last < frame <= clip.last + clip.frames:
            frame -= clip.frames
        if not clip.first <= frame <= clip.last:
            raise InputError(f"frame {frame} lies outside the clip's {clip.first} to {clip.last}", place=place)
        found.add(frame)
    return frozenset(found)


def checked(**kinds: type) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Return a decorator that looks at a function's arguments by their names before it's called.

    Parameters
    ----------
    kinds : type
        What arguments must be that aren't in `READERS`, by name; None passes where it is the default.
    """

    def of(function: Callable[P, R]) -> Callable[P, R]:
        names, readers, optional = [], {}, set()
        for name, parameter in signature(function).parameters.items():
            if parameter.kind is Parameter.POSITIONAL_OR_KEYWORD:
                names.append(name)
            reader = _reader(kinds[name]) if name in kinds else READERS.get(name)
            if reader is not None:
                readers[name] = reader
            if parameter.default is None:
                optional.add(name)

        @wraps(function)
        def told(*args: Any, **named: Any) -> R:
            if args:
                args = tuple(
                    readers[name](value, name) if name in readers and (value is not None or name not in optional)
                    else value
                    for name, value in zip(names, args, strict=False)
                ) + args[len(names):]  # fmt: skip
            for name, value in named.items():
                if name in readers and (value is not None or name not in optional):
                    named[name] = readers[name](value, name)
            return function(*args, **named)

        return told

    return of


def _reader(kind: type) -> Reader:
    def read(value: Any, place: str) -> Any:
        if not isinstance(value, kind):
            kind_of(value, kind, place)
        return value

    return read


def _ground(value: Any, place: str) -> Any:
    if isinstance(value, type) or not all(hasattr(value, name) for name in ("height", "depth", "section")):
        raise InputError(f"wanted a Ground, got {came(value)}{_hint(value, 'Ground')}", place=place)
    return value


def _path(value: Any, place: str) -> Any:
    if not (isinstance(value, str) or hasattr(value, "__fspath__")):
        raise InputError(f"wanted the name of a file, got {came(value)}", place=place)
    return value


def _length(most: float) -> Reader:
    return _number(0.0, most, "metres")


def _number(least: float, most: float, unit: str) -> Reader:
    def read(value: Any, place: str) -> Any:
        number_from(value, place, least=least, most=most, unit=unit)
        return value

    return read


def _stances(value: Any, place: str) -> tuple[Stance, ...]:
    return many_of(value, Stance, place)


def _host(value: Any, place: str) -> Any:
    lacks = [
        name for name in ("setup", "status", "keys", "samples", "write") if not callable(getattr(value, name, None))
    ]
    if isinstance(value, type) or lacks:
        told = "a class of your own with the methods of surefoot.host.Host, or a MemoryHost"
        raise InputError(f"wanted a Host ({told}), got {came(value)}", place=place)
    return value


def _progress(value: Any, place: str) -> Any:
    if not callable(value):
        raise InputError(f"wanted a function such as lambda share, what: None, got {came(value)}", place=place)
    return value


READERS: Mapping[str, Reader] = {
    **dict.fromkeys(("clip", "before", "after"), _reader(Clip)),
    **dict.fromkeys(("rig", "to"), _reader(Rig)),
    "ground": _ground,
    "host": _host,
    "progress": _progress,
    "belt": _reader(Belt),
    "stances": _stances,
    "tolerances": checked_tolerances,
    **dict.fromkeys(("let", "leave", "of", "feet", "also", "kinds", "channels"), texts_of),
    **dict.fromkeys(("path", "name_or_path"), _path),
    "clearance": _length(10.0),
    "leave_below": _length(1.0),
    "landing": _number(0.0, np.inf, "seconds"),
    "share": _number(0.0, 1.0, "a share"),
}
"""What an argument must be, by its name: a reader takes the value and its name, and returns what to work with."""

HINTS = {
    "Stance": "; such as [Stance('left', 1, 15)]",
    "Edit": "; such as [Edit('scale', 'hips', 0.7)]",
    "Proposal": "; propose gives them",
    "Rejected": "; such as Rejected('slide', 'left', 1, 15)",
    "Choice": "; such as Choice(feet='left')",
    "Recipe": "; load_recipe reads one by name or from a file",
    "Report": "; check gives one",
    "Capture": "; Capture is built from arrays of points",
    "Pairs": "; load_pairs reads them by name or from a file",
    "Mapping": "; such as {'hind': [Stance('left', 1, 15)]}, by the pair's name",
    "Real": "; it's a height in metres",
}
FROM_TEXT = {
    "Clip": "; load_clip reads one from a file",
    "Rig": "; load_rig reads one by a preset's name or from a file",
    "Ground": "; load_ground reads one from a file",
    "Belt": "; such as Belt([0, 0, -1.35])",
}
FROM_NUMBER = {
    "Ground": "; Flat({0!r}) is level ground of that height",
    "Belt": "; Belt([0, 0, -{0!r}]) is ground that moves towards -Z at so many metres a second",
}


def _hint(value: object, kind: str) -> str:
    """Return what to write instead, where what came tells it; begins with a semicolon."""
    if (isinstance(value, str) or hasattr(value, "__fspath__")) and kind in FROM_TEXT:
        return FROM_TEXT[kind]
    if isinstance(value, int | float) and not isinstance(value, bool) and kind in FROM_NUMBER:
        return FROM_NUMBER[kind].format(abs(value) if kind == "Belt" else value)
    if kind == "Belt" and isinstance(value, list | tuple | np.ndarray) and len(value) == 3:
        return f"; Belt({list(value)!r}) is ground with that velocity"
    if {kind, type(value).__name__} == {"Clip", "Rig"}:
        return "; are clip and rig the wrong way round?"
    inner = getattr(value, kind.lower(), None)
    if type(inner).__name__ == kind:
        return f"; its .{kind.lower()} is one"
    return HINTS.get(kind, "")
