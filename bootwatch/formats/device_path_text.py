"""The text form of device path nodes: UEFI 2.10 §10.6, as the reference firmware (edk2) prints it.

That firmware prints hex digits and GUIDs in upper case. A node that is not in the table, or whose payload is
too short for its type, gets the generic form: `HardwarePath(subtype,hex)` and its like, or
`Path(type,subtype,hex)`.
"""

import struct
from collections.abc import Callable

from . import guid, utf16

HARDWARE, ACPI, MESSAGING, MEDIA, BBS, END = 0x01, 0x02, 0x03, 0x04, 0x05, 0x7F
END_INSTANCE, END_ENTIRE = 0x01, 0xFF
HARD_DRIVE = (MEDIA, 0x01)
FILE = (MEDIA, 0x04)

# Partition number, start, size, signature, table format, signature type.
HARD_DRIVE_NODE = struct.Struct("<IQQ16sBB")
_PCI = struct.Struct("<BB")
_ACPI = struct.Struct("<II")
_ACPI_EX = struct.Struct("<III")
_SCSI = struct.Struct("<HH")
_USB = struct.Struct("<BB")
_SATA = struct.Struct("<HHH")
_NVME = struct.Struct("<I8s")
_MAC = struct.Struct("<32sB")
# Addresses (local, remote), ports, protocol, static or not; longer by gateway and mask since UEFI 2.4.
_IPV4 = struct.Struct("<4s4sHHHB")
_IPV4_FULL = struct.Struct("<4s4sHHHB4s4s")
_CDROM = struct.Struct("<IQQ")
_GUID = struct.Struct("<16s")
_EISA_PNP = 0x41D0

_GENERIC = {HARDWARE: "HardwarePath", ACPI: "AcpiPath", MESSAGING: "Msg", MEDIA: "MediaPath", BBS: "BbsPath"}
_PNP_NAMES = {
    0x0A03: "PciRoot",
    0x0A08: "PcieRoot",
    0x0604: "Floppy",
    0x0301: "Keyboard",
    0x0501: "Serial",
    0x0401: "ParallelPort",
}
_PROTOCOLS = {6: "TCP", 17: "UDP"}
_VENDOR_NAMES = {HARDWARE: "VenHw", MESSAGING: "VenMsg", MEDIA: "VenMedia"}


def node_text(kind: int, subtype: int, data: bytes) -> str:
    """The text of one node; an End-of-instance node is a comma.

    >>> node_text(0x01, 0x01, bytes([2, 0x1F]))
    'Pci(0x1F,0x2)'
    >>> node_text(0x05, 0x07, b"\\x0a")
    'BbsPath(7,0A)'
    """
    known = _TEXTS.get((kind, subtype))
    if known is not None:
        least, text = known
        if len(data) >= least:
            return text(data)
    return _generic(kind, subtype, data)


def _generic(kind: int, subtype: int, data: bytes) -> str:
    name = _GENERIC.get(kind)
    head = f"Path({kind},{subtype}" if name is None else f"{name}({subtype}"
    return head + ("," + _hex(data) if data else "") + ")"


def _hex(data: bytes) -> str:
    return data.hex().upper()


def _guid(data: bytes) -> str:
    return guid.from_bytes(data[: guid.SIZE]).upper()


def _ascii(data: bytes) -> str:
    return data.split(b"\0", 1)[0].decode("latin-1")


def _pci(data: bytes) -> str:
    function, device = _PCI.unpack_from(data)
    return f"Pci(0x{device:X},0x{function:X})"


def _vendor(kind: int) -> Callable[[bytes], str]:
    name = _VENDOR_NAMES[kind]

    def text(data: bytes) -> str:
        more = data[guid.SIZE :]
        return f"{name}({_guid(data)}{',' + _hex(more) if more else ''})"

    return text


def _acpi(data: bytes) -> str:
    hid, uid = _ACPI.unpack_from(data)
    if hid & 0xFFFF != _EISA_PNP:
        return f"Acpi(0x{hid:08X},0x{uid:X})"
    number = hid >> 16
    name = _PNP_NAMES.get(number)
    return f"{name}(0x{uid:X})" if name else f"Acpi(PNP{number:04X},0x{uid:X})"


