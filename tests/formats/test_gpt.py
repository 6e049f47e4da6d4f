"""GUID partition tables against sgdisk, sfdisk and fdisk, whole and damaged."""

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.formats import FormatError
from bootwatch.formats.gpt import Partition, PartitionTable

from .tools import FailingReader, blank, patch, run

ESP = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
SIZE = 20 << 20
LAST = SIZE // 512 - 1


def read(disk: Path, block_size: int = 512) -> PartitionTable:
    with disk.open("rb") as file:
        return PartitionTable.read(file, block_size)


def expected(disk: Path) -> tuple[str, list[Partition]]:
    """Disk GUID and partitions as sfdisk lists them; attributes are compared on their own."""
    table = json.loads(run("sfdisk", "--json", disk))["partitiontable"]
    parts = []
    for entry in table["partitions"]:
        number = int(entry["node"].removeprefix(str(disk)))
        first, last = entry["start"], entry["start"] + entry["size"] - 1
        guids = entry["type"].lower(), entry["uuid"].lower()
        parts.append(Partition(number, *guids, first, last, 0, entry.get("name", "")))
    return table["id"].lower(), parts


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once: sgdisk sleeps for a second after each write."""
    disk = blank(tmp_path_factory.mktemp("gpt") / "disk", SIZE)
    esp = ("-n1:2048:+10M", "-t1:ef00", "-c1:Fernwick boot", "-A1:set:0", "-A1:set:63")
    linux = ("-n3:0:+5M", "-t3:8300", "-c3:Döma ☃", "-A3:set:2")
    run("sgdisk", *esp, *linux, "-n2:0:0", "-t2:0700", "-n120:34:2047", "-t120:ea00", disk)
    return disk


@pytest.fixture
def disk(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(master, tmp_path / "disk"))


def test_agrees_with_sfdisk(disk: Path) -> None:
    table = read(disk)
    disk_guid, partitions = expected(disk)
    assert table.disk_guid == disk_guid
    ours = [replace(part, attributes=0) for part in table.partitions]
    assert ours == sorted(partitions, key=lambda part: part.number)
    assert (table.problems, table.source, table.block_size) == ([], "primary", 512)


def test_agrees_with_sgdisk_on_every_field(disk: Path) -> None:
    for part in read(disk).partitions:
        shown = dict(
            line.split(": ", 1)
            for line in run("sgdisk", f"-i{part.number}", disk).splitlines()
            if ": " in line
        )
        assert shown["Partition GUID code"].split()[0].lower() == part.type
        assert shown["Partition unique GUID"].lower() == part.guid
        assert int(shown["First sector"].split()[0]) == part.first_lba
        assert int(shown["Last sector"].split()[0]) == part.last_lba
        assert int(shown["Attribute flags"], 16) == part.attributes
        assert shown["Partition name"] == f"'{part.name}'"


def test_a_table_of_1024_entries(tmp_path: Path) -> None:
    disk = blank(tmp_path / "disk", 256 << 20)
    script = "label: gpt\ntable-length: 1024\n"
    run("sfdisk", "--quiet", disk, given=script + "".join(f"size={size}\n" for size in range(8, 208)))
    disk_guid, partitions = expected(disk)
    table = read(disk)
    assert len(partitions) == 200
    assert (table.disk_guid, list(table.partitions), table.problems) == (disk_guid, partitions, [])


def test_blocks_of_4096_bytes(tmp_path: Path) -> None:
    disk = blank(tmp_path / "disk", 64 << 20)
    # The type's alias differs between fdisk's versions, its GUID doesn't.
    run("fdisk", "-b", "4096", disk, given=f"g\nn\n1\n\n+16M\nt\n{ESP}\nn\n2\n\n\nw\n")
    rows = run("fdisk", "-b", "4096", "-l", "-o", "Start,End,UUID,Type-UUID", disk).lower().splitlines()
    table = read(disk, 4096)
    ours = [f"{part.first_lba} {part.last_lba} {part.guid} {part.type}" for part in table.partitions]
    assert ours == [" ".join(row.split()) for row in rows if row.strip()[:1].isdigit()]
    assert len(ours) == 2
    assert table.problems == []


def test_a_wrong_block_size_finds_no_table(disk: Path) -> None:
    with pytest.raises(FormatError, match="no GUID partition table"):
        read(disk, 4096)


@pytest.mark.parametrize("block_size", [0, -512, 256, 520, 1000, 1 << 40])
def test_an_impossible_block_size(disk: Path, block_size: int) -> None:
    with pytest.raises(FormatError, match="no block size"):
        read(disk, block_size)


PRIMARY_FAULTS = {
    "header-checksum": (512 + 16, b"\0\0\0\0", "primary header at byte 512: wrong checksum"),
    "header-gone": (512, bytes(512), "no primary header at LBA 1"),
    "disk-guid": (512 + 56, b"\xff", "primary header at byte 512: wrong checksum"),
    "header-size-huge": (512 + 12, b"\xff\xff\xff\xff", "primary header at byte 512: header size 4294967295"),
    "header-size-zero": (512 + 12, b"\0\0\0\0", "primary header at byte 512: header size 0"),
    "entries": (1024 + 32, b"\xff", "primary entries at byte 1024: wrong checksum"),
    "entry-count-huge": (512 + 80, b"\xff\xff\xff\xff", "4294967295 entries of 128 bytes make no table"),
    "entry-size-zero": (512 + 84, b"\0\0\0\0", "entries of 0 bytes make no table"),
    "array-far-away": (512 + 72, b"\xff" * 8, "wrong checksum"),
}


@pytest.mark.parametrize("fault", PRIMARY_FAULTS)
def test_a_damaged_primary_copy_is_named_and_the_backup_used(disk: Path, fault: str) -> None:
    offset, data, what = PRIMARY_FAULTS[fault]
    before = read(disk)
    patch(disk, offset, data)
    table = read(disk)
    assert table.source == "backup"
    assert what in " ".join(table.problems)
    assert (table.disk_guid, table.partitions) == (before.disk_guid, before.partitions)


BACKUP_FAULTS = {
    "gone": (LAST * 512, bytes(512), "no backup header at the last LBA"),
    "checksum": (LAST * 512 + 56, b"\xff\xff", f"backup header at byte {LAST * 512}: wrong checksum"),
    "entries": ((LAST - 32) * 512 + 32, b"\xff", "backup entries at byte"),
}


@pytest.mark.parametrize("fault", BACKUP_FAULTS)
def test_a_damaged_backup_copy_is_named_and_the_primary_used(disk: Path, fault: str) -> None:
    offset, data, what = BACKUP_FAULTS[fault]
    before = read(disk)
    patch(disk, offset, data)
    table = read(disk)
    assert table.source == "primary"
    assert what in " ".join(table.problems)
    assert table.partitions == before.partitions


def test_both_copies_damaged_is_said_and_salvaged(disk: Path) -> None:
    before = read(disk)
    patch(disk, 512 + 16, b"\0\0\0\0")
    patch(disk, LAST * 512 + 16, b"\0\0\0\0")
    table = read(disk)
    assert table.source == "damaged"
    assert table.partitions == before.partitions
    assert len(table.problems) == 2


def test_no_copy_at_all(disk: Path) -> None:
    patch(disk, 512, bytes(512))
    patch(disk, LAST * 512, bytes(512))
    with pytest.raises(FormatError, match="no GUID partition table"):
        read(disk)


def test_a_disk_that_has_grown(disk: Path) -> None:
    before = read(disk)
    with disk.open("r+b") as file:
        file.truncate(SIZE + (1 << 20))
    table = read(disk)
    assert table.problems == [f"backup header at LBA {LAST}, not at the disk's last LBA {LAST + 2048}"]
    assert replace(table, problems=[]) == before


def test_a_disk_that_was_cut(disk: Path) -> None:
    with disk.open("r+b") as file:
        file.truncate(SIZE - (1 << 20))
    problems = read(disk).problems
    assert f"the backup header should lie at LBA {LAST}, beyond the disk's last LBA {LAST - 2048}" in problems


def test_copies_that_differ(disk: Path, tmp_path: Path) -> None:
    tail = disk.read_bytes()[(LAST - 32) * 512 :]
    run("sfdisk", "--quiet", "--delete", disk, "3")
    patch(disk, (LAST - 32) * 512, tail)
    table = read(disk)
    assert table.problems == ["primary and backup table differ"]
    assert 3 not in [part.number for part in table.partitions]


def test_overlapping_and_outlying_entries_are_named(disk: Path) -> None:
    with disk.open("rb") as file:
        raw = bytearray(file.read())
    # Partition 3's first LBA moved into partition 1, partition 2's last LBA beyond the disk; checksums then
    # no longer hold, so both copies count as damaged, and the entries are checked all the same.
    raw[1024 + 2 * 128 + 32 : 1024 + 2 * 128 + 40] = (4096).to_bytes(8, "little")
    raw[1024 + 128 + 40 : 1024 + 128 + 48] = (1 << 40).to_bytes(8, "little")
    raw[LAST * 512 : LAST * 512 + 8] = bytes(8)
    table = PartitionTable.read(io.BytesIO(raw), 512)
    assert table.source == "damaged"
    assert "partition 3 at LBA 4096: overlaps partition 1" in table.problems
    assert any(
        problem.startswith("partition 2 at LBA") and "outside" in problem for problem in table.problems
    )


def test_a_read_error_passes_through(disk: Path) -> None:
    reader = FailingReader(disk, 1024)
    with pytest.raises(OSError, match="Input/output error"):
        PartitionTable.read(reader, 512)
    reader.close()


@pytest.mark.parametrize("size", [0, 1, 511, 512, 1023, 1024, 1536])
def test_tiny_disks(size: int) -> None:
    with pytest.raises(FormatError):
        PartitionTable.read(io.BytesIO(bytes(size)), 512)
