"""Reading what is as it was, in a fraction of the time: when that is done, and that nothing else is missed.

Both ways of reading: the volume of one machine is a FAT image, that of the other a folder in its mount table.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from bootwatch.keep.circumstances import unpacked
from bootwatch.keep.history import History
from bootwatch.keep.soundness import faults
from bootwatch.observe import answers
from bootwatch.places import Places
from bootwatch.service import again
from tests.formats.tools import patch
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER, Part, Root, program

pytestmark = pytest.mark.long

INITRD = b"\0initrd one" + bytes(100_000)
SETTINGS = b"timeout 5\n"
FILES = {
    FERNWICK_LOADER: program("fernwick 1"),
    "\\INITRD.IMG": INITRD,
    "\\loader\\loader.conf": SETTINGS,
}
MEGABYTES = 4


@dataclass
class Machine:
    """One machine, and how to reach what lies on its volume."""

    root: Root
    mounted: Path | None

    @property
    def places(self) -> Places:
        return Places.below(self.root.folder)

    def snapshot(self, *words: str) -> None:
        assert main(["--root", str(self.root.folder), "snapshot", *words]) == 0

    def is_again(self) -> bool:
        """Whether the next reading takes the short way."""
        return again.again(self.places, "asked") is not None

    def overwrite(self, was: bytes, now: bytes) -> None:
        """Put other bytes into a file, and leave its size, its times and its place as they are."""
        if self.mounted is None:
            image = self.root.image("vda")
            patch(image, image.read_bytes().index(was), now)
            return
        file = next(one for one in self.mounted.rglob("*") if one.is_file() and was in one.read_bytes())
        about = file.stat()
        patch(file, file.read_bytes().index(was), now)
        os.utime(file, ns=(about.st_atime_ns, about.st_mtime_ns))


def _machine(folder: Path, *, mounted: bool) -> Machine:
    root = Root(folder)
    root.disk("vda", [Part(FERNWICK_ESP, FILES, megabytes=MEGABYTES)])
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER)
    root.order(0)
    place = None
    if mounted:
        place = folder / "boot/efi"
        for path, data in FILES.items():
            file = place.joinpath(*path.strip("\\").split("\\"))
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(data)
        root.write("proc/self/mountinfo", "1 1 254:65 / /boot/efi rw - vfat /dev/vda1 rw\n")
    return Machine(root, place)


@pytest.fixture(params=["unmounted", "mounted"])
def machine(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    """A machine that was read once, whose files were all written long ago."""
    monkeypatch.setattr(answers, "_TICK", -1e6)
    made = _machine(tmp_path / "root", mounted=request.param == "mounted")
    made.snapshot()
    return made


def _published(run: Path) -> dict[str, object]:
    found: dict[str, object] = {}
    for file in run.iterdir():
        is_json = file.suffix == ".json"
        found[file.name] = json.loads(file.read_bytes()) if is_json else file.read_text()
    return found


def _damage(file: Path, was: str, now: str) -> None:
    text = file.read_text()
    assert was in text
    file.write_text(text.replace(was, now))


def _rows(machine: Machine) -> list[tuple[object, ...]]:
    with History.open(machine.places.history) as history:
        assert list(faults(history)) == []
        rows = history.database.execute(
            "SELECT number, boot_id, moment, circumstance, state, gaps, overview, baseline, result, content"
            " FROM snapshot JOIN prediction ON snapshot = number ORDER BY number"
        ).fetchall()
    return [(*row[:3], unpacked(row[3]) | {"time": "", "free_bytes": {}}, *row[4:]) for row in rows]


def test_it_leaves_what_a_full_reading_leaves(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--root", str(machine.root.folder), "baseline", "save", "--reason", "good"]) == 0
    machine.snapshot()
    copy = shutil.copytree(machine.root.folder, machine.root.folder.with_name("copy"), symlinks=True)
    full = Machine(machine.root.at(copy), None)
    (full.places.history / "answers.json").unlink()
    instant = (datetime.now(UTC) + timedelta(seconds=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    monkeypatch.setattr(again, "written", lambda _: instant)
    monkeypatch.setattr("bootwatch.observe.snapshot.utc_now", lambda: instant)
    capsys.readouterr()

    machine.snapshot("--moment", "shutdown")
    said = capsys.readouterr().out
    full.snapshot("--moment", "shutdown")

    assert capsys.readouterr().out == said == "Snapshot 4 recorded: no change from the baseline.\n"
    assert _rows(machine) == _rows(full)
    assert machine.places.run and full.places.run
    assert _published(machine.places.run) == _published(full.places.run)
    assert instant in (machine.places.run / "drift.json").read_text()
    assert machine.is_again()  # and so on


def test_programs_and_small_texts_are_read_each_time(machine: Machine) -> None:
    assert machine.is_again()
    machine.overwrite(b"fernwick 1", b"fernwick 2")
    assert not machine.is_again()
    machine.overwrite(b"fernwick 2", b"fernwick 1")
    if machine.mounted is None:  # through a mount, the time of the writing itself (ctime) shows
        assert machine.is_again()
        machine.overwrite(b"timeout 5", b"timeout 0")
        assert not machine.is_again()


def test_a_large_file_that_is_no_program_is_seen_to_change_by_what_is_around_it(machine: Machine) -> None:
    machine.overwrite(b"initrd one", b"initrd two")
    # Where nothing else tells, and only there, it is found the next day.
    assert machine.is_again() is (machine.mounted is None)


@pytest.mark.parametrize(
    ("at", "what"),
    [
        (14, "when it was made"),
        (18, "when it was read"),
        (22, "when it was changed"),
        (26, "its first cluster"),
        (28, "its size"),
        (11, "its attributes"),
    ],
)
def test_each_field_of_a_slot_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int, what: str
) -> None:
    """FAT specification 1.03, "Directory Structure"."""
    monkeypatch.setattr(answers, "_TICK", -1e6)
    machine = _machine(tmp_path / "root", mounted=False)
    machine.snapshot()
    image = machine.root.image("vda")
    data = image.read_bytes()
    slot = data.index(b"INITRD  IMG")
    assert machine.is_again()
    patch(image, slot + at, bytes([data[slot + at] ^ 1]))
    assert not machine.is_again(), what


def test_the_same_content_in_another_cluster_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even a file of the same name, size and times that was written anew."""
    monkeypatch.setattr(answers, "_TICK", -1e6)
    machine = _machine(tmp_path / "root", mounted=False)
    machine.snapshot()
    machine.root.put("vda", 1, "\\other", b"x" * 5000)
    machine.root.remove("vda", 1, "\\other")
    assert not machine.is_again()  # the slot of what was removed is still there to be seen


