"""Master boot records against sfdisk, which writes and lists them."""

import io
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bootwatch.formats import FormatError
from bootwatch.formats.mbr import MAX_RECORDS, PartitionTable

from .tools import blank, patch, run

SIZE = 64 << 20
KINDS = ["ef", "83", "7", "c", "27", "1"]
SCRIPT = """label: dos
label-id: 0x0badcafe
start=2048, size=20480, type=ef, bootable
start=22528, size=4096, type=83
start=26624, size=60000, type=5
start=28672, size=2048, type=7
start=32768, size=2048, type=83
start=40960, size=4096, type=ef
start=90112, size=2048, type=c
"""


def read(disk: Path, block_size: int = 512) -> PartitionTable:
    with disk.open("rb") as file:
        return PartitionTable.read(file, block_size)


def rows(table: PartitionTable) -> list[tuple[int, int, int, int, bool]]:
    return [(part.number, part.type, part.first_lba, part.count, part.active) for part in table.partitions]


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    disk = blank(tmp_path / "disk", SIZE)
    run("sfdisk", "--quiet", disk, given=SCRIPT)
    return disk


def listed(disk: Path) -> list[tuple[int, int, int, int, bool]]:
    table = json.loads(run("sfdisk", "--json", disk))["partitiontable"]
    return sorted(
        (
            int(entry["node"].removeprefix(str(disk))),
            int(entry["type"], 16),
            entry["start"],
            entry["size"],
            entry.get("bootable", False),
        )
        for entry in table.get("partitions", [])
    )


def test_agrees_with_sfdisk(disk: Path) -> None:
    table = read(disk)
    assert f"0x{table.signature}" == run("sfdisk", "--disk-id", disk).strip() == "0x0badcafe"
    assert sorted(rows(table)) == listed(disk)
    assert [row[0] for row in sorted(rows(table))] == [1, 2, 3, 4, 5, 6, 7]
    assert table.problems == []
    assert not table.is_protective


@pytest.mark.whole
@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.integers(0, 9), st.integers(1, 90), st.sampled_from(KINDS)), max_size=3),
    st.lists(st.tuples(st.integers(1, 9), st.integers(1, 90), st.sampled_from(KINDS)), max_size=30),
)
def test_agrees_with_sfdisk_on_any_layout(
    tmp_path_factory: pytest.TempPathFactory,
    primary: list[tuple[int, int, str]],
    logical: list[tuple[int, int, str]],
) -> None:
    disk = blank(tmp_path_factory.getbasetemp() / "random", 4 << 20)
    lines, at = ["label: dos"], 10
    for gap, size, kind in primary:
        lines.append(f"start={at + gap}, size={size}, type={kind}")
        at += gap + size
    if logical:
        lines.append(f"start={at}, size={8000 - at}, type={'f' if at % 2 else '5'}")
    for gap, size, kind in logical:
        # Each has its record in the block before it.
        lines.append(f"start={at + gap + 1}, size={size}, type={kind}")
        at += gap + size + 1
    run("sfdisk", "--quiet", disk, given="\n".join(lines) + "\n")
    table = read(disk)
    assert (sorted(rows(table)), table.problems) == (listed(disk), [])


def test_last_lba_is_inclusive(disk: Path) -> None:
    shown = run("fdisk", "-l", "-o", "Start,End", disk)
    assert f"{2048} {read(disk).partitions[0].last_lba}" in [
        " ".join(line.split()) for line in shown.splitlines()
    ]


def test_a_protective_record(tmp_path: Path) -> None:
    disk = blank(tmp_path / "disk", SIZE)
    run("sfdisk", "--quiet", disk, given="label: gpt\nsize=20480\n")
    table = read(disk)
    assert table.is_protective
    assert rows(table) == [(1, 0xEE, 1, SIZE // 512 - 1, False)]


@pytest.mark.parametrize("kind", ["12", "16", "32"])
def test_a_bare_fat_volume_has_no_table(tmp_path: Path, kind: str) -> None:
    disk = tmp_path / "disk"
    run("mkfs.fat", "-F", kind, "-C", disk, "66000")
    with pytest.raises(FormatError, match="boot sector"):
        read(disk)


@pytest.mark.parametrize("size", [0, 1, 511, 512, 4096])
def test_an_empty_disk_has_no_table(size: int) -> None:
    with pytest.raises(FormatError, match="55 AA"):
        PartitionTable.read(io.BytesIO(bytes(size)), 512)


def test_a_chain_that_links_back_to_itself(disk: Path) -> None:
    link = 446 + 16 + 8
    patch(disk, 26624 * 512 + link, (0).to_bytes(4, "little"))
    table = read(disk)
    assert table.problems == ["extended boot record at LBA 26624: links back to itself"]
    assert [part.number for part in table.partitions] == [1, 2, 3, 4, 5]


def test_a_broken_link_keeps_what_came_before(disk: Path) -> None:
    link = 446 + 16 + 8
    patch(disk, 26624 * 512 + link, (0xFFFFFFF0).to_bytes(4, "little"))
    table = read(disk)
    assert "does not end in 55 AA" in table.problems[0]
    assert [part.number for part in table.partitions] == [1, 2, 3, 4, 5]


def test_an_endless_chain_is_cut_off() -> None:
    disk = bytearray((MAX_RECORDS + 50) * 512)
    disk[446:462] = (
        bytes.fromhex("00000000 05000000") + (1).to_bytes(4, "little") + (9999).to_bytes(4, "little")
    )
    for record in range(MAX_RECORDS + 49):
        at = record * 512
        disk[at + 510 : at + 512] = b"\x55\xaa"
        if record:
            entry = (
                bytes.fromhex("00000000 05000000") + record.to_bytes(4, "little") + (1).to_bytes(4, "little")
            )
            disk[at + 462 : at + 478] = entry
    table = PartitionTable.read(io.BytesIO(disk), 512)
    assert any("the chain is too long" in problem for problem in table.problems)
