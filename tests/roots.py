"""Machine roots made by hand: sfdisk, mkfs.fat, mtools, and variables packed as the standard says."""

from __future__ import annotations

import struct
import uuid
from dataclasses import dataclass, field
from pathlib import Path

from bootwatch.demo.loader import program as program
from tests.formats.tools import blank, run

GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
ESP_TYPE = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
DATA_TYPE = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"
_SECTOR = 512
_MEGABYTE = 1 << 20

FERNWICK_ESP = "1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01"
QUARRY_ESP = "6d0a41be-8c93-4d2f-b1c7-3e5f90a8d402"
TARN_PART = "c7e95a10-44d8-4b6e-8f03-91b2d7c6ea03"
DATA_PART = "a90c57e3-6b1d-4f28-9c3a-7d2e8f41b604"
FERNWICK_LOADER = "\\EFI\\fernwick\\loaderx64.efi"
QUARRY_LOADER = "\\EFI\\quarry\\startx64.efi"
TARN_LOADER = "\\EFI\\tarn\\rescuex64.efi"
DEFAULT_LOADER = "\\EFI\\BOOT\\BOOTX64.EFI"


@dataclass
class Part:
    """A partition with a FAT volume, unless it is none; ``files`` by their path with backslashes."""

    guid: str
    files: dict[str, bytes] = field(default_factory=dict)
    type: str = ESP_TYPE
    megabytes: int = 4
    label: str = ""
    is_fat: bool = True


