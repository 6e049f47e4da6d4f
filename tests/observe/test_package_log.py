"""What the package manager did between two snapshots: by position in its log, across rotation."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from bootwatch.model.gap import Reason
from bootwatch.model.package import Action, LogMark, PackageChange
from bootwatch.model.snapshot import Circumstance, Moment
from bootwatch.observe import package_log
from bootwatch.observe.machine import Machine
from bootwatch.observe.package_log import PackageLog, read_package_log
from bootwatch.observe.snapshot import observe
from tests.formats.tools import run
from tests.roots import Root

DPKG, FORMER = "var/log/dpkg.log", "var/log/dpkg.log.1"


class Log:
    """The log of a machine that is nothing but its package manager."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "var/log").mkdir(parents=True)
        self.mark: LogMark | None = None

    def add(self, *packages: str, log: str = DPKG) -> None:
        """Packages of version 1 are installed. The clock stands still."""
        with (self.folder / log).open("a") as file:
            file.writelines(f"2026-11-27 00:00:00 install {package}:all <none> 1\n" for package in packages)

    def rotate(self) -> None:
        (self.folder / DPKG).rename(self.folder / FORMER)

    def read(self) -> PackageLog:
        found = read_package_log(Machine(self.folder), self.mark)
        self.mark = found.mark
        return found

    def news(self) -> list[str]:
        found = self.read()
        assert found.gaps == []
        return [change.package for change in found.packages]


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return Log(tmp_path)


def test_only_what_came_since(log: Log) -> None:
    log.add("old", "older")
    assert log.news() == []
    assert log.news() == []
    log.add("new", "newer")
    assert log.news() == ["new", "newer"]
    assert log.news() == []


def test_log_that_is_rotated_meanwhile(log: Log) -> None:
    log.add("old")
    log.read()
    log.add("before")
    log.rotate()
    log.add("after")
    assert log.news() == ["before", "after"]
    log.add("later")
    assert log.news() == ["later"]


def test_rotated_and_nothing_logged_since(log: Log) -> None:
    log.add("old")
    log.read()
    log.add("before")
    log.rotate()
    assert log.news() == ["before"]
    assert log.news() == []
    log.add("after")
    assert log.news() == ["after"]


def test_longer_than_before_and_yet_another_log(log: Log) -> None:
    log.add("old")
    log.read()
    log.rotate()
    log.add("after", "another", "and-one-more")
    assert log.news() == ["after", "another", "and-one-more"]


def test_rotated_twice_tells_what_the_new_one_holds(log: Log) -> None:
    log.add("old")
    log.read()
    log.add("lost")
    log.rotate()
    log.add("unsure")
    log.rotate()
    log.add("after")
    assert log.news() == ["after"]


def test_emptied_in_place(log: Log) -> None:
    log.add("old", "older")
    log.read()
    (log.folder / DPKG).write_bytes(b"")
    assert log.news() == []
    log.add("after")
    assert log.news() == ["after"]


def test_line_that_is_being_written_waits(log: Log) -> None:
    log.add("old")
    whole = b"2026-11-27 00:00:00 install half:all <none> 1\n"
    with (log.folder / DPKG).open("ab") as file:
        file.write(whole[:30])
        file.flush()
        assert log.news() == []
        file.write(whole[30:-1])
        file.flush()
        assert log.news() == []
        file.write(whole[-1:])
    assert log.news() == ["half"]


