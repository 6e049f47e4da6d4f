"""FAT volumes against mkfs.fat and mtools, which make and read them."""

import hashlib
import io
import os
import random
import re
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from bootwatch.formats import FormatError, TooLarge
from bootwatch.formats.fat import Volume
from bootwatch.formats.fat_name import fold

from . import volume
from .tools import FailingReader, blank, patch, run
from .volume import fsck

KINDS = [(12, 2000), (16, 8000), (32, 40000)]
NAMES = [
    "loaderx64.efi",
    "LOADER.EFI",
    "Mixed.Efi",
    "lower.EFI",
    "UPPER.efi",
    "noextension",
    "a",
    ".hidden",
    "two.dots.conf",
    "with space",
    "exactly13char",
    "x" * 200 + ".conf",
    "Straße süß.efi",
    "GRÜN.EFI",
    "Łódź ☃.conf",
    "6.1.0-28-amd64+deb12.conf",
]


def tree(folder: Path, seed: int) -> dict[str, bytes]:
    """A folder of files on the host, and what the volume must then hold: path and content."""
    chance = random.Random(seed)
    content: dict[str, bytes] = {}
    for part in ("EFI/fernwick", "EFI/BOOT", "EFI/quarry/a long folder name", "loader/entries", "EFI/leer"):
        (folder / part).mkdir(parents=True)
        for name in chance.sample(NAMES, chance.randrange(len(NAMES))) if part != "EFI/leer" else []:
            data = chance.randbytes(chance.choice([0, 1, 511, 512, 513, 4096, 30_000]))
            (folder / part / name).write_bytes(data)
            content["\\" + f"{part}/{name}".replace("/", "\\")] = data
    return content


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("kind", "kib"), KINDS)
def test_walk_and_content_agree_with_mtools(tmp_path: Path, kind: int, kib: int, seed: int) -> None:
    content = tree(tmp_path / "tree", seed)
    image = volume.make(tmp_path / "volume", kind, kib)
    volume.copy_in(image, sorted((tmp_path / "tree").iterdir()))
    with image.open("rb") as file:
        fat = Volume(file)
        entries = list(fat.walk())
        assert fat.fat_type == kind
        assert sorted(entry.path + "\\" * entry.is_folder for entry in entries) == volume.listing(image)
        files = {entry.path: entry.size for entry in entries if not entry.is_folder}
        assert files == {path: len(data) for path, data in content.items()}
        for path, data in content.items():
            assert fat.read(path) == data
        assert (fat.problems, fat.damaged_paths) == ([], set())


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        (12, ("-S", "4096", "-s", "1")),
        (12, ("-S", "1024", "-s", "4", "-R", "8")),
        (16, ("-S", "2048", "-s", "1", "-f", "1")),
        (16, ("-S", "512", "-s", "4", "-r", "64")),
        (32, ("-S", "512", "-s", "1", "-R", "64")),
    ],
)
def test_sector_and_cluster_sizes(tmp_path: Path, kind: int, options: tuple[str, ...]) -> None:
    content = tree(tmp_path / "tree", 7)
    image = volume.make(tmp_path / "volume", kind, 40000 if kind == 32 else 12000, *options)
    volume.copy_in(image, sorted((tmp_path / "tree").iterdir()))
    with image.open("rb") as file:
        fat = Volume(file)
        assert fat.fat_type == kind
        assert {entry.path for entry in fat.walk() if not entry.is_folder} == set(content)
        assert all(fat.read(path) == data for path, data in content.items())
        assert fat.problems == []


@pytest.mark.parametrize(("kind", "kib"), KINDS)
def test_label_serial_and_free_space(tmp_path: Path, kind: int, kib: int) -> None:
    image = volume.make(tmp_path / "volume", kind, kib, "-n", "FERNBOOT", "-i", "0badcafe")
    (tmp_path / "file").write_bytes(bytes(100_000))
    volume.copy_in(image, [tmp_path / "file"])
    shown = run("mdir", "-i", image, "::/")
    known = dict(line.split("=", 1) for line in run("blkid", "-p", "-o", "export", image).splitlines())
    with image.open("rb") as file:
        fat = Volume(file)
        assert fat.label == known["LABEL"] == "FERNBOOT"
        assert fat.serial == known["UUID"] == "0BAD-CAFE"
        free = re.search(r"([\d ]+) bytes free", shown)
        assert free is not None
        assert fat.free_bytes == int(free[1].replace(" ", ""))
        assert not fat.dirty


def test_label_is_the_root_folders_before_the_boot_sectors(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000, "-n", "BEFORE")
    run("mlabel", "-i", image, "::After")
    patch(image, 43, b"BOOTSECTOR ")
    with image.open("rb") as file:
        assert Volume(file).label == "AFTER"
    run("mlabel", "-c", "-i", image, "::")
    patch(image, 43, b"BOOTSECTOR ")
    with image.open("rb") as file:
        assert Volume(file).label == "BOOTSECTOR"


def test_a_volume_without_label(tmp_path: Path) -> None:
    with volume.make(tmp_path / "volume", 32, 40000).open("rb") as file:
        assert Volume(file).label == ""


