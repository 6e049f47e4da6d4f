"""Hostile disks and programs of 16 MiB and sparse ones of any size, and a process that reads one of them.

Usage: python -m tests.fuzz.large FORMAT CASE    prints processor seconds and megabytes as two numbers
"""

import struct
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

from tests.formats.blocks import BLOCK, Blocks
from tests.formats.tools import SAMPLES
from tests.fuzz import targets
from tests.pace import Stopwatch

SIZE = 16 << 20
Made = Callable[[], bytes]


def repeated(unit: bytes, head: bytes = b"", size: int = SIZE) -> Made:
    return lambda: head + unit * ((size - len(head)) // len(unit))


def _sign(disk: Blocks, header: bytes, array: bytes) -> bytes:
    header = header[:88] + struct.pack("<I", zlib.crc32(array)) + header[92:]
    header = header[:16] + bytes(4) + header[20:]
    return header[:16] + struct.pack("<I", zlib.crc32(header[:92])) + header[20:]


def _table(entry: bytes) -> Made:
    """A table with 32,768 entries, all alike, in both copies."""

    def make() -> bytes:
        array = entry * 32768
        last = SIZE // BLOCK - 1
        disk = Blocks(SIZE)
        for lba, other, at in ((1, last, 2), (last, 1, last - 8192)):
            fields = (
                b"EFI PART",
                1 << 16,
                92,
                0,
                0,
                lba,
                other,
                9000,
                last - 9000,
                b"\1" * 16,
                at,
                32768,
                128,
                0,
            )
            header = struct.pack("<8sIIIIQQQQ16sQIII", *fields)
            disk.blocks[lba] = _sign(disk, header, array).ljust(BLOCK, b"\0")
            for number in range(8192):
                disk.blocks[at + number] = array[number * BLOCK : (number + 1) * BLOCK]
        return disk.pack()

    return make


def _entry(first: int, last: int, name: bytes) -> bytes:
    return struct.pack("<16s16sQQQ72s", b"\2" * 16, b"\3" * 16, first, last, 0, name)


def _chains() -> bytes:
    """Four extended partitions, each a chain as long as the disk."""
    disk = Blocks(SIZE)
    link = struct.pack("<4xB3xII", 5, 0, 1000)
    disk.blocks[0] = (bytes(446) + link * 4).ljust(510, b"\0") + b"\x55\xaa"
    for number in range(1, 4000):
        link = struct.pack("<4xB3xII4xB3xII", 7, 1, 1, 5, number + 1, 1)
        disk.blocks[number] = (bytes(446) + link).ljust(510, b"\0") + b"\x55\xaa"
    record = bytearray(disk.blocks[0])
    for index in range(4):
        struct.pack_into("<II", record, 446 + index * 16 + 8, 1 + index, 1000)
    disk.blocks[0] = bytes(record)
    return disk.pack()


def _program(sections: int, section: bytes, rest: bytes) -> Made:
    def make() -> bytes:
        start = bytearray((SAMPLES / "x64.efi").read_bytes())
        at = start.index(b"PE\0\0")
        symbols = at + 24 + 240 + sections * 40
        struct.pack_into("<HIII", start, at + 6, sections, 0, symbols, 0)
        head = bytes(start[: at + 24 + 240]) + section * sections
        return (head + rest).ljust(SIZE, b"A")[:SIZE]

    return make


def _grown(name: str, field: int) -> Made:
    """A sample whose section of that name fills the file."""

    def make() -> bytes:
        data = bytearray((SAMPLES / "unified-x64.efi").read_bytes())
        at = data.index(name.encode().ljust(8, b"\0"))
        struct.pack_into("<I", data, at + field, SIZE - 8192)
        struct.pack_into("<I", data, at + 16, SIZE - 8192)
        return bytes(data).ljust(SIZE, b"\n")

    return make


def _volume(
    kind: int, per_cluster: int, sectors: int, fat_sectors: int, fill: Callable[[Blocks, int], None]
) -> Made:
    """A volume by FAT specification 1.03; `fill` gets the disk and the first block behind the FAT."""

    def make() -> bytes:
        disk = Blocks(sectors * BLOCK)
        boot = bytearray(BLOCK)
        root_entries = 0 if kind == 32 else 0xFFF0
        struct.pack_into("<HBHBHHBH", boot, 11, BLOCK, per_cluster, 1, 1, root_entries, 0, 0xF8, 0)
        struct.pack_into("<I", boot, 32, sectors)
        if kind == 32:
            struct.pack_into("<IHHIH", boot, 36, fat_sectors, 0, 0, 2, 0)
        else:
            struct.pack_into("<H", boot, 22, fat_sectors)
        boot[510:] = b"\x55\xaa"
        disk.blocks[0] = bytes(boot)
        fill(disk, 1 + fat_sectors)
        return disk.pack()

    return make


def _slot(name: bytes, attributes: int, cluster: int, size: int = 0) -> bytes:
    return struct.pack("<11sB8xHHHHI", name, attributes, cluster >> 16, 0, 0, cluster & 0xFFFF, size)


def _crowd(disk: Blocks, start: int) -> None:
    """All slots of the root, and of each folder in it, which are one folder: a file of the longest name."""
    _chain(disk, 12000)
    part = b"\x01" + b"A\0" * 5 + b"\x0f\0\x00" + b"A\0" * 6 + b"\0\0" + b"A\0" * 2
    block = (part * 15 + _slot(b"F          ", 0x20, 3, 1 << 30))[:BLOCK]
    for number in range(12000):
        disk.blocks[start + number] = block


def _short_crowd(disk: Blocks, start: int) -> None:
    """Files of all names, in one folder as large as the volume."""
    _chain(disk, 24000)
    for number in range(24000):
        names = (_slot(b"%-11d" % (number * 16 + index), 0x20, 3, 99) for index in range(16))
        disk.blocks[start + number] = b"".join(names)


def _maze(disk: Blocks, start: int) -> None:
    """Folders that all hold folders, each leading to the next cluster."""
    count = 12000
    for number in range(count // 128):
        disk.blocks[1 + number] = struct.pack("<128I", *([0x0FFFFFFF] * 128))
    for cluster in range(2, count):
        dots = _slot(b".          ", 0x10, cluster) + _slot(b"..         ", 0x10, 0)
        names = (_slot(b"%-11d" % number, 0x10, min(count, cluster + number)) for number in range(14))
        disk.blocks[start + cluster - 2] = dots + b"".join(names)


def _chain(disk: Blocks, count: int) -> None:
    """One chain through the first clusters, in their order."""
    for number in range(count // 128):
        first = number * 128
        disk.blocks[1 + number] = struct.pack("<128I", *range(first + 1, first + 129))


def _endless(disk: Blocks, start: int) -> None:
    """Files of 4 GiB on a chain that never ends, in leaps, on a disk of 2 TiB."""
    _chain(disk, 1 << 20)
    disk.blocks[start] = b"".join(
        _slot(b"%-11d" % number, 0x20, 3 + number, 0xFFFFFFFF) for number in range(16)
    )


def _back_and_forth(disk: Blocks, start: int) -> None:
    """A chain whose every cluster is far from the one before."""
    half = 1 << 19
    for number in range(2 * half // 128):
        first = number * 128
        links = [one + half if one < half else one - half + 1 for one in range(first, first + 128)]
        disk.blocks[1 + number] = struct.pack("<128I", *links)
    disk.blocks[start] = b"".join(
        _slot(b"%-11d" % number, 0x20, 3 + number, 0xFFFFFFFF) for number in range(16)
    )


_VERSION_HEAD = struct.pack("<HHH", 0xFFFF, 0, 1) + "V\0".encode("utf-16-le")
_VERSION_HEAD += struct.pack("<HHH", 0xFFF0, 0, 1) + "StringFileInfo\0".encode("utf-16-le")
_VERSION_HEAD += struct.pack("<HHH", 0xFF00, 0, 1) + "T\0".encode("utf-16-le")
_LEAF_ROOT = struct.pack("<12xHH", 0, 0xFFFF)
CASES: dict[str, dict[str, Made]] = {
    "gpt": {
        "all-entries-overlap": _table(_entry(9000, 20000, b"A\0" * 36)),
        "all-entries-outside": _table(_entry(1 << 60, 1 << 50, b"\x00\xd8" * 36)),
    },
    "mbr": {"long-chains": _chains},
    "pe": {
        "most-sections": _program(0xFFFF, struct.pack("<8sIIII16x", b"A", 99, 1, 99, 1), b""),
        "long-names": _program(4096, struct.pack("<8sIIII16x", b"/9", 9, 9, 9, 9), b"\xff\xff\xff\x7f"),
        "os-release-of-16-mib": _grown(".osrel", 8),
        "resources-of-16-mib": _program(
            4096, struct.pack("<8sIIII16x", b".rsrc", SIZE, 0, SIZE, 0), _LEAF_ROOT * 4096
        ),
    },
    "pe_version": {
        "smallest-blocks": repeated(struct.pack("<HHH", 8, 0, 1) + b"\0\0", _VERSION_HEAD, size=1 << 16),
        "odd-zeros": repeated(b"\xff\xff\0\0\0\0" + b"A\0\0A" * 20, size=1 << 16),
        "directory-of-directories": repeated(_LEAF_ROOT, size=1 << 18),
    },
    "os_release": {
        "assignments": repeated(b"A=b\n", size=1 << 16),
        "quotes-that-do-not-close": repeated(b'A="\\"\n', size=1 << 16),
        "one-line": repeated(b"''", b"A=", size=1 << 16),
        "many-names": lambda: b"".join(b"N%d='\n" % number for number in range(9000))[: 1 << 16],
    },
    "fat": {
        "crowd-of-short-names": _volume(32, 1, SIZE // BLOCK, 256, _short_crowd),
        "crowd-fat32": _volume(32, 1, SIZE // BLOCK, 256, _crowd),
        "crowd-fat16": _volume(16, 1, SIZE // BLOCK, 128, _crowd),
        "maze": _volume(32, 1, SIZE // BLOCK, 256, _maze),
        "endless-on-2-tib": _volume(32, 64, 0xFFFFFF00, 1 << 19, _endless),
        "back-and-forth-on-2-tib": _volume(32, 64, 0xFFFFFF00, 1 << 19, _back_and_forth),
        "zeros-behind-a-boot-sector-of-2-tib": _volume(32, 8, 0xFFFFFF00, 1 << 22, lambda disk, start: None),
    },
}


def _memory(what: str) -> int:
    """A line of the kernel's account of this process, in kilobytes."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(what))


def main() -> int:
    name, case = sys.argv[1:]
    data = CASES[name][case]()
    # Begins a new account of the peak.
    Path("/proc/self/clear_refs").write_text("5")
    before = _memory("VmRSS")
    took = max(map(_time, _questions(name, data)))
    print(took, (_memory("VmHWM") - before) / 1024)
    return 0


def _questions(name: str, data: bytes) -> list[Callable[[], None]]:
    """What is asked of the input, a second each: a volume offers more than one thing, all others do not."""
    if name != "fat":
        return [lambda: targets.run(name, data)]
    disk = targets.open_volume(data)
    return [lambda ask=ask: ask(disk) for ask in targets.VOLUME_QUESTIONS.values()]  # type: ignore[misc]


def _time(question: Callable[[], None]) -> float:
    watch = Stopwatch()
    question()
    return watch.seconds()


if __name__ == "__main__":
    sys.exit(main())
