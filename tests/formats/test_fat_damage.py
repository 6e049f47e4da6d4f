"""Damaged FAT volumes: one fault each, made by patching a few bytes where mtools says that things lie.

The rest of the volume must stay readable, and what is not known must never look absent.
"""

import shutil
from pathlib import Path

import pytest

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume

from . import volume
from .tools import patch, run
from .volume import Layout, clusters

KINDS = (16, 32)
END = {16: 0xFFFF, 32: 0x0FFFFFFF}
BAD = {16: 0xFFF7, 32: 0x0FFFFFF7}


@pytest.fixture(scope="module", params=KINDS)
def master(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three folders; the second fills several clusters."""
    folder = tmp_path_factory.mktemp("damage")
    for number in range(40):
        (folder / f"FILE{number}.EFI").write_bytes(bytes([number]) * 3000)
    image = volume.make(folder / "volume", request.param, 40000 if request.param == 32 else 8000)
    for name, count in (("first", 2), ("middle", 40), ("last", 2)):
        run("mmd", "-i", image, f"::/{name}")
        volume.copy_in(image, [folder / f"FILE{number}.EFI" for number in range(count)], f"::/{name}")
    return image


@pytest.fixture
def image(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(master, tmp_path / "volume"))


@pytest.fixture
def layout(image: Path) -> Layout:
    return Layout(image)


def below(paths: list[str], folder: str) -> int:
    return len([path for path in paths if path.startswith(folder) and path != folder])


def check_only_middle_is_damaged(image: Path, known: int, what: str) -> None:
    paths, fat = volume.walk(image)
    assert (below(paths, "\\first\\"), below(paths, "\\last\\")) == (2, 2)
    assert below(paths, "\\middle\\") == known
    assert fat.damaged_paths == {"\\middle"}
    assert len(fat.problems) == 1
    assert fat.problems[0].startswith("\\middle: ")
    assert what in fat.problems[0]
    check_absent_is_unknown(image, "\\middle\\FILE39.EFI")


def check_absent_is_unknown(image: Path, path: str) -> None:
    with image.open("rb") as file, pytest.raises(FormatError, match="cannot be looked for"):
        Volume(file).open(path)


def test_undamaged(image: Path) -> None:
    paths, fat = volume.walk(image)
    assert paths == volume.listing(image)
    assert (fat.problems, fat.damaged_paths) == ([], set())


def test_folder_chain_in_a_circle(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    layout.link(chain[1], chain[0])
    check_only_middle_is_damaged(image, 30, f"runs in a circle at cluster {chain[0]}")


def test_folder_chain_to_a_free_cluster(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    layout.link(chain[0], 0)
    check_only_middle_is_damaged(image, 14, f"is marked free after cluster {chain[0]}")


def test_folder_chain_to_a_bad_cluster(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    layout.link(chain[0], BAD[layout.kind])
    check_only_middle_is_damaged(image, 14, "is marked bad")


def test_folder_chain_off_the_volume(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    layout.link(chain[0], END[layout.kind] - 0x100)
    check_only_middle_is_damaged(image, 14, "leaves the volume")


def test_folder_overwritten_with_zeros_does_not_look_empty(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    patch(image, layout.offset(chain[0]), bytes(layout.cluster))
    check_only_middle_is_damaged(image, 0, "does not hold a folder's beginning")


def test_folder_overwritten_with_a_files_content(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/middle")
    patch(image, layout.offset(chain[0]), b"\xff" * layout.cluster)
    paths, fat = volume.walk(image)
    assert "\\middle" in fat.damaged_paths
    assert (below(paths, "\\first\\"), below(paths, "\\last\\")) == (2, 2)
    check_absent_is_unknown(image, "\\middle\\FILE0.EFI")


def slot_of(image: Path, layout: Layout, stored: bytes) -> int:
    """The offset of a slot, found by its stored name."""
    return image.read_bytes().index(stored, layout.root)


def point(image: Path, layout: Layout, stored: bytes, cluster: int) -> None:
    slot = slot_of(image, layout, stored)
    patch(image, slot + 26, (cluster & 0xFFFF).to_bytes(2, "little"))
    patch(image, slot + 20, (cluster >> 16).to_bytes(2, "little"))


@pytest.mark.parametrize("cluster", [0, 1, 0xFFF0])
def test_folder_whose_first_cluster_is_impossible(image: Path, layout: Layout, cluster: int) -> None:
    point(image, layout, b"MIDDLE  ", cluster | (0xFFF << 16 if layout.kind == 32 and cluster > 1 else 0))
    paths, fat = volume.walk(image)
    assert (below(paths, "\\first\\"), below(paths, "\\last\\")) == (2, 2)
    assert fat.damaged_paths == {"\\middle"}
    check_absent_is_unknown(image, "\\middle\\FILE0.EFI")


def test_two_folders_that_share_a_cluster(image: Path, layout: Layout) -> None:
    point(image, layout, b"LAST    ", clusters(image, "::/first")[0])
    paths, fat = volume.walk(image)
    assert (below(paths, "\\first\\"), below(paths, "\\middle\\"), below(paths, "\\last\\")) == (2, 40, 0)
    assert fat.damaged_paths == {"\\last"}


def test_a_folder_inside_itself(image: Path, layout: Layout) -> None:
    cluster = clusters(image, "::/first")[0]
    slot = slot_of(image, layout, b"FILE0   EFI")
    patch(image, slot + 11, b"\x10")
    point(image, layout, b"FILE0   EFI", cluster)
    paths, fat = volume.walk(image)
    assert (below(paths, "\\middle\\"), below(paths, "\\last\\")) == (40, 2)
    assert fat.damaged_paths == {"\\first\\FILE0.EFI"}


def test_a_folder_that_leads_to_the_root(image: Path, layout: Layout) -> None:
    slot = slot_of(image, layout, b"FILE0   EFI")
    patch(image, slot + 11, b"\x10")
    point(image, layout, b"FILE0   EFI", 2 if layout.kind == 32 else 0)
    _, fat = volume.walk(image)
    assert fat.damaged_paths == {"\\first\\FILE0.EFI"}


def test_file_chain_that_ends_early(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/last/FILE1.EFI")
    layout.link(chain[2], END[layout.kind])
    check_file(
        image, f"\\\\last\\\\FILE1.EFI: at byte 1536 of 3000: the cluster chain ends after cluster {chain[2]}"
    )


def test_file_chain_to_a_free_cluster(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/last/FILE1.EFI")
    layout.link(chain[0], 0)
    check_file(image, "is marked free")


def test_file_without_a_first_cluster(image: Path, layout: Layout) -> None:
    slot = image.read_bytes().index(b"FILE1   EFI", layout.offset(clusters(image, "::/last")[0]))
    patch(image, slot + 26, b"\0\0")
    patch(image, slot + 20, b"\0\0")
    check_file(image, "first cluster 0 is not on the volume")


def check_file(image: Path, what: str) -> None:
    """One file cannot be read; all others can, and the walk finds nothing wrong."""
    with image.open("rb") as file:
        fat = Volume(file)
        entries = list(fat.walk())
        assert fat.problems == []
        with pytest.raises(FormatError, match=what):
            fat.read("\\last\\FILE1.EFI")
        for entry in entries:
            if not entry.is_folder and entry.path != "\\last\\FILE1.EFI":
                assert len(fat.read(entry.path)) == 3000


def test_a_file_chain_in_a_circle_is_found_early(image: Path, layout: Layout) -> None:
    """A file that claims 4 GiB and turns in a circle is given up after a few rounds."""
    chain = clusters(image, "::/last/FILE1.EFI")
    layout.link(chain[5], chain[3])
    slot = image.read_bytes().index(b"FILE1   EFI", layout.offset(clusters(image, "::/last")[0]))
    patch(image, slot + 28, b"\xff\xff\xff\xff")
    with image.open("rb") as file:
        reader = Volume(file).open("\\last\\FILE1.EFI")
        got = 0
        with pytest.raises(FormatError, match="circle"):
            while True:
                got += len(reader.read(512))
        assert got < 32 * 512


def test_volume_cut_short(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/last/FILE1.EFI")
    with image.open("r+b") as file:
        file.truncate(layout.offset(chain[3]))
    with image.open("rb") as file, pytest.raises(FormatError, match="the volume ends at byte 1536 of 3000"):
        Volume(file).read("\\last\\FILE1.EFI")


def test_volume_cut_inside_a_folder(image: Path, layout: Layout) -> None:
    chain = clusters(image, "::/last")
    with image.open("r+b") as file:
        file.truncate(layout.offset(chain[0]))
    paths, fat = volume.walk(image)
    assert "\\last" in fat.damaged_paths
    assert "\\last\\" in paths


def test_volume_cut_before_its_root(image: Path, layout: Layout) -> None:
    with image.open("r+b") as file:
        file.truncate(layout.fat)
    paths, fat = volume.walk(image)
    assert paths == []
    assert fat.damaged_paths == {"\\"}
    check_absent_is_unknown(image, "\\first\\FILE0.EFI")
    with image.open("rb") as file:
        fat = Volume(file)
        assert fat.dirty
        assert fat.free_bytes == 0


SHORT = ["\\ANAMEI~1.CON", "\\after.efi", "\\before.efi"]


def long_names(tmp_path: Path) -> tuple[Path, int]:
    image = volume.make(tmp_path / "names", 16, 8000)
    for name in ("before.efi", "A name in three parts of long.conf", "after.efi"):
        (tmp_path / name).write_bytes(name.encode())
        volume.copy_in(image, [tmp_path / name])
    return image, Layout(image).root + 32


def test_long_name_whose_checksum_does_not_match(tmp_path: Path) -> None:
    image, slot = long_names(tmp_path)
    patch(image, slot + 13, b"\x00")
    assert volume.walk(image)[0] == volume.listing(image) == SHORT


def test_long_name_with_a_part_missing(tmp_path: Path) -> None:
    image, slot = long_names(tmp_path)
    patch(image, slot + 32, b"\xe5")
    assert volume.walk(image)[0] == SHORT


def test_orphaned_long_name(tmp_path: Path) -> None:
    image, slot = long_names(tmp_path)
    patch(image, slot + 3 * 32, b"\xe5")
    assert volume.walk(image)[0] == volume.listing(image) == ["\\after.efi", "\\before.efi"]


@pytest.mark.parametrize("text", ["..", ".", "..\\..\\x", "a/b", "\0"])
def test_a_long_name_that_would_leave_its_folder_is_not_used(tmp_path: Path, text: str) -> None:
    image, slot = long_names(tmp_path)
    # The name's first part is the last slot before the 8.3 slot, and the only one then.
    at = slot + 2 * 32
    patch(image, slot, b"\xe5" * 1)
    patch(image, slot + 32, b"\xe5")
    stored = (text.encode("utf-16-le") + b"\0\0" + b"\xff" * 26)[:26]
    patch(image, at, b"\x41" + stored[:10])
    patch(image, at + 14, stored[10:22])
    patch(image, at + 28, stored[22:26])
    assert volume.walk(image)[0] == SHORT
