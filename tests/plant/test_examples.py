"""The examples in the docstrings of the computations are right."""

import doctest
import importlib

import pytest
from django.conf import settings

# Wherever a docstring shows an example, without migrations and commands.
MODULES = [
    ".".join(path.relative_to(settings.BASE_DIR).with_suffix("").parts)
    for storey in ("plant", "inventory", "maintenance")
    for path in sorted((settings.BASE_DIR / storey).rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


def test_examples_are_found() -> None:
    assert MODULES


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_computation_hold(name: str) -> None:
    tried = doctest.testmod(importlib.import_module(name))
    assert tried.attempted
    assert tried.failed == 0
