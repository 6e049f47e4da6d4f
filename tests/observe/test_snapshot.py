"""What one look at a machine holds."""

from __future__ import annotations

import hashlib
import struct
import uuid
from pathlib import Path

import pytest

from bootwatch.model.snapshot import State
from bootwatch.observe.machine import LeavesRoot, Machine
from tests.formats.tools import blank, run
from tests.judge import paths
from tests.judge.looks import look
from tests.observe.faults import count_calls
from tests.roots import (
    DATA_TYPE,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    GLOBAL,
    QUARRY_ESP,
    QUARRY_LOADER,
    TARN_PART,
    Part,
    Root,
    program,
)

LOADER_INTERFACE = "4a67b082-0a4c-41cf-b6c7-440b29bb8c4f"


def test_finds_every_boot_volume_mounted_or_not(hall: Root) -> None:
    assert set(look(hall).state.volumes) == {f"gpt:{guid}" for guid in (FERNWICK_ESP, QUARRY_ESP, TARN_PART)}


def test_files_as_mtools_put_them_there(hall: Root) -> None:
    data = program("a longer one " * 100)
    hall.put("vdb", 1, "\\EFI\\quarry\\Other Long Name.efi", data)
    file = look(hall).state.volumes[f"gpt:{QUARRY_ESP}"].file("\\EFI\\quarry\\other long name.EFI")
    assert file and file.path == "\\EFI\\quarry\\Other Long Name.efi"
    assert (file.size, file.sha256) == (len(data), hashlib.sha256(data).hexdigest())
    assert file.program is not None


def test_texts_beside_a_loader_are_kept(hall: Root) -> None:
    hall.put("vda", 1, "\\notes.txt", b"not beside a loader\n")
    hall.put("vda", 1, "\\loader\\entries\\one.conf", b"title One\n")
    assert sorted(look(hall).state.texts.values()) == [b"timeout 5\n", b"title One\n"]


def test_texts_that_are_named_as_settings_are_kept(hall: Root) -> None:
    hall.put("vda", 1, "\\fernwick\\menu.cfg", b"timeout 1\n")
    hall.put("vda", 1, "\\fernwick\\large.cfg", b"x" * 65537)
    hall.put("vda", 1, "\\one\\two\\three\\four\\deep.cfg", b"timeout 2\n")
    assert sorted(look(hall).state.texts.values()) == [b"timeout 1\n", b"timeout 5\n"]


def test_state_comes_back_from_its_parts(hall: Root) -> None:
    state = look(hall).state
    assert State.from_parts(state.parts()) == state


def test_what_belongs_to_this_start_is_no_state(hall: Root) -> None:
    hall.variable("BootCurrent", struct.pack("<H", 1), attributes=6)
    hall.variable("LoaderInfo", "x".encode("utf-16-le"), attributes=6, guid=LOADER_INTERFACE)
    hall.variable("Foreign", b"x", guid="8108ac4e-9f11-4d59-850e-e21a522c59b2")
    snapshot = look(hall)
    assert set(snapshot.circumstance.variables) == {
        f"BootCurrent-{GLOBAL}",
        f"LoaderInfo-{LOADER_INTERFACE}",
    }
    assert not any(name.startswith(("BootCurrent", "Loader", "Foreign")) for name in snapshot.state.variables)


def test_each_variable_takes_one_read(hall: Root) -> None:
    hall.variable("db", bytes(20_000), guid="d719b2cb-3d3a-4596-a3bc-dad00e67656f")
    for file in (
        hall.variable_file("Boot0000"),
        hall.variable_file("db", "d719b2cb-3d3a-4596-a3bc-dad00e67656f"),
    ):
        assert count_calls(hall.folder, file, "read") == 1


def test_variable_shorter_than_its_attributes_is_damaged(hall: Root) -> None:
    hall.variable_file("Boot0003").write_bytes(b"\x07\0")
    assert [(gap.name, gap.reason.value) for gap in look(hall).gaps] == [(f"Boot0003-{GLOBAL}", "damaged")]


@pytest.mark.parametrize("named_by", ["entry", "fstab", "baseline", "efi folder", "nothing"])
def test_volume_of_another_type_counts_when_something_names_it(hall: Root, named_by: str) -> None:
    guid = "2f4e6d8c-1a3b-4c5d-9e7f-8a9b0c1d2e07"
    files = {"\\EFI\\cellar\\x.efi": b"MZ"} if named_by == "efi folder" else {"\\x.efi": b"MZ"}
    hall.disk("vdc", [Part(guid, files, type=DATA_TYPE)], slot=6)
    if named_by == "entry":
        hall.entry(5, "Cellar", guid, "\\x.efi")
    if named_by == "fstab":
        hall.write("etc/fstab", f"PARTUUID={guid.upper()} /boot/cellar vfat defaults 0 0")
    named = (f"gpt:{guid}",) if named_by == "baseline" else ()
    assert (f"gpt:{guid}" in look(hall, named).state.volumes) is (named_by != "nothing")


