"""GUID partition tables against sgdisk, sfdisk and fdisk, whole and damaged."""

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bootwatch.formats import FormatError
from bootwatch.formats.gpt import Partition, PartitionTable

from .tools import FailingReader, blank, run

ESP = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
SIZE = 20 << 20


def read(disk: Path, block_size: int = 512) -> PartitionTable:
    with disk.open("rb") as file:
        return PartitionTable.read(file, block_size)


def expected(disk: Path) -> tuple[str, list[Partition]]:
    """Disk GUID and partitions as sfdisk lists them; attributes are compared on their own."""
    table = json.loads(run("sfdisk", "--json", disk))["partitiontable"]
    parts = []
    for entry in table.get("partitions", []):
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


@pytest.mark.whole
@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.sampled_from([1, 2, 4, 128, 129, 400]),
    st.lists(
        st.tuples(
            st.integers(0, 9), st.integers(1, 30), st.text(st.characters(min_codepoint=32), max_size=12)
        ),
        max_size=9,
    ),
)
def test_agrees_with_sfdisk_on_any_layout(
    master: Path, length: int, layout: list[tuple[int, int, str]]
) -> None:
    disk = blank(master.with_name("random"), 1 << 20)
    lines = [f"label: gpt\ntable-length: {length}\nfirst-lba: 200"]
    at = 200
    for gap, size, name in layout[:length]:
        at += gap
        # What sfdisk's own script cannot hold is left out of the name.
        plain = "".join(letter for letter in name if letter.isalnum() and letter <= "\uffff")
        lines.append(f'start={at}, size={size}, name="{plain}"')
        at += size
    run("sfdisk", "--quiet", disk, given="\n".join(lines) + "\n")
    table = read(disk)
    assert (table.disk_guid, list(table.partitions), table.problems) == (*expected(disk), [])


def test_a_read_error_passes_through(disk: Path) -> None:
    reader = FailingReader(disk, 1024)
    with pytest.raises(OSError, match="Input/output error"):
        PartitionTable.read(reader, 512)
    reader.close()


@pytest.mark.parametrize("size", [0, 1, 511, 512, 1023, 1024, 1536])
def test_tiny_disks(size: int) -> None:
    with pytest.raises(FormatError):
        PartitionTable.read(io.BytesIO(bytes(size)), 512)
