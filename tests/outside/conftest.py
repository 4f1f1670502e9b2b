"""Every test in this folder names its source, and tells the table what it compared."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import pytest

from tests.outside import table


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """Let the rows of a test be its own; one that names no source, or ends well without a row, fails."""
    function: Any = item.function  # type: ignore[attr-defined]
    own, control = table.starts(function), table.is_control(function.__doc__)
    assert control or own.sources, "a check against something outside says 'Source: ... (flag).' in its docstring"
    result = yield
    assert control or own.made, "a check against something outside makes a row: agrees, within or alike"
    return result
