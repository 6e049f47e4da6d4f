"""Which folder a volume is read through."""

from __future__ import annotations

import pytest

from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import read_mounts
from tests.judge.looks import look
from tests.roots import FERNWICK_ESP, QUARRY_ESP, QUARRY_LOADER, TARN_PART, Root

ROOT = "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n"


def mount(root: Root, *lines: str) -> None:
    root.write("proc/self/mountinfo", ROOT + "".join(f"{line}\n" for line in lines))


def file(root: Root, path: str, text: str) -> None:
    root.write(path, text)


def paths(root: Root, guid: str) -> set[str]:
    return {path for path, one in look(root).state.volumes[f"gpt:{guid}"].files.items() if not one.is_folder}


@pytest.mark.parametrize("line", ["254:81", "0:99"], ids=["by number", "by name"])
def test_volume_is_read_through_its_mount(hall: Root, line: str) -> None:
    if line == "0:99":
        for child in ("vdb1", "vdb2"):
            device = (hall.folder / "sys/class/block" / child).resolve()
            (device / "dev").unlink()
    mount(hall, f"40 1 {line} / /mnt/q rw - vfat /dev/vdb1 rw")
    file(hall, "mnt/q/EFI/quarry/only-here.efi", "MZ")
    assert paths(hall, QUARRY_ESP) == {"\\EFI\\quarry\\only-here.efi"}


def test_number_counts_more_than_a_name(hall: Root) -> None:
    """A source text may be anything; sysfs's number can't lie."""
    mount(hall, "40 1 254:82 / /mnt/t rw - vfat /dev/vdb1 rw")
    file(hall, "mnt/t/EFI/tarn/only-here.efi", "MZ")
    assert paths(hall, TARN_PART) == {"\\EFI\\tarn\\only-here.efi"}
    assert QUARRY_LOADER in paths(hall, QUARRY_ESP)


@pytest.mark.parametrize("cover", ["/boot/efi", "/boot"])
def test_mount_that_another_one_covers_is_not_looked_into(hall: Root, cover: str) -> None:
    over = f"41 1 0:50 / {cover} rw - tmpfs tmpfs rw"
    mount(hall, "40 1 254:81 / /boot/efi rw - vfat /dev/vdb1 rw", over)
    file(hall, "boot/efi/EFI/something/else.efi", "MZ")
    assert QUARRY_LOADER in paths(hall, QUARRY_ESP)


def test_mount_within_a_mount_is_not_counted_twice(hall: Root) -> None:
    inner = "41 40 254:81 / /boot/efi2 rw - vfat /dev/vdb1 rw"
    mount(hall, "40 1 254:65 / /boot rw - vfat /dev/vda1 rw", inner)
    file(hall, "boot/EFI/fernwick/a.efi", "MZ")
    file(hall, "boot/efi2/EFI/quarry/b.efi", "MZ")
    assert paths(hall, FERNWICK_ESP) == {"\\EFI\\fernwick\\a.efi"}
    assert paths(hall, QUARRY_ESP) == {"\\EFI\\quarry\\b.efi"}


def test_bind_mount_of_a_folder_is_no_volume(hall: Root) -> None:
    mount(hall, "40 1 254:81 /EFI /srv/efi rw - vfat /dev/vdb1 rw")
    assert QUARRY_LOADER in paths(hall, QUARRY_ESP)


def test_blanks_in_a_folder_are_unescaped(hall: Root) -> None:
    mount(hall, "40 1 254:81 / /mnt/a\\040b rw shared:1 master:2 - vfat /dev/vdb1 rw")
    assert [one.folder for one in read_mounts(Machine(hall.folder))] == ["/", "/mnt/a b"]
