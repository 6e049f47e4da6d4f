"""The watch as a process, on folders that stand for a machine; waited for by what it says to systemd."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bootwatch.observe.machine import Machine
from bootwatch.service.watch import Watch
from bootwatch.service.watch_ask import RequestFile

PROJECT = Path(__file__).parents[2]
# With a shorter wait than the real one's.
PROGRAM = """\
import sys; sys.path.insert(0, {project!r})
from pathlib import Path
from bootwatch.observe.machine import Machine
from bootwatch.service.watch import Watch
from bootwatch.service.watch_ask import RequestFile
from bootwatch.service.watch_settle import Settling
sys.exit(Watch(Machine(sys.argv[1]), RequestFile(Path(sys.argv[1], "asked")), Settling({quiet}, 20)).run())
"""
HEAVY = {
    *("yaml", "sqlite3", "json", "apprise", "argparse", "systemd", "hashlib", "uuid", "http", "asyncio"),
    *("email", "xml", "unittest", "cryptography", "multiprocessing", "zipfile", "decimal", "datetime"),
}
MOUNTED = "1 1 8:2 / / rw - ext4 /dev/sda2 rw\n2 1 8:1 / /boot/efi rw - vfat /dev/sda1 rw\n"
SECOND = "3 1 8:17 / /efi rw - vfat /dev/sdb1 rw\n"
SILENCE = 60


def put(path: Path, text: str) -> None:
    """Write a file as a whole, which the kernel's mount table always is."""
    path.with_name("new").write_text(text)
    path.with_name("new").rename(path)


def firsts(said: str) -> list[str]:
    """What each question was put for, without how much more there was: that depends on who is faster."""
    return [line.removesuffix(": asking for a reading").split(" and ")[0] for line in said.splitlines()]


class Running:
    """One watch; ``heard`` is what it told the manager, line by line."""

    def __init__(self, root: Path, quiet: float = 0.05) -> None:
        self.root = root
        (root / "notify").unlink(missing_ok=True)
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(root / "notify"))
        self.manager.settimeout(SILENCE)
        self.heard: list[str] = []
        program = PROGRAM.format(project=str(PROJECT), quiet=quiet)
        environment = {**os.environ, "NOTIFY_SOCKET": str(root / "notify"), "WATCHDOG_USEC": "0"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", program, root], env=environment, stderr=subprocess.PIPE, text=True
        )
        self.until(lambda line: line == "READY=1")
        self.until(lambda line: line.startswith("STATUS="))

    def until(self, is_it: Callable[[str], bool]) -> str:
        """Wait until it says something."""
        while True:
            for place, line in enumerate(self.heard):
                if is_it(line):
                    del self.heard[: place + 1]
                    return line
            self.heard += self.manager.recv(1 << 16).decode().splitlines()

    def asked(self, number: int) -> str:
        """Wait until it asked so often; what else it says then."""
        end = "a reading" if number == 1 else f"{number} readings"
        return self.until(lambda line: line.endswith(f"Asked for {end} since it began."))

    def end(self) -> str:
        """What it said for the journal."""
        self.process.send_signal(signal.SIGTERM)
        said = self.process.communicate(timeout=SILENCE)[1]
        self.manager.close()
        assert self.process.returncode == 0, said
        return said


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for folder in ("sys/firmware/efi/efivars", "etc", "dev/disk/by-partuuid", "run/bootwatch", "proc/self"):
        (tmp_path / folder).mkdir(parents=True)
    for folder in ("boot/efi/EFI/fernwick", "efi/EFI/quarry", "asked"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "proc/self/mountinfo").write_text(MOUNTED)
    (tmp_path / "boot/efi/EFI/fernwick/loaderx64.efi").write_bytes(b"MZ")
    return tmp_path


@pytest.fixture
def start(root: Path) -> Iterator[Callable[..., Running]]:
    begun: list[Running] = []

    def starting(quiet: float = 0.05) -> Running:
        begun.append(Running(root, quiet))
        return begun[-1]

    yield starting
    for one in begun:
        one.process.kill()
        one.process.communicate()
        one.manager.close()


