"""``surefoot rpc``: JSON-RPC 2.0 over standard input and output, for scripts in hosts with an older Python."""

from __future__ import annotations

import argparse
import contextlib
from typing import NoReturn

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Answer JSON-RPC 2.0 calls, one a line, on standard input and output, until the input ends. Methods: about, "
    "rig.load, ground.load, deck.load, clip.open, clip.close, check, plant, propose, accept, keys, cancel; progress "
    "comes as notifications to a call with progress true. `--client FILE` writes a client for Python 3.7 and later."
)
EXAMPLE = """echo '{"jsonrpc": "2.0", "id": 1, "method": "about"}' | surefoot rpc"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    told = "write the client, a single file that needs nothing but Python 3.7 or later, and end"
    parser.add_argument("--client", metavar="FILE", help=told)
    told = "the longest message that is taken, in mebibytes; left out, 32"
    parser.add_argument("--longest", metavar="MIB", type=int, default=32, help=told)
    told = "the most memory that is used, in mebibytes, where the system can hold to it; left out, all there is"
    parser.add_argument("--memory", metavar="MIB", type=int, help=told)


def run(options: argparse.Namespace) -> int:
    """Answer until the input ends; 0 then, 1 when a stream broke."""
    from surefoot.errors import InputError

    if options.client is not None:
        return _write_client(options.client)
    if not 1 <= options.longest <= 1024:
        raise InputError(f"wanted 1 to 1024 mebibytes, got {options.longest}", place="--longest")
    if options.memory is not None and not 256 <= options.memory <= 1 << 24:
        raise InputError(f"wanted 256 mebibytes or more, got {options.memory}", place="--memory")
    return _serve(options.longest << 20, None if options.memory is None else options.memory << 20)


def _serve(longest: int, memory: int | None) -> NoReturn:
    """Serve on the process's own streams, and end it: its reading thread may wait for a line that never comes."""
    import os
    import signal

    from surefoot.formats.looking import keep_lookout
    from surefoot.rpc.server import Server, log_to_stderr

    signal.signal(signal.SIGTERM, _ended)
    status = 1
    try:
        for stream in (0, 1):
            os.fstat(stream)  # before either is doubled, since that takes the lowest number that is free
        source, sink = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    except OSError as error:
        log_to_stderr(f"the input or the output is closed from the start ({error})")
        os._exit(status)
    try:
        _set_output_aside()
        _bound_memory(memory)
        keep_lookout()
        status = Server(source, sink, log=log_to_stderr, most_bytes=longest, most_waiting=4 * longest).run()
    except KeyboardInterrupt:
        log_to_stderr("interrupted")
        status = 130
    except SystemExit as stop:
        log_to_stderr("ended by a signal")
        status = int(stop.code or 0)
    except BaseException as error:
        log_to_stderr(f"a fault in here: {type(error).__name__}: {error}")
    os._exit(status)


def _set_output_aside() -> None:
    """Send whatever else prints on standard output to the error stream, so that it doesn't get between messages."""
    import os

    try:
        os.dup2(2, 1)
    except OSError:  # the error stream is closed
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def _bound_memory(most: int | None) -> None:
    """Make a job that wants more memory than there is fail with an answer, rather than have the system end the server.

    Where the system knows no such limit, nothing is done.
    """
    import os

    try:
        import resource
    except ImportError:
        return
    most = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") if most is None else most
    allowed = resource.getrlimit(resource.RLIMIT_AS)[1]
    if allowed == resource.RLIM_INFINITY or allowed > most:
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_AS, (most, allowed))


def _ended(_signal: int, _frame: object) -> None:
    raise SystemExit(143)


def _write_client(path: str) -> int:
    from pathlib import Path

    from surefoot.commands.job import check_outputs
    from surefoot.save import save_bytes

    check_outputs({"--client": path}, {})
    save_bytes((Path(__file__).parents[1] / "rpc" / "client.py").read_bytes(), path)
    print(f"written: {path}")
    return 0
