"""Recovery kits for tests: one that was made of the usual machine, and ways of editing one."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bootwatch.cli.main import main
from tests.recover.test_restore import good, machine
from tests.roots import Root

__all__ = ["good", "machine"]

HALL = "hall-20"  # and the date


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def made(good: Root, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A kit of the usual machine; never changed."""
    folder = tmp_path_factory.mktemp("made")
    assert main(["--root", str(good.folder), "baseline", "export", "--to", str(folder)]) == 0
    (found,) = folder.iterdir()
    assert found.name.startswith(HALL)
    return found


@pytest.fixture
def kit(made: Path, stick: Path) -> Path:
    return Path(shutil.copytree(made, stick / made.name))


def check_sums(kit: Path) -> None:
    """By stock tools: every file, and none more."""
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=kit, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    named = {line.split("  ", 1)[1] for line in (kit / "SHA256SUMS").read_text().splitlines()}
    here = {str(path.relative_to(kit)) for path in kit.rglob("*") if path.is_file()}
    assert here - named == {"SHA256SUMS"}


def bare(kit: Path, *arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The kit's program as a live system runs it: nothing but Python's own library, and no settings."""
    command = [sys.executable, "-I", "-S", str(kit / "bootwatch.pyz"), *arguments]
    done = subprocess.run(
        ["env", "-i", "PATH=/usr/bin:/bin", *command], cwd=cwd, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    return done


def edited(kit: Path, to: Path, change: Callable[[dict[str, Any]], dict[str, Any]]) -> Path:
    """A copy whose about.json was changed, and its sum with it."""
    shutil.copytree(kit, to)
    about = to / "about.json"
    about.write_text(json.dumps(change(json.loads(about.read_text()))))
    sums = (to / "SHA256SUMS").read_text().splitlines()
    kept = [line for line in sums if not line.endswith("  about.json")]
    kept.append(f"{hashlib.sha256(about.read_bytes()).hexdigest()}  about.json")
    (to / "SHA256SUMS").write_text("\n".join(kept) + "\n")
    return to


def resummed(kit: Path, name: str, text: str) -> None:
    former = hashlib.sha256((kit / name).read_bytes()).hexdigest()
    (kit / name).write_text(text)
    sums = (kit / "SHA256SUMS").read_text()
    (kit / "SHA256SUMS").write_text(sums.replace(former, hashlib.sha256(text.encode()).hexdigest()))


def flipped_bit(kit: Path) -> None:
    file = next(kit.glob("volumes/*/EFI/fernwick/*.efi"))
    data = bytearray(file.read_bytes())
    data[-1] ^= 1
    file.write_bytes(data)
