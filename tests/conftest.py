"""Fixtures that more than one module asks for."""

from tests.browser import axe, browser

__all__ = ["axe", "browser"]
