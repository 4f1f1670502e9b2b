"""``surefoot rig``: a rig in words, or its chains derived as expressions or code."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from surefoot.rig import Rig

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Show a rig in words: lengths, sole, limits, controls and channels; or derive each leg's points and Jacobian from "
    "its description, as expressions or as Python code; or measure a rig from captured points or joints."
)
EXAMPLE = "surefoot rig show stalker; surefoot rig derive adult --code; surefoot rig fit trial.c3d -o me.toml"
WHAT = ("show", "derive", "fit")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("what", metavar="WHAT", help="show, derive or fit")
    parser.add_argument("rig", metavar="RIG", help="a rig's name or TOML file; for fit, a capture")
    parser.add_argument("--side", metavar="SIDE", help="derive: the left or the right leg; left out, the left")
    parser.add_argument("--code", action="store_true", help="derive: as Python code, not as expressions")
    parser.add_argument(
        "--map", metavar="FILE", help="fit: which marker or joint is which; left out, beside the capture"
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="fit: where the rig goes, in TOML")
    parser.add_argument("--json", action="store_true", help="show: print JSON, metres and radians, not words")


def run(options: argparse.Namespace) -> int:
    """Print what was asked for."""
    from surefoot.cautions import FOR_ANIMATION
    from surefoot.commands.as_json import print_json
    from surefoot.errors import InputError, UnknownName
    from surefoot.printed import wrapped
    from surefoot.rig import FEET
    from surefoot.rig_file import load_rig
    from surefoot.rig_shown import rest_pose, rig_words

    if options.what not in WHAT:
        raise UnknownName("word", options.what, WHAT, place="rig")
    for option, given, what in (
        ("--side", options.side is not None, "derive"), ("--code", options.code, "derive"),
        ("--map", options.map is not None, "fit"), ("--output", options.output is not None, "fit"),
        ("--json", options.json and options.what == "derive", "show and rig fit"),
    ):  # fmt: skip
        if given and options.what != what:
            raise InputError(f"goes with rig {what} only", place=option)
    side = "left" if options.side is None else options.side
    if side not in FEET:
        raise UnknownName("side", side, FEET, place="--side")
    rig = _fitted(options) if options.what == "fit" else load_rig(options.rig)
    if options.what == "derive":
        print(_derived(rig, side, code=options.code))
    elif options.json:
        rest = rest_pose(rig)
        print_json(
            {
                "name": rig.name, "style": rig.style, "source": rig.source, "planar": rig.planar, "points": rest.names,
                "rest_m": {side: points.tolist() for side, points in rest.points.items()},
                "soles_m": {side: corners.tolist() for side, corners in rest.soles.items()},
                "limits_rad": {name: list(ends) for name, ends in rest.limits.items()},
                "channels": list(rig.channels()), "cautions": [f"bodies are {FOR_ANIMATION}"],
            }
        )  # fmt: skip
    else:
        print("\n".join(map(wrapped, rig_words(rig))))
        if options.output is not None:
            print(f"written: {options.output}")
    return 0


def _fitted(options: argparse.Namespace) -> Rig:
    """Return the rig of a capture, and write it where that's asked for."""
    from surefoot.commands.job import check_outputs
    from surefoot.errors import InputError
    from surefoot.formats.opening import is_foreign, open_clip
    from surefoot.rig_save import save_rig

    check_outputs({"--output": options.output}, {"the capture": options.rig, "--map": options.map})
    opened = open_clip(options.rig, mapping=options.map) if is_foreign(options.rig) else None
    if opened is None or opened.rig is None:
        raise InputError("no rig can be measured from it; wanted markers or joints (C3D, BVH, glTF)", place=options.rig)
    if options.output is not None:
        save_rig(opened.rig, options.output)
    return opened.rig


def _derived(rig: Rig, side: str, *, code: bool) -> str:
    """Return the derivation, or say what it needs."""
    from surefoot.derive import derived_text
    from surefoot.errors import InputError

    try:
        return derived_text(rig, side=side, code=code)
    except ImportError:
        raise InputError("it needs SymPy: pip install 'surefoot[derive]'", place="rig derive") from None
