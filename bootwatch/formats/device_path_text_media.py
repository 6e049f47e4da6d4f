"""The text form of media and BIOS boot specification nodes: UEFI 2.10 §10.3.5, §10.3.6 and §10.6.1.6."""

import struct

from . import utf16
from .device_path_fields import BBS, MEDIA, Form, Forms, ascii_text, guid_text, named, plain, signed, vendor

HARD_DRIVE = (MEDIA, 0x01)
FILE = (MEDIA, 0x04)
# Partition number, start, size, signature, table format, signature type.
HARD_DRIVE_NODE = struct.Struct("<IQQ16sBB")
# First and last byte, kind of disk, instance.
_RAM_DISK = struct.Struct("<QQ16sH")
# Device type, status flags.
_BBS = struct.Struct("<HH")
_RAM_DISKS = {
    "77AB535A-45FC-624B-5560-F7B281D1F96E": "VirtualDisk",
    "3D5ABD30-4175-87CE-6D64-D2ADE523C4BB": "VirtualCD",
    "5CEA02C9-4D07-69D3-269F-4496FBE096F9": "PersistentVirtualDisk",
    "08018188-42CD-BB48-100F-5387D53DED3D": "PersistentVirtualCD",
}
_BBS_TYPES = {1: "Floppy", 2: "HD", 3: "CDROM", 4: "PCMCIA", 5: "USB", 6: "Network"}


def _hard_drive(data: bytes) -> str:
    number, start, size, signature, _format, kind = HARD_DRIVE_NODE.unpack_from(data)
    shown = {1: f"MBR,0x{int.from_bytes(signature[:4], 'little'):08X}", 2: f"GPT,{guid_text(signature)}"}
    return f"HD({signed(number)},{shown.get(kind, f'{kind},0')},0x{start:X},0x{size:X})"


def _ram_disk(data: bytes) -> str:
    start, end, kind, instance = _RAM_DISK.unpack_from(data)
    where = f"0x{start:X},0x{end:X},{instance}"
    name = _RAM_DISKS.get(guid_text(kind))
    return f"{name}({where})" if name else f"RamDisk({where},{guid_text(kind)})"


def _bbs(data: bytes) -> str:
    kind, status = _BBS.unpack_from(data)
    return f"BBS({_BBS_TYPES.get(kind, f'0x{kind:X}')},{ascii_text(data[_BBS.size :])},0x{status:X})"


FORMS: Forms = {
    HARD_DRIVE: Form(HARD_DRIVE_NODE.size, _hard_drive),
    (MEDIA, 0x02): plain("IQQ", "CDROM(0x{0:X},0x{1:X},0x{2:X})"),
    (MEDIA, 0x03): vendor("VenMedia"),
    FILE: Form(0, utf16.until_nul),
    (MEDIA, 0x05): named("Media"),
    (MEDIA, 0x06): named("FvFile"),
    (MEDIA, 0x07): named("Fv"),
    (MEDIA, 0x08): plain("IQQ", "Offset(0x{1:X},0x{2:X})"),
    (MEDIA, 0x09): Form(_RAM_DISK.size, _ram_disk),
    (BBS, 0x01): Form(_BBS.size, _bbs),
}
