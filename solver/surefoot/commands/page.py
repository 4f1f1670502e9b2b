"""``surefoot page``: the clip in a browser on this machine, live."""

from __future__ import annotations

import argparse

from surefoot.commands.arguments import add_clip_options

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Open a clip in a browser on this machine: mix the hips, watch the feet being planted, accept or reject each "
    "finding, drag keys, save beside the original. Nothing leaves the machine; Ctrl-C ends it."
)
EXAMPLE = "surefoot page walk.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_clip_options(parser)
    parser.add_argument("--port", type=int, default=0, help="the port on this machine; left out, any free one")
    parser.add_argument("--no-open", action="store_true", help="print the address, and don't open a browser")


def run(options: argparse.Namespace) -> int:
    """Serve the page until it's interrupted."""
    import gc
    import sys
    import webbrowser
    from pathlib import Path

    from surefoot.commands.as_json import print_json
    from surefoot.commands.job import clip_path, read_job, told_of
    from surefoot.demos import demo_name
    from surefoot.errors import InputError
    from surefoot.page.server import serve
    from surefoot.page.work import Work, mark_of

    def opened() -> Work:
        seen = mark_of(clip_path(options.clip))
        job = read_job(options)
        with told_of(job.path):
            return Work.open(
                job.path, job.clip, job.rig, seen=seen, ground=job.ground, belt=job.belt,
                folder=Path.cwd() if demo_name(job.path) else None,  # a demo lies inside the package
                tolerances=job.tolerances, landing=job.landing, also=job.also,
            )  # fmt: skip

    if not 0 <= options.port <= 65535:
        raise InputError(f"wanted a port from 0 to 65535, got {options.port}", place="--port")
    work = opened()
    with told_of(work.path):
        work.answer(work.wishes, whole=False)  # what's wrong with the clip is told here, not in the browser

    gc.freeze()  # what is loaded stays: looking through it again and again would hold a drag up

    def ready(address: str) -> None:
        name = work.clip.name or work.path.stem
        if options.json:
            print_json({"clip": name, "address": address})
            sys.stdout.flush()
        else:
            print(f"{name} is at {address}\nCtrl-C ends it.", flush=True)
        if not options.no_open:
            webbrowser.open(address)

    try:
        serve(work, again=opened, port=options.port, ready=ready)
    except OSError as error:
        raise InputError(f"port {options.port} can't be had: {error.strerror}", place="--port") from None
    except KeyboardInterrupt:
        print()
    return 0
