"""Unknown is never reported as missing: faults at exact calls, missing rights, lists that fail."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bootwatch.judge.drift import compare
from bootwatch.model.change import Drift
from bootwatch.model.gap import Reason
from bootwatch.model.snapshot import Snapshot
from tests.formats.tools import blank, run
from tests.judge.looks import look
from tests.observe.faults import count_calls, look_as_somebody, look_interrupted, look_with_fault
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER, QUARRY_ESP, TARN_PART, Part, Root, program

EFIVARS = "sys/firmware/efi/efivars"


def compared(before: Snapshot, now: Snapshot) -> Drift:
    return compare(before.state, before.gaps, now).drift


def said_missing(drift: Drift) -> list[str]:
    """Everything that the drift claims to be gone or different."""
    return [change.id for change in drift.changes]


def unseen(drift: Drift) -> list[str]:
    return [finding.what for finding in drift.findings if finding.finding == "unseen"]


@pytest.mark.parametrize(
    "persistence",
    [pytest.param("", id="once"), pytest.param("+", id="from-then-on", marks=pytest.mark.long)],
)
@pytest.mark.parametrize("error", ["EIO", pytest.param("ENXIO", marks=pytest.mark.long)])
def test_read_error_at_any_call(hall: Root, error: str, persistence: str) -> None:
    """Whichever read of a disk fails, nothing on it is called missing, and what was hidden is said."""
    before = look(hall)
    disk = hall.image("vdb")
    calls = count_calls(hall.folder, disk, "read")
    assert calls > 4
    for when in sorted({1, 2, calls // 3, calls // 2, calls - 1}):
        now = look_with_fault(hall.folder, disk, f"read:error={error}:when={when}{persistence}")
        drift = compared(before, now)
        assert said_missing(drift) == [], f"read {when} of {calls}"
        assert now.gaps and all(gap.reason is Reason.UNREADABLE for gap in now.gaps)
        assert unseen(drift)


@pytest.mark.whole
def test_read_error_at_every_call(hall: Root) -> None:
    before = look(hall)
    disk = hall.image("vdb")
    for when in range(1, count_calls(hall.folder, disk, "read") + 1):
        drift = compared(before, look_with_fault(hall.folder, disk, f"read:error=EIO:when={when}"))
        assert said_missing(drift) == [] and unseen(drift), f"read {when}"


def test_read_error_leaves_the_other_disk_alone(hall: Root) -> None:
    before = look(hall)
    hall.remove("vda", 1, FERNWICK_LOADER)
    now = look_with_fault(hall.folder, hall.image("vdb"), "read:error=EIO:when=1+")
    drift = compared(before, now)
    assert [change.change for change in drift.changes] == ["loader-missing"]
    assert unseen(drift) == ["the disk vdb"]


def test_listing_of_variables_that_fails(hall: Root) -> None:
    before = look(hall)
    now = look_with_fault(hall.folder, hall.folder / EFIVARS, "getdents64:error=EIO")
    drift = compared(before, now)
    assert said_missing(drift) == []
    assert unseen(drift) == ["the firmware's variables"]


def test_listing_that_the_firmware_ended_early(hall: Root) -> None:
    before = look(hall)
    for name in ("Boot0000", "Boot0001", "Boot0002", "BootOrder"):
        hall.variable_file(name).unlink()
    drift = compared(before, look(hall))
    assert said_missing(drift) == []
    assert unseen(drift) == ["the firmware's variables"]


def test_boot_order_alone_may_be_absent(hall: Root) -> None:
    before = look(hall)
    hall.variable_file("BootOrder").unlink()
    now = look(hall)
    assert now.gaps == ()
    assert [change.change for change in compared(before, now).changes] == ["order-changed"]


def test_variable_that_cannot_be_read(hall: Root) -> None:
    before = look(hall)
    now = look_with_fault(hall.folder, hall.variable_file("Boot0000"), "read:error=EIO")
    drift = compared(before, now)
    assert said_missing(drift) == []
    assert unseen(drift) == ["the firmware's variable Boot0000"]


def test_unread_new_variable_may_be_the_one_that_is_sought(hall: Root) -> None:
    """An entry that may have been renumbered into a variable that can't be read isn't called missing."""
    before = look(hall)
    hall.variable_file("Boot0000").rename(hall.variable_file("Boot0003"))
    hall.order(3, 1, 2)
    now = look_with_fault(hall.folder, hall.variable_file("Boot0003"), "read:error=EIO")
    assert "entry-missing" not in [change.change for change in compared(before, now).changes]


def test_no_variables_at_all(hall: Root) -> None:
    before = look(hall)
    shutil.rmtree(hall.folder / EFIVARS)
    now = look(hall)
    assert [(gap.name, gap.reason) for gap in now.gaps] == [("*", Reason.ABSENT)]
    assert said_missing(compared(before, now)) == []


def test_denied_disk_and_variables(hall: Root) -> None:
    before = look(hall)
    for folder in (hall.folder, *hall.folder.parents):
        if folder == Path("/tmp"):
            break
        folder.chmod(0o755)
    hall.image("vda").chmod(0)
    hall.variable_file("BootOrder").chmod(0)
    now = look_as_somebody(hall.folder)
    assert {(gap.kind, gap.reason) for gap in now.gaps} == {
        ("disk", Reason.DENIED),
        ("variables", Reason.DENIED),
    }
    drift = compared(before, now)
    assert said_missing(drift) == []
    assert unseen(drift) == ["the firmware's variable BootOrder", "the disk vda"]


def test_disk_without_a_node_is_absent_not_gone(hall: Root) -> None:
    before = look(hall)
    hall.image("vdb").unlink()
    now = look(hall)
    assert [(gap.kind, gap.name, gap.reason) for gap in now.gaps] == [("disk", "vdb", Reason.ABSENT)]
    assert said_missing(compared(before, now)) == []


@pytest.mark.parametrize(("at", "length"), [(0, 512), (16, 4)], ids=["header gone", "check sum wrong"])
def test_partition_table_damaged_at_both_places(hall: Root, at: int, length: int) -> None:
    before = look(hall)
    with hall.image("vdb").open("r+b") as image:
        for offset in (512, hall.image("vdb").stat().st_size - 512):
            image.seek(offset + at)
            image.write(bytes(length))
    now = look(hall)
    assert [(gap.name, gap.reason) for gap in now.gaps] == [("vdb", Reason.DAMAGED)]
    assert said_missing(compared(before, now)) == []


def test_damaged_folder_hides_only_what_lies_in_it(hall: Root) -> None:
    """A folder whose first cluster was overwritten with one that leads nowhere."""
    before = look(hall)
    image = hall.image("vdb")
    data = bytearray(image.read_bytes())
    at = data.index(b"QUARRY     \x10", 1 << 20)
    data[at + 26 : at + 28] = b"\xf0\x0f"
    image.write_bytes(data)
    now = look(hall)
    assert [gap.reason for gap in now.gaps] == [Reason.DAMAGED]
    drift = compared(before, now)
    assert said_missing(drift) == []
    assert unseen(drift) == ["the file or folder \\EFI\\quarry on the boot volume of Quarry"]


def mounted(root: Root, loader: bytes) -> None:
    """Fernwick's ESP mounted at /boot/efi, as the mount table and a folder show it."""
    for path, data in ((FERNWICK_LOADER, loader), ("\\EFI\\BOOT\\BOOTX64.EFI", program("fernwick 1"))):
        target = root.folder / "boot/efi" / path.strip("\\").replace("\\", "/")
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    line = "40 1 254:65 / /boot/efi rw - vfat /dev/vda1 rw,umask=0077\n"
    root.write("proc/self/mountinfo", "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n" + line)


