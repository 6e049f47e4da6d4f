"""Volumes made to cost as much as they can: of at most 16 MiB, or larger ones that are mostly holes.

What costs: folders that share the rest of their chain, so that a few bytes are read again and again; folders
that nest or fan out; names and paths as long as can be; chains that jump at every cluster.
"""

import io
import random
from array import array
from collections.abc import Callable

from .fat_maker import END, FOLDER, SLOT, Maker, checksum, dots, long_slots, slot

CLUSTERS = 32_000
FANNED = 20_000
# Clusters of the longest folder that Linux reads.
LONGEST = 4095


def name(number: int) -> bytes:
    return b"%08d   " % number


def fanned(tail: Callable[[int], bytes] | None = None, folders: int = FANNED) -> Maker:
    """As many folders in the root as it can hold; with `tail` each goes on into the same longest chain, whose
    slot of each number it gives.
    """
    maker = Maker(32, CLUSTERS, fats=1)
    shared = maker.take(LONGEST - 1)
    if tail is not None:
        maker.put(shared, b"".join(tail(number) for number in range(len(shared) * SLOT // 2)))
    root = b"".join(slot(name(number), FOLDER, 9000 + number) for number in range(folders))
    maker.next = 4100
    maker.put_root(root)
    for cluster in range(9000, 9000 + folders):
        own = b"".join(slot(b"%06d%02d" % (cluster, number)) for number in range(14)) if tail else b""
        maker.write(maker.at(cluster), dots(cluster, 0) + own)
        maker.link(cluster, shared[0] if tail else END[32])
    return maker


def folders_that_fan_out() -> Maker:
    return fanned(folders=22_900)


def folders_that_nest() -> Maker:
    maker = Maker(32, CLUSTERS, fats=1)
    maker.put_root(slot(b"A", FOLDER, 3))
    for cluster in range(3, CLUSTERS):
        maker.write(maker.at(cluster), dots(cluster, cluster - 1) + slot(b"A", FOLDER, cluster + 1))
        maker.link(cluster, END[32])
    return maker


def folders_that_share_files() -> Maker:
    return fanned(lambda number: slot(name(number), date=0x5B21 + number % 8, time=number % 0x6000))


def folders_that_share_folders() -> Maker:
    return fanned(lambda number: slot(name(number), FOLDER, 9000 + number % FANNED))


def folders_that_share_removed_files() -> Maker:
    return fanned(lambda number: b"\xe5" + slot(name(number), 0x20, 3, 0xFFFFFFFF)[1:])


def folders_that_share_parts_of_names() -> Maker:
    return fanned(lambda number: long_slots("x" * 13, number & 0xFF))


def folders_that_share_long_names() -> Maker:
    slots = b"".join(
        long_slots("😀" * 120 + f"{number:05}", checksum(name(number))) + slot(name(number))
        for number in range(3300)
    )
    return fanned(lambda number: slots[number * SLOT : (number + 1) * SLOT])


def folders_that_share_files_dear_to_spell() -> Maker:
    """Characters beyond ASCII in either name, lower-case flags, each time another."""

    def pair(number: int) -> bytes:
        short = (
            bytes((0x81 + number % 100, 0x81 + number // 100 % 100, 0x81 + number // 10_000)) * 2
            + b"\x9a\x99"
        )
        entry = bytearray(slot(short.ljust(11, b"\x90"), date=0x5B21, time=number * 7 % 0xBF00))
        entry[12] = 0x18
        return long_slots(f"Łódź ü{number:07}", checksum(bytes(entry[:11]))) + bytes(entry)

    slots = b"".join(pair(number) for number in range(LONGEST * SLOT // 4))
    return fanned(lambda number: slots[number * SLOT : (number + 1) * SLOT])


def files_below_a_long_path() -> Maker:
    maker = Maker(32, CLUSTERS, fats=1)
    maker.put_root(slot(b"A", FOLDER, 3))
    for depth in range(4):
        own, second = maker.take(2)
        inner = long_slots("😀" * 120 + str(depth), checksum(b"A".ljust(11))) + slot(b"A", FOLDER, own + 2)
        maker.put([own, second], dots(own, own - 2 if depth else 0) + inner)
    files = maker.take(LONGEST)
    maker.put(files, dots(files[0], 9) + b"".join(slot(name(number)) for number in range(65_000)))
    return maker


HOSTILE = {
    make.__name__: make
    for make in (
        folders_that_fan_out,
        folders_that_nest,
        folders_that_share_files,
        folders_that_share_folders,
        folders_that_share_removed_files,
        folders_that_share_parts_of_names,
        folders_that_share_long_names,
        folders_that_share_files_dear_to_spell,
        files_below_a_long_path,
    )
}


class Reader(io.BytesIO):
    """A reader that counts, and that ends in as many zeros as the volume says."""

    def __init__(self, maker: Maker) -> None:
        super().__init__(maker.data)
        self.reads = 0
        self.bytes = 0
        self._hole = maker.size - len(maker.data)
        self._size = maker.size

    def seek(self, offset: int, whence: int = 0, /) -> int:
        return super().seek(self._size + offset if whence == 2 else offset, 0 if whence == 2 else whence)

    def read(self, size: int | None = -1, /) -> bytes:
        at = self.tell()
        data = super().read(size)
        if size is not None and size > len(data):
            data += bytes(min(size, max(0, self._size - at)) - len(data))
            super().seek(at + len(data))
        self.reads += 1
        self.bytes += len(data)
        return data


def a_file_in_a_million_pieces() -> Maker:
    """A FAT of 4 MB; every cluster of the chain lies elsewhere. The files themselves are holes."""
    maker = Maker(32, 1_000_000, per_cluster=8, fats=1, kept=20)
    order = array("I", random.Random(1).sample(range(20, 1_000_000), 900_000))
    table = array("I", bytes(4 * 1_000_002))
    for cluster, following in zip(order, [*order[1:], END[32]], strict=True):
        table[cluster] = following
    table[2] = END[32]
    maker.write(maker.fat + 8, table.tobytes()[8:])
    size = 900_000 * 4096
    maker.put_root(slot(b"PIECES  BIN", 0x20, order[0], size))
    return maker


def removed_files_of_4_gib() -> Maker:
    """On a volume of 16 GiB in which everything is free."""
    maker = Maker(32, 1 << 22, per_cluster=8, fats=1, kept=600)
    maker.put_root(
        b"".join(
            b"\xe5" + slot(name(number), 0x20, 5000 + number * 7919 % (1 << 21), 0xFFFFFFFF)[1:]
            for number in range(65_000)
        )
    )
    return maker
