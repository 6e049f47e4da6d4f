"""What a partition holds, and the identity that Linux knows it by.

Recognized by the marks in its first 68 KiB: LUKS at 0 ("LUKS", 0xBA 0xBE, u16 big-endian version, its UUID as
text at 168), LVM2 in one of four sectors ("LABELONE", at 20 the u32 offset of the header that begins with
the identifier), Linux RAID 1.1 and 1.2 (u32 0xA92B4EFC at 0 or 4096, the set's UUID at 16), XFS ("XFSB" at 0,
UUID 32, label 108), ext2 to ext4 (superblock at 1024: u16 0xEF53 at 56, features 92, UUID 104, label 120),
F2FS (at 1024: u32 0xF2F52010, UUID 108, UTF-16 label 124), btrfs (at 65536: "_BHRfS_M" at 64, UUID 32, label
299), NTFS, exFAT and full-volume encryption (name at 3, serial at 72 or 100), FAT, and swap space (mark in
the last ten bytes of the first page; at 1024 u32 version 1, UUID 12, label 28). All little-endian but XFS and
LUKS.
"""

import struct
import uuid
from collections.abc import Callable
from dataclasses import dataclass

from . import FormatError, fat_boot, utf16
from .reader import Reader, Source

# As far as btrfs's superblock, which lies last.
SIZE = 68 << 10
UNKNOWN, EMPTY = "unknown", "empty"
ENCRYPTED = "crypto_FVE"

_U32 = struct.Struct("<I")
_U64 = struct.Struct("<Q")
_SECTOR, _EXT, _BTRFS = 512, 1024, 65536
_EXT_FEATURES = struct.Struct("<III")
_EXT_JOURNAL = 0x4
# What ext2 and ext3 know of incompatible and of read-only features; anything more makes it ext4.
_EXT3_INCOMPATIBLE, _EXT3_READ_ONLY, _EXT_JOURNAL_DEVICE = 0x16, 0x7, 0x8
_F2FS_MARK, _RAID_MARK = 0xF2F52010, 0xA92B4EFC
_SWAP = (b"SWAPSPACE2", b"S1SUSPEND", b"S2SUSPEND", b"ULSUSPEND", b"LINHIB0001")
_PAGES = (4096, 8192, 16384, 32768, 65536)
_LVM_GROUPS = (6, 4, 4, 4, 4, 4, 6)


@dataclass(frozen=True, slots=True)
class FileSystem:
    """``kind`` and ``uuid`` as Linux's tools spell them ("ext4", "vfat", "crypto_LUKS"; a FAT volume's uuid
    is its serial). ``kind`` is "empty" where there are only zeros and "unknown" for anything else.
    """

    kind: str
    uuid: str = ""
    label: str = ""


def identify(reader: Reader) -> FileSystem:
    """Look at the first bytes of a partition. OSError passes through; never fails otherwise."""
    return identify_bytes(Source(reader).read(0, SIZE))


def identify_bytes(data: bytes) -> FileSystem:
    """The same of the bytes themselves, the first 68 KiB.

    >>> identify_bytes(bytes(4096))
    FileSystem(kind='empty', uuid='', label='')
    """
    for look in _LOOKS:
        found = look(data)
        if found:
            return found
    return FileSystem(UNKNOWN if data.strip(b"\0") else EMPTY)


def _luks(data: bytes) -> FileSystem | None:
    if data[:6] != b"LUKS\xba\xbe" or len(data) < _SECTOR:
        return None
    label = _text(data[24:72]) if data[6:8] == b"\0\2" else ""
    return FileSystem("crypto_LUKS", _text(data[168:208]), label)


def _lvm(data: bytes) -> FileSystem | None:
    for at in range(0, 4 * _SECTOR, _SECTOR):
        sector = data[at : at + _SECTOR]
        if len(sector) == _SECTOR and sector[:8] == b"LABELONE" and sector[24:32] == b"LVM2 001":
            start = _number(sector, 20)
            name = _text(sector[start : start + 32])
            ends = [sum(_LVM_GROUPS[: count + 1]) for count in range(len(_LVM_GROUPS))]
            groups = zip((0, *ends), ends, strict=False)
            return FileSystem("LVM2_member", "-".join(name[first:end] for first, end in groups).strip("-"))
    return None


