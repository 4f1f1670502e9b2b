"""A server for one page on this machine: one port, one token, nothing from elsewhere.

Every address begins with a random token; a Host or Origin that isn't this server's own is refused, so no other page
and no other machine can use it. Requests that ask for work wait their turn; each carries all that it wants, so
that a lost one loses nothing.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from threading import Lock
from typing import Any

import msgspec

from surefoot.errors import InputError, SurefootError
from surefoot.page.line import answer_line, asks_for_line
from surefoot.page.packing import packed
from surefoot.page.wishes import Asked, read_wishes
from surefoot.page.work import ChangedOnDisk, Work

__all__ = ["PageServer", "serve"]

MOST_BYTES = 1_000_000
"""A request's body may be that long; the page's own are a few kilobytes."""
PATIENCE = 10.0
"""Seconds that a client may be silent in the middle of a request."""
TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css"}
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self' ws://{}; img-src 'self' data:"


class Refused(Exception):
    """A request that isn't answered, with its status and one sentence."""

    def __init__(self, status: HTTPStatus, told: str) -> None:
        super().__init__(told)
        self.status, self.told = status, told


class PageServer(ThreadingHTTPServer):
    """The server of one open clip.

    Parameters
    ----------
    work : Work
    again : callable
        Reads the clip and all that goes with it anew, and returns the work on it.
    port : int
        0 takes any free one.
    token : str, optional
        What every address begins with; random if left out.
    """

    daemon_threads = True
    request_queue_size = 256

    def __init__(self, work: Work, *, again: Callable[[], Work], port: int = 0, token: str | None = None) -> None:
        self.work, self.again, self.lock = work, again, Lock()
        self.token = token or secrets.token_urlsafe(18)
        super().__init__(("127.0.0.1", port), _Handler)
        self.hosts = {f"127.0.0.1:{self.server_port}", f"localhost:{self.server_port}"}

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self.server_port}/{self.token}/"

    def worked(self, body: bytes) -> bytes:
        """Answer wishes; raises SurefootError for what can't be."""
        asked = read_wishes(body)
        with self.lock:
            answer = self.work.answer(asked.wishes, whole=asked.answer == "whole")
            self.work.wishes = asked.wishes
        return packed({"serial": asked.serial, **answer.head}, answer.arrays)

    def reopen(self) -> None:
        """Read the clip again; the wishes stay. Raises SurefootError when it can't be had, and keeps what it has."""
        with self.lock:
            fresh = self.again()
            fresh.wishes = self.work.wishes
            self.work = fresh

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing of a client that went away in the middle of a request."""


def serve(work: Work, *, again: Callable[[], Work], port: int = 0, ready: Callable[[str], None] | None = None) -> None:
    """Serve a page until interrupted; ``ready`` is called with the address once it can be opened."""
    with PageServer(work, again=again, port=port) as server:
        if ready is not None:
            ready(server.address)
        server.serve_forever(poll_interval=0.1)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server_version = "surefoot"
    sys_version = ""
    disable_nagle_algorithm = True
    wbufsize = -1
    timeout = PATIENCE
    server: PageServer

    def do_GET(self) -> None:
        """Answer with a file of the page, or with what doesn't change about the clip."""
        if asks_for_line(self):
            self._answered(self._line)
        else:
            self._answered(self._get)

    def do_POST(self) -> None:
        """Answer a request for work."""
        self._answered(self._post)

    def log_message(self, *_: object) -> None:
        """Print nothing."""

    def _answered(self, answer: Callable[[str], tuple[str, bytes] | None]) -> None:
        try:
            answered = answer(self._path())
        except Refused as refused:
            self.close_connection = True
            self._tell(refused.status, refused.told)
        except ChangedOnDisk as error:
            self._tell(HTTPStatus.CONFLICT, str(error))
        except SurefootError as error:
            self._tell(HTTPStatus.UNPROCESSABLE_ENTITY, str(error))
        except Exception as error:
            self._tell(HTTPStatus.INTERNAL_SERVER_ERROR, _fault(error))
        else:
            if answered is not None:
                self._send(HTTPStatus.OK, *answered)

    def _tell(self, status: HTTPStatus, sentence: str) -> None:
        self._send(status, "text/plain; charset=utf-8", sentence.encode("utf-8", "replace"))

    def _send(self, status: HTTPStatus, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Content-Security-Policy", POLICY.format(self.headers.get("Host")))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)

    def _path(self) -> str:
        """Return what is asked for below the token; raises Refused for a stranger."""
        if self.headers.get("Host") not in self.server.hosts:
            raise Refused(HTTPStatus.FORBIDDEN, "this page is only for the browser on its own machine")
        origin = self.headers.get("Origin")
        if origin is not None and origin.removeprefix("http://") not in self.server.hosts:
            raise Refused(HTTPStatus.FORBIDDEN, "another site may not ask for this page")
        path = self.path.partition("?")[0]
        token, slash, rest = path.removeprefix("/").partition("/")
        if not slash or not secrets.compare_digest(token.encode(), self.server.token.encode()):
            raise Refused(HTTPStatus.NOT_FOUND, "there is nothing here; open the address that surefoot page printed")
        return rest

    def _get(self, path: str) -> tuple[str, bytes]:
        if path == "clip":
            with self.server.lock:
                about = {**self.server.work.about(), "wishes": self.server.work.wishes}
            return "application/json", msgspec.json.encode(about)
        name = path or "index.html"
        held = {one.name: one for one in files("surefoot.page").joinpath("files").iterdir()}
        ending = "." + name.rpartition(".")[2]
        if name not in held or ending not in TYPES:
            raise Refused(HTTPStatus.NOT_FOUND, "the page has no such file")
        return f"{TYPES[ending]}; charset=utf-8", held[name].read_bytes()

    def _line(self, path: str) -> None:
        if path != "line":
            raise Refused(HTTPStatus.NOT_FOUND, "the page has one standing line, called line")

        def answer(body: bytes) -> bytes | str:
            try:
                return self.server.worked(body)
            except SurefootError as error:
                return str(error)
            except Exception as error:
                return _fault(error)

        answer_line(self, answer, most=MOST_BYTES)

    def _post(self, path: str) -> tuple[str, bytes]:
        body = self._body()
        if path == "work":
            return "application/octet-stream", self.server.worked(body)
        asked = read_wishes(body)
        if path in ("save", "save-anyway"):
            return "application/json", msgspec.json.encode({"written": self._saved(asked, path == "save-anyway")})
        if path == "reopen":
            self.server.reopen()
            return "application/json", b"{}"
        raise Refused(HTTPStatus.NOT_FOUND, "the page asks for work, save, save-anyway or reopen")

    def _saved(self, asked: Asked, anyway: bool) -> list[str]:
        with self.server.lock:
            return self.server.work.save(asked.wishes, anyway=anyway)

    def _body(self) -> bytes:
        told = self.headers.get("Content-Length", "")
        if not told.isascii() or not told.isdigit():
            raise Refused(HTTPStatus.LENGTH_REQUIRED, "the request doesn't say how long it is")
        size = int(told)
        if size > MOST_BYTES:
            raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"the request is longer than {MOST_BYTES} bytes")
        try:
            body = self.rfile.read(size)
        except TimeoutError:
            raise Refused(HTTPStatus.REQUEST_TIMEOUT, f"the request stood still for {PATIENCE:g} seconds") from None
        if len(body) != size:
            raise InputError(f"the request ended after {len(body)} of {size} bytes")
        return body


def _fault(error: Exception) -> str:
    """Return what is said of a fault of ours: the page shows it, keeps the edits and goes on."""
    return f"fault: {type(error).__name__}: {error}"
