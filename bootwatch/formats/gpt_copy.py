"""One copy of a GUID partition table: UEFI 2.10 §5.3.2 (header) and §5.3.3 (entries).

Header of 92 bytes: signature "EFI PART", u32 revision, u32 header size, u32 CRC32 of the header with this
field zero, u32 reserved, u64 own LBA, u64 the other header's LBA, u64 first and u64 last usable LBA, disk
GUID, u64 LBA of the entries, u32 number and u32 size of entries, u32 CRC32 of all entries. An entry: type
GUID, own GUID, u64 first and u64 last LBA (inclusive), u64 attributes, name of 36 UTF-16 characters.
"""

import struct
import zlib
from dataclasses import dataclass

from . import guid, utf16
from .reader import Source

_HEADER = struct.Struct("<8sIIIIQQQQ16sQIII")
_ENTRY = struct.Struct("<16s16sQQQ72s")
_CRC_OFFSET = 16
_SIGNATURE = b"EFI PART"
_REVISION = 0x00010000
_UNUSED = bytes(16)
# 128 entries take 16 KiB; more than this is damage or malice, not a disk.
MAX_ARRAY_BYTES = 4 << 20


@dataclass(frozen=True, slots=True)
class Partition:
    """One entry in use. `number` counts from 1, as Linux and hard drive nodes number it."""

    number: int
    type: str
    guid: str
    first_lba: int
    last_lba: int
    attributes: int
    name: str


@dataclass(frozen=True, slots=True)
class Header:
    """The header's fields in their order, without the signature."""

    revision: int
    size: int
    crc: int
    reserved: int
    own_lba: int
    other_lba: int
    first_usable: int
    last_usable: int
    disk_guid: bytes
    array_lba: int
    count: int
    entry_size: int
    array_crc: int


@dataclass(frozen=True, slots=True)
class Copy:
    """Header and entries as they lie there. `faults` are what Linux refuses a copy for, and firmware all but
    one of them, a disk that is too small; `remarks` are what else the standard forbids.
    """

    label: str
    lba: int
    header: Header
    array: bytes
    faults: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def good(self) -> bool:
        return not self.faults

    @property
    def problems(self) -> list[str]:
        return [*self.faults, *self.remarks]

    @property
    def content(self) -> tuple[object, ...]:
        """What must be the same in both copies."""
        header = self.header
        usable = header.first_usable, header.last_usable
        return (header.disk_guid, *usable, header.count, header.entry_size, header.array_crc)

    @classmethod
    def read(cls, source: Source, block_size: int, lba: int, label: str) -> "Copy | None":
        """The copy whose header is at `lba`, or None if there is no header at all."""
        block = source.read(lba * block_size, block_size)
        if len(block) < block_size or not block.startswith(_SIGNATURE):
            return None
        header = Header(*_HEADER.unpack_from(block)[1:])
        where = f"{label} header at byte {lba * block_size}"
        faults = [
            f"{where}: {text}" for text in _header_faults(block, header, lba, source.size // block_size - 1)
        ]
        remarks = []
        array = b""
        length = header.count * header.entry_size
        if header.entry_size < _ENTRY.size or header.entry_size % 8 or length > MAX_ARRAY_BYTES:
            faults.append(f"{where}: {header.count} entries of {header.entry_size} bytes make no table")
        else:
            remarks = [f"{where}: {text}" for text in _header_remarks(header, block_size)]
            array = _read_array(source, block_size, header.array_lba, length)
            faults += _array_faults(
                array, header, length, f"{label} entries at byte {header.array_lba * block_size}"
            )
        return cls(label, lba, header, array, tuple(faults), tuple(remarks))

    def partitions(self) -> tuple[Partition, ...]:
        found = []
        size = self.header.entry_size
        for index in range(len(self.array) // size if self.array else 0):
            kind, own, first, last, attributes, name = _ENTRY.unpack_from(self.array, index * size)
            if kind != _UNUSED:
                guids = guid.from_bytes(kind), guid.from_bytes(own)
                found.append(Partition(index + 1, *guids, first, last, attributes, utf16.until_nul(name)))
        return tuple(found)


def _header_faults(block: bytes, header: Header, lba: int, last: int) -> list[str]:
    if not _HEADER.size <= header.size <= len(block):
        return [f"header size {header.size} is impossible"]
    faults = []
    if zlib.crc32(block[:_CRC_OFFSET] + bytes(4) + block[_CRC_OFFSET + 4 : header.size]) != header.crc:
        faults.append("wrong checksum")
    if header.own_lba != lba:
        faults.append(f"says that it lies at LBA {header.own_lba}, not {lba}")
    if header.first_usable > header.last_usable:
        faults.append(f"its usable LBAs {header.first_usable} to {header.last_usable} are none")
    if header.last_usable > last:
        faults.append(f"its usable LBAs end at {header.last_usable}, beyond the disk's last LBA {last}")
    return faults


def _header_remarks(header: Header, block_size: int) -> list[str]:
    remarks = []
    if header.revision != _REVISION:
        remarks.append(f"revision {header.revision:#010x}, not {_REVISION:#010x}")
    if header.reserved:
        remarks.append(f"its reserved field holds {header.reserved:#x}")
    if header.entry_size & (header.entry_size - 1):
        remarks.append(f"entries of {header.entry_size} bytes, which is not 128 times a power of two")
    last = header.array_lba + -(-header.count * header.entry_size // block_size) - 1
    if header.array_lba <= header.last_usable and last >= header.first_usable:
        remarks.append(
            f"its entries at LBA {header.array_lba} to {last} lie within the usable LBAs "
            f"{header.first_usable} to {header.last_usable}"
        )
    return remarks


def _read_array(source: Source, block_size: int, lba: int, length: int) -> bytes:
    """Whole blocks, so that a reader that bypasses the page cache can serve them."""
    blocks = -(-length // block_size)
    return source.read(lba * block_size, blocks * block_size)[:length]


def _array_faults(array: bytes, header: Header, length: int, where: str) -> list[str]:
    if len(array) < length:
        return [f"{where}: only {len(array)} of {length} bytes are on the disk, wrong checksum"]
    return [] if zlib.crc32(array) == header.array_crc else [f"{where}: wrong checksum"]
