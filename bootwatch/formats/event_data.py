"""What an event of the firmware's measurements says: TCG PC Client Platform Firmware Profile 1.05 §10.4.

Variables (UEFI_VARIABLE_DATA): GUID, u64 characters in the name, u64 bytes of data, the name in UTF-16, the
data. Loaded programs (UEFI_IMAGE_LOAD_EVENT): u64 address, u64 length in memory, u64 address that it was
linked for, u64 length of its device path, the path. Actions are text of one byte a character, without a
NUL.
"""

import struct
from dataclasses import dataclass

from . import guid, utf16
from .device_path import DevicePath

EV_NO_ACTION = 0x00000003
EV_SEPARATOR = 0x00000004
EV_ACTION = 0x00000005
EV_EFI_VARIABLE_DRIVER_CONFIG = 0x80000001
EV_EFI_VARIABLE_BOOT = 0x80000002
EV_EFI_BOOT_SERVICES_APPLICATION = 0x80000003
EV_EFI_BOOT_SERVICES_DRIVER = 0x80000004
EV_EFI_RUNTIME_SERVICES_DRIVER = 0x80000005
EV_EFI_ACTION = 0x80000007
EV_EFI_VARIABLE_BOOT2 = 0x8000000C
EV_EFI_VARIABLE_AUTHORITY = 0x800000E0
VARIABLES = {
    EV_EFI_VARIABLE_DRIVER_CONFIG,
    EV_EFI_VARIABLE_BOOT,
    EV_EFI_VARIABLE_BOOT2,
    EV_EFI_VARIABLE_AUTHORITY,
}
IMAGES = {EV_EFI_BOOT_SERVICES_APPLICATION, EV_EFI_BOOT_SERVICES_DRIVER, EV_EFI_RUNTIME_SERVICES_DRIVER}
ACTIONS = {EV_ACTION, EV_EFI_ACTION}
NAMES = {
    0x00000000: "EV_PREBOOT_CERT",
    0x00000001: "EV_POST_CODE",
    0x00000002: "EV_UNUSED",
    EV_NO_ACTION: "EV_NO_ACTION",
    EV_SEPARATOR: "EV_SEPARATOR",
    EV_ACTION: "EV_ACTION",
    0x00000006: "EV_EVENT_TAG",
    0x00000007: "EV_S_CRTM_CONTENTS",
    0x00000008: "EV_S_CRTM_VERSION",
    0x00000009: "EV_CPU_MICROCODE",
    0x0000000A: "EV_PLATFORM_CONFIG_FLAGS",
    0x0000000B: "EV_TABLE_OF_DEVICES",
    0x0000000C: "EV_COMPACT_HASH",
    0x0000000D: "EV_IPL",
    0x0000000E: "EV_IPL_PARTITION_DATA",
    0x0000000F: "EV_NONHOST_CODE",
    0x00000010: "EV_NONHOST_CONFIG",
    0x00000011: "EV_NONHOST_INFO",
    0x00000012: "EV_OMIT_BOOT_DEVICE_EVENTS",
    0x00000013: "EV_POST_CODE2",
    EV_EFI_VARIABLE_DRIVER_CONFIG: "EV_EFI_VARIABLE_DRIVER_CONFIG",
    EV_EFI_VARIABLE_BOOT: "EV_EFI_VARIABLE_BOOT",
    EV_EFI_BOOT_SERVICES_APPLICATION: "EV_EFI_BOOT_SERVICES_APPLICATION",
    EV_EFI_BOOT_SERVICES_DRIVER: "EV_EFI_BOOT_SERVICES_DRIVER",
    EV_EFI_RUNTIME_SERVICES_DRIVER: "EV_EFI_RUNTIME_SERVICES_DRIVER",
    0x80000006: "EV_EFI_GPT_EVENT",
    EV_EFI_ACTION: "EV_EFI_ACTION",
    0x80000008: "EV_EFI_PLATFORM_FIRMWARE_BLOB",
    0x80000009: "EV_EFI_HANDOFF_TABLES",
    0x8000000A: "EV_EFI_PLATFORM_FIRMWARE_BLOB2",
    0x8000000B: "EV_EFI_HANDOFF_TABLES2",
    EV_EFI_VARIABLE_BOOT2: "EV_EFI_VARIABLE_BOOT2",
    0x8000000D: "EV_EFI_GPT_EVENT2",
    0x80000010: "EV_EFI_HCRTM_EVENT",
    EV_EFI_VARIABLE_AUTHORITY: "EV_EFI_VARIABLE_AUTHORITY",
    0x800000E1: "EV_EFI_SPDM_FIRMWARE_BLOB",
    0x800000E2: "EV_EFI_SPDM_FIRMWARE_CONFIG",
    0x800000E3: "EV_EFI_SPDM_DEVICE_POLICY",
    0x800000E4: "EV_EFI_SPDM_DEVICE_AUTHORITY",
}

_VARIABLE = struct.Struct("<16sQQ")
# Lengths are as wide as the firmware's own numbers in logs of the first revisions.
_IMAGES = (struct.Struct("<QQQQ"), struct.Struct("<QIII"))
_SEPARATOR = struct.Struct("<I")


@dataclass(frozen=True, slots=True)
class MeasuredVariable:
    """A variable as the firmware read it; `guid` in lower case. An absent one has no data."""

    name: str
    guid: str
    data: bytes


@dataclass(frozen=True, slots=True)
class LoadedImage:
    """A program that the firmware loaded: where in memory, how many bytes there, and from which path."""

    location: int
    length: int
    link_address: int
    path: DevicePath


def variable(data: bytes) -> MeasuredVariable | None:
    """The variable of such an event's data; None when the lengths in it do not fit.

    >>> name = "BootOrder".encode("utf-16-le")
    >>> variable(bytes(16) + (9).to_bytes(8, "little") + (2).to_bytes(8, "little") + name + b"\\7\\0")
    MeasuredVariable(name='BootOrder', guid='00000000-0000-0000-0000-000000000000', data=b'\\x07\\x00')
    """
    if len(data) < _VARIABLE.size:
        return None
    namespace, characters, size = _VARIABLE.unpack_from(data)
    start = _VARIABLE.size + 2 * characters
    if start + size > len(data):
        return None
    name = utf16.until_nul(data[_VARIABLE.size : start])
    return MeasuredVariable(name, guid.from_bytes(namespace), data[start : start + size])


def image(data: bytes) -> LoadedImage | None:
    """The loaded program of such an event's data; None when the path's length in it does not fit.

    >>> head = b"".join(number.to_bytes(8, "little") for number in (0x1000, 3584, 0, 4))
    >>> found = image(head + bytes.fromhex("7fff0400"))
    >>> found.location, found.length, found.path.is_complete
    (4096, 3584, True)
    """
    for layout in _IMAGES:
        if len(data) >= layout.size:
            location, length, link_address, path_size = layout.unpack_from(data)
            if layout.size + path_size == len(data):
                return LoadedImage(location, length, link_address, DevicePath.parse(data[layout.size :]))
    return None


def action(data: bytes) -> str:
    """The text of an action; bytes beyond ASCII become U+FFFD.

    >>> action(b"Calling EFI Application from Boot Option")
    'Calling EFI Application from Boot Option'
    """
    return data.split(b"\0", 1)[0].decode("ascii", "replace")


def separator(data: bytes) -> int | None:
    """A separator's number: 0 or 0xFFFFFFFF where all went well before it, another after an error.

    >>> separator(bytes(4))
    0
    """
    return int(_SEPARATOR.unpack(data)[0]) if len(data) == _SEPARATOR.size else None
