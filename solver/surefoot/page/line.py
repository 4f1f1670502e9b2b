"""A line that stays open between page and server (WebSocket, RFC 6455): a request a message, an answer a message.

A browser needs milliseconds to begin a new request and to take its answer's head apart; on a line that stands, what
a slider asks for is there at once. Answers are bytes; a text instead of bytes is the sentence that says what's wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from http.server import BaseHTTPRequestHandler
from socket import SHUT_WR

from websockets.frames import Frame, Opcode
from websockets.http11 import Request
from websockets.server import ServerProtocol

__all__ = ["answer_line", "asks_for_line"]

PIECE = 65536
LAST_WORDS = 1.0
"""Seconds without a byte after which a line that we closed is given up."""


def asks_for_line(handler: BaseHTTPRequestHandler) -> bool:
    """Tell whether a GET asks for a standing line."""
    return handler.headers.get("Upgrade", "").lower() == "websocket"


def answer_line(handler: BaseHTTPRequestHandler, answer: Callable[[bytes], bytes | str], *, most: int) -> None:
    """Take a request's connection over and answer each message on it until the other side closes it.

    Parameters
    ----------
    handler : BaseHTTPRequestHandler
        Its request is read and may have what it asks for; its connection is closed afterwards.
    answer : callable
        Gives bytes, or the sentence that says what's wrong with the message.
    most : int
        A message of more bytes ends the line, with the standard's status 1009.
    """
    handler.close_connection = True
    protocol = ServerProtocol(max_size=most)
    told = "".join(f"{name}: {value}\r\n" for name, value in handler.headers.items())
    protocol.receive_data(f"{handler.requestline}\r\n{told}\r\n".encode("latin-1"))
    parts: list[bytes] = []
    handler.connection.settimeout(None)  # a page may rest for hours
    while True:
        for event in protocol.events_received():
            if isinstance(event, Request):
                protocol.send_response(protocol.accept(event))
            elif isinstance(event, Frame) and event.opcode in (Opcode.TEXT, Opcode.BINARY, Opcode.CONT):
                parts.append(bytes(event.data))
                if event.fin:
                    _send(protocol, answer(b"".join(parts)))
                    parts.clear()
        if not _flushed(handler, protocol):
            return _drained(handler)
        data = handler.rfile.read1(PIECE)
        if data:
            protocol.receive_data(data)
        else:
            protocol.receive_eof()


def _drained(handler: BaseHTTPRequestHandler) -> None:
    """Read on until the other side has closed: what is left unread would make the system drop our last words."""
    handler.connection.settimeout(LAST_WORDS)
    with suppress(OSError):
        while handler.connection.recv(PIECE):
            pass


def _send(protocol: ServerProtocol, reply: bytes | str) -> None:
    if isinstance(reply, str):
        protocol.send_text(reply.encode())
    else:
        protocol.send_binary(reply)


def _flushed(handler: BaseHTTPRequestHandler, protocol: ServerProtocol) -> bool:
    """Write what's to be written; return whether there is more to come."""
    for data in protocol.data_to_send():
        if not data:
            handler.connection.shutdown(SHUT_WR)
            return False
        handler.connection.sendall(data)
    return not protocol.close_expected()
