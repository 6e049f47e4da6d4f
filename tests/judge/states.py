"""States written down by hand: disks, volumes with their files, variables."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping, Sequence
from dataclasses import replace

from bootwatch.model.disk import ESP, Disk, Partition
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable, key
from bootwatch.model.volume import File, Program, Volume

Volumes = Sequence[tuple[Disk, int, Mapping[str, File]]]

X64, IA32, AA64 = 0x8664, 0x014C, 0xAA64
FERNWICK_PART = "1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01"
QUARRY_PART = "6d0a41be-8c93-4d2f-b1c7-3e5f90a8d402"
TARN_PART = "c7e95a10-44d8-4b6e-8f03-91b2d7c6ea03"
FERNWICK, QUARRY = "\\EFI\\fernwick\\loaderx64.efi", "\\EFI\\quarry\\startx64.efi"
DEFAULT = "\\EFI\\BOOT\\BOOTX64.EFI"
VIRTIO = "pci0000:00/0000:00:{:02x}.0/virtio{}"
STICK = "pci0000:00/0000:00:07.0/usb2/2-{0}/2-{0}:1.0/host6/target6:0:0/6:0:0:0"


def program(
    name: str, machine: int = X64, subsystem: int = 10, declared: int = 1000, size: int = 1000
) -> File:
    """A program; ``name`` stands for its content."""
    return File("", size, "", digest(name), program=Program(machine, subsystem, declared))


def text(name: str = "text", size: int = 10) -> File:
    return File("", size, "", digest(name))


def folder() -> File:
    return File("", 0, "", None, is_folder=True)


def digest(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def files(contents: Mapping[str, File]) -> dict[str, File]:
    """The files at their paths, with the folders above them."""
    found: dict[str, File] = {}
    for path, one in contents.items():
        above = path.rpartition("\\")[0]
        while above:
            found.setdefault(above, File(above, 0, "", None, is_folder=True))
            above = above.rpartition("\\")[0]
        found[path] = File(path, one.size, one.time, one.sha256, one.is_folder, one.program)
    return found


def disk(
    name: str,
    *guids: str,
    address: str = VIRTIO.format(4, 4),
    removable: bool = False,
    ports: Mapping[str, int] | None = None,
) -> Disk:
    """A disk with a GPT and partitions of 4 MiB one after the other."""
    parts = tuple(
        Partition(number, f"gpt:{guid}", ESP, 2048 + 8192 * (number - 1), 2047 + 8192 * number)
        for number, guid in enumerate(guids, 1)
    )
    return Disk(f"gpt:{name}", "gpt", address, 1 << 30, 512, removable, "", dict(ports or {}), parts)


def volume(on: Disk, number: int, contents: Mapping[str, File], label: str = "") -> Volume:
    part = on.partitions[number - 1]
    start = part.first_lba * 512
    return Volume(
        part.identifier, on.key, number, part.type, start, 4 << 20, 16, "1234-5678", label, files(contents)
    )


def state(
    volumes: Volumes = (),
    *,
    entries: Mapping[int, bytes] | None = None,
    order: tuple[int, ...] | None = None,
    variables: Mapping[str, bytes] | None = None,
    disks: tuple[Disk, ...] = (),
    **facts: object,
) -> State:
    """A machine of x86_64 unless ``facts`` say otherwise."""
    held = {one.identity: one for on, number, contents in volumes if (one := volume(on, number, contents))}
    values = {f"Boot{number:04X}": data for number, data in (entries or {}).items()}
    if order is not None:
        values["BootOrder"] = struct.pack(f"<{len(order)}H", *order)
    values.update(variables or {})
    known = {one.key: one for one in (*disks, *(on for on, _, _ in volumes))}
    return State(
        variables={key(name): Variable(7, data) for name, data in values.items()},
        disks=known,
        volumes=held,
        facts={"architecture": "x86_64", "firmware_bits": 64, **facts},
    )


def replace_identity(one: Volume, identity: str) -> Volume:
    return replace(one, identity=identity)


def with_type(one: Disk, kind: str) -> Disk:
    """The disk with every partition of that type."""
    return replace(one, partitions=tuple(replace(part, type=kind) for part in one.partitions))
