"""Every way in which a partition table can be wrong: named, and read as sfdisk, sgdisk and fdisk read it."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from bootwatch.formats import FormatError, gpt, mbr

from .blocks import Blocks
from .faults import GPT, GPT_REFUSED, MBR, MBR_REFUSED, TABLES, block_size, path
from .tools import SAMPLES, run

# What only we look at: firmware, Linux and the tools take these tables as they are.
SGDISK_IS_SILENT = {"gpt-reserved-field-used", "gpt-same-guid-twice", "gpt-entry-without-a-guid"}
# Firmware and Linux are stricter than sfdisk here: they demand that the protective entry begins at LBA 1.
SFDISK_IS_LAX = {"gpt-protective-mbr-begins-at-2"}
# The tool's own JSON is broken here, or it runs in a circle.
SFDISK_IS_LOST = {"gpt-name-with-half-a-surrogate", "mbr-chain-in-a-circle"}
Row = tuple[int, int, int, str, str, str]


def of_512(names: dict[str, list[str]] | dict[str, tuple[str, str, list[str]]]) -> list[str]:
    return [name for name in names if block_size(name) == 512 and name not in SFDISK_IS_LOST]


def read_gpt(name: str, folder: Path = TABLES) -> gpt.PartitionTable:
    return gpt.PartitionTable.read(Blocks.load(folder / f"{name}.blocks"), block_size(name))


def read_mbr(name: str, folder: Path = TABLES) -> mbr.PartitionTable:
    return mbr.PartitionTable.read(Blocks.load(folder / f"{name}.blocks"), block_size(name))


def match(problems: list[str], words: list[str]) -> bool:
    return len(problems) == len(words) and all(
        word in problem for word, problem in zip(words, problems, strict=True)
    )


def listed(disk: Path) -> tuple[str, list[Row]]:
    """What sfdisk makes of a disk: the label's kind ("" for none) and the partitions."""
    text = run("sfdisk", "--json", disk, statuses=(0, 1))
    if not text.strip():
        return "", []
    table = json.loads(text)["partitiontable"]
    rows = [
        (
            int(entry["node"].removeprefix(str(disk))),
            entry["start"],
            entry["start"] + entry["size"] - 1,
            entry["type"].lower(),
            entry.get("uuid", "").lower(),
            entry.get("name", ""),
        )
        for entry in table.get("partitions", [])
    ]
    return table["label"], sorted(rows)


def test_every_disk_is_accounted_for() -> None:
    names = {one.stem for one in TABLES.iterdir()}
    assert names == {*GPT, *GPT_REFUSED, *MBR, *MBR_REFUSED}


@pytest.mark.parametrize("name", GPT)
def test_a_gpt_fault_is_named(name: str) -> None:
    table = read_gpt(name)
    source, protection, words = GPT[name]
    assert (table.source, table.protection) == (source, protection)
    assert match(table.problems, words), table.problems


@pytest.mark.parametrize("name", of_512(GPT))
def test_sfdisk_takes_the_same_gpt(name: str, tmp_path: Path) -> None:
    table = read_gpt(name)
    usable = table.source != "damaged" and (table.protection != "missing" or name in SFDISK_IS_LAX)
    kind, rows = listed(Blocks.load(path(name)).expand(tmp_path / "disk"))
    assert (kind == "gpt") == usable
    if usable:
        assert rows == [
            (part.number, part.first_lba, part.last_lba, part.type, part.guid, part.name)
            for part in table.partitions
        ]


@pytest.mark.parametrize("name", of_512(GPT))
def test_sgdisk_finds_fault_with_the_same_disks(name: str, tmp_path: Path) -> None:
    # Absurd numbers are its end: it asks for that much memory.
    said = run("sgdisk", "-v", Blocks.load(path(name)).expand(tmp_path / "disk"), statuses=(0, 2, -6))
    clean = "No problems found" in said and not re.search(
        r"Problem:|corrupt|Warning|Unsupported|Creating", said
    )
    assert clean == (not GPT[name][2] or name in SGDISK_IS_SILENT), said


@pytest.mark.parametrize(
    "name", ["gpt-4096-whole", "gpt-4096-primary-header-gone", "gpt-4096-entries-overlap"]
)
def test_fdisk_lists_the_same_partitions_of_4096_byte_blocks(name: str, tmp_path: Path) -> None:
    disk = Blocks.load(path(name)).expand(tmp_path / "disk")
    rows = run("fdisk", "-b", "4096", "-l", "-o", "Start,End,UUID,Type-UUID", disk).lower().splitlines()
    assert [" ".join(row.split()) for row in rows if row.strip()[:1].isdigit()] == [
        f"{part.first_lba} {part.last_lba} {part.guid} {part.type}" for part in read_gpt(name).partitions
    ]


@pytest.mark.parametrize("name", MBR)
def test_an_mbr_fault_is_named(name: str) -> None:
    table = read_mbr(name)
    assert match(table.problems, MBR[name]), table.problems


@pytest.mark.parametrize("name", of_512(MBR))
def test_sfdisk_takes_the_same_mbr(name: str, tmp_path: Path) -> None:
    kind, rows = listed(Blocks.load(path(name)).expand(tmp_path / "disk"))
    assert kind == "dos"
    ours = [
        (part.number, part.first_lba, part.last_lba, f"{part.type:x}") for part in read_mbr(name).partitions
    ]
    assert sorted(ours) == [row[:4] for row in rows]


def test_fdisk_lists_the_same_mbr_of_4096_byte_blocks(tmp_path: Path) -> None:
    disk = Blocks.load(path("mbr-4096-whole")).expand(tmp_path / "disk")
    rows = run("fdisk", "-b", "4096", "-l", "-o", "Start,End,Id", disk).splitlines()
    assert [" ".join(row.split()) for row in rows if row.strip()[:1].isdigit()] == [
        f"{part.first_lba} {part.last_lba} {part.type:x}" for part in read_mbr("mbr-4096-whole").partitions
    ]


@pytest.mark.parametrize("name", GPT_REFUSED)
def test_no_gpt(name: str) -> None:
    with pytest.raises(FormatError, match=GPT_REFUSED[name]):
        read_gpt(name)


@pytest.mark.parametrize("name", MBR_REFUSED)
def test_no_mbr(name: str) -> None:
    with pytest.raises(FormatError, match=MBR_REFUSED[name]):
        read_mbr(name)


def test_a_hybrid_record_lists_its_partitions() -> None:
    table = read_mbr("gpt-hybrid-mbr")
    assert table.is_protective
    assert table.is_hybrid
    assert (40, 103) in [(part.first_lba, part.last_lba) for part in table.partitions]
    assert not read_mbr("gpt-whole").is_hybrid
    assert not read_mbr("mbr-whole").is_hybrid


@pytest.mark.whole
def test_the_disks_are_what_the_tools_make(tmp_path: Path) -> None:
    subprocess.run([sys.executable, SAMPLES / "make_tables", tmp_path], check=True, timeout=300)
    for name, (source, protection, words) in GPT.items():
        table = read_gpt(name, tmp_path)
        assert (name, table.source, table.protection) == (name, source, protection)
        assert len(table.problems) == len(words)
    for name, words in MBR.items():
        assert match(read_mbr(name, tmp_path).problems, words), name