def test_disk_without_a_table(hall: Root) -> None:
    image = blank(hall.image("vdc"), 4 << 20)
    run("mkfs.fat", "-i", "CE11A701", image)
    run("mmd", "-i", image, "::/EFI")
    hall.list_disk("vdc", 4 << 20, [], 6, removable=True)
    volume = look(hall).state.volumes["fat:CE11-A701"]
    assert (volume.number, volume.type) == (None, None)


def test_disk_with_an_mbr(hall: Root) -> None:
    image = blank(hall.image("vdc"), 8 << 20)
    table = "label: dos\nlabel-id: 0x0badcafe\nstart=2048, size=8192, type=ef\n"
    run("sfdisk", image, given=table)
    run("mkfs.fat", "--offset", "2048", image, "4096")
    hall.list_disk("vdc", 8 << 20, [], 6, removable=False)
    state = look(hall).state
    assert state.volumes["mbr:0badcafe-01"].type == "mbr:ef"
    assert state.disks["mbr:0badcafe"].table == "mbr"


def test_clones_are_told_apart_by_their_address(hall: Root) -> None:
    hall.image("vdc").write_bytes(hall.image("vdb").read_bytes())
    hall.list_disk("vdc", hall.image("vdb").stat().st_size, [Part(QUARRY_ESP), Part(TARN_PART)], 6, False)
    quarry = [name for name in look(hall).state.volumes if name.startswith(f"gpt:{QUARRY_ESP}")]
    assert quarry == [
        f"gpt:{QUARRY_ESP}@pci0000:00/0000:00:05.0/virtio5",
        f"gpt:{QUARRY_ESP}@pci0000:00/0000:00:06.0/virtio6",
    ]


def test_partition_without_a_node_of_its_own_is_read_out_of_the_disk(hall: Root) -> None:
    for name in ("vda1", "vda2", "vdb1", "vdb2"):
        (hall.folder / "sys/class/block" / name).unlink()
    assert look(hall).state.volumes[f"gpt:{QUARRY_ESP}"].file(QUARRY_LOADER)


def test_partition_with_a_node_of_its_own_is_read_through_it(hall: Root) -> None:
    whole = hall.image("vda").read_bytes()
    hall.image("vda1").write_bytes(whole[1 << 20 : 5 << 20])
    with hall.image("vda").open("r+b") as image:
        image.seek(1 << 20)
        image.write(bytes(4 << 20))
    assert look(hall).state.volumes[f"gpt:{FERNWICK_ESP}"].file(FERNWICK_LOADER)


def test_links_are_resolved_inside_the_root(tmp_path: Path) -> None:
    root = tmp_path / "root"
    (root / "etc").mkdir(parents=True)
    (root / "etc/hostname").write_text("hall\n")
    (tmp_path / "secret").write_text("outside\n")
    (root / "absolute").symlink_to("/etc/hostname")
    (root / "climbs").symlink_to("../secret")
    (root / "turns").symlink_to("turns")
    machine = Machine(root)
    assert machine.text("absolute") == "hall"
    with pytest.raises(LeavesRoot):
        machine.text("climbs")
    with pytest.raises(OSError, match="symbolic links"):
        machine.text("turns")


def test_disk_behind_a_link_that_leaves_the_root_is_a_gap(hall: Root) -> None:
    outside = hall.folder.parent / "outside.img"
    hall.image("vdb").rename(outside)
    hall.image("vdb").symlink_to("../../outside.img")
    gaps = look(hall).gaps
    assert [(gap.kind, gap.name, gap.reason.value) for gap in gaps] == [("disk", "vdb", "unreadable")]


def test_facts_of_the_machine(hall: Root) -> None:
    hall.write("etc/os-release", 'NAME="Fernwick Linux"\nID=fernwick\nPRETTY_NAME="Fernwick Linux 4"')
    hall.write(
        "etc/fstab", "# a line\nUUID=ABCD-0123 /boot\\040efi vfat umask=0077 0 1\n/dev/vda2 / ext4 rw 0 1"
    )
    hall.write("sys/firmware/efi/fw_platform_size", "32")
    facts = look(hall).state.facts
    assert facts["system"] == {"name": "Fernwick Linux", "id": "fernwick", "pretty_name": "Fernwick Linux 4"}
    assert facts["firmware_bits"] == 32
    assert facts["fstab"] == [
        {"source": "UUID=ABCD-0123", "target": "/boot efi", "type": "vfat", "options": "umask=0077"}
    ]


