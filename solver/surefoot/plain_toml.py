"""Tables written as TOML: what the standard library reads but doesn't write."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from surefoot.errors import InputError

__all__ = ["toml_text", "toml_word"]


def toml_text(table: Mapping[str, Any]) -> str:
    """Return a table as TOML: tables inside tables get headings, lists stay on one line.

    Raises InputError for a value that TOML has no word for.
    """
    return "\n".join(_lines(table, "")).lstrip("\n") + "\n"


def _lines(table: Mapping[str, Any], heading: str) -> list[str]:
    plain = {name: value for name, value in table.items() if not isinstance(value, Mapping)}
    lines = [f"{_name(name)} = {_value(value)}" for name, value in plain.items() if value is not None]
    if heading and (lines or len(plain) == len(table)):
        lines = ["", f"[{heading}]", *lines]
    for name, value in table.items():
        if isinstance(value, Mapping):
            lines += _lines(value, f"{heading}.{_name(name)}" if heading else _name(name))
    return lines


def _name(name: str) -> str:
    bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if bare else toml_word(name)


def toml_word(text: str) -> str:
    """Return a text as a TOML string: a JSON one is that too, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_word(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_name(k)} = {_value(v)}" for k, v in value.items() if v is not None) + "}"
    raise InputError(f"a mapping file can't hold {value!r}", place="mapping")