@pytest.mark.parametrize(("kind", "kib", "byte"), [(12, 2000, 0x25), (16, 8000, 0x25), (32, 40000, 0x41)])
def test_dirty_by_the_boot_sector(tmp_path: Path, kind: int, kib: int, byte: int) -> None:
    image = volume.make(tmp_path / "volume", kind, kib)
    patch(image, byte, b"\x01")
    # fsck.fat looks at the flag of FAT12 volumes too, but only says so of the others.
    assert kind == 12 or "Dirty bit is set" in run("fsck.fat", "-n", image, statuses=(0, 1))
    with image.open("rb") as file:
        assert Volume(file).dirty


@pytest.mark.parametrize(("kind", "kib", "value"), [(16, 8000, 0x7FFF), (32, 40000, 0x07FFFFFF)])
def test_dirty_by_the_table(tmp_path: Path, kind: int, kib: int, value: int) -> None:
    image = volume.make(tmp_path / "volume", kind, kib)
    volume.Layout(image).link(1, value)
    with image.open("rb") as file:
        assert Volume(file).dirty


def test_a_free_space_record_that_lies_is_not_believed(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 32, 40000)
    (tmp_path / "file").write_bytes(bytes(100_000))
    volume.copy_in(image, [tmp_path / "file"])
    with image.open("rb") as file:
        true = Volume(file).free_bytes
    patch(image, 512 + 488, (5).to_bytes(4, "little"))
    # mdir believes the record, fsck.fat counts.
    assert "2 560 bytes free" in run("mdir", "-i", image, "::/")
    counted = re.search(r"Free cluster summary wrong \(5 vs. really (\d+)\)", fsck(image))
    assert counted is not None
    with image.open("rb") as file:
        assert Volume(file).free_bytes == true == int(counted[1]) * 512


@pytest.mark.long
@pytest.mark.parametrize(("dirty", "clusters"), [(b"\0", 5), (b"\1", None)])
def test_the_record_is_believed_where_counting_would_be_dear(
    tmp_path: Path, dirty: bytes, clusters: int | None
) -> None:
    """A terabyte: its table is 128 MiB. Not after an unclean end."""
    image = blank(tmp_path / "volume", 1 << 40)
    run("mkfs.fat", "-F", "32", "-s", "64", image)
    free = 5 if clusters else int(run("minfo", "-i", image, "::").split("free clusters=")[1].split()[0])
    patch(image, 512 + 488, (5).to_bytes(4, "little"))
    patch(image, 0x41, dirty)
    with image.open("rb") as file:
        assert Volume(file).free_bytes == free * 64 * 512


@pytest.mark.parametrize(
    "time", ["1980-01-01T00:00:00", "2024-02-29T23:59:58", "2099-12-31T12:34:56", "2026-07-08T09:01:02"]
)
def test_times_are_local_text(tmp_path: Path, time: str) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000)
    (tmp_path / "file").write_bytes(b"x")
    seconds = datetime.fromisoformat(time).replace(tzinfo=UTC).timestamp()
    os.utime(tmp_path / "file", (seconds, seconds))
    # mtools is told that the local time is UTC.
    volume.copy_in(image, [tmp_path / "file"])
    with image.open("rb") as file:
        (entry,) = Volume(file).walk()
    assert entry.time == time


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fat")
    image = volume.make(folder / "volume", 32, 40000)
    (folder / "EFI" / "Fernwick").mkdir(parents=True)
    (folder / "EFI" / "Fernwick" / "A Loader of Ours.efi").write_bytes(random.Random(1).randbytes(70_001))
    (folder / "EFI" / "Fernwick" / "GRÜN.efi").write_bytes(b"green")
    volume.copy_in(image, [folder / "EFI"])
    return image


@pytest.mark.parametrize(
    "path",
    [
        "\\EFI\\Fernwick\\A Loader of Ours.efi",
        "\\efi\\FERNWICK\\a loader OF ours.EFI",
        "EFI\\Fernwick\\A Loader of Ours.efi",
        "/EFI/Fernwick/A Loader of Ours.efi",
        "\\\\EFI\\\\Fernwick\\A Loader of Ours.efi",
        "\\EFI\\FERNWICK\\ALOADE~1.EFI",
    ],
)
def test_names_match_in_any_case_and_by_alias(filled: Path, path: str) -> None:
    with filled.open("rb") as file:
        assert len(Volume(file).read(path)) == 70_001


def test_latin_1_letters_match_in_any_case(filled: Path) -> None:
    with filled.open("rb") as file:
        assert Volume(file).read("\\efi\\fernwick\\grün.efi") == b"green"


@pytest.mark.parametrize("path", ["\\EFI\\absent", "\\absent\\x", "\\EFI\\Fernwick\\GRÜN.efi\\x"])
def test_an_absent_file(filled: Path, path: str) -> None:
    with filled.open("rb") as file, pytest.raises(FileNotFoundError):
        Volume(file).open(path)


@pytest.mark.parametrize("path", ["\\EFI", "\\", ""])
def test_a_folder_cannot_be_opened(filled: Path, path: str) -> None:
    with filled.open("rb") as file, pytest.raises(IsADirectoryError):
        Volume(file).open(path)


