"""The boot sector of a FAT volume (FAT specification 1.03, "Boot Sector and BPB"): where everything lies.

u16 bytes per sector at 11, u8 sectors per cluster 13, u16 reserved sectors 14, u8 number of FATs 16, u16 root
entries 17, u16 total sectors 19, u8 media 21, u16 sectors per FAT 22, u32 total sectors 32. FAT32: u32
sectors per FAT 36, u16 flags 40 (0x80: only the FAT copy that the lowest four bits number is kept up to
date), u32 root cluster 44, u16 sector of the free-space record 48, u16 sector of the boot sector's copy 50,
state 65, signature 66, serial 67, label 71; the others: state 37, signature 38, serial 39, label 43.
"""

import struct
from dataclasses import dataclass

from . import FormatError

SIZE = 512
SLOT = 32
_BPB = struct.Struct("<HBHBHHBH")
_BPB_AT = 11
_BPB32 = struct.Struct("<IIHHIHH")
_BPB32_AT = 32
_EXTRA = struct.Struct("<BBI11s")
_EXTRA_AT = 37
_EXTRA32_AT = 65
_FAT12_CLUSTERS = 4085
_FAT16_CLUSTERS = 65525
_FAT32_MAX = 0x0FFFFFF5
_ONE_FAT = 0x80
STATE32_AT = _EXTRA32_AT


@dataclass(frozen=True, slots=True)
class Geometry:
    """Where the parts of the volume lie, in bytes from its start; clusters count from 2."""

    fat_type: int
    size: int
    sector_size: int
    cluster_size: int
    cluster_count: int
    fat_offset: int
    fat_size: int
    fat_copies: int
    # The only copy that is kept up to date; None when all are.
    active_fat: int | None
    root_offset: int
    root_size: int
    root_cluster: int
    data_offset: int
    info_offset: int
    backup_offset: int
    state: int
    serial: str
    label: bytes

    def cluster_offset(self, cluster: int) -> int:
        return self.data_offset + (cluster - 2) * self.cluster_size

    def is_cluster(self, cluster: int) -> bool:
        return 2 <= cluster < self.cluster_count + 2


def parse(block: bytes) -> Geometry:
    """Read the volume's first 512 bytes. FormatError when they are no FAT boot sector."""
    if len(block) < SIZE:
        raise FormatError(f"no FAT volume: {len(block)} bytes are no boot sector")
    sector, per_cluster, reserved, fats, root_entries, total16, media, fat16 = _BPB.unpack_from(
        block, _BPB_AT
    )
    total32, fat32, flags, _version, root_cluster, info, backup = _BPB32.unpack_from(block, _BPB32_AT)
    _refuse_nonsense(sector, per_cluster, reserved, fats, media)
    fat_sectors = fat16 or fat32
    root_sectors = -(-root_entries * SLOT // sector)
    root_sector = reserved + fats * fat_sectors
    clusters = ((total16 or total32) - root_sector - root_sectors) // per_cluster
    if fat_sectors == 0 or clusters < 1:
        raise FormatError("no FAT volume: the boot sector leaves no room for files")
    kind = _fat_type(fat16, clusters)
    clusters = min(clusters, fat_sectors * sector * 8 // kind - 2, _FAT32_MAX)
    state, mark, serial, label = _EXTRA.unpack_from(block, _EXTRA32_AT if kind == 32 else _EXTRA_AT)
    return Geometry(
        fat_type=kind,
        size=(total16 or total32) * sector,
        sector_size=sector,
        cluster_size=per_cluster * sector,
        cluster_count=clusters,
        fat_offset=reserved * sector,
        fat_size=fat_sectors * sector,
        fat_copies=fats,
        active_fat=flags & 0xF if kind == 32 and flags & _ONE_FAT else None,
        root_offset=root_sector * sector,
        root_size=root_entries * SLOT,
        root_cluster=root_cluster if kind == 32 else 0,
        data_offset=(root_sector + root_sectors) * sector,
        info_offset=info * sector if kind == 32 and 0 < info < reserved else 0,
        backup_offset=backup * sector if kind == 32 and 0 < backup < reserved else 0,
        state=state,
        serial=f"{serial >> 16:04X}-{serial & 0xFFFF:04X}",
        label=label if mark == 0x29 else b"",
    )


def _refuse_nonsense(sector: int, per_cluster: int, reserved: int, fats: int, media: int) -> None:
    """The checks that Linux makes too; another file system's boot sector fails at least one."""
    if sector not in (512, 1024, 2048, 4096):
        raise FormatError(f"no FAT volume: {sector} is no sector size (byte 11)")
    if per_cluster == 0 or per_cluster & (per_cluster - 1):
        raise FormatError(f"no FAT volume: {per_cluster} sectors are no cluster (byte 13)")
    if reserved == 0 or fats == 0:
        raise FormatError("no FAT volume: no reserved sectors or no FAT (bytes 14 to 16)")
    if media != 0xF0 and media < 0xF8:
        raise FormatError(f"no FAT volume: {media:#04x} is no media type (byte 21)")


def _fat_type(fat16: int, clusters: int) -> int:
    """By the number of clusters; but Linux and firmware take any volume of the FAT32 layout as FAT32."""
    if fat16 == 0:
        return 32
    return 12 if clusters < _FAT12_CLUSTERS else 16
