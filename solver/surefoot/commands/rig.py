"""``surefoot rig``: a rig in words, or its chains derived as expressions or code."""

from __future__ import annotations

import argparse

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Show a rig in words: lengths, sole, limits, controls and channels; or derive each leg's points and Jacobian from "
    "its description, as expressions or as Python code."
)
EXAMPLE = "surefoot rig show stalker; surefoot rig derive adult --code"
WHAT = ("show", "derive")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("what", metavar="WHAT", help="show or derive")
    parser.add_argument("rig", metavar="RIG", help="a rig's name or TOML file")
    parser.add_argument("--side", default="left", metavar="SIDE", help="derive: the left or the right leg")
    parser.add_argument("--code", action="store_true", help="derive: as Python code, not as expressions")
    parser.add_argument("--json", action="store_true", help="show: print JSON, metres and radians, not words")


def run(options: argparse.Namespace) -> int:
    """Print what was asked for."""
    from surefoot.commands.as_json import print_json
    from surefoot.errors import InputError, UnknownName
    from surefoot.rig import FEET
    from surefoot.rig_file import load_rig
    from surefoot.rig_shown import rest_pose, rig_words

    if options.what not in WHAT:
        raise UnknownName("word", options.what, WHAT, place="rig")
    if options.side not in FEET:
        raise UnknownName("side", options.side, FEET, place="--side")
    rig = load_rig(options.rig)
    if options.what == "derive":
        if options.json:
            raise InputError("goes with show only", place="--json")
        print(_derived(rig, options.side, code=options.code))
    elif options.json:
        rest = rest_pose(rig)
        print_json(
            {
                "name": rig.name, "style": rig.style, "source": rig.source, "planar": rig.planar, "points": rest.names,
                "rest_m": {side: points.tolist() for side, points in rest.points.items()},
                "soles_m": {side: corners.tolist() for side, corners in rest.soles.items()},
                "limits_rad": {name: list(ends) for name, ends in rest.limits.items()},
                "channels": list(rig.channels()),
            }
        )  # fmt: skip
    else:
        print("\n".join(rig_words(rig)))
    return 0


def _derived(rig: object, side: str, *, code: bool) -> str:
    """Return the derivation, or say what it needs."""
    from surefoot.derive import derived_text
    from surefoot.errors import InputError
    from surefoot.rig import Rig

    assert isinstance(rig, Rig)
    try:
        return derived_text(rig, side=side, code=code)
    except ImportError:
        raise InputError("it needs SymPy: pip install 'surefoot[derive]'", place="rig derive") from None
