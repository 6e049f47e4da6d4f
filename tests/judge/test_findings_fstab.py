"""fstab names a boot volume that no longer exists: claimed only where nothing may hide it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.model.disk import Content, Disk
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.scenes import RELEASE, found, told, volume_gap
from tests.judge.states import FERNWICK_PART, VIRTIO, disk, state

GONE = "ffffffff-2f0e-4a51-9a55-0f6a7d1c2e01"
EXT4 = "0b9c1d1e-5f7a-4c1b-8e55-7d3f2a6b9c10"
CELLAR_PART = "3c1f9e2a-77aa-4d10-93b5-10c2d3e4f506"
CELLAR = disk("cellar", CELLAR_PART, address=VIRTIO.format(6, 6))


def machine(source: str, target: str = "/boot/efi", kind: str = "vfat", options: str = "defaults") -> State:
    """Two disks whose FAT volumes have the serial 1234-5678; their contents are recorded."""
    line = {"source": source, "target": target, "type": kind, "options": options}
    held = state(
        [(with_content(HALL), 1, ON_HALL), (with_content(ATTIC), 1, ON_ATTIC)],
        entries=ENTRIES,
        order=(0, 1),
        system=RELEASE,
        fstab=[line],
    )
    return held


def with_content(on: Disk, kind: str = "vfat", uuid: str = "1234-5678", label: str = "") -> Disk:
    part = replace(on.partitions[0], content=Content(kind, uuid, label))
    return replace(on, partitions=(part,))


def beside(held: State, *others: Disk) -> State:
    return replace(held, disks={**held.disks, **{one.key: one for one in others}})


@pytest.mark.parametrize(
    "source",
    [
        f"PARTUUID={GONE}",
        "UUID=AAAA-BBBB",
        "LABEL=GONE",
        "PARTLABEL=gone",
        f"/dev/disk/by-partuuid/{GONE}",
        "/dev/disk/by-uuid/AAAA-BBBB",
        "/dev/disk/by-label/GO\\x20NE",
        "/dev/disk/by-partlabel/gone",
    ],
)
def test_a_volume_that_is_gone(source: str) -> None:
    one = found(machine(source))[0]
    assert (one.finding, one.level.value, one.system) == (
        "fstab-volume-missing",
        "stranded",
        "Fernwick Linux",
    )
    assert one.what == "the volume for /boot/efi"
    assert source in one.where


@pytest.mark.parametrize("options", ["umask=0077,nofail", "noauto", "noauto,x-systemd.automount"])
def test_a_start_that_goes_on_without_it(options: str) -> None:
    assert told(machine("UUID=AAAA-BBBB", options=options)) == [("fstab-volume-missing", "weakened")]


def test_a_stick_for_data_need_not_be_there() -> None:
    assert told(machine("UUID=AAAA-BBBB", "/media/stick", options="noauto,user")) == []


@pytest.mark.parametrize(
    "source",
    [
        f"PARTUUID={FERNWICK_PART}",
        f"PARTUUID={FERNWICK_PART.upper()}",
        f"/dev/disk/by-partuuid/{FERNWICK_PART}",
        "UUID=1234-5678",
        "/dev/sda1",
        "/dev/mapper/vg-boot",
        "/efi-image",
        "nowhere:/boot",
        "",
    ],
)
def test_a_volume_that_is_there_or_that_nothing_can_be_told_of(source: str) -> None:
    assert told(machine(source)) == []


def test_a_boot_volume_of_another_kind_is_there_by_its_content() -> None:
    held = beside(machine(f"UUID={EXT4}", "/boot", "ext4"), with_content(CELLAR, "ext4", EXT4, "Boot"))
    assert told(held) == []
    assert told(beside(machine("LABEL=boot", "/boot", "ext4"), *held.disks.values())) == []
    assert told(machine(f"UUID={EXT4}", "/boot", "ext4")) == [("fstab-volume-missing", "stranded")]


@pytest.mark.parametrize("kind", ["crypto_LUKS", "LVM2_member", "linux_raid_member", "unknown", "unreadable"])
def test_what_may_be_hidden_is_not_called_missing(kind: str) -> None:
    held = beside(machine(f"UUID={EXT4}", "/boot", "ext4"), with_content(CELLAR, kind, "x"))
    assert told(held) == []


def test_what_is_not_recorded_is_not_called_missing() -> None:
    held = machine("UUID=AAAA-BBBB")
    assert told(beside(held, CELLAR)) == []
    assert told(replace(held, facts={"architecture": "x86_64", "system": RELEASE})) == []


@pytest.mark.parametrize("kind", ["crypto_LUKS", "LVM2_member"])
def test_an_esp_is_not_hidden_in_what_firmware_does_not_understand(kind: str) -> None:
    held = beside(machine("UUID=AAAA-BBBB"), with_content(CELLAR, kind, "x"))
    assert told(held) == [("fstab-volume-missing", "stranded")]


def test_a_mirror_of_two_disks_may_hide_an_esp() -> None:
    raid = with_content(CELLAR, "linux_raid_member", "x")
    assert told(beside(machine("UUID=AAAA-BBBB"), raid)) == []
    assert told(beside(machine(f"PARTUUID={GONE}"), raid)) == []


@pytest.mark.parametrize("kind", ["crypto_LUKS", "unknown", "unreadable"])
def test_a_name_in_the_table_is_not_hidden_in_a_partition(kind: str) -> None:
    held = beside(machine(f"PARTUUID={GONE}"), with_content(CELLAR, kind, "x"))
    assert told(held) == [("fstab-volume-missing", "stranded")]


def test_a_disk_or_volume_that_could_not_be_read_may_be_it() -> None:
    disk_gap = Gap("disk", "sdc", Reason.UNREADABLE, "input/output error")
    for source in (f"PARTUUID={GONE}", "UUID=AAAA-BBBB"):
        assert told(machine(source), gaps=(disk_gap,)) == []
    assert told(machine("UUID=AAAA-BBBB"), gaps=(volume_gap(f"gpt:{CELLAR_PART}"),)) == []


def test_a_label_of_what_is_mounted_there_may_be_spelled_otherwise() -> None:
    assert told(machine("LABEL=SYSTEM"), mounts={f"gpt:{FERNWICK_PART}": "/boot/efi"}) == []


@pytest.mark.parametrize("lines", ["text", 7, [7, None], [{}], [{"source": 5, "target": None}]])
def test_odd_lines_are_left_out(lines: object) -> None:
    assert told(replace(machine("UUID=1234-5678"), facts={"fstab": lines, "system": RELEASE})) == []
