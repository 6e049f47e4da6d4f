"""What is watched of a machine, by its mount table, fstab and the reader's list."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from bootwatch.observe.machine import Machine
from bootwatch.service.watch_places import Survey, Target, signs, survey

FAT = "rw - vfat"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for folder in ("sys/firmware/efi/efivars", "etc", "dev/disk/by-partuuid", "run/bootwatch", "proc/self"):
        (tmp_path / folder).mkdir(parents=True)
    return tmp_path


def seen(root: Path, *mounts: str) -> Survey:
    lines = ["1 1 8:2 / / rw - ext4 /dev/sda2 rw", *mounts]
    (root / "proc/self/mountinfo").write_text("".join(f"{line}\n" for line in lines))
    return survey(Machine(root))


def watched(root: Path, found: Survey) -> dict[str, bool]:
    """Folders that hold no fixed place, and whether all below them is watched."""
    fixed = ("sys", "etc", "dev", "run", "proc")
    named = {os.path.relpath(one.path, root): one.below for one in found.targets}
    return {path: below for path, below in named.items() if path.split("/")[0] not in fixed}


def test_places_that_are_always_watched(root: Path) -> None:
    found = {os.path.relpath(one.path, root): one for one in seen(root).targets}
    assert found.keys() == {
        *("sys/firmware/efi/efivars", "etc", "dev/disk", "dev/disk/by-partuuid", "run/bootwatch"),
        "proc/self",
    }
    assert found["etc"].holds(f"{root}/etc/fstab") and not found["etc"].holds(f"{root}/etc/hosts")
    assert found["dev/disk/by-partuuid"].holds("anything")
    assert {path for path, one in found.items() if not one.asks} == {"run/bootwatch", "proc/self"}


def test_what_is_not_there_is_not_watched(tmp_path: Path) -> None:
    found = survey(Machine(tmp_path))
    assert (found.targets, found.has_variables, found.trouble) == ((), False, "")


def test_boot_volumes_by_their_place(root: Path) -> None:
    for folder in ("boot/efi", "efi", "mnt/stick"):
        (root / folder).mkdir(parents=True)
    found = seen(
        root,
        f"2 1 8:1 / /boot/efi {FAT} /dev/sda1 rw",
        f"3 1 8:17 / /efi {FAT} /dev/sdb1 rw",
        f"4 1 8:33 / /mnt/stick {FAT} /dev/sdc1 rw",
        "5 1 8:4 / /boot/other rw - ext4 /dev/sda4 rw",
    )
    assert watched(root, found) == {"boot/efi": True, "efi": True}
    assert {folder for _, folder, _, _ in found.mounts} == {"/boot/efi", "/efi", "/boot/other"}


def test_boot_volumes_by_fstab(root: Path) -> None:
    (root / "srv/second").mkdir(parents=True)
    (root / "etc/fstab").write_text("PARTUUID=1 /srv/second vfat noauto 0 0\n")
    found = seen(root, f"2 1 8:1 / /srv/second {FAT} /dev/sda1 rw")
    assert found.volumes == ("/srv/second",)


def test_boot_volumes_by_what_lies_on_them(root: Path) -> None:
    (root / "mnt/Efi").mkdir(parents=True)
    assert seen(root, f"2 1 8:1 / /mnt {FAT} /dev/sda1 rw").volumes == ("/mnt",)


@pytest.mark.parametrize(
    ("identity", "link"),
    [
        ("gpt:0a000000-0000-4000-8000-000000000001", "by-partuuid/0a000000-0000-4000-8000-000000000001"),
        ("gpt:0a0000-1@pci-1", "by-partuuid/0a0000-1"),
        ("mbr:9c1f00aa-01", "by-partuuid/9c1f00aa-01"),
        ("fat:0A00-0001", "by-uuid/0A00-0001"),
    ],
)
def test_boot_volumes_by_the_readers_list(root: Path, identity: str, link: str) -> None:
    (root / "mnt").mkdir()
    line = f"2 1 8:1 / /mnt {FAT} /dev/sdb1 rw"
    assert seen(root, line).volumes == ()
    (root / "run/bootwatch/volumes").write_text(f"gpt:../../x\n\n{identity}\n")
    (root / "dev/disk" / link).parent.mkdir(exist_ok=True)
    (root / "dev/disk" / link).symlink_to("../../sdb1")
    assert seen(root, line).volumes == ("/mnt",)
    # The kernel's own name counts, whatever the mount calls its source.
    (root / "sys/dev/block").mkdir(parents=True)
    (root / "sys/dev/block/8:1").symlink_to("../../devices/virtual/block/sdq1")
    assert seen(root, line).volumes == ()


def test_nothing_else_that_is_mounted_among_its_folders_is_touched(root: Path) -> None:
    """An automount that isn't mounted would be set off by who looks into it."""
    for folder in ("boot/EFI/a/b", "boot/efi2", "boot/loader/entries"):
        (root / folder).mkdir(parents=True)
    found = seen(
        root,
        f"2 1 8:1 / /boot {FAT} /dev/sda1 rw",
        "3 2 0:40 / /boot/efi2 rw - autofs systemd-1 rw",
        "4 2 0:41 / /boot/EFI/a/b rw - autofs systemd-1 rw",
    )
    assert watched(root, found) == {
        "boot": False,
        "boot/EFI": False,
        "boot/EFI/a": False,
        "boot/loader": True,
    }
    assert not any(kind == "autofs" for _, _, kind, _ in found.mounts)


