"""FAT volumes written byte by byte (FAT specification 1.03), for what no tool would make.

`Maker` is an empty volume to write slots, clusters and FAT entries into; `build` fills one with a tree.
Shares nothing with the readers under test; fsck.fat and mtools vouch for it (test_fat_maker.py).
"""

import struct
from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field

SLOT = 32
FOLDER, FILE, LABEL, LONG = 0x10, 0x20, 0x08, 0x0F
END = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}
BAD = {12: 0xFF7, 16: 0xFFF7, 32: 0x0FFFFFF7}
DATE, TIME = 0x5B21, 0x6000  # 2025-09-01 12:00
_PLAIN = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-~!#$%&'()@^`{}")


def checksum(short: bytes) -> int:
    total = 0
    for byte in short:
        total = ((total >> 1) + ((total & 1) << 7) + byte) & 0xFF
    return total


def slot(
    short: bytes, attributes: int = FILE, cluster: int = 0, size: int = 0, date: int = DATE, time: int = TIME
) -> bytes:
    """One 8.3 slot; `short` is padded to eleven bytes."""
    high, low = cluster >> 16, cluster & 0xFFFF
    return struct.pack(
        "<11sBBBHHHHHHHI", short.ljust(11), attributes, 0, 0, time, date, date, high, time, date, low, size
    )


