"""The demo's machine, looked at with tools that we did not write."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from bootwatch.demo import parts, tools
from bootwatch.demo.machine import DemoMachine, build
from bootwatch.demo.update import start_from_disk, update_quarry
from bootwatch.problem import Problem


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoMachine]:
    yield build(tmp_path_factory.mktemp("machine"))


def output(*command: str) -> str:
    path = os.environ["PATH"] + ":/usr/sbin:/sbin"
    environment = {**os.environ, "PATH": path, "MTOOLS_SKIP_CHECK": "1"}
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout


def files(machine: DemoMachine, disk: str, first_mib: int) -> set[str]:
    listing = output("mdir", "-/", "-b", "-i", f"{machine.root}/dev/{disk}@@{first_mib}M")
    return {line.removeprefix("::") for line in listing.splitlines() if not line.endswith("/")}


def test_disks_are_sound(machine: DemoMachine) -> None:
    for disk in ("nvme0n1", "sda"):
        assert "No problems found" in output("sgdisk", "--verify", f"{machine.root}/dev/{disk}")


@pytest.mark.parametrize(
    ("disk", "start", "length", "kind"),
    [("nvme0n1", 1, 96, "FAT32"), ("sda", 1, 100, "FAT32"), ("sda", 261, 32, "FAT16")],
)
def test_volumes_are_sound(
    machine: DemoMachine, tmp_path: Path, disk: str, start: int, length: int, kind: str
) -> None:
    volume = tmp_path / "volume"
    mib = 1024 * 1024
    with (machine.root / "dev" / disk).open("rb") as image:
        image.seek(start * mib)
        volume.write_bytes(image.read(length * mib))
    told = output("fsck.fat", "-n", "-v", str(volume))
    assert f"{kind[3:]} bit" in told or f"{kind[3:]} bits" in told


def test_what_lies_on_them(machine: DemoMachine) -> None:
    assert "/EFI/fernwick/loaderx64.efi" in files(machine, "nvme0n1", 1)
    assert {"/EFI/quarry/startx64.efi", "/EFI/BOOT/BOOTX64.EFI"} <= files(machine, "sda", 1)
    assert files(machine, "sda", 261) == {"/EFI/tarn/rescuex64.efi", "/EFI/tarn/rescue.conf"}


def test_loaders_are_programs_for_efi() -> None:
    import pefile

    for _disk, _volume, content in parts.volumes():
        for path, data in content.items():
            if path.lower().endswith(".efi"):
                image = pefile.PE(data=data, fast_load=True)
                assert image.FILE_HEADER.Machine == 0x8664
                assert image.OPTIONAL_HEADER.Subsystem == 10


def test_entries_by_another_reader(machine: DemoMachine) -> None:
    from virt.firmware.efi import bootentry

    titles = {}
    for file in machine.variables.folder.glob("Boot0*"):
        entry = bootentry.BootEntry(data=file.read_bytes()[4:])
        titles[file.name[:8]] = (str(entry.title), str(entry.devicepath))
    assert titles["Boot0000"][0] == "Fernwick Linux"
    assert titles["Boot0000"][1].endswith("FilePath(\\EFI\\fernwick\\loaderx64.efi)")
    assert titles["Boot0002"][1].startswith("Partition(nr=3)")
    assert len(titles) == 6


def test_sysfs_agrees_with_the_partition_table(machine: DemoMachine) -> None:
    told = output("sgdisk", "--info=3", f"{machine.root}/dev/sda")
    folder = machine.root / "sys/class/block/sda3"
    start, size = ((folder / name).read_text().strip() for name in ("start", "size"))
    assert f"First sector: {start} " in told
    assert f"Partition size: {size} sectors" in told
    assert str(parts.TARN.guid).upper() in told


@pytest.mark.long
def test_the_update_takes_only_what_is_fernwicks(tmp_path: Path) -> None:
    machine = build(tmp_path)
    boot_id = (tmp_path / "proc/sys/kernel/random/boot_id").read_text()
    update_quarry(machine)
    start_from_disk(machine)
    assert "/EFI/fernwick/loaderx64.efi" not in files(machine, "nvme0n1", 1)
    assert "/EFI/BOOT/BOOTX64.EFI" in files(machine, "nvme0n1", 1)
    assert {file.name[:8] for file in machine.variables.folder.glob("Boot0*")} == {
        f"Boot000{number}" for number in (1, 2, 3, 4, 5)
    }
    order = next(machine.variables.folder.glob("BootOrder-*")).read_bytes()
    assert order == bytes.fromhex("07000000 0100 0200 0400 0500")
    assert (tmp_path / "proc/sys/kernel/random/boot_id").read_text() != boot_id


def test_missing_tools_are_named_with_their_package(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    real = tools.find
    monkeypatch.setattr(tools, "find", lambda name: None if name == "sgdisk" else real(name))
    with pytest.raises(Problem) as caught:
        build(tmp_path)
    assert "sgdisk" in caught.value.message
    assert "mkfs.fat" not in caught.value.message
    assert "apt install gdisk" in caught.value.hint
