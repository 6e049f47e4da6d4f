"""Every size of sector and cluster, folders and files of every size, the longest names."""

import hashlib
import io
import random
import tracemalloc
from pathlib import Path

import pytest

from bootwatch.formats.fat import Volume
from bootwatch.formats.fat_table import FatTable

from . import volume
from .fat_maker import END, File, Folder, Maker, build, slot
from .tools import blank, run

# Bytes a sector, sectors a cluster, and how many KiB make a volume of that type.
SHAPES = [
    *((12, sector, 1 << shift, 4 * sector - 100) for sector in (512, 1024, 2048, 4096) for shift in (0, 3)),
    *((16, sector, 65536 // sector, 400_000) for sector in (512, 1024, 2048, 4096)),
    *((16, sector, 1, 20 * sector) for sector in (512, 1024, 2048, 4096)),
    *((32, sector, 1, 70 * sector) for sector in (512, 1024, 2048, 4096)),
    (32, 512, 128, 4_600_000),
]


@pytest.mark.parametrize(("kind", "sector", "per_cluster", "kib"), SHAPES)
def test_every_sector_and_cluster_size(
    tmp_path: Path, kind: int, sector: int, per_cluster: int, kib: int
) -> None:
    image = blank(tmp_path / "volume", kib << 10)
    run("mkfs.fat", "-F", str(kind), "-S", str(sector), "-s", str(per_cluster), image)
    content = random.Random(kib).randbytes(3 * sector * per_cluster - 5)
    (tmp_path / "EFI").mkdir()
    (tmp_path / "EFI" / "A Loader of Ours.efi").write_bytes(content)
    (tmp_path / "EFI" / "EMPTY").write_bytes(b"")
    volume.copy_in(image, [tmp_path / "EFI"])
    with image.open("rb") as file:
        fat = Volume(file)
        assert (fat.fat_type, fat.cluster_size) == (kind, sector * per_cluster)
        assert sorted(entry.path + "\\" * entry.is_folder for entry in fat.walk()) == volume.listing(image)
        assert fat.read("\\EFI\\A Loader of Ours.efi") == content
        assert fat.read("\\EFI\\EMPTY") == b""
        shown = run("mdir", "-i", image, "::/").rpartition("bytes free")[0].splitlines()[-1]
        assert fat.free_bytes == int(shown.replace(" ", ""))
        assert fat.check() == []


@pytest.mark.long
def test_a_folder_of_20000_entries(tmp_path: Path) -> None:
    names = [f"Loader no. {number}.conf" for number in range(19_000)]
    names += [f"F{number}.EFI" for number in range(1000)]
    chance = random.Random(5)
    chance.shuffle(names)
    maker = build(Maker(32, 70000), [Folder("EFI", [File(name) for name in names])])
    image = tmp_path / "volume"
    image.write_bytes(maker.data)
    paths, fat = volume.walk(image)
    assert paths == volume.listing(image)
    assert len(paths) == 20_001
    assert (fat.problems, fat.limited_paths) == ([], set())
    with image.open("rb") as file:
        assert Volume(file).find("\\efi\\LOADER NO. 18999.conf").is_folder is False


@pytest.mark.long
def test_a_file_of_500_mb_streams() -> None:
    """Its clusters lie in a hole of the image but for the first and the last."""
    size, cluster = 500_000_000, 4096
    clusters = range(10, 10 + -(-size // cluster))
    maker = Maker(32, 130_000, per_cluster=8, kept=20)
    maker.put_root(slot(b"LARGE   BIN", 0x20, clusters[0], size))
    maker.chain(clusters)
    maker.write(maker.at(clusters[0]), b"first")
    reader = Hole(bytes(maker.data), maker.size, maker.at(clusters[0]) + size - 4, b"last")
    with Volume(reader).open("\\LARGE.BIN") as file:
        digest = hashlib.sha256()
        tracemalloc.start()
        try:
            while chunk := file.read(1 << 20):
                digest.update(chunk)
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert file.tell() == size
    expected = hashlib.sha256(b"first")
    rest = size - 9
    while rest:
        expected.update(bytes(min(rest, 1 << 20)))
        rest -= min(rest, 1 << 20)
    expected.update(b"last")
    assert digest.digest() == expected.digest()
    assert peak < 8 << 20


class Hole(io.RawIOBase):
    """An image of which only the beginning and a few bytes elsewhere are not zero."""

    def __init__(self, begin: bytes, size: int, offset: int, there: bytes) -> None:
        super().__init__()
        self._parts = [(0, begin), (offset, there)]
        self._size = size
        self._at = 0

    def seek(self, offset: int, whence: int = 0, /) -> int:
        self._at = offset + (0, self._at, self._size)[whence]
        return self._at

    def read(self, size: int | None = -1, /) -> bytes:
        left = max(0, self._size - self._at)
        length = left if size is None or size < 0 else min(size, left)
        data = bytearray(length)
        for start, part in self._parts:
            first, last = max(start, self._at), min(start + len(part), self._at + length)
            if first < last:
                data[first - self._at : last - self._at] = part[first - start : last - start]
        self._at += length
        return bytes(data)


@pytest.mark.long
def test_a_large_file_in_many_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every cluster apart from the next, read forwards, backwards and anywhere; going back does not begin
    anew.
    """
    followed = 0
    follow = FatTable.follow

    def counted(table: FatTable, cluster: int) -> int | None:
        nonlocal followed
        followed += 1
        return follow(table, cluster)

    monkeypatch.setattr(FatTable, "follow", counted)
    maker = Maker(16, 6000)
    clusters = list(range(2, 6002))
    random.Random(6).shuffle(clusters)
    clusters = clusters[:5000]
    content = random.Random(7).randbytes(512 * 5000 - 100)
    maker.put(clusters, content)
    maker.put_root(slot(b"PIECES  BIN", 0x20, clusters[0], len(content)))
    volume_ = Volume(io.BytesIO(maker.data))
    assert volume_.read("\\PIECES.BIN") == content
    assert volume_.check() == []
    followed = 0
    with volume_.open("\\PIECES.BIN") as file:
        chance = random.Random(8)
        offsets = [
            *range(len(content) - 1000, 0, -100_001),
            *(chance.randrange(len(content)) for _ in range(200)),
        ]
        for offset in offsets:
            file.seek(offset)
            assert file.read(700) == content[offset : offset + 700]
    assert followed < 5000 + 1100 * len(offsets)


def test_an_entry_of_a_walk_can_be_opened(tmp_path: Path) -> None:
    maker = build(Maker(16, 5000), [Folder("EFI", [File("LOADER.EFI", b"MZ" * 999)])])
    fat = Volume(io.BytesIO(maker.data))
    folder, file = fat.walk()
    assert fat.open(file).read() == b"MZ" * 999
    with pytest.raises(IsADirectoryError):
        fat.open(folder)


@pytest.mark.parametrize(
    "name",
    ["x" * 255, "ü" * 255, "☃" * 254 + "x", "😀" * 127, "😀" * 127 + "x", "a😀.efi", "x" * 12 + "😀", "´"],
)
def test_long_names_in_the_whole_of_utf_16(tmp_path: Path, name: str) -> None:
    maker = build(Maker(16, 5000), [File(name, b"x"), File("NEXT")])
    image = tmp_path / "volume"
    image.write_bytes(maker.data)
    run("fsck.fat", "-n", image)
    fat = Volume(io.BytesIO(maker.data))
    assert [entry.path for entry in fat.walk()] == ["\\" + name, "\\NEXT"]
    assert fat.read("\\" + name) == b"x"
    assert fat.problems == []


@pytest.mark.parametrize("name", ["x" * 256, "😀" * 128, "☃" * 260])
def test_longer_names_are_none(name: str) -> None:
    fat = Volume(io.BytesIO(build(Maker(16, 5000), [File(name)]).data))
    (entry,) = fat.walk()
    assert entry.path == "\\" + entry.alias
    assert "its long name cannot be used" in fat.problems[0]


def test_a_table_that_ends_where_it_must() -> None:
    """The last cluster of a full FAT12 table, whose entry ends in the middle of a byte."""
    for clusters in (1021, 1022, 2047, 2048):
        maker = Maker(12, clusters)
        maker.put([clusters + 1], b"last")
        maker.put_root(slot(b"LAST", 0x20, clusters + 1, 4))
        fat = Volume(io.BytesIO(maker.data))
        assert fat.read("\\LAST") == b"last"
        assert fat.free_bytes == (clusters - 1) * 512


def test_reserved_bits_of_fat32_entries_count_for_nothing() -> None:
    maker = Maker(32, 70000)
    maker.put_root(slot(b"FILE", 0x20, 10, 1200))
    for cluster, following in ((10, 11), (11, 20), (20, END[32])):
        maker.link(cluster, following | 0xA0000000)
    for free in (30, 31, 40_000):
        maker.link(free, 0xF0000000)
    fat = Volume(io.BytesIO(maker.data))
    assert len(fat.read("\\FILE")) == 1200
    assert fat.free_bytes == (70000 - 4) * 512
