"""Tasks run by several processes, or on a cluster; a clip that ends its process stops no other."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import connection, get_all_start_methods, get_context, parent_process
from multiprocessing.context import BaseContext
from threading import Thread
from typing import Any

from surefoot.batch.task import Row, Settings, Task, do_task
from surefoot.errors import InputError

__all__ = ["end_with_parent", "on_cluster", "run_here"]

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
AHEAD = 4
"""Tasks handed out for each process, so that none waits and none piles up."""
Told = Callable[[Row], None]


def run_here(tasks: Sequence[Task], settings: Settings, *, processes: int, told: Told) -> None:
    """Do every task in ``processes`` processes of one thread each, and call ``told`` with each row as it comes.

    A task whose process ends of itself (a library crashes on a damaged file) is told as failed.
    """
    waiting = list(reversed(tasks))
    with _one_thread():
        while waiting:
            lost = _until_broken(waiting, settings, processes, told)
            for task in lost:  # one of them broke the pool: each gets a process of its own
                if _until_broken([task], settings, 1, told):
                    told(_failed(task, "its process ended before it was done"))


def _until_broken(waiting: list[Task], settings: Settings, processes: int, told: Told) -> list[Task]:
    """Take tasks off ``waiting`` until none is left or the pool breaks; return those that were lost with it."""
    pool = ProcessPoolExecutor(min(processes, len(waiting)), mp_context=_context(), initializer=_begin)
    try:
        return _drained(pool, waiting, settings, AHEAD * processes, told)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _context() -> BaseContext:
    """Return how processes are started: copied from one that holds the solver already, where that can be done."""
    if "forkserver" not in get_all_start_methods():
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(["surefoot.commands.results", "surefoot.planting", "surefoot.few"])
    return context


def _begin() -> None:
    """Begin a worker: it ends with its parent, and has damaged files looked at by one standing process."""
    from surefoot.formats.looking import keep_lookout

    end_with_parent()
    keep_lookout()


def end_with_parent() -> None:
    """Watch, in a worker, for the end of the process that started it: a killed batch leaves no worker behind."""
    above = parent_process()
    if above is None:
        return

    def watch() -> None:
        connection.wait([above.sentinel])
        os._exit(1)

    Thread(target=watch, daemon=True).start()


def _drained(pool: Executor, waiting: list[Task], settings: Settings, ahead: int, told: Told) -> list[Task]:
    running: dict[Future[Row], Task] = {}
    lost: list[Task] = []
    while waiting or running:
        while waiting and len(running) < ahead and not lost:
            task = waiting.pop()
            try:
                running[pool.submit(do_task, task, settings)] = task
            except BrokenProcessPool:
                lost.append(task)
        if not running:
            break
        done, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in done:
            task = running.pop(future)
            try:
                row = future.result()
            except BrokenProcessPool:
                lost.append(task)
            except Exception as error:  # a cluster's worker that was lost with it, once and again
                told(_failed(task, f"its process was lost: {type(error).__name__}"))
            else:
                told(row)
    return lost


def _failed(task: Task, reason: str) -> Row:
    return {"clip": task.name, "status": "failed", "stamp": task.stamp, "output": "", "reason": reason}


@contextmanager
def _one_thread() -> Iterator[None]:
    """Let libraries in processes started meanwhile use one thread each."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def on_cluster(tasks: Sequence[Task], settings: Settings, *, address: str, told: Told) -> None:
    """Do every task on the dask.distributed cluster whose scheduler is at ``address``; paths must hold there too."""
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise InputError("a cluster needs the library distributed: pip install 'surefoot[cluster]'") from None
    try:
        client = distributed.Client(address, timeout=10)
    except (OSError, ValueError) as error:
        told_why = " ".join(str(error).split())[:120]
        raise InputError(f"no scheduler answers there: {told_why}", place=f"--scheduler {address}") from None
    try:
        cores = max(1, sum(client.ncores().values()))
        pool = client.get_executor(pure=False)
        _drained(pool, list(reversed(tasks)), settings, AHEAD * cores, told)
    finally:
        client.close()