def _acpi_ex(data: bytes) -> str:
    hid, uid, cid = _ACPI_EX.unpack_from(data)
    texts = data[_ACPI_EX.size :].split(b"\0")
    hid_text, uid_text, cid_text = (part.decode("latin-1") for part in (*texts, b"", b"", b"")[:3])
    if not hid_text and not cid_text and uid_text:
        return f"AcpiExp({_eisa(hid)},{_eisa(cid) if cid else '0'},{uid_text})"
    return f"AcpiEx({_eisa(hid)},{_eisa(cid)},0x{uid:X},{hid_text},{cid_text},{uid_text})"


def _eisa(value: int) -> str:
    """Three letters of five bits each, 1 = A, and four hex digits (0 prints as @0000)."""
    letters = "".join(chr(((value >> shift) & 0x1F) + ord("A") - 1) for shift in (10, 5, 0))
    return f"{letters}{value >> 16:04X}"


def _scsi(data: bytes) -> str:
    target, unit = _SCSI.unpack_from(data)
    return f"Scsi(0x{target:X},0x{unit:X})"


def _usb(data: bytes) -> str:
    port, interface = _USB.unpack_from(data)
    return f"USB(0x{port:X},0x{interface:X})"


def _sata(data: bytes) -> str:
    port, multiplier, unit = _SATA.unpack_from(data)
    return f"Sata(0x{port:X},0x{multiplier:X},0x{unit:X})"


def _nvme(data: bytes) -> str:
    namespace, eui = _NVME.unpack_from(data)
    return f"NVMe(0x{namespace:X},{'-'.join(f'{byte:02X}' for byte in reversed(eui))})"


def _mac(data: bytes) -> str:
    address, kind = _MAC.unpack_from(data)
    return f"MAC({_hex(address[:6] if kind in (0, 1) else address)},0x{kind:X})"


def _ipv4(data: bytes) -> str:
    local, remote, _local_port, _remote_port, protocol, static = _IPV4.unpack_from(data)
    parts = [
        _dotted(remote),
        _PROTOCOLS.get(protocol, f"0x{protocol:X}"),
        "Static" if static else "DHCP",
        _dotted(local),
    ]
    if len(data) == _IPV4_FULL.size:
        *_same, gateway, mask = _IPV4_FULL.unpack(data)
        parts += [_dotted(gateway), _dotted(mask)]
    return f"IPv4({','.join(parts)})"


def _dotted(address: bytes) -> str:
    return ".".join(str(byte) for byte in address)


def _hard_drive(data: bytes) -> str:
    number, start, size, signature, _format, kind = HARD_DRIVE_NODE.unpack_from(data)
    # The firmware prints the partition number as a signed decimal.
    number -= (number & 0x80000000) << 1
    shown = {1: f"MBR,0x{int.from_bytes(signature[:4], 'little'):08X}", 2: f"GPT,{_guid(signature)}"}
    return f"HD({number},{shown.get(kind, f'{kind},0')},0x{start:X},0x{size:X})"


def _cdrom(data: bytes) -> str:
    entry, start, size = _CDROM.unpack_from(data)
    return f"CDROM(0x{entry:X},0x{start:X},0x{size:X})"


_TEXTS: dict[tuple[int, int], tuple[int, Callable[[bytes], str]]] = {
    (HARDWARE, 0x01): (_PCI.size, _pci),
    (HARDWARE, 0x04): (_GUID.size, _vendor(HARDWARE)),
    (ACPI, 0x01): (_ACPI.size, _acpi),
    (ACPI, 0x02): (_ACPI_EX.size, _acpi_ex),
    (MESSAGING, 0x02): (_SCSI.size, _scsi),
    (MESSAGING, 0x05): (_USB.size, _usb),
    (MESSAGING, 0x0A): (_GUID.size, _vendor(MESSAGING)),
    (MESSAGING, 0x0B): (_MAC.size, _mac),
    (MESSAGING, 0x0C): (_IPV4.size, _ipv4),
    (MESSAGING, 0x12): (_SATA.size, _sata),
    (MESSAGING, 0x17): (_NVME.size, _nvme),
    (MESSAGING, 0x18): (0, lambda data: f"Uri({_ascii(data)})"),
    HARD_DRIVE: (HARD_DRIVE_NODE.size, _hard_drive),
    (MEDIA, 0x02): (_CDROM.size, _cdrom),
    (MEDIA, 0x03): (_GUID.size, _vendor(MEDIA)),
    FILE: (0, utf16.until_nul),
    (MEDIA, 0x06): (_GUID.size, lambda data: f"FvFile({_guid(data)})"),
    (MEDIA, 0x07): (_GUID.size, lambda data: f"Fv({_guid(data)})"),
    (END, END_INSTANCE): (0, lambda _data: ","),
}
