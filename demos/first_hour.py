"""The first hour as a page: runs what it shows, and writes what was printed and drawn.

`python -m demos.first_hour` from the top of the source tree writes `demos/first_hour.md` and the pictures in
`demos/first_hour/`; with a folder named after it, it writes there. A test tells when they are out of date.
"""

from __future__ import annotations

import contextlib
import io
import shlex
import shutil
import sys
import tempfile
import textwrap
from pathlib import Path

from surefoot.cli import main as surefoot
from surefoot.story import STORY, Step, introduction

PICTURES = "first_hour"
WIDTH = 120
BEGIN = (
    "You need Surefoot installed and an empty folder; where it lies in `.venv`, `. .venv/bin/activate` makes "
    "`surefoot` a command of the terminal. `surefoot demo` runs all of this in one go, into a folder "
    "`surefoot-demo`. Every command has `--help`; every one that prints a table can print it as JSON instead."
)
FROM_HERE = (
    "Take a clip of your own: `surefoot formats` lists what is read, `surefoot map` proposes which joint or node is "
    "which. `surefoot check CLIP --propose` tells the ways to mend each finding, `surefoot page CLIP` opens a clip in "
    "a browser on this machine. `surefoot block --help` lists the recipes; a recipe is a short file to copy and "
    "change, and so is a rig."
)


def filled(text: str) -> str:
    """Return a paragraph in lines that break between words only."""
    return textwrap.fill(text, WIDTH, break_on_hyphens=False)


def printed(line: str) -> str:
    """Return what one command line prints; raise RuntimeError if it's wrong input."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        status = surefoot(shlex.split(line))
    if status > 1:
        raise RuntimeError(f"surefoot {line}\n{out.getvalue()}")
    return out.getvalue().strip("\n")


def shown(step: Step, number: int) -> str:
    """Run one step in the folder that we're in, and return its part of the page."""
    parts = [f"## {number}. {step.title}", filled(step.why)]
    for line in step.commands:
        parts += [f"```sh\nsurefoot {line}\n```", f"```text\n{printed(line)}\n```"]
    parts.append(filled(step.after))
    if step.drawing:
        printed(step.drawing)
        parts += [f"```sh\nsurefoot {step.drawing}\n```", f"![{step.shows}]({PICTURES}/{step.picture})"]
        parts.append(f"*{step.shows}*")
    return "\n\n".join(parts)


def write(folder: Path) -> None:
    """Run the story in a folder of its own and write page and pictures into ``folder``."""
    with tempfile.TemporaryDirectory() as at:
        with contextlib.chdir(at):
            steps = [shown(step, number) for number, step in enumerate(STORY, 1)]
        opening = ["# The first hour", filled(introduction()), filled(BEGIN)]
        ending = ["## From here", filled(FROM_HERE)]
        page = "\n\n".join([*opening, *steps, *ending]) + "\n"
        (folder / PICTURES).mkdir(parents=True, exist_ok=True)
        (folder / "first_hour.md").write_text(page, encoding="utf-8")
        for step in STORY:
            if step.picture:
                shutil.copyfile(Path(at) / step.picture, folder / PICTURES / step.picture)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
