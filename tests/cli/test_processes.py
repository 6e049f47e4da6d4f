"""The main job's commands as processes: at a terminal, without rights or room, two at once, cut off."""

from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import sys

import pytest

from tests.cli.commands import Commands, quarry_updates
from tests.observe.faults import as_somebody
from tests.roots import QUARRY_ESP

pytestmark = pytest.mark.long


@pytest.mark.parametrize(("answer", "is_saved"), [("n", False), ("", False), ("y", True)])
def test_save_asks_at_a_terminal(bootwatch: Commands, answer: str, is_saved: bool) -> None:
    command = [sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder)]
    here, there = pty.openpty()
    os.write(here, f"{answer}\n".encode())
    done = subprocess.run(
        [*command, "baseline", "save", "--reason", "x"],
        stdin=there,
        capture_output=True,
        text=True,
        check=False,
    )
    os.close(there)
    os.close(here)
    assert done.returncode == 0
    assert "start as it should?" in done.stdout
    assert (bootwatch.root.folder / "var/lib/bootwatch/baseline/current.yaml").exists() is is_saved


def test_save_in_a_script_asks_nobody(bootwatch: Commands) -> None:
    command = [sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder)]
    save = [*command, "baseline", "save", "--reason", "x"]
    done = subprocess.run(save, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    assert done.returncode == 0 and "?" not in done.stdout
    assert bootwatch("drift").status == 0


def test_without_permission(bootwatch: Commands) -> None:
    bootwatch.save()
    for folder in (bootwatch.root.folder, *bootwatch.root.folder.parents):
        if str(folder) == "/tmp":
            break
        folder.chmod(0o755)
    (bootwatch.root.folder / "var/lib/bootwatch/history").chmod(0)
    command = [*as_somebody(), sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder)]
    (bootwatch.root.folder / "var/lib/bootwatch").chmod(0)
    for arguments in (["snapshot"], ["history"], ["drift"], ["baseline", "show"], []):
        done = subprocess.run(
            [*command, *arguments],
            capture_output=True,
            text=True,
            check=False,
            env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        )
        assert done.returncode == 3
        assert len(done.stderr.splitlines()) == 2 and "sudo" in done.stderr


def test_two_at_once_tell_once(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    command = [sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder), "snapshot"]
    processes = [subprocess.Popen(command, stdout=subprocess.DEVNULL) for _ in range(4)]
    assert [process.wait() for process in processes] == [0, 0, 0, 0]
    messages = list((bootwatch.root.folder / "var/lib/bootwatch/spool").glob("*.json"))
    assert len(messages) == 1
    assert len(bootwatch("history", "--json").document["snapshots"]) == 5


@pytest.mark.parametrize("when", range(1, 9))
def test_power_cut_in_the_middle(bootwatch: Commands, when: int) -> None:
    """Killed at one fsync or another, then looked at again: the news are there once, by one message id."""
    bootwatch.save()
    quarry_updates(bootwatch)
    root = str(bootwatch.root.folder)
    fault = f"inject=fsync,fdatasync:signal=KILL:when={when}"
    strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync,fdatasync", "-e", fault]
    command = [*strace, sys.executable, "-m", "bootwatch.cli", "--root", root, "snapshot"]
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    assert bootwatch("drift").status == 1
    assert bootwatch("snapshot").status == 0
    messages = list((bootwatch.root.folder / "var/lib/bootwatch/spool").glob("*.json"))
    assert len(messages) == 1
    assert len(json.loads(messages[0].read_text())["news"]) == 2


def test_label_that_the_terminal_cannot_show(bootwatch: Commands) -> None:
    bootwatch.root.entry(5, "Größe", QUARRY_ESP, "\\x.efi")
    bootwatch.root.order(0, 1, 2, 5)
    command = [sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder)]
    done = subprocess.run(
        [*command, "baseline", "save", "--reason", "x", "--yes"],
        capture_output=True,
        check=False,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 0, done.stderr
    assert b"Gr\\xf6\\xdfe" in done.stdout


def test_no_room_to_write_to(bootwatch: Commands) -> None:
    bootwatch.save()
    command = [sys.executable, "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder), "drift"]
    with open("/dev/full", "w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 3 and done.stderr.count("\n") == 1


def test_history_of_somebody_else_is_not_written(bootwatch: Commands) -> None:
    """Root neither follows the traps of whoever owns the folder nor records anything there."""
    if os.geteuid():
        pytest.fail("run the tests as root: this is about what root must not do")
    bootwatch.save()
    history = bootwatch.root.folder / "var/lib/bootwatch/history"
    victim = bootwatch.root.folder.parent / "victim"
    victim.mkdir()
    (victim / "precious").write_text("x")
    shutil.rmtree(history / "programs")
    (history / "programs").symlink_to(victim)
    os.chown(history, 12345, 12345)
    for command in (["snapshot"], ["baseline", "save", "--reason", "x", "--yes"]):
        said = bootwatch(*command)
        assert said.status == 3, said
    assert [path.name for path in victim.iterdir()] == ["precious"]


def test_spool_that_cannot_be_written(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    spool = bootwatch.root.folder / "var/lib/bootwatch/spool"
    spool.write_text("a file in its place")
    said = bootwatch("snapshot")
    assert said.status == 3 and "spool" in said.err
    spool.unlink()
    assert bootwatch("snapshot").status == 0
    assert len(list(spool.glob("*.json"))) == 1
