"""Each format's module says what it reads, shows it, and stands on its own."""

import ast
import doctest
import importlib
import pkgutil
import sys
from pathlib import Path

import pytest

import bootwatch.formats

MODULES = [module.name for module in pkgutil.iter_modules(bootwatch.formats.__path__, "bootwatch.formats.")]
# The modules that others use; all others are parts of these.
FORMATS = [
    f"bootwatch.formats.{name}"
    for name in (
        *("device_path", "load_option", "signature_list", "event_log"),
        *("gpt", "mbr", "fat", "pe", "os_release"),
    )
]
STANDARDS = ("UEFI 2.10 §", "TCG PC Client", "FAT specification 1.03", "PE/COFF 8.3", "os-release(5)")


def imported(name: str) -> set[str]:
    """The modules that one imports, by its text; those beside it as ".name"."""
    path = importlib.import_module(name).__file__
    found = set()
    for node in ast.walk(ast.parse(Path(path or "").read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add("." * node.level + (node.module or ""))
    return found


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", FORMATS)
def test_each_format_has_an_example(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).attempted > 0


@pytest.mark.parametrize("name", MODULES)
def test_each_module_says_what_it_reads(name: str) -> None:
    assert importlib.import_module(name).__doc__


@pytest.mark.parametrize("name", FORMATS)
def test_each_format_begins_with_its_standard(name: str) -> None:
    first = (importlib.import_module(name).__doc__ or "").split("\n\n")[0]
    assert any(standard in first for standard in STANDARDS)


@pytest.mark.parametrize("name", MODULES)
def test_each_module_needs_only_its_neighbours_and_the_standard_library(name: str) -> None:
    others = {one for one in imported(name) if not one.startswith(".") or one.startswith("..")}
    assert not {one for one in others if one.split(".")[0] not in sys.stdlib_module_names}
