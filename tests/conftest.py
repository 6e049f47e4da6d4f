"""Fixtures that more than one room uses."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.roots import Root, dual


@pytest.fixture(scope="session")
def dual_template(tmp_path_factory: pytest.TempPathFactory) -> Root:
    """The usual machine, built once; never changed."""
    return dual(tmp_path_factory.mktemp("template") / "machine")


@pytest.fixture
def copy_root(tmp_path: Path) -> Callable[[Root], Root]:
    """Makes a machine of one's own out of a template."""

    def copy(template: Root) -> Root:
        target = tmp_path / "machine"
        shutil.copytree(template.folder, target, symlinks=True)
        return template.at(target)

    return copy


@pytest.fixture
def hall(dual_template: Root, copy_root: Callable[[Root], Root]) -> Root:
    """The usual machine, for one test alone."""
    return copy_root(dual_template)