def test_nothing_heavy_stays_in_memory() -> None:
    program = "import sys, bootwatch.service.watch; print(*{name.partition('.')[0] for name in sys.modules})"
    loaded = subprocess.run(
        [sys.executable, "-c", program], cwd=PROJECT, capture_output=True, text=True, check=True
    )
    assert "watchdog" in loaded.stdout.split()
    assert not HEAVY & {*loaded.stdout.split()}


@pytest.mark.long
def test_everything_that_is_watched(root: Path, start: Callable[..., Running]) -> None:
    watch = start()
    (root / "boot/efi/EFI/fernwick/loaderx64.efi").unlink()
    watch.asked(1)
    (root / "sys/firmware/efi/efivars/Boot0001-x").write_bytes(b"1")
    watch.asked(2)
    said = watch.end()
    assert f"{root}/boot/efi/EFI/fernwick/loaderx64.efi deleted: asking for a reading" in said
    assert f"{root}/sys/firmware/efi/efivars/Boot0001-x created" in said

    watch = start()
    # After a start of the watch alone, nobody else sees what changed while there was none.
    watch.asked(1)
    (root / "etc/hosts").write_text("nobody's business")
    (root / "etc/fstab.new").write_text("")
    (root / "etc/fstab.new").rename(root / "etc/fstab")
    watch.asked(2)
    said = watch.end()
    assert "nobody watched for a while: asking" in said
    assert f"{root}/etc/fstab" in said and "hosts" not in said

    watch = start()
    watch.asked(1)
    (root / "dev/disk/by-partuuid/0a").symlink_to("../../sdb1")
    watch.asked(2)
    assert f"{root}/dev/disk/by-partuuid/0a created" in watch.end()


@pytest.mark.long
def test_mounts_and_folders_that_come_new(root: Path, start: Callable[..., Running]) -> None:
    watch = start()
    put(root / "proc/self/mountinfo", MOUNTED + "9 1 0:50 / /srv rw - tmpfs tmpfs rw\n" + SECOND)
    assert "the boot volume at /efi," in watch.asked(1)
    (root / "efi/EFI/new/a/b").mkdir(parents=True)
    watch.asked(2)
    (root / "efi/EFI/new/a/b/late.efi").write_bytes(b"MZ")
    watch.asked(3)
    put(root / "proc/self/mountinfo", MOUNTED)
    assert "/efi," not in watch.asked(4).replace("/boot/efi,", "")
    assert [one.removeprefix(str(root)) for one in firsts(watch.end())] == [
        "/efi mounted",
        "/efi/EFI/new created",
        "/efi/EFI/new/a/b/late.efi created",
        "/efi unmounted",
    ]


@pytest.mark.long
def test_who_reads_and_what_else_is_mounted_is_no_change(root: Path, start: Callable[..., Running]) -> None:
    watch = start()
    loader = root / "boot/efi/EFI/fernwick/loaderx64.efi"
    for _ in range(3):
        loader.read_bytes()
        os.listdir(loader.parent)
    put(root / "proc/self/mountinfo", MOUNTED + "9 1 0:50 / /srv rw - tmpfs tmpfs rw\n")
    put(root / "run/bootwatch/volumes", "gpt:0a\n")
    watch.process.send_signal(signal.SIGHUP)
    watch.asked(1)
    assert watch.end() == "the settings were loaded again: asking for a reading\n", "and nothing more"


@pytest.mark.long
def test_what_the_reader_finds_to_be_a_boot_volume_is_read_once_more(
    root: Path, start: Callable[..., Running]
) -> None:
    (root / "mnt").mkdir()
    (root / "dev/disk/by-partuuid/0a").symlink_to("../../sdb1")
    put(root / "proc/self/mountinfo", MOUNTED + SECOND.replace("/efi", "/mnt"))
    watch = start()
    put(root / "run/bootwatch/volumes", "gpt:0a\n")
    assert "the boot volume at /mnt," in watch.asked(1)
    assert firsts(watch.end()) == ["/mnt mounted"]