def test_volume_that_gets_mounted_while_it_is_read(hall: Root) -> None:
    """What was read from the partition is thrown away: the mount may hold what the disk doesn't yet."""
    disk = hall.image("vda")
    # The very last two are of the partition behind it.
    last = count_calls(hall.folder, disk, "read") - 2
    newer = program("fernwick 2, not on the disk yet")
    now = look_interrupted(hall.folder, disk, "read", last, lambda: mounted(hall, newer))
    volume = now.state.volumes[f"gpt:{FERNWICK_ESP}"]
    loader = volume.file(FERNWICK_LOADER)
    assert loader and loader.size == len(newer)
    assert now.circumstance.mounts == {f"gpt:{FERNWICK_ESP}": "/boot/efi"}
    assert now.gaps == ()


def test_volume_that_gets_unmounted_while_it_is_read(hall: Root) -> None:
    """An empty mount point isn't an empty volume."""
    mounted(hall, program("through the mount"))
    before = look(hall)
    file = hall.folder / "boot/efi" / FERNWICK_LOADER.strip("\\").replace("\\", "/")

    def unmount() -> None:
        shutil.rmtree(hall.folder / "boot/efi")
        (hall.folder / "boot/efi").mkdir()
        hall.write("proc/self/mountinfo", "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n")

    now = look_interrupted(hall.folder, file, "read", 1, unmount)
    loader = now.state.volumes[f"gpt:{FERNWICK_ESP}"].file(FERNWICK_LOADER)
    assert loader and loader.size == len(program("fernwick 1"))
    assert now.circumstance.mounts == {}
    assert "loader-missing" not in [change.change for change in compared(before, now).changes]


