"""The command line: parses, calls the library, shows. It computes nothing of its own.

Exit status 0: clean, or notes only. 1: warnings or errors are left. 2: wrong input.
Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from surefoot._version import __version__
from surefoot.errors import SurefootError

__all__ = ["main"]

CAUTION = "Figures are for animation, not for clinical or ergonomic use."


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="surefoot",
        description="Finds sliding and cutting feet in a clip and mends them, and leaves the hips alone.",
        epilog=CAUTION,
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
    plant.add_argument("-o", "--output", metavar="OUT", help="where the mended clip goes")
    plant.add_argument("--layer", metavar="FILE", help="also write the difference as a clip to add on top")
    plant.add_argument("--before", metavar="CLIP", help="the clip before the edit: gives stances and footprints")
    plant.add_argument(
        "--anchor", default="flat", metavar="WHAT",
        help="what a footprint is taken from: flat (the keyed flat frame, else the fit), contact, fit or frame:N",
    )  # fmt: skip
    plant.add_argument("--clearance", default="0mm", metavar="LENGTH", help="kept under the swing foot, such as 10mm")
    plant.add_argument("--leave-below", default="0.001mm", metavar="LENGTH",
                       help="channels that would change by less stay as they are")  # fmt: skip
    return parser


def _shared(command: argparse.ArgumentParser) -> None:
    command.add_argument("clip", metavar="CLIP", help="a clip in JSON, or the name of a demo: lamplighter, treadmill")
    command.add_argument("--rig", metavar="RIG", help="a rig's name or TOML file; else the one that the clip names")
    command.add_argument("--ground", metavar="FILE", help="the ground as a TOML file; else level at height 0")
    command.add_argument("--belt", metavar="SPEED",
                         help="ground speed in m/s: 1.35 runs towards -Z; or x,y,z; or still; or estimate")  # fmt: skip
    command.add_argument("--stances", metavar="FOOT=FRAMES", action="append", default=[],
                         help="state a foot's stances, such as left=1-15,25-38, once a foot; or find, whatever the clip states")  # fmt: skip
    command.add_argument("--leave", metavar=("FOOT", "FRAMES"), nargs=2, action="append", default=[],
                         help="a slide on purpose: leave these frames alone, such as right 10-14")  # fmt: skip
    command.add_argument("--tolerance", metavar="KIND=AMOUNT", action="append", default=[],
                         help="the warning limit of a kind of finding, such as slide=2mm or limit=3deg")  # fmt: skip
    command.add_argument("--landing", metavar="SECONDS", type=float,
                         help="time after landing in which a slip is let be (0.04 for captured clips, else 0)")  # fmt: skip
    command.add_argument("--json", action="store_true", help="print for machines")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    parser = _parser()
    try:
        options = parser.parse_args(argv)
    except SystemExit as stop:  # argparse has printed its sentence
        return int(stop.code or 0)
    from surefoot import commands

    try:
        return commands.run(options)
    except SurefootError as error:
        print(f"surefoot: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 1


if __name__ == "__main__":
    sys.exit(main())
