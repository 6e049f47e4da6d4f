"""What partitions hold, against what blkid says of file systems that their own tools made."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from bootwatch.formats.file_system import SIZE, FileSystem, identify, identify_bytes

from .blocks import Blocks
from .tools import SAMPLES, FailingReader, blank, run

TOLD = json.loads((SAMPLES / "file_systems.json").read_text())["blkid"]


def sample(name: str) -> Blocks:
    return Blocks.load(SAMPLES / "file_systems" / f"{name}.blocks")


@pytest.mark.parametrize("name", TOLD)
def test_agrees_with_blkid(name: str) -> None:
    found = identify(sample(name))
    told = TOLD[name]
    assert (found.kind, found.uuid) == (told["TYPE"], told["UUID"])
    # A LUKS1 header and the NTFS boot sector hold no label.
    assert found.label == ("" if name == "ntfs" else told.get("LABEL", ""))


def test_there_is_a_sample_of_each() -> None:
    kinds = {told["TYPE"] for told in TOLD.values()}
    assert kinds >= {"ext2", "ext3", "ext4", "btrfs", "xfs", "f2fs", "vfat", "ntfs", "exfat", "swap"}
    assert kinds >= {"crypto_LUKS", "LVM2_member", "linux_raid_member"}
    assert {path.stem for path in (SAMPLES / "file_systems").iterdir()} == set(TOLD)


def test_freshly_made_ones(tmp_path: Path) -> None:
    """The tools that are always there, with identities that were asked for."""
    wanted = "0a1b2c3d-1111-4222-8333-444455556666"
    ext4 = blank(tmp_path / "ext4", 4 << 20)
    run("mkfs.ext4", "-q", "-U", wanted, "-L", "hall", ext4)
    fat = blank(tmp_path / "fat", 1 << 20)
    run("mkfs.fat", "-i", "BEEF0042", "-n", "HALL", fat)
    swap = blank(tmp_path / "swap", 1 << 20)
    run("mkswap", "-U", wanted, swap)
    with ext4.open("rb") as first, fat.open("rb") as second, swap.open("rb") as third:
        assert identify(first) == FileSystem("ext4", wanted, "hall")
        assert identify(second) == FileSystem("vfat", "BEEF-0042", "HALL")
        assert identify(third) == FileSystem("swap", wanted)


def test_swap_that_holds_a_hibernated_system_is_still_that_swap() -> None:
    data = sample("swap").read()
    hibernated = data[:4086] + b"S1SUSPEND\0" + data[4096:]
    assert identify_bytes(hibernated) == identify_bytes(data)


def test_full_volume_encryption_by_its_mark() -> None:
    assert identify_bytes((b"\xeb\x58\x90-FVE-FS-").ljust(SIZE, b"\1")).kind == "crypto_FVE"


def test_nothing_and_nothing_known() -> None:
    assert identify_bytes(bytes(SIZE)) == FileSystem("empty")
    assert identify_bytes(b"") == FileSystem("empty")
    assert identify_bytes(bytes(100) + b"fernwick" + bytes(5000)) == FileSystem("unknown")


@pytest.mark.parametrize("name", TOLD)
def test_cut_off_anywhere(name: str) -> None:
    """A shorter beginning gives the same, less, or something unknown; never a failure."""
    data = sample(name).read()
    whole = identify_bytes(data)
    for size in (0, 3, 16, 40, 100, 511, 512, 513, 1024, 1080, 1130, 1500, 4095, 4096, 65600, 65700):
        found = identify_bytes(data[:size])
        assert found.kind in (whole.kind, "unknown", "empty", "vfat")


def test_one_read_of_the_beginning() -> None:
    class Counting(io.BytesIO):
        reads: list[int] = []  # noqa: RUF012

        def read(self, size: int | None = -1, /) -> bytes:
            self.reads.append(size or 0)
            return super().read(size)

    identify(Counting(bytes(1 << 20)))
    assert Counting.reads == [SIZE]


def test_a_read_error_passes_through(tmp_path: Path) -> None:
    reader = FailingReader(blank(tmp_path / "disk", 1 << 20), 4096)
    with pytest.raises(OSError, match="Input/output error"):
        identify(reader)
    reader.close()