def test_of_a_long_log_the_newest_is_read(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(package_log, "_MOST_BYTES", 4096)
    log.add("old")
    log.read()
    log.add("too-old")
    with (log.folder / DPKG).open("a") as file:
        file.write("2026-11-27 00:00:00 status installed noise:all 1\n" * (4096 // 49))
    log.add("new")
    assert log.news() == ["new"]
    assert log.mark and log.mark.size == (log.folder / DPKG).stat().st_size


def test_machine_without_a_log_keeps_its_mark(log: Log) -> None:
    assert log.read() == PackageLog(None)
    log.add("old")
    log.read()
    mark = log.mark
    (log.folder / DPKG).unlink()
    assert log.read() == PackageLog(mark)
    log.add("after")
    assert log.news() == ["after"]


def test_the_larger_log_is_the_systems_own_and_is_followed(log: Log) -> None:
    log.add("tool")
    (log.folder / "var/log/pacman.log").write_text("[d] [ALPM] installed kernel (6.1-1)\n" * 9)
    assert log.news() == []
    assert log.mark and log.mark.log == "var/log/pacman.log"
    log.add(*map(str, range(99)))
    assert log.news() == []
    assert log.mark.log == "var/log/pacman.log"


def test_another_package_manager_than_before_is_only_marked(log: Log) -> None:
    log.add("old")
    log.mark = LogMark("var/log/pacman.log", 100, "0" * 64)
    assert log.news() == []
    log.add("new")
    assert log.news() == ["new"]


def test_mark_of_a_log_that_is_not_known_any_more(log: Log) -> None:
    log.add("old")
    log.mark = LogMark("etc/shadow", 100, "0" * 64)
    assert log.news() == []
    assert log.mark and log.mark.log == DPKG


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give rights up")
@pytest.mark.parametrize(("closed", "told"), [(DPKG, []), (FORMER, ["after"])])
def test_log_that_may_not_be_read_is_a_gap(log: Log, closed: str, told: list[str]) -> None:
    log.add("old")
    log.read()
    log.add("before")
    log.rotate()
    log.add("after")
    (log.folder / closed).chmod(0)
    for folder in (log.folder, *log.folder.parents[:-2]):
        folder.chmod(0o755)
    mark = log.mark
    os.seteuid(65534)
    try:
        found = log.read()
    finally:
        os.seteuid(0)
    assert [change.package for change in found.packages] == told
    assert [(gap.name, gap.reason) for gap in found.gaps] == [(closed, Reason.DENIED)]
    assert (found.mark == mark) == (closed == DPKG)


def test_what_dpkg_itself_logs(tmp_path: Path) -> None:
    """dpkg installs and updates a package of one file into a folder of its own."""
    machine = tmp_path / "machine"
    for folder in ("info", "updates", "triggers"):
        (machine / "var/lib/dpkg" / folder).mkdir(parents=True)
    (machine / "var/log").mkdir(parents=True)
    for name in ("status", "available"):
        (machine / "var/lib/dpkg" / name).touch()
    where = (f"--root={machine}", f"--log={machine / DPKG}", "--force-not-root", "--force-unsafe-io")
    run("dpkg", *where, "-i", built(tmp_path, "1.1"))
    first = read_package_log(Machine(machine), None)
    run("dpkg", *where, "-i", built(tmp_path, "1.2"))
    second = read_package_log(Machine(machine), first.mark)
    run("dpkg", *where, "-r", "fernwick-loader")
    third = read_package_log(Machine(machine), second.mark)
    assert first.packages == ()
    assert second.packages == (PackageChange(Action.UPDATED, "fernwick-loader", "1.1", "1.2"),)
    assert third.packages == (PackageChange(Action.REMOVED, "fernwick-loader", "1.2", ""),)


def built(folder: Path, version: str) -> Path:
    content = folder / version
    (content / "DEBIAN").mkdir(parents=True)
    (content / "loader").write_text(version)
    (content / "DEBIAN/control").write_text(
        f"Package: fernwick-loader\nVersion: {version}\nArchitecture: all\n"
        "Maintainer: Hall <hall@example.org>\nDescription: starts a system\n"
    )
    package = folder / f"{version}.deb"
    run("dpkg-deb", "--root-owner-group", "-Znone", "-b", content, package)
    return package


def test_snapshots_go_on_where_the_last_one_stopped(tmp_path: Path) -> None:
    hall = Root(tmp_path)
    log = hall.write(DPKG, "2026-11-27 00:00:00 install old:all <none> 1")
    before = observe(Machine(hall.folder), Moment.BOOT).circumstance
    assert (before.packages, before.package_log and before.package_log.log) == ((), DPKG)
    with log.open("a") as file:
        file.write("2026-11-27 00:00:00 upgrade kernel:amd64 6.1 6.2\n")
    kept = Circumstance.from_json(before.to_json())
    now = observe(Machine(hall.folder), Moment.SHUTDOWN, last=kept).circumstance
    assert [change.package for change in now.packages] == ["kernel"]
    assert Circumstance.from_json(now.to_json()) == now
