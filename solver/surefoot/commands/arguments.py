"""Options that several commands take; reading what they hold is `options` and `job`."""

from __future__ import annotations

import argparse

__all__ = ["add_clip_options", "add_deck_option"]

SHARED_OPTIONS = (
    ("--map", "FILE", "which node, joint or marker is which; left out, CLIP.map.toml where there is one"),
    ("--rig", "RIG", "a rig's name or TOML file; left out, the one that the clip names"),
    (
        "--ground",
        "GROUND",
        "the ground as a TOML file, or a preset such as accessible-stairs (for pictures, not for building); "
        "left out, level at height 0",
    ),
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


def add_clip_options(command: argparse.ArgumentParser) -> None:
    """Add the clip, what it stands on, how it is judged, and ``--json``: what `job.read_job` reads."""
    command.add_argument(
        "clip",
        metavar="CLIP",
        help="a clip (surefoot formats lists which), or a demo: lamplighter, trudge, run, ferry or treadmill",
    )
    for flag, metavar, told in SHARED_OPTIONS:
        command.add_argument(flag, metavar=metavar, help=told)
    for flag, metavar, told in REPEATED_OPTIONS:
        command.add_argument(flag, metavar=metavar, action="append", default=[], help=told)
    told = "a slide on purpose: leave the stances in these frames alone, such as right 10-14; may be repeated"
    command.add_argument("--leave", metavar=("FOOT", "FRAMES"), nargs=2, action="append", default=[], help=told)
    told = "let a foot slip for so long after it lands; left out, 0.04 for captured clips, else 0"
    command.add_argument("--landing", metavar="SECONDS", type=float, help=told)
    told = "look for these kinds too, which may well be meant: mismatch, oppose"
    command.add_argument("--also", metavar="KINDS", default="", help=told)
    command.add_argument("--json", action="store_true", help="print JSON, not a table: the same figures, unrounded")


def add_deck_option(command: argparse.ArgumentParser) -> None:
    """Add ``--aboard``: the deck that the feet stand on, which `job.read_job` reads."""
    told = (
        "the feet stand on something that moves (a lift, a boat's deck): its place and turn as keys (TOML), samples "
        "(CSV) or a clip's deck.x to deck.roll (JSON), or a space that the clip has; ground and findings are its own"
    )
    command.add_argument("--aboard", metavar="DECK", help=told)