def test_volume_that_vanishes_while_it_is_read(hall: Root) -> None:
    before = look(hall)
    calls = count_calls(hall.folder, hall.image("vdb"), "read")
    now = look_with_fault(hall.folder, hall.image("vdb"), f"read:error=ENODEV:when={calls // 2}+")
    assert all(gap.reason is Reason.UNREADABLE for gap in now.gaps)
    assert f"gpt:{QUARRY_ESP}" in {gap.name for gap in now.gaps} | set(now.state.volumes)
    assert said_missing(compared(before, now)) == []


@pytest.mark.parametrize("megabytes", [0, 5], ids=["all of it", "before its second volume"])
def test_disk_that_ends_too_early(hall: Root, megabytes: int) -> None:
    before = look(hall)
    with hall.image("vdb").open("r+b") as image:
        image.truncate(megabytes << 20)
    drift = compared(before, look(hall))
    assert said_missing(drift) == []
    assert unseen(drift)


def test_size_in_sysfs_that_cannot_be_read(hall: Root) -> None:
    before = look(hall)
    size = (hall.folder / "sys/class/block/vdb").resolve() / "size"
    drift = compared(before, look_with_fault(hall.folder, size, "read:error=EIO"))
    assert said_missing(drift) == []


@pytest.mark.long
def test_disk_without_a_table_that_cannot_be_read(hall: Root) -> None:
    image = blank(hall.image("vdc"), 4 << 20)
    run("mkfs.fat", "-i", "CE11A701", image)
    run("mmd", "-i", image, "::/EFI")
    hall.list_disk("vdc", 4 << 20, [], 6, removable=True)
    before = look(hall)
    assert "fat:CE11-A701" in before.state.volumes
    for when in range(1, count_calls(hall.folder, image, "read") + 1):
        now = look_with_fault(hall.folder, image, f"read:error=EIO:when={when}+", ("fat:CE11-A701",))
        drift = compared(before, now)
        assert said_missing(drift) == [] and unseen(drift), f"read {when}"


def test_new_file_that_cannot_be_read_is_nothing_that_the_baseline_holds(hall: Root) -> None:
    before = look(hall)
    hall.put("vdb", 1, "\\EFI\\quarry\\new.bin", bytes(5000))
    data = bytearray(hall.image("vdb").read_bytes())
    at = data.index(b"NEW     BIN", 1 << 20)
    data[at + 26 : at + 28] = b"\xf0\x0f"
    hall.image("vdb").write_bytes(data)
    now = look(hall)
    assert [gap.path for gap in now.gaps] == ["\\EFI\\quarry\\new.bin"]
    assert unseen(compared(before, now)) == []


def test_clone_whose_node_is_gone_is_unseen(hall: Root) -> None:
    clone(hall)
    before = look(hall)
    hall.image("vdc").unlink()
    drift = compared(before, look(hall))
    assert said_missing(drift) == []
    assert unseen(drift) == ["the disk vdc"]


def test_clone_that_is_gone_is_missing(hall: Root) -> None:
    clone(hall)
    before = look(hall)
    for name in ("vdc", "vdc1", "vdc2"):
        (hall.folder / "sys/class/block" / name).unlink()
    changes = compared(before, look(hall)).changes
    assert [change.change for change in changes] == ["volume-missing", "volume-missing"]
    assert all("pci0000:00/0000:00:06.0" in change.where for change in changes)


def clone(root: Root) -> None:
    """A disk copied whole onto another one."""
    root.image("vdc").write_bytes(root.image("vdb").read_bytes())
    root.list_disk("vdc", root.image("vdb").stat().st_size, [Part(QUARRY_ESP), Part(TARN_PART)], 6, False)