def test_a_volume_in_many_parts_is_watched_at_its_top(root: Path) -> None:
    for number in range(30):
        (root / f"boot/{number}").mkdir(parents=True)
    found = seen(root, f"2 1 8:1 / /boot {FAT} /dev/sda1 rw", "3 2 0:40 / /boot/0 rw - autofs systemd-1 rw")
    assert watched(root, found) == {"boot": False}
    assert found.trouble == "/boot (more than 20 folders beside other mounts)"


def test_one_that_is_back_already_is_another_mount(root: Path) -> None:
    fat = f"1 8:1 / /boot {FAT} /dev/sda1 rw"
    assert seen(root, f"2 {fat}").mounts != seen(root, f"7 {fat}").mounts


@pytest.mark.parametrize(("path", "target"), [("etc/fstab", "fstab"), ("run/bootwatch", "../../out")])
def test_links_that_lead_nowhere(root: Path, path: str, target: str) -> None:
    shutil.rmtree(root / path, ignore_errors=True)
    (root / path).symlink_to(target)
    assert f"{root}/dev/disk" in {one.path for one in seen(root).targets}


def test_a_name_that_no_folder_has(root: Path) -> None:
    assert seen(root, f"2 1 8:1 / /boot\\000 {FAT} /dev/sda1 rw").volumes == ()


def test_fstab_may_be_a_link(root: Path) -> None:
    (root / "etc/kept").mkdir()
    (root / "etc/fstab").symlink_to("kept/table")
    (root / "etc/kept/table").symlink_to("/etc/last")
    found = {os.path.relpath(one.path, root): one.names for one in seen(root).targets}
    assert [found["etc"], found["etc/kept"]] == [frozenset({"fstab", "last"}), frozenset({"table"})]


def test_a_volume_is_watched_through_one_of_its_mounts(root: Path) -> None:
    for folder in ("boot", "efi"):
        (root / folder).mkdir()
    found = seen(
        root, f"2 1 8:1 /EFI /boot {FAT} /dev/sda1 rw", f"3 1 8:1 / /efi {FAT} /dev/sda1 rw",
        f"4 1 8:1 / /efi/again {FAT} /dev/sda1 rw",
    )  # fmt: skip
    assert found.volumes == ("/efi",)


def test_a_mount_table_that_cant_be_read_is_said(root: Path) -> None:
    (root / "proc/self/mountinfo").mkdir()
    assert survey(Machine(root)).trouble == "the mount table (neither a file nor a block device)"


def test_what_a_survey_goes_by(root: Path) -> None:
    fat = f"2 1 8:1 / /mnt {FAT} /dev/sda1 rw"
    seen(root, fat)
    before = signs(Machine(root))
    seen(root, "9 1 0:50 / /srv rw - tmpfs tmpfs rw", fat, "10 1 0:51 / /var/x rw - overlay overlay rw")
    assert signs(Machine(root)) == before
    (root / "run/bootwatch/volumes").write_text("gpt:0a\n")
    listed = signs(Machine(root))
    assert listed != before
    seen(root, fat, "5 1 0:52 / /boot rw - tmpfs tmpfs rw")
    assert signs(Machine(root)) != listed


def test_what_counts(tmp_path: Path) -> None:
    target = Target("/etc", names=frozenset({"fstab"}))
    assert [target.holds(path) for path in ("/etc/fstab", "/etc/fstab.new", "/etc")] == [True, False, True]
