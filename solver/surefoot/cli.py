"""The command line: parses, calls the library, shows. It computes nothing of its own.

Exit status 0: clean, or notes only. 1: warnings or errors are left. 2: wrong input.
Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import NoReturn

from surefoot._version import __version__
from surefoot.cautions import FOR_ANIMATION
from surefoot.commands import COMMANDS
from surefoot.errors import InputError, SurefootError, UnknownName, nearest_name

__all__ = ["main"]

SIGNED = ("--belt", "--clearance", "--leave-below", "--landing")
"""Options whose value may begin with a minus."""


class _Parser(argparse.ArgumentParser):
    """Tells a wrong command line in one sentence; options are written out in full."""

    def __init__(self, **settings: object) -> None:
        super().__init__(**settings, allow_abbrev=False)  # type: ignore[arg-type]

    def error(self, message: str) -> NoReturn:
        told = _plainly(message)
        self.exit(2, f"surefoot: {told}\n" if told.endswith("?") else f"surefoot: {told}; try {self.prog} --help\n")


def _missing(found: re.Match[str]) -> str:
    names = found[1].replace("-o/", "").split(", ")
    return f"{' and '.join(names)} {'is' if len(names) == 1 else 'are'} missing"


def _choices(found: re.Match[str]) -> str:
    return f"wanted {found[2].replace(chr(39), '').replace(', ', ' or ')}, got {found[1]}"


PLAINLY: tuple[tuple[str, str | Callable[[re.Match[str]], str]], ...] = (
    (r"^argument ", ""),
    (r"^-o/--output", "--output"),
    (r"^COMMAND: invalid choice: '(.*?)' .*$", lambda found: str(UnknownName("command", found[1], COMMANDS))),
    (r"^the following arguments are required: (.*)$", _missing),
    (r"expected one argument$", "wanted a value after it"),
    (r"expected (\d+) arguments$", r"wanted \1 values after it"),
    (r"invalid float value: ", "wanted a number, got "),
    (r"invalid int value: ", "wanted a whole number, got "),
    (r"invalid choice: (.*) \(choose from (.*)\)$", _choices),
    (r"not allowed with argument ", "doesn't go together with "),
)
"""What argparse says, and how it's said here."""


def _plainly(message: str) -> str:
    for theirs, ours in PLAINLY:
        message = re.sub(theirs, ours, message)
    return message


def _not_taken(command: str, word: str, options: Mapping[str, object]) -> str:
    """Return the sentence for a word that a command has no place for."""
    tail = f"try surefoot {command} --help"
    if not word.startswith("-"):
        return f"{command} takes no further {word!r}; {tail}"
    word = word.partition("=")[0]
    known = [name.replace("_", "-") for name in options if name not in ("command", "run", "call")]
    bare = word.lstrip("-")
    near = next((name for name in known if name.startswith(bare)), None) or nearest_name(bare, known)
    return f"{command} has no option {word}; " + (f"did you mean --{near}?" if near else tail)


def _parser(argv: Sequence[str]) -> argparse.ArgumentParser:
    parser = _Parser(
        prog="surefoot",
        description="Finds sliding and cutting feet in a clip and mends them, and leaves the hips alone.",
        epilog=f"Exit status: 0 clean or notes only, 1 warnings or errors, 2 wrong input. Figures are {FOR_ANIMATION}.",
    )
    parser.add_argument("--version", action="version", version=f"surefoot {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        if name not in argv:  # its options are of no use, and its module would cost time
            commands.add_parser(name, help=summary)
            continue
        command = import_module(f"surefoot.commands.{name}")
        own = commands.add_parser(
            name, help=summary, description=command.DESCRIPTION, epilog=f"example: {command.EXAMPLE}"
        )
        command.add_options(own)
        own.set_defaults(run=command.run, call=main)
    return parser


def _joined(argv: Sequence[str]) -> list[str]:
    """Join an option to a value that begins with a minus (``--belt -1,0,0``), which would look like an option."""
    found: list[str] = []
    for word in argv:
        joins = found and found[-1] in SIGNED and re.match(r"-[\d.]", word)
        if joins:
            found[-1] += f"={word}"
        else:
            found.append(word)
    return found


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    given = _joined(sys.argv[1:] if argv is None else argv)
    try:
        parser = _parser(given)
        options, unknown = parser.parse_known_args(given)
        if len(unknown) == 1 and not unknown[0].startswith("-") and getattr(options, "out", "") is None:
            options.out = unknown.pop()  # argparse doesn't wait for it where options stand between IN and OUT
        if unknown:
            parser.exit(2, f"surefoot: {_not_taken(options.command, unknown[0], vars(options))}\n")
    except SystemExit as stop:  # argparse has printed its sentence
        return int(stop.code or 0)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a name in a script that the terminal can't show
            stream.reconfigure(errors="backslashreplace")
    try:
        status = int(options.run(options))
        sys.stdout.flush()
    except SurefootError as error:
        from surefoot.options import by_option

        return _refused(str(by_option(error) if isinstance(error, InputError) else error))
    except UnicodeEncodeError:
        return _refused("a file's name isn't UTF-8, which what has to hold or open it can't take; rename it")
    except BrokenPipeError:
        _give_up_output()
        return 1
    except OSError as error:
        if error.filename is not None:
            return _refused(f"{os.fsdecode(error.filename)}: can't be used: {error.strerror}")
        _give_up_output()
        return _refused(f"standard output: can't be written: {error.strerror or error}")
    return status


def _refused(sentence: str) -> int:
    print(f"surefoot: {_one_line(sentence)}", file=sys.stderr)
    return 2


def _give_up_output() -> None:
    """Send what is still to be printed nowhere, so that the interpreter doesn't trip over it at its end."""
    with contextlib.suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


if __name__ == "__main__":
    sys.exit(main())
