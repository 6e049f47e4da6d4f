"""The package builds with the newest build tools and with the distribution's own."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]
BUILD = "import sys; from setuptools import build_meta; print(build_meta.build_wheel(sys.argv[1]))"


def copy_sources(folder: Path) -> None:
    for name in ("README.md", "pyproject.toml"):
        shutil.copy(CHECKOUT / name, folder)
    (folder / "packaging").mkdir()
    shutil.copy(CHECKOUT / "packaging/LICENSE", folder / "packaging")
    shutil.copytree(
        CHECKOUT / "bootwatch", folder / "bootwatch", ignore=shutil.ignore_patterns("__pycache__")
    )


@pytest.mark.long
@pytest.mark.parametrize("python", [sys.executable, "/usr/bin/python3"], ids=["newest", "distribution"])
def test_a_wheel_builds(tmp_path: Path, python: str) -> None:
    sources = tmp_path / "sources"
    sources.mkdir()
    copy_sources(sources)
    # Not -I: the source folder has to be found, as the build tools find it.
    result = subprocess.run([python, "-c", BUILD, str(tmp_path)], cwd=sources, text=True, capture_output=True)
    assert result.returncode == 0, result.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
        starter = next(name for name in names if name.endswith("entry_points.txt"))
        assert "bootwatch = bootwatch.cli.main:main" in archive.read(starter).decode()
    files = {str(path.relative_to(sources)) for path in (sources / "bootwatch").rglob("*") if path.is_file()}
    assert files <= set(names)
    assert any(name.endswith("LICENSE") for name in names)
