"""What is left of removed files: removed by mtools, with clusters as mshowfat gave them before."""

import io
from pathlib import Path

import pytest

from bootwatch.formats.fat import Deleted, Volume

from . import volume
from .fat_maker import (
    FOLDER,
    SLOT,
    File,
    Folder,
    Maker,
    build,
    checksum,
    dots,
    long_slots,
    removed,
    slot,
)
from .tools import patch, run

KINDS = [(12, 2000), (16, 8000), (32, 40000)]
FILES = {
    "LOADER.EFI": 3000,
    "A Loader of Ours.efi": 5000,
    "GRÜN 😀.conf": 10,
    "EMPTY.TXT": 0,
    "exactly13char": 600,
    "x" * 255: 700,
}


def deleted(image: Path) -> dict[str, Deleted]:
    with image.open("rb") as file:
        fat = Volume(file)
        found = list(fat.deleted())
        assert fat.problems == []
    assert len({each.path for each in found}) == len(found)
    return {each.path: each for each in found}


@pytest.fixture(params=KINDS)
def image(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    kind, kib = request.param
    return filled(volume.make(tmp_path / "volume", kind, kib), tmp_path)


def filled(image: Path, tmp_path: Path) -> Path:
    source = tmp_path / "EFI" / "Quarry"
    source.mkdir(parents=True)
    for name, size in FILES.items():
        (source / name).write_bytes(b"x" * size)
    volume.copy_in(image, [tmp_path / "EFI"])
    return image


def test_nothing_was_removed(image: Path) -> None:
    assert deleted(image) == {}


def test_files_that_mtools_removed(image: Path) -> None:
    folder = "::/EFI/Quarry/"
    # mtools spells what lies beyond 16 bits in its own way.
    names = [name for name in FILES if "😀" not in name]
    first = {name: volume.clusters(image, folder + name) for name in names if FILES[name]}
    run("mdel", "-i", image, *(folder + name for name in names))
    found = deleted(image)
    shown = {"LOADER.EFI": "?OADER.EFI", "EMPTY.TXT": "?MPTY.TXT"}
    assert set(found) == {"\\EFI\\Quarry\\" + shown.get(name, name) for name in names}
    for name in names:
        each = found["\\EFI\\Quarry\\" + shown.get(name, name)]
        assert (each.size, each.is_folder, each.recoverable) == (FILES[name], False, True)
        assert each.first_cluster == first.get(name, [0])[0]
        # 13 characters fill their part: nothing shows that the name ends there.
        assert each.name_is_whole == (name not in shown and len(name) != 13)


def test_time_is_the_files_own(image: Path) -> None:
    with image.open("rb") as file:
        times = {entry.path: entry.time for entry in Volume(file).walk()}
    run("mdel", "-i", image, "::/EFI/Quarry/A Loader of Ours.efi")
    path = "\\EFI\\Quarry\\A Loader of Ours.efi"
    assert deleted(image)[path].time == times[path]


def test_what_was_overwritten_is_not_recoverable(image: Path, tmp_path: Path) -> None:
    run("mdel", "-i", image, "::/EFI/Quarry/A Loader of Ours.efi")
    path = "\\EFI\\Quarry\\A Loader of Ours.efi"
    first = deleted(image)[path].first_cluster
    layout = volume.Layout(image)
    if layout.kind == 12:
        # Entry `first`, whichever half it is.
        at = layout.fat + first * 3 // 2
        patch(image, at, b"\xff\xff")
    else:
        layout.link(first + 2, (1 << min(layout.kind, 28)) - 1)
    found = deleted(image)[path]
    assert (found.first_cluster, found.recoverable) == (first, False)


def test_a_whole_tree_that_mtools_removed(tmp_path: Path) -> None:
    """The folder's slots take one cluster: where the rest of its chain lay, nothing tells any more."""
    image = filled(volume.make(tmp_path / "volume", 16, 16000, "-s", "4"), tmp_path)
    cluster = volume.clusters(image, "::/EFI/Quarry")[0]
    run("mdeltree", "-i", image, "::/EFI/Quarry")
    found = deleted(image)
    assert found["\\EFI\\Quarry"].first_cluster == cluster
    assert (found["\\EFI\\Quarry"].is_folder, found["\\EFI\\Quarry"].recoverable) == (True, True)
    below = {path.removeprefix("\\EFI\\Quarry\\") for path in found if path != "\\EFI\\Quarry"}
    # What lies beyond 16 bits is mtools' own affair.
    known = {"?OADER.EFI", "A Loader of Ours.efi", "?MPTY.TXT", "exactly13char", "x" * 255}
    assert known < below
    assert len(below) == len(FILES)


def small(slots: bytes) -> list[Deleted]:
    maker = Maker(16, 5000)
    maker.put_root(slots)
    return list(Volume(io.BytesIO(maker.data)).deleted())


SHORT = b"NOTESO~1TXT"


def test_a_long_name_of_another_file_is_not_taken() -> None:
    """Only the first part of a removed long name was overwritten by another file's name."""
    slots = removed(long_slots("Other things.text", checksum(b"OTHERT~1TXT")) + slot(SHORT))
    assert [each.path for each in small(slots)] == ["\\?OTESO~1.TXT"]


def test_a_long_name_whose_end_was_overwritten() -> None:
    slots = removed(long_slots("Notes of the year 2019.text", checksum(SHORT)) + slot(SHORT))
    kept = slot(b"NEW     TXT") + slots[SLOT:]
    assert [(each.path, each.name_is_whole) for each in small(kept)] == [
        ("\\Notes of the year 2019.tex", False)
    ]


def test_two_removed_files_one_after_the_other() -> None:
    """Each takes the parts before it, up to the one where its name ends."""
    first = removed(long_slots("Notes one.text", checksum(SHORT)))
    second = removed(long_slots("Notes two.text", checksum(SHORT)) + slot(SHORT))
    assert [each.path for each in small(first + second)] == ["\\Notes two.text"]


def test_files_in_a_removed_folder_that_were_not_removed_themselves() -> None:
    maker = Maker(16, 5000)
    cluster = maker.take(1)[0]
    inner = long_slots("A Loader.efi", checksum(b"ALOADE~1EFI")) + slot(b"ALOADE~1EFI", 0x20, 30, 5000)
    maker.write(maker.at(cluster), dots(cluster, 0) + inner + slot(b"B       EFI", 0x20, 60, 10))
    maker.put_root(b"\xe5" + slot(b"QUARRY", FOLDER, cluster)[1:])
    found = [(each.path, each.recoverable, each.name_is_whole) for each in deleted_of(maker)]
    assert found == [
        ("\\?UARRY", True, False),
        ("\\?UARRY\\A Loader.efi", True, True),
        ("\\?UARRY\\B.EFI", True, True),
    ]


def test_a_removed_folder_is_not_read_into_other_content() -> None:
    maker = Maker(16, 5000)
    names = b"".join(slot(b"FILE%d" % number) for number in range(14))
    maker.write(maker.at(2), dots(2, 0) + names)
    maker.write(maker.at(3), b"a removed file's text, which is no folder's".ljust(512, b"."))
    maker.put_root(b"\xe5" + slot(b"QUARRY", FOLDER, 2)[1:])
    assert len(deleted_of(maker)) == 15


def test_a_removed_folder_whose_cluster_holds_something_else() -> None:
    maker = build(Maker(16, 5000), [File("NEW.EFI", b"x" * 3000)])
    maker.write(maker.root + SLOT, b"\xe5" + slot(b"QUARRY", FOLDER, 2)[1:])
    assert [(each.path, each.recoverable) for each in deleted_of(maker)] == [("\\?UARRY", False)]


def test_a_removed_folder_that_holds_itself() -> None:
    maker = Maker(16, 5000)
    maker.write(maker.at(2), dots(2, 0) + slot(b"SELF", FOLDER, 2))
    maker.put_root(b"\xe5" + slot(b"SELF", FOLDER, 2)[1:])
    assert [each.path for each in deleted_of(maker)] == ["\\?ELF", "\\?ELF\\SELF"]


def test_removed_files_of_the_maker() -> None:
    tree: list[File | Folder] = [Folder("EFI", [File("Notes.text", bytes(2000), removed=True), File("KEPT")])]
    maker = build(Maker(32, 70000), tree)
    (found,) = deleted_of(maker)
    assert found == Deleted("\\EFI\\Notes.text", 2000, "2025-09-01T12:00:00", False, 4, True, True)


def deleted_of(maker: Maker) -> list[Deleted]:
    return list(Volume(io.BytesIO(maker.data)).deleted())