@pytest.mark.parametrize(
    "change",
    [
        lambda file, about: file.write_bytes(INITRD + b"x"),
        lambda file, about: os.utime(file, ns=(0, about.st_mtime_ns + 1)),
        lambda file, about: os.utime(file, ns=(0, about.st_mtime_ns)),
        lambda file, about: Path(shutil.copy2(file, file.with_name("b"))).replace(file),
    ],
    ids=["size", "mtime", "ctime", "inode"],
)
def test_each_face_of_a_mounted_file_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path, os.stat_result], object]
) -> None:
    monkeypatch.setattr(answers, "_TICK", -1e6)
    machine = _machine(tmp_path / "root", mounted=True)
    machine.snapshot()
    assert machine.mounted and machine.is_again()
    file = machine.mounted / "INITRD.IMG"
    change(file, file.stat())
    assert not machine.is_again()


@pytest.mark.parametrize(
    "change",
    [
        lambda one: one.root.start_again(),
        lambda one: one.root.variable("Timeout", b"\x09\0"),
        lambda one: one.root.write("proc/self/mountinfo", "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n\n"),
        lambda one: one.root.disk("vdb", [], slot=5),
        lambda one: one.root.write("etc/bootwatch/bootwatch.yaml", "machine: study"),
        lambda one: one.root.write("var/lib/bootwatch/baseline/log", "x"),
        lambda one: one.root.write("var/lib/bootwatch/restores/1/record.json", "{}"),
        lambda one: (one.places.run / "routes.json").unlink(),
        lambda one: (one.places.run / "motd").write_text("x"),
        lambda one: (one.places.history / "answers.json").write_text('{"given": '),
        lambda one: (one.places.history / "answers.json").write_text("[]"),
        lambda one: _damage(one.places.history / "answers.json", '"entries":', '"entriew":'),
        lambda one: _damage(one.places.history / "answers.json", '"said":', '"saie":'),
        lambda one: (one.places.history / "answers-last.json").unlink(),
    ],
    ids=[
        *("start", "variable", "mounts", "disk", "settings", "log", "restore"),
        *("published", "log-in", "torn", "nonsense", "a bit of one name", "a bit of another", "lost"),
    ],
)
def test_whatever_else_a_reading_goes_by_counts(
    machine: Machine, change: Callable[[Machine], object]
) -> None:
    assert machine.is_again()
    change(machine)
    assert not machine.is_again()


