"""Makes the checksums of a damaged GUID partition table right, so that what lies behind them gets read.

By UEFI 2.10 §5.3.2: CRC32 of the entries at 88, CRC32 of the header, with its own field zero, at 16.
"""

import struct
import zlib

from tests.formats.blocks import BLOCK, Blocks

_MOST = 1 << 18


def repair(disk: Blocks, block_size: int) -> None:
    """Sign both headers of a disk where they bear the mark."""
    for lba in (1, disk.size // block_size - 1):
        disk.seek(max(0, lba) * block_size)
        header = bytearray(disk.read(block_size))
        if len(header) < block_size or not header.startswith(b"EFI PART"):
            continue
        size, array, count, each = struct.unpack_from("<I56xQII", header, 12)
        disk.seek(array * block_size)
        struct.pack_into("<I", header, 88, zlib.crc32(disk.read(min(count * each, _MOST))))
        struct.pack_into("<I", header, 16, 0)
        struct.pack_into("<I", header, 16, zlib.crc32(header[: min(size, block_size)]))
        disk.blocks[lba * block_size // BLOCK] = bytes(header[:BLOCK])