def _raid(data: bytes) -> FileSystem | None:
    for at in (0, 4096):
        if _number(data, at) == _RAID_MARK and _number(data, at + 4) == 1:
            return FileSystem("linux_raid_member", _uuid(data, at + 16), _text(data[at + 32 : at + 64]))
    return None


def _xfs(data: bytes) -> FileSystem | None:
    return FileSystem("xfs", _uuid(data, 32), _text(data[108:120])) if data[:4] == b"XFSB" else None


def _ext(data: bytes) -> FileSystem | None:
    block = data[_EXT : 2 * _EXT]
    if len(block) < _EXT or block[56:58] != b"\x53\xef":
        return None
    compatible, incompatible, read_only = _EXT_FEATURES.unpack_from(block, 92)
    if incompatible & _EXT_JOURNAL_DEVICE:
        kind = "jbd"
    elif incompatible & ~_EXT3_INCOMPATIBLE or read_only & ~_EXT3_READ_ONLY:
        kind = "ext4"
    else:
        kind = "ext3" if compatible & _EXT_JOURNAL else "ext2"
    return FileSystem(kind, _uuid(block, 104), _text(block[120:136]))


def _f2fs(data: bytes) -> FileSystem | None:
    if _number(data, _EXT) != _F2FS_MARK:
        return None
    return FileSystem("f2fs", _uuid(data, _EXT + 108), utf16.until_nul(data[_EXT + 124 : _EXT + 1148]))


def _btrfs(data: bytes) -> FileSystem | None:
    if data[_BTRFS + 64 : _BTRFS + 72] != b"_BHRfS_M":
        return None
    return FileSystem("btrfs", _uuid(data, _BTRFS + 32), _text(data[_BTRFS + 299 : _BTRFS + 555]))


def _named_at_three(data: bytes) -> FileSystem | None:
    """The boot sectors that spell their own name where FAT has its maker's."""
    name = data[3:11] if len(data) >= _SECTOR else b""
    if name == b"NTFS    ":
        return FileSystem("ntfs", f"{_U64.unpack_from(data, 72)[0]:016X}")
    if name == b"EXFAT   ":
        serial = _number(data, 100)
        return FileSystem("exfat", f"{serial >> 16:04X}-{serial & 0xFFFF:04X}")
    return FileSystem(ENCRYPTED) if name == b"-FVE-FS-" else None


def _fat(data: bytes) -> FileSystem | None:
    try:
        geometry = fat_boot.parse(data[: fat_boot.SIZE])
    except FormatError:
        return None
    label = geometry.label.decode("latin-1").rstrip(" \0")
    return FileSystem("vfat", geometry.serial, "" if label == "NO NAME" else label)


def _swap(data: bytes) -> FileSystem | None:
    """Also while it holds a hibernated system: it is the same space."""
    if any(data[page - 10 : page].startswith(_SWAP) for page in _PAGES) and _number(data, _EXT) == 1:
        return FileSystem("swap", _uuid(data, _EXT + 12), _text(data[_EXT + 28 : _EXT + 44]))
    return None


# The ones before can leave the marks of those behind in place.
_LOOKS: tuple[Callable[[bytes], FileSystem | None], ...] = (
    *(_luks, _lvm, _raid, _xfs, _ext, _f2fs, _btrfs, _named_at_three, _swap, _fat),
)


def _number(data: bytes, at: int) -> int:
    """The u32 at an offset; 0 where the bytes end before."""
    return int(_U32.unpack_from(data, at)[0]) if at >= 0 and at + _U32.size <= len(data) else 0


def _uuid(data: bytes, at: int) -> str:
    """Sixteen bytes in the order they lie in; "" where there are fewer, or only zeros."""
    stored = data[at : at + 16]
    return str(uuid.UUID(bytes=stored)) if len(stored) == 16 and any(stored) else ""


def _text(stored: bytes) -> str:
    return stored.split(b"\0", 1)[0].decode("utf-8", "replace").strip()
