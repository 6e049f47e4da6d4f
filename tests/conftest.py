"""Fixtures that more than one room uses."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.roots import Root, dual


@pytest.fixture(scope="session")
def dual_template(tmp_path_factory: pytest.TempPathFactory) -> Root:
    """The usual machine, built once; never changed."""
    return dual(tmp_path_factory.mktemp("template") / "machine")


def _copy_data(source: str, target: str) -> None:
    """Copy a file and leave its holes what they are: disk images are nearly empty."""
    with open(source, "rb") as old, open(target, "wb") as new:
        at, end = 0, os.fstat(old.fileno()).st_size
        while at < end:
            try:
                at = os.lseek(old.fileno(), at, os.SEEK_DATA)
            except OSError:  # no more data
                break
            hole = os.lseek(old.fileno(), at, os.SEEK_HOLE)
            os.lseek(new.fileno(), at, os.SEEK_SET)
            at += os.sendfile(new.fileno(), old.fileno(), at, hole - at)
        new.truncate(end)
    shutil.copystat(source, target)


@pytest.fixture
def copy_root(tmp_path: Path) -> Callable[[Root], Root]:
    """Makes a machine of one's own out of a template."""

    def copy(template: Root) -> Root:
        target = tmp_path / "machine"
        shutil.copytree(template.folder, target, symlinks=True, copy_function=_copy_data)
        return template.at(target)

    return copy


@pytest.fixture
def hall(dual_template: Root, copy_root: Callable[[Root], Root]) -> Root:
    """The usual machine, for one test alone."""
    return copy_root(dual_template)
