"""The examples in the docstrings of the computations are right."""

import doctest
import importlib
import pkgutil

import pytest

from plant import calculations

MODULES = [f"plant.calculations.{module.name}" for module in pkgutil.iter_modules(calculations.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_computation_hold(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0
