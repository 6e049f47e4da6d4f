"""What is said when a unit fails or none runs at all: by plain shell, whatever is missing."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

UNITS = Path(__file__).parents[2] / "units"
OWN = "bootwatch-failed@.service"
OURS = sorted(unit.name for unit in UNITS.glob("*.service") if unit.name != OWN)
READER = "bootwatch-read@boot.service"


def sh(script: str, *arguments: str | Path, **variables: str) -> str:
    """What a script of ours says in an empty environment."""
    given = [f"{name}={value}" for name, value in variables.items()]
    command = ["env", "-i", *given, "dash", UNITS / script, *arguments]
    done = subprocess.run(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=True)
    return done.stdout


def failed(root: Path, unit: str, result: str = "exit-code", status: str = "1") -> str:
    return sh("failed", unit, root, MONITOR_SERVICE_RESULT=result, MONITOR_EXIT_STATUS=status)


@pytest.mark.parametrize("name", OURS)
def test_each_unit_is_told_of_and_takes_it_back(name: str) -> None:
    lines = (UNITS / name).read_text().splitlines()
    assert "OnFailure=bootwatch-failed@%n.service" in lines
    # The one that only runs when the machine goes off leaves no line in /run.
    is_started = any(line.startswith("ExecStart=") for line in lines)
    assert ("ExecStartPost=+-/bin/rm -f /run/motd.d/62-%p" in lines) == is_started
    assert is_started or name == "bootwatch-shutdown.service"


def test_it_runs_on_the_way_down_too(tmp_path: Path) -> None:
    lines = (UNITS / "bootwatch-failed@.service").read_text().splitlines()
    # A template's own slice conflicts with the shutdown (systemd.slice(5), "Default Dependencies").
    assert {"DefaultDependencies=no", "Before=shutdown.target", "Slice=system.slice"} <= {*lines}
    said = failed(tmp_path, "bootwatch-shutdown.service")
    assert "journalctl -b -1 -u" in said  # who reads it has started the machine again


@pytest.mark.long
# systemd.exec(5), "Process exit codes": 203 EXEC, 217 USER, 226 NAMESPACE. 70 is the starter's own.
@pytest.mark.parametrize(
    ("result", "status", "why", "mend"),
    [
        ("exit-code", "203", "Python or the program", "apt install python3"),
        ("exit-code", "70", "The program in /usr/local/lib/bootwatch", "journalctl -b -u"),
        ("exit-code", "226", "One of its folders", "systemd-tmpfiles --create"),
        ("exit-code", "217", "Its user or group", "systemd-sysusers"),
        ("exit-code", "3", f"{READER} ended", f"journalctl -b -u '{READER}'"),
        ("timeout", "", "It took too long", "journalctl"),
    ],
)
def test_why_and_how_to_mend_it(tmp_path: Path, result: str, status: str, why: str, mend: str) -> None:
    said = failed(tmp_path, READER, result, status)
    head, cause, what, then = said.splitlines()
    assert head == "bootwatch does not see what this machine starts from."
    assert cause.startswith("  Since 20") and f" UTC. {why}" in cause
    assert mend in what and then == f"  When that is done: sudo systemctl start '{READER}'"
    assert max(map(len, said.splitlines())) <= 100
    (shown,) = (tmp_path / "run/motd.d").iterdir()
    assert (shown.name, shown.read_text()) == ("62-bootwatch-read", said)


def test_what_fails_again_is_said_once_and_since_the_first_time(tmp_path: Path) -> None:
    failed(tmp_path, READER)
    shown = tmp_path / "run/motd.d/62-bootwatch-read"
    first = shown.read_text().splitlines()[1].partition(". ")[0]
    shown.write_text(shown.read_text().replace(first, "  Since 2026-11-25 07:12 UTC"))
    assert "  Since 2026-11-25 07:12 UTC. It took" in failed(
        tmp_path, "bootwatch-read@watch.service", "timeout"
    )
    assert [one.name for one in (tmp_path / "run/motd.d").iterdir()] == ["62-bootwatch-read"]


def test_a_name_with_odd_signs_is_only_a_name(tmp_path: Path) -> None:
    said = failed(tmp_path, "bootwatch-kit-to@mnt-$(touch x)\\x2d;stick.service")
    assert said.startswith("bootwatch does not keep the recovery kit up to date.\n")
    assert [one.name for one in (tmp_path / "run/motd.d").iterdir()] == ["62-bootwatch-kit-to"]


@pytest.mark.long
@pytest.mark.parametrize(
    ("up", "there", "is_said"),
    [
        ("3600.11 7000.02", [], True),
        ("3599.99 7000.02", [], False),
        ("90000.00 1.00", ["run/bootwatch/routes.json"], False),
        ("90000.00 1.00", ["run/motd.d/62-bootwatch-read"], False),
        ("90000.00 1.00", ["run/bootwatch/send/motd"], True),
        ("", [], False),
    ],
)
def test_at_log_in_where_nothing_runs(tmp_path: Path, up: str, there: list[str], is_said: bool) -> None:
    for path, text in {"proc/uptime": f"{up}\n" if up else "", **dict.fromkeys(there, "")}.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text)
    assert sh("log-in", tmp_path) == ""  # no UEFI: nothing is to be looked at
    (tmp_path / "sys/firmware/efi/efivars").mkdir(parents=True)
    said = sh("log-in", tmp_path)
    assert said.startswith("bootwatch has not looked at this machine since it was started.\n") == is_said
    assert is_said or not said


@pytest.mark.long
def test_at_log_in_what_they_left_is_shown(tmp_path: Path) -> None:
    (tmp_path / "run/bootwatch/send").mkdir(parents=True)
    (tmp_path / "run/bootwatch/motd").write_text("bootwatch: gl\u00fcck\n  Seen.\n")
    (tmp_path / "run/bootwatch/send/motd").write_text("nobody is told\n")
    assert sh("log-in", tmp_path) == "bootwatch: gl\u00fcck\n  Seen.\nnobody is told\n"


@pytest.mark.long
def test_at_log_in_whatever_they_left_holds_nobody_up(tmp_path: Path) -> None:
    """Somebody took over the reader, or the sender."""
    run = tmp_path / "run/bootwatch"
    (run / "send").mkdir(parents=True)
    os.mkfifo(run / "motd")
    (run / "send/motd").symlink_to("/etc/passwd")
    assert sh("log-in", tmp_path) == ""
    (run / "motd").unlink()
    (run / "motd").write_text("a\x1b[2Jb\x9bc\u202ed\u2066e\rf\0g\n")
    assert sh("log-in", tmp_path) == "a?[2Jb?c?d?e?f?g\n"
    with (run / "motd").open("w") as file:
        file.write("x" * 5000)
        file.truncate(1 << 40)
    assert sh("log-in", tmp_path) == "x" * 4096


@pytest.mark.long
@pytest.mark.parametrize("missing", ["date", "sed", "mkdir", "mv"])
def test_it_is_said_without_the_smallest_tools_too(tmp_path: Path, missing: str) -> None:
    tools, root = tmp_path / "tools", tmp_path / "root"
    tools.mkdir()
    (root / "run/motd.d").mkdir(parents=True)
    for name in {"date", "sed", "mkdir", "mv", "rm"} - {missing}:
        (tools / name).symlink_to(str(shutil.which(name)))
    command: list[str | Path] = [str(shutil.which("dash")), UNITS / "failed", READER, root]
    said = subprocess.run(
        command, env={"PATH": str(tools)}, capture_output=True, text=True, check=True
    ).stdout
    assert said.startswith("bootwatch does not see what this machine starts from.")
    assert ("Since 20" in said) == (missing != "date") and "Since ." not in said
    (shown,) = (file for file in root.rglob("*") if file.is_file())
    assert shown == root / "run/motd.d/62-bootwatch-read" and shown.read_text() == said


@pytest.mark.long
def test_what_was_said_before_stays_where_nothing_can_be_written(tmp_path: Path) -> None:
    before = failed(tmp_path, READER)
    kept = tmp_path / "run/motd.d/62-bootwatch-read"
    full = "ulimit -f 0; trap '' XFSZ; exec dash"  # as on a full /run: no file gets any byte
    subprocess.run(["dash", "-c", f'{full} "$@"', "-", UNITS / "failed", READER, tmp_path], check=False)
    assert kept.read_text() == before
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [kept.name]
