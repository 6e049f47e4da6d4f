"""What a restore refuses before its first write, and where it stops: just what it says is done."""

from __future__ import annotations

import errno
import json
import os
import shutil
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bootwatch.cli.main import main
from bootwatch.observe import variable_store
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.recover import record, variables
from bootwatch.service.restore import write
from tests.cli.commands import Commands
from tests.recover.cut_off import Mounted, mount_first, stopped
from tests.roots import DEFAULT_LOADER, FERNWICK_LOADER, GLOBAL, Root

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def damaged(dual_template: Root, tmp_path_factory: pytest.TempPathFactory) -> Root:
    """The usual machine, its first volume mounted; a loader's folder, a default file, an entry are lost."""
    top = tmp_path_factory.mktemp("refused") / "machine"
    shutil.copytree(dual_template.folder, top, symlinks=True)
    mounted = mount_first(dual_template.at(top))
    mounted.file("\\EFI\\fernwick\\settings.conf").unlink()
    main(["--root", str(top), "baseline", "save", "--reason", "all start", "--yes"])
    shutil.rmtree(mounted.file(FERNWICK_LOADER).parent)
    mounted.file(DEFAULT_LOADER).write_bytes(b"")
    mounted.root.variable_file("Boot0001").unlink()
    mounted.root.order(0, 2)
    return mounted.root


