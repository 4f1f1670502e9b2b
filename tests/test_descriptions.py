"""What the shop window offers is described: errors by name, and examples that run."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
from collections.abc import Callable
from enum import Enum
from typing import Any

import pytest

import surefoot

PUBLIC = {name: getattr(surefoot, name) for name in surefoot.__all__ if callable(getattr(surefoot, name))}
FUNCTIONS = {name: one for name, one in PUBLIC.items() if inspect.isfunction(one)}
ERRORS = [name for name, one in PUBLIC.items() if inspect.isclass(one) and issubclass(one, Exception)]
NO_INPUT = ("clip_schema", "preset_grounds", "preset_names", "recipe_names")
"""Functions that take nothing, so that nothing handed in can be wrong."""
SHOWN = ("apply_proposals", "let_down", "propose", "remix", "twin", "mix", "check", "plant", "gait_of", "block")
"""Functions whose use is shown by an example."""


def checks_itself(one: type) -> bool:
    """Return whether a class of values looks at what it's built of."""
    return "__post_init__" in vars(one) and not issubclass(one, Enum)


@pytest.mark.parametrize("name", PUBLIC)
def test_everything_in_the_shop_window_is_described(name: str) -> None:
    told = inspect.getdoc(PUBLIC[name]) or ""
    assert len(told.split()) >= 4
    assert not told.startswith(f"{name}("), "that's the signature, no description"


VALUES = [name for name, one in PUBLIC.items() if inspect.isclass(one) and checks_itself(one)]


@pytest.mark.parametrize("name", [*FUNCTIONS, *VALUES])
def test_what_can_go_wrong_is_told_by_the_names_of_the_errors(name: str) -> None:
    if name in NO_INPUT:
        assert not inspect.signature(FUNCTIONS[name]).parameters
        return
    told = inspect.getdoc(PUBLIC[name]) or ""
    raises = re.search(r"Raises(.*)", told, re.DOTALL)
    assert raises is not None, "it names no error"
    assert any(re.search(rf"\b{error}\b", raises[1]) for error in ERRORS)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_parameter_is_told(name: str) -> None:
    told = inspect.getdoc(FUNCTIONS[name]) or ""
    known = {"clip", "rig", "before", "after", "scene", "options"}  # plain by name and kind
    for parameter in inspect.signature(FUNCTIONS[name]).parameters:
        assert parameter in known or re.search(rf"\b{parameter}\b", told), parameter


def of_module(module: str) -> dict[str, Any]:
    return {name: one for name, one in PUBLIC.items() if one.__module__ == module}


@pytest.mark.parametrize("module", sorted({one.__module__ for one in PUBLIC.values()}))
def test_the_examples_run(module: str) -> None:
    found = doctest.DocTestFinder(exclude_empty=True).find(importlib.import_module(module))
    runner = doctest.DocTestRunner(verbose=False)
    wanted = sum((inspect.getdoc(one) or "").count(">>>") > 0 for one in of_module(module).values())
    ran = 0
    for test in found:
        if test.examples:
            runner.run(test)
            ran += 1
    assert runner.failures == 0
    assert ran >= wanted


@pytest.mark.parametrize("name", SHOWN)
def test_the_heart_of_the_work_is_shown_by_an_example(name: str) -> None:
    assert ">>> " in (inspect.getdoc(PUBLIC[name]) or "")


def test_the_errors_name_is_a_public_one() -> None:
    functions: dict[str, Callable[..., Any]] = FUNCTIONS
    for name, one in functions.items():
        for error in re.findall(r"\b([A-Z]\w+(?:Error|Reach|Name))\b", inspect.getdoc(one) or ""):
            assert error in ERRORS, (name, error)
