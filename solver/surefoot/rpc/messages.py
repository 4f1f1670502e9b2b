"""JSON-RPC 2.0 messages: lines read into calls, answers written as lines (https://www.jsonrpc.org/specification)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import msgspec

__all__ = [
    "BUSY",
    "CANCELLED",
    "FAILED",
    "INTERNAL",
    "INVALID_PARAMS",
    "INVALID_REQUEST",
    "METHOD_NOT_FOUND",
    "MOST_CALLS",
    "PARSE_ERROR",
    "Answer",
    "Call",
    "Fault",
    "Id",
    "batch_line",
    "notification_line",
    "parse",
]

PARSE_ERROR, INVALID_REQUEST, METHOD_NOT_FOUND, INVALID_PARAMS, INTERNAL = -32700, -32600, -32601, -32602, -32603
CANCELLED, BUSY, FAILED = 1, 2, 3
"""Codes of our own, outside the range that the standard keeps for itself."""
MOST_CALLS = 10_000
"""Calls in one batch."""

Id = str | int | float | None


@dataclass(frozen=True, slots=True)
class Call:
    """A request, or with ``answered`` False a notification."""

    method: str
    params: dict[str, Any] | list[Any]
    id: Id = None
    answered: bool = True


@dataclass(frozen=True, slots=True)
class Fault:
    """An error to be answered."""

    code: int
    message: str
    id: Id = None
    data: dict[str, Any] | None = None

    def line(self) -> bytes:
        """Return it as a response object, without the line's end."""
        error: dict[str, Any] = {"code": self.code, "message": self.message}
        if self.data is not None:
            error["data"] = self.data
        return msgspec.json.encode({"jsonrpc": "2.0", "id": self.id, "error": error})


@dataclass(frozen=True, slots=True)
class Answer:
    """A result to be answered."""

    result: Any
    id: Id = None

    def line(self) -> bytes:
        """Return it as a response object, without the line's end; numbers that aren't finite become null."""
        return msgspec.json.encode({"jsonrpc": "2.0", "id": self.id, "result": self.result})


def parse(line: bytes) -> Call | Fault | list[Call | Fault]:
    """Return the call in a line, the calls of a batch, or what is wrong with it."""
    try:
        table = msgspec.json.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError, ValueError) as error:
        return Fault(PARSE_ERROR, f"not JSON: {_shortened(str(error))}")
    except RecursionError:
        return Fault(PARSE_ERROR, "nested too deeply")
    if not isinstance(table, list):
        return _call(table)
    if not table:
        return Fault(INVALID_REQUEST, "an empty batch")
    if len(table) > MOST_CALLS:
        return Fault(INVALID_REQUEST, f"a batch of {len(table)} calls; at most {MOST_CALLS} are taken")
    return [_call(entry) for entry in table]


def _call(table: Any) -> Call | Fault:
    if not isinstance(table, dict):
        return Fault(INVALID_REQUEST, "wanted an object with jsonrpc, method, params and id")
    stated = table.get("id")
    if isinstance(stated, bool) or not isinstance(stated, str | int | float | None):
        return Fault(INVALID_REQUEST, "an id is a text, a number or null")
    if table.get("jsonrpc") != "2.0":
        return Fault(INVALID_REQUEST, 'wanted "jsonrpc": "2.0"', stated)
    method, params = table.get("method"), table.get("params", {})
    if not isinstance(method, str):
        return Fault(INVALID_REQUEST, "wanted a method, as a text", stated)
    if not isinstance(params, dict | list):
        return Fault(INVALID_REQUEST, "params are an object or a list", stated)
    return Call(method, params, stated, "id" in table)


def batch_line(parts: list[bytes]) -> bytes:
    """Return response objects as one batch, without the line's end."""
    return b"[" + b",".join(parts) + b"]"


def notification_line(method: str, params: dict[str, Any]) -> bytes:
    """Return a notification, without the line's end."""
    return msgspec.json.encode({"jsonrpc": "2.0", "method": method, "params": params})


def _shortened(text: str) -> str:
    return text if len(text) <= 200 else text[:200] + "..."