@pytest.fixture
def machine(damaged: Root, copy_root: Callable[[Root], Root], capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(copy_root(damaged), capsys)


@pytest.fixture
def mounted(machine: Commands) -> Mounted:
    return Mounted(machine.root)


def restores(machine: Commands) -> list[str]:
    top = machine.root.folder / "var/lib/bootwatch/restores"
    return sorted(one.name for one in top.glob("0*")) if top.is_dir() else []


def require_refused(machine: Commands, why: str) -> None:
    """It says why, and nothing is written: no record is left either."""
    mounted = Mounted(machine.root)
    before = mounted.whole
    said = machine("restore", "--write", "--yes")
    assert said.status in (2, 3)
    assert why in said.err and "othing was written" in said.err
    assert (mounted.whole, restores(machine)) == (before, [])


# before the first write


def seen_as(monkeypatch: pytest.MonkeyPatch, place: Path, **fields: int) -> None:
    """statvfs(3) says that of one file system."""
    real = os.statvfs

    def statvfs(path: Any) -> os.statvfs_result:
        found = real(path)
        if Path(path) != place:
            return found
        names = ("f_bsize", "f_frsize", "f_blocks", "f_bfree", "f_bavail", "f_files", "f_ffree", "f_favail")
        values = {name: getattr(found, name) for name in (*names, "f_flag", "f_namemax")} | fields
        return os.statvfs_result(tuple(values.values()))

    monkeypatch.setattr(os, "statvfs", statvfs)


def test_volume_that_is_mounted_read_only(
    machine: Commands, mounted: Mounted, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen_as(monkeypatch, mounted.folder, f_flag=os.ST_RDONLY)
    require_refused(machine, "mounted read-only")


def test_volume_that_is_mounted_twice_is_written_where_it_can_be(
    machine: Commands, mounted: Mounted, monkeypatch: pytest.MonkeyPatch
) -> None:
    again = machine.root.folder / "mnt/backup"
    shutil.copytree(mounted.folder, again)
    table = (machine.root.folder / "proc/self/mountinfo").read_text()
    machine.root.write("proc/self/mountinfo", table + "3 1 254:65 / /mnt/backup ro - vfat /dev/vda1 rw\n")
    seen_as(monkeypatch, again, f_flag=os.ST_RDONLY)
    made = machine("restore", "--json").document
    assert write(Places.below(machine.root.folder), made, by="root")
    assert mounted.file(FERNWICK_LOADER).exists() and not (again / "EFI/fernwick").exists()


@pytest.mark.parametrize(("clusters", "is_enough"), [(5, False), (6, True)])
def test_all_files_must_have_room_before_the_first_is_written(
    machine: Commands, mounted: Mounted, monkeypatch: pytest.MonkeyPatch, clusters: int, is_enough: bool
) -> None:
    """1,024 bytes each: the default file two clusters, of which none comes free since the former is empty,
    the loader two and one for its folder; one more where a folder grows."""
    seen_as(monkeypatch, mounted.folder, f_frsize=512, f_bavail=clusters)
    if is_enough:
        assert machine("restore", "--write", "--yes").status == 0
    else:
        require_refused(machine, "has no room")


@pytest.mark.parametrize(("free", "is_enough"), [(100, False), (1000, True), (None, True)])
def test_firmware_whose_store_is_full(
    machine: Commands, monkeypatch: pytest.MonkeyPatch, free: int | None, is_enough: bool
) -> None:
    store = variable_store.VariableStore(None if free is None else 65536, free)
    monkeypatch.setattr(variables, "read_store", lambda machine: store)
    if is_enough:
        assert machine("restore", "--write", "--yes").status == 0
    else:
        require_refused(machine, "store has no room")


def test_firmware_whose_variables_can_not_be_written(
    machine: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen_as(monkeypatch, machine.root.variable_file("x").parent, f_flag=os.ST_RDONLY)
    require_refused(machine, "mounted read-only")


def test_link_on_the_way(machine: Commands, mounted: Mounted, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (mounted.folder / "EFI/fernwick").symlink_to(tmp_path / "elsewhere")
    require_refused(machine, "leads over a link")
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_file_where_a_folder_has_to_be(machine: Commands, mounted: Mounted) -> None:
    """It came there after the plan was made."""
    made = machine("restore", "--json").document
    (mounted.folder / "EFI/fernwick").write_bytes(b"a file")
    before = mounted.whole
    with pytest.raises(Problem, match=r"Not a directory.* Nothing was written"):
        write(Places.below(machine.root.folder), made, by="root")
    assert (mounted.whole, restores(machine)) == (before, [])


def test_what_was_there_can_not_be_kept(machine: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*given: object, **more: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(record.Record, "keep", full)
    require_refused(machine, "No space left on device")


def test_folder_of_records_that_others_can_write(machine: Commands) -> None:
    top = machine.root.folder / "var/lib/bootwatch/restores"
    top.mkdir()
    top.chmod(0o777)
    require_refused(machine, "Others could have changed")
    top.chmod(0o750)
    if os.geteuid() == 0:
        os.chown(top, 65534, 65534)
        require_refused(machine, "Others could have changed")


def test_spare_with_a_flipped_bit(machine: Commands) -> None:
    for spare in (machine.root.folder / "var/lib/bootwatch/spares").iterdir():
        content = bytearray(spare.read_bytes())
        content[-1] ^= 1
        spare.write_bytes(content)
    require_refused(machine, "damaged")


NONSENSE: list[dict[str, Any]] = [
    {"steps": None},
    {"steps": {"step": "write-file"}},
    {"steps": ["write-file"]},
    {"steps": [{"step": "write-entry", "entry": "Boot000g", "data": "", "over": None, "why": ""}]},
    {"steps": [{"step": "write-order", "order": 5, "over": [], "why": ""}]},
    {"steps": [{"step": "clear-next", "over": "0", "why": ""}]},
    {"size": float("inf")},
    {"size": -1},
    {"path": "\\EFI\\con.efi"},
    {"path": "EFI\\x.efi"},
    {"path": "\\EFI\\\ud800.efi"},
    {"sha256": None},
    {"over": "../../x"},
]


def test_plan_with_nonsense(machine: Commands, mounted: Mounted) -> None:
    made = machine("restore", "--json").document
    before = mounted.whole
    for change in NONSENSE:
        steps = change if "steps" in change else {"steps": [made["steps"][0] | change]}
        with pytest.raises(Problem):
            write(Places.below(machine.root.folder), made | steps, by="root")
    assert (mounted.whole, restores(machine)) == (before, [])


# entries and orders that are odd


def test_order_of_odd_length_is_mended(machine: Commands) -> None:
    order = machine.root.variable_file("BootOrder")
    order.write_bytes(order.read_bytes() + b"\7")
    assert machine("restore", "--write", "--yes").status == 0
    assert order.read_bytes() == struct.pack("<I3H", 7, 0, 1, 2)
    assert machine("restore", "--undo", "--yes").status == 0
    assert order.read_bytes() == struct.pack("<I2H", 7, 0, 2) + b"\7"


def test_entry_that_the_firmware_discards_is_left_where_it_is(machine: Commands) -> None:
    """Its number isn't free, so the lost one gets another."""
    machine.root.variable("Boot0001", b"\1\0")
    assert machine("restore", "--write", "--yes").status == 0
    assert machine.root.variable_file("Boot0001").read_bytes() == struct.pack("<I", 7) + b"\1\0"
    assert machine("drift").status == 0


def test_file_of_a_variable_that_was_never_written(machine: Commands) -> None:
    """Linux leaves it where the firmware refused the variable, or the writer was killed."""
    machine.root.variable_file("Boot0001").write_bytes(b"")
    assert machine("restore", "--write", "--yes").status == 0
    assert machine.root.variable_file("Boot0001").stat().st_size > 100


# in the middle


@pytest.mark.parametrize(
    ("error", "why"), [("EINVAL", "wrong"), ("EIO", "failed to write"), ("ENOSPC", "store is full")]
)
def test_firmware_that_refuses_an_entry(machine: Commands, mounted: Mounted, error: str, why: str) -> None:
    before = mounted.whole
    place = machine.root.variable_file("Boot0001")
    done = stopped(machine.root, f"write:error={error}", place, "--write", "--yes")
    assert done.returncode == 1
    assert why in done.stderr and "Traceback" not in done.stderr
    files, after = mounted.whole
    assert after == before[1] and not place.exists()
    assert f"EFI/BOOT/{DEFAULT_LOADER.rpartition(chr(92))[2]}" in files and files != before[0]
    said = " ".join(done.stderr.split())
    written = said[said.index("Written, and read back") : said.index("Not written")]
    assert (written.count("put back"), "make the entry" in written) == (2, False)
    log = (machine.root.folder / "var/lib/bootwatch/baseline/log").read_text()
    assert "stopped after 2 of 4 steps" in log
    assert "was stopped or cut off after 2 steps" in " ".join(machine("restore").out.split())
    assert machine("restore", "--undo", "--yes").status == 0
    assert mounted.whole == before


def test_firmware_that_says_yes_and_keeps_what_it_had(machine: Commands, mounted: Mounted) -> None:
    """The write seems to succeed (strace lets it return its length without doing it)."""
    before = mounted.whole
    order = machine.root.variable_file("BootOrder")
    done = stopped(machine.root, "write:retval=10", order, "--write", "--yes")
    assert done.returncode == 1 and "reads back otherwise" in done.stderr
    assert order.read_bytes() == before[1][order.name]
    assert machine("restore", "--undo", "--yes").status == 0
    assert mounted.whole == before


def test_volume_that_fails_in_the_middle(machine: Commands, mounted: Mounted) -> None:
    before = mounted.whole
    new = mounted.file("\\EFI\\BOOT\\bootwatch.new")
    done = stopped(machine.root, "fsync:error=EIO", new, "--write", "--yes")
    assert done.returncode == 1 and "Input/output error" in done.stderr
    assert mounted.whole == before
    assert machine("restore", "--write", "--yes").status == 0


@pytest.mark.parametrize("name", ["TERM", "INT"])
def test_asked_to_stop_it_ends_the_step_first(machine: Commands, mounted: Mounted, name: str) -> None:
    before = mounted.whole
    place = machine.root.variable_file("Boot0001")
    done = stopped(machine.root, f"write:signal={name}:when=1", place, "--write", "--yes")
    assert (done.returncode, f"asked to stop (SIG{name})" in done.stderr) == (1, True)
    assert place.exists() and mounted.variables() != before[1]
    assert machine.root.variable_file("BootOrder").read_bytes() == before[1][f"BootOrder-{GLOBAL}"]
    assert machine("restore", "--undo", "--yes").status == 0
    assert mounted.whole == before


def test_closed_terminal_does_not_stop_it(machine: Commands) -> None:
    place = machine.root.variable_file("Boot0001")
    assert stopped(machine.root, "write:signal=HUP:when=1", place, "--write", "--yes").returncode == 0
    assert machine("drift").status == 0


# records


EDITS: list[Callable[[dict[str, Any]], object]] = [
    lambda one: one.pop("steps"),
    lambda one: one.update(format="bootwatch/restore/2"),
    lambda one: one["steps"][0].update(more=1),
    lambda one: one["steps"][0].update(step={"step": "format-disk"}),
    lambda one: one["steps"][0].update(former="../../../../etc/hostname"),
    lambda one: one["steps"][2].update(former={"attributes": -1, "data": "00"}),
    lambda one: one["steps"][3].update(former=[1]),
    lambda one: one["steps"][0]["step"].update(path="\\..\\x"),
]


def test_record_edited_by_hand(machine: Commands, mounted: Mounted) -> None:
    assert machine("restore", "--write", "--yes").status == 0
    before = mounted.whole
    place = machine.root.folder / "var/lib/bootwatch/restores/0001/record.json"
    whole = place.read_text()
    for edit in EDITS:
        document = json.loads(whole)
        edit(document)
        place.write_text(json.dumps(document))
        said = machine("restore", "--undo", "--yes")
        assert said.status == 3 and 1 <= len(said.err.splitlines()) <= 2
        assert mounted.whole == before
    place.write_text(whole[:300])
    assert "can't be used" in machine("restore", "--undo", "--yes").err
    assert mounted.whole == before


def test_kept_file_that_is_damaged(machine: Commands, mounted: Mounted) -> None:
    """Found before anything is taken back."""
    mounted.file(DEFAULT_LOADER).write_bytes(b"MZ something else")
    assert machine("restore", "--write", "--yes").status == 0
    before = mounted.whole
    for kept in (machine.root.folder / "var/lib/bootwatch/restores/0001/former").iterdir():
        kept.write_bytes(b"")
    assert "damaged" in machine("restore", "--undo", "--yes").err
    assert mounted.whole == before


def test_what_somebody_changed_since_stays(machine: Commands, mounted: Mounted) -> None:
    assert machine("restore", "--write", "--yes").status == 0
    mounted.file(DEFAULT_LOADER).write_bytes(b"MZ of somebody else")
    said = machine("restore", "--undo", "--yes")
    assert said.status == 1 and "somebody changed it meanwhile" in said.out
    assert mounted.file(DEFAULT_LOADER).read_bytes() == b"MZ of somebody else"
    assert not mounted.file(FERNWICK_LOADER).exists()
    assert not machine.root.variable_file("Boot0001").exists()


def test_each_restore_is_taken_back_once_the_newest_first(machine: Commands, mounted: Mounted) -> None:
    first = mounted.whole
    assert machine("restore", "--write", "--yes").status == 0
    machine.root.order(2, 1, 0)
    second = mounted.whole
    assert machine("restore", "--write", "--yes").status == 0
    assert machine("restore", "--undo", "--yes").status == 0
    assert mounted.whole == second
    machine.root.order(0, 1, 2)
    assert machine("restore", "--undo", "--yes").status == 0
    assert mounted.whole == first
    again = machine("restore", "--undo", "--yes")
    assert again.status == 2 and "no restore to be taken back" in again.err


def test_another_one_is_writing(machine: Commands, mounted: Mounted) -> None:
    with record.alone(machine.root.folder / "var/lib/bootwatch/restores"):
        require_refused(machine, "Another restore is being written")


def test_where_all_is_as_it_should_be_nothing_is_written(machine: Commands, mounted: Mounted) -> None:
    """As when a plan is carried out a second time."""
    made = machine("restore", "--json").document
    places = Places.below(machine.root.folder)
    assert write(places, made, by="root")
    after = mounted.whole
    assert write(places, made, by="root") is None
    assert (mounted.whole, restores(machine)) == (after, ["0001"])
