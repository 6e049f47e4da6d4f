"""Any bytes at all give a value or a FormatError, and what is kept raw comes back byte for byte."""

import contextlib
import io
import struct
import zlib

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bootwatch.formats import FormatError, gpt, mbr
from bootwatch.formats.fat import Volume
from bootwatch.formats.pe import Image

from .tools import SAMPLES

FEW = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
PROGRAM = (SAMPLES / "version-x64.efi").read_bytes()


@FEW
@given(st.data())
def test_partition_tables(data: st.DataObject) -> None:
    disk = bytearray(64 * 512)
    fields = [data.draw(st.integers(0, 70) | st.integers(0, (1 << 64) - 1)) for _ in range(5)]
    count, size = (
        data.draw(st.integers(0, 200) | st.integers(0, (1 << 32) - 1)),
        data.draw(st.sampled_from([0, 8, 128, 132, 136, 256, 0xFFFFFFF8])),
    )
    array = data.draw(st.binary(max_size=600))
    disk[1024 : 1024 + len(array)] = array
    tail = (*fields[:4], bytes(16), fields[4], count, size, zlib.crc32(array))
    header = struct.pack("<8sIIIIQQQQ16sQIII", b"EFI PART", 0x10000, 92, 0, 0, *tail)
    crc = zlib.crc32(header) if data.draw(st.booleans()) else 0
    disk[512 : 512 + 92] = header[:16] + struct.pack("<I", crc) + header[20:]
    with contextlib.suppress(FormatError):
        table = gpt.PartitionTable.read(io.BytesIO(disk), 512)
        assert all(part.name.encode("utf-8") is not None for part in table.partitions)


@FEW
@given(st.lists(st.binary(min_size=16, max_size=16), min_size=4, max_size=4), st.sampled_from([512, 4096]))
def test_master_boot_records(entries: list[bytes], block_size: int) -> None:
    record = bytes(446) + b"".join(entries) + b"\x55\xaa"
    with contextlib.suppress(FormatError):
        table = mbr.PartitionTable.read(io.BytesIO(record * 40), block_size)
        assert all(part.number for part in table.partitions)


@FEW
@given(
    st.lists(st.tuples(st.integers(0, len(PROGRAM) - 1), st.binary(max_size=8)), max_size=6),
    st.integers(0, 4000),
)
def test_programs(changes: list[tuple[int, bytes]], keep: int) -> None:
    data = bytearray(PROGRAM)
    for offset, value in changes:
        data[offset : offset + len(value)] = value
    with contextlib.suppress(FormatError):
        image = Image.parse(bytes(data[: keep + 64]))
        assert image.truncated == (image.real_size < image.declared_size)
        for text in (*image.version_info, *image.version_info.values()):
            text.encode("utf-8")


def small_volume() -> bytes:
    """A FAT12 volume of 64 sectors, written by hand: one FAT sector, 16 root slots, one folder."""
    boot = bytearray(512)
    boot[11:36] = struct.pack("<HBHBHHBHHHII", 512, 1, 1, 1, 16, 64, 0xF8, 1, 1, 1, 0, 0)[:25]
    slot = struct.pack("<11sB8xHHHHI", b"EFI        ", 0x10, 0, 0, 0, 2, 0)
    dots = struct.pack("<11sB8xHHHHI", b".          ", 0x10, 0, 0, 0, 2, 0)
    file = struct.pack("<11sB8xHHHHI", b"LOADER  EFI", 0x20, 0, 0, 0, 3, 900)
    fat = bytes.fromhex("f8ffff ff4f00 ff0f").ljust(512, b"\0")
    return bytes(boot) + fat + slot.ljust(512, b"\0") + (dots + file).ljust(512, b"\0") + bytes(60 * 512)


VOLUME = small_volume()


def test_the_small_volume_is_whole() -> None:
    volume = Volume(io.BytesIO(VOLUME))
    assert [entry.path for entry in volume.walk()] == ["\\EFI", "\\EFI\\LOADER.EFI"]
    assert volume.read("\\EFI\\LOADER.EFI") == bytes(900)
    assert volume.problems == []


@FEW
@given(
    st.lists(st.tuples(st.integers(11, 2047), st.binary(max_size=6)), max_size=8), st.integers(0, 64 * 512)
)
def test_volumes(changes: list[tuple[int, bytes]], cut: int) -> None:
    data = bytearray(VOLUME)
    for offset, value in changes:
        data[offset : offset + len(value)] = value
    with contextlib.suppress(FormatError):
        volume = Volume(io.BytesIO(data[: len(data) - cut]))
        assert volume.free_bytes >= 0
        for entry in volume.walk():
            entry.path.encode("utf-8")
            if not entry.is_folder:
                with contextlib.suppress(FormatError):
                    assert len(volume.open(entry.path).read(4096)) <= 4096
