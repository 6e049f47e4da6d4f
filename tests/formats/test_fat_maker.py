"""The tests' own maker of volumes, held against fsck.fat and mtools."""

from pathlib import Path

import pytest

from bootwatch.formats.fat import Volume

from . import volume
from .fat_maker import File, Folder, Maker, build
from .tools import run

TREE: list[File | Folder] = [
    Folder(
        "EFI",
        [
            Folder("fernwick", [File("loaderx64.efi", b"MZ" * 700), File("LOADER.CFG", b"x")]),
            Folder("BOOT", [File("BOOTX64.EFI", b"MZ" * 3000)]),
        ],
    ),
    File("Straße süß 😀.conf", b"a"),
    File("empty"),
    File("exactly13char", b"13"),
    File("x" * 255, b"longest"),
]
PATHS = [
    "\\EFI\\",
    "\\EFI\\BOOT\\",
    "\\EFI\\BOOT\\BOOTX64.EFI",
    "\\EFI\\fernwick\\",
    "\\EFI\\fernwick\\LOADER.CFG",
    "\\EFI\\fernwick\\loaderx64.efi",
    "\\Straße süß 😀.conf",
    "\\empty",
    "\\exactly13char",
    "\\" + "x" * 255,
]


@pytest.mark.parametrize(
    ("kind", "clusters", "sector", "per_cluster"),
    [(12, 100, 512, 1), (12, 300, 4096, 16), (16, 5000, 512, 1), (16, 4200, 1024, 2), (32, 70000, 512, 1)],
)
def test_tools_find_nothing_wrong(
    tmp_path: Path, kind: int, clusters: int, sector: int, per_cluster: int
) -> None:
    maker = build(Maker(kind, clusters, sector=sector, per_cluster=per_cluster), TREE, "FERNBOOT")
    image = tmp_path / "volume"
    image.write_bytes(maker.data)
    # The root among them.
    assert f"{image}: 11 files," in run("fsck.fat", "-n", image)
    assert volume.walk(image)[0] == sorted(PATHS)
    # mtools cannot spell what lies beyond 16 bits.
    assert [path for path in volume.listing(image) if "Stra" not in path] == [
        path for path in sorted(PATHS) if "Stra" not in path
    ]
    assert run("mtype", "-i", image, "::/EFI/BOOT/BOOTX64.EFI") == "MZ" * 3000
    with image.open("rb") as file:
        fat = Volume(file)
        assert fat.check() == []
        assert fat.label == "FERNBOOT"
        assert list(fat.deleted()) == []
