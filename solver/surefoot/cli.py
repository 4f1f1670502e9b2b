"""The command line: parses, calls the library, shows. It computes nothing of its own.

Exit status 0: clean, or notes only. 1: warnings or errors are left. 2: wrong input.
Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import argparse
import io
import re
import sys
from collections.abc import Sequence
from typing import NoReturn

from surefoot._version import __version__
from surefoot.errors import SurefootError

__all__ = ["main"]

SIGNED = ("--belt", "--clearance", "--leave-below", "--landing")
"""Options whose value may begin with a minus."""
CAUTION = "Figures are for animation, not for clinical or ergonomic use."

SHARED_OPTIONS = (
    ("--rig", "RIG", "a rig's name or TOML file; left out, the one that the clip names"),
    ("--ground", "FILE", "the ground as a TOML file; left out, level at height 0"),
    (
        "--belt",
        "SPEED",
        "how the ground moves under an in-place cycle, m/s: 1.35 is towards -Z; or x,y,z; or still; "
        "or estimate; left out, what the clip states, else the estimate",
    ),
)
REPEATED_OPTIONS = (
    (
        "--stances",
        "FOOT=FRAMES",
        "when a foot is down, such as left=1-15,25-38, once a foot; or find, whatever the clip states",
    ),
    (
        "--tolerance",
        "KIND=AMOUNT",
        "the warning limit of a kind of finding, such as slide=2mm or limit=3deg; note and error move with it",
    ),
)
PLANT_OPTIONS = (
    ("--layer", None, "FILE", "also write the difference, as a clip to add on top"),
    ("--before", None, "CLIP", "the clip before the edit: stances and footprints are taken from it"),
    (
        "--anchor",
        "flat",
        "WHAT",
        "what a footprint is taken from: flat (the keyed flat frame, else the fit), contact, fit or frame:N",
    ),
    ("--clearance", "0mm", "LENGTH", "kept under the middle of each swing, such as 10mm; left out, 0mm"),
    ("--only", None, "FOOT", "mend this foot only, such as left_foot"),
    ("--frames", None, "FRAMES", "mend these frames only, such as 1-9; the change goes out over three frames"),
    ("--accept", None, "KINDS", "mend these kinds only, such as sink,hover; of slide, sink, hover, stretch"),
    ("--reject", None, "KINDS", "don't mend these kinds, such as stretch"),
    ("--let", None, "CHANNELS", "what may change though it's no foot's: hips.y is lowered where a leg can't reach"),
    ("--leave-below", "0.001mm", "LENGTH", "a channel that would change by less stays as it is; left out, 0.001mm"),
)


class _Parser(argparse.ArgumentParser):
    """Tells a wrong command line in one sentence; options are written out in full."""

    def __init__(self, **settings: object) -> None:
        super().__init__(**settings, allow_abbrev=False)  # type: ignore[arg-type]

    def error(self, message: str) -> NoReturn:
        told = message.removeprefix("argument ")
        self.exit(2, f"surefoot: {told}; try {self.prog} --help\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="surefoot",
        description="Finds sliding and cutting feet in a clip and mends them, and leaves the hips alone.",
        epilog=f"Exit status: 0 clean or notes only, 1 warnings or errors, 2 wrong input. {CAUTION}",
    )
    parser.add_argument("--version", action="version", version=f"surefoot {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    check = commands.add_parser(
        "check",
        help="say what is wrong with the feet, in which frames and by how much",
        description="Say what is wrong with the feet of a clip, in which frames and by how much.",
        epilog="example: surefoot check walk.json --tolerance slide=2mm",
    )
    plant = commands.add_parser(
        "plant",
        help="mend the feet of a clip and write it to a new file",
        description="Mend the feet of a clip: stances planted, soles out of the ground, legs within reach.",
        epilog="example: surefoot plant walk.json -o planted.json --layer correction.json",
    )
    for command in (check, plant):
        _shared(command)
    told = "list the ways to mend each finding, cheapest first: amounts, cost, what each leaves and harms"
    check.add_argument("--propose", action="store_true", help=told)
    plant.add_argument("-o", "--output", metavar="OUT", help="where the mended clip goes; may be the clip itself")
    for flag, default, metavar, told in PLANT_OPTIONS:
        plant.add_argument(flag, default=default, metavar=metavar, help=told)
    keys = plant.add_mutually_exclusive_group()
    keys.add_argument("--every-frame", action="store_true", help="a key on every frame of a changed channel, not few")
    keys.add_argument("--keys-at", metavar="FRAMES", help="new keys on these frames only, such as 1,4,9-12")
    return parser


def _shared(command: argparse.ArgumentParser) -> None:
    command.add_argument("clip", metavar="CLIP", help="a clip in JSON, or a demo: lamplighter or treadmill")
    for flag, metavar, told in SHARED_OPTIONS:
        command.add_argument(flag, metavar=metavar, help=told)
    for flag, metavar, told in REPEATED_OPTIONS:
        command.add_argument(flag, metavar=metavar, action="append", default=[], help=told)
    told = "a slide on purpose: leave the stances in these frames alone, such as right 10-14; may be repeated"
    command.add_argument("--leave", metavar=("FOOT", "FRAMES"), nargs=2, action="append", default=[], help=told)
    told = "let a foot slip for so long after it lands; left out, 0.04 for captured clips, else 0"
    command.add_argument("--landing", metavar="SECONDS", type=float, help=told)
    command.add_argument("--json", action="store_true", help="print JSON, not a table: the same figures, unrounded")


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
    parser = _parser()
    try:
        options = parser.parse_args(_joined(sys.argv[1:] if argv is None else argv))
    except SystemExit as stop:  # argparse has printed its sentence
        return int(stop.code or 0)
    from surefoot import commands

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a name in a script that the terminal can't show
            stream.reconfigure(errors="backslashreplace")
    try:
        return commands.run(options)
    except SurefootError as error:
        print(f"surefoot: {_one_line(str(error))}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 1


if __name__ == "__main__":
    sys.exit(main())
