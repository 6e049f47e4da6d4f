"""The examples in the formats' docstrings hold."""

import doctest
import importlib
import pkgutil

import pytest

import bootwatch.formats

MODULES = [module.name for module in pkgutil.iter_modules(bootwatch.formats.__path__, "bootwatch.formats.")]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", MODULES)
def test_each_module_says_what_it_reads(name: str) -> None:
    assert importlib.import_module(name).__doc__