def test_ata_port_and_nvme_namespace(hall: Root) -> None:
    device = "devices/pci0000:00/0000:00:1f.2/ata4/host3/target3:0:0/3:0:0:0/block/sdq"
    hall.write(f"sys/{device}/size", "8192")
    hall.write("sys/devices/pci0000:00/0000:00:1f.2/ata4/ata_port/ata4/port_no", "4")
    (hall.folder / "sys/class/block/sdq").symlink_to(f"../../{device}")
    blank(hall.image("sdq"), 4 << 20)
    device = "devices/pci0000:00/0000:00:06.0/nvme/nvme0/nvme0n1"
    hall.write(f"sys/{device}/size", "8192")
    hall.write(f"sys/{device}/nsid", "1")
    (hall.folder / "sys/class/block/nvme0n1").symlink_to(f"../../{device}")
    blank(hall.image("nvme0n1"), 4 << 20)
    disks = look(hall).state.disks
    sata = disks["at:pci0000:00/0000:00:1f.2/ata4/host3/target3:0:0/3:0:0:0"]
    assert sata.ports == {"ata_port_no": 4}
    assert disks["at:pci0000:00/0000:00:06.0/nvme/nvme0"].ports == {"nvme_namespace": 1}


def test_hostile_sysfs_hangs_nothing(hall: Root) -> None:
    """A node that is neither a file nor a block device is a gap: reading it could hang."""
    import os

    hall.image("vdb").unlink()
    os.mkfifo(hall.image("vdb"))
    assert [gap.kind for gap in look(hall).gaps] == ["disk"]


def test_guid_of_a_disk(hall: Root) -> None:
    expected = str(uuid.uuid5(uuid.NAMESPACE_OID, "vda"))
    assert f"gpt:{expected}" in look(hall).state.disks


@pytest.mark.long
@pytest.mark.parametrize(
    "source",
    [
        f'PARTUUID="{QUARRY_ESP}"',
        "UUID=CE11-A701",
        'LABEL="CELLAR"',
        "PARTLABEL=cellar",
        "/dev/disk/by-partlabel/cellar",
        "/dev/disk/by-uuid/CE11-A701",
        "/dev/vdc1",
    ],
)
def test_fstab_names_a_volume_in_many_ways(hall: Root, source: str) -> None:
    guid = "2f4e6d8c-1a3b-4c5d-9e7f-8a9b0c1d2e07"
    part = Part(guid, {"\\x.bin": b"x"}, type=DATA_TYPE)
    hall.disk("vdc", [part], slot=6)
    image = hall.image("vdc")
    run("mkfs.fat", "-n", "CELLAR", "-i", "CE11A701", "--offset", "2048", image, "4096")
    run("sfdisk", "--part-label", image, "1", "cellar")
    hall.write("etc/fstab", f"{source.replace(QUARRY_ESP, guid)} /srv vfat defaults 0 0")
    assert f"gpt:{guid}" in look(hall).state.volumes


def test_two_volumes_without_a_table_and_with_one_serial(hall: Root) -> None:
    for slot, name in ((6, "vdc"), (7, "vdd")):
        image = blank(hall.image(name), 4 << 20)
        run("mkfs.fat", "-i", "CE11A701", image)
        run("mmd", "-i", image, "::/EFI")
        hall.list_disk(name, 4 << 20, [], slot, removable=True)
    bare = [name for name in look(hall).state.volumes if name.startswith("fat:")]
    assert bare == [
        "fat:CE11-A701@pci0000:00/0000:00:06.0/virtio6",
        "fat:CE11-A701@pci0000:00/0000:00:07.0/virtio7",
    ]


def test_two_namespaces_of_one_controller(hall: Root) -> None:
    for number in (1, 2):
        name = f"nvme0n{number}"
        device = f"devices/pci0000:00/0000:00:06.0/nvme/nvme0/{name}"
        hall.write(f"sys/{device}/size", str(hall.image("vdb").stat().st_size // 512))
        (hall.folder / "sys/class/block" / name).symlink_to(f"../../{device}")
        hall.image(name).write_bytes(hall.image("vda").read_bytes())
    copies = [name for name in look(hall).state.volumes if name.startswith(f"gpt:{FERNWICK_ESP}@")]
    assert len(copies) == 3


def test_a_volume_counts_that_an_entry_may_mean_without_naming_it(hall: Root) -> None:
    """A path of a file alone is looked for on every volume: UEFI 2.10 §3.1.2."""
    other = "2b3c4d5e-6f70-4a81-92a3-b4c5d6e7f807"
    hall.disk("vdc", [Part(other, {"\\cellar\\tool.efi": b"MZ"}, type=DATA_TYPE)], slot=6)
    assert f"gpt:{other}" not in look(hall).state.volumes
    hall.variable("Boot0009", paths.option("Cellar", paths.file("\\Cellar\\tool.efi")))
    assert f"gpt:{other}" in look(hall).state.volumes