def long_slots(name: str, total: int) -> bytes:
    """The slots of a long name for an 8.3 name of that checksum, last part first."""
    stored = name.encode("utf-16-le", "surrogatepass")
    count = max(1, -(-len(stored) // 26))
    if len(stored) < count * 26:
        stored = (stored + b"\0\0").ljust(count * 26, b"\xff")
    parts = []
    for number in range(count, 0, -1):
        text = stored[(number - 1) * 26 : number * 26]
        order = number | (0x40 if number == count else 0)
        parts.append(
            struct.pack("<B10sBBB12sH4s", order, text[:10], LONG, 0, total, text[10:22], 0, text[22:])
        )
    return b"".join(parts)


def dots(own: int, parent: int) -> bytes:
    """The first two slots of a folder; `parent` is 0 for the root."""
    return slot(b".", FOLDER, own) + slot(b"..", FOLDER, parent)


class Maker:
    """An empty volume: `data` is the image. `clusters` are how many there are, numbered from 2."""

    def __init__(
        self,
        kind: int,
        clusters: int,
        *,
        sector: int = 512,
        per_cluster: int = 1,
        fats: int = 2,
        root_slots: int = 512,
        kept: int | None = None,
    ) -> None:
        """`kept`: only the first so many clusters are in the image, the rest would be a hole."""
        self.kind, self.clusters, self.fats, self.sector = kind, clusters, fats, sector
        self.cluster = sector * per_cluster
        reserved = 8 if kind == 32 else 1
        root_sectors = 0 if kind == 32 else -(-root_slots * SLOT // sector)
        fat_sectors = -(-(clusters + 2) * kind // (8 * sector))
        self.fat, self.fat_size = reserved * sector, fat_sectors * sector
        self.root = self.fat + fats * self.fat_size
        self.start = self.root + root_sectors * sector
        self.size = self.start + clusters * self.cluster
        self.data = bytearray(self.start + (clusters if kept is None else kept) * self.cluster)
        self.next = 2
        total = self.size // sector
        fields = (sector, per_cluster, reserved, fats, 0 if kind == 32 else root_slots)
        sizes = (total if total < 0x10000 and kind != 32 else 0, 0xF8, 0 if kind == 32 else fat_sectors)
        large = 0 if sizes[0] else total
        boot = b"\xeb\x58\x90MAKER   " + struct.pack("<HBHBHHBHHHII", *fields, *sizes, 32, 8, 0, large)
        if kind == 32:
            boot += struct.pack("<IHHIHH12x", fat_sectors, 0, 0, 2, 1, 6)
        boot += struct.pack("<BBBI11s8s", 0x80, 0, 0x29, 0x0BADCAFE, b"NO NAME    ", b"FAT%d   " % kind)
        self.write(0, boot.ljust(510, b"\0") + b"\x55\xaa")
        self.link(0, END[kind] & ~0xFF | 0xF8)
        self.link(1, END[kind])
        if kind == 32:
            self.write(
                sector, b"RRaA".ljust(484, b"\0") + b"rrAa" + b"\xff" * 8 + bytes(12) + b"\0\0\x55\xaa"
            )
            self.write(6 * sector, bytes(self.data[:512]))
            self.chain(self.take(1))

    def write(self, offset: int, content: bytes) -> None:
        self.data[offset : offset + len(content)] = content

    def link(self, cluster: int, value: int) -> None:
        """Set a FAT entry, in all copies."""
        for copy in range(self.fats):
            self.link_in(copy, cluster, value)

    def link_in(self, copy: int, cluster: int, value: int) -> None:
        at = self.fat + copy * self.fat_size + cluster * self.kind // 8
        if self.kind == 12:
            old = int.from_bytes(self.data[at : at + 2], "little")
            value = old & 0x000F | value << 4 if cluster & 1 else old & 0xF000 | value
            self.write(at, value.to_bytes(2, "little"))
        else:
            self.write(at, value.to_bytes(self.kind // 8, "little"))

    def chain(self, clusters: Iterable[int]) -> None:
        """Link these clusters to a chain."""
        order = list(clusters)
        for cluster, following in zip(order, [*order[1:], END[self.kind]], strict=True):
            self.link(cluster, following)

    def take(self, count: int) -> range:
        """So many clusters that nothing uses yet."""
        self.next += count
        return range(self.next - count, self.next)

    def at(self, cluster: int) -> int:
        """A cluster's offset."""
        return self.start + (cluster - 2) * self.cluster

    def put(self, clusters: Iterable[int], content: bytes) -> None:
        """Write content into these clusters and link them."""
        order = list(clusters)
        for number, cluster in enumerate(order):
            self.write(self.at(cluster), content[number * self.cluster : (number + 1) * self.cluster])
        self.chain(order)

    def store(self, content: bytes) -> int:
        """Content in fresh clusters, one after the other: the first one."""
        clusters = self.take(max(1, -(-len(content) // self.cluster)))
        self.put(clusters, content)
        return clusters[0]

    def record_free(self) -> None:
        """Write down, on FAT32, how many clusters are free."""
        if self.kind == 32:
            entries = self.data[self.fat + 8 : self.fat + 4 * (self.clusters + 2)]
            free = array("I", bytes(entries)).count(0)
            self.write(self.sector + 488, struct.pack("<I", free))

    def put_root(self, slots: bytes) -> None:
        if self.kind == 32:
            count = max(1, -(-len(slots) // self.cluster))
            self.put([2, *self.take(count - 1)], slots)
        else:
            self.write(self.root, slots)


@dataclass(frozen=True)
class File:
    """A file of a tree; `removed` leaves what is left when it is deleted."""

    name: str
    content: bytes = b""
    removed: bool = False


@dataclass(frozen=True)
class Folder:
    name: str
    entries: "list[File | Folder]" = field(default_factory=list)


def build(maker: Maker, tree: "list[File | Folder]", label: str = "") -> Maker:
    """Fill the volume with a tree, names as given."""
    first = b""
    if label:
        first = slot(label.encode(), LABEL)
        for boot in (0, *([6 * maker.sector] if maker.kind == 32 else [])):
            maker.write(boot + (71 if maker.kind == 32 else 43), label.encode().ljust(11))
    maker.put_root(first + _slots(maker, tree, 0))
    maker.record_free()
    return maker


def _slots(maker: Maker, entries: "list[File | Folder]", own: int) -> bytes:
    parts = []
    for number, entry in enumerate(entries):
        if isinstance(entry, Folder):
            # Names first: how large it is must be known before its content is placed.
            count = (
                2 + sum(len(named(inner.name, place)) for place, inner in enumerate(entry.entries)) // SLOT
            )
            count += len(entry.entries)
            clusters = maker.take(max(1, -(-count * SLOT // maker.cluster)))
            maker.put(clusters, dots(clusters[0], own) + _slots(maker, entry.entries, clusters[0]))
            parts.append(_entry(entry.name, number, FOLDER, clusters[0], 0))
            continue
        cluster = maker.store(entry.content) if entry.content else 0
        slots = _entry(entry.name, number, FILE, cluster, len(entry.content))
        if entry.removed:
            slots = removed(slots)
            for place in range(-(-len(entry.content) // maker.cluster)):
                maker.link(cluster + place, 0)
        parts.append(slots)
    return b"".join(parts)


def removed(slots: bytes) -> bytes:
    """The slots after the file was deleted."""
    return b"".join(b"\xe5" + slots[at + 1 : at + SLOT] for at in range(0, len(slots), SLOT))


def _entry(name: str, number: int, attributes: int, cluster: int, size: int) -> bytes:
    return named(name, number) + slot(short(name, number), attributes, cluster, size)


def short(name: str, number: int) -> bytes:
    """The 8.3 name of the folder's entry `number`: the name itself, else one made up."""
    base, _, extension = name.partition(".")
    if 1 <= len(base) <= 8 and len(extension) <= 3 and _PLAIN.issuperset(base + extension):
        return base.encode().ljust(8) + extension.encode().ljust(3)
    first = name.lstrip(" .")[:1].upper()
    return ((first if first in _PLAIN else "_") + f"~{number:06}").encode().ljust(11)


def named(name: str, number: int) -> bytes:
    """The slots of the long name, if it needs any."""
    alias = short(name, number)
    plain = alias[:8].rstrip() + (b"." + alias[8:].rstrip() if alias[8:].strip() else b"")
    return b"" if plain == name.encode("utf-8", "replace") else long_slots(name, checksum(alias))
