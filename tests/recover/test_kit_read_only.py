"""A kit on a stick that can't be written: what was lost comes back, and what was there can be put back."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.roots import QUARRY_LOADER, Root

pytestmark = [pytest.mark.long, pytest.mark.skipif(os.geteuid() != 0, reason="mounting is root's")]
READ_ONLY = 'mount --bind "$0" "$0" && mount -o remount,ro,bind "$0" && ! touch "$0/x" && exec "$@"'


def test_read_only_stick(hall: Root, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    machine = Commands(hall, capsys)
    machine.save()
    stick = tmp_path / "stick"
    stick.mkdir()
    kit = machine("baseline", "export", "--to", str(stick), "--json").document["kit"]
    hall.remove("vdb", 1, QUARRY_LOADER)
    shutil.rmtree(hall.folder / "var/lib/bootwatch")

    def program(*words: str) -> subprocess.CompletedProcess[str]:
        alone = [sys.executable, "-I", "-S", f"{kit}/bootwatch.pyz", "--root", str(hall.folder)]
        command = ["unshare", "-m", "sh", "-c", READ_ONLY, str(stick), *alone, *words, "--kit", kit]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    done = program("restore", "--write", "--yes")
    assert done.returncode == 0, done.stderr
    assert f"recorded in {hall.folder}/var/lib/bootwatch-records/" in done.stderr
    assert program("drift").returncode == 0
    assert program("restore", "--undo", "--yes").returncode == 0
    assert "loader-missing" in program("drift", "--json").stdout
