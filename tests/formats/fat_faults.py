"""One way each in which a FAT volume can be wrong: what to change, what must be said, what fsck.fat says.

The volume: \\FIRST with A.EFI and B.EFI, \\LAST with C.EFI, each file 1500 bytes in three clusters of 512,
the folders one cluster each, one after the other from \\FIRST on; \\EMPTY has no bytes and no cluster.
"""

from collections.abc import Callable
from dataclasses import dataclass

from .fat_maker import BAD, END, FOLDER, SLOT, File, Folder, Maker, build, checksum, long_slots, slot

SIZE = 1500


@dataclass
class Sample:
    """The volume, and where its parts lie: first clusters, and the FAT's mark for a chain's end."""

    maker: Maker

    def __post_init__(self) -> None:
        self.first = 3 if self.maker.kind == 32 else 2
        self.a, self.b = self.first + 1, self.first + 4
        self.last, self.c = self.first + 7, self.first + 8
        self.end = END[self.maker.kind]

    def slot_of(self, name: bytes) -> int:
        return self.maker.data.index(name.ljust(8), self.maker.root)

    def point(self, name: bytes, cluster: int) -> None:
        at = self.slot_of(name)
        self.maker.write(at + 26, (cluster & 0xFFFF).to_bytes(2, "little"))
        self.maker.write(at + 20, (cluster >> 16).to_bytes(2, "little"))

    def resize(self, name: bytes, size: int) -> None:
        self.maker.write(self.slot_of(name) + 28, size.to_bytes(4, "little"))

    def append(self, slots: bytes) -> None:
        """Write slots behind \\LAST's own."""
        self.maker.write(self.maker.at(self.last) + 3 * SLOT, slots)


def sound(kind: int) -> Sample:
    """The volume with nothing wrong."""
    content = bytes(range(250)) * 6
    tree: list[File | Folder] = [
        Folder("FIRST", [File("A.EFI", content), File("B.EFI", content)]),
        Folder("LAST", [File("C.EFI", content)]),
        File("EMPTY"),
    ]
    return Sample(build(Maker(kind, {12: 2000, 16: 5000, 32: 70000}[kind]), tree))


@dataclass(frozen=True)
class Fault:
    """`fsck` is a pattern in fsck.fat's output; "" where it says nothing."""

    kind: int
    make: Callable[[Sample], None]
    said: list[str]
    fsck: str


FAULTS: dict[str, Fault] = {}


def fault(said: str | list[str], fsck: str = "", kind: int = 16) -> Callable[..., Callable[[Sample], None]]:
    """Registers a fault by its function's name."""

    def register(make: Callable[[Sample], None]) -> Callable[[Sample], None]:
        FAULTS[make.__name__] = Fault(kind, make, [said] if isinstance(said, str) else said, fsck)
        return make

    return register


A, B = "\\FIRST\\A.EFI", "\\FIRST\\B.EFI"


def lost(count: int) -> str:
    return f"{count} cluster{'s' if count > 1 else ''} in use by no file that can be seen"


@fault([f"{B}: shares cluster 4 with {A}", lost(2)], "share clusters")
def two_files_share_clusters(sample: Sample) -> None:
    sample.maker.link(sample.b, sample.a + 1)


@fault([f"{A}: 1500 bytes need 3 clusters, the cluster chain has 1", lost(2)], "chain length is 512 bytes")
def a_chain_ends_early(sample: Sample) -> None:
    sample.maker.link(sample.a, sample.end)


@fault(f"{A}: 1500 bytes need 3 clusters, the cluster chain has 4", r"chain length is >\s*1536 bytes")
def a_chain_is_longer_than_its_file(sample: Sample) -> None:
    sample.maker.chain([sample.a + 2, 100])


@fault(
    [f"{A}: the cluster chain leaves the volume after cluster 4 (FAT entry 0x13b0)", lost(1)],
    r"Cluster 2 out of range \(5040 > 5001\)",
)
def a_chain_leaves_the_volume(sample: Sample) -> None:
    sample.maker.link(sample.a + 1, 5040)


@fault(
    [f"{A}: the cluster chain is marked free after cluster 4 (FAT entry 0x0)", lost(1)],
    r"Contains a free cluster \(4\)",
)
def a_chain_is_marked_free(sample: Sample) -> None:
    sample.maker.link(sample.a + 1, 0)


@fault(
    [f"{A}: the cluster chain is marked bad after cluster 4 (FAT entry 0xfff7)", lost(1)],
    # fsck.fat gives up on this one.
)
def a_chain_is_marked_bad(sample: Sample) -> None:
    sample.maker.link(sample.a + 1, BAD[16])


@fault(f"{A}: the cluster chain runs in a circle at cluster 3", "[Cc]ircular cluster chain")
def a_chain_runs_in_a_circle(sample: Sample) -> None:
    sample.maker.link(sample.a + 2, sample.a)


