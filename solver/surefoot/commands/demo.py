"""``surefoot demo``: the first hour, run from beginning to end into a folder of its own."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Run the first hour: an evening lamplighter's walk blocked out, its hips edited, planted, sent along the street "
    "and up stairs, handed over. Every command is printed before it runs, and all their files go into one folder, so "
    "that each can be tried again by hand."
)
EXAMPLE = "surefoot demo lamps"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    told = "where the files go: a new folder, or an empty one; left out, surefoot-demo"
    parser.add_argument("folder", metavar="FOLDER", nargs="?", default="surefoot-demo", help=told)


def run(options: argparse.Namespace) -> int:
    """Run every command of the story in its folder, each told before it runs; stop at the first that can't."""
    import contextlib
    import shlex
    from functools import partial
    from textwrap import fill

    from surefoot.story import STORY, introduction

    told = partial(fill, width=100, break_on_hyphens=False)
    folder = _new_folder(options.folder)
    print(told(introduction()))
    print(f"\nFiles go to {folder}.")
    with contextlib.chdir(folder):
        for number, step in enumerate(STORY, 1):
            print(f"\n== {number}. {step.title} ==\n\n{told(step.why)}")
            for line in (*step.commands, *filter(None, [step.drawing])):
                print(f"\n$ surefoot {line}", flush=True)
                status: int = options.call(shlex.split(line))
                if status > 1:
                    return status
            print(f"\n{told(step.after)}")
    pictures = ", ".join(step.picture for step in STORY if step.picture)
    print(f"\nDone. Look at {pictures} and report.html in {folder}.")
    return 0


def _new_folder(name: str) -> Path:
    """Make the folder, or take one that is empty; raise FileError where that can't be."""
    from pathlib import Path

    from surefoot.errors import FileError

    if not name or "\0" in name:
        raise FileError(f"wanted the name of a folder, got {name!r}", place="FOLDER")
    path = Path(name)
    try:
        path.mkdir(exist_ok=True)
        empty = not any(path.iterdir())
    except FileExistsError:
        raise FileError("that is a file; name a new folder, or an empty one", place=name) from None
    except FileNotFoundError:
        raise FileError(f"can't be made: there is no folder {path.parent}", place=name) from None
    except OSError as error:
        raise FileError(f"can't be made: {error.strerror or error}", place=name) from None
    if not empty:
        raise FileError("there's something in it already; name a new folder, or an empty one", place=name)
    return path