@pytest.mark.long
def test_one_that_was_unmounted_and_is_back_already_is_watched_anew(
    root: Path, start: Callable[..., Running]
) -> None:
    watch = start()
    put(root / "proc/self/mountinfo", MOUNTED.replace("2 1 8:1", "7 1 8:1"))
    watch.asked(1)
    assert firsts(watch.end()) == ["/boot/efi mounted"]


@pytest.mark.long
def test_folders_too_deep_to_be_followed(root: Path, start: Callable[..., Running]) -> None:
    """Deeper than Python may call itself."""
    watch = start()
    try:
        put_folders(root / "boot/efi", 1200)
        said = watch.until(lambda line: "Can't watch" in line)
        watch.end()
    finally:
        # pytest's own way of taking it away calls itself, too.
        subprocess.run(["rm", "-r", root / "boot"], check=True)
    assert f"Can't watch {root}/boot/efi (more than 5000 folders, or 200 one in another)." in said


def put_folders(top: Path, number: int) -> None:
    """One in another."""
    handle = os.open(top, os.O_RDONLY)
    for _ in range(number):
        os.mkdir("d", dir_fd=handle)
        below = os.open("d", os.O_RDONLY, dir_fd=handle)
        os.close(handle)
        handle = below
    os.close(handle)


@pytest.mark.long
def test_where_no_reading_can_be_asked_for_it_gives_up(root: Path, start: Callable[..., Running]) -> None:
    """Whoever is started again may see a folder that was made anew (systemd.exec(5), ReadWritePaths=)."""
    shutil.rmtree(root / "asked")
    watch = start(quiet=0.005)
    assert watch.process.wait(SILENCE) == 1
    assert watch.process.stderr
    why = "No reading can be asked for: No such file or directory\n"
    assert watch.process.stderr.read() == f"nobody watched for a while: asking for a reading\n{why}{why}"


def test_a_dead_observer_is_told_of_once(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("signal.signal", lambda number, handler: None)
    monkeypatch.setattr("signal.set_wakeup_fd", lambda handle, warn_on_full_buffer: None)
    watch = Watch(Machine(root), RequestFile(root / "asked"))
    monkeypatch.setattr(type(watch.folders), "is_alive", False)
    watch._take_news()
    due = watch.settling.due
    assert due
    watch._take_news()
    # Nothing puts it off, and nothing wakes it before.
    assert (watch.settling.due, watch._timeout(due - 1), watch._poll.poll(0)) == (due, 1001, [])


@pytest.mark.long
@pytest.mark.skipif(os.geteuid() != 0, reason="the limit is each user's own; another user takes root")
def test_what_cant_be_watched_is_said(root: Path, start: Callable[..., Running]) -> None:
    watch = start()
    shutil.rmtree(root / "asked")
    (root / "boot/efi/EFI/fernwick/loaderx64.efi").unlink()
    said = watch.until(lambda line: "No reading can be asked for" in line)
    why = "No reading can be asked for (No such file or directory); that is tried again."
    assert said.startswith(f"STATUS={why} Watching")
    # What goes on being watched although the rest went away: nothing else has to happen.
    (root / "asked").mkdir()
    watch.asked(1)
    assert watch.end().count("asking for a reading") == 1


@pytest.mark.long
def test_a_burst_is_one_question(root: Path, start: Callable[..., Running]) -> None:
    watch = start(quiet=1.0)
    folder = root / "boot/efi/EFI/updated"
    folder.mkdir()
    for number in range(12):
        (folder / f"{number}.new").write_bytes(b"MZ")
        (folder / f"{number}.new").rename(folder / f"{number}.efi")
    watch.asked(1)
    (said,) = watch.end().splitlines()
    assert said.startswith(f"{folder} created and ") and said.endswith(" more: asking for a reading")