@fault([f"{A}: first cluster 0 is not on the volume", lost(3)], "chain length is 0 bytes")
def a_file_has_no_first_cluster(sample: Sample) -> None:
    sample.point(b"A", 0)


@fault(
    [f"{A}: first cluster 6000 is not on the volume", lost(3)], r"Start cluster beyond limit \(6000 > 5001\)"
)
def a_file_begins_off_the_volume(sample: Sample) -> None:
    sample.point(b"A", 6000)


@fault(f"{A}: 0 bytes need 0 clusters, the cluster chain has 3", "chain length is >\\s*0 bytes")
def an_empty_file_has_clusters(sample: Sample) -> None:
    sample.resize(b"A", 0)


@fault("FAT copy 2 differs from the first at cluster 4", "FATs differ")
def the_fat_copies_differ(sample: Sample) -> None:
    sample.maker.link_in(1, sample.a + 1, sample.end)


@fault(lost(3), "Reclaimed 3 unused clusters")
def clusters_belong_to_no_file(sample: Sample) -> None:
    sample.maker.chain([200, 201, 202])


@fault(
    "the free-space record says 7 free clusters, there are 69988",
    "summary wrong \\(7 vs. really 69988\\)",
    32,
)
def the_free_space_record_lies(sample: Sample) -> None:
    sample.maker.write(512 + 488, (7).to_bytes(4, "little"))


@fault("the boot sector's copy at byte 3072 differs from it at byte 3", "differences between boot sector", 32)
def the_boot_sectors_copy_differs(sample: Sample) -> None:
    sample.maker.write(6 * 512 + 3, b"OTHER")


@fault("only FAT copy 2 is kept up to date, but Linux and firmware use the first", "", 32)
def only_the_second_fat_is_in_use(sample: Sample) -> None:
    for boot in (0, 6 * 512):
        sample.maker.write(boot + 40, b"\x81\0")


@fault("the boot sector says that the volume has 2597376 bytes, it ends at byte 1048576")
def the_volume_is_cut_short(sample: Sample) -> None:
    del sample.maker.data[1 << 20 :]


@fault("\\LAST: its “.” leads to cluster 2, not 9", "Invalid '.' entry in the first slot")
def a_dot_leads_elsewhere(sample: Sample) -> None:
    sample.maker.write(sample.maker.at(sample.last), slot(b".", FOLDER, sample.first))


@fault("\\LAST: its “..” leads to cluster 2, not 0", "Invalid '..' entry in the second slot")
def two_dots_lead_elsewhere(sample: Sample) -> None:
    sample.maker.write(sample.maker.at(sample.last) + SLOT, slot(b"..", FOLDER, sample.first))


@fault("\\LAST: C.EFI: a second entry of this name, which nothing can reach", "Duplicate directory entry")
def two_entries_have_one_name(sample: Sample) -> None:
    sample.append(slot(b"C       EFI"))


@fault("\\LAST: a file without a name, which nothing can reach", "Bad short file name")
def a_file_has_no_name(sample: Sample) -> None:
    sample.append(slot(b""))


SHORT = b"NOTES~1 TXT"


@fault(
    "\\LAST: NOTES~1.TXT: the long name before it is another's "
    f"(checksum 0x21, not {checksum(SHORT):#04x}): Notes.text",
    "Wrong checksum for long file name",
)
def a_long_name_is_anothers(sample: Sample) -> None:
    sample.append(long_slots("Notes.text", 0x21) + slot(SHORT))


@fault(
    "\\LAST: NOTES~1.TXT: the long name before it is not whole: Notes of year",
    'fragment "Notes of year" found outside',
)
def a_long_name_lacks_its_last_part(sample: Sample) -> None:
    sample.append(long_slots("Notes of year 2019.text", checksum(SHORT))[SLOT:] + slot(SHORT))


@fault("\\LAST: parts of a long name without a file: Notes.text", 'Orphaned long file name part "Notes.text"')
def a_long_name_has_no_file(sample: Sample) -> None:
    sample.append(long_slots("Notes.text", checksum(SHORT)))


@fault("\\LAST: NOTES~1.TXT: its long name is not proper UTF-16: Notes\ufffd.text")
def a_long_name_has_half_a_surrogate_pair(sample: Sample) -> None:
    sample.append(long_slots("Notes\ud83d.text", checksum(SHORT)) + slot(SHORT))


@fault("\\LAST: NOTES~1.TXT: its long name cannot be used: ..\\EFI\\x")
def a_long_name_would_leave_its_folder(sample: Sample) -> None:
    sample.append(long_slots("..\\EFI\\x", checksum(SHORT)) + slot(SHORT))


@fault(
    [
        "\\LAST: shares cluster 2 with \\FIRST",
        lost(4),
        "\\LAST: leads to cluster 2, where another folder begins",
    ],
    "share clusters",
)
def two_folders_are_one(sample: Sample) -> None:
    sample.point(b"LAST", sample.first)
