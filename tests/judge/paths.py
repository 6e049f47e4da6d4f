"""Device paths and load options as bytes, by the tables of UEFI 2.10 §10.3 and §3.1.3."""

from __future__ import annotations

import struct
import uuid

END = b"\x7f\xff\x04\x00"
ROOT = bytes.fromhex("02010c00d041030a00000000")  # PciRoot(0x0)
SHELL = bytes.fromhex("04071400c9bdb87cebf8344faaea3ee4af6516a1") + bytes.fromhex(
    "0406140083a5047c3e9e1c4fad65e05268d0b4d1"
)  # Fv/FvFile: a shell in the firmware


def node(kind: int, subtype: int, data: bytes) -> bytes:
    return struct.pack("<BBH", kind, subtype, 4 + len(data)) + data


def pci(device: int, function: int = 0) -> bytes:
    return node(1, 1, bytes([function, device]))


def sata(port: int) -> bytes:
    return node(3, 18, struct.pack("<HHH", port, 0xFFFF, 0))


def nvme(namespace: int) -> bytes:
    return node(3, 23, struct.pack("<IQ", namespace, 0))


def usb(port: int, interface: int = 0) -> bytes:
    return node(3, 5, bytes([port, interface]))


def unit(number: int) -> bytes:
    return node(3, 17, bytes([number]))


def emmc(slot: int) -> bytes:
    return node(3, 29, bytes([slot]))


def drive(guid: str, number: int = 1, start: int = 2048, size: int = 8192) -> bytes:
    """A partition of a GPT."""
    return node(4, 1, struct.pack("<IQQ16sBB", number, start, size, uuid.UUID(guid).bytes_le, 2, 2))


def mbr_drive(signature: int, number: int = 1, padding: bytes = bytes(12)) -> bytes:
    return node(4, 1, struct.pack("<IQQI12sBB", number, 2048, 8192, signature, padding, 1, 1))


def file(path: str) -> bytes:
    return node(4, 4, path.encode("utf-16-le") + b"\0\0")


def option(label: str, *nodes: bytes, attributes: int = 1, data: bytes = b"", end: bytes = END) -> bytes:
    path = b"".join(nodes) + end
    return struct.pack("<IH", attributes, len(path)) + label.encode("utf-16-le") + b"\0\0" + path + data
