"""The text form of ACPI device path nodes: UEFI 2.10 §10.3.3 and §10.6.1.6.

A hardware id is compressed: three letters of five bits each (1 is A) in the low half, a number in the high
half. `PNP` reads 0x41D0; some of its numbers have names.
"""

import struct

from .device_path_fields import ACPI, Form, Forms

_HID = struct.Struct("<II")
_EXPANDED = struct.Struct("<III")
_ADDRESS = struct.Struct("<I")
_EISA_PNP = 0x41D0
_PNP_NAMES = {
    0x0A03: "PciRoot",
    0x0A08: "PcieRoot",
    0x0604: "Floppy",
    0x0301: "Keyboard",
    0x0501: "Serial",
    0x0401: "ParallelPort",
}


def _acpi(data: bytes) -> str:
    hid, uid = _HID.unpack_from(data)
    if hid & 0xFFFF != _EISA_PNP:
        return f"Acpi(0x{hid:08X},0x{uid:X})"
    number = hid >> 16
    name = _PNP_NAMES.get(number)
    return f"{name}(0x{uid:X})" if name else f"Acpi(PNP{number:04X},0x{uid:X})"


def _expanded(data: bytes) -> str:
    hid, uid, cid = _EXPANDED.unpack_from(data)
    texts = data[_EXPANDED.size :].split(b"\0", 3)
    hid_text, uid_text, cid_text = (part.decode("latin-1") for part in (*texts, b"", b"", b"")[:3])
    if not hid_text and not cid_text and uid_text:
        return f"AcpiExp({_eisa(hid)},{_eisa(cid) if cid else '0'},{uid_text})"
    return f"AcpiEx({_eisa(hid)},{_eisa(cid)},0x{uid:X},{hid_text},{cid_text},{uid_text})"


def _eisa(value: int) -> str:
    """Three letters and four hex digits; 0 prints as @@@0000."""
    letters = "".join(chr(((value >> shift) & 0x1F) + ord("A") - 1) for shift in (10, 5, 0))
    return f"{letters}{value >> 16:04X}"


def _addresses(data: bytes) -> str:
    whole = len(data) - len(data) % _ADDRESS.size
    return f"AcpiAdr({','.join(f'0x{address:X}' for (address,) in _ADDRESS.iter_unpack(data[:whole]))})"


FORMS: Forms = {
    (ACPI, 0x01): Form(_HID.size, _acpi),
    (ACPI, 0x02): Form(_EXPANDED.size, _expanded),
    (ACPI, 0x03): Form(_ADDRESS.size, _addresses),
}
