"""Lines of bytes from a stream, each at most so long, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

__all__ = ["TooLong", "read_lines"]

CHUNK = 1 << 16


class TooLong(NamedTuple):
    """A line that was longer than is taken; ``length`` bytes have been read away."""

    length: int


def read_lines(stream: BinaryIO, most: int) -> Iterator[bytes | TooLong]:
    """Yield each line without its end; empty lines are passed over.

    A last line without an end counts. No more than ``most`` bytes of a line, and a
    chunk, are held at any time.
    """
    while line := stream.readline(most + 1):
        if len(line) > most and not line.endswith(b"\n"):
            length = len(line)
            while line := stream.readline(CHUNK):
                length += len(line)
                if line.endswith(b"\n"):
                    break
            yield TooLong(length)
            continue
        line = line.rstrip(b"\r\n")
        if line.strip(b" \t"):
            yield line
