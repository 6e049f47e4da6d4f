"""Device paths put together node by node, as the standard lays them (UEFI 2.10 §10.3)."""

import struct
import uuid

END = b"\x7f\xff\x04\x00"
END_OF_INSTANCE = b"\x7f\x01\x04\x00"
SHELL = "7c04a583-9e3e-4f1c-ad65-e05268d0b4d1"  # edk2's ShellPkg
MENU = "462caa21-7614-4503-836e-8ab6f4662331"  # edk2's UiApp

_HEADER = struct.Struct("<BBH")
_HARD_DRIVE = struct.Struct("<IQQ16sBB")
_GPT, _MBR = (2, 2), (1, 1)  # table and kind of signature


def node(kind: int, sub: int, data: bytes = b"") -> bytes:
    """Any node."""
    return _HEADER.pack(kind, sub, _HEADER.size + len(data)) + data


def pci_root() -> bytes:
    """ACPI PNP0A03, UID 0 (§10.3.3)."""
    return node(2, 1, struct.pack("<II", 0x0A0341D0, 0))


def pci(device: int, function: int = 0) -> bytes:
    """§10.3.2.1"""
    return node(1, 1, bytes([function, device]))


def sata(port: int) -> bytes:
    """A disk right at the port (§10.3.4.6)."""
    return node(3, 18, struct.pack("<HHH", port, 0xFFFF, 0))


def nvme(namespace: int, eui: bytes = bytes(8)) -> bytes:
    """§10.3.4.21"""
    return node(3, 23, struct.pack("<I8s", namespace, eui))


def usb(port: int, interface: int = 0) -> bytes:
    """§10.3.4.5"""
    return node(3, 5, bytes([port, interface]))


def usb_class(kind: int = 8) -> bytes:
    """Any device of that class (§10.3.4.8)."""
    return node(3, 15, struct.pack("<HHBBB", 0xFFFF, 0xFFFF, kind, 0xFF, 0xFF))


def usb_wwid(vendor: int, product: int, serial: str = "") -> bytes:
    """A device by what it is; its serial number's end, without a NUL (§10.3.4.7)."""
    return node(3, 16, struct.pack("<HHH", 0, vendor, product) + serial.encode("utf-16-le"))


def gpt_partition(number: int, start: int, size: int, guid: str) -> bytes:
    """A partition of a GPT; start and size in blocks (§10.3.5.1)."""
    return node(4, 1, _HARD_DRIVE.pack(number, start, size, uuid.UUID(guid).bytes_le, *_GPT))


def mbr_partition(number: int, start: int, size: int, signature: str, padding: bytes = bytes(12)) -> bytes:
    """A partition of an MBR, whose signature is eight hex digits."""
    value = struct.pack("<I", int(signature, 16)) + padding
    return node(4, 1, _HARD_DRIVE.pack(number, start, size, value, *_MBR))


def file(path: str, end: str = "\0") -> bytes:
    """§10.3.5.4; without a NUL where `end` is empty."""
    return node(4, 4, (path + end).encode("utf-16-le", "surrogatepass"))


def firmware_file(volume: str, name: str) -> bytes:
    """A file of the firmware itself (PI 1.7 volume 3, §8.3)."""
    return node(4, 7, uuid.UUID(volume).bytes_le) + node(4, 6, uuid.UUID(name).bytes_le)


def bbs(kind: int = 2, text: str = "Hard disk") -> bytes:
    """A legacy BIOS's device (§10.3.6.1)."""
    return node(5, 1, struct.pack("<HH", kind, 0) + text.encode() + b"\0")


def option(
    description: str, path: bytes, *, attributes: int = 1, data: bytes = b"", length: int | None = None
) -> bytes:
    """EFI_LOAD_OPTION (§3.1.3); `path` with its End node, `length` where it is to lie about the path's."""
    size = len(path) if length is None else length
    return struct.pack("<IH", attributes, size) + description.encode("utf-16-le") + b"\0\0" + path + data
