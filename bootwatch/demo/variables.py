"""Firmware variables as files: efivarfs' layout, load options and device paths (UEFI 2.10 §3.1.3, §10.3)."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

GLOBAL = UUID("8be4df61-93ca-11d2-aa0d-00e098032b8c")
LOADER = UUID("4a67b082-0a4c-41cf-b6c7-440b29bb8c4f")
# Marks the options that this firmware makes by itself for each disk it can start from.
OWN_MARK = UUID("8108ac4e-9f11-4d59-850e-e21a522c59b2")

KEPT = 0x07  # non-volatile, readable before and after the system has started
UNTIL_RESTART = 0x06
ACTIVE = 0x1
HIDDEN = 0x8
APPLICATION = 0x100

_ATTRIBUTES = struct.Struct("<I")
_OPTION = struct.Struct("<IH")
_NODE = struct.Struct("<BBH")
_ACPI = struct.Struct("<II")
_PCI = struct.Struct("<BB")
_SATA = struct.Struct("<HHH")
_NVME = struct.Struct("<I8s")
_HARD_DRIVE = struct.Struct("<IQQ16sBB")
_PNP0A03 = 0x0A0341D0
_NO_MULTIPLIER = 0xFFFF


@dataclass(frozen=True)
class Variables:
    """The folder that stands for efivarfs."""

    folder: Path

    def write(self, name: str, data: bytes, attributes: int = KEPT, vendor: UUID = GLOBAL) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / f"{name}-{vendor}").write_bytes(_ATTRIBUTES.pack(attributes) + data)

    def write_text(self, name: str, text: str, vendor: UUID = LOADER) -> None:
        """A text that a loader left for the system it started."""
        self.write(name, utf16(text), UNTIL_RESTART, vendor)

    def write_order(self, numbers: Iterable[int]) -> None:
        self.write("BootOrder", b"".join(struct.pack("<H", number) for number in numbers))

    def write_current(self, number: int) -> None:
        self.write("BootCurrent", struct.pack("<H", number), UNTIL_RESTART)

    def remove(self, name: str, vendor: UUID = GLOBAL) -> None:
        (self.folder / f"{name}-{vendor}").unlink()


def option(description: str, path: bytes, data: bytes = b"", attributes: int = ACTIVE) -> bytes:
    """An EFI_LOAD_OPTION; ``path`` lacks its End node."""
    path += _node(0x7F, 0xFF, b"")
    return _OPTION.pack(attributes, len(path)) + utf16(description) + path + data


def utf16(text: str) -> bytes:
    return text.encode("utf-16-le") + b"\0\0"


def pci_root() -> bytes:
    return _node(2, 1, _ACPI.pack(_PNP0A03, 0))


def pci(device: int, function: int) -> bytes:
    return _node(1, 1, _PCI.pack(function, device))


def sata(port: int) -> bytes:
    """``port`` counts from 0."""
    return _node(3, 18, _SATA.pack(port, _NO_MULTIPLIER, 0))


def nvme(namespace: int) -> bytes:
    return _node(3, 23, _NVME.pack(namespace, bytes(8)))


def hard_drive(number: int, start: int, size: int, partition: UUID) -> bytes:
    """A GPT partition; ``start`` and ``size`` in logical blocks."""
    return _node(4, 1, _HARD_DRIVE.pack(number, start, size, partition.bytes_le, 2, 2))


def file(path: str) -> bytes:
    return _node(4, 4, utf16(path))


def firmware_file(volume: UUID, name: UUID) -> bytes:
    """A program inside the firmware itself."""
    return _node(4, 7, volume.bytes_le) + _node(4, 6, name.bytes_le)


def _node(kind: int, subtype: int, data: bytes) -> bytes:
    return _NODE.pack(kind, subtype, _NODE.size + len(data)) + data