def test_a_file_beyond_the_limit(filled: Path) -> None:
    with filled.open("rb") as file:
        fat = Volume(file)
        assert len(fat.read("\\EFI\\Fernwick\\A Loader of Ours.efi", 70_001)) == 70_001
        with pytest.raises(TooLarge, match="70001 bytes, more than the limit of 70000"):
            fat.read("\\EFI\\Fernwick\\A Loader of Ours.efi", 70_000)


def test_an_open_file_is_a_reader_like_any_other(filled: Path) -> None:
    whole = random.Random(1).randbytes(70_001)
    with filled.open("rb") as file:
        reader = Volume(file).open("\\EFI\\Fernwick\\A Loader of Ours.efi")
        assert hashlib.file_digest(reader, "sha256").digest() == hashlib.sha256(whole).digest()
        chance = random.Random(2)
        mirror = io.BytesIO(whole)
        for _ in range(300):
            offset, size = chance.randrange(71_000), chance.choice([0, 1, 511, 512, 5000, 80_000, -1])
            assert reader.seek(offset) == mirror.seek(offset)
            assert reader.read(size) == mirror.read(size)
            assert reader.tell() == mirror.tell()
        assert reader.seek(-1, io.SEEK_END) == 70_000
        assert reader.read() == whole[-1:]


def test_a_fragmented_file(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000)
    chance = random.Random(3)
    for name in ("a", "b", "c", "d"):
        (tmp_path / name).write_bytes(chance.randbytes(2000))
        volume.copy_in(image, [tmp_path / name])
    run("mdel", "-i", image, "::/a", "::/c")
    (tmp_path / "spread").write_bytes(chance.randbytes(9000))
    volume.copy_in(image, [tmp_path / "spread"])
    chain = volume.clusters(image, "::/spread")
    assert any(after != before + 1 for before, after in pairwise(chain))
    with image.open("rb") as file:
        assert Volume(file).read("\\spread") == (tmp_path / "spread").read_bytes()


def test_deleted_files_are_gone(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000)
    for name in ("first.conf", "a long name that goes.conf", "last.conf"):
        (tmp_path / name).write_bytes(b"x")
        volume.copy_in(image, [tmp_path / name])
    run("mdel", "-i", image, "::/a long name that goes.conf")
    paths, fat = volume.walk(image)
    assert paths == volume.listing(image) == ["\\first.conf", "\\last.conf"]
    assert fat.problems == []


def test_case_flags_are_honoured_as_mtools_does(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000)
    (tmp_path / "LOADER.EFI").write_bytes(b"x")
    volume.copy_in(image, [tmp_path / "LOADER.EFI"])
    root = volume.Layout(image).root
    for flags, name in ((0, "LOADER.EFI"), (8, "loader.EFI"), (16, "LOADER.efi"), (24, "loader.efi")):
        patch(image, root + 12, bytes([flags]))
        assert volume.walk(image)[0] == volume.listing(image) == ["\\" + name]


def test_a_name_that_begins_with_the_deleted_mark(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 16, 8000)
    (tmp_path / "XY.EFI").write_bytes(b"x")
    volume.copy_in(image, [tmp_path / "XY.EFI"])
    patch(image, volume.Layout(image).root, b"\x05")
    assert volume.walk(image)[0] == ["\\" + b"\xe5".decode("cp437") + "Y.EFI"]


@pytest.mark.parametrize("length", [0, 3, 511])
def test_too_short_for_a_boot_sector(length: int) -> None:
    with pytest.raises(FormatError, match="boot sector"):
        Volume(io.BytesIO(bytes(length)))


def test_other_content_is_no_volume(tmp_path: Path) -> None:
    for content in (bytes(4096), random.Random(4).randbytes(4096), b"MZ" + bytes(4096)):
        with pytest.raises(FormatError, match="no FAT volume"):
            Volume(io.BytesIO(content))


def test_folding_touches_ascii_and_latin_1_only() -> None:
    assert (
        fold("\\efi\\ärger÷ßÿ\N{LATIN SMALL LETTER L WITH STROKE}")
        == "\\EFI\\ÄRGER÷ßÿ\N{LATIN SMALL LETTER L WITH STROKE}"
    )


def test_read_errors_pass_through(filled: Path) -> None:
    reader = FailingReader(filled, 4096)
    fat = Volume(reader)
    with pytest.raises(OSError, match="Input/output error"):
        list(fat.walk())
    with pytest.raises(OSError, match="Input/output error"):
        fat.read("\\EFI\\absent")
    reader.close()


def test_a_large_folder(tmp_path: Path) -> None:
    image = volume.make(tmp_path / "volume", 32, 40000)
    folder = tmp_path / "many"
    folder.mkdir()
    for number in range(400):
        (folder / f"A rather long file name number {number}.conf").write_bytes(b"")
    volume.copy_in(image, [folder])
    paths, fat = volume.walk(image)
    assert paths == volume.listing(image)
    assert len(paths) == 401
    assert fat.problems == []