class Root:
    """A folder that stands for a machine."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for place in ("dev", "run", "sys/class/block", "sys/firmware/efi/efivars"):
            (folder / place).mkdir(parents=True)
        self.write("proc/sys/kernel/random/boot_id", str(uuid.uuid4()))
        self.write("proc/self/mountinfo", "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n")
        self.write("etc/hostname", "hall")
        self.write("etc/machine-id", "5d8f0f6ce1c84a0a9f0a7a6a33c0f6b1")

    def at(self, folder: Path) -> Root:
        """The same machine in a folder that it was copied to."""
        copy = object.__new__(Root)
        copy.folder = folder
        return copy

    def write(self, path: str, text: str) -> Path:
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text + ("" if text.endswith("\n") else "\n"))
        return target

    def start_again(self) -> None:
        self.write("proc/sys/kernel/random/boot_id", str(uuid.uuid4()))

    # disks

    def image(self, name: str) -> Path:
        return self.folder / "dev" / name

    def disk(
        self, name: str, parts: list[Part], *, slot: int = 4, removable: bool = False, guid: str | None = None
    ) -> None:
        """A disk with a GPT; partitions begin at whole megabytes, one after another."""
        size = (2 + sum(part.megabytes for part in parts)) * _MEGABYTE
        image = blank(self.image(name), size)
        # sfdisk and not sgdisk, which sleeps for a second at every write.
        table = f"label: gpt\nlabel-id: {guid or uuid.uuid5(uuid.NAMESPACE_OID, name)}\n"
        start = 1
        for part in parts:
            place = f"start={start * _MEGABYTE // _SECTOR}, size={part.megabytes * _MEGABYTE // _SECTOR}"
            table += f"{place}, type={part.type}, uuid={part.guid}\n"
            start += part.megabytes
        run("sfdisk", image, given=table)
        self.list_disk(name, size, parts, slot, removable)
        start = 1
        for part in parts:
            if part.is_fat:
                self.format(name, start, part)
            start += part.megabytes

    def format(self, name: str, megabyte: int, part: Part) -> None:
        """A new FAT file system with the partition's files."""
        sector = str(megabyte * _MEGABYTE // _SECTOR)
        label = ["-n", part.label] if part.label else []
        size = str(part.megabytes * 1024)
        run("mkfs.fat", *label, "--offset", sector, self.image(name), size)
        for path, data in part.files.items():
            self.put(name, megabyte, path, data)

    def list_disk(self, name: str, size: int, parts: list[Part], slot: int, removable: bool) -> None:
        """The disk and its partitions in sysfs, laid out as the kernel does for a virtio disk."""
        device = f"devices/pci0000:00/0000:00:{slot:02x}.0/virtio{slot}/block/{name}"
        self.write(f"sys/{device}/size", str(size // _SECTOR))
        self.write(f"sys/{device}/removable", "1" if removable else "0")
        self.write(f"sys/{device}/dev", f"254:{slot * 16}")
        self.write(f"sys/{device}/queue/logical_block_size", str(_SECTOR))
        (self.folder / "sys/class/block" / name).symlink_to(f"../../{device}")
        start = 1
        for number, part in enumerate(parts, 1):
            child = f"{device}/{name}{number}"
            self.write(f"sys/{child}/partition", str(number))
            self.write(f"sys/{child}/start", str(start * _MEGABYTE // _SECTOR))
            self.write(f"sys/{child}/size", str(part.megabytes * _MEGABYTE // _SECTOR))
            self.write(f"sys/{child}/dev", f"254:{slot * 16 + number}")
            (self.folder / "sys/class/block" / f"{name}{number}").symlink_to(f"../../{child}")
            start += part.megabytes

    def put(self, name: str, megabyte: int, path: str, data: bytes) -> None:
        """Write a file with mtools; ``megabyte`` is where its volume begins."""
        names = path.strip("\\").split("\\")
        drive = f"{self.image(name)}@@{megabyte}M"
        for depth in range(1, len(names)):
            folder = "::/" + "/".join(names[:depth])
            run("mmd", "-D", "s", "-i", drive, folder, statuses=(0, 1))
        source = self.folder.parent / "content"
        source.write_bytes(data)
        run("mcopy", "-D", "o", "-o", "-i", drive, source, "::/" + "/".join(names))

    def remove(self, name: str, megabyte: int, path: str) -> None:
        run("mdel", "-i", f"{self.image(name)}@@{megabyte}M", "::/" + path.strip("\\").replace("\\", "/"))

    # variables

    def variable_file(self, name: str, guid: str = GLOBAL) -> Path:
        return self.folder / "sys/firmware/efi/efivars" / f"{name}-{guid}"

    def variable(self, name: str, data: bytes, attributes: int = 7, guid: str = GLOBAL) -> None:
        self.variable_file(name, guid).write_bytes(struct.pack("<I", attributes) + data)

    def entry(
        self,
        number: int,
        label: str,
        guid: str,
        path: str,
        *,
        partition: int = 1,
        data: bytes = b"",
        attributes: int = 1,
    ) -> None:
        """A boot entry whose path is short-form: a hard drive node and a file node."""
        self.variable(f"Boot{number:04X}", load_option(label, guid, path, partition, data, attributes))

    def order(self, *numbers: int) -> None:
        self.variable("BootOrder", struct.pack(f"<{len(numbers)}H", *numbers))


def load_option(
    label: str, guid: str, path: str, partition: int = 1, data: bytes = b"", attributes: int = 1
) -> bytes:
    """UEFI 2.10 §3.1.3, §10.3.5.1, §10.3.5.4, §10.3.1."""
    drive = struct.pack("<BBHIQQ16sBB", 4, 1, 42, partition, 2048, 8192, uuid.UUID(guid).bytes_le, 2, 2)
    name = path.encode("utf-16-le") + b"\0\0"
    file = struct.pack("<BBH", 4, 4, 4 + len(name)) + name
    nodes = drive + file + b"\x7f\xff\x04\x00"
    return struct.pack("<IH", attributes, len(nodes)) + label.encode("utf-16-le") + b"\0\0" + nodes + data


def dual(folder: Path) -> Root:
    """The usual machine: Fernwick Linux on vda; Quarry and Tarn Rescue on vdb."""
    root = Root(folder)
    fernwick = {
        FERNWICK_LOADER: program("fernwick 1"),
        DEFAULT_LOADER: program("fernwick 1"),
        "\\EFI\\fernwick\\settings.conf": b"timeout 5\n",
        "\\kernel.img": b"kernel 1",
    }
    quarry = {QUARRY_LOADER: program("quarry 1"), "\\EFI\\quarry\\store": bytes(range(256))}
    tarn = {TARN_LOADER: program("tarn 1")}
    root.disk(
        "vda",
        [
            Part(FERNWICK_ESP, fernwick, label="FERNWICK"),
            Part(DATA_PART, is_fat=False, type=DATA_TYPE),
        ],
    )
    root.disk("vdb", [Part(QUARRY_ESP, quarry), Part(TARN_PART, tarn)], slot=5)
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER)
    root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1")
    root.entry(2, "Tarn Rescue", TARN_PART, TARN_LOADER, partition=2)
    root.order(0, 1, 2)
    root.variable("SecureBoot", b"\0", attributes=6)
    root.variable("Timeout", struct.pack("<H", 3))
    return root
