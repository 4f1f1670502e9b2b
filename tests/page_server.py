"""A page served in this process for tests: a copy of a demo clip in a folder of its own."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

from surefoot.clip_file import load_clip
from surefoot.demos import demo_path
from surefoot.ground import Flat
from surefoot.page.server import PageServer
from surefoot.page.work import Work, mark_of
from surefoot.rig_file import load_rig


def opened(folder: Path, name: str = "lamplighter") -> Work:
    path = folder / "walk.json"
    shutil.copyfile(demo_path(name), path)
    return read(path)


def read(path: Path) -> Work:
    seen, clip = mark_of(path), load_clip(path)
    return Work.open(path, clip, load_rig(clip.rig), seen=seen, ground=Flat(0.0))


@contextmanager
def serving(work: Work) -> Iterator[PageServer]:
    with PageServer(work, again=lambda: read(work.path)) as server:
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join(timeout=10)