@pytest.mark.parametrize("moment", ["watch", "resume"])
def test_where_something_may_have_changed_everything_is_hashed(machine: Machine, moment: str) -> None:
    """A mounted FAT volume's times can all be put back; and another system may have run in between."""
    assert again.again(machine.places, moment) is None
    assert machine.is_again()


def test_a_sign_of_life_that_is_due_is_given_by_the_next_reading(machine: Machine) -> None:
    machine.root.write("etc/bootwatch/bootwatch.yaml", "sign_of_life: 1\n")
    assert main(["--root", str(machine.root.folder), "baseline", "save", "--reason", "good"]) == 0
    machine.snapshot("--no-tell")
    assert not machine.is_again()
    machine.snapshot()
    assert len(list(machine.places.spool.glob("*.json"))) == 1
    assert machine.is_again()


def test_another_writer_of_the_history_counts(machine: Machine) -> None:
    with History.open(machine.places.history) as history, history.transaction():
        history.import_log(["x"])
    assert not machine.is_again()


@pytest.mark.parametrize("seconds", [-1, 86400], ids=["back", "a day"])
@pytest.mark.parametrize("clock", ["time", "clock_gettime"])
def test_everything_is_hashed_once_a_day_by_either_clock(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, clock: str, seconds: int
) -> None:
    real: Callable[..., float] = getattr(time, clock)
    monkeypatch.setattr(time, clock, lambda *of: real(*of) + seconds)
    assert not machine.is_again()


def test_every_eighth_reading_is_a_full_one(machine: Machine) -> None:
    """As many as a full reading drops of the oldest: else the history would grow without end."""
    assert [machine.is_again() for _ in range(8)] == [True] * 7 + [False]
    machine.snapshot()
    assert machine.is_again()


def test_it_ends_with_the_day_that_the_code_for_the_phone_holds(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert machine.is_again()
    monkeypatch.setattr(again, "written", lambda _: "2030-05-06T07:08:09Z")
    assert not machine.is_again()


def test_what_must_be_told_is_never_passed_over(machine: Machine) -> None:
    assert main(["--root", str(machine.root.folder), "baseline", "save", "--reason", "good"]) == 0
    machine.root.variable_file("Boot0000").unlink()
    machine.snapshot()  # the alert opens
    machine.snapshot()
    assert not machine.is_again()


def test_what_was_written_just_now_may_change_unseen(tmp_path: Path) -> None:
    machine = _machine(tmp_path / "root", mounted=True)
    machine.snapshot()
    assert not machine.is_again()
